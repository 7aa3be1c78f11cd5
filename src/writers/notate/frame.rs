//! The frame of bars that all staves share.

use crate::resolve::{Bar, BarLine, Form};

use super::FrameBar;

/// The frame of a form: metre and key are marked as shown where they begin or change.
pub(super) fn frame(form: &Form) -> Vec<FrameBar> {
    let bars = &form.bars;
    bars.iter()
        .enumerate()
        .map(|(index, bar)| {
            let before = index.checked_sub(1).map(|before| &bars[before]);
            let after = bars.get(index + 1);
            // Two endings of one number that follow each other belong to different repeats when
            // the first of them ends one.
            let goes_on = |bar: &Bar, next: &Bar| bar.ending == next.ending && !bar.repeat_ends;
            let enters = before.is_none_or(|before| !goes_on(before, bar));
            let leaves = after.is_none_or(|after| !goes_on(bar, after));
            // A change of key stands behind a double bar (Gould, chapter 4, from memory).
            let changes_key = bar.line == BarLine::Plain
                && !bar.repeat_ends
                && after.is_some_and(|after| {
                    after.key.fifths() != bar.key.fifths() && !after.repeat_starts
                });
            FrameBar {
                number: bar.number,
                start: bar.start,
                length: bar.length,
                metre: bar.metre,
                metre_shown: before.is_none_or(|before| before.metre != bar.metre),
                key: bar.key,
                key_shown: before.is_none_or(|before| before.key != bar.key),
                tempo: bar.tempo.clone(),
                mark: bar.mark.clone(),
                repeat_starts: bar.repeat_starts,
                repeat_ends: bar.repeat_ends,
                ending_starts: bar.ending.filter(|_| enters),
                ending_ends: bar.ending.filter(|_| leaves),
                line: if changes_key { BarLine::Double } else { bar.line },
                source: bar.span,
                up_beat: bar.up_beat,
                implicit: bar.leads_in() || before.is_some_and(|before| completes(before, bar)),
                signs: bar.signs.clone(),
            }
        })
        .collect()
}

/// Is a bar the second half of one that a repeat or a double bar divides? Both are shorter than
/// their metre and make one bar together.
fn completes(before: &Bar, bar: &Bar) -> bool {
    let whole = bar.metre.bar_length();
    before.metre == bar.metre
        && !before.leads_in()
        && before.length < whole
        && before.length + bar.length == whole
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::music::{Key, Mode};
    use crate::notate::testing::form;
    use crate::resolve::Ending;

    #[test]
    fn metre_and_key_are_shown_where_they_change() {
        let frame = frame(&form(&["3/4", "3/4", "2/4"]));
        let shown: Vec<_> = frame.iter().map(|bar| (bar.metre_shown, bar.key_shown)).collect();
        assert_eq!(shown, [(true, true), (false, false), (true, false)]);
    }

    #[test]
    fn a_change_of_key_stands_behind_a_double_bar() {
        let mut form = form(&["3/4", "3/4", "3/4", "3/4", "3/4"]);
        let keys = ["C major", "G major", "D major", "D major", "C major"];
        for (bar, key) in form.bars.iter_mut().zip(keys) {
            let tonic = key.split(' ').next().unwrap().parse().unwrap();
            bar.key = Key::new(tonic, Mode::Major).unwrap();
        }
        form.bars[1].repeat_ends = true;
        let lines: Vec<_> = frame(&form).iter().map(|bar| bar.line).collect();
        let (plain, double) = (BarLine::Plain, BarLine::Double);
        assert_eq!(lines[..4], [double, plain, plain, double]);
    }

    #[test]
    fn an_ending_of_two_bars_begins_and_ends_once() {
        let mut form = form(&["4/4", "4/4", "4/4", "4/4"]);
        for (bar, ending) in form.bars.iter_mut().zip([None, Some(1), Some(1), Some(2)]) {
            bar.ending = ending.map(Ending::of);
        }
        form.bars[2].repeat_ends = true;
        let frame = frame(&form);
        let starts: Vec<_> = frame.iter().map(|bar| bar.ending_starts).collect();
        let ends: Vec<_> = frame.iter().map(|bar| bar.ending_ends).collect();
        let (first, second) = (Some(Ending::of(1)), Some(Ending::of(2)));
        assert_eq!(starts, [None, first, None, second]);
        assert_eq!(ends, [None, None, first, second]);
    }
}

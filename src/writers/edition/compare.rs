//! What is new in a part beside an older print of it, bar by bar.

use crate::notate::{Element, ElementKind};

use super::{Edition, StaffBar};

/// What is new in one bar of a part.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct BarNews {
    /// Index of the bar.
    pub bar: usize,
    /// Other notes, rests, marks, slurs or syllables of the player.
    pub notes: bool,
    /// Other dynamics, words, keys, metres, tempos, repeats.
    pub signs: bool,
    /// Nothing that sounds: clefs, beams, courtesy signs, cues, rests counted otherwise.
    pub layout: bool,
}

/// What is new in a part: `None` where its bars are others than they were, and nothing can be
/// corrected by hand.
#[must_use]
pub fn news(old: &Edition, new: &Edition) -> Option<Vec<BarNews>> {
    let lengths = |edition: &Edition| -> Vec<_> {
        edition.bars.iter().map(|bar| (bar.number, bar.length)).collect()
    };
    if lengths(old) != lengths(new) || old.staves.len() != new.staves.len() {
        return None;
    }
    let bars = (0..new.bars.len()).map(|bar| {
        let mut news = BarNews { bar, signs: !same_frame(old, new, bar), ..BarNews::default() };
        for (old, new) in old.staves.iter().zip(&new.staves) {
            let (old_bar, new_bar) = (&old.bars[bar], &new.bars[bar]);
            news.notes |= sounding(old_bar) != sounding(new_bar);
            news.signs |=
                said(old_bar) != said(new_bar) || hairpins(old, bar) != hairpins(new, bar);
            news.layout |= layout(old_bar) != layout(new_bar);
        }
        news.layout |= octave_lines(old, bar) != octave_lines(new, bar);
        news
    });
    Some(bars.filter(|news| news.notes || news.signs || news.layout).collect())
}

fn same_frame(old: &Edition, new: &Edition, bar: usize) -> bool {
    let (a, b) = (&old.bars[bar], &new.bars[bar]);
    (a.metre, &a.tempo, &a.mark, a.repeat_starts, a.repeat_ends, a.ending_starts, a.line)
        == (b.metre, &b.tempo, &b.mark, b.repeat_starts, b.repeat_ends, b.ending_starts, b.line)
        && a.signs == b.signs
}

/// The player's own elements.
fn own<'a>(bar: &'a StaffBar) -> impl Iterator<Item = &'a Element> {
    bar.voices.iter().flat_map(|voice| voice.elements.iter()).filter(|element| !element.cue)
}

/// What a bar sounds, without what only the page shows.
fn sounding(bar: &StaffBar) -> (Option<crate::music::Interval>, Vec<String>) {
    let elements = own(bar).map(|element| {
        let sound = match &element.kind {
            ElementKind::Note(note) => {
                let pitches: Vec<_> = note.heads.iter().map(|head| head.pitch).collect();
                let begins = note.slur_starts || note.slur_leaves;
                let ends = note.slur_ends || note.slur_arrives;
                let ties = (note.tie_from, note.tie_to, begins, ends);
                let touched = note.harmonic.is_some();
                let signs =
                    (note.grace, note.marks, note.tremolo, note.ornament_accidental, touched);
                format!("{pitches:?} {ties:?} {signs:?} {:?}", note.lyrics)
            }
            ElementKind::Rest { fermata } | ElementKind::BarRest { fermata } => {
                format!("rest {fermata}")
            }
        };
        format!("{} {} {sound}", element.at, element.length)
    });
    (bar.transposition, elements.collect())
}

fn said(bar: &StaffBar) -> (Option<crate::music::Key>, Vec<String>) {
    let said = bar
        .directions
        .iter()
        .filter(|said| !matches!(said.kind, super::DirectionKind::CueName(_)))
        .map(|said| format!("{} {:?}", said.at, said.kind));
    (bar.key, said.collect())
}

fn hairpins(staff: &super::EditionStaff, bar: usize) -> Vec<String> {
    let ends = staff.spans.iter().filter(|span| match &span.kind {
        super::SpannerKind::Hairpin { from, to, .. } => from.0 == bar || to.0 == bar,
        _ => false,
    });
    ends.map(|span| format!("{:?}", span.kind)).collect()
}

fn octave_lines(edition: &Edition, bar: usize) -> Vec<String> {
    let spans = edition.staves.iter().flat_map(|staff| &staff.spans);
    let over = spans.filter(|span| match &span.kind {
        super::SpannerKind::OctaveLine { from, to, .. } => (from.0..=to.0).contains(&bar),
        _ => false,
    });
    over.map(|span| format!("{:?}", span.kind)).collect()
}

fn layout(bar: &StaffBar) -> Vec<String> {
    let elements = bar.voices.iter().flat_map(|voice| voice.elements.iter());
    let mut all: Vec<String> = elements
        .map(|element| {
            let heads = match &element.kind {
                ElementKind::Note(note) => note.heads.to_vec(),
                _ => Vec::new(),
            };
            let shown = (element.value, element.stem, element.cue);
            format!("{shown:?} {:?} {heads:?}", element.beams)
        })
        .collect();
    all.push(format!("{:?} {} {}", bar.clefs, bar.multi_rest, bar.counted));
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::edition::part;
    use crate::notate::Score;
    use crate::notate::testing::Fixture;
    use crate::resolve::{DirectionKind, Dynamic};

    fn score(notes: &str, dynamic: Dynamic) -> Score {
        Fixture::new(&["2/4"; 3])
            .notes(notes)
            .direction("0/1", DirectionKind::Dynamic(dynamic))
            .score()
    }

    #[test]
    fn bars_are_told_by_what_is_new_in_them() {
        let old = score("0/1 1/2 C5, 1/2 1/2 F#5, 1/1 1/2 F5", Dynamic::P);
        let compare = |new: &Score| news(&part(&old, 0), &part(new, 0)).unwrap();
        assert_eq!(compare(&old.clone()), []);
        let louder = score("0/1 1/2 C5, 1/2 1/2 F#5, 1/1 1/2 F5", Dynamic::F);
        assert_eq!(compare(&louder), [BarNews { bar: 0, signs: true, ..BarNews::default() }]);
        // The courtesy in the third bar goes with the sharp in the second.
        let natural = score("0/1 1/2 C5, 1/2 1/2 G5, 1/1 1/2 F5", Dynamic::P);
        let expected = [
            BarNews { bar: 1, notes: true, layout: true, ..BarNews::default() },
            BarNews { bar: 2, layout: true, ..BarNews::default() },
        ];
        assert_eq!(compare(&natural), expected);
        let longer = Fixture::new(&["2/4"; 4]).notes("0/1 1/2 C5").score();
        assert_eq!(news(&part(&old, 0), &part(&longer, 0)), None);
    }
}

//! Rests of several bars, for parts.

use crate::music::Time;
use crate::notate::{Element, ElementKind, FrameBar, Origin, Sign};
use crate::resolve::BarLine;

use super::{DirectionKind, Edition, EditionDirection, SpannerKind, StaffBar};

/// Counts the rests of a part together: see [`rest_runs`].
pub(super) fn count(edition: &mut Edition) {
    let mut runs = rest_runs(edition);
    // A movement that is tacet is one rest, whatever happens in it.
    for movement in edition.movements.iter().filter(|one| one.tacet && one.title.is_some()) {
        let bars = movement.bars.clone();
        runs[bars.clone()].fill(0);
        if bars.len() > 1 {
            runs[bars.start] = u32::try_from(bars.len()).unwrap_or(u32::MAX);
        }
    }
    for staff in &mut edition.staves {
        let mut left = 0;
        for (bar, run) in staff.bars.iter_mut().zip(&runs) {
            bar.counted = left > 0;
            left = u32::saturating_sub(left, 1);
            if *run > 0 {
                bar.multi_rest = *run;
                left = run - 1;
            }
        }
    }
    say_tacet(edition);
}

/// A rest of so many bars is long. Our heuristic.
const LONG: usize = 32;
/// Signs into which a long rest must be broken before it is worth words. Our heuristic.
const SIGNS: usize = 3;

/// "tacet to letter G", "tacet, enter in bar 40", "tacet al fine": where a long rest is broken into several signs by what
/// others do, it says where the player comes in, whether a cue leads to it or not. That is the letter
/// with which he enters; a bar is named so that nobody takes it for the last one of the rest. The words
/// stand where the silence begins, below the staff, for above it the signs and letters that break the rest
/// follow one another. All signs stay, so that whoever wants to count can.
fn say_tacet(edition: &mut Edition) {
    let Edition { movements, staves, bars, .. } = edition;
    let Some(upper) = staves.first() else { return };
    let rests = |bar: &StaffBar| {
        let mut elements = bar.voices.iter().flat_map(|voice| voice.elements.iter());
        let silent = |e: &Element| e.cue || !matches!(e.kind, ElementKind::Note(_));
        bar.counted || elements.all(silent)
    };
    let mut said: Vec<(usize, String)> = Vec::new();
    for movement in movements.iter().filter(|movement| !movement.tacet) {
        let mut first = movement.bars.start;
        while first < movement.bars.end {
            let silent = |bar: &usize| staves.iter().all(|staff| rests(&staff.bars[*bar]));
            let long = (first..movement.bars.end).take_while(silent).count();
            let cued = |bar: &StaffBar| {
                bar.voices.iter().flat_map(|voice| voice.elements.iter()).any(|element| element.cue)
            };
            let shown = upper.bars[first..first + long].iter().filter(|bar| !bar.counted);
            let signs = shown.filter(|bar| !cued(bar)).count();
            let end = first + long;
            let words = match end < movement.bars.end {
                true => Some(comes_in(&bars[end])),
                false => rests_al_fine(&bars[movement.bars.clone()], first - movement.bars.start)
                    .then(|| "tacet al fine".to_owned()),
            };
            if long >= LONG
                && signs >= SIGNS
                && let Some(words) = words
            {
                // A pick-up is never counted.
                let first = first + usize::from(bars[first].leads_in());
                said.push((first, words));
            }
            first = end + 1;
        }
    }
    for (bar, words) in said {
        let kind = DirectionKind::Who(words);
        let said =
            EditionDirection { at: Time::ZERO, kind, above: false, origin: Origin::default() };
        staves[0].bars[bar].directions.push(said);
    }
}

/// Does nothing send a player who rests from a bar of a movement on back to what he played before?
fn rests_al_fine(bars: &[FrameBar], first: usize) -> bool {
    use Sign::{Attacca, Coda, Segno, Times};
    let stays = |sign: &Sign| matches!(sign, Attacca | Coda | Segno | Times(_));
    let jumps = bars.iter().any(|bar| !bar.signs.iter().all(stays));
    // A repeat that ends in the rest begins in it too.
    let mut begun = false;
    let goes_back = bars[first..].iter().any(|bar| {
        begun |= bar.repeat_starts;
        bar.repeat_ends && !std::mem::take(&mut begun)
    });
    !jumps && !goes_back
}

/// Up to where a player rests who comes in with a bar. A mark that is a number would be taken for that of
/// a bar, and one letter for the note of a drum or a crook, unless it is called a letter.
fn comes_in(bar: &FrameBar) -> String {
    let letter = bar.mark.as_ref().filter(|mark| mark.chars().any(char::is_alphabetic));
    match letter {
        Some(letter) if letter.chars().count() <= 2 => format!("tacet to letter {letter}"),
        Some(words) => format!("tacet to {words}"),
        None => format!("tacet, enter in bar {}", bar.number),
    }
}

/// For every bar, how many bars of rest begin with it that can be shown as one sign: 2 or more
/// where such a run begins, 0 everywhere else. All staves of the edition rest there.
///
/// A player counts through nothing that he must see: a run is broken by rehearsal marks, tempos,
/// changes of metre, repeats, endings, double bars, signs, directions, fermatas, cues, and by a
/// key or clef that is printed for him. What he does not see (another key of the piece that needs
/// no other signature, an instrument that he has taken silently) breaks nothing. Words at the very
/// beginning of a bar, such as "take Piccolo", stand over the run that begins with it. A pick-up
/// is not counted, nor is a free bar.
#[must_use]
pub fn rest_runs(edition: &Edition) -> Vec<u32> {
    let mut rests = Rests::default();
    rests.take(edition);
    rests.runs(edition.bars)
}

/// What of the staves [`rest_runs`] goes by, taken from one edition after another of the same bars.
#[derive(Clone, Default, Debug)]
pub(crate) struct Rests {
    /// For each bar, does anybody do more than rest?
    played: Vec<bool>,
    /// Does something stand at its beginning that a player must see?
    told: Vec<bool>,
}

impl Rests {
    /// Takes the staves of an edition.
    pub(crate) fn take(&mut self, edition: &Edition) {
        self.played.resize(edition.bars.len(), false);
        self.told.resize(edition.bars.len(), false);
        for (bar, spanned) in under_hairpins(edition).into_iter().enumerate() {
            let mut staves = edition.staves.iter().map(|staff| &staff.bars[bar]);
            self.played[bar] |= spanned || !staves.clone().all(is_silent);
            self.told[bar] |= staves.any(is_told);
        }
    }

    /// The rests of all that was taken.
    pub(crate) fn runs(&self, bars: &[FrameBar]) -> Vec<u32> {
        let mut runs = vec![0; bars.len()];
        let mut first = None;
        for (bar, frame) in bars.iter().enumerate() {
            if self.played[bar] || frame.leads_in() || frame.is_free() {
                first = None;
                continue;
            }
            match first {
                Some(first) if !begins_anew(frame) && !self.told[bar] => runs[first] += 1,
                _ => {
                    first = Some(bar);
                    runs[bar] = 1;
                }
            }
            // A double bar before another key is for those who read the key.
            let next = bars.get(bar + 1);
            let for_key = frame.line == BarLine::Double
                && next.is_some_and(|next| next.key.fifths() != frame.key.fifths());
            let last = frame.repeat_ends
                || frame.ending_ends.is_some()
                || frame.line != BarLine::Plain && !for_key
                || frame.signs.iter().copied().any(Sign::stands_at_end);
            if last {
                first = None;
            }
        }
        for run in &mut runs {
            if *run < 2 {
                *run = 0;
            }
        }
        runs
    }
}

/// Bars in which a hairpin stands.
fn under_hairpins(edition: &Edition) -> Vec<bool> {
    let mut spanned = vec![false; edition.bars.len()];
    for span in edition.staves.iter().flat_map(|staff| &staff.spans) {
        if let SpannerKind::Hairpin { from, to, .. } = &span.kind {
            spanned[from.0..=to.0].fill(true);
        }
    }
    spanned
}

/// Is this a bar of rest with nothing else in it but words at its beginning?
fn is_silent(bar: &StaffBar) -> bool {
    let rests = |elements: &[crate::notate::Element]| matches!(elements, [element] if element.kind == ElementKind::BarRest { fermata: false });
    let words = |kind: &DirectionKind| {
        matches!(
            kind,
            DirectionKind::Words(_) | DirectionKind::Technique(_) | DirectionKind::Change(_)
        )
    };
    bar.voices.iter().all(|voice| rests(&voice.elements))
        && bar.clefs.iter().all(|(at, _)| *at == Time::ZERO)
        && bar.directions.iter().all(|said| words(&said.kind) && said.at == Time::ZERO)
}

/// Does something stand at the beginning of this bar that everybody must see?
fn begins_anew(frame: &FrameBar) -> bool {
    frame.mark.is_some()
        || frame.tempo.is_some()
        || frame.metre_shown
        || frame.repeat_starts
        || frame.ending_starts.is_some()
        || frame.signs.iter().any(|sign| !sign.stands_at_end())
}

/// Does something stand at the beginning of this bar of the staff that the player must see?
fn is_told(bar: &StaffBar) -> bool {
    bar.key.is_some() || !bar.clefs.is_empty() || !bar.directions.is_empty()
}
#[cfg(test)]
mod tests {
    use crate::edition::part;
    use crate::music::{Key, Mode, Time};
    use crate::notate::testing::{Fixture, clarinet, form, natural_horn};
    use crate::notate::{Origin, Score, StaffDirection, StaffDirectionKind};
    use crate::resolve::BarLine;

    fn runs(fixture: Fixture) -> Vec<u32> {
        of_score(&fixture.score())
    }

    fn of_score(score: &Score) -> Vec<u32> {
        let edition = part(score, 0);
        let bars = &edition.staves[0].bars;
        // What is counted follows its sign.
        for (bar, staff_bar) in bars.iter().enumerate() {
            let mut before = bars[..bar].iter().rev().zip(2_u32..);
            let counted = before.any(|(before, bars)| before.multi_rest >= bars);
            assert_eq!(staff_bar.counted, counted, "bar {bar}");
        }
        bars.iter().map(|bar| bar.multi_rest).collect()
    }

    #[test]
    fn bars_of_rest_are_counted_together() {
        let fixture = Fixture::new(&["4/4"; 5]).notes("3/1 1/1 C5");
        assert_eq!(runs(fixture), [3, 0, 0, 0, 0]);
    }

    #[test]
    fn a_bar_in_which_the_others_hold_stands_alone_in_a_rest() {
        let fixture = Fixture::new(&["4/4"; 6]).notes("5/1 1/1 C5");
        assert_eq!(runs(fixture.wait("5/2", "3/1", false)), [2, 0, 0, 2, 0, 0]);
    }

    #[test]
    fn a_rehearsal_mark_breaks_a_rest() {
        let mut form = form(&["4/4"; 5]);
        form.bars[2].mark = Some("A".into());
        assert_eq!(runs(Fixture::of(form)), [2, 0, 3, 0, 0]);
    }

    #[test]
    fn a_change_of_metre_and_a_double_bar_break_a_rest() {
        let mut form = form(&["4/4", "4/4", "3/4", "3/4", "3/4", "3/4"]);
        form.bars[3].line = BarLine::Double;
        let expected = [2, 0, 2, 0, 2, 0];
        assert_eq!(runs(Fixture::of(form)), expected);
    }

    #[test]
    fn words_at_the_beginning_of_a_bar_stand_over_the_rest_that_begins_there() {
        let mut score = Fixture::new(&["4/4"; 6]).notes("5/1 1/1 C5").score();
        let mut say = |bar: usize, at: Time| {
            let kind = StaffDirectionKind::Words("take Piccolo".into());
            score.staves[0].measures[bar].directions.push(StaffDirection {
                at,
                kind,
                origin: Origin::default(),
            });
            of_score(&score)
        };
        assert_eq!(say(2, Time::ZERO), [2, 0, 3, 0, 0, 0]);
        assert_eq!(say(3, Time::QUARTER), [2, 0, 0, 0, 0, 0]);
    }

    #[test]
    fn one_bar_of_rest_stays_as_it_is() {
        let fixture = Fixture::new(&["4/4"; 2]).notes("1/1 1/1 C5");
        assert_eq!(runs(fixture), [0, 0]);
    }

    #[test]
    fn a_player_counts_through_what_he_does_not_see() {
        let keys = |fixture: Fixture, names: [&str; 6]| {
            let mut fixture = fixture;
            for (bar, name) in fixture.form.bars.iter_mut().zip(names) {
                let (tonic, mode) = name.split_once(' ').unwrap();
                let mode = if mode == "minor" { Mode::Minor } else { Mode::Major };
                bar.key = Key::new(tonic.parse().unwrap(), mode).unwrap();
            }
            runs(fixture.notes("5/1 1/1 C5"))
        };
        let relative = ["D minor", "D minor", "F major", "F major", "F major", "F major"];
        let other = ["D minor", "D minor", "G major", "G major", "G major", "G major"];
        let new = || Fixture::new(&["4/4"; 6]);
        assert_eq!(keys(new(), relative), [5, 0, 0, 0, 0, 0]);
        assert_eq!(keys(new(), other), [2, 0, 3, 0, 0, 0]);
        // He has no signature.
        assert_eq!(keys(new().instrument(natural_horn()), other), [5, 0, 0, 0, 0, 0]);
        // Another instrument in the same clef and signature.
        let takes = new().takes("2/1", clarinet()).instrument(clarinet()).takes("3/1", clarinet());
        assert_eq!(keys(takes, relative), [5, 0, 0, 0, 0, 0]);
    }

    #[test]
    fn a_long_rest_that_others_break_says_how_far_it_goes() {
        let said = |marks: &[usize], entry: &str| -> Vec<String> {
            let mut form = form(&["4/4"; 42]);
            for &bar in marks {
                form.bars[bar].mark = Some("A".into());
            }
            let score = Fixture::of(form).notes(entry).score();
            let edition = part(&score, 0);
            let bars = edition.staves[0].bars.iter().enumerate();
            let said =
                bars.flat_map(|(bar, one)| one.directions.iter().map(move |said| (bar, said)));
            said.filter_map(|(bar, said)| match &said.kind {
                crate::edition::DirectionKind::Who(who) => Some(format!("{} {who}", bar + 1)),
                _ => None,
            })
            .collect()
        };
        assert_eq!(said(&[8, 16], "40/1 1/1 C5"), ["1 tacet, enter in bar 41"]);
        assert_eq!(said(&[8, 16, 40], "40/1 1/1 C5"), ["1 tacet to letter A"]);
        // Where the silence begins, though its first sign is a short one.
        let later = ["4 tacet, enter in bar 41"];
        assert_eq!(said(&[8, 16, 30], "2/1 1/1 C5, 40/1 1/1 C5"), later);
        assert_eq!(said(&[8, 16], "2/1 1/1 C5"), ["4 tacet al fine"]);
        // In one sign, or short.
        assert!(said(&[], "40/1 1/1 C5").is_empty());
        assert!(said(&[4, 8, 12], "30/1 1/1 C5").is_empty());
    }

    #[test]
    fn nobody_rests_to_the_end_who_is_sent_back() {
        use crate::notate::Sign;
        let score = Fixture::new(&["4/4"; 6]).score();
        let mut bars = part(&score, 0).bars.to_vec();
        assert!(super::rests_al_fine(&bars, 2));
        bars[5].repeat_ends = true;
        assert!(!super::rests_al_fine(&bars, 2));
        bars[3].repeat_starts = true;
        assert!(super::rests_al_fine(&bars, 2));
        bars[5].signs.push(Sign::DaCapo);
        assert!(!super::rests_al_fine(&bars, 2));
    }

    #[test]
    fn a_crook_changed_in_a_rest_is_said_at_its_beginning() {
        let fixture = Fixture::new(&["4/4"; 6])
            .instrument(natural_horn())
            .crook("0/1", "D")
            .crook("3/1", "F")
            .notes("0/1 1/1 D4, 5/1 1/1 C4");
        assert_eq!(runs(fixture), [0, 4, 0, 0, 0, 0]);
    }
}

//! Staves under whose notes something else is read: what is said of loudness stands above them.

use crate::notate::ElementKind;

use super::{DirectionKind, EditionStaff, SpannerKind};

/// Dynamics, hairpins and words stand above a staff that has words to its notes anywhere: below it they would come
/// between these words, or far from the notes under them. Two who share a staff keep what is said to each with his
/// notes in the bars in which each has stems of his own. Source: Gould, Behind Bars, 2011, chapter Vocal Music, from
/// memory.
///
/// So they do over a bass with figures, which are read close under their notes and in one row: a dynamic among them
/// would be taken for one of them, and below it the row would lie nearer to the next staff than to its own. Our
/// heuristic, after the staves of singers.
pub(super) fn lift(staff: &mut EditionStaff) {
    let voices = staff.bars.iter().flat_map(|bar| &bar.voices);
    let mut notes = voices.flat_map(|voice| voice.elements.iter());
    let sung = notes
        .any(|element| matches!(&element.kind, ElementKind::Note(note) if !note.lyrics.is_empty()));
    let mut said = staff.bars.iter().flat_map(|bar| &bar.directions);
    if !sung && !said.any(|said| matches!(said.kind, DirectionKind::Figures(_))) {
        return;
    }
    for bar in staff.bars.iter_mut().filter(|bar| bar.voices.len() == 1) {
        for said in &mut bar.directions {
            said.above |= !matches!(said.kind, DirectionKind::Figures(_));
        }
    }
    let bars = &staff.bars;
    for span in &mut staff.spans {
        let SpannerKind::Hairpin { from, to, .. } = span.kind else { continue };
        span.above |= bars[from.0..=to.0].iter().all(|bar| bar.voices.len() == 1);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::edition::full_score;
    use crate::music::{Figure, Time};
    use crate::notate::testing::{Fixture, oboe};
    use crate::notate::{Origin, Score, StaffDirection, StaffDirectionKind};
    use crate::resolve::{Dynamic, Syllable};

    fn sings(score: &mut Score, text: &str) {
        let elements = &mut score.staves[0].measures[1].elements;
        let ElementKind::Note(note) = &mut elements[0].kind else { panic!("a note") };
        note.lyrics = vec![Syllable {
            verse: 1,
            text: text.into(),
            continues: false,
            goes_on: false,
            melisma: false,
        }];
    }

    #[test]
    fn what_is_said_of_loudness_stands_above_a_staff_with_words_to_its_notes() {
        let notes = "0/1 1/2 E5, 1/2 1/2 G5";
        let mut score = Fixture::new(&["2/4"; 2]).notes(notes).part(oboe()).notes(notes).score();
        for staff in &mut score.staves {
            let told = [
                (Time::ZERO, StaffDirectionKind::Dynamic(Dynamic::P)),
                (Time::ZERO, StaffDirectionKind::HairpinStarts { grows: true }),
                (Time::QUARTER, StaffDirectionKind::HairpinEnds),
            ];
            staff.measures[0].directions.extend(told.map(|(at, kind)| StaffDirection {
                at,
                kind,
                origin: Origin::default(),
            }));
        }
        sings(&mut score, "Weir");
        let edition = full_score(&score);
        let above = |staff: usize| {
            let staff = &edition.staves[staff];
            (staff.bars[0].directions[0].above, staff.spans[0].above)
        };
        assert_eq!([above(0), above(1)], [(true, true), (false, false)]);
    }

    #[test]
    fn what_is_said_of_loudness_stands_above_a_bass_with_figures_and_these_below_it() {
        let notes = "0/1 1/2 C3, 1/2 1/2 G2";
        let mut score = Fixture::new(&["2/4"; 2]).notes(notes).part(oboe()).notes(notes).score();
        for staff in &mut score.staves {
            let told = StaffDirectionKind::Dynamic(Dynamic::F);
            let told = StaffDirection { at: Time::ZERO, kind: told, origin: Origin::default() };
            staff.measures[0].directions.push(told);
        }
        let figures = StaffDirectionKind::Figures([Figure::plain(6)].into_iter().collect());
        let figures = StaffDirection { at: Time::ZERO, kind: figures, origin: Origin::default() };
        score.staves[0].measures[1].directions.push(figures);
        let edition = full_score(&score);
        let above = |staff: usize, bar: usize| edition.staves[staff].bars[bar].directions[0].above;
        assert_eq!([above(0, 0), above(0, 1), above(1, 0)], [true, false, false]);
    }
}

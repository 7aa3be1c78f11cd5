//! Which way stems go.
//!
//! On a staff with one voice the note farthest from the middle line decides, for a beamed group
//! the farthest of all its notes; on the middle line and where two are equally far the stem goes
//! down. Grace notes have theirs up. Source: Ross, The Art of Music Engraving and Processing,
//! 1970, and Gould, Behind Bars, 2011, from memory.

use crate::instruments::Clef;
use crate::music::{Pitch, Time};

use super::{Beam, Element, ElementKind, Measure, Stem};

/// The diatonic step of the middle line in a clef, counted from C0.
pub(crate) fn middle_step(clef: Clef) -> i32 {
    match clef {
        Clef::Treble | Clef::TrebleOctave => 34,
        Clef::Alto => 28,
        Clef::Tenor => 26,
        Clef::Bass => 22,
        // The only line is its own middle.
        Clef::Percussion => 34,
    }
}

/// Sets the stems of all measures of a staff with one voice.
pub(crate) fn set(measures: &mut [Measure]) {
    let mut clef = Clef::Treble;
    for measure in measures {
        clef = set_bar(&mut measure.elements, &measure.clefs, clef);
    }
}

/// Sets the stems of one bar of one voice; gives back the clef at its end.
pub(crate) fn set_bar(elements: &mut [Element], clefs: &[(Time, Clef)], before: Clef) -> Clef {
    let mut clef = before;
    let mut clefs = clefs.iter().peekable();
    let mut index = 0;
    while index < elements.len() {
        while let Some((_, next)) = clefs.next_if(|(at, _)| *at <= elements[index].at) {
            clef = *next;
        }
        let end = end_of_group(elements, index);
        let group = &mut elements[index..end];
        let (mut high, mut low) = (i32::MIN, i32::MAX);
        for element in group.iter().filter(|element| is_note(element) && !is_grace(element)) {
            for step in steps(element) {
                let from_middle = step - middle_step(clef);
                (high, low) = (high.max(from_middle), low.min(from_middle));
            }
        }
        let up = high < -low && low != i32::MAX;
        for element in group {
            element.stem = match &element.kind {
                ElementKind::Note(_) if element.value.log2 < 1 => Stem::None,
                ElementKind::Note(note) if note.grace.is_some() || up => Stem::Up,
                // Strokes on one line: up, by custom of percussion parts.
                ElementKind::Note(note) if note.heads.is_empty() => Stem::Up,
                ElementKind::Note(_) => Stem::Down,
                _ => Stem::None,
            };
        }
        index = end;
    }
    clefs.next_back().map_or(clef, |(_, last)| *last)
}

/// One past the last element of the beamed group or the tremolo between two notes that begins with
/// an element, or of it alone.
fn end_of_group(elements: &[Element], first: usize) -> usize {
    if begins_tremolo(&elements[first]) {
        return (first + 2).min(elements.len());
    }
    if !begins_beam(&elements[first]) {
        return first + 1;
    }
    let grace = is_grace(&elements[first]);
    let ends = |element: &Element| {
        is_grace(element) == grace && element.beams.first() == Some(&Beam::Ends)
    };
    elements[first..].iter().position(ends).map_or(first + 1, |last| first + last + 1)
}

fn begins_tremolo(element: &Element) -> bool {
    matches!(&element.kind, ElementKind::Note(note) if note.paired.is_some_and(|two| two.starts))
}

fn begins_beam(element: &Element) -> bool {
    element.beams.first() == Some(&Beam::Begins)
}

fn is_note(element: &Element) -> bool {
    matches!(element.kind, ElementKind::Note(_))
}

fn is_grace(element: &Element) -> bool {
    matches!(&element.kind, ElementKind::Note(note) if note.grace.is_some())
}

fn steps(element: &Element) -> impl Iterator<Item = i32> + '_ {
    let heads = match &element.kind {
        ElementKind::Note(note) => note.heads.as_slice(),
        _ => &[],
    };
    heads.iter().map(|head| Pitch::step(head.pitch))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notate::testing::{Fixture, cello};

    fn stems(fixture: Fixture) -> String {
        let score = fixture.score();
        let elements = score.staves[0].measures.iter().flat_map(|measure| &measure.elements);
        elements
            .map(|element| match element.stem {
                Stem::None => '-',
                Stem::Up => 'u',
                Stem::Down => 'd',
            })
            .collect()
    }

    #[test]
    fn the_note_farthest_from_the_middle_line_decides() {
        let notes = "0/1 1/4 A4, 1/4 1/4 B4, 1/2 1/4 C5, 3/4 1/4 E4&G5";
        assert_eq!(stems(Fixture::new(&["4/4"]).notes(notes)), "uddd");
        assert_eq!(
            stems(Fixture::new(&["4/4"]).notes("0/1 1/4 D4&G5, 1/4 1/2 F4, 3/4 1/4 F5")),
            "dud"
        );
    }

    #[test]
    fn a_beamed_group_has_one_direction() {
        let notes = "0/1 1/8 C5, 1/8 1/8 D4, 1/4 1/8 D5, 3/8 1/8 C5, 1/2 1/2 G4";
        assert_eq!(stems(Fixture::new(&["4/4"]).notes(notes)), "uuuuu");
    }

    #[test]
    fn the_clef_tells_where_the_middle_is() {
        let fixture = Fixture::new(&["3/4"]).instrument(cello());
        assert_eq!(stems(fixture.notes("0/1 1/4 C3, 1/4 1/4 D3, 1/2 1/4 E3")), "udd");
    }

    #[test]
    fn whole_notes_and_rests_have_none() {
        assert_eq!(stems(Fixture::new(&["4/4", "4/4"]).notes("0/1 1/1 C5, 1/1 1/2 C5")), "-d-");
    }
}

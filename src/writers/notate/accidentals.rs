//! Which accidentals are printed.
//!
//! An accidental holds to the end of the bar for its letter in its octave. A note tied over the bar
//! line keeps its accidental unprinted, and a later note of the same letter in the new bar prints
//! its own.

use crate::music::{Key, Pitch};

use super::{Element, ElementKind};

/// Staff positions that are told apart, from C-1 up: more than any instrument reaches.
const PLACES: usize = 128;

/// The accidentals in force in a bar. One value serves all bars of a staff, so that nothing is
/// cleared or allocated between bars.
pub(super) struct Accidentals {
    bar: u32,
    /// For each staff position, the bar of its last accidental and the alteration.
    places: Box<[(u32, i8); PLACES]>,
}

impl Accidentals {
    pub(super) fn new() -> Accidentals {
        Accidentals { bar: 0, places: Box::new([(0, 0); PLACES]) }
    }

    /// Marks the heads of one bar whose accidentals are printed. Bars come in order.
    /// `moved` says that the bar begins in another crook or key: what is held into it is written
    /// anew.
    pub(super) fn mark_bar(&mut self, elements: &mut [Element], key: Key, moved: bool) {
        self.bar += 1;
        for (index, element) in elements.iter_mut().enumerate() {
            let ElementKind::Note(note) = &mut element.kind else { continue };
            if note.tie_from && !(moved && index == 0) {
                continue;
            }
            for head in &mut note.heads {
                head.accidental_shown = self.is_new(head.pitch, key);
            }
        }
    }

    fn is_new(&mut self, pitch: Pitch, key: Key) -> bool {
        let place = (pitch.step() + 7).clamp(0, PLACES as i32 - 1) as usize;
        let (bar, alter) = self.places[place];
        let expected = if bar == self.bar { alter } else { key.alter(pitch.letter) };
        self.places[place] = (self.bar, pitch.alter);
        expected != pitch.alter
    }
}

#[cfg(test)]
mod tests {
    use crate::notate::testing::{Fixture, dump};

    #[test]
    fn an_accidental_holds_to_the_end_of_its_bar() {
        let score = Fixture::new(&["4/4", "4/4"])
            .notes("0/1 1/4 F#4, 1/4 1/4 F#4, 1/2 1/4 F4, 3/4 1/4 F5, 1/1 1/1 F#4")
            .score();
        assert_eq!(dump(&score, 0), "F#4!:1/4 F#4:1/4 F4!:1/4 F5:1/4 | F#4!:1/1");
    }

    #[test]
    fn a_signature_needs_no_accidentals_but_leaving_it_does() {
        let score = Fixture::new(&["2/4"]).key("D major").notes("0/1 1/4 F#4, 1/4 1/4 F4").score();
        assert_eq!(dump(&score, 0), "F#4:1/4 F4!:1/4");
    }

    #[test]
    fn a_tie_over_the_bar_line_does_not_repeat_its_accidental() {
        let score =
            Fixture::new(&["2/4", "2/4"]).notes("1/4 1/2 G#4, 3/4 1/8 A4, 7/8 1/8 G#4").score();
        assert_eq!(dump(&score, 0), "rest:1/4 G#4!:1/4… | …G#4:1/4 A4:1/8[ G#4!:1/8]");
    }

    #[test]
    fn grace_notes_count() {
        let score = Fixture::new(&["2/4"])
            .notes("0/1 1/2 G#4")
            .graces(0, &[("1/16", "F#4"), ("1/16", "G#4")])
            .score();
        assert_eq!(dump(&score, 0), "(F#4!:1/16[[ G#4!:1/16]]) G#4:1/2");
    }
}

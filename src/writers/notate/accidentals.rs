//! Which accidentals are printed.
//!
//! An accidental holds to the end of the bar for its letter in its octave. A note tied over the bar
//! line keeps its accidental unprinted, and a later note of the same letter in the new bar prints
//! its own.
//!
//! Where no sign is needed but something before could mislead, a courtesy sign stands in brackets:
//! - the last note of that letter and octave in the bar before was altered otherwise, be it one that
//!   was tied into that bar;
//! - a note of that letter in another octave of the same bar was altered otherwise since;
//! - a note tied into the bar was altered otherwise.
//!
//! Each courtesy is said once in a bar. What was before the bar line misleads nobody where a new
//! signature is printed at it that has the very sign of the courtesy. Source: Gould, Behind Bars, 2011,
//! chapter "Accidentals and key signatures", from memory.

use smallvec::SmallVec;

use crate::music::{Key, Pitch, Time};
use crate::narrow::Narrow;

use super::{Element, ElementKind, Head};

/// Staff positions that are told apart, from C-1 up: more than any instrument reaches.
const PLACES: usize = 128;

/// The last note at a staff position.
#[derive(Clone, Copy, Default)]
struct Last {
    /// Its bar, counted from 1; 0 for none.
    bar: u32,
    alter: i8,
    /// Where it stands in the order of notes.
    order: u32,
    /// The bar into which a note of this position was tied, and its alteration.
    tied: (u32, i8),
}

/// The accidentals in force in a bar. One value serves all bars of a staff, so that nothing is
/// cleared or allocated between bars.
pub(crate) struct Accidentals {
    bar: u32,
    order: u32,
    places: Box<[Last; PLACES]>,
    /// The key of the last bar.
    key: Key,
    /// The key of the bar before, if another signature is printed at the head of this one.
    replaced: Option<Key>,
}

impl Accidentals {
    pub(crate) fn new() -> Accidentals {
        Accidentals {
            bar: 0,
            order: 0,
            places: Box::new([Last::default(); PLACES]),
            key: Key::C_MAJOR,
            replaced: None,
        }
    }

    /// Marks the heads of one bar whose accidentals are printed. Bars come in order, and so do the
    /// elements of all voices. `signed` says that a signature is printed at its head, `moved` that
    /// it begins in another crook or key: what is held into it is written anew.
    pub(crate) fn mark_bar<'e>(
        &mut self,
        elements: impl IntoIterator<Item = &'e mut Element>,
        key: Key,
        signed: bool,
        moved: bool,
    ) {
        self.bar += 1;
        self.replaced = signed.then_some(self.key);
        self.key = key;
        for element in elements {
            let ElementKind::Note(note) = &mut element.kind else { continue };
            let at_start = element.at == Time::ZERO;
            if note.tie_from && !(moved && at_start) {
                for head in &mut note.heads {
                    (head.accidental_shown, head.courtesy) = (false, false);
                    if at_start {
                        let bar = self.bar;
                        self.places[place(head.pitch)].tied = (bar, head.pitch.alter);
                    }
                }
                continue;
            }
            for head in &mut note.heads {
                self.mark(head);
            }
        }
    }

    fn mark(&mut self, head: &mut Head) {
        let (bar, own) = (self.bar, self.places[place(head.pitch)]);
        let alter = head.pitch.alter;
        let stated = own.bar == bar;
        let expected = if stated { own.alter } else { self.key.alter(head.pitch.letter) };
        let needed = expected != alter;
        head.courtesy = !needed && self.misleads(head.pitch);
        head.accidental_shown = needed || head.courtesy;
        self.order += 1;
        let order = self.order;
        let tied = own.tied;
        self.places[place(head.pitch)] = Last { bar, alter, order, tied };
    }

    /// Could something before a note make its reader think of another alteration?
    fn misleads(&self, pitch: Pitch) -> bool {
        let own = self.places[place(pitch)];
        let stated = own.bar == self.bar;
        let is_before = |bar: u32| bar > 0 && bar + 1 == self.bar;
        let before = is_before(own.bar) && own.alter != pitch.alter;
        // One who was held into the bar before and not struck there since, or into this one.
        let tied = own.tied.1 != pitch.alter;
        let before = before || tied && is_before(own.tied.0) && !is_before(own.bar);
        let held = tied && own.tied.0 == self.bar;
        !stated && (before && !self.is_in_new_signature(pitch) || held)
            || self.misleads_from_other_octave(pitch, stated, own.order)
    }

    /// Has the signature at the head of the bar a new sign for the letter of a note that stands as it says? One that
    /// takes all of another back has naturals; one that takes only some back has none.
    fn is_in_new_signature(&self, pitch: Pitch) -> bool {
        let alter = self.key.alter(pitch.letter);
        let is_printed = alter != 0 || self.key.fifths() == 0;
        let is_new = self.replaced.is_some_and(|before| before.alter(pitch.letter) != alter);
        is_printed && is_new && pitch.alter == alter
    }

    fn misleads_from_other_octave(&self, pitch: Pitch, stated: bool, since: u32) -> bool {
        let since = if stated { since } else { 0 };
        let mut octave = place(pitch) % 7;
        while octave < PLACES {
            let other = self.places[octave];
            let later = other.bar == self.bar && other.order > since;
            if octave != place(pitch) && later && other.alter != pitch.alter {
                return true;
            }
            octave += 7;
        }
        false
    }
}

/// Adds the accidentals that the voices of a bar need each by itself, in brackets. Where two players share a voice,
/// each reads his own: one the lower, one the upper of two heads. A head that both strike has one sign. `voices` says
/// of each whether it is shared.
pub(crate) fn mark_alone<'e>(
    voices: impl IntoIterator<Item = (&'e mut [Element], bool)>,
    key: Key,
) {
    let mut voices: SmallVec<[(&mut [Element], bool); 2]> = voices.into_iter().collect();
    let mut signed: SmallVec<[(Time, usize); 8]> = SmallVec::new();
    for element in voices.iter().flat_map(|(elements, _)| elements.iter()) {
        let ElementKind::Note(note) = &element.kind else { continue };
        let shown = note.heads.iter().filter(|head| head.accidental_shown);
        signed.extend(shown.map(|head| (element.at, place(head.pitch))));
    }
    for (elements, shared) in &mut voices {
        let mut stated: [SmallVec<[(usize, i8); 8]>; 2] = Default::default();
        for element in elements.iter_mut() {
            let ElementKind::Note(note) = &mut element.kind else { continue };
            let (tied, two) = (note.tie_from, *shared && note.heads.len() == 2);
            for (rank, head) in note.heads.iter_mut().enumerate() {
                let (own, alter) = (place(head.pitch), head.pitch.alter);
                if tied && !head.accidental_shown {
                    continue;
                }
                let readers = if two { rank..rank + 1 } else { 0..2 };
                for stated in &mut stated[readers] {
                    let before = stated.iter_mut().find(|(other, _)| *other == own);
                    let known = before.as_ref().map(|known| known.1);
                    let needed = known.unwrap_or(key.alter(head.pitch.letter)) != alter;
                    // By the staff alone it would not be needed: it stands in brackets.
                    if needed && !head.accidental_shown && !signed.contains(&(element.at, own)) {
                        (head.accidental_shown, head.courtesy) = (true, true);
                    }
                    match before {
                        Some(known) => known.1 = alter,
                        None => stated.push((own, alter)),
                    }
                }
            }
        }
    }
}

fn place(pitch: Pitch) -> usize {
    (pitch.step() + 7).clamp(0, PLACES.narrow::<i32>() - 1) as usize
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

    #[test]
    fn a_courtesy_cancels_what_the_bar_before_altered() {
        let notes = "0/1 1/2 F#4, 1/2 1/2 F4, 1/1 1/2 F4, 3/2 1/2 F4";
        let score = Fixture::new(&["2/4"; 4]).notes(notes).score();
        assert_eq!(dump(&score, 0), "F#4!:1/2 | F4?:1/2 | F4:1/2 | F4:1/2");
        // Once in a bar; and a signature that holds again is said too.
        let notes = "0/1 1/2 F4, 1/2 1/4 F#4, 3/4 1/4 F#4";
        let score = Fixture::new(&["2/4"; 2]).key("D major").notes(notes).score();
        assert_eq!(dump(&score, 0), "F4!:1/2 | F#4?:1/4 F#4:1/4");
    }

    #[test]
    fn what_a_new_signature_has_at_the_bar_line_needs_no_courtesy() {
        let notes = "0/1 1/4 E4, 1/4 1/4 F4, 1/2 1/4 Eb4, 3/4 1/4 F#4";
        let signed = |from: &str, to: &str| {
            let mut fixture = Fixture::new(&["2/4"; 3]).key(from);
            let key = Fixture::new(&["2/4"]).key(to).form.bars[0].key;
            for bar in &mut fixture.form.bars[1..] {
                bar.key = key;
            }
            fixture
        };
        let score = signed("C major", "Eb major").notes(notes).score();
        assert_eq!(dump(&score, 0), "E4:1/4 F4:1/4 | Eb4:1/4 F#4!:1/4 | rest");
        // The old signature had it too, so that nobody sees it come.
        let score = signed("Bb major", "Eb major").notes(notes).score();
        assert_eq!(dump(&score, 0), "E4!:1/4 F4:1/4 | Eb4?:1/4 F#4!:1/4 | rest");
        // A signature that takes only some of the old one back has no naturals; one that takes all has.
        let notes = "0/1 1/2 Eb4, 1/2 1/2 E4";
        let score = signed("Eb major", "F major").notes(notes).score();
        assert_eq!(dump(&score, 0), "Eb4:1/2 | E4?:1/2 | rest");
        let score = signed("Eb major", "C major").notes(notes).score();
        assert_eq!(dump(&score, 0), "Eb4:1/2 | E4:1/2 | rest");
        // What is held over the bar line still sounds behind it.
        let notes = "1/4 1/2 E4, 3/4 1/8 Eb4, 1/1 1/4 E4";
        let score = signed("C major", "Eb major").notes(notes).score();
        let read = "rest:1/4 E4:1/4… | …E4:1/4 Eb4?:1/8 rest:1/8 | E4!:1/4 rest:1/4";
        assert_eq!(dump(&score, 0), read);
    }

    #[test]
    fn a_courtesy_stands_in_another_octave_of_the_same_bar() {
        let notes = "0/1 1/4 C#5, 1/4 1/4 C4, 1/2 1/4 C4, 3/4 1/4 C#5";
        let score = Fixture::new(&["4/4"]).notes(notes).score();
        assert_eq!(dump(&score, 0), "C#5!:1/4 C4?:1/4 C4:1/4 C#5?:1/4");
    }

    #[test]
    fn a_note_tied_into_the_bar_misleads() {
        let notes = "1/4 1/2 G#4, 3/4 1/4 G4";
        let score = Fixture::new(&["2/4"; 2]).notes(notes).score();
        assert_eq!(dump(&score, 0), "rest:1/4 G#4!:1/4… | …G#4:1/4 G4?:1/4");
        // In the bar after it too, but for a note that was struck there since.
        let notes = "1/4 1/2 G#4, 1/1 1/4 G4, 5/4 1/4 G4, 3/2 1/4 G4";
        let score = Fixture::new(&["2/4"; 4]).notes(notes).score();
        let read = "rest:1/4 G#4!:1/4… | …G#4:1/4 rest:1/4 | G4?:1/4 G4:1/4 | G4:1/4 rest:1/4";
        assert_eq!(dump(&score, 0), read);
        let notes = "1/4 1/2 G#4, 3/4 1/4 G4, 1/1 1/4 G4";
        let score = Fixture::new(&["2/4"; 3]).notes(notes).score();
        assert_eq!(dump(&score, 0), "rest:1/4 G#4!:1/4… | …G#4:1/4 G4?:1/4 | G4:1/4 rest:1/4");
    }
}

//! Trills, turns and mordents as the notes that they are played as.
//!
//! - A trill alternates with the note above and ends on its own note. Before 1830 it begins on the
//!   note above, from then on on its own (common practice; the handbooks change about that time,
//!   from memory, and the year is our heuristic). Grace notes before it say how it begins: after
//!   one on its own note the note above follows, after any other its own note.
//! - A turn over a note is the note above, the note, the note below, the note (Grove, A Dictionary
//!   of Music and Musicians, "Turn", from memory).
//! - A mordent is the note, the note below, the note (Grove, "Mordent", from memory).
//! - All begin on the beat. The last note takes what is left of the duration. Their notes are
//!   32nds, shorter where the duration is too short for them (our heuristic).
//! - The note above or below is read as a player reads it (common practice): with the sign that
//!   stands before a note of its letter and octave in this bar, else as the key has it. It is at
//!   least a semitone and at most a whole tone away, so that a note foreign to the key has no
//!   augmented step beside it (our heuristic).

use crate::arrange::Part;
use crate::music::{Letter, Pitch, Time};
use crate::resolve::{Form, Mark, Marks};

use super::strokes::quick;

/// The first year in which a trill begins on its own note.
const TRILLS_ON_THEIR_NOTE: i32 = 1830;

/// Does a trill in this year begin with the note above, if no grace notes say how it begins?
pub(super) fn trills_from_above(era: i32) -> bool {
    era < TRILLS_ON_THEIR_NOTE
}

/// What is played in place of one note.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Ornament {
    Trill { from_above: bool },
    Turn,
    Mordent,
}

/// Which of the notes around the main one: itself, the one above, the one below.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Step {
    Main,
    Above,
    Below,
}

impl Ornament {
    /// The ornament that marks ask for.
    pub(super) fn of(marks: Marks, from_above: bool) -> Option<Ornament> {
        if marks.has(Mark::Trill) {
            return Some(Ornament::Trill { from_above });
        }
        if marks.has(Mark::Turn) {
            return Some(Ornament::Turn);
        }
        marks.has(Mark::Mordent).then_some(Ornament::Mordent)
    }

    /// Its notes in a length of time, one after another without a gap: which, and how long. Where
    /// there is no room, the main note alone.
    pub(super) fn notes(self, length: Time) -> Vec<(Step, Time)> {
        use Step::{Above, Below, Main};
        let plain = vec![(Main, length)];
        let fixed: &[Step] = match self {
            Ornament::Trill { from_above } => return trill(from_above, length).unwrap_or(plain),
            Ornament::Turn => &[Above, Main, Below, Main],
            Ornament::Mordent => &[Main, Below, Main],
        };
        // Half of a short note is left for its last note.
        let Some(value) = quick(fixed.len() as i64 + 1, length) else { return plain };
        last_takes_the_rest(fixed.iter().copied(), fixed.len() as i64, value, length)
    }
}

fn trill(from_above: bool, length: Time) -> Option<Vec<(Step, Time)>> {
    let (least, first, second) =
        if from_above { (4, Step::Above, Step::Main) } else { (3, Step::Main, Step::Above) };
    let value = quick(least, length)?;
    let fitting = length.div_floor(value);
    // The last note is the main one.
    let count = fitting - (fitting - least) % 2;
    let steps = [first, second].into_iter().cycle();
    Some(last_takes_the_rest(steps, count, value, length))
}

fn last_takes_the_rest(
    steps: impl Iterator<Item = Step>,
    count: i64,
    value: Time,
    length: Time,
) -> Vec<(Step, Time)> {
    (1..=count)
        .zip(steps)
        .map(|(number, step)| {
            (step, if number == count { length - value * (count - 1) } else { value })
        })
        .collect()
}

/// The MIDI key of the note above or below a note (by its index) of a part.
pub(super) fn neighbour(form: &Form, part: &Part, index: usize, main: Pitch, step: Step) -> i32 {
    let way = match step {
        Step::Main => return main.midi(),
        Step::Above => 1,
        Step::Below => -1,
    };
    let letter = Letter::from_step(main.step() + way);
    let crossed = match (step, letter) {
        (Step::Above, Letter::C) => 1,
        (Step::Below, Letter::B) => -1,
        _ => 0,
    };
    let octave = main.octave.saturating_add(crossed);
    let named = part.notes[index].attached().neighbour.filter(|name| name.letter == letter);
    let named = named.map(|name| name.alter);
    let said = || sign_before(form, part, index, letter, octave);
    let alter = named.or_else(said).unwrap_or_else(|| {
        let bar = form.bars.get(form.index_at(part.notes[index].start()));
        bar.map_or(0, |bar| bar.key.alter(letter))
    });
    let distance = (Pitch::new(letter, alter, octave).midi() - main.midi()) * way;
    main.midi() + distance.clamp(1, 2) * way
}

/// The alteration of the last note of that letter and octave before this one in its bar.
fn sign_before(form: &Form, part: &Part, index: usize, letter: Letter, octave: i8) -> Option<i8> {
    let note = &part.notes[index];
    let begin = form.bars.get(form.index_at(note.start()))?.start;
    let of = |pitches: &[Pitch]| {
        pitches.iter().rev().find(|p| p.letter == letter && p.octave == octave).map(|p| p.alter)
    };
    let graces = |index: usize| {
        let graces = part.notes[index].attached().graces?;
        graces.notes.iter().rev().find_map(|(_, pitches)| of(pitches))
    };
    graces(index).or_else(|| {
        (0..index)
            .rev()
            .take_while(|&before| part.notes[before].start() >= begin)
            .find_map(|before| of(part.notes[before].sound().pitches()).or_else(|| graces(before)))
    })
}

#[cfg(test)]
mod tests {
    use super::Step::{Above, Below, Main};
    use super::*;

    fn of(numerator: i64, denominator: i64) -> Time {
        Time::of(numerator, denominator)
    }

    #[test]
    fn a_turn_goes_over_and_under_its_note_and_rests_on_it() {
        let quick = of(1, 32);
        let turn = [(Above, quick), (Main, quick), (Below, quick), (Main, of(13, 32))];
        assert_eq!(Ornament::Turn.notes(of(1, 2)), turn);
    }

    #[test]
    fn a_mordent_dips_once() {
        let quick = of(1, 32);
        let mordent = [(Main, quick), (Below, quick), (Main, of(1, 16))];
        assert_eq!(Ornament::Mordent.notes(of(1, 8)), mordent);
    }

    #[test]
    fn ornaments_of_short_notes_are_quicker() {
        let quick = of(1, 128);
        let mordent = [(Main, quick), (Below, quick), (Main, of(1, 64))];
        assert_eq!(Ornament::Mordent.notes(of(1, 32)), mordent);
    }

    #[test]
    fn an_ornament_without_room_is_the_plain_note() {
        let length = of(1, 128);
        for ornament in [Ornament::Turn, Ornament::Mordent, Ornament::Trill { from_above: true }] {
            assert_eq!(ornament.notes(length), [(Main, length)]);
        }
    }

    #[test]
    fn trills_end_on_their_note_however_they_begin() {
        for length in [of(1, 8), of(1, 4), of(3, 8), of(5, 32), of(1, 12)] {
            for from_above in [false, true] {
                let notes = Ornament::Trill { from_above }.notes(length);
                assert_eq!(notes[0].0, if from_above { Above } else { Main });
                assert_eq!(notes.last().map(|note| note.0), Some(Main));
                assert!(notes.windows(2).all(|pair| pair[0].0 != pair[1].0));
                let whole = notes.iter().fold(Time::ZERO, |sum, note| sum + note.1);
                assert_eq!(whole, length);
            }
        }
    }
}

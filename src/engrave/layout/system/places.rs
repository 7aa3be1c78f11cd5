//! Where along a line times lie, and the signs of signatures on the staff.

use ripieno_compiler::instruments::Clef;
use ripieno_compiler::music::Time;

use crate::layout::notes::Placed;
use crate::layout::spacing::{BarSpace, PlacedBar};

/// Where a time of a bar lies: its column, or between two.
pub(super) fn place_at(space: &BarSpace, placed: &PlacedBar, at: Time, length: Time) -> f64 {
    let next = space.columns.partition_point(|(time, _)| *time < at);
    let column = |n: usize| -> (Time, f64) {
        match (space.columns.get(n), placed.columns.get(n)) {
            (Some((time, _)), Some(x)) => (*time, *x),
            _ => (length, placed.end - space.line - 0.5),
        }
    };
    let after = column(next);
    if after.0 == at && next < space.columns.len() {
        return after.1;
    }
    let before = match next.checked_sub(1) {
        Some(before) => column(before),
        None => (Time::ZERO, placed.body + 0.8),
    };
    let (span, gone) = ((after.0 - before.0).to_f64(), (at - before.0).to_f64());
    if span <= 0.0 { before.1 } else { before.1 + (after.1 - before.1) * gone / span }
}

/// Places of the signs of a signature, in steps above the middle line.
pub(super) fn key_places(clef: Clef, sharps: bool) -> [i32; 7] {
    // As in the treble clef; other clefs have the same shape, moved, but for sharps in the tenor
    // clef, which begin low (Gould, chapter 1).
    let treble = if sharps { [4, 1, 5, 2, -1, 3, 0] } else { [0, 3, -1, 2, -2, 1, -3] };
    let by = match clef {
        Clef::Treble | Clef::TrebleOctave | Clef::Percussion => 0,
        Clef::Alto => -1,
        Clef::Bass => -2,
        Clef::Tenor if sharps => return [-2, 2, -1, 3, 0, 4, 1],
        Clef::Tenor => 1,
    };
    treble.map(|place| place + by)
}

/// The notes of a line with the grace notes among them, in order.
pub(super) fn with_graces<'a>(notes: &[Placed<'a>]) -> Vec<Placed<'a>> {
    let mut all = Vec::with_capacity(notes.len());
    for note in notes {
        all.extend(note.chord.graces.iter().map(|(x, grace)| Placed {
            chord: grace,
            bar: note.bar,
            x: note.x + x,
            lines: note.lines,
            stem_end: grace.stem_end(),
            lowered: 0.0,
        }));
        all.push(*note);
    }
    all
}

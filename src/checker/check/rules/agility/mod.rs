//! How fast, how far and what ornament.

pub mod bass_run;
pub mod drum_sticking;
pub mod grasp;
pub mod impossible_trill;
pub mod leap;
pub mod no_time_to_take;
pub mod pedals;
pub mod slide;
pub mod too_fast;

use super::super::context::{Context, Stretch};
use super::super::facts::Times;
use crate::arrange::{PackedNote, Part};

/// Indices of the notes of a stretch that come faster than its instrument goes.
fn overtaxed_notes(cx: &Context, stretch: &Stretch) -> Vec<usize> {
    let taxed = too_fast::offences(cx, stretch).into_iter();
    taxed.map(|(index, _)| index).collect()
}

/// The top pitch at which a finger stands as a key number.
fn top(note: &PackedNote) -> Option<i32> {
    note.fingered().last().map(|pitch| pitch.midi())
}

/// Steps from one note straight to the next (index of the second), with the seconds between their
/// beginnings and the semitones between their top pitches.
fn steps<'s>(part: &'s Part, times: Times<'s>) -> impl Iterator<Item = (usize, f64, i32)> + 's {
    steps_within(part, times, 0..part.notes.len())
}

/// The same of the notes of a range of indices.
fn steps_within<'s>(
    part: &'s Part,
    times: Times<'s>,
    notes: std::ops::Range<usize>,
) -> impl Iterator<Item = (usize, f64, i32)> + 's {
    // When the note of that index begins: most steps set out from where the one before ended.
    let mut known: Option<(usize, f64)> = None;
    (notes.start.max(1)..notes.end).filter_map(move |index| {
        let (before, note) = (&part.notes[index - 1], &part.notes[index]);
        if before.end() < note.start() {
            return None;
        }
        let semitones = top(note)? - top(before)?;
        let begun = known.filter(|(last, _)| last + 1 == index);
        let begun = begun.map_or_else(|| times.begin(index - 1), |(_, begun)| begun);
        let begin = times.begin(index);
        known = Some((index, begin));
        Some((index, begin - begun, semitones))
    })
}

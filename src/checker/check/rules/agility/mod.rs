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
use crate::arrange::{Part, SoundingNote};

/// Indices of the notes of a stretch that come faster than its instrument goes.
fn overtaxed_notes(cx: &Context, stretch: &Stretch) -> Vec<usize> {
    let taxed = too_fast::offences(cx, stretch).into_iter();
    taxed.map(|(index, _)| index).collect()
}

/// The top pitch of a note as a key number.
fn top(note: &SoundingNote) -> Option<i32> {
    note.sound.pitches().last().map(|pitch| pitch.midi())
}

/// Steps from one note straight to the next (index of the second), with the seconds between their
/// beginnings and the semitones between their top pitches.
fn steps<'s>(
    part: &'s Part,
    times: &'s [(f64, f64)],
) -> impl Iterator<Item = (usize, f64, i32)> + 's {
    steps_within(part, times, 0..part.notes.len())
}

/// The same of the notes of a range of indices.
fn steps_within<'s>(
    part: &'s Part,
    times: &'s [(f64, f64)],
    notes: std::ops::Range<usize>,
) -> impl Iterator<Item = (usize, f64, i32)> + 's {
    (notes.start.max(1)..notes.end).filter_map(move |index| {
        let (before, note) = (&part.notes[index - 1], &part.notes[index]);
        if before.end() < note.start {
            return None;
        }
        let semitones = top(note)? - top(before)?;
        Some((index, times[index].0 - times[index - 1].0, semitones))
    })
}

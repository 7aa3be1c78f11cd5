//! Breath, lips and ears.
//!
//! None of these rules measures anybody: how long a breath or a lip lasts, and how much sound an
//! ear should take, the players and the local rules against noise at work decide.

pub mod lips;
pub mod loud_for_long;
pub mod no_breath;

use std::ops::RangeInclusive;

use crate::arrange::PackedNote;
use crate::check::context::Context;

/// Does another player of the line begin the same notes with the same sound, so that the two breathe
/// in turn, or one of them drops out for a while?
fn shared(cx: &Context, player: usize, notes: RangeInclusive<usize>) -> bool {
    let part = cx.part(player);
    cx.parts().any(|(index, other)| {
        index != player
            && other.player.line_name == part.player.line_name
            && has_all(&other.notes, &part.notes[notes.clone()])
    })
}

/// Are some notes, in order, all begun by somebody with the same sound?
fn has_all(others: &[PackedNote], notes: &[PackedNote]) -> bool {
    let Some(first) = notes.first() else { return true };
    let mut at = others.partition_point(|other| other.start() < first.start());
    notes.iter().all(|note| {
        at += others[at..].iter().take_while(|other| other.start() < note.start()).count();
        others
            .get(at)
            .is_some_and(|other| other.start() == note.start() && other.sound() == note.sound())
    })
}

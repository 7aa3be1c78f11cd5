//! What other choirs hold: players of `sustains` lines that are worked out already.

use super::cost::REST;
use crate::arrange::SoundingNote;
use crate::arrange::derive::Request;
use crate::music::Time;

/// The other choirs of a line, player after player.
pub(super) struct Choirs<'r> {
    players: Vec<&'r [SoundingNote]>,
}

impl<'r> Choirs<'r> {
    pub(super) fn new(request: &Request<'r, '_>) -> Choirs<'r> {
        Choirs { players: request.choirs.clone() }
    }

    /// What each of their players sounds first between two times, as a MIDI key number, or
    /// [`REST`].
    pub(super) fn heights(&self, from: Time, to: Time) -> Vec<i16> {
        let height = |notes: &&[SoundingNote]| {
            let note = notes.get(notes.partition_point(|note| note.end() <= from))?;
            let pitch = note.sound.pitches().first().filter(|_| note.start < to)?;
            Some(pitch.midi() as i16)
        };
        self.players.iter().map(|notes| height(notes).unwrap_or(REST)).collect()
    }
}

/// Each movement of a player who sounds before and after, once.
pub(super) fn moves(before: &[i16], after: &[i16]) -> Vec<(i16, i16)> {
    let mut moves: Vec<(i16, i16)> = before
        .iter()
        .copied()
        .zip(after.iter().copied())
        .filter(|&(from, to)| from != REST && to != REST && from != to)
        .collect();
    moves.sort_unstable();
    moves.dedup();
    moves
}

//! What sounds together: the piece cut at every beginning and end of a note.

use crate::arrange::{Part, SoundingNote};
use crate::music::Time;

/// The piece cut at every beginning and end of a note of any player.
pub(super) struct Slices {
    starts: Vec<Time>,
    /// Where the notes of each slice begin in `sounding`; one more entry than slices.
    first: Vec<u32>,
    sounding: Vec<Sounding>,
}

/// A note that sounds in a slice: index of the player, index of the note in his part.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Sounding {
    pub player: u16,
    pub note: u32,
}

impl Sounding {
    /// The note itself.
    pub fn of<'p>(self, parts: &'p [Part]) -> &'p SoundingNote {
        &parts[usize::from(self.player)].notes[self.note as usize]
    }
}

/// A stretch of time in which nothing changes.
#[derive(Clone, Copy)]
pub(super) struct Slice<'s> {
    pub start: Time,
    pub end: Time,
    pub sounding: &'s [Sounding],
}

impl Slices {
    pub fn new(parts: &[Part]) -> Slices {
        let mut starts: Vec<Time> = Vec::new();
        for part in parts {
            let mut own: Vec<Time> =
                part.notes.iter().flat_map(|note| [note.start, note.end()]).collect();
            own.dedup();
            starts.extend(own);
        }
        starts.sort_unstable();
        starts.dedup();
        let mut at = vec![0usize; parts.len()];
        let mut first = Vec::with_capacity(starts.len() + 1);
        let mut sounding = Vec::new();
        for &start in &starts {
            first.push(sounding.len() as u32);
            for (player, part) in parts.iter().enumerate() {
                let index = &mut at[player];
                while part.notes.get(*index).is_some_and(|note| note.end() <= start) {
                    *index += 1;
                }
                if part.notes.get(*index).is_some_and(|note| note.start <= start) {
                    sounding.push(Sounding { player: player as u16, note: *index as u32 });
                }
            }
        }
        first.push(sounding.len() as u32);
        Slices { starts, first, sounding }
    }

    /// The slices in order of time.
    pub fn iter(&self) -> impl Iterator<Item = Slice<'_>> {
        self.starts.windows(2).enumerate().map(|(index, ends)| Slice {
            start: ends[0],
            end: ends[1],
            sounding: &self.sounding[self.first[index] as usize..self.first[index + 1] as usize],
        })
    }
}

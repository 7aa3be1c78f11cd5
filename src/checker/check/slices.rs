//! What sounds together: the piece cut at every beginning and end of a note.

use std::fmt;
use std::ops::Range;
use std::sync::Arc;

use crate::arrange::{Part, SoundingNote};
use crate::music::Time;
use crate::narrow::Narrow;
use ripieno_compiler::limits;

/// The piece cut at every beginning and end of a note of any player.
pub(super) struct Slices {
    starts: Vec<Time>,
    /// Where the notes of each slice begin in `sounding`; one more entry than slices.
    first: Vec<u32>,
    sounding: Vec<Sounding>,
}

/// A note that sounds in a slice: whose it is and which of his notes, in one word, because a piece has
/// very many slices.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) struct Sounding(u32);

/// Bits for the index of the note.
const NOTE: u32 = 23;

const _: () = assert!(limits::NOTES <= 1 << NOTE && limits::PARTS <= 1 << (u32::BITS - NOTE));

impl Sounding {
    /// The note of that index in the part of the player of that index.
    pub fn new(player: usize, note: usize) -> Sounding {
        debug_assert!(note < 1 << NOTE && player < 1 << (u32::BITS - NOTE));
        Sounding(player.narrow::<u32>() << NOTE | note.narrow::<u32>())
    }

    /// Index of the player.
    pub fn player(self) -> usize {
        (self.0 >> NOTE) as usize
    }

    /// Index of the note in his part.
    pub fn note(self) -> usize {
        (self.0 & ((1 << NOTE) - 1)) as usize
    }

    /// The note itself.
    pub fn of(self, parts: &[Arc<Part>]) -> &SoundingNote {
        &parts[self.player()].notes[self.note()]
    }
}

impl fmt::Debug for Sounding {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        write!(f, "note {} of player {}", self.note(), self.player())
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
    pub fn new(parts: &[Arc<Part>]) -> Slices {
        Slices::within(parts, (Time::MIN, Time::MAX))
    }

    /// The slices that begin within a window (and perhaps some beside them, which may be cut).
    pub fn within(parts: &[Arc<Part>], (from, to): (Time, Time)) -> Slices {
        // The notes of each part that sound in the window, and the first behind it: where the last
        // slice ends depends on that.
        let mut ranges = Vec::with_capacity(parts.len());
        let mut starts: Vec<Time> = Vec::new();
        let mut last: Vec<Time> = Vec::new();
        for part in parts {
            let first = part.notes.partition_point(|note| note.end() <= from);
            let after = part.notes.partition_point(|note| note.start < to) + 1;
            let range = first..after.min(part.notes.len()).max(first);
            let mut own: Vec<Time> =
                part.notes[range.clone()].iter().flat_map(|n| [n.start, n.end()]).collect();
            own.dedup();
            // Who goes along with the one before adds nothing.
            if own != last {
                starts.extend_from_slice(&own);
                last = own;
            }
            ranges.push(range);
        }
        // What is in order by stretches is sorted fastest by merging them.
        starts.sort();
        starts.dedup();
        starts.shrink_to_fit();
        let mut first = Vec::with_capacity(starts.len() + 1);
        let mut sounding = Vec::with_capacity(sounding_in(parts, &ranges, &starts));
        for &start in &starts {
            first.push(sounding.len().narrow::<u32>());
            for (player, (part, range)) in parts.iter().zip(&mut ranges).enumerate() {
                while range.start < range.end && part.notes[range.start].end() <= start {
                    range.start += 1;
                }
                if range.start < range.end && part.notes[range.start].start <= start {
                    sounding.push(Sounding::new(player, range.start));
                }
            }
        }
        first.push(sounding.len().narrow::<u32>());
        Slices { starts, first, sounding }
    }

    /// The slices in order of time.
    pub fn iter(&self) -> impl Iterator<Item = Slice<'_>> {
        (0..self.starts.len()).map_while(|index| self.get(index))
    }

    /// The slice of that index.
    pub fn get(&self, index: usize) -> Option<Slice<'_>> {
        Some(Slice {
            start: self.starts[index],
            end: *self.starts.get(index + 1)?,
            sounding: &self.sounding[self.first[index] as usize..self.first[index + 1] as usize],
        })
    }

    /// Indices of the slices between two times.
    pub fn between(&self, from: Time, to: Time) -> Range<usize> {
        let index = |time| self.starts.partition_point(|start| *start < time);
        index(from)..index(to)
    }
}

/// How many notes sound in all slices together: a list that grew to them would take twice the room.
fn sounding_in(parts: &[Arc<Part>], ranges: &[Range<usize>], starts: &[Time]) -> usize {
    let of_part = |part: &Part, range: &Range<usize>| {
        let mut slice = 0;
        let mut sum = 0;
        for note in &part.notes[range.clone()] {
            while starts.get(slice).is_some_and(|start| *start < note.start) {
                slice += 1;
            }
            let first = slice;
            while starts.get(slice).is_some_and(|start| *start < note.end()) {
                slice += 1;
            }
            sum += slice - first;
        }
        sum
    };
    let mut known: Option<(usize, &Range<usize>, usize)> = None;
    let mut sum = 0;
    for (part, range) in parts.iter().zip(ranges) {
        let address = part.notes.address();
        let own = match known {
            Some((other, same, own)) if (other, same) == (address, range) => own,
            _ => of_part(part, range),
        };
        known = Some((address, range, own));
        sum += own;
    }
    sum
}

//! What sounds together: the piece cut at every beginning and end of a note.

use std::collections::HashMap;
use std::fmt;
use std::ops::Range;
use std::sync::Arc;

use crate::arrange::{PackedNote, Part};
use crate::music::Time;
use crate::narrow::Narrow;
use ripieno_compiler::limits;

/// The piece cut at every beginning and end of a note of any player.
pub(super) struct Slices {
    starts: Vec<Time>,
    /// Where the notes of each slice begin in `sounding`; one more entry than slices.
    first: Vec<u32>,
    /// The notes, those that several players share by the first of them.
    sounding: Vec<Sounding>,
    /// For each player the first one who shares his notes: himself, if nobody before him does.
    leaders: Vec<usize>,
    /// Does any player share the notes of another?
    shared: bool,
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
    pub fn of(self, parts: &[Arc<Part>]) -> &PackedNote {
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
        let mut first_of: HashMap<usize, usize> = HashMap::new();
        let leader = |(player, part): (usize, &Arc<Part>)| {
            *first_of.entry(part.notes.address()).or_insert(player)
        };
        let leaders: Vec<usize> = parts.iter().enumerate().map(leader).collect();
        // The notes of each part that sound in the window, and the first behind it: where the last
        // slice ends depends on that.
        let mut ranges = Vec::with_capacity(parts.len());
        let mut starts: Vec<Time> = Vec::new();
        let mut last: Vec<Time> = Vec::new();
        let mut settled = 0;
        for (player, part) in
            parts.iter().enumerate().filter(|(player, _)| leaders[*player] == *player)
        {
            let first = part.notes.partition_point(|note| note.end() <= from);
            let after = part.notes.partition_point(|note| note.start() < to) + 1;
            let range = first..after.min(part.notes.len()).max(first);
            let mut own: Vec<Time> = Vec::with_capacity(range.len() + 1);
            for time in part.notes[range.clone()].iter().flat_map(|n| [n.start(), n.end()]) {
                if own.last() != Some(&time) {
                    own.push(time);
                }
            }
            // Who goes along with the one before adds nothing.
            if own != last {
                starts.extend_from_slice(&own);
                last = own;
                // What several have is kept once, lest the list grow with the players.
                if starts.len() > 2 * settled + MANY {
                    starts.sort();
                    starts.dedup();
                    settled = starts.len();
                }
            }
            ranges.push((player, range));
        }
        drop(last);
        // What is in order by stretches is sorted fastest by merging them.
        starts.sort();
        starts.dedup();
        starts.shrink_to_fit();
        let mut first = Vec::with_capacity(starts.len() + 1);
        let mut sounding = Vec::with_capacity(sounding_in(parts, &ranges, &starts));
        for &start in &starts {
            first.push(sounding.len().narrow::<u32>());
            for (player, range) in &mut ranges {
                let notes = &parts[*player].notes;
                while range.start < range.end && notes[range.start].end() <= start {
                    range.start += 1;
                }
                if range.start < range.end && notes[range.start].start() <= start {
                    sounding.push(Sounding::new(*player, range.start));
                }
            }
        }
        first.push(sounding.len().narrow::<u32>());
        let shared = leaders.iter().enumerate().any(|(player, leader)| player != *leader);
        Slices { starts, first, sounding, leaders, shared }
    }

    /// From when to when the slice of that index lasts.
    pub fn times(&self, index: usize) -> Option<(Time, Time)> {
        Some((*self.starts.get(index)?, *self.starts.get(index + 1)?))
    }

    /// The slice of that index, whose notes may be put into `room`.
    pub fn get<'s>(&'s self, index: usize, room: &'s mut Room) -> Option<Slice<'s>> {
        let (start, end) = self.times(index)?;
        let notes = &self.sounding[self.first[index] as usize..self.first[index + 1] as usize];
        let sounding = if self.shared { room.fill(notes, &self.leaders) } else { notes };
        Some(Slice { start, end, sounding })
    }

    /// Indices of the slices between two times.
    pub fn between(&self, from: Time, to: Time) -> Range<usize> {
        let index = |time| self.starts.partition_point(|start| *start < time);
        index(from)..index(to)
    }
}

/// So many times may stand in a list more than once.
const MANY: usize = 4096;

/// Room for what sounds in one slice, player by player.
#[derive(Default)]
pub(super) struct Room {
    /// Which note of his each player sounds who is the first to have it.
    notes: Vec<Option<usize>>,
    sounding: Vec<Sounding>,
}

impl Room {
    /// What all players sound, if these are the notes of the first who have them.
    fn fill(&mut self, notes: &[Sounding], leaders: &[usize]) -> &[Sounding] {
        self.notes.clear();
        self.notes.resize(leaders.len(), None);
        for note in notes {
            self.notes[note.player()] = Some(note.note());
        }
        self.sounding.clear();
        self.sounding.extend(leaders.iter().enumerate().filter_map(|(player, leader)| {
            self.notes[*leader].map(|note| Sounding::new(player, note))
        }));
        &self.sounding
    }
}

/// How many notes sound in all slices together: a list that grew to them would take twice the room.
fn sounding_in(parts: &[Arc<Part>], ranges: &[(usize, Range<usize>)], starts: &[Time]) -> usize {
    let of_part = |(player, range): &(usize, Range<usize>)| {
        let mut slice = 0;
        let mut sum = 0;
        for note in &parts[*player].notes[range.clone()] {
            while starts.get(slice).is_some_and(|start| *start < note.start()) {
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
    ranges.iter().map(of_part).sum()
}

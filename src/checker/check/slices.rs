//! What sounds together: the piece cut at every beginning and end of a note.

use std::collections::HashMap;
use std::fmt;
use std::ops::Range;
use std::sync::Arc;

use crate::arrange::{PackedNote, Part};
use crate::lists::{push_slowly, put_in_order};
use crate::music::Time;
use crate::narrow::Narrow;
use ripieno_compiler::limits;

/// The piece cut at every beginning and end of a note of any player.
pub(super) struct Slices {
    starts: Vec<Time>,
    /// Where the columns of each block of slices begin; one more entry than blocks.
    blocks: Vec<u32>,
    /// Player by player, those who share their notes by the first of them.
    columns: Vec<Column>,
    /// For each column and slice of its block which note sounds, counted from the first of the column,
    /// or [`SILENT`].
    notes: Vec<u8>,
    /// For each player the first one who shares his notes: himself, if nobody before him does.
    leaders: Vec<usize>,
    /// Does any player share the notes of another?
    shared: bool,
}

/// What one player has in a block of slices.
struct Column {
    player: u16,
    /// The first of his notes that sounds in it.
    first: u32,
}

/// So many slices are a block. Most players have fewer notes in it, and many have none.
const BLOCK: usize = 64;

/// No note, where notes are counted from the first of a column.
const SILENT: u8 = u8::MAX;

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
        // Where those of the one before stand among them, unless they were put in order since.
        let mut last = 0..0;
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
                    push_slowly(&mut own, time);
                }
            }
            // Who goes along with the one before adds nothing.
            if own != starts[last.clone()] {
                last = starts.len()..starts.len() + own.len();
                match starts.is_empty() {
                    true => starts = own,
                    false => starts.extend_from_slice(&own),
                }
                // What several have is kept once, lest the list grow with the players.
                if starts.len() > 2 * settled + MANY && settled + last.len() < starts.len() {
                    in_order_once(&mut starts);
                    settled = starts.len();
                    last = 0..0;
                }
            }
            ranges.push((player, range));
        }
        in_order_once(&mut starts);
        if starts.capacity() > starts.len() / 4 * 5 + MANY {
            starts.shrink_to_fit();
        }
        let mut slices = Slices {
            blocks: vec![0],
            columns: Vec::new(),
            notes: Vec::new(),
            shared: false,
            starts,
            leaders,
        };
        // A list that grew to its length would take twice the room.
        let most = slices.columns_of(parts, &ranges);
        slices.columns.reserve_exact(most);
        slices.notes.reserve_exact(most * BLOCK);
        for block in 0..slices.starts.len().div_ceil(BLOCK) {
            for (player, range) in &mut ranges {
                slices.fill(block, *player, &parts[*player].notes, range);
            }
            slices.blocks.push(slices.columns.len().narrow::<u32>());
        }
        slices.shared = slices.leaders.iter().enumerate().any(|(player, leader)| player != *leader);
        slices
    }

    /// In how many blocks some players sound, together.
    fn columns_of(&self, parts: &[Arc<Part>], ranges: &[(usize, Range<usize>)]) -> usize {
        let sounds = |(player, range): &(usize, Range<usize>)| {
            let notes = &parts[*player].notes[range.clone()];
            let mut at = 0;
            let blocks = self.starts.chunks(BLOCK).filter(|block| {
                let (first, last) = (block[0], block[block.len() - 1]);
                at += notes[at..].partition_point(|note| note.end() <= first);
                notes.get(at).is_some_and(|note| note.start() <= last)
            });
            blocks.count()
        };
        ranges.iter().map(sounds).sum()
    }

    /// Puts down what a player sounds in a block, who has had all notes before a range.
    fn fill(
        &mut self,
        block: usize,
        player: usize,
        notes: &[PackedNote],
        range: &mut Range<usize>,
    ) {
        let from = block * BLOCK;
        let slices = from..(from + BLOCK).min(self.starts.len());
        let mut own: Option<u32> = None;
        for (place, start) in self.starts[slices].iter().enumerate() {
            while range.start < range.end && notes[range.start].end() <= *start {
                range.start += 1;
            }
            if range.start == range.end || notes[range.start].start() > *start {
                continue;
            }
            let note = range.start.narrow::<u32>();
            let reached = own.and_then(|first| u8::try_from(note - first).ok());
            let counted = reached.filter(|counted| *counted != SILENT).unwrap_or_else(|| {
                own = Some(note);
                self.columns.push(Column { player: player.narrow::<u16>(), first: note });
                self.notes.resize(self.columns.len() * BLOCK, SILENT);
                0
            });
            let column = (self.columns.len() - 1) * BLOCK;
            self.notes[column + place] = counted;
        }
    }

    /// From when to when the slice of that index lasts.
    pub fn times(&self, index: usize) -> Option<(Time, Time)> {
        Some((*self.starts.get(index)?, *self.starts.get(index + 1)?))
    }

    /// The slice of that index, whose notes may be put into `room`.
    pub fn get<'s>(&'s self, index: usize, room: &'s mut Room) -> Option<Slice<'s>> {
        let (start, end) = self.times(index)?;
        let block = index / BLOCK;
        let columns = self.blocks[block] as usize..self.blocks[block + 1] as usize;
        let notes = columns.filter_map(|column| {
            let counted = self.notes[column * BLOCK + index % BLOCK];
            let Column { player, first } = self.columns[column];
            let note = first as usize + usize::from(counted);
            (counted != SILENT).then(|| (usize::from(player), note))
        });
        let leaders = self.shared.then_some(&self.leaders[..]);
        Some(Slice { start, end, sounding: room.fill(notes, leaders) })
    }

    /// Indices of the slices between two times.
    pub fn between(&self, from: Time, to: Time) -> Range<usize> {
        let index = |time| self.starts.partition_point(|start| *start < time);
        index(from)..index(to)
    }
}

/// Puts times in order, and each once.
fn in_order_once(times: &mut Vec<Time>) {
    // What is in order by stretches is sorted fastest by merging them.
    put_in_order(times, |time| *time);
    times.dedup();
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
    /// What all players sound, if these are the notes of the first who have them: for each player the
    /// first who has his, if any share.
    fn fill(
        &mut self,
        notes: impl Iterator<Item = (usize, usize)>,
        leaders: Option<&[usize]>,
    ) -> &[Sounding] {
        self.sounding.clear();
        let Some(leaders) = leaders else {
            self.sounding.extend(notes.map(|(player, note)| Sounding::new(player, note)));
            return &self.sounding;
        };
        self.notes.clear();
        self.notes.resize(leaders.len(), None);
        for (player, note) in notes {
            self.notes[player] = Some(note);
        }
        self.sounding.extend(leaders.iter().enumerate().filter_map(|(player, leader)| {
            self.notes[*leader].map(|note| Sounding::new(player, note))
        }));
        &self.sounding
    }
}

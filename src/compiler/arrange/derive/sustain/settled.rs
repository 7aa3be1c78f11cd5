//! Passages with borders at which the solution is settled, and what is known of them from an
//! earlier run.
//!
//! A border stands where a section begins (at a mark, a repeat, an ending, a double bar line) and
//! every [`BARS`] bars after it. Each passage is worked out by itself, going on from what was held
//! before it and looking ahead to where it leads ([`AHEAD`]), so that after an edit in one bar only its passage is worked out again, and those
//! behind it only if it now ends otherwise. All that a solution depends on is its question; a
//! question of 128 bits that was asked before has the same answer.

use std::collections::HashMap;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::ops::Range;
use std::sync::Arc;

use super::board::Board;
use super::slots::Slot;
use crate::resolve::{BarLine, Form};

/// A passage is no longer than so many bars. (Our heuristic: a period.)
pub(super) const BARS: usize = 8;

/// So many chords after a border are looked at, so that what wants to resolve can.
pub(super) const AHEAD: usize = 2;

/// What passages were found to hold: for each slot and seat its height.
#[derive(Clone, Debug, Default)]
pub(in crate::arrange) struct Settled {
    known: HashMap<u128, Arc<[i8]>>,
}

impl Settled {
    pub(super) fn get(&self, question: u128) -> Option<&Arc<[i8]>> {
        self.known.get(&question)
    }

    /// How many of its passages another one does not know, and how many it has.
    #[cfg(test)]
    pub(super) fn news_to(&self, other: &Settled) -> (usize, usize) {
        let new = self.known.keys().filter(|question| !other.known.contains_key(question));
        (new.count(), self.known.len())
    }

    pub(super) fn put(&mut self, question: u128, heights: Arc<[i8]>) {
        self.known.insert(question, heights);
    }
}

/// The passages between borders, as ranges of slots.
pub(super) fn passages(form: &Form, slots: &[Slot]) -> Vec<Range<usize>> {
    /// No passage after the first of a section has fewer slots than this.
    const LEAST: usize = 5;
    let mut section = 0;
    let number: Vec<(usize, usize)> = form
        .bars
        .iter()
        .enumerate()
        .map(|(index, bar)| {
            let before = index.checked_sub(1).map(|before| &form.bars[before]);
            let divides = bar.mark.is_some()
                || bar.repeat_starts
                || form.ending_changes(index)
                || before.is_some_and(|bar| bar.repeat_ends || bar.line != BarLine::Plain);
            if divides {
                section = index;
            }
            (section, (index - section) / BARS)
        })
        .collect();
    let mut passages: Vec<Range<usize>> = Vec::new();
    let mut last = None;
    for (at, slot) in slots.iter().enumerate() {
        let own = number.get(form.index_at(slot.start)).copied();
        match passages.last_mut() {
            Some(range) if slot.joined && own == last => range.end = at + 1,
            _ => passages.push(at..at + 1),
        }
        last = own;
    }
    // A few chords at the end of a section are no passage of their own.
    let section_of = |range: &Range<usize>| {
        number.get(form.index_at(slots[range.start].start)).map(|(section, _)| *section)
    };
    let mut joined: Vec<Range<usize>> = Vec::new();
    for range in passages {
        match joined.last_mut() {
            Some(last)
                if range.len() < LEAST
                    && slots[range.start].joined
                    && section_of(last) == section_of(&range) =>
            {
                last.end = range.end;
            }
            _ => joined.push(range),
        }
    }
    joined
}

/// A passage with the chords behind it that it looks at.
pub(super) fn with_ahead(slots: &[Slot], passage: &Range<usize>) -> Range<usize> {
    let behind = slots[passage.end..].iter().take(AHEAD).take_while(|slot| slot.joined);
    passage.start..passage.end + behind.count()
}

/// All on which the solution of a passage depends; `seats` is the question of the players.
pub(super) fn question(board: &Board, seats: &[u64; 2], passage: &Range<usize>) -> u128 {
    let half = |which: usize| {
        let mut hasher = DefaultHasher::new();
        seats[which].hash(&mut hasher);
        let joined = board.slots[passage.start].joined;
        let from = if joined { passage.start.saturating_sub(1) } else { passage.start };
        // Chords that are only looked at are no chords of the passage.
        (joined, passage.len()).hash(&mut hasher);
        for at in from..with_ahead(board.slots, passage).end {
            let slot = &board.slots[at];
            (slot.chord, slot.key, slot.joined, slot.ends, &slot.active).hash(&mut hasher);
            for seat in board.seats {
                seat.supplies.stretch(slot.start).hash(&mut hasher);
            }
            board.ears[at].hash(&mut hasher);
        }
        if joined {
            board.heights.within(from..from + 1).hash(&mut hasher);
        }
        hasher.finish()
    };
    u128::from(half(0)) << 64 | u128::from(half(1))
}

/// The question of the players: who they are and what they have.
pub(super) fn of_seats(board: &Board) -> [u64; 2] {
    [0u8, 1].map(|salt| {
        let mut hasher = DefaultHasher::new();
        salt.hash(&mut hasher);
        for seat in board.seats {
            seat.hash(&mut hasher);
        }
        hasher.finish()
    })
}

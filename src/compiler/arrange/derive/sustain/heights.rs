//! The heights that seats hold at slots, side by side.

use std::ops::Range;

use super::cost::REST;
use crate::narrow::Narrow;

/// For each slot and seat the height that it holds, or [`REST`].
pub(super) struct Heights {
    seats: usize,
    all: Vec<i8>,
}

impl Heights {
    /// So many seats that rest at so many slots.
    pub(super) fn resting(slots: usize, seats: usize) -> Heights {
        Heights { seats, all: vec![REST.narrow::<i8>(); slots * seats] }
    }

    /// What a seat holds at a slot.
    pub(super) fn of(&self, slot: usize, seat: usize) -> i16 {
        i16::from(self.all[slot * self.seats + seat])
    }

    /// What all seats hold at a slot.
    pub(super) fn at(&self, slot: usize) -> impl Iterator<Item = i16> {
        self.within(slot..slot + 1).iter().map(|height| i16::from(*height))
    }

    /// What all seats hold at slots, slot by slot.
    pub(super) fn within(&self, slots: Range<usize>) -> &[i8] {
        &self.all[slots.start * self.seats..slots.end * self.seats]
    }

    pub(super) fn put(&mut self, slot: usize, seat: usize, height: i16) {
        // Heights are MIDI key numbers.
        self.all[slot * self.seats + seat] = height.narrow::<i8>();
    }

    /// Puts down what all seats hold at slots, as [`Heights::within`] tells it.
    pub(super) fn put_all(&mut self, slots: Range<usize>, heights: &[i8]) {
        self.all[slots.start * self.seats..slots.end * self.seats].copy_from_slice(heights);
    }

    /// Lets all seats rest at slots.
    pub(super) fn rest(&mut self, slots: Range<usize>) {
        let range = slots.start * self.seats..slots.end * self.seats;
        self.all[range].fill(REST.narrow::<i8>());
    }
}

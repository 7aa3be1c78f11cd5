//! Metres.

use std::fmt;

use super::Time;

/// A metre: so many units of a note value in a bar.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct Metre {
    /// How many units a bar holds: 1 to 32.
    pub count: u8,
    /// The unit as the part of a whole note: 1, 2, 4, 8, 16 or 32.
    pub unit: u8,
}

impl Metre {
    /// A metre of 1 to 32 units, each a whole, half, quarter … or 32nd note; `None` for others.
    #[must_use]
    pub fn new(count: u8, unit: u8) -> Option<Metre> {
        let usual = (1..=32).contains(&count) && matches!(unit, 1 | 2 | 4 | 8 | 16 | 32);
        usual.then_some(Metre { count, unit })
    }

    /// Length of a full bar.
    #[must_use]
    pub fn bar_length(self) -> Time {
        Time::of(i64::from(self.count), i64::from(self.unit))
    }

    /// Is each beat a dotted value (6/8, 9/8, 12/8, 6/16, 6/4)?
    ///
    /// 3/8 counts as compound only from six units on: a 3/8 bar is counted in three.
    #[must_use]
    pub fn is_compound(self) -> bool {
        self.count > 3 && self.count.is_multiple_of(3) && self.unit >= 4
    }

    /// Length of the beat that a musician counts: a quarter in 3/4, a dotted quarter in 6/8.
    #[must_use]
    pub fn beat(self) -> Time {
        let units = if self.is_compound() { 3 } else { 1 };
        Time::of(units, i64::from(self.unit))
    }

    /// Number of beats in a full bar.
    #[must_use]
    pub fn beats(self) -> i64 {
        self.bar_length().div_floor(self.beat())
    }

    /// The beat (from 1) in which a position within the bar lies, and how far into it.
    #[must_use]
    pub fn beat_at(self, position: Time) -> (i64, Time) {
        let beat = self.beat();
        (position.div_floor(beat) + 1, position % beat)
    }

    /// Weight of a position within the bar: 3 the first beat, 2 the middle of a bar of four (or of
    /// two or four compound beats), 1 any other beat, 0 between the beats.
    #[must_use]
    pub fn weight(self, position: Time) -> u8 {
        if position == Time::ZERO {
            return 3;
        }
        let (beat, into) = self.beat_at(position);
        if into != Time::ZERO {
            return 0;
        }
        let beats = self.beats();
        if beats % 2 == 0 && (beat - 1) * 2 == beats { 2 } else { 1 }
    }
}

impl fmt::Display for Metre {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.count, self.unit)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn compound_beats_are_dotted() {
        let six_eight = Metre::new(6, 8).unwrap();
        assert_eq!(six_eight.beat(), Time::of(3, 8));
        assert_eq!(six_eight.beats(), 2);
        assert_eq!(Metre::new(3, 8).unwrap().beats(), 3);
        assert_eq!(Metre::new(5, 8).unwrap().beat(), Time::EIGHTH);
    }

    #[test]
    fn the_first_beat_weighs_most_and_the_middle_next() {
        let common = Metre::new(4, 4).unwrap();
        let weights: Vec<u8> = (0..8).map(|i| common.weight(Time::EIGHTH * i)).collect();
        assert_eq!(weights, [3, 0, 1, 0, 2, 0, 1, 0]);
    }

    #[test]
    fn a_metre_nobody_can_beat_is_refused() {
        assert!(Metre::new(0, 4).is_none());
        assert!(Metre::new(3, 5).is_none());
    }
}

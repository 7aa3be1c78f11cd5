//! Printed values: which durations one sign can show.

use crate::music::Time;

use super::NoteValue;

/// log2 of the longest (a breve) and the shortest printed value.
const LONGEST: i8 = -1;
const SHORTEST: i8 = 10;
/// More than two dots are hard to read; such durations are tied instead.
const MOST_DOTS: u8 = 2;
const COUNT: usize = 33;

/// All printed values with their lengths, from the longest to the shortest.
const VALUES: [(Time, NoteValue); COUNT] = {
    let breve = NoteValue { log2: LONGEST, dots: 0 };
    let mut values = [(Time::ZERO, breve); COUNT];
    let mut index = 0;
    let mut log2 = LONGEST;
    while log2 <= SHORTEST {
        let mut dots = MOST_DOTS + 1;
        while dots > 0 {
            dots -= 1;
            // The grain of time ends at 1/1024, so the shortest values have no room for dots.
            if log2 + dots as i8 <= SHORTEST {
                let value = NoteValue { log2, dots };
                values[index] = (value.length(), value);
                index += 1;
            }
        }
        log2 += 1;
    }
    assert!(index == COUNT);
    values
};

impl NoteValue {
    /// The value that lasts exactly so long, with at most two dots.
    #[must_use]
    pub fn of(length: Time) -> Option<NoteValue> {
        let index = VALUES.partition_point(|(other, _)| *other > length);
        VALUES.get(index).filter(|(other, _)| *other == length).map(|(_, value)| *value)
    }

    /// The longest value that does not last longer than that (the shortest of all where there is
    /// none).
    #[must_use]
    pub fn at_most(length: Time) -> NoteValue {
        let index = VALUES.partition_point(|(other, _)| *other > length);
        VALUES[index.min(COUNT - 1)].1
    }

    /// How long it lasts outside a tuplet.
    #[must_use]
    pub const fn length(self) -> Time {
        let dotted = (2 << self.dots) - 1;
        let log2 = self.log2 + self.dots as i8;
        if log2 < 0 { Time::of(dotted << -log2, 1) } else { Time::of(dotted, 1 << log2) }
    }

    /// How many flags or beams it has.
    #[must_use]
    pub fn flags(self) -> u8 {
        u8::try_from(self.log2 - 2).unwrap_or(0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_value_is_found_by_its_length() {
        for (length, value) in VALUES {
            assert_eq!(NoteValue::of(length), Some(value));
        }
        assert!(VALUES.is_sorted_by(|a, b| a.0 > b.0));
    }

    #[test]
    fn five_eighths_are_no_single_value() {
        assert_eq!(NoteValue::of(Time::of(5, 8)), None);
        assert_eq!(NoteValue::of(Time::of(7, 8)), Some(NoteValue { log2: 1, dots: 2 }));
        assert_eq!(NoteValue::of(Time::of(2, 1)), Some(NoteValue { log2: -1, dots: 0 }));
    }

    #[test]
    fn an_eighth_has_one_flag_and_a_quarter_none() {
        assert_eq!(NoteValue { log2: 3, dots: 0 }.flags(), 1);
        assert_eq!(NoteValue { log2: 2, dots: 1 }.flags(), 0);
        assert_eq!(NoteValue { log2: -1, dots: 0 }.flags(), 0);
    }
}

//! Bars by their numbers, as people count them.

use std::fmt;

/// Bars by their printed numbers, from a first up to and including a last one.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct BarNumbers {
    /// The first; 0 for a pick-up.
    pub first: i32,
    /// The last.
    pub last: i32,
}

impl BarNumbers {
    /// The bars from one number to another.
    #[must_use]
    pub const fn new(first: i32, last: i32) -> BarNumbers {
        BarNumbers { first, last }
    }

    /// One bar.
    #[must_use]
    pub const fn one(number: i32) -> BarNumbers {
        BarNumbers::new(number, number)
    }

    /// Are all of these bars among others?
    #[must_use]
    pub const fn is_within(self, others: BarNumbers) -> bool {
        others.first <= self.first && self.last <= others.last
    }

    /// From the first bar of some ranges in order to the last one.
    #[must_use]
    pub fn around(ranges: &[BarNumbers]) -> Option<BarNumbers> {
        Some(BarNumbers::new(ranges.first()?.first, ranges.last()?.last))
    }

    /// Adds a bar to ranges that grow from left to right.
    pub fn add(ranges: &mut Vec<BarNumbers>, number: i32) {
        match ranges.last_mut() {
            Some(range) if (range.first..=range.last + 1).contains(&number) => {
                range.last = range.last.max(number);
            }
            _ => ranges.push(BarNumbers::one(number)),
        }
    }
}

/// As a source has them: "12", "9..16".
impl fmt::Display for BarNumbers {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.first == self.last {
            true => write!(f, "{}", self.first),
            false => write!(f, "{}..{}", self.first, self.last),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::BarNumbers;

    #[test]
    fn neighbouring_bars_grow_together() {
        let mut ranges = Vec::new();
        [1, 2, 2, 3, 7, 8].into_iter().for_each(|bar| BarNumbers::add(&mut ranges, bar));
        assert_eq!(ranges, [BarNumbers::new(1, 3), BarNumbers::new(7, 8)]);
        assert_eq!(BarNumbers::around(&ranges), Some(BarNumbers::new(1, 8)));
        assert_eq!(BarNumbers::around(&[]), None);
    }

    #[test]
    fn bars_read_as_a_source_has_them() {
        assert_eq!(BarNumbers::one(0).to_string(), "0");
        assert_eq!(BarNumbers::new(9, 16).to_string(), "9..16");
    }
}

//! Bars by their numbers, as people count them.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

/// Bars by their printed numbers, from a first up to and including a last one.
/// As data they are a list of two numbers.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize)]
#[serde(into = "(i32, i32)", from = "(i32, i32)")]
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

    /// Is a bar among these and among others?
    #[must_use]
    pub const fn meets(self, others: BarNumbers) -> bool {
        self.first <= others.last && others.first <= self.last
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

impl From<BarNumbers> for (i32, i32) {
    fn from(bars: BarNumbers) -> (i32, i32) {
        (bars.first, bars.last)
    }
}

impl From<(i32, i32)> for BarNumbers {
    fn from((first, last): (i32, i32)) -> BarNumbers {
        BarNumbers { first, last }
    }
}

impl FromStr for BarNumbers {
    type Err = String;

    /// Reads bars as a source has them: "12", "9..16".
    fn from_str(text: &str) -> Result<BarNumbers, String> {
        let (first, last) = text.split_once("..").unwrap_or((text, text));
        let number = |word: &str| {
            let read = word.trim().parse().ok().filter(|bar| *bar >= 0);
            read.ok_or_else(|| format!("`{}` is not a bar; write 9..16 or 9", word.trim()))
        };
        let bars = BarNumbers::new(number(first)?, number(last)?);
        match bars.last < bars.first {
            true => Err(format!("these bars run backwards; write {}..{}", bars.last, bars.first)),
            false => Ok(bars),
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
        assert_eq!("9..16".parse(), Ok(BarNumbers::new(9, 16)));
        assert_eq!(" 7".parse(), Ok(BarNumbers::one(7)));
        let refused = |text: &str| text.parse::<BarNumbers>().unwrap_err();
        assert_eq!(refused("16..9"), "these bars run backwards; write 9..16");
        assert_eq!(refused("9..end"), "`end` is not a bar; write 9..16 or 9");
        assert_eq!(refused("-1"), "`-1` is not a bar; write 9..16 or 9");
    }
}

//! Types of pieces in movements.

use super::Form;
use crate::diagnostics::{FileId, Span};
use std::ops::Range;

/// A movement of a piece in several: a piece of its own, with its form, voices and scorings.
#[derive(Clone, PartialEq, Debug)]
pub struct Movement {
    /// Its source.
    pub file: FileId,
    /// Its title in the whole, where it is not its own behind its number.
    pub title: Option<String>,
    /// Does the next one follow at once?
    pub attacca: bool,
    /// Where the whole names its source.
    pub span: Span,
}

/// What goes on from one movement to the next, rather than beginning afresh.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Through {
    /// The numbers of bars.
    pub bars: bool,
    /// Rehearsal marks that are letters or numbers.
    pub marks: bool,
}

/// A movement in the form of the whole.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct FormMovement {
    /// Index of its first bar.
    pub first: usize,
    /// Its title as it is printed: "II. Minuet".
    pub title: String,
    /// Does the next one follow at once?
    pub attacca: bool,
}

impl Form {
    /// The bars of each movement; all bars of a piece in one.
    #[must_use]
    pub fn movement_bars(&self) -> Vec<Range<usize>> {
        let ends = self.movements.iter().skip(1).map(|next| next.first);
        let ends: Vec<usize> = ends.chain([self.bars.len()]).collect();
        let starts: Vec<usize> = match self.movements.as_slice() {
            [] => vec![0],
            movements => movements.iter().map(|movement| movement.first).collect(),
        };
        starts.into_iter().zip(ends).map(|(first, end)| first..end).collect()
    }

    /// The movement that begins with a bar.
    #[must_use]
    pub fn movement_at(&self, bar: usize) -> Option<&FormMovement> {
        self.movements.iter().find(|movement| movement.first == bar)
    }
}

/// The number of a movement as it is printed: "IV".
#[must_use]
pub fn roman(number: usize) -> String {
    const SIGNS: [(usize, &str); 9] = [
        (100, "C"),
        (90, "XC"),
        (50, "L"),
        (40, "XL"),
        (10, "X"),
        (9, "IX"),
        (5, "V"),
        (4, "IV"),
        (1, "I"),
    ];
    let mut left = number;
    let mut roman = String::new();
    for (value, sign) in SIGNS {
        while left >= value {
            roman.push_str(sign);
            left -= value;
        }
    }
    roman
}

#[cfg(test)]
mod tests {
    use super::roman;

    #[test]
    fn movements_are_numbered_as_romans_did() {
        assert_eq!([1, 4, 9, 14, 40].map(roman), ["I", "IV", "IX", "XIV", "XL"]);
    }
}

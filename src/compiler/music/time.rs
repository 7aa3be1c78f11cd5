//! Exact musical time.

use std::fmt;
use std::iter::Sum;
use std::ops::{Add, AddAssign, Mul, Neg, Rem, Sub, SubAssign};

/// A position or a duration in written music, as an exact fraction of a whole note.
///
/// Every value that the language can express is a multiple of one common grain: note values down
/// to a 128th with three dots (1/1024) and tuplets of 2 to 16 notes. `Time` counts that grain in a
/// whole number, so sums and comparisons are exact and cost one machine instruction; there is
/// never a rounding before the last step of a writer.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Time(i64);

/// Grains in a whole note: 1024 (a triple-dotted 128th) times 45045 (the odd part of the least
/// common multiple of 2 to 16).
const GRAINS: i64 = 1024 * 45045;

impl Time {
    /// Before everything.
    pub const MIN: Time = Time(i64::MIN);
    /// Behind everything.
    pub const MAX: Time = Time(i64::MAX);
    /// The beginning of the piece, or no duration.
    pub const ZERO: Time = Time(0);
    /// One whole note.
    pub const WHOLE: Time = Time(GRAINS);
    /// One quarter note.
    pub const QUARTER: Time = Time(GRAINS / 4);
    /// One eighth note.
    pub const EIGHTH: Time = Time(GRAINS / 8);

    /// The fraction `numerator/denominator` of a whole note; `None` if the grain cannot hold it
    /// (a denominator that no note value or tuplet of the language makes) or if it is too large.
    #[must_use]
    pub fn new(numerator: i64, denominator: i64) -> Option<Time> {
        if denominator <= 0 {
            return None;
        }
        let scaled = numerator.checked_mul(GRAINS)?;
        (scaled % denominator == 0).then_some(Time(scaled / denominator))
    }

    /// The fraction `numerator/denominator` of a whole note, for values known to be exact.
    ///
    /// # Panics
    /// If the fraction is not a multiple of the grain; use [`Time::new`] for values from outside.
    #[must_use]
    pub const fn of(numerator: i64, denominator: i64) -> Time {
        let scaled = numerator * GRAINS;
        assert!(scaled % denominator == 0, "not a multiple of the grain");
        Time(scaled / denominator)
    }

    /// How many grains it has, to be kept somewhere small.
    pub(crate) const fn grains(self) -> i64 {
        self.0
    }

    /// The time of so many grains.
    pub(crate) const fn of_grains(grains: i64) -> Time {
        Time(grains)
    }

    /// This time as a fraction of a whole note in lowest terms: (numerator, denominator).
    #[must_use]
    pub fn fraction(self) -> (i64, i64) {
        let divisor = gcd(self.0.unsigned_abs(), GRAINS as u64) as i64;
        (self.0 / divisor, GRAINS / divisor)
    }

    /// How many `unit`s this time lasts, as a fraction in lowest terms; `None` for an empty unit.
    #[must_use]
    pub fn ratio(self, unit: Time) -> Option<(i64, i64)> {
        if unit.0 <= 0 {
            return None;
        }
        let divisor = gcd(self.0.unsigned_abs(), unit.0 as u64).max(1) as i64;
        Some((self.0 / divisor, unit.0 / divisor))
    }

    /// This time times `numerator/denominator`; `None` if the grain cannot hold the result or if
    /// this time times `numerator` is too large.
    #[must_use]
    pub fn scaled(self, numerator: i64, denominator: i64) -> Option<Time> {
        let scaled = self.0.checked_mul(numerator)?;
        (denominator > 0 && scaled % denominator == 0).then(|| Time(scaled / denominator))
    }

    /// Is this a duration of more than nothing?
    #[must_use]
    #[inline]
    pub fn is_positive(self) -> bool {
        self.0 > 0
    }

    /// The number of whole times that `unit` fits into this time (rounded towards the beginning).
    #[must_use]
    #[inline]
    pub fn div_floor(self, unit: Time) -> i64 {
        self.0.div_euclid(unit.0.max(1))
    }

    /// In whole notes as a floating-point number: for the last step of a writer and for messages
    /// about seconds only.
    #[must_use]
    #[inline]
    pub fn to_f64(self) -> f64 {
        self.0 as f64 / GRAINS as f64
    }

    /// The shorter of two times.
    #[must_use]
    #[inline]
    pub fn min(self, other: Time) -> Time {
        Ord::min(self, other)
    }

    /// The longer of two times.
    #[must_use]
    #[inline]
    pub fn max(self, other: Time) -> Time {
        Ord::max(self, other)
    }
}

fn gcd(a: u64, b: u64) -> u64 {
    if b == 0 { a } else { gcd(b, a % b) }
}

impl Add for Time {
    type Output = Time;
    #[inline]
    fn add(self, other: Time) -> Time {
        Time(self.0 + other.0)
    }
}

impl AddAssign for Time {
    #[inline]
    fn add_assign(&mut self, other: Time) {
        self.0 += other.0;
    }
}

impl Sub for Time {
    type Output = Time;
    #[inline]
    fn sub(self, other: Time) -> Time {
        Time(self.0 - other.0)
    }
}

impl SubAssign for Time {
    #[inline]
    fn sub_assign(&mut self, other: Time) {
        self.0 -= other.0;
    }
}

impl Neg for Time {
    type Output = Time;
    #[inline]
    fn neg(self) -> Time {
        Time(-self.0)
    }
}

impl Mul<i64> for Time {
    type Output = Time;
    #[inline]
    fn mul(self, times: i64) -> Time {
        Time(self.0 * times)
    }
}

impl Rem for Time {
    type Output = Time;
    #[inline]
    fn rem(self, other: Time) -> Time {
        Time(self.0.rem_euclid(other.0.max(1)))
    }
}

impl Sum for Time {
    fn sum<I: Iterator<Item = Time>>(times: I) -> Time {
        times.fold(Time::ZERO, Add::add)
    }
}

/// Written as the language writes a value: `3/8`.
impl fmt::Display for Time {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (numerator, denominator) = self.fraction();
        write!(f, "{numerator}/{denominator}")
    }
}

impl fmt::Debug for Time {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn triplets_and_septuplets_fill_their_span_exactly() {
        let triplet = Time::EIGHTH.scaled(2, 3).unwrap();
        assert_eq!(triplet * 3, Time::QUARTER);
        let septuplet = Time::of(1, 16).scaled(8, 7).unwrap();
        assert_eq!(septuplet * 7, Time::of(1, 2));
    }

    #[test]
    fn a_value_is_shown_in_lowest_terms() {
        assert_eq!((Time::QUARTER + Time::EIGHTH).to_string(), "3/8");
        assert_eq!(Time::ZERO.fraction(), (0, 1));
    }

    #[test]
    fn what_the_grain_cannot_hold_is_refused() {
        assert_eq!(Time::new(1, 17), None);
        assert_eq!(Time::new(1, 0), None);
        assert_eq!(Time::new(i64::MAX, 3), None);
    }
}

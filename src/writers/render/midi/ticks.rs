//! From played time to ticks.

use crate::music::Time;
use crate::narrow::Narrow;

/// The resolution of a file: a quarter has so many ticks.
#[derive(Clone, Copy)]
pub(super) struct Ticks {
    pub(super) per_quarter: u16,
}

/// The resolution from which the search for an exact one begins.
const LEAST: u64 = 480;
/// The resolution where there is no exact one.
const ROUNDED: u16 = 960;
/// The highest resolution that the format can hold.
const HIGHEST: u64 = 0x7FFF;

impl Ticks {
    /// The tick of a played time, rounded to the nearest where it is not exact.
    pub(super) fn of(self, played: Time) -> i64 {
        let tick = Time::QUARTER.scaled(1, i64::from(self.per_quarter));
        if let Some(tick) = tick.filter(|tick| played % *tick == Time::ZERO) {
            return played.div_floor(tick);
        }
        let (numerator, denominator) = played.fraction();
        let (numerator, denominator) = (i128::from(numerator), i128::from(denominator));
        let scaled = numerator * 4 * i128::from(self.per_quarter);
        ((2 * scaled + denominator) / (2 * denominator)).narrow::<i64>()
    }
}

/// The resolution that makes all times exact that it took, if there is one.
pub(super) struct Exact {
    /// All times are multiples of one in so many parts of a whole note.
    parts_of_whole: u64,
}

impl Default for Exact {
    fn default() -> Exact {
        Exact { parts_of_whole: 4 }
    }
}

impl Exact {
    pub(super) fn take(&mut self, times: impl IntoIterator<Item = Time>) {
        // Denominators are parts of a whole note, the resolution is that of a quarter.
        let unit = |parts: u64| Time::WHOLE.scaled(1, parts.narrow::<i64>());
        let mut known = unit(self.parts_of_whole);
        for time in times {
            if known.is_some_and(|unit| time % unit == Time::ZERO) {
                continue;
            }
            let denominator = time.fraction().1.unsigned_abs();
            if self.parts_of_whole / 4 <= HIGHEST
                && !self.parts_of_whole.is_multiple_of(denominator)
            {
                let shared = gcd(self.parts_of_whole, denominator);
                self.parts_of_whole = self.parts_of_whole / shared * denominator;
                known = unit(self.parts_of_whole);
            }
        }
    }

    pub(super) fn ticks(&self) -> Ticks {
        let exact = LEAST.next_multiple_of(self.parts_of_whole / 4);
        let exact = u16::try_from(exact).ok().filter(|&exact| u64::from(exact) <= HIGHEST);
        Ticks { per_quarter: exact.unwrap_or(ROUNDED) }
    }
}

fn gcd(a: u64, b: u64) -> u64 {
    if b == 0 { a } else { gcd(b, a % b) }
}

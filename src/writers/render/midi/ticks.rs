//! From played time to ticks.

use crate::music::Time;
use crate::narrow::Narrow;
use crate::resolve::Form;

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
    /// The resolution that makes these times and the bars exact, if there is one.
    pub(super) fn exact_for(form: &Form, times: impl Iterator<Item = Time>) -> Ticks {
        let bars = form.bars.iter().flat_map(|bar| [bar.start, bar.length]);
        Ticks { per_quarter: resolution(bars.chain(times)) }
    }

    /// The tick of a played time, rounded to the nearest where it is not exact.
    pub(super) fn of(self, played: Time) -> i64 {
        let (numerator, denominator) = played.fraction();
        let (numerator, denominator) = (i128::from(numerator), i128::from(denominator));
        let scaled = numerator * 4 * i128::from(self.per_quarter);
        ((2 * scaled + denominator) / (2 * denominator)).narrow::<i64>()
    }
}

fn resolution(times: impl Iterator<Item = Time>) -> u16 {
    // Denominators are parts of a whole note, the resolution is that of a quarter.
    let mut parts_of_whole = 4;
    for time in times {
        let denominator = time.fraction().1.unsigned_abs();
        if parts_of_whole % denominator != 0 {
            parts_of_whole = parts_of_whole / gcd(parts_of_whole, denominator) * denominator;
        }
        if parts_of_whole / 4 > HIGHEST {
            return ROUNDED;
        }
    }
    let exact = LEAST.next_multiple_of(parts_of_whole / 4);
    u16::try_from(exact).ok().filter(|&exact| u64::from(exact) <= HIGHEST).unwrap_or(ROUNDED)
}

fn gcd(a: u64, b: u64) -> u64 {
    if b == 0 { a } else { gcd(b, a % b) }
}

//! From written time to played time, and from time to ticks.

use crate::music::Time;
use crate::resolve::Form;

/// Bars that are played one after another as they are written.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Segment {
    /// Where it begins, in written time.
    pub(super) from: Time,
    /// Where it ends, in written time.
    pub(super) to: Time,
    /// Where it begins, in played time.
    pub(super) at: Time,
}

impl Segment {
    /// The played time of a written time in the segment.
    pub(super) fn played(&self, written: Time) -> Time {
        self.at + (written - self.from)
    }
}

pub(super) struct Timeline {
    pub(super) segments: Vec<Segment>,
    /// Index of each bar played and the played time at which it begins.
    pub(super) bars: Vec<(usize, Time)>,
    /// Where the music ends, in played time.
    end: Time,
    pub(super) ticks_per_quarter: u16,
}

/// The resolution from which the search for an exact one begins.
const LEAST: u64 = 480;
/// The resolution where there is no exact one.
const ROUNDED: u16 = 960;
/// The highest resolution that the format can hold.
const HIGHEST: u64 = 0x7FFF;

impl Timeline {
    /// The bars in the order in which they are played, at the usual resolution.
    pub(super) fn new(form: &Form) -> Timeline {
        let mut segments: Vec<Segment> = Vec::new();
        let mut bars = Vec::with_capacity(form.bars.len());
        let mut now = Time::ZERO;
        for index in form.playing_order() {
            let bar = &form.bars[index];
            bars.push((index, now));
            let to = bar.start + bar.length;
            match segments.last_mut() {
                Some(last) if last.to == bar.start => last.to = to,
                _ => segments.push(Segment { from: bar.start, to, at: now }),
            }
            now += bar.length;
        }
        Timeline { segments, bars, end: now, ticks_per_quarter: LEAST as u16 }
    }

    /// The same with a resolution that makes these times and the bars exact, if there is one.
    pub(super) fn exact_for(mut self, form: &Form, times: impl Iterator<Item = Time>) -> Timeline {
        let bars = form.bars.iter().flat_map(|bar| [bar.start, bar.length]);
        self.ticks_per_quarter = resolution(bars.chain(times));
        self
    }

    /// The tick of a played time, rounded to the nearest where it is not exact.
    pub(super) fn ticks(&self, played: Time) -> i64 {
        let (numerator, denominator) = played.fraction();
        let (numerator, denominator) = (i128::from(numerator), i128::from(denominator));
        let scaled = numerator * 4 * i128::from(self.ticks_per_quarter);
        ((2 * scaled + denominator) / (2 * denominator)) as i64
    }

    pub(super) fn end_tick(&self) -> i64 {
        self.ticks(self.end)
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

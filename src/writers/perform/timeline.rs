//! From written time to played time: repeats played out.

use crate::music::Time;
use crate::resolve::Form;

/// Bars that are played one after another as they are written.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Segment {
    /// Where it begins, in written time.
    pub from: Time,
    /// Where it ends, in written time.
    pub to: Time,
    /// Where it begins, in played time.
    pub at: Time,
}

impl Segment {
    /// The played time of a written time in the segment.
    #[must_use]
    pub fn played(&self, written: Time) -> Time {
        self.at + (written - self.from)
    }
}

/// The bars in the order in which they are played.
#[derive(Clone, Debug)]
pub struct Timeline {
    /// Stretches without a jump, in order.
    pub segments: Vec<Segment>,
    /// Index of each bar played and the played time at which it begins.
    pub bars: Vec<(usize, Time)>,
    /// Where the music ends, in played time.
    pub end: Time,
}

impl Timeline {
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
        Timeline { segments, bars, end: now }
    }
}

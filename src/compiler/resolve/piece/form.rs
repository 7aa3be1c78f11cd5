//! Types of the form: bars, tempos, repeats, places.

use super::BarIndices;
use crate::diagnostics::Span;
use crate::music::{Key, Metre, Time};

/// The bars of a piece, in the order in which they are written (repeats once).
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Form {
    /// The bars; never empty in a piece that resolved without errors.
    pub bars: Vec<Bar>,
    /// Index of the bar from which the metre is not certain, because something in the form could
    /// not be understood; nothing is counted from there on.
    pub unsure_from: Option<usize>,
}

/// One bar of the form.
#[derive(Clone, PartialEq, Debug)]
pub struct Bar {
    /// Its number: 0 for a pick-up, then from 1.
    pub number: i32,
    /// Where it begins, in written time (repeats once).
    pub start: Time,
    /// How long it is: the metre's length, or shorter or longer where the form says so.
    pub length: Time,
    /// The metre in force.
    pub metre: Metre,
    /// The (sounding) key in force.
    pub key: Key,
    /// A tempo that begins here.
    pub tempo: Option<Tempo>,
    /// A rehearsal mark that stands here.
    pub mark: Option<String>,
    /// Does a repeated section begin here?
    pub repeat_starts: bool,
    /// Does a repeated section end with this bar?
    pub repeat_ends: bool,
    /// The ending (first, second) that this bar belongs to.
    pub ending: Option<u8>,
    /// The line at its end, where it is not a plain one or a repeat.
    pub line: BarLine,
    /// Where the form says what begins with this bar: its tempo, or else its rehearsal mark, metre
    /// or key; `None` where it says nothing of it.
    pub span: Option<Span>,
}

/// The line at the end of a bar.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum BarLine {
    /// A plain line (or the sign of a repeat).
    #[default]
    Plain,
    /// A thin double line.
    Double,
    /// The final line.
    Final,
}

/// A tempo: words, a metronome mark, or both.
#[derive(Clone, PartialEq, Debug)]
pub struct Tempo {
    /// The note value that is counted and how many of it go to a minute.
    pub beat: Option<(Time, f64)>,
    /// Words: "Con moto".
    pub words: Option<String>,
}

impl Form {
    /// Does another ending of a repeat begin with this bar (an index), so that nobody comes to it
    /// from the bar before?
    #[must_use]
    pub fn ending_changes(&self, bar: usize) -> bool {
        let before = bar.checked_sub(1).and_then(|before| self.bars.get(before));
        let ending = |bar: &Bar| bar.ending;
        before.and_then(ending).is_some_and(|before| {
            self.bars.get(bar).and_then(ending).is_some_and(|ending| ending != before)
        })
    }

    /// Where the piece ends, in written time.
    #[must_use]
    pub fn end(&self) -> Time {
        self.bars.last().map_or(Time::ZERO, |bar| bar.start + bar.length)
    }

    /// Is it known how long this bar (by its index) is?
    #[must_use]
    pub fn is_sure(&self, bar: usize) -> bool {
        self.unsure_from.is_none_or(|from| bar < from)
    }

    /// Index of the bar in which a time lies; the last bar for times beyond the end.
    #[must_use]
    pub fn index_at(&self, time: Time) -> usize {
        self.bars.partition_point(|bar| bar.start <= time).saturating_sub(1)
    }

    /// The bar in which a time lies.
    ///
    /// # Panics
    /// If the form has no bars.
    #[must_use]
    pub fn bar_at(&self, time: Time) -> &Bar {
        &self.bars[self.index_at(time)]
    }

    /// Where the bar in which a time lies ends; zero in a form without bars.
    #[must_use]
    pub fn end_of_bar_at(&self, time: Time) -> Time {
        self.bars.get(self.index_at(time)).map_or(Time::ZERO, |bar| bar.start + bar.length)
    }

    /// The bars that a stretch of time touches.
    #[must_use]
    pub fn bars_between(&self, from: Time, to: Time) -> BarIndices {
        let after = self.bars.partition_point(|bar| bar.start < to);
        let first = self.index_at(from);
        BarIndices::new(first, after.max(first))
    }

    /// Where some bars begin and end, in written time.
    #[must_use]
    pub fn times_of(&self, bars: BarIndices) -> (Time, Time) {
        let end = self.end();
        let BarIndices { first, after } = bars;
        let start = |index: usize| self.bars.get(index).map_or(end, |bar| bar.start);
        let last = after.checked_sub(1).and_then(|last| self.bars.get(last));
        (start(first), last.map_or(start(first), |bar| bar.start + bar.length))
    }

    /// Index of the bar of that number.
    #[must_use]
    pub fn index_of(&self, number: i32) -> Option<usize> {
        let first = self.bars.first()?.number;
        let index = usize::try_from(number.checked_sub(first)?).ok()?;
        (index < self.bars.len()).then_some(index)
    }

    /// Where the bar of that index would begin if it were full: a pick-up lies at the end of the
    /// bar that it leaves incomplete.
    ///
    /// # Panics
    /// If the form has no bar of that index.
    #[must_use]
    pub fn full_start(&self, index: usize) -> Time {
        let bar = &self.bars[index];
        let missing = (bar.metre.bar_length() - bar.length).max(Time::ZERO);
        if bar.number == 0 { bar.start - missing } else { bar.start }
    }

    /// Weight of a time in its bar, as [`Metre::weight`] has it; no beat of a pick-up is a first
    /// beat unless the pick-up is a whole bar.
    ///
    /// # Panics
    /// If the form has no bars.
    #[must_use]
    pub fn weight(&self, time: Time) -> u8 {
        let index = self.index_at(time);
        self.bars[index].metre.weight(time - self.full_start(index))
    }

    /// Bar number and beat (from 1, with the fraction of a beat) of a time, for messages.
    #[must_use]
    pub fn place(&self, time: Time) -> Place {
        let index = self.index_at(time);
        let bar = &self.bars[index];
        // A pick-up counts its beats from the end: in 3/4 a quarter of pick-up is beat 3.
        let (beat, into) = bar.metre.beat_at(time - self.full_start(index));
        Place { bar: bar.number, beat, into, beat_length: bar.metre.beat() }
    }

    /// Indices of the bars in the order in which they are played: repeated sections twice, with
    /// the first ending the first time and the second the next.
    #[must_use]
    pub fn playing_order(&self) -> Vec<usize> {
        let mut order = Vec::with_capacity(self.bars.len());
        let mut section = 0;
        let mut index = 0;
        let mut time_through = 1;
        while index < self.bars.len() {
            let bar = &self.bars[index];
            if bar.repeat_starts && section != index {
                section = index;
                time_through = 1;
            }
            if bar.ending.is_some_and(|ending| ending != time_through) {
                index += 1;
                continue;
            }
            order.push(index);
            if bar.repeat_ends && time_through == 1 {
                time_through = 2;
                index = section;
                continue;
            }
            let leaves_endings =
                bar.ending.is_some() && self.bars.get(index + 1).is_none_or(|b| b.ending.is_none());
            if (bar.repeat_ends || leaves_endings) && time_through > 1 {
                time_through = 1;
                section = index + 1;
            }
            index += 1;
        }
        order
    }
}

/// Seconds of written time, each bar played once, at the metronome marks in force (where none is
/// given: 96 quarters a minute). Words such as "rit." and fermatas do not count: what can be played
/// is judged by the marks, and only the mock-up bends the tempo.
#[derive(Clone, Debug)]
pub struct Clock<'f> {
    form: &'f Form,
    /// Seconds at the beginning of each bar, and how many a whole note lasts there.
    bars: Vec<(f64, f64)>,
}

impl<'f> Clock<'f> {
    /// The clock of a form.
    #[must_use]
    pub fn new(form: &'f Form) -> Clock<'f> {
        let mut seconds = 0.0;
        let mut per_whole = seconds_per_whole(None);
        let bars = form
            .bars
            .iter()
            .map(|bar| {
                if let Some(beat) = bar.tempo.as_ref().and_then(|tempo| tempo.beat) {
                    per_whole = seconds_per_whole(Some(beat));
                }
                let begin = seconds;
                seconds += bar.length.to_f64() * per_whole;
                (begin, per_whole)
            })
            .collect();
        Clock { form, bars }
    }

    /// Seconds from the beginning to a written time; 0 in a form without bars.
    #[must_use]
    pub fn seconds_at(&self, time: Time) -> f64 {
        let bar = self.form.index_at(time);
        match (self.bars.get(bar), self.form.bars.get(bar)) {
            (Some((begin, per_whole)), Some(bar)) => {
                begin + (time - bar.start).to_f64() * per_whole
            }
            _ => 0.0,
        }
    }
}

/// Seconds that a whole note lasts at a metronome mark; where none is given, at 96 quarters a
/// minute (our choice).
#[must_use]
pub fn seconds_per_whole(beat: Option<(Time, f64)>) -> f64 {
    let (value, per_minute) = beat.unwrap_or((Time::QUARTER, 96.0));
    60.0 / (per_minute * value.to_f64())
}

/// A place as a musician names it.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Place {
    /// Bar number.
    pub bar: i32,
    /// Beat, from 1.
    pub beat: i64,
    /// How far into the beat.
    pub into: Time,
    /// Length of the beat that is counted.
    pub beat_length: Time,
}

/// "bar 12, beat 3" or "bar 12, 1/8 after beat 3".
impl std::fmt::Display for Place {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if self.into == Time::ZERO {
            write!(f, "bar {}, beat {}", self.bar, self.beat)
        } else {
            write!(f, "bar {}, {} after beat {}", self.bar, self.into, self.beat)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bar(number: i32, start: Time, length: Time) -> Bar {
        Bar {
            number,
            start,
            length,
            metre: Metre::new(4, 4).unwrap(),
            key: Key::C_MAJOR,
            tempo: None,
            mark: None,
            repeat_starts: false,
            repeat_ends: false,
            ending: None,
            line: BarLine::Plain,
            span: None,
        }
    }

    #[test]
    fn a_pick_up_has_the_weights_of_the_end_of_a_bar() {
        let half = Time::of(1, 2);
        let bars = vec![bar(0, Time::ZERO, half), bar(1, half, Time::of(1, 1))];
        let form = Form { bars, unsure_from: None };
        let weights = (0..6).map(|quarter| form.weight(Time::QUARTER * quarter));
        assert_eq!(weights.collect::<Vec<_>>(), [2, 1, 3, 1, 2, 1]);
    }
}

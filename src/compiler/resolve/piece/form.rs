//! Types of the form: bars, tempos, repeats, places.

use std::fmt;

use super::{Bar, BarIndices, FormMovement};
use crate::music::{Sign, Time};

/// The bars of a piece, in the order in which they are written (repeats once).
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Form {
    /// The bars; never empty in a piece that resolved without errors.
    pub bars: Vec<Bar>,
    /// Index of the bar from which the metre is not certain, because something in the form could
    /// not be understood; nothing is counted from there on.
    pub unsure_from: Option<usize>,
    /// The movements, in order; none in a piece that is one.
    pub movements: Vec<FormMovement>,
}

/// An ending of a repeat: the times through for which it is played.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct Ending {
    /// The first time, from 1.
    pub first: u8,
    /// The last time.
    pub last: u8,
}

impl Ending {
    /// An ending for one time through.
    #[must_use]
    pub fn of(time: u8) -> Ending {
        Ending { first: time, last: time }
    }

    /// Its number in words: "1" or "1 to 3".
    #[must_use]
    pub fn number(self) -> String {
        match self.last - self.first {
            0 => self.first.to_string(),
            1 => format!("{} and {}", self.first, self.last),
            _ => format!("{} to {}", self.first, self.last),
        }
    }

    /// Is it played at this time through?
    #[must_use]
    pub fn holds(self, time: u8) -> bool {
        (self.first..=self.last).contains(&time)
    }
}

/// As it stands in its bracket: "1." or "1.–3."
impl fmt::Display for Ending {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.last - self.first {
            0 => write!(f, "{}.", self.first),
            1 => write!(f, "{}., {}.", self.first, self.last),
            _ => write!(f, "{}.–{}.", self.first, self.last),
        }
    }
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
    /// Does nobody come to this bar (an index) from the bar before: because another ending of a
    /// repeat begins with it, or because a jump leads away from the bar before?
    #[must_use]
    pub fn is_cut_off(&self, bar: usize) -> bool {
        let before = bar.checked_sub(1).and_then(|before| self.bars.get(before));
        let leads_away = |sign: &Sign| sign.is_al_fine() || sign.is_al_coda();
        self.ending_changes(bar)
            || (bar < self.bars.len()
                && before.is_some_and(|before| before.signs.iter().any(leads_away)))
    }

    /// Can no note be tied into this bar (an index) on paper: because somebody comes to it from
    /// elsewhere, or goes from the bar before to elsewhere or ends there, or because the up-beat of a
    /// section stands behind its line?
    #[must_use]
    pub fn no_tie_into(&self, bar: usize) -> bool {
        let Some((before, bar)) = bar.checked_sub(1).and_then(|last| {
            let bars = self.bars.get(last..=bar)?;
            Some((&bars[0], &bars[1]))
        }) else {
            return false;
        };
        let leads_away = |sign: &Sign| sign.stands_at_end() && !matches!(sign, Sign::Times(_));
        bar.repeat_starts
            || before.repeat_ends
            || before.ending != bar.ending
            || bar.signs.iter().any(|sign| matches!(sign, Sign::Segno | Sign::Coda))
            || before.signs.iter().any(leads_away)
            || bar.up_beat.is_some() && before.line != BarLine::Plain
    }

    /// Is this bar in another ending than the one before it?
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
    #[inline]
    pub fn index_at(&self, time: Time) -> usize {
        // Most bars of a piece are equally long: the search sets out from where the bar would be if
        // all were, and goes further and further from there.
        let count = self.bars.len();
        let Some(usual) = self.bars.get(count / 2).map(|bar| bar.length) else { return 0 };
        let guess = time.div_floor(usual).clamp(0, i64::MAX);
        let guess = usize::try_from(guess).unwrap_or(usize::MAX).min(count - 1);
        let begun = |bar: usize| self.bars[bar].start <= time;
        let (mut first, mut after, mut step) = (guess, guess, 1);
        if begun(guess) {
            // Bar `first` has begun, bar `after` not, if there is one.
            after += step;
            while after < count && begun(after) {
                (first, step) = (after, step * 2);
                after += step;
            }
            after = after.min(count);
        } else {
            while first > 0 && !begun(first) {
                after = first;
                first = first.saturating_sub(step);
                step *= 2;
            }
        }
        let between = self.bars.get(first + 1..after).unwrap_or_default();
        first + between.partition_point(|bar| bar.start <= time)
    }

    /// The bar in which a time lies.
    ///
    /// # Panics
    /// If the form has no bars.
    #[must_use]
    #[inline]
    pub fn bar_at(&self, time: Time) -> &Bar {
        &self.bars[self.index_at(time)]
    }

    /// Where the bar in which a time lies ends; zero in a form without bars.
    #[must_use]
    pub fn end_of_bar_at(&self, time: Time) -> Time {
        self.bars.get(self.index_at(time)).map_or(Time::ZERO, |bar| bar.start + bar.length)
    }

    /// Where the bar begins in which something is over that ends at a time; zero in a form without
    /// bars.
    #[must_use]
    pub fn bar_of_end(&self, end: Time) -> Time {
        let after = self.bars.partition_point(|bar| bar.start < end);
        after.checked_sub(1).map_or(Time::ZERO, |bar| self.bars[bar].start)
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

    /// Index of the bar of that number (of its first part, where an up-beat is parted from it).
    #[must_use]
    pub fn index_of(&self, number: i32) -> Option<usize> {
        let first = self.bars.first()?.number;
        let index = usize::try_from(number.checked_sub(first)?).ok()?;
        let counted = |index: usize| self.bars.get(index).is_some_and(|bar| bar.number == number);
        if !self.movements.is_empty() || counted(index) && index == self.whole(index).first {
            return (index < self.bars.len()).then_some(index);
        }
        // Up-beats before it have no number of their own.
        let index = self.bars.partition_point(|bar| bar.number < number);
        counted(index).then_some(index)
    }

    /// The parts of the bar to which a bar belongs: itself, and the up-beat that is parted from it.
    #[must_use]
    pub fn whole(&self, index: usize) -> BarIndices {
        let is_up_beat =
            |index: usize| self.bars.get(index).is_some_and(|bar| bar.up_beat.is_some());
        let first = if is_up_beat(index) { index.saturating_sub(1) } else { index };
        BarIndices::new(first, first + 1 + usize::from(is_up_beat(first + 1)))
    }

    /// How many bars there are from an index on, up-beats that are parted from their bars not counted.
    #[must_use]
    pub fn counted_from(&self, index: usize) -> usize {
        let (Some(first), Some(last)) = (self.bars.get(index), self.bars.last()) else { return 0 };
        let counted = last.number - first.number + i32::from(first.up_beat.is_none());
        usize::try_from(counted).unwrap_or(0)
    }

    /// The index behind so many bars, counted from an index on.
    #[must_use]
    pub fn after_counted(&self, index: usize, count: usize) -> usize {
        let after = self.bars.get(index).and_then(|first| {
            let first = first.number + i32::from(first.up_beat.is_some());
            self.index_of(first.checked_add(i32::try_from(count).ok()?)?)
        });
        after.unwrap_or(self.bars.len())
    }

    /// With which index a section begins whose first whole bar that is: with its up-beat, if one is
    /// parted from the bar before.
    #[must_use]
    pub fn with_up_beat(&self, index: usize) -> usize {
        let before = index.checked_sub(1).and_then(|before| self.bars.get(before));
        index - usize::from(before.is_some_and(|before| before.up_beat.is_some()))
    }

    /// Where the bar of that index would begin if it were full: a pick-up, or an up-beat that is
    /// parted from its bar, lies at the end of the bar that it leaves incomplete.
    ///
    /// # Panics
    /// If the form has no bar of that index.
    #[must_use]
    pub fn full_start(&self, index: usize) -> Time {
        let bar = &self.bars[index];
        let missing = (bar.metre.bar_length() - bar.length).max(Time::ZERO);
        if bar.leads_in() { bar.start - missing } else { bar.start }
    }

    /// Weight of a time in its bar, as [`crate::music::Metre::weight`] has it; no beat of a pick-up is a first
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
        let full = match bar.up_beat {
            Some(since) => bar.start - since,
            None => self.full_start(index),
        };
        let (beat, into) = bar.metre.beat_at(time - full);
        Place { bar: bar.number, beat, into, beat_length: bar.metre.beat() }
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
    #[inline]
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
    use crate::music::{Key, Metre};

    fn bar(number: i32, start: Time, length: Time) -> Bar {
        let metre = Metre::new(4, 4).unwrap();
        Bar::new(number, start, metre, Key::C_MAJOR).lasting(length)
    }

    #[test]
    fn a_time_lies_in_the_last_bar_that_has_begun() {
        // A pick-up, and runs of bars of other lengths.
        for quarters in [vec![1, 4, 4, 4, 4], vec![4; 9], vec![3, 3, 9, 1, 1, 1, 1, 4, 2, 0, 4]] {
            let mut bars = Vec::new();
            let mut start = Time::ZERO;
            for (number, quarters) in (1..).zip(&quarters) {
                bars.push(bar(number, start, Time::QUARTER * *quarters));
                start += Time::QUARTER * *quarters;
            }
            let form = Form { bars, ..Form::default() };
            for eighth in -3..80 {
                let time = Time::EIGHTH * eighth;
                let begun = form.bars.iter().filter(|bar| bar.start <= time).count();
                assert_eq!(form.index_at(time), begun.max(1) - 1, "{quarters:?} at {time}");
            }
            for time in [Time::MIN, Time::MAX] {
                let begun = form.bars.iter().filter(|bar| bar.start <= time).count();
                assert_eq!(form.index_at(time), begun.max(1) - 1);
            }
        }
        assert_eq!(Form::default().index_at(Time::WHOLE), 0);
    }

    #[test]
    fn a_pick_up_has_the_weights_of_the_end_of_a_bar() {
        let half = Time::of(1, 2);
        let bars = vec![bar(0, Time::ZERO, half), bar(1, half, Time::of(1, 1))];
        let form = Form { bars, ..Form::default() };
        let weights = (0..6).map(|quarter| form.weight(Time::QUARTER * quarter));
        assert_eq!(weights.collect::<Vec<_>>(), [2, 1, 3, 1, 2, 1]);
    }
}

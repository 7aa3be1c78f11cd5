//! Brings times in ticks to times of notation, and says how far off they were.
//!
//! A file that was written out lies on its grid to the tick: then each time is the simplest part
//! of a quarter within a tick. In a file that was played, each quarter of each part gets the
//! division that fits its beginnings best, where a finer one has to fit better to be taken
//! (our heuristic: a squared error against a cost for each division).

use crate::music::Time;
use crate::narrow::Narrow;

use super::file::Stroke;

/// Divisions of a quarter with what each costs.
const DIVISIONS: [(i64, f64); 7] =
    [(1, 0.0), (2, 1.0), (4, 2.0), (3, 2.5), (8, 4.5), (6, 4.5), (12, 8.0)];
/// The finest parts of a quarter that notation reaches without and with tuplets.
const EXACT: [i64; 18] = [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 12, 14, 16, 20, 24, 28, 32, 48];
/// How far played notes lie from the beat at the least, in quarters (our heuristic: some 15 ms).
const PLAYED: f64 = 0.03;

/// The grid of a file.
#[derive(Debug)]
pub(super) struct FileGrid {
    quarter: i64,
    /// Do beginnings, do ends lie on notation to the tick?
    pub(super) exact: (bool, bool),
    /// Largest and mean distance of a beginning from where it was brought, in quarters.
    pub(super) error: (f64, f64),
    /// Divisions of a quarter that were used.
    pub(super) used: Vec<i64>,
}

impl FileGrid {
    /// Looks at all notes of a file.
    pub(super) fn of(quarter: i64, parts: &[&[Stroke]]) -> FileGrid {
        let notes = || parts.iter().flat_map(|part| part.iter());
        let share = |of: &dyn Fn(&Stroke) -> i64| {
            let all = notes().count().max(1);
            let fits = notes().filter(|note| simplest(of(note), quarter).is_some()).count();
            fits as f64 / all as f64
        };
        // Our heuristic: chance alone brings a third of all ticks within reach.
        let exact = (share(&|note| note.start) > 0.95, share(&|note| note.end) > 0.95);
        FileGrid { quarter, exact, error: (0.0, 0.0), used: Vec::new() }
    }

    /// Beginnings and ends of the notes of a part, which stand in order.
    pub(super) fn bring(&mut self, notes: &[Stroke]) -> Vec<(Time, Time)> {
        let mut brought = Vec::with_capacity(notes.len());
        let mut from = 0;
        while from < notes.len() {
            let beat = notes[from].start.div_euclid(self.quarter);
            let to = from
                + notes[from..].partition_point(|note| note.start.div_euclid(self.quarter) == beat);
            let division = self.division(&notes[from..to]);
            for note in &notes[from..to] {
                let start = self.time(note.start, division, self.exact.0);
                brought.push((start, self.end(note, start, division)));
            }
            from = to;
        }
        self.join(notes, &mut brought);
        brought
    }

    /// The division of a quarter that suits these beginnings.
    fn division(&self, notes: &[Stroke]) -> i64 {
        let place =
            |note: &Stroke| note.start.rem_euclid(self.quarter) as f64 / self.quarter as f64;
        let cost = |(division, cost): &(i64, f64)| {
            let errors = notes.iter().map(|note| {
                let at = place(note) * *division as f64;
                let off = (at - at.round()) / *division as f64 / PLAYED;
                off * off
            });
            errors.sum::<f64>() + cost
        };
        let best = DIVISIONS.iter().min_by(|one, two| cost(one).total_cmp(&cost(two)));
        best.map_or(4, |(division, _)| *division)
    }

    /// A tick as a time of notation.
    fn time(&mut self, tick: i64, division: i64, exact: bool) -> Time {
        let quarters = tick.div_euclid(self.quarter);
        let rest = tick.rem_euclid(self.quarter);
        let found = if exact { simplest(rest, self.quarter) } else { None };
        let (count, division) = found.unwrap_or_else(|| {
            let count = (rest * division * 2 + self.quarter).div_euclid(self.quarter * 2);
            (count, division)
        });
        let off = (rest as f64 / self.quarter as f64 - count as f64 / division as f64).abs();
        self.error = (self.error.0.max(off), self.error.1 + off);
        if !self.used.contains(&division) {
            self.used.push(division);
        }
        Time::QUARTER * quarters + Time::new(count, 4 * division).unwrap_or(Time::ZERO)
    }

    fn end(&mut self, note: &Stroke, start: Time, division: i64) -> Time {
        let (error, used) = (self.error, self.used.clone());
        let exact = self.exact.1 && simplest(note.end, self.quarter).is_some();
        let end = self.time(note.end, if exact { division } else { division.max(2) }, exact);
        (self.error, self.used) = (error, used);
        let shortest = Time::new(1, 4 * division.max(4)).unwrap_or(Time::of(1, 32));
        if end > start { end } else { start + shortest }
    }

    /// Played notes are mostly let go a little early: those that end shortly before the next one
    /// begins are brought up to it.
    fn join(&self, notes: &[Stroke], brought: &mut [(Time, Time)]) {
        if self.exact.1 {
            return;
        }
        let mut starts: Vec<Time> = brought.iter().map(|(start, _)| *start).collect();
        starts.dedup();
        for (note, (start, end)) in notes.iter().zip(brought.iter_mut()) {
            let next = starts.partition_point(|other| *other <= *start);
            let Some(next) = starts.get(next) else { continue };
            let gap = next.to_f64() * 4.0 - note.end as f64 / self.quarter as f64;
            let length = next.to_f64() * 4.0 - note.start as f64 / self.quarter as f64;
            // Our heuristic: up to a quarter of the distance.
            if *end != *next && gap.abs() <= 0.25 * length.max(0.0) {
                *end = *next;
            }
        }
    }

    /// In words, with the tempo that a quarter has on the whole.
    pub(super) fn words(&mut self, notes: usize, micros: f64) -> String {
        self.used.sort_unstable();
        let finest = self.used.iter().filter(|d| d.count_ones() == 1).max().copied().unwrap_or(1);
        let grid = match finest {
            1 => "quarters",
            2 => "eighths",
            4 => "sixteenths",
            8 => "thirty-seconds",
            _ => "sixty-fourths",
        };
        let tuplets = self.used.iter().any(|d| d.count_ones() != 1);
        let and = if tuplets { " and tuplets" } else { "" };
        let milliseconds = |quarters: f64| quarters * micros / 1000.0;
        let mean = self.error.1 / notes.max(1) as f64;
        if self.exact.0 {
            return format!("times: on {grid}{and} to the tick: the file was written out, sure");
        }
        format!(
            "times: brought to {grid}{and}; beginnings were {:.0} ms off on average and {:.0} ms at most",
            milliseconds(mean),
            milliseconds(self.error.0)
        )
    }
}

/// The simplest part of a quarter within a tick (half a tick where ticks are coarse).
fn simplest(tick: i64, quarter: i64) -> Option<(i64, i64)> {
    let rest = tick.rem_euclid(quarter);
    let tolerance = if quarter >= 96 { 1.01 } else { 0.51 };
    EXACT.iter().find_map(|division| {
        let at = rest as f64 * *division as f64 / quarter as f64;
        let off = (at - at.round()).abs() / *division as f64 * quarter as f64;
        // Coarse ticks cannot tell fine divisions apart.
        (off <= tolerance && *division * 2 <= quarter)
            .then(|| (at.round().narrow::<i64>(), *division))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn strokes(times: &[(i64, i64)]) -> Vec<Stroke> {
        times.iter().map(|(start, end)| Stroke { start: *start, end: *end, key: 60 }).collect()
    }

    #[test]
    fn what_was_written_out_is_exact() {
        let notes =
            strokes(&[(0, 480), (480, 640), (640, 800), (800, 960), (960, 1029), (1029, 1097)]);
        let mut grid = FileGrid::of(480, &[&notes]);
        assert_eq!(grid.exact, (true, true));
        let brought = grid.bring(&notes);
        assert_eq!(brought[1], (Time::of(1, 4), Time::of(1, 3)));
        assert_eq!(brought[5].0, Time::of(1, 2) + Time::of(1, 28));
    }

    #[test]
    fn what_was_played_is_brought_to_the_nearest_division() {
        let notes = strokes(&[(7, 470), (471, 730), (733, 950), (949, 1400), (1433, 1900)]);
        let mut grid = FileGrid::of(480, &[&notes]);
        let brought: Vec<Time> = grid.bring(&notes).into_iter().map(|(start, _)| start).collect();
        let eighths = [0, 2, 3, 4, 6];
        // 471 lies before its beat; the beat before it is the one that is divided.
        assert_eq!(brought, eighths.map(|count| Time::EIGHTH * count));
    }
}

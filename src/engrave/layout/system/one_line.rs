//! Dynamics and hairpins of one phrase on one line, where the staves of a score leave room for that.

use std::ops::Range;

use super::super::canvas::Loud;
use super::super::skyline::Skyline;
use super::between::under;
use super::{MOST, NEARER, System, below_staff};
use crate::layout::directions::{ONE_LEVEL_WITH_ROOM, ONE_PHRASE};
use crate::sheet::Sheet;

/// By how much what was lowered stands nearer to its own staff than to the next one, at the least. Our heuristic; that
/// what belongs to one phrase stands on one line is common practice (Gould, Behind Bars, 2011, from memory).
const STILL_NEARER: f64 = 0.25;

/// What stands on one line below a staff, and the highest and the lowest line that any of it had for itself.
struct Phrase<'a> {
    all: Vec<&'a Loud>,
    own: (f64, f64),
}

impl Phrase<'_> {
    /// How much farther down each of its signs goes, by its marks.
    fn lowered(self) -> impl Iterator<Item = (Range<usize>, f64)> {
        let lowest = self.own.1;
        self.all.into_iter().map(move |loud| (loud.marks.clone(), lowest - loud.line))
    }
}

impl System {
    /// Lowers dynamics and hairpins below the staves to the line of their lower neighbours in the same phrase, as
    /// soon as it is known how far the staves are apart and what is below the system: where all of them stay nearer
    /// to their own staff than to the next one, and meet nothing. No staff moves for it.
    pub(super) fn level_dynamics(&mut self, sheet: &Sheet, floor: &Skyline) {
        for row in 0..self.shown.len() {
            let part = |row: usize| self.shown.get(row).map(|&staff| sheet.staves[staff].part);
            // What stands between the staves of a player was centred there, and figures are read with their row.
            if part(row) == part(row + 1) || !self.canvases[row].stacks.is_empty() {
                continue;
            }
            let lowered: Vec<(Range<usize>, f64)> =
                self.phrases(sheet, row, floor).into_iter().flat_map(Phrase::lowered).collect();
            let marks = &mut self.canvases[row].marks;
            for (own, by) in lowered.into_iter().filter(|(_, by)| *by > 0.0) {
                for mark in &mut marks[own] {
                    *mark = mark.clone().moved(0.0, by);
                }
            }
        }
    }

    /// What can stand on one line each, below a staff.
    fn phrases(&self, sheet: &Sheet, row: usize, floor: &Skyline) -> Vec<Phrase<'_>> {
        let loud: Vec<&Loud> = below_staff(&self.canvases[row]).collect();
        let staff = &sheet.staves[self.shown[row]];
        let near = |a: &Loud, b: &Loud| {
            let rests = (a.bar..b.bar).any(|bar| staff.bars[bar].is_silent());
            b.bounds.x0 - a.bounds.x1 < ONE_PHRASE && !rests
        };
        let stretches = loud
            .chunk_by(|a, b| a.line.total_cmp(&b.line).is_eq() && (near(a, b) || a.bar == b.bar));
        let mut phrases: Vec<Phrase> = Vec::new();
        for stretch in stretches {
            let line = stretch[0].line;
            if let Some(Phrase { all, own }) = phrases.last_mut() {
                let joined = (own.0.min(line), own.1.max(line));
                let follows = near(all[all.len() - 1], stretch[0]);
                let mut both = all.iter().chain(stretch);
                if follows
                    && joined.1 - joined.0 <= ONE_LEVEL_WITH_ROOM
                    && both.all(|loud| self.has_room(row, loud, joined.1, floor))
                {
                    all.extend(stretch);
                    *own = joined;
                    continue;
                }
            }
            phrases.push(Phrase { all: stretch.to_vec(), own: (line, line) });
        }
        phrases
    }

    /// Has a dynamic below a staff room on a lower line?
    fn has_room(&self, row: usize, loud: &Loud, line: f64, floor: &Skyline) -> bool {
        let by = line - loud.line;
        if by <= 0.0 {
            return true;
        }
        let (bounds, foot) = (loud.bounds, loud.bounds.y1 + by);
        let (next, gap) = match self.canvases.get(row + 1) {
            Some(next) => (&next.sky, self.ys[row + 1] - self.ys[row]),
            None => (floor, -self.ys[row]),
        };
        let next = gap + next.top(bounds.x0 - 0.4, bounds.x1 + 0.4);
        !loud.by_hand
            && next - foot >= (loud.away + by).clamp(0.0, MOST) + STILL_NEARER
            && under(&self.canvases[row], loud).all(|other| other - foot >= NEARER)
    }
}

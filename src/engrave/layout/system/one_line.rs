//! Dynamics of one phrase on one line, where the room between the staves allows it.

use super::super::canvas::Loud;
use super::between::under;
use super::{MOST, NEARER, System, below_staff};
use crate::sheet::Sheet;

/// Stretches of dynamics no farther from one another along the staff are of one phrase, and by how much the higher
/// one comes down at most, in staff spaces: farther, and it would leave its notes. Our heuristic; that what belongs
/// to one phrase stands on one line is common practice.
const ONE_PHRASE: f64 = 24.0;
const LOWERED: f64 = 2.5;

impl System {
    /// Lowers dynamics and hairpins below a staff to the line of their lower neighbours, as soon as it is known how
    /// far the staves are apart: where they stay nearer to their own staff than to the next one, and meet nothing.
    pub(super) fn level_dynamics(&mut self, sheet: &Sheet) {
        for row in 1..self.shown.len() {
            let (upper, lower) = (self.shown[row - 1], self.shown[row]);
            if sheet.staves[upper].part == sheet.staves[lower].part {
                continue;
            }
            let loud: Vec<&Loud> = below_staff(&self.canvases[row - 1]).collect();
            let mut groups: Vec<(Vec<&Loud>, f64)> = Vec::new();
            for stretch in loud.chunk_by(|a, b| a.line.total_cmp(&b.line).is_eq()) {
                let line = stretch[0].line;
                if let Some((before, level)) = groups.last_mut() {
                    let target = level.max(line);
                    let gap = stretch[0].bounds.x0 - before[before.len() - 1].bounds.x1;
                    let mut all = before.iter().chain(stretch);
                    if gap < ONE_PHRASE && all.all(|loud| self.has_room(row, loud, target)) {
                        before.extend(stretch);
                        *level = target;
                        continue;
                    }
                }
                groups.push((stretch.to_vec(), line));
            }
            let moved = groups.into_iter().flat_map(|(all, line)| {
                all.into_iter().map(move |loud| (loud.marks.clone(), line - loud.line))
            });
            let moved: Vec<_> = moved.filter(|(_, by)| *by > 0.0).collect();
            let marks = &mut self.canvases[row - 1].marks;
            for (own, by) in moved {
                for mark in &mut marks[own] {
                    *mark = mark.clone().moved(0.0, by);
                }
            }
        }
    }

    /// Has a dynamic over a staff room on a lower line?
    fn has_room(&self, row: usize, loud: &Loud, line: f64) -> bool {
        let by = line - loud.line;
        if by <= 0.0 {
            return true;
        }
        let (bounds, gap) = (loud.bounds, self.ys[row] - self.ys[row - 1]);
        let next = gap + self.canvases[row].sky.top(bounds.x0 - 0.4, bounds.x1 + 0.4);
        let foot = bounds.y1 + by;
        by <= LOWERED
            && next - foot >= (loud.away + by).clamp(0.0, MOST) + NEARER
            && under(&self.canvases[row - 1], loud).all(|other| other - foot >= NEARER)
    }
}

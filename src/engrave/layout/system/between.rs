//! Dynamics between the two staves of a player.

use std::ops::Range;

use super::super::canvas::{Canvas, Loud};
use super::{System, below_staff};
use crate::sheet::Sheet;

/// Air between a dynamic and the notes of the lower staff where these alone are played, and at the least. Our
/// heuristic.
const BY_ITS_HAND: f64 = 1.6;
const LEAST: f64 = 0.6;

/// Neighbours that would stand no farther apart than this stand on one line where both have room there. Our
/// heuristic.
const ONE_LINE: f64 = 3.0;

/// Dynamics that move together: between which base lines, to which one, and how far each is from there.
struct Moved {
    room: (f64, f64),
    line: f64,
    marks: Vec<(Range<usize>, f64)>,
}

impl Moved {
    /// Takes its neighbour with it if both have room on one line.
    fn join(&mut self, next: Moved) -> Option<Moved> {
        let room = (self.room.0.max(next.room.0), self.room.1.min(next.room.1));
        if room.0 > room.1 || (self.line - next.line).abs() > ONE_LINE {
            return Some(next);
        }
        self.room = room;
        self.line = f64::midpoint(self.line, next.line).clamp(room.0, room.1);
        self.marks.extend(next.marks);
        None
    }
}

impl System {
    /// Moves dynamics between the two staves of a player midway between what stands above and below them, as
    /// soon as it is known how far the staves are apart; where only the lower hand plays, near to that. Common
    /// practice.
    pub(super) fn center_dynamics(&mut self, sheet: &Sheet) {
        for row in 1..self.shown.len() {
            let (upper, lower) = (self.shown[row - 1], self.shown[row]);
            if sheet.staves[upper].part != sheet.staves[lower].part {
                continue;
            }
            let loud: Vec<&Loud> = below_staff(&self.canvases[row - 1]).collect();
            let mut moved: Vec<Moved> = Vec::new();
            for stretch in loud.chunk_by(|a, b| a.line.total_cmp(&b.line).is_eq()) {
                let own = self.centered(sheet, row, stretch);
                let apart = match moved.last_mut() {
                    Some(before) => before.join(own),
                    None => Some(own),
                };
                moved.extend(apart);
            }
            let marks = &mut self.canvases[row - 1].marks;
            for Moved { line, marks: own, .. } in moved {
                for (range, from) in own {
                    for mark in &mut marks[range] {
                        *mark = mark.clone().moved(0.0, line - from);
                    }
                }
            }
        }
    }

    /// Where the dynamics of a stretch over a staff should stand.
    fn centered(&self, sheet: &Sheet, row: usize, stretch: &[&Loud]) -> Moved {
        let (canvas, gap) = (&self.canvases[row - 1], self.ys[row] - self.ys[row - 1]);
        let below = stretch.iter().map(|loud| {
            let bounds = loud.bounds;
            let top = gap + self.canvases[row].sky.top(bounds.x0 - 0.3, bounds.x1 + 0.3);
            under(canvas, loud).fold(top, f64::min) - bounds.y1
        });
        let below = below.fold(f64::MAX, f64::min);
        let above = stretch.iter().map(|loud| loud.away).fold(f64::MAX, f64::min);
        let rests = |row: usize| {
            let staff = &sheet.staves[self.shown[row]];
            stretch.iter().all(|loud| staff.bars[loud.bar].is_silent())
        };
        let lower_alone = rests(row - 1) && !rests(row);
        let by = if lower_alone { below - BY_ITS_HAND } else { (below - above) / 2.0 };
        let line = stretch[0].line;
        Moved {
            room: (line, line + (below - LEAST).max(0.0)),
            line: line + by.max(0.0),
            marks: stretch.iter().map(|loud| (loud.marks.clone(), line)).collect(),
        }
    }
}

/// Upper edges of what else of the upper staff stands below a dynamic of it: words.
pub(super) fn under<'a>(canvas: &'a Canvas, loud: &'a Loud) -> impl Iterator<Item = f64> + 'a {
    let own = |number: usize| canvas.dynamics.iter().any(|other| other.marks.contains(&number));
    let others = canvas.marks.iter().enumerate().filter(move |(number, _)| !own(*number));
    let boxes = others.map(|(_, mark)| mark.bounds());
    let near = |other: &kurbo::Rect| {
        let beside = other.x0 < loud.bounds.x1 + 0.3 && loud.bounds.x0 - 0.3 < other.x1;
        beside && other.y0 >= loud.bounds.y1 - 0.2
    };
    boxes.filter(near).map(|other| other.y0)
}

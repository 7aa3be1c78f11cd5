//! The lines of a staff along a system: five, or one while its player has an instrument without pitch.

use super::SystemLine;
use crate::layout::canvas::Canvas;
use crate::layout::measures::STAFF_LINE;
use crate::layout::spacing::PlacedBar;
use crate::page::Kind;
use crate::sheet::Staff;

/// Bars of a system one after the other in which a staff has as many lines.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct LineRun {
    pub from: f64,
    pub to: f64,
    /// How far its bar lines reach from its middle, in staff spaces.
    pub half: f64,
    lines: u8,
}

impl LineRun {
    /// Draws them around a middle line at that height.
    pub(super) fn draw(&self, canvas: &mut Canvas, y: f64) {
        let outermost = f64::from(self.lines.saturating_sub(1)) / 2.0;
        for line in 0..self.lines {
            let y = y - outermost + f64::from(line);
            canvas.line((Kind::StaffLine, None), (self.from, y), (self.to, y), STAFF_LINE);
        }
    }
}

/// The stretches of a staff in a system that reaches from there to there. Its lines change at the bar line.
pub(super) fn runs(staff: &Staff, placed: &[PlacedBar], (left, right): (f64, f64)) -> Vec<LineRun> {
    let mut runs: Vec<LineRun> = Vec::with_capacity(1);
    for bar in placed {
        let here = &staff.bars[bar.bar];
        match runs.last_mut() {
            Some(run) if run.lines == here.lines => {}
            last => {
                let from = last.map_or(left, |run| {
                    run.to = bar.x;
                    bar.x
                });
                runs.push(LineRun { from, to: right, half: here.half(), lines: here.lines });
            }
        }
    }
    runs
}

/// How far a bar line reaches from the middle of a staff, between a bar of the system and the next or, where that
/// is none, at its end: as far as the taller of both.
pub(in crate::layout) fn half_between(
    staff: &Staff,
    bar: &PlacedBar,
    next: Option<&PlacedBar>,
) -> f64 {
    let next = next.map_or(0.0, |next| staff.bars[next.bar].half());
    staff.bars[bar.bar].half().max(next)
}

impl SystemLine<'_> {
    /// How far the staff reaches from its middle there.
    pub(super) fn half_at(&self, x: f64) -> f64 {
        let bar = self.placed.iter().rfind(|bar| bar.x <= x).or(self.placed.first());
        bar.map_or(0.0, |bar| self.bar(bar.bar).half())
    }
}

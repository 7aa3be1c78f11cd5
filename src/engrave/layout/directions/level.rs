//! At what height dynamics and hairpins stand: those of one phrase on one line.

use std::ops::Range;

use kurbo::Rect;
use ripieno_compiler::music::Time;

use super::super::canvas::{Canvas, Loud};
use super::super::measures::THIN_LINE;
use crate::glyphs::Glyph;
use crate::page::{Kind, Mark};
use crate::text::Run;

/// The staff by which dynamics stand.
pub(in crate::layout) struct Ground<'a> {
    /// Is it one of two that a brace joins?
    pub between: bool,
    /// Half its height at a place of the line, in staff spaces.
    pub half: &'a dyn Fn(f64) -> f64,
    pub in_part: bool,
    /// The first bar of the line.
    pub first: usize,
    /// Does nobody play in a bar?
    pub silent: &'a dyn Fn(usize) -> bool,
}

impl Ground<'_> {
    /// Lies a bar of rest between what stands on the line and what stands there before it?
    fn rests(&self, lows: &[Low], from: usize) -> bool {
        let before = from.checked_sub(1).map_or(0, |before| lows[before].at().0);
        (self.within(before)..lows[from].at().0).any(self.silent)
    }

    /// The bar of its line where something begins that may come from the line before.
    fn within(&self, bar: usize) -> usize {
        bar.max(self.first)
    }
}

/// What stands on the line of dynamics.
pub(super) enum Low {
    Letters {
        signs: Vec<(Glyph, f64)>,
        x: f64,
        width: f64,
        at: (usize, Time),
    },
    Hairpin {
        from: f64,
        to: f64,
        opens: f64,
        closes: f64,
        at: (usize, Time),
    },
    /// "crescendo", "morendo".
    Words {
        run: Run,
        x: f64,
        at: (usize, Time),
    },
}

impl Low {
    /// Where in the music it begins.
    pub(super) fn at(&self) -> (usize, Time) {
        let (Low::Letters { at, .. } | Low::Hairpin { at, .. } | Low::Words { at, .. }) = self;
        *at
    }

    /// What it takes along the line.
    pub(super) fn span(&self) -> (f64, f64) {
        match self {
            Low::Letters { x, width, .. } => (*x - 0.1, x + width + 0.2),
            Low::Hairpin { from, to, .. } => (*from, *to),
            Low::Words { run, x, .. } => (*x - 0.1, x + run.width + 0.3),
        }
    }
}

/// Nearer to the figure of a tuplet than this a dynamic on the same line would be read with it ("f3"). Our
/// heuristic.
const BESIDE_FIGURE: f64 = 2.5;

/// The figures of tuplets beside which a dynamic must not stand.
fn beside<'a>(canvas: &'a Canvas, low: &Low) -> impl Iterator<Item = &'a Rect> {
    let letters = matches!(low, Low::Letters { .. });
    let (x0, x1) = (low.span().0 - BESIDE_FIGURE, low.span().1 + BESIDE_FIGURE);
    canvas.figures.iter().filter(move |figure| letters && figure.x0 < x1 && x0 < figure.x1)
}

/// Dynamics and hairpins nearer to one another than this stand on one line, in staff spaces; up to `ONE_PHRASE`
/// they do where their lines would lie no farther apart than `ONE_LEVEL`; in a part, where no staff below needs the
/// room, than `ONE_LEVEL_WITH_ROOM`, if no bar of rest lies between, and in a score, once its staves stand, where
/// these leave room (`System::level_dynamics`). In a part a hairpin that begins no farther than
/// `BEFORE_HAIRPIN` behind a dynamic sets out from its level. Our heuristic; that what belongs to one phrase stands on
/// one line is common practice.
pub(in crate::layout) const NEAR: f64 = 6.0;
const BEFORE_HAIRPIN: f64 = 12.0;
pub(in crate::layout) const ONE_PHRASE: f64 = 24.0;
const ONE_LEVEL: f64 = 0.5;
pub(in crate::layout) const ONE_LEVEL_WITH_ROOM: f64 = 2.8;

/// Air between what stands on the line of dynamics and notes and their articulations; between the arms of a hairpin
/// and the staff; and between letters above a staff and what is under their tails. Our heuristic.
const AIR: f64 = 0.45;
const UNDER_STAFF: f64 = 0.8;
const OVER_STAFF: f64 = 0.5;

/// The base line of each stretch of dynamics: as near to the staff as its lowest need allows.
pub(super) fn place(canvas: &mut Canvas, lows: &[Low], ground: &Ground, above: bool) {
    let Ground { between, half, .. } = *ground;
    let need = |canvas: &Canvas, low: &Low| {
        let (x0, x1) = low.span();
        let half = half(x0);
        let edge = canvas.sky.bottom(x0, x1).max(half);
        let edge = beside(canvas, low).map(|figure| figure.y1 + 0.3).fold(edge, f64::max);
        // Letters rise a good space over the base line, an f higher; hairpins lie around half a
        // space over it.
        let rise = match low {
            Low::Letters { signs, .. }
                if signs.iter().any(|(sign, _)| *sign == Glyph::DynamicForte) =>
            {
                1.75
            }
            Low::Letters { .. } => 1.1,
            Low::Words { run, .. } => run.rise(),
            Low::Hairpin { opens, closes, .. } => 0.45 + opens.max(*closes) / 2.0,
        };
        // Midway between the staves of a player.
        let least: f64 = if between { 3.0 } else { 1.9 };
        // The arm of one that opens wide would seem to lie on a line of the staff.
        let least = match low {
            Low::Hairpin { .. } => least.max(rise + UNDER_STAFF),
            _ => least,
        };
        (edge + AIR + rise).max(half + least)
    };
    let level = |canvas: &Canvas, lows: &[Low]| {
        if !above {
            return lows.iter().map(|low| need(canvas, low)).fold(0.0, f64::max);
        }
        let edge = lows.iter().map(|low| {
            let (x0, x1) = low.span();
            let edge = canvas.sky.top(x0, x1).min(-half(x0));
            let edge = beside(canvas, low).map(|figure| figure.y0 - 0.3).fold(edge, f64::min);
            let fall = match low {
                Low::Letters { signs, .. } => {
                    signs.iter().map(|(sign, _)| -sign.bounds().y0).fold(0.0, f64::max)
                }
                _ => 0.0,
            };
            edge - (fall + OVER_STAFF).max(1.1)
        });
        edge.fold(0.0, f64::min)
    };
    let in_part = ground.in_part && !between;
    let near = |to: usize| match (&lows[to - 1], &lows[to]) {
        (Low::Letters { .. }, Low::Hairpin { .. }) if in_part => BEFORE_HAIRPIN,
        _ => NEAR,
    };
    let levels = if in_part { ONE_LEVEL_WITH_ROOM } else { ONE_LEVEL };
    // With their own heights, the least and the greatest.
    let mut stretches: Vec<(Range<usize>, f64, (f64, f64))> = Vec::new();
    let mut from = 0;
    while from < lows.len() {
        // What lies near one another, or is joined by a hairpin, stands on one line.
        let mut to = from + 1;
        while to < lows.len() && lows[to].span().0 - lows[to - 1].span().1 < near(to) {
            to += 1;
        }
        let y = level(canvas, &lows[from..to]);
        let gap = lows[from].span().0 - from.checked_sub(1).map_or(f64::MIN, |n| lows[n].span().1);
        match stretches.last_mut() {
            // What follows soon and would stand a little higher or lower goes on in the same line.
            Some((before, other, own))
                if gap < ONE_PHRASE
                    && ((*other - y).abs() <= ONE_LEVEL
                        || own.1.max(y) - own.0.min(y) <= levels && !ground.rests(lows, from)) =>
            {
                before.end = to;
                *other = if above { other.min(y) } else { other.max(y) };
                *own = (own.0.min(y), own.1.max(y));
            }
            _ => stretches.push((from..to, y, (y, y))),
        }
        from = to;
    }
    for (stretch, y, _) in stretches {
        for low in &lows[stretch] {
            let begun = canvas.marks.len();
            let (x0, x1) = low.span();
            let (top, bottom) = (canvas.sky.top(x0, x1), canvas.sky.bottom(x0, x1));
            draw_low(canvas, low, y);
            let bounds = canvas.marks[begun..].iter().map(Mark::bounds).reduce(|a, b| a.union(b));
            let Some(bounds) = bounds else { continue };
            let half = half(x0);
            let away =
                if above { top.min(-half) - bounds.y1 } else { bounds.y0 - bottom.max(half) };
            let (marks, bar) = (begun..canvas.marks.len(), ground.within(low.at().0));
            canvas.dynamics.push(Loud { bounds, away, marks, bar, line: y, by_hand: false });
        }
    }
}

fn draw_low(canvas: &mut Canvas, low: &Low, y: f64) {
    let from_mark = canvas.marks.len();
    let at = low.at();
    match low {
        Low::Letters { signs, x, .. } => {
            for (sign, along) in signs {
                canvas.glyph((Kind::Dynamic, None), *sign, (x + along, y), 1.0);
            }
        }
        Low::Hairpin { from, to, opens, closes, .. } => {
            let middle = y - 0.45;
            for side in [-0.5, 0.5] {
                canvas.line(
                    (Kind::Hairpin, None),
                    (*from, middle + side * opens),
                    (*to, middle + side * closes),
                    THIN_LINE,
                );
            }
        }
        Low::Words { run, x, .. } => canvas.text(Kind::Text, None, run.clone(), (*x, y)),
    }
    canvas.say(from_mark, at);
}

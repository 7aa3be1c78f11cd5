//! Words over a staff and below it: ways of playing, orders, whose the notes are.

use kurbo::{Point, Rect};
use ripieno_writers::edition::DirectionKind;

use super::super::canvas::Canvas;
use super::super::measures::ABOVE;
use super::super::orders;
use super::Said;
use crate::page::{Kind, Shape};
use crate::text::{Face, Run, in_lines, shape};

/// How wide words over a staff may be, in staff spaces, before they go on in another line: some fifty
/// letters.
const WORDS: f64 = 46.0;

/// Face and size of words.
pub(in crate::layout) const WORDS_FACE: (Face, f64) = (Face::Italic, 2.1);

/// So far the margin pushes words to the left before they are set in more lines instead. Our heuristic.
const PUSHED: f64 = 2.0;

/// Air before words, and before an order at the end of a bar: the sign of its last note may reach up to it. Our
/// heuristic.
const BEFORE: f64 = 0.2;
const BEFORE_ORDER: f64 = 0.8;

/// Air behind words on the same line, and behind an order. Our heuristic.
const BEHIND: f64 = 0.8;
const BEHIND_ORDER: f64 = 2.0;

/// From the upper line of the staff to the base line of words over it, at least: whatever letters they have, they
/// stand at one height where nothing but the staff is below. Our heuristic.
const OVER_STAFF: f64 = 0.8;

/// Air between an order and the notes of the next bar, over which it ends. Our heuristic.
const OVER_NEXT: f64 = 1.0;

/// Words begin before their note, by as little of this as brings them nearer to the staff by so much at least:
/// what lies under their end alone would hold them off. Our heuristic.
const EARLIER: [f64; 3] = [0.5, 1.0, 1.5];
const NEARER: f64 = 1.2;

/// Ways of playing and words, above the staff or below it, one line over another where they meet.
pub(in crate::layout) fn words(canvas: &mut Canvas, said: &[Said], end: f64) {
    // What is said first at a place stands uppermost.
    for place in said.chunk_by(|a, b| a.at == b.at && a.above && b.above) {
        let earlier = earlier(canvas, place);
        for direction in place.iter().rev() {
            let Some((text, face, size)) = direction.text() else { continue };
            let (mut lines, x) = set(direction, (text, face, size), end);
            let x = if x < direction.left { x } else { x - earlier };
            // What is nearest to the staff comes first.
            if direction.above {
                lines.reverse();
            }
            put(canvas, direction, lines, x);
        }
    }
}

/// The lines of words, and where they begin.
fn set(direction: &Said, (text, face, size): (&str, Face, f64), end: f64) -> (Vec<Run>, f64) {
    // An order to take something else keeps within its bar in a score, and within the line in a part.
    if let Some(bar) = direction.room.filter(|_| direction.is_order()) {
        return in_bar(text, direction, bar);
    }
    let lines = in_lines(text, face, size, (end - 0.5).min(WORDS));
    let pushed = (end - widest(&lines)).max(0.5);
    // Far to the left they would stand under what is before: there they go on in more lines.
    let from_place = in_lines(text, face, size, (end - direction.left).max(1.0));
    let fits = direction.left + widest(&from_place) <= end;
    if direction.left - pushed > PUSHED && fits && from_place.len() < 4 {
        (from_place, direction.left)
    } else {
        (lines, direction.left.min(pushed))
    }
}

/// Draws lines of words, the nearest to the staff first.
fn put(canvas: &mut Canvas, direction: &Said, lines: Vec<Run>, x: f64) {
    let order = direction.is_order() && direction.above;
    // Where each would stand by itself.
    let alone: Vec<f64> = lines.iter().map(|run| base_line(canvas, direction, run, x)).collect();
    let mut below: Option<f64> = None;
    for (run, alone) in lines.into_iter().zip(alone) {
        let (x0, x1) = direction.span(&run, x);
        let y = match below.filter(|_| order) {
            // At one distance, whatever the letters are.
            Some(below) => alone.min(below - orders::LINE),
            None => base_line(canvas, direction, &run, x),
        };
        below = Some(y);
        // What would follow on the same line begins so far behind them, or stands higher: a tempo
        // is in the letters of an order.
        let behind = if direction.is_order() { BEHIND_ORDER } else { BEHIND };
        canvas.sky.add((x0, x1 + behind), (y - run.rise(), y + run.fall() * 0.5));
        if order {
            canvas.orders.push(Rect::new(x, y - run.rise(), x + run.width, y + run.fall()));
        }
        if matches!(direction.kind, DirectionKind::CueName(_)) && direction.above {
            canvas.names.push(Rect::new(x, y - run.rise(), x + run.width, y + run.fall()));
        }
        let from_mark = canvas.marks.len();
        canvas.put(Kind::Text, None, Shape::Text { at: Point::new(x, y), run });
        canvas.say(from_mark, direction.at);
    }
}

/// Where words stand that lie as near to the staff as what is between allows.
fn base_line(canvas: &Canvas, direction: &Said, run: &Run, x: f64) -> f64 {
    let (x0, x1) = direction.span(run, x);
    if direction.above {
        let own = canvas.sky.top(x0, x1).min(-2.1) - ABOVE;
        // What an order meets in the next bar is not its own.
        let next = canvas.sky.within_staff(direction.bar_end.max(x0), x1).0;
        let met = direction.is_order() && x1 > direction.bar_end && next < -2.1;
        let edge = if met { own.min(next - OVER_NEXT) } else { own };
        (edge - run.fall()).min(-2.0 - OVER_STAFF)
    } else {
        canvas.sky.bottom(x0, x1).max(2.1) + ABOVE + run.rise()
    }
}

impl Said<'_> {
    /// Words with their face and size; nothing for what is not said in words.
    fn text(&self) -> Option<(&str, Face, f64)> {
        Some(match self.kind {
            DirectionKind::Technique(technique) => {
                (technique.printed(), orders::TECHNIQUE.0, orders::TECHNIQUE.1)
            }
            DirectionKind::Words(words) => (words, WORDS_FACE.0, WORDS_FACE.1),
            DirectionKind::Who(words) => (words, Face::Roman, 2.1),
            DirectionKind::Change(words) => (words, Face::Bold, 2.1),
            DirectionKind::CueName(words) => (words, Face::Italic, 1.75),
            DirectionKind::Dynamic(_) | DirectionKind::Chord(_) | DirectionKind::Figures(_) => {
                return None;
            }
        })
    }

    /// Is it an order to take something else?
    fn is_order(&self) -> bool {
        matches!(self.kind, DirectionKind::Change(_))
    }

    /// What a line of words takes with its air.
    fn span(&self, run: &Run, x: f64) -> (f64, f64) {
        let before = if self.at_end { BEFORE_ORDER } else { BEFORE };
        (x - before, x + run.width + 0.4)
    }
}

/// How far before their note the words of a place begin so that all stand near to the staff. Numbers of players,
/// names of cues and orders begin at their place.
fn earlier(canvas: &Canvas, place: &[Said]) -> f64 {
    let said = place.iter().filter_map(|one| {
        let (text, face, size) = one.text()?;
        Some((one, shape(text, face, size)))
    });
    let Some((longest, run)) = said.clone().max_by(|a, b| a.1.width.total_cmp(&b.1.width)) else {
        return 0.0;
    };
    let moves =
        |one: &Said| matches!(one.kind, DirectionKind::Words(_) | DirectionKind::Technique(_));
    if run.width > WORDS || !said.clone().all(|(one, _)| moves(one)) {
        return 0.0;
    }
    let away = |by: f64| base_line(canvas, longest, &run, longest.left - by).abs();
    let room = longest.left - longest.clear.max(0.5);
    let nearer = |by: &f64| *by <= room && away(0.0) - away(*by) >= NEARER;
    EARLIER.into_iter().find(nearer).unwrap_or(0.0)
}

fn widest(lines: &[Run]) -> f64 {
    lines.iter().map(|run| run.width).fold(0.0, f64::max)
}

/// An order between two bar lines, and where it begins: at its place, or up to the bar line where it stands
/// at the end. It begins a little earlier where that spares a line, and farther left only where even its longest word has
/// no room.
fn in_bar(text: &str, direction: &Said, (from, to): (f64, f64)) -> (Vec<Run>, f64) {
    let (lines, fewer) =
        (orders::lines(text, to - direction.left), orders::lines(text, to - direction.early));
    let lines = if fewer.len() < lines.len() { fewer } else { lines };
    let rightmost = (to - widest(&lines)).max(from);
    // Behind a line that stays short there is more room than up to the bar line.
    let beside_line = (to.min(direction.bar_end) - widest(&lines)).max(from);
    let x = direction.left.min(rightmost);
    (lines, if direction.at_end { x.max(beside_line) } else { x })
}

//! Figures of a bass.

use kurbo::{Point, Rect};
use ripieno_compiler::music::Figure;
use ripieno_compiler::resolve::NudgedSign;
use ripieno_writers::edition::DirectionKind;

use super::super::canvas::{Canvas, Loud};
use super::Said;
use crate::glyphs::Glyph;
use crate::page::{Kind, Shape};
use crate::text::{Face, Run, shape};

/// Face and size of figures.
const FIGURE: (Face, f64) = (Face::Roman, 2.0);

/// Size of a double sharp among figures, and how far its middle lies above their base line.
const DOUBLE_SHARP: f64 = 0.75;
const MIDDLE: f64 = 0.65;

/// Air between it and its number.
const BEHIND_SIGN: f64 = 0.12;

/// One figure, shaped: a double sharp is drawn as that of a note is, since the faces of words have none.
pub(in crate::layout) struct Figured {
    sign: Option<Glyph>,
    run: Run,
}

impl Figured {
    pub(in crate::layout) fn new(figure: &Figure) -> Figured {
        let (sign, words) = match figure.sign {
            Some(2..) => {
                let number = figure.shown().map(|number| number.to_string());
                (Some(Glyph::AccidentalDoubleSharp), number.unwrap_or_default())
            }
            _ => (None, figure.to_string()),
        };
        Figured { sign, run: shape(&words, FIGURE.0, FIGURE.1) }
    }

    /// How far its number lies behind its left edge, because an accidental is before it.
    fn hung(&self) -> f64 {
        let before = self.run.text.trim_end_matches(|letter: char| letter.is_ascii_digit());
        match before.len() {
            _ if self.run.text.is_empty() || before == self.run.text => 0.0,
            0 => self.signed(),
            _ => self.signed() + shape(before, FIGURE.0, FIGURE.1).width,
        }
    }

    /// From its left edge to what words say of it.
    fn signed(&self) -> f64 {
        let air = if self.run.text.is_empty() { 0.0 } else { BEHIND_SIGN };
        self.sign.map_or(0.0, |sign| sign.width() * DOUBLE_SHARP + air)
    }

    fn width(&self) -> f64 {
        self.signed() + self.run.width
    }

    /// Draws it from a point on its base line.
    fn draw(self, canvas: &mut Canvas, (x, y): (f64, f64)) {
        let signed = self.signed();
        canvas.sky.add((x - 0.2, x + self.width() + 0.3), (y - self.run.rise(), y));
        if let Some(glyph) = self.sign {
            let at = Point::new(x - glyph.bounds().x0 * DOUBLE_SHARP, y - MIDDLE);
            canvas.put(Kind::Text, None, Shape::Glyph { glyph, at, scale: DOUBLE_SHARP });
        }
        if !self.run.text.is_empty() {
            let at = Point::new(x + signed, y);
            canvas.put(Kind::Text, None, Shape::Text { at, run: self.run });
        }
    }
}

/// Where the column of the numbers begins in some figures one below another, and how wide these are.
pub(in crate::layout) fn column(figures: &[Figured]) -> (f64, f64) {
    let column = figures.iter().map(Figured::hung).fold(0.0, f64::max);
    let width = |figure: &Figured| column - figure.hung() + figure.width();
    (column, figures.iter().map(width).fold(0.0, f64::max))
}

/// Figures of a line one below another under the staff, the highest number on top, their numbers in one column under
/// the note with the accidentals before it; all begin at one height, so that they are read along (common practice).
pub(in crate::layout) fn figures(canvas: &mut Canvas, said: &[Said], end: f64) {
    let mut stacks = Vec::new();
    let mut lowest = f64::MIN;
    let mut taken = f64::MIN;
    for direction in said {
        let DirectionKind::Figures(figures) = direction.kind else { continue };
        let all: Vec<Figured> = figures.iter().map(Figured::new).collect();
        let (column, width) = column(&all);
        // Accidentals hang before the note as far as the figures before it leave room.
        let hung = (direction.left - column).max(taken + BESIDE).min(direction.left);
        let x = hung.min((end - width).max(0.5));
        taken = x + width;
        let (x0, x1) = (x - 0.2, x + width + 0.3);
        let near = |loud: &&Loud| loud.bounds.x0 < x1 + IN_ROW && x0 - IN_ROW < loud.bounds.x1;
        let dynamics = canvas.dynamics.iter().filter(near).map(|loud| loud.bounds.y1);
        let edge = dynamics.fold(canvas.sky.bottom(x0, x1).max(2.1), f64::max);
        lowest = lowest.max(edge);
        stacks.push((all, (x, x + width), column, direction.at));
    }
    let mut before: Option<Rect> = None;
    for (all, (x, right), column, at) in stacks {
        let mut y = lowest;
        let own = canvas.sky.bottom(x - 0.2, right + 0.3);
        let head = Rect::new(x, y + 0.4, right, y + 0.4);
        for figure in all {
            y += 0.4 + figure.run.rise();
            let from_mark = canvas.marks.len();
            let x = x + column - figure.hung();
            figure.draw(canvas, (x, y));
            canvas.say_as(NudgedSign::Figures, from_mark, at);
        }
        canvas.stacks.push((Rect { y1: y, ..head }, head.y0 - own));
        let from = before.map_or(0.0, |before| before.x1);
        let foot = before.map_or(y, |before| before.y1.max(y));
        canvas.rows.push(Rect::new(from, foot - 1.0, x, foot));
        before = Some(Rect::new(x, y - 1.0, x, y));
    }
    canvas.rows.extend(before.map(|last| Rect { x1: end, ..last }));
}

/// Air between an accidental that hangs before its note and the figures before it. Our heuristic.
const BESIDE: f64 = 0.6;

/// Nearer to a figure than this a dynamic in the row of the figures would be read with it ("f 6/4"): the row
/// stands below it. Our heuristic.
const IN_ROW: f64 = 12.0;

//! Dynamics and hairpins on a common line below the staff; ways of playing and words above it.

use kurbo::Point;
use ripieno_compiler::music::Time;
use ripieno_compiler::resolve::Dynamic;
use ripieno_writers::notate::StaffDirectionKind;

use super::canvas::Canvas;
use super::measures::{ABOVE, HAIRPIN, THIN_LINE};
use crate::glyphs::Glyph;
use crate::page::{Kind, Shape};
use crate::text::{Face, shape};

/// A direction with its place along the line.
#[derive(Clone, Debug)]
pub(super) struct Said<'a> {
    pub kind: &'a StaffDirectionKind,
    /// Middle of the head it belongs to.
    pub x: f64,
    /// Left edge of that head.
    pub left: f64,
    /// Does a note stand there, or is it the end of a bar?
    pub at_end: bool,
    pub at: (usize, Time),
}

/// The letters of a dynamic with their places, and how wide they are.
fn letters(dynamic: Dynamic) -> (Vec<(Glyph, f64)>, f64) {
    let mut x = 0.0;
    let mut signs = Vec::new();
    for letter in dynamic.letters().chars() {
        let (sign, advance) = match letter {
            'p' => (Glyph::DynamicPiano, 1.42),
            'm' => (Glyph::DynamicMezzo, if dynamic == Dynamic::Mf { 1.72 } else { 2.02 }),
            'f' => (Glyph::DynamicForte, 1.12),
            's' => (Glyph::DynamicSforzando, 0.92),
            _ => (Glyph::DynamicZ, 1.0),
        };
        signs.push((sign, x));
        x += advance;
    }
    let width = signs.last().map_or(0.0, |(sign, x)| x + sign.width());
    (signs, width)
}

enum Low {
    Letters { signs: Vec<(Glyph, f64)>, x: f64, width: f64 },
    Hairpin { grows: bool, from: f64, to: f64, opens: f64, closes: f64 },
}

impl Low {
    fn span(&self) -> (f64, f64) {
        match self {
            Low::Letters { x, width, .. } => (*x - 0.1, x + width + 0.2),
            Low::Hairpin { from, to, .. } => (*from, *to),
        }
    }
}

/// Dynamics and hairpins of a line, on one line as far as they lie near one another. `open`
/// carries a hairpin from line to line.
pub(super) fn dynamics(
    canvas: &mut Canvas,
    said: &[Said],
    (begin, end): (f64, f64),
    open: &mut Option<bool>,
    between: bool,
) {
    let mut lows: Vec<Low> = Vec::new();
    let mut hairpin: Option<(bool, f64, bool)> = open.take().map(|grows| (grows, begin, true));
    let mut edge = begin;
    for direction in said {
        match direction.kind {
            StaffDirectionKind::Dynamic(dynamic) => {
                let (signs, width) = letters(*dynamic);
                // The optical middle of the letters stands under the head.
                let x = (direction.x - width / 2.0 - 0.05).max(begin - 1.0).max(edge);
                if let Some((grows, from, carried)) = hairpin.take() {
                    push_hairpin(&mut lows, (grows, carried, false), from, x - 0.35);
                }
                edge = x + width + 0.45;
                lows.push(Low::Letters { signs, x, width });
            }
            StaffDirectionKind::HairpinStarts { grows } => {
                if let Some((grows, from, carried)) = hairpin.take() {
                    push_hairpin(&mut lows, (grows, carried, false), from, direction.left - 0.3);
                }
                let from = direction.left.max(edge);
                hairpin = Some((*grows, from, false));
            }
            StaffDirectionKind::HairpinEnds => {
                if let Some((grows, from, carried)) = hairpin.take() {
                    // Does a dynamic stand where it ends?
                    let next = said.iter().find_map(|other| match other.kind {
                        StaffDirectionKind::Dynamic(dynamic) if other.at == direction.at => {
                            Some(other.x - letters(*dynamic).1 / 2.0 - 0.4)
                        }
                        _ => None,
                    });
                    let to = next.unwrap_or(if direction.at_end { direction.x - 0.5 } else { direction.left - 0.4 });
                    push_hairpin(&mut lows, (grows, carried, false), from, to);
                    edge = edge.max(to + 0.3);
                }
            }
            _ => {}
        }
    }
    if let Some((grows, from, carried)) = hairpin {
        push_hairpin(&mut lows, (grows, carried, true), from, end);
        *open = Some(grows);
    }
    place(canvas, &lows, between);
}

fn push_hairpin(lows: &mut Vec<Low>, (grows, carried, goes_on): (bool, bool, bool), from: f64, to: f64) {
    let to = to.max(from + 1.6);
    // A part of a hairpin that comes from or goes to another line does not close.
    let narrow = |broken: bool| if broken { HAIRPIN * 0.45 } else { 0.0 };
    let wide = |broken: bool| if broken { HAIRPIN * 0.7 } else { HAIRPIN };
    let (opens, closes) = if grows { (narrow(carried), wide(goes_on)) } else { (wide(carried), narrow(goes_on)) };
    lows.push(Low::Hairpin { grows, from, to, opens, closes });
}

/// The base line of each stretch of dynamics: as near to the staff as its lowest need allows.
fn place(canvas: &mut Canvas, lows: &[Low], between: bool) {
    let need = |canvas: &Canvas, low: &Low| {
        let (x0, x1) = low.span();
        let edge = canvas.sky.bottom(x0, x1).max(2.0);
        // Letters rise a good space over the base line, an f higher; hairpins lie around half a
        // space over it.
        let rise = match low {
            Low::Letters { signs, .. } if signs.iter().any(|(sign, _)| *sign == Glyph::DynamicForte) => 1.75,
            Low::Letters { .. } => 1.1,
            Low::Hairpin { opens, closes, .. } => 0.45 + opens.max(*closes) / 2.0,
        };
        let least: f64 = if between { 4.4 } else { 3.9 };
        (edge + 0.45 + rise).max(least)
    };
    let mut from = 0;
    while from < lows.len() {
        // What lies near one another, or is joined by a hairpin, stands on one line.
        let mut to = from + 1;
        while to < lows.len() && lows[to].span().0 - lows[to - 1].span().1 < 6.0 {
            to += 1;
        }
        let y = lows[from..to].iter().map(|low| need(canvas, low)).fold(0.0, f64::max);
        for low in &lows[from..to] {
            draw_low(canvas, low, y);
        }
        from = to;
    }
}

fn draw_low(canvas: &mut Canvas, low: &Low, y: f64) {
    match low {
        Low::Letters { signs, x, .. } => {
            for (sign, along) in signs {
                canvas.glyph((Kind::Dynamic, None), *sign, (x + along, y), 1.0);
            }
        }
        Low::Hairpin { from, to, opens, closes, grows } => {
            let middle = y - 0.45;
            let _ = grows;
            for side in [-0.5, 0.5] {
                canvas.line(
                    (Kind::Hairpin, None),
                    (*from, middle + side * opens),
                    (*to, middle + side * closes),
                    THIN_LINE,
                );
            }
        }
    }
}

/// Ways of playing and words, above the staff, one line over another where they meet.
pub(super) fn words(canvas: &mut Canvas, said: &[Said], end: f64) {
    for direction in said {
        let (text, face) = match direction.kind {
            StaffDirectionKind::Technique(technique) => (technique.printed().to_string(), Face::Roman),
            StaffDirectionKind::Words(words) => (words.clone(), Face::Italic),
            _ => continue,
        };
        let run = shape(&text, face, 2.1);
        let x = direction.left.min((end - run.width).max(0.5));
        let (x0, x1) = (x - 0.2, x + run.width + 0.4);
        let y = canvas.sky.top(x0, x1).min(-2.1) - ABOVE - run.fall();
        canvas.sky.add((x0, x1), (y - run.rise(), y));
        canvas.put(Kind::Text, None, Shape::Text { at: Point::new(x, y), run });
    }
}

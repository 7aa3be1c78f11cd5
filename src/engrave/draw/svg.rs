//! Scalable Vector Graphics: paths alone, so that no font is needed where it is shown. Words are
//! given as labels too. Each mark is of the class that says what it is.

use std::fmt::Write as _;

use kurbo::{Affine, BezPath, PathEl, Point};

use super::outline;
use crate::glyphs::Glyph;
use crate::page::{Page, Shape};

/// A page as SVG.
#[must_use]
pub fn page(page: &Page) -> String {
    let (width, height) = (page.size.0 / page.space, page.size.1 / page.space);
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{}mm\" height=\"{}mm\" viewBox=\"0 0 {} {}\">\n",
        number(page.size.0),
        number(page.size.1),
        number(width),
        number(height)
    );
    let mut used: Vec<Glyph> = page
        .marks
        .iter()
        .filter_map(|mark| match mark.shape {
            Shape::Glyph { glyph, .. } => Some(glyph),
            _ => None,
        })
        .collect();
    used.sort_unstable();
    used.dedup();
    svg.push_str("<defs>\n");
    for glyph in used {
        let path = Affine::FLIP_Y * glyph.outline().path.clone();
        let _ = writeln!(svg, "<path id=\"{}\" d=\"{}\"/>", glyph.name(), data(&path));
    }
    svg.push_str("</defs>\n<rect width=\"100%\" height=\"100%\" fill=\"#fff\"/>\n");
    for mark in &page.marks {
        let class = mark.kind.name();
        match &mark.shape {
            Shape::Glyph { glyph, at, scale } => {
                let scale = if (scale - 1.0).abs() < 1e-9 {
                    String::new()
                } else {
                    format!(" scale({})", number(*scale))
                };
                let _ = writeln!(
                    svg,
                    "<use class=\"{class}\" href=\"#{}\" transform=\"translate({} {}){scale}\"/>",
                    glyph.name(),
                    number(at.x),
                    number(at.y)
                );
            }
            Shape::Line { from, to, width } => {
                let _ = writeln!(
                    svg,
                    "<path class=\"{class}\" d=\"M{} {}L{} {}\" stroke=\"#000\" stroke-width=\"{}\"/>",
                    number(from.x),
                    number(from.y),
                    number(to.x),
                    number(to.y),
                    number(*width)
                );
            }
            Shape::Path(path) => {
                let _ = writeln!(svg, "<path class=\"{class}\" d=\"{}\"/>", data(path));
            }
            Shape::Text { run, .. } => {
                let label = escaped(&run.text);
                let path = data(&outline(mark));
                let _ = writeln!(
                    svg,
                    "<path class=\"{class}\" role=\"img\" aria-label=\"{label}\" d=\"{path}\"/>"
                );
            }
        }
    }
    svg.push_str("</svg>\n");
    svg
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('"', "&quot;")
}

/// Thousandths of a staff space are finer than any printer.
fn number(value: f64) -> String {
    let text = format!("{value:.3}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_string() } else { text.to_string() }
}

fn data(path: &BezPath) -> String {
    let mut text = String::new();
    let mut points = |sign: char, of: &[Point]| {
        text.push(sign);
        for (n, point) in of.iter().enumerate() {
            let space = if n == 0 { "" } else { " " };
            let _ = write!(text, "{space}{} {}", number(point.x), number(point.y));
        }
    };
    for element in path.elements() {
        match *element {
            PathEl::MoveTo(p) => points('M', &[p]),
            PathEl::LineTo(p) => points('L', &[p]),
            PathEl::QuadTo(a, p) => points('Q', &[a, p]),
            PathEl::CurveTo(a, b, p) => points('C', &[a, b, p]),
            PathEl::ClosePath => points('Z', &[]),
        }
    }
    text
}

//! Writers of pages. They draw what they are given and know nothing of music.

pub mod pdf;
pub mod png;
pub mod svg;

use kurbo::{Affine, BezPath};

use crate::page::{Mark, Shape};

/// Outline of a mark in staff spaces, `y` downwards.
fn outline(mark: &Mark) -> BezPath {
    match &mark.shape {
        Shape::Glyph { glyph, at, scale } => {
            let to = Affine::new([*scale, 0.0, 0.0, -scale, at.x, at.y]);
            to * glyph.outline().path.clone()
        }
        Shape::Path(path) => path.clone(),
        Shape::Line { from, to, width } => {
            let way = *to - *from;
            let length = way.hypot().max(1e-9);
            let across = kurbo::Vec2::new(-way.y, way.x) * (width / 2.0 / length);
            let mut path = BezPath::new();
            path.move_to(*from + across);
            path.line_to(*to + across);
            path.line_to(*to - across);
            path.line_to(*from - across);
            path.close_path();
            path
        }
        Shape::Text { at, run } => run.outline(*at),
    }
}

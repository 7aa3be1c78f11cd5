//! Pictures of dots.

use kurbo::PathEl;
use ripieno_compiler::narrow::Narrow;
use tiny_skia::{Color, FillRule, Paint, PathBuilder, Pixmap, Transform};

use super::outline;
use crate::page::Page;

/// The largest picture, in dots on a side.
const LARGEST: f64 = 20_000.0;

/// A page as PNG at a resolution in dots per inch; nothing if the picture would be too large.
#[must_use]
pub fn page(page: &Page, dots_per_inch: f64) -> Option<Vec<u8>> {
    let scale = dots_per_inch / 25.4;
    let (width, height) = (page.size.0 * scale, page.size.1 * scale);
    if !(1.0..LARGEST).contains(&width) || !(1.0..LARGEST).contains(&height) {
        return None;
    }
    let mut picture = Pixmap::new(width.ceil().narrow::<u32>(), height.ceil().narrow::<u32>())?;
    picture.fill(Color::WHITE);
    let mut paint = Paint::default();
    paint.set_color(Color::BLACK);
    paint.anti_alias = true;
    let to = (scale * page.space).narrow::<f32>();
    for mark in &page.marks {
        let mut path = PathBuilder::new();
        for element in outline(mark).elements() {
            let at = |p: kurbo::Point| (p.x.narrow::<f32>(), p.y.narrow::<f32>());
            match *element {
                PathEl::MoveTo(p) => path.move_to(at(p).0, at(p).1),
                PathEl::LineTo(p) => path.line_to(at(p).0, at(p).1),
                PathEl::QuadTo(a, p) => path.quad_to(at(a).0, at(a).1, at(p).0, at(p).1),
                PathEl::CurveTo(a, b, p) => {
                    path.cubic_to(at(a).0, at(a).1, at(b).0, at(b).1, at(p).0, at(p).1);
                }
                PathEl::ClosePath => path.close(),
            }
        }
        if let Some(path) = path.finish() {
            picture.fill_path(
                &path,
                &paint,
                FillRule::Winding,
                Transform::from_scale(to, to),
                None,
            );
        }
    }
    picture.encode_png().ok()
}

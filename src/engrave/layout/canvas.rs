//! One staff of a system while it is drawn: marks, and the edge of what stands there. `y` is
//! counted downwards from the middle line of the staff.

use std::ops::Range;

use kurbo::{Affine, BezPath, Point, Rect, Shape as _};

use ripieno_compiler::music::Time;
use ripieno_compiler::resolve::NudgedSign;

use super::skyline::Skyline;
use super::system::SlurEnd;
use crate::glyphs::Glyph;
use crate::page::{Kind, Mark, Origin, Shape};
use crate::text::Run;

/// A dynamic or a hairpin that is drawn.
#[derive(Debug)]
pub(super) struct Loud {
    pub bounds: Rect,
    /// How far it is from what it belongs to.
    pub away: f64,
    /// Its marks.
    pub marks: Range<usize>,
    /// The bar of the sheet where it begins; if it comes from the line before, the first one of its own.
    pub bar: usize,
    /// The base line of the stretch to which it belongs.
    pub line: f64,
    /// Did a layout move it?
    pub by_hand: bool,
}

/// Marks of a staff and their edge.
#[derive(Debug)]
pub(super) struct Canvas {
    pub marks: Vec<Mark>,
    pub sky: Skyline,
    /// Marks that are not of a note: as what a layout moves them, if it may, and where in the music they stand, by
    /// bar of the sheet and time in it.
    pub said: Vec<(usize, Option<NudgedSign>, (usize, Time))>,
    /// Head and foot of the frame of each rehearsal mark.
    pub framed: Vec<(f64, f64)>,
    /// Boxes of the names of cues over the staff.
    pub names: Vec<Rect>,
    /// Boxes of the lines of orders over the staff.
    pub orders: Vec<Rect>,
    /// Boxes of the numbers of rests of several bars.
    pub counts: Vec<Rect>,
    /// Dynamics and hairpins.
    pub dynamics: Vec<Loud>,
    /// Boxes of the figures of tuplets.
    pub figures: Vec<Rect>,
    /// Brackets of tuplets, without their hooks.
    pub brackets: Vec<Rect>,
    /// Boxes of the figures of a bass below one note each, and how far they are from what it belongs to.
    pub stacks: Vec<(Rect, f64)>,
    /// Ends of slurs that go over both staves of a player and begin and end on this line.
    pub across: Vec<SlurEnd>,
    /// What a row of the figures of a bass takes, from one to the next and to both ends of the line, for
    /// the line below it.
    pub rows: Vec<Rect>,
}

impl Canvas {
    pub(super) fn new(width: f64) -> Canvas {
        Canvas {
            marks: Vec::new(),
            sky: Skyline::new(width),
            said: Vec::new(),
            framed: Vec::new(),
            names: Vec::new(),
            orders: Vec::new(),
            counts: Vec::new(),
            dynamics: Vec::new(),
            figures: Vec::new(),
            brackets: Vec::new(),
            stacks: Vec::new(),
            across: Vec::new(),
            rows: Vec::new(),
        }
    }

    /// All marks from the one of that number on stand at a place of the music: dynamics, hairpins and words.
    pub(super) fn say(&mut self, from: usize, at: (usize, Time)) {
        let sign = |mark: usize| match self.marks[mark].kind {
            Kind::Dynamic => NudgedSign::Dynamic,
            Kind::Hairpin => NudgedSign::Hairpin,
            _ => NudgedSign::Words,
        };
        self.said.extend((from..self.marks.len()).map(|mark| (mark, Some(sign(mark)), at)));
    }

    /// The same of what a layout moves as a sign of its own, or not at all.
    pub(super) fn say_as(
        &mut self,
        sign: impl Into<Option<NudgedSign>>,
        from: usize,
        at: (usize, Time),
    ) {
        let sign = sign.into();
        self.said.extend((from..self.marks.len()).map(|mark| (mark, sign, at)));
    }

    pub(super) fn put(&mut self, kind: Kind, origin: Option<Origin>, shape: Shape) {
        self.marks.push(Mark { shape, kind, origin });
    }

    /// A sign with its origin at a point.
    pub(super) fn glyph(
        &mut self,
        (kind, origin): (Kind, Option<Origin>),
        glyph: Glyph,
        (x, y): (f64, f64),
        scale: f64,
    ) {
        let bounds = glyph_box(glyph, (x, y), scale);
        self.sky.add((bounds.x0, bounds.x1), (bounds.y0, bounds.y1));
        self.put(kind, origin, Shape::Glyph { glyph, at: Point::new(x, y), scale });
    }

    pub(super) fn line(
        &mut self,
        (kind, origin): (Kind, Option<Origin>),
        (x0, y0): (f64, f64),
        (x1, y1): (f64, f64),
        width: f64,
    ) {
        let half = width / 2.0;
        if (x0 - x1).abs() < 1e-6 {
            self.sky.add((x0 - half, x0 + half), (y0.min(y1), y0.max(y1)));
        } else {
            self.sky.add_line((x0, y0 - half), (x1, y1 - half));
            self.sky.add_line((x0, y0 + half), (x1, y1 + half));
        }
        self.put(
            kind,
            origin,
            Shape::Line { from: Point::new(x0, y0), to: Point::new(x1, y1), width },
        );
    }

    /// A filled path; its box becomes part of the edge.
    pub(super) fn path(&mut self, kind: Kind, origin: Option<Origin>, path: BezPath) {
        let bounds = path.bounding_box();
        self.sky.add((bounds.x0, bounds.x1), (bounds.y0, bounds.y1));
        self.put(kind, origin, Shape::Path(path));
    }

    /// A beam between two points of its middle line.
    pub(super) fn beam(
        &mut self,
        origin: Option<Origin>,
        from: (f64, f64),
        to: (f64, f64),
        thickness: f64,
    ) {
        let half = thickness / 2.0;
        let mut path = BezPath::new();
        path.move_to((from.0, from.1 - half));
        path.line_to((to.0, to.1 - half));
        path.line_to((to.0, to.1 + half));
        path.line_to((from.0, from.1 + half));
        path.close_path();
        self.sky.add_line((from.0, from.1 - half), (to.0, to.1 - half));
        self.sky.add_line((from.0, from.1 + half), (to.0, to.1 + half));
        self.put(Kind::Beam, origin, Shape::Path(path));
    }

    /// Words from a point on their base line.
    pub(super) fn text(
        &mut self,
        kind: Kind,
        origin: Option<Origin>,
        run: Run,
        (x, y): (f64, f64),
    ) {
        self.sky.add((x, x + run.width), (y - run.rise(), y + run.fall()));
        self.put(kind, origin, Shape::Text { at: Point::new(x, y), run });
    }
}

/// The box of a sign that is drawn at a point, `y` downwards.
pub(super) fn glyph_box(glyph: Glyph, at: (f64, f64), scale: f64) -> Rect {
    let to = Affine::new([scale, 0.0, 0.0, -scale, at.0, at.1]);
    to.transform_rect_bbox(glyph.bounds())
}

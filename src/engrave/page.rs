//! Finished pages as plain data: what the writers of PDF, SVG and PNG draw, and nothing else.

use kurbo::{Affine, BezPath, Point, Rect, Shape as _};

use ripieno_compiler::diagnostics::Span;

use crate::glyphs::Glyph;
use crate::text::Run;

/// Which note, rest or sign of the music something on the page belongs to.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct Origin {
    /// Index of the staff in the edition.
    pub staff: u16,
    /// Index of the bar in the form.
    pub bar: u32,
    /// Index of the voice in the bar.
    pub voice: u8,
    /// Index of the element in the voice.
    pub element: u16,
    /// Index of the head in its chord.
    pub head: u8,
    /// The note in the source.
    pub source: Option<Span>,
}

/// What a mark on the page is.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Kind {
    /// A line of a staff.
    StaffLine,
    /// A ledger line.
    Ledger,
    /// A bar line, or one of its strokes or dots.
    BarLine,
    /// A note head.
    Head,
    /// A stem.
    Stem,
    /// A flag.
    Flag,
    /// A beam.
    Beam,
    /// A dot of a note or rest.
    Dot,
    /// An accidental of a note.
    Accidental,
    /// A rest.
    Rest,
    /// A clef.
    Clef,
    /// A key signature.
    Key,
    /// A metre.
    Metre,
    /// A tie.
    Tie,
    /// A slur.
    Slur,
    /// An articulation, ornament or bowing.
    Articulation,
    /// A dynamic.
    Dynamic,
    /// A hairpin.
    Hairpin,
    /// A bracket or number of a tuplet.
    Tuplet,
    /// Strokes of a tremolo.
    Tremolo,
    /// Words.
    Text,
    /// A frame around words, the bracket of an ending.
    Frame,
    /// A bracket or brace before a system.
    Bracket,
}

impl Kind {
    /// Its name in drawings.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Kind::StaffLine => "staff-line",
            Kind::Ledger => "ledger",
            Kind::BarLine => "bar-line",
            Kind::Head => "head",
            Kind::Stem => "stem",
            Kind::Flag => "flag",
            Kind::Beam => "beam",
            Kind::Dot => "dot",
            Kind::Accidental => "accidental",
            Kind::Rest => "rest",
            Kind::Clef => "clef",
            Kind::Key => "key",
            Kind::Metre => "metre",
            Kind::Tie => "tie",
            Kind::Slur => "slur",
            Kind::Articulation => "articulation",
            Kind::Dynamic => "dynamic",
            Kind::Hairpin => "hairpin",
            Kind::Tuplet => "tuplet",
            Kind::Tremolo => "tremolo",
            Kind::Text => "text",
            Kind::Frame => "frame",
            Kind::Bracket => "bracket",
        }
    }
}

/// A shape in staff spaces, `y` downwards.
#[derive(Clone, Debug)]
pub enum Shape {
    /// A sign with its origin at a point.
    Glyph {
        /// Which sign.
        glyph: Glyph,
        /// Where its origin stands.
        at: Point,
        /// How large it is; 1 is full size.
        scale: f64,
    },
    /// A filled path.
    Path(BezPath),
    /// A straight line with square ends.
    Line {
        /// From here …
        from: Point,
        /// … to there.
        to: Point,
        /// How thick.
        width: f64,
    },
    /// Words from a point on their base line.
    Text {
        /// Where they begin.
        at: Point,
        /// The shaped words.
        run: Run,
    },
}

/// A shape on the page with what it is and which note it belongs to.
#[derive(Clone, Debug)]
pub struct Mark {
    /// The shape.
    pub shape: Shape,
    /// What it is.
    pub kind: Kind,
    /// The note it belongs to, where it belongs to one.
    pub origin: Option<Origin>,
}

/// One page.
#[derive(Clone, Debug)]
pub struct Page {
    /// Width and height in millimetres.
    pub size: (f64, f64),
    /// Millimetres in a staff space.
    pub space: f64,
    /// What stands on it, in staff spaces from its upper left corner.
    pub marks: Vec<Mark>,
}

/// All pages of one part or score.
#[derive(Clone, Debug)]
pub struct Pages {
    /// What the document is called.
    pub title: String,
    /// Who composed it.
    pub author: Option<String>,
    /// Index of the bars with which pages begin, in the form.
    pub first_bars: Vec<usize>,
    /// Index of the bars with which lines begin, in the form; none where nothing is played.
    pub lines: Vec<usize>,
    /// What is to be told of the turns.
    pub turns: Vec<Turn>,
    /// The players whose staves were left out of a system.
    pub hidden: Vec<usize>,
    /// The lines of layouts by which signs were moved.
    pub nudged: Vec<Span>,
    /// The pages.
    pub pages: Vec<Page>,
}

/// Who takes finished pages, one after the other.
pub trait Draw {
    /// Takes the next page.
    fn page(&mut self, page: Page);
}

impl Draw for Vec<Page> {
    fn page(&mut self, page: Page) {
        self.push(page);
    }
}

/// A turn of a page by a player.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Turn {
    /// Index, in the form, of the bar behind which the page is turned.
    pub after: usize,
    /// How long the player rests around the turn, in quarters.
    pub rest: f64,
    /// … and in seconds, as far as tempos tell.
    pub seconds: f64,
    /// The last note before it in the source.
    pub note: Option<Span>,
    /// A bar (index in the form) of the same page before which more time is left, and how many
    /// seconds; nothing where no rest is long enough.
    pub better: Option<(usize, f64)>,
}

impl Mark {
    /// The box around it, in staff spaces.
    #[must_use]
    pub fn bounds(&self) -> Rect {
        match &self.shape {
            Shape::Glyph { glyph, at, scale } => {
                let to = Affine::new([*scale, 0.0, 0.0, -scale, at.x, at.y]);
                to.transform_rect_bbox(glyph.bounds())
            }
            Shape::Path(path) => path.bounding_box(),
            Shape::Line { from, to, width } => {
                let half = width / 2.0;
                let upright = (from.x - to.x).abs() < 1e-9;
                let (x, y) = if upright { (half, 0.0) } else { (0.0, half) };
                Rect::from_points(*from, *to).inflate(x, y)
            }
            Shape::Text { at, run } => {
                Rect::new(at.x, at.y - run.rise(), at.x + run.width, at.y + run.fall())
            }
        }
    }

    /// Moved right and down.
    #[must_use]
    pub fn moved(mut self, x: f64, y: f64) -> Mark {
        let by = kurbo::Vec2::new(x, y);
        match &mut self.shape {
            Shape::Glyph { at, .. } | Shape::Text { at, .. } => *at += by,
            Shape::Path(path) => path.apply_affine(Affine::translate(by)),
            Shape::Line { from, to, .. } => {
                *from += by;
                *to += by;
            }
        }
        self
    }
}

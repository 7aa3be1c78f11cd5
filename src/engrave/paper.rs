//! Paper, margins and the size of staves.

/// A size of paper.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Default, Debug)]
pub enum Paper {
    /// 210 × 297 mm.
    #[default]
    A4,
    /// 297 × 420 mm.
    A3,
    /// 8.5 × 11 in.
    Letter,
    /// 9 × 12 in, for parts.
    Nine,
    /// 10 × 13 in, for parts.
    Ten,
}

impl Paper {
    /// All papers with the words that name them.
    pub const WORDS: [(Paper, &'static str); 5] = [
        (Paper::A4, "a4"),
        (Paper::A3, "a3"),
        (Paper::Letter, "letter"),
        (Paper::Nine, "9x12"),
        (Paper::Ten, "10x13"),
    ];

    /// Width and height in millimetres, upright.
    #[must_use]
    pub fn millimetres(self) -> (f64, f64) {
        match self {
            Paper::A4 => (210.0, 297.0),
            Paper::A3 => (297.0, 420.0),
            Paper::Letter => (215.9, 279.4),
            Paper::Nine => (228.6, 304.8),
            Paper::Ten => (254.0, 330.2),
        }
    }
}

/// How a part or a score is to be set.
#[derive(Clone, Debug)]
pub struct Setup {
    /// The paper.
    pub paper: Paper,
    /// Is it turned on its side?
    pub landscape: bool,
    /// Height of a staff in millimetres; nothing lets it be chosen.
    pub staff_height: Option<f64>,
    /// Are staves left out of systems in which they only rest?
    pub hide_empty: bool,
    /// Are title, heads and feet left out?
    pub bare: bool,
    /// Indices in the form of bars with which a line begins.
    pub lines: Vec<usize>,
    /// Indices in the form of bars with which a page begins.
    pub turns: Vec<usize>,
}

impl Default for Setup {
    fn default() -> Setup {
        Setup {
            paper: Paper::A4,
            landscape: false,
            staff_height: None,
            hide_empty: false,
            bare: false,
            lines: Vec::new(),
            turns: Vec::new(),
        }
    }
}

/// Height of the staves of a part in millimetres. Source: Major Orchestra Librarians' Association,
/// Music Preparation Guidelines for Orchestral Music, from memory: 7.0 to 8.5, 7.5 by preference.
pub const PART_STAFF: f64 = 7.5;
/// The largest and the smallest staves of a score, in millimetres. The same guidelines ask for
/// scores that can be read at arm's length; the smallest is our heuristic.
pub const SCORE_STAFF: (f64, f64) = (6.4, 3.4);

/// Margins in millimetres: towards the spine, away from it, above and below. The guidelines ask for
/// at least half an inch; the binding takes a little more.
pub const MARGINS: Margins = Margins { inner: 16.0, outer: 13.0, top: 13.0, bottom: 13.5 };

/// Margins in millimetres.
#[derive(Clone, Copy, Debug)]
pub struct Margins {
    /// Towards the spine.
    pub inner: f64,
    /// Away from the spine.
    pub outer: f64,
    /// Above.
    pub top: f64,
    /// Below.
    pub bottom: f64,
}

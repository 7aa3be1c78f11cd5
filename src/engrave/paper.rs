//! Paper, margins and the size of staves.

use ripieno_compiler::diagnostics::Span;
use ripieno_compiler::resolve;
pub use ripieno_compiler::resolve::Paper;

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
    /// Only the staves of these players (indices in the arrangement) are; nothing for all.
    pub hidden: Option<Vec<usize>>,
    /// Are title, heads and feet left out?
    pub bare: bool,
    /// Indices in the form of bars with which a line begins.
    pub lines: Vec<usize>,
    /// Indices in the form of bars with which a page begins.
    pub turns: Vec<usize>,
    /// Signs moved by hand.
    pub nudges: Vec<Nudge>,
}

/// A sign moved by hand.
#[derive(Clone, Debug)]
pub struct Nudge {
    /// Which sign, where, and how far.
    pub what: resolve::Nudge,
    /// Whose it is (indices in the arrangement), in a score.
    pub players: Option<Vec<usize>>,
    /// The line that says so.
    pub line: Span,
}

impl Default for Setup {
    fn default() -> Setup {
        Setup {
            paper: Paper::A4,
            landscape: false,
            staff_height: None,
            hide_empty: false,
            hidden: None,
            bare: false,
            lines: Vec::new(),
            turns: Vec::new(),
            nudges: Vec::new(),
        }
    }
}

/// Height of the staves of a part in millimetres. Source: Major Orchestra Librarians' Association,
/// Music Preparation Guidelines for Orchestral Music, from memory: 7.0 to 8.5, 7.5 by preference.
pub const PART_STAFF: f64 = 7.5;
/// The largest and the smallest staves of a score, in millimetres, where nothing else is chosen. The
/// largest: size no. 4 of the engraver's pens, the smallest no. 8 (Ted Ross, The Art of Music Engraving
/// and Processing, 1970, from memory). What comes out smaller, because even so a system is higher than the
/// page, is told.
pub const SCORE_STAFF: (f64, f64) = (6.4, 3.7);
/// Where staves of a score would be smaller than this, those that rest through a system are left out of
/// it after the first: size no. 7 of the pens, the usual one of full scores (Ross, from memory).
pub const USUAL_SCORE_STAFF: f64 = 4.8;

/// The largest staves of a condensed score, in millimetres: between sizes no. 5 and no. 6 of the pens
/// (our heuristic).
pub const CONDENSED_STAFF: f64 = 5.3;

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

//! The trees of layouts and their lines.

use super::*;

/// `layout`: what a copyist overrides on the pages.
#[derive(Clone, PartialEq, Debug)]
pub struct LayoutTree {
    /// The keyword.
    pub span: Span,
    /// The scoring on whose pages it holds; without one it holds on all.
    pub scoring: Option<Word>,
    /// The lines.
    pub lines: Vec<LayoutLine>,
    /// Lines that could not be read, as they stand.
    pub broken: Vec<Word>,
}

/// A line of a layout.
#[derive(Clone, PartialEq, Debug)]
pub struct LayoutLine {
    /// On which pages.
    pub pages: PagesTree,
    /// What is overridden.
    pub what: LayoutItem,
    /// The place of what is overridden.
    pub item_span: Span,
    /// The whole line.
    pub span: Span,
}

/// The pages of which a line of a layout speaks, with the place of the word.
#[derive(Clone, PartialEq, Debug)]
pub enum PagesTree {
    /// `score`.
    Score(Span),
    /// `parts`: those of everybody.
    Parts(Span),
    /// The parts of some players.
    Players(Vec<Word>),
}

/// What a line of a layout overrides.
#[derive(Clone, PartialEq, Debug)]
pub enum LayoutItem {
    /// `paper a3 landscape`: the size, and whether it is turned on its side.
    Paper(Word, bool),
    /// `staff 7.5 mm`: the height of a staff of five lines, in millimetres.
    Staff(Spanned<f64>),
    /// `hide empty`: staves left out of systems in which they only rest; of some players or of all.
    HideEmpty(Vec<Word>),
    /// `break before 17, 33`: bars with which a system begins.
    Break(Vec<Number>),
    /// `turn before 41`: bars with which a page begins.
    Turn(Vec<Number>),
    /// `nudge slur bar 12 beat 3 up 1.5`.
    Nudge(NudgeTree),
}

/// A sign moved by hand.
#[derive(Clone, PartialEq, Debug)]
pub struct NudgeTree {
    /// What is moved: `slur`, `dynamic`, `words` …
    pub sign: Word,
    /// `of oboe.1`: whose it is, in a score.
    pub of: Option<Word>,
    /// The bar in which it stands or begins.
    pub bar: Number,
    /// The beat, also between beats: 2.5; without one all such signs of the bar are moved.
    pub beat: Option<Spanned<f64>>,
    /// Where to, and how far in staff spaces.
    pub shifts: Vec<(ShiftTree, Spanned<f64>)>,
}

/// Where a sign is moved.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum ShiftTree {
    /// `up`.
    Up,
    /// `down`.
    Down,
    /// `left`.
    Left,
    /// `right`.
    Right,
}

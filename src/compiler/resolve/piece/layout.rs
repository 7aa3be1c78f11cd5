//! Types of layouts: what a copyist overrides on the pages.

use crate::diagnostics::Span;

/// What is overridden on the pages of one scoring, or of all.
#[derive(Clone, PartialEq, Debug)]
pub struct Layout {
    /// The scoring; nothing where it holds for all.
    pub scoring: Option<String>,
    /// The lines in order.
    pub lines: Vec<Override>,
    /// Where it is declared: the name of its scoring, or its head.
    pub span: Span,
}

/// A line of a layout.
#[derive(Clone, PartialEq, Debug)]
pub struct Override {
    /// On which pages.
    pub pages: Pages,
    /// What is overridden.
    pub what: Overridden,
    /// The whole line.
    pub span: Span,
}

/// The pages of which a line of a layout speaks.
#[derive(Clone, PartialEq, Debug)]
pub enum Pages {
    /// The score.
    Score,
    /// The parts of all players.
    Parts,
    /// The parts of some players or groups, each with its place.
    Players(Vec<(String, Span)>),
}

/// What a line of a layout overrides.
#[derive(Clone, PartialEq, Debug)]
pub enum Overridden {
    /// The paper, and whether it is turned on its side.
    Paper(Paper, bool),
    /// Height of a staff of five lines, in millimetres.
    Staff(f64),
    /// Staves are left out of systems in which they only rest: those of these players, or all.
    HideEmpty(Vec<(String, Span)>),
    /// Bars (indices in the form) with which a system begins.
    Break(Vec<(usize, Span)>),
    /// Bars (indices in the form) with which a page begins.
    Turn(Vec<(usize, Span)>),
    /// A sign is moved.
    Nudge(Nudge),
}

/// A sign moved by hand.
#[derive(Clone, PartialEq, Debug)]
pub struct Nudge {
    /// What is moved.
    pub sign: NudgedSign,
    /// Whose it is, in a score.
    pub of: Option<(String, Span)>,
    /// Index in the form of the bar in which it stands or begins.
    pub bar: usize,
    /// The beat from 1, also between beats; nothing for all such signs of the bar.
    pub beat: Option<f64>,
    /// How far to the right, in staff spaces.
    pub right: f64,
    /// How far up, in staff spaces.
    pub up: f64,
}

/// Signs that can be moved by hand.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum NudgedSign {
    /// An accidental before a note.
    Accidental,
    /// An articulation, an ornament or a bowing.
    Articulation,
    /// The number of the bar with which a line begins.
    BarNumber,
    /// A clef that changes within a line.
    Clef,
    /// A dynamic.
    Dynamic,
    /// The bracket of an ending with its number.
    Ending,
    /// The figures of a bass.
    Figures,
    /// A hairpin.
    Hairpin,
    /// A rehearsal mark with its frame.
    Mark,
    /// A line that moves what stands under it by octaves.
    Octave,
    /// A rest.
    Rest,
    /// A slur.
    Slur,
    /// A tempo.
    Tempo,
    /// A tie.
    Tie,
    /// The number and the bracket of a tuplet.
    Tuplet,
    /// Words: ways of playing, chord symbols, who plays.
    Words,
    /// A syllable that is sung, with its hyphens or its line.
    Syllable,
}

impl NudgedSign {
    /// All signs with the words that name them.
    pub const WORDS: [(NudgedSign, &'static str); 17] = [
        (NudgedSign::Accidental, "accidental"),
        (NudgedSign::Articulation, "articulation"),
        (NudgedSign::BarNumber, "bar-number"),
        (NudgedSign::Clef, "clef"),
        (NudgedSign::Dynamic, "dynamic"),
        (NudgedSign::Ending, "ending"),
        (NudgedSign::Figures, "figures"),
        (NudgedSign::Hairpin, "hairpin"),
        (NudgedSign::Mark, "mark"),
        (NudgedSign::Octave, "octave"),
        (NudgedSign::Rest, "rest"),
        (NudgedSign::Slur, "slur"),
        (NudgedSign::Syllable, "syllable"),
        (NudgedSign::Tempo, "tempo"),
        (NudgedSign::Tie, "tie"),
        (NudgedSign::Tuplet, "tuplet"),
        (NudgedSign::Words, "words"),
    ];

    /// Does it stand over the staves of all, and belong to no player?
    #[must_use]
    pub fn is_of_all(self) -> bool {
        matches!(
            self,
            NudgedSign::BarNumber | NudgedSign::Ending | NudgedSign::Mark | NudgedSign::Tempo
        )
    }

    /// The word that names it.
    #[must_use]
    pub fn word(self) -> &'static str {
        NudgedSign::WORDS.iter().find(|(sign, _)| *sign == self).map_or("", |(_, word)| word)
    }
}

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

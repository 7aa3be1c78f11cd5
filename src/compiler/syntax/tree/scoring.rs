//! The trees of scorings and their lines.

use std::sync::Arc;

use super::*;

/// `scoring`.
#[derive(Clone, PartialEq, Debug)]
pub struct ScoringTree {
    /// The name.
    pub name: Word,
    /// The ensemble.
    pub ensemble: Word,
    /// `keep`: scorings kept.
    pub keeps: Vec<Word>,
    /// `keep lines of`: are the lines kept rather than the notes?
    pub keeps_lines: bool,
    /// The lines that make players do something.
    pub lines: Vec<Arc<ScoringLine>>,
    /// The findings that are allowed.
    pub allows: Vec<AllowTree>,
    /// Lines that could not be read, as they stand.
    pub broken: Vec<Word>,
    /// For each of them how many of the other lines stand before it.
    pub broken_behind: Vec<usize>,
}

/// A line that makes players do something.
#[derive(Clone, PartialEq, Debug)]
pub struct ScoringLine {
    /// Whom it names.
    pub who: Vec<Word>,
    /// What they do.
    pub verb: VerbTree,
    /// Everything behind.
    pub modifiers: Vec<Spanned<Modifier>>,
    /// The verb's place.
    pub verb_span: Span,
    /// The whole line.
    pub span: Span,
}

/// What a scoring line makes its players do.
#[derive(Clone, PartialEq, Debug)]
pub enum VerbTree {
    /// `plays voice 8va`.
    Plays(Word, i8),
    /// `doubles part 8va`.
    Doubles(Word, i8),
    /// `sustains each beat`.
    Sustains(RestrikeTree),
    /// `realises bass`: a figured bass for both hands.
    Realises(Word),
    /// `signals voice`.
    Signals(Word),
    /// `highlights cadences, beat 1`.
    Highlights(Vec<MomentTree>),
    /// `writes { … }`.
    Writes(Vec<Arc<BarTree>>),
    /// `rests`.
    Rests,
    /// `takes crook F bar 17`, `takes piccolo bar 9`: instrument, key or crook, notes of drums, bar.
    Takes {
        /// Another instrument.
        instrument: Option<Word>,
        /// A crook.
        crook: Option<Word>,
        /// A key.
        built_in: Option<Word>,
        /// Notes of drums.
        tuned: Vec<PitchTree>,
        /// From which bar.
        bar: Option<Number>,
    },
}

/// When sustained notes are struck anew.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum RestrikeTree {
    /// Not said.
    Never,
    /// `each chord`.
    EachChord,
    /// `each beat`.
    EachBeat,
    /// `off the beat`.
    OffBeat,
    /// `each 1/8`.
    Each(ValueTree, Span),
    /// `tremolo`.
    Tremolo,
    /// `broken`.
    Broken,
}

/// A moment.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum MomentTree {
    /// `entries`.
    Entries,
    /// `cadences`.
    Cadences,
    /// `phrases`.
    Phrases,
    /// `peaks`.
    Peaks,
    /// `beat 1`.
    Beat(u32),
}

/// What stands behind a verb.
#[derive(Clone, PartialEq, Debug)]
pub enum Modifier {
    /// `bars 1..8, 17`, `bars 7 beat 4..14`, `bars 9..16 with up-beat`.
    Bars(Vec<PassageTree>, Option<WithUpBeat>),
    /// `as melody`.
    Role(Word),
    /// `solo`.
    Solo,
    /// `with lyrics`.
    Lyrics,
    /// `with chords`: where it stands.
    Chords,
    /// `with figures`.
    Figures,
    /// `at mf`.
    At(Word),
    /// `pizz`, `arco`, `muted`, `unmuted`.
    Technique(String),
    /// Words to print.
    Words(String),
}

/// `allow`.
#[derive(Clone, PartialEq, Debug)]
pub struct AllowTree {
    /// The rule or family.
    pub rule: Word,
    /// Whom.
    pub who: Vec<Word>,
    /// Bars; empty for all.
    pub bars: Vec<BarRange>,
    /// Why.
    pub reason: Word,
    /// The whole line.
    pub span: Span,
}

//! The tree: what is written, with its places, and no meaning yet.

use std::sync::Arc;

use super::packed::{PackedBar, PackedLine};
use crate::diagnostics::Span;
use crate::instruments::Limit;
use crate::music::Sign;

mod layout;
mod scoring;

pub use layout::*;
pub use scoring::*;

/// A value of the tree with the place where it is written.
#[derive(Clone, PartialEq, Debug)]
pub struct Spanned<T> {
    /// The value.
    pub value: T,
    /// Where it is written.
    pub span: Span,
}

/// A name, a keyword or the text of a string (without its quotes).
pub type Word = Spanned<String>;
/// A whole number as it was written; [`u32::MAX`] stands for one that is too large to hold.
pub type Number = Spanned<u32>;

/// The declarations of a file in order.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Tree {
    /// The declarations.
    pub declarations: Vec<Arc<Declaration>>,
}

/// One declaration.
#[derive(Clone, PartialEq, Debug)]
pub enum Declaration {
    /// `use "file"`.
    Use(Word),
    /// `piece "Title" { … }`.
    Piece(PieceTree),
    /// `form { … }`.
    Form(FormTree),
    /// `harmony { … }`.
    Harmony(HarmonyTree),
    /// `dynamics { … }`.
    Dynamics(DynamicsTree),
    /// `voice name { … }`.
    Voice(VoiceTree),
    /// `lyrics for voice { … }`.
    Lyrics(LyricsTree),
    /// `instrument name like name { … }`.
    Instrument(InstrumentTree),
    /// `ensemble name { … }`.
    Ensemble(EnsembleTree),
    /// `scoring name for ensemble { … }`.
    Scoring(ScoringTree),
    /// `layout for scoring { … }`.
    Layout(LayoutTree),
    /// A declaration that could not be read (or the file that `use` names): its keyword, where one
    /// can be made out.
    Lost(Option<&'static str>),
}

/// `piece`.
#[derive(Clone, PartialEq, Debug)]
pub struct PieceTree {
    /// The title.
    pub title: Word,
    /// The lines: what, and its text.
    pub lines: Vec<(Word, Word)>,
    /// The movements, in order.
    pub movements: Vec<MovementTree>,
    /// How bars and rehearsal marks are numbered from movement to movement.
    pub numbering: Vec<NumberingTree>,
}

/// `movement "minuet.ripieno" as "Interlude" attacca`.
#[derive(Clone, PartialEq, Debug)]
pub struct MovementTree {
    /// The source of the movement.
    pub path: Word,
    /// Its title in this piece, where it has another one.
    pub title: Option<Word>,
    /// `attacca`: the next one follows at once.
    pub attacca: Option<Span>,
    /// The whole line.
    pub span: Span,
}

/// `bars through`, `marks afresh`.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct NumberingTree {
    /// Is it about rehearsal marks, rather than bars?
    pub marks: bool,
    /// Do they go on from one movement to the next?
    pub through: bool,
    /// The whole line.
    pub span: Span,
}

/// `form`.
#[derive(Clone, PartialEq, Debug)]
pub struct FormTree {
    /// The keyword.
    pub span: Span,
    /// The lines.
    pub lines: Vec<Arc<FormLine>>,
    /// Lines that could not be read, as they stand.
    pub broken: Vec<Arc<[Word]>>,
}

/// Bars from a first to a last one.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct BarRange {
    /// First bar number.
    pub first: u32,
    /// Last bar number.
    pub last: u32,
    /// Where it is written.
    pub span: Span,
}

/// A passage of a scoring line: from a bar or beat to another one, which belongs to it.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct PassageTree {
    /// Where it begins.
    pub first: Position,
    /// Where it ends: that bar or beat is the last of it.
    pub last: Position,
    /// Where it is written.
    pub span: Span,
}

/// `with up-beat`: a passage is a phrase with its up-beat.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct WithUpBeat {
    /// How long the up-beat is, if that is said.
    pub length: Option<(ValueTree, Span)>,
    /// Where it is written.
    pub span: Span,
}

/// A line of the form: what happens at a bar.
#[derive(Clone, PartialEq, Debug)]
pub struct FormLine {
    /// The bar or bars.
    pub bars: BarRange,
    /// What happens there.
    pub items: Box<[Spanned<FormItem>]>,
}

/// What happens at a bar.
#[derive(Clone, PartialEq, Debug)]
pub enum FormItem {
    /// `metre 3/4`.
    Metre(MetreTree),
    /// `key D minor`: the name of the tonic, and whether it is minor.
    Key(String, bool),
    /// `tempo "Con moto" 1/4 at 96`.
    Tempo(Box<TempoTree>),
    /// `mark "A"`.
    Mark(String),
    /// `pick-up 1/4`.
    PickUp(ValueTree),
    /// `up-beat 1/4`.
    UpBeat(ValueTree),
    /// `length 2/4`.
    Length(Fraction),
    /// `repeat`, and how often the bars are played: `repeat 3 times`.
    Repeat(u32),
    /// `ending 1`, or `ending 1..2` for several times through.
    Ending(u32, u32),
    /// `segno`, `coda`, `to coda`, `fine`, `da capo`, `dal segno al fine` …
    Sign(Sign),
    /// `double-bar`.
    DoubleBar,
    /// `end`.
    End,
}

/// A tempo as it was written.
#[derive(Clone, PartialEq, Debug)]
pub struct TempoTree {
    /// The beat, and how many of it there are a minute.
    pub beat: Option<(ValueTree, f64)>,
    /// What is printed.
    pub words: Option<String>,
}

/// A metre as it was written.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum MetreTree {
    /// `3/4`.
    Plain(Fraction),
    /// `3+2/8`: the groups and what counts.
    Additive(Vec<u32>, u32),
    /// `common`.
    Common,
    /// `cut`.
    Cut,
}

/// A fraction as it was written: 6/8 is not 3/4.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Fraction {
    /// Above the stroke.
    pub numerator: u32,
    /// Below the stroke.
    pub denominator: u32,
}

/// A note value as it was written.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct ValueTree {
    /// The fraction.
    pub fraction: Fraction,
    /// Dots behind it.
    pub dots: u8,
}

/// `harmony`.
#[derive(Clone, PartialEq, Debug)]
pub struct HarmonyTree {
    /// The keyword.
    pub span: Span,
    /// The bars.
    pub bars: Vec<Arc<HarmonyBar>>,
}

/// A bar of chord symbols: values and symbols in order.
pub type HarmonyBar = PackedBar<HarmonyStep>;

/// A value, a key, a chord symbol or a rest.
#[derive(Clone, PartialEq, Debug)]
pub enum HarmonyStep {
    /// The value of what follows.
    Value(ValueTree),
    /// The key in which what follows is heard: its tonic as it was written, and whether it is minor.
    Key(String, bool),
    /// A chord symbol as it was written.
    Symbol(String),
    /// No chord; with the number of bars where one is written.
    Rest(Option<u32>),
}

/// `dynamics`.
#[derive(Clone, PartialEq, Debug)]
pub struct DynamicsTree {
    /// The keyword.
    pub span: Span,
    /// The lines.
    pub lines: Vec<Arc<PackedLine>>,
    /// Lines that could not be read, as they stand.
    pub broken: Vec<Word>,
}

/// A bar and perhaps a beat.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Position {
    /// Bar number.
    pub bar: u32,
    /// Beat from 1.
    pub beat: Option<u32>,
    /// Where it is written.
    pub span: Span,
}

/// A line of dynamics.
#[derive(Clone, PartialEq, Debug)]
pub struct DynamicsLine {
    /// Where it begins to hold.
    pub from: Position,
    /// Where it ends, if it is written.
    pub to: Option<Position>,
    /// What is said.
    pub words: Vec<DirectionWord>,
}

/// A word of a direction: a term of the language, or text in quotes.
#[derive(Clone, PartialEq, Debug)]
pub struct DirectionWord {
    /// The word.
    pub word: Word,
    /// Was it in quotes?
    pub quoted: bool,
}

/// `voice`.
#[derive(Clone, PartialEq, Debug)]
pub struct VoiceTree {
    /// The name.
    pub name: Word,
    /// The bars.
    pub bars: Vec<Arc<BarTree>>,
}

/// `lyrics`.
#[derive(Clone, PartialEq, Debug)]
pub struct LyricsTree {
    /// The voice to which they are sung.
    pub voice: Word,
    /// The verse, where one is named.
    pub verse: Option<Number>,
    /// The bars.
    pub bars: Vec<Arc<LyricsBar>>,
}

/// A bar of syllables: what is sung, in order.
pub type LyricsBar = PackedBar<SyllableTree>;

/// A syllable, or the sign that the one before is held over another note.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum SyllableTree {
    /// A syllable.
    Text {
        /// The syllable without hyphens.
        text: String,
        /// Does a hyphen stand before it?
        continues: bool,
        /// Does a hyphen stand behind it?
        goes_on: bool,
    },
    /// `=`; with a hyphen behind it, the word goes on.
    Hold {
        /// Does a hyphen stand behind it?
        goes_on: bool,
    },
}

/// A bar of music.
pub type BarTree = PackedBar<Element>;

/// What stands in a bar.
#[derive(Clone, PartialEq, Debug)]
pub enum Element {
    /// The value of what follows.
    Value(ValueTree),
    /// A note or a chord with its marks.
    Note(Vec<PitchTree>, Vec<MarkTree>),
    /// An unpitched stroke.
    Stroke(Vec<MarkTree>),
    /// A rest: alone in its bar it fills it, with a number that many bars; beside others it has
    /// the value in force.
    Rest(Option<u32>, Vec<MarkTree>),
    /// The last note held on.
    Hold(Vec<MarkTree>),
    /// Directions.
    Direction(Vec<DirectionWord>),
    /// A slur begins.
    SlurStart,
    /// A slur ends.
    SlurEnd,
    /// A tuplet: how many, in the time of how many, and what.
    Tuplet(u32, u32, Vec<Spanned<Element>>),
    /// Grace notes: crossed or not, and the values and notes.
    Grace(bool, Vec<Spanned<Element>>),
}

/// A pitch as it was written.
#[derive(Clone, PartialEq, Debug)]
pub struct PitchTree {
    /// Letter and accidental.
    pub name: crate::music::PitchName,
    /// Octave, where it is written.
    pub octave: Option<i8>,
    /// Where it is written.
    pub span: Span,
}

/// A mark as it was written.
#[derive(Clone, PartialEq, Debug)]
pub struct MarkTree {
    /// The word.
    pub word: Word,
    /// A value behind it (`tremolo 1/16`).
    pub value: Option<ValueTree>,
    /// A note or chord behind it (`trill Eb`, `tremolo A5`).
    pub note: Option<Spanned<Vec<PitchTree>>>,
}

/// `instrument`.
#[derive(Clone, PartialEq, Debug)]
pub struct InstrumentTree {
    /// The name.
    pub name: Word,
    /// The instrument that it is like.
    pub like: Word,
    /// The lines, each with its place.
    pub lines: Vec<Spanned<InstrumentLine>>,
    /// Lines that could not be read, as they stand.
    pub broken: Vec<Word>,
}

/// A line of an instrument: how it differs from the one that it is like.
#[derive(Clone, PartialEq, Debug)]
pub enum InstrumentLine {
    /// `as "Weir cello" short "W.Vc."`.
    Name(Word, Option<Word>),
    /// `compass custom C2 to A5`.
    Compass(Limit, PitchTree, PitchTree),
    /// `strings C2, G2, D3, A3, E4`.
    Strings(Vec<PitchTree>),
    /// `written C4 sounds Bb2`.
    Sound(PitchTree, PitchTree),
    /// `clef treble`.
    Clef(Word),
    /// `from 1850`.
    From(Number),
}

/// `ensemble`.
#[derive(Clone, PartialEq, Debug)]
pub struct EnsembleTree {
    /// The name.
    pub name: Word,
    /// The ensemble it extends.
    pub extends: Option<Word>,
    /// The lines.
    pub lines: Vec<EnsembleLine>,
    /// Lines that could not be read, as they stand.
    pub broken: Vec<Word>,
}

/// A line of an ensemble.
#[derive(Clone, PartialEq, Debug)]
pub enum EnsembleLine {
    /// `era 1770`.
    Era(Number),
    /// `group basso = cello, double-bass 8vb, harpsichord`.
    Group(Word, Vec<Member>),
    /// `budget trumpet 40%`: whom, and bars in a hundred.
    Budget(Vec<(Word, Number)>),
    /// `limits endurance/lips 24 bars "…"`.
    Limits(LimitTree),
    /// `without harpsichord`.
    Without(Vec<Word>),
    /// `oboe 2 in C joins wind`.
    Players(PlayersTree),
}

/// A limit of a rule, as an ensemble sets it.
#[derive(Clone, PartialEq, Debug)]
pub struct LimitTree {
    /// The rule.
    pub rule: Word,
    /// The figure as it was written.
    pub value: Spanned<f64>,
    /// Its unit, where one is written: `bars`, `%`.
    pub unit: Option<Word>,
    /// Why.
    pub reason: Word,
    /// The whole line.
    pub span: Span,
}

/// A name in a group, and the octaves up by which it plays what the group plays.
#[derive(Clone, PartialEq, Debug)]
pub struct Member {
    /// The name.
    pub name: Word,
    /// Octaves up; negative for down.
    pub octaves: i8,
}

/// Players of one kind.
#[derive(Clone, PartialEq, Debug)]
pub struct PlayersTree {
    /// The name: an instrument of the catalogue, perhaps with a number behind.
    pub name: Word,
    /// How many.
    pub count: Option<Number>,
    /// Do they share one part (`players`)?
    pub section: bool,
    /// `divisi`: where it is said that they divide.
    pub divisi: Option<Span>,
    /// `crook`: keys.
    pub crooks: Vec<Word>,
    /// `in`: a key.
    pub built_in: Option<Word>,
    /// `tuned`: notes of drums.
    pub tuned: Vec<PitchTree>,
    /// `without signature`: accidentals at the notes in place of a key signature.
    pub without_signature: bool,
    /// `joins`: groups.
    pub joins: Vec<Member>,
    /// `as`: a name on paper.
    pub paper_name: Option<Word>,
    /// The whole.
    pub span: Span,
}

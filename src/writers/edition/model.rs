//! What stands on a set of pages, as plain data: players, staves and voices apart.
//!
//! Times inside a bar count from its beginning, in whole notes. Pitches are written pitches, or
//! sounding ones in a score at concert pitch. "Above" and "below" are sides of a staff.

use std::borrow::Cow;
use std::ops::Range;

use smallvec::SmallVec;

use crate::instruments::{Clef, Instrument};
use crate::music::{Chord, Figures, Interval, Key, Time};
use crate::notate::{Element, FrameBar, Origin};
use crate::resolve::{Dynamic, Technique};

/// One set of pages: a score of some kind, or one player's part.
#[derive(Clone, Debug)]
pub struct Edition<'a> {
    /// Which pages these are.
    pub kind: Kind,
    /// What stands at their head.
    pub head: Head,
    /// What all staves share, bar by bar.
    pub bars: &'a [FrameBar],
    /// The movements, in order; a piece in one movement has one without a title.
    pub movements: Vec<Movement>,
    /// Everybody who plays from these pages, in score order.
    pub players: Vec<EditionPlayer>,
    /// What is named and braced together, from the top down: a player's one or two staves, or one
    /// staff that several players share.
    pub parts: Vec<EditionPart>,
    /// All staves, from the top down.
    pub staves: Vec<EditionStaff<'a>>,
    /// Brackets and braces, the outer ones before those inside them.
    pub groups: Vec<Group>,
    /// Pairs that share a staff of a condensed score, but part somewhere: see [`Parting`].
    pub partings: Vec<Parting<'a>>,
}

/// Two players who share a staff and part: where they cross, their notes in one voice over another
/// could not be told apart, and where one plucks or is muted, nobody would know which of them; so
/// where a format has systems, one with such a bar gives each of them a staff of his own. Formats
/// without systems keep the shared staff, on which the players have stems of their own.
#[derive(Clone, Debug)]
pub struct Parting<'a> {
    /// Index of their part in [`Edition::parts`].
    pub part: usize,
    /// For each bar, do they part in it?
    pub parted: Vec<bool>,
    /// The first and the second player by himself.
    pub alone: [Alone<'a>; 2],
}

/// One of two players on a staff of his own.
#[derive(Clone, Debug)]
pub struct Alone<'a> {
    /// Full name: "Horn 1 in D".
    pub name: String,
    /// Short name: "Hn. 1".
    pub short: String,
    /// Index in [`Edition::players`].
    pub player: usize,
    /// His staff.
    pub staff: EditionStaff<'a>,
}

/// Which pages an edition holds.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Kind {
    /// A full score, each part as its player reads it.
    Score,
    /// A full score in which every note stands as it sounds; what always stands in another octave
    /// than it sounds (double bass, piccolo) still does.
    ConcertScore,
    /// A score in which players of a kind share a staff.
    CondensedScore,
    /// The part of the player of that index in the arrangement.
    Part(usize),
}

/// The head of the first page, and what running heads take from it.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Head {
    /// Title of the piece.
    pub title: String,
    /// Second line.
    pub subtitle: Option<String>,
    /// Who composed it.
    pub composer: Option<String>,
    /// Who arranged it.
    pub arranger: Option<String>,
    /// Licence, for the foot of the first page.
    pub licence: Option<String>,
    /// Which version it is, or of when, for the foot of each page.
    pub revision: Option<String>,
    /// Name of the scoring: "spa". On the stand two scorings look alike but for this.
    pub scoring: String,
    /// Name of the ensemble: "spa-orchestra".
    pub ensemble: String,
    /// What the pages are: "Score", "Score at concert pitch", "Condensed score", "Oboe 2".
    pub name: String,
    /// All keys, crooks or tunings that the player needs, in the order in which they are first played on:
    /// "in B♭, A"; of drums only those at the beginning. `None` in a score and where there is
    /// nothing to choose.
    pub keys: Option<String>,
    /// Instruments beside the first: "also piccolo".
    pub also: Option<String>,
    /// A mark of the source, the same for all pages that were built from the same text: the
    /// beginning of its digest.
    pub source: Option<String>,
    /// How many people read the part; 1 in a score.
    pub readers: u16,
}

/// A movement: bars under a title.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Movement {
    /// Its title; `None` for a piece in one movement.
    pub title: Option<String>,
    /// Its bars; empty if it is left out of these pages.
    pub bars: Range<usize>,
    /// Does the player rest through it? Then the page says "tacet" and shows no bars.
    pub tacet: bool,
}

impl Movement {
    /// What stands over it: "II. Minuet", "II. Minuet: tacet".
    #[must_use]
    pub fn heading(&self) -> Option<String> {
        let title = self.title.as_ref()?;
        Some(if self.tacet { format!("{title}: tacet") } else { title.clone() })
    }
}

/// Somebody who plays from the pages.
#[derive(Clone, PartialEq, Debug)]
pub struct EditionPlayer {
    /// Index of the player in the arrangement.
    pub index: usize,
    /// The name in the language: `oboe.2`.
    pub id: String,
    /// Full name: "Oboe 2".
    pub name: String,
    /// Short name: "Ob. 2".
    pub short: String,
    /// All instruments that he takes, each once, the first one first.
    pub instruments: Vec<&'static Instrument>,
    /// How many people play it.
    pub count: u16,
    /// Index of his part in [`Edition::parts`].
    pub part: usize,
}

/// A player's one or two staves, or one staff that several players share.
#[derive(Clone, PartialEq, Debug)]
pub struct EditionPart {
    /// Full name before the first system: "Horns 1, 2 in D". Lines are divided by `\n`.
    pub name: String,
    /// Short name before later systems: "Hn. 1, 2".
    pub short: String,
    /// Its players in [`Edition::players`].
    pub players: Range<usize>,
    /// Its staves in [`Edition::staves`]: one, or two that a brace joins where both are there.
    pub staves: Range<usize>,
}

/// One staff from the first bar to the last.
#[derive(Clone, Debug)]
pub struct EditionStaff<'a> {
    /// Index of its part in [`Edition::parts`].
    pub part: usize,
    /// The bars, as many as the edition has.
    pub bars: Vec<StaffBar<'a>>,
    /// Slurs, hairpins and lines, in order of their beginning.
    pub spans: Vec<Spanner>,
}

/// One bar of one staff.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct StaffBar<'a> {
    /// Lines of the staff from here on, where they change and in the first bar: 5, or 1 for
    /// strokes without pitch.
    pub lines: Option<u8>,
    /// Another instrument that is taken with this bar.
    pub instrument: Option<&'static Instrument>,
    /// A way from written to sounding pitch that begins here.
    pub transposition: Option<Interval>,
    /// A key signature that is printed here: in the first bar and where it changes. A change that
    /// only takes away says so with naturals (the writer knows the key before it).
    pub key: Option<Key>,
    /// Clefs that begin in this bar: time, clef. One at time zero stands before the bar-line.
    pub clefs: SmallVec<[(Time, Clef); 1]>,
    /// The voices, from the upper to the lower: one, or two with stems apart. Never empty.
    pub voices: SmallVec<[VoiceBar<'a>; 1]>,
    /// What is said at places of this bar, in order of time; a brace of two staves has all of it
    /// on the upper one, to stand between them.
    pub directions: Vec<EditionDirection>,
    /// A rest of so many whole bars (2 or more) begins here and is shown as one sign; 0 elsewhere.
    pub multi_rest: u32,
    /// Does the bar lie inside such a rest, behind its first bar? Then nothing of it is shown.
    pub counted: bool,
    /// Where players share a staff and not each has a note or a stem of his own, what says who plays
    /// ("1.", "a 2") and at which note, and in a cue whose it is: a system that begins with the bar says
    /// it again.
    pub who: Option<(Time, DirectionKind)>,
    /// Is it of the lower of two staves in a movement in which the player reads one? Then the staff is
    /// not there. Movements begin with a system.
    pub absent: bool,
}

/// One voice in one bar.
#[derive(Clone, PartialEq, Debug)]
pub struct VoiceBar<'a> {
    /// 1 for the upper or only voice, 2 for the lower one.
    pub number: u8,
    /// Where its stems go.
    pub stems: Stems,
    /// The players who read it, in [`Edition::players`].
    pub players: Range<usize>,
    /// Notes and rests; they fill the bar exactly. See [`Element`]: values, beams, tuplets, stems,
    /// ties, marks and origins stand there.
    pub elements: Cow<'a, [Element]>,
}

/// Where the stems of a voice go.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum Stems {
    /// By the middle line.
    #[default]
    Free,
    /// Up: the upper of two voices.
    Up,
    /// Down: the lower of two.
    Down,
}

/// A note (or rest) of a staff.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct StaffPlace {
    /// Index of the bar.
    pub bar: usize,
    /// Index into [`StaffBar::voices`].
    pub voice: usize,
    /// Index into [`VoiceBar::elements`].
    pub element: usize,
}

/// Something that reaches from one place to another.
#[derive(Clone, PartialEq, Debug)]
pub struct Spanner {
    /// What it is, and between what.
    pub kind: SpannerKind,
    /// Does it stand above the staff? (Slurs: above the notes.)
    pub above: bool,
    /// A number that tells it from others of its kind of the same part that it overlaps: from 1.
    pub number: u8,
    /// Where it comes from, for a hairpin; slurs and lines of trills come from their notes.
    pub origin: Origin,
}

/// Kinds of things that span notes.
#[derive(Clone, PartialEq, Debug)]
pub enum SpannerKind {
    /// A slur between two notes of one voice (grace notes too).
    Slur {
        /// First note.
        from: StaffPlace,
        /// Last note.
        to: StaffPlace,
    },
    /// The beginning of a slur that goes over notes of both staves of a player.
    SlurLeaves {
        /// First note, on this staff.
        from: StaffPlace,
        /// Bar of the last note, on either staff, and its time in it.
        to: (usize, Time),
    },
    /// The end of such a slur: the spanner of the same number on one of the two staves leaves for it.
    SlurArrives {
        /// Bar of the first note, on either staff, and its time in it.
        from: (usize, Time),
        /// Last note, on this staff.
        to: StaffPlace,
    },
    /// A hairpin.
    Hairpin {
        /// Bar and time in it.
        from: (usize, Time),
        /// Bar and time in it; the end of a bar is a time of that bar.
        to: (usize, Time),
        /// Does it grow?
        grows: bool,
    },
    /// The wavy line behind the sign of a trill, to the end of its last note.
    TrillLine {
        /// The note with the sign.
        from: StaffPlace,
        /// The last note tied to it.
        to: StaffPlace,
    },
    /// A line that moves what stands under it (or over it) by octaves.
    OctaveLine {
        /// Bar and time in it.
        from: (usize, Time),
        /// Bar and time in it, where the last note ends.
        to: (usize, Time),
        /// Octaves up: 1 for 8va, -1 for 8vb. Pitches under it are what they are without it: whoever
        /// draws the staff moves the heads (what begins from `from` on and before `to`).
        octaves: i8,
    },
}

/// What is said at a place.
#[derive(Clone, PartialEq, Debug)]
pub struct EditionDirection {
    /// Time from the bar's beginning.
    pub at: Time,
    /// What it says.
    pub kind: DirectionKind,
    /// Does it stand above the staff?
    pub above: bool,
    /// Where it comes from.
    pub origin: Origin,
}

/// What stands in place of a chord symbol where there is no chord. (Common practice.)
pub const NO_CHORD: &str = "N.C.";

/// Kinds of what is said at a place.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub enum DirectionKind {
    /// A dynamic.
    Dynamic(Dynamic),
    /// A technique: pizz., con sord.
    Technique(Technique),
    /// Words in italics or upright, as the house has them.
    Words(String),
    /// A chord symbol; `None` where there is no chord.
    Chord(Option<Chord>),
    /// Figures under a bass.
    Figures(Figures),
    /// Who plays: "1.", "a 2", "solo", "tutti", "div.", "unis."
    Who(String),
    /// An order that must be seen: "take Piccolo", "change to F".
    Change(String),
    /// The name of the instrument that a cue is taken from, with the cue's size.
    CueName(String),
}

/// A bracket or a brace before a group of staves.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Group {
    /// Staves, in [`Edition::staves`].
    pub staves: Range<usize>,
    /// Parts, in [`Edition::parts`].
    pub parts: Range<usize>,
    /// Its sign.
    pub sign: GroupSign,
    /// Do bar-lines go through it?
    pub bar_lines: bool,
}

/// Signs of groups.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum GroupSign {
    /// A bracket: a family.
    Bracket,
    /// A thin square bracket inside it: players of a kind (horns 1–4, violins I and II).
    SubBracket,
    /// A brace: two staves of one player.
    Brace,
}

impl<'a> Edition<'a> {
    /// The staves of a part.
    #[must_use]
    pub fn staves_of(&self, part: usize) -> &[EditionStaff<'a>] {
        &self.staves[self.parts[part].staves.clone()]
    }

    /// The movement that begins with a bar, and its number from 0.
    #[must_use]
    pub fn movement_at(&self, bar: usize) -> Option<(usize, &Movement)> {
        self.movements.iter().enumerate().find(|(_, movement)| movement.bars.start == bar)
    }

    /// Is it the part of a player who has nothing to play from first to last, in a piece of one
    /// movement? Then the page says "Tacet" and shows no bars.
    #[must_use]
    pub fn is_tacet(&self) -> bool {
        matches!(&self.movements[..], [one] if one.tacet && one.title.is_none())
    }

    /// The number of the movement in which a bar lies, from 0.
    #[must_use]
    pub fn movement_of(&self, bar: usize) -> usize {
        self.movements.partition_point(|movement| movement.bars.start <= bar).saturating_sub(1)
    }

    /// The element at a place of a staff.
    ///
    /// # Panics
    /// If there is none.
    #[must_use]
    pub fn element(&self, staff: usize, place: StaffPlace) -> &Element {
        &self.staves[staff].bars[place.bar].voices[place.voice].elements[place.element]
    }
}

impl EditionStaff<'_> {
    /// The instrument in hand in a bar, where the player's first one is `first`.
    #[must_use]
    pub fn instrument_in(&self, bar: usize, first: &'static Instrument) -> &'static Instrument {
        let so_far = self.bars.iter().take(bar + 1).rev();
        so_far.filter_map(|bar| bar.instrument).next().unwrap_or(first)
    }
}

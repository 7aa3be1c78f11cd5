//! Staves as a player reads them: written pitch, values, clefs, beams, ties, tuplets, rests.

use std::ops::Range;
use std::sync::Arc;

use smallvec::SmallVec;

use crate::arrange::{LineId, LineOrigin};
use crate::diagnostics::Span;

use crate::instruments::{Clef, Family, Instrument};
pub use crate::music::Sign;
use crate::music::{Chord, Figures, Interval, Key, Metre, Pitch, Time};
pub use crate::resolve::Syllable;
use crate::resolve::{BarLine, Dynamic, Ending, Marks, Technique, Tempo, WholeSection};

/// A score: the frame of bars that all players share, and what each of them reads.
#[derive(Clone, Debug)]
pub struct Score {
    /// Title of the piece.
    pub title: String,
    /// Second line of the head.
    pub subtitle: Option<String>,
    /// Who composed it.
    pub composer: Option<String>,
    /// Who arranged it.
    pub arranger: Option<String>,
    /// Licence of the music.
    pub licence: Option<String>,
    /// Which version it is, or of when.
    pub revision: Option<String>,
    /// Name of the scoring: "spa".
    pub scoring: String,
    /// Name of the ensemble: "spa-orchestra".
    pub ensemble: String,
    /// A mark of the source from which it was made, for the head of each page; whoever knows it
    /// sets it.
    pub source: Option<String>,
    /// Is it at concert pitch?
    pub concert: bool,
    /// The movements, in order; none in a piece that is one.
    pub movements: Vec<ScoreMovement>,
    /// The bars, one for each bar of the form.
    pub frame: Vec<FrameBar>,
    /// Whose the first of the staves is, as index in the arrangement: 0, unless only some of the
    /// players were asked for.
    pub first: usize,
    /// What each player reads, in score order, with `frame.len()` measures.
    pub staves: Vec<Staff>,
    /// The scoring lines to which origins refer.
    pub lines: Vec<LineOrigin>,
}

/// A movement of a score.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct ScoreMovement {
    /// Its title: "II. Minuet".
    pub title: String,
    /// Its bars in [`Score::frame`].
    pub bars: Range<usize>,
}

impl Score {
    /// The staff of a player, by the index in the arrangement, if it is in the score.
    #[must_use]
    pub fn staff_of(&self, player: usize) -> Option<&Staff> {
        self.staves.get(player.checked_sub(self.first)?)
    }

    /// The scoring line of an origin, with the place where it is written.
    #[must_use]
    pub fn line(&self, origin: Origin) -> Option<&LineOrigin> {
        self.lines.get(origin.line?.index())
    }
}

/// Where something printed comes from. Both parts stay the same while the source is edited
/// elsewhere; [`Sources::range`](crate::diagnostics::Sources::range) says where they stand now.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
pub struct Origin {
    /// What it is in the source: the note (or the chord symbol from which it was worked out), the
    /// rest, the dynamic, the words. `None` for what stands nowhere: a rest of somebody who has
    /// nothing to play.
    pub source: Option<Span>,
    /// The scoring line that gave it to the player, among [`Score::lines`]; `None` where no line
    /// claims him, and for what is said to everybody.
    pub line: Option<LineId>,
}

/// What all staves share in one bar.
#[derive(Clone, PartialEq, Debug)]
pub struct FrameBar {
    /// Number of the bar; 0 for a pick-up.
    pub number: i32,
    /// Where it begins, in written time.
    pub start: Time,
    /// How long it is.
    pub length: Time,
    /// The metre in force.
    pub metre: Metre,
    /// Is the metre to be printed here (first bar or change)?
    pub metre_shown: bool,
    /// The sounding key in force.
    pub key: Key,
    /// Is the key to be printed here (first bar or change)?
    pub key_shown: bool,
    /// A tempo that begins here.
    pub tempo: Option<Tempo>,
    /// A rehearsal mark that stands here.
    pub mark: Option<String>,
    /// Does a repeated section begin here?
    pub repeat_starts: bool,
    /// Does a repeated section end with this bar?
    pub repeat_ends: bool,
    /// An ending that begins with this bar.
    pub ending_starts: Option<Ending>,
    /// An ending that ends with this bar.
    pub ending_ends: Option<Ending>,
    /// The line at its end where it is not plain.
    pub line: BarLine,
    /// Where the form says what begins here: its tempo, or else its rehearsal mark, metre or key.
    pub source: Option<Span>,
    /// Of the up-beat of a section, which the line before that section parts from the bar to which
    /// it belongs and whose number it has: where in that bar it begins.
    pub up_beat: Option<Time>,
    /// Is it only a part of a bar whose number nobody counts: a pick-up, or the second half of a
    /// bar that a repeat divides?
    pub implicit: bool,
    /// Signs that tell where to go on, in the order in which they stand.
    pub signs: SmallVec<[Sign; 1]>,
}

impl FrameBar {
    /// Does it lead into the bar after it and is counted by nobody: the pick-up of the piece, or the
    /// up-beat of a section?
    #[must_use]
    pub fn leads_in(&self) -> bool {
        self.number == 0 || self.up_beat.is_some()
    }

    /// Time that it leaves out of its metre, so that its beats are counted from the end, where it
    /// [leads in](FrameBar::leads_in).
    #[must_use]
    pub fn missing(&self) -> Time {
        let missing = self.metre.bar_length() - self.length;
        if self.leads_in() { missing.max(Time::ZERO) } else { Time::ZERO }
    }

    /// Does nobody count its beats, as in a cadenza: is it at least twice as long as its metre says? Our heuristic.
    #[must_use]
    pub fn is_free(&self) -> bool {
        let bar = self.metre.bar_length();
        self.length >= bar + bar
    }

    /// Does the music jump into the bar from elsewhere than from the bar before it?
    pub(super) fn is_jumped_into(&self) -> bool {
        let signs = || self.signs.iter().any(|sign| !sign.stands_at_end());
        self.repeat_starts || self.ending_starts.is_some_and(|ending| ending.first > 1) || signs()
    }
}

/// One player's staff, or two that a brace joins.
#[derive(Clone, Debug)]
pub struct Staff {
    /// The player's name in the language: `oboe.2`.
    pub id: String,
    /// Full name: "Oboe 2".
    pub name: String,
    /// The name of the player without the other instruments that he takes.
    pub instrument_name: String,
    /// Is that the name of none of his instruments?
    pub own_name: bool,
    /// Abbreviation: "Ob. 2".
    pub abbreviation: String,
    /// The instrument that the player has in hand at the beginning.
    pub instrument: &'static Instrument,
    /// All instruments that he takes, each once, the one that he begins with first.
    pub instruments: Vec<&'static Instrument>,
    /// Its family, for brackets.
    pub family: Family,
    /// What is said of the key, crook or drums at the head: "in D", "in B♭ basso", "in C" where
    /// the player could have another key, "in D, A" for drums; `None` where there is nothing to
    /// choose and the instrument stands in C or in its octave.
    pub key_name: Option<String>,
    /// All that is said so, each once, in the order in which it is first played on: "in D", "in G". A head names them all,
    /// so that the player brings what he needs.
    pub key_names: Vec<String>,
    /// Of the half of a section that divides: what the whole is.
    pub half_of: Option<Arc<WholeSection>>,
    /// How many people read this part.
    pub players: u16,
    /// Where the ensemble names the player.
    pub source: Span,
    /// The measures, one for each bar of the frame. With two staves they are those of the upper
    /// one, and have the directions of both, which stand between the two.
    pub measures: Vec<Measure>,
    /// The measures of the lower staff, one for each bar of the frame; empty where the player
    /// reads one staff.
    pub lower: Vec<Measure>,
}

impl Staff {
    /// Does the player read two staves?
    #[must_use]
    pub fn is_braced(&self) -> bool {
        !self.lower.is_empty()
    }

    /// The measures of every staff, those of the upper one first.
    pub fn all_measures(&self) -> impl Iterator<Item = &Measure> {
        self.measures.iter().chain(&self.lower)
    }

    /// The measures of each staff in one bar, that of the upper one first.
    pub fn in_bar(&self, bar: usize) -> impl Iterator<Item = &Measure> {
        self.measures.get(bar).into_iter().chain(self.lower.get(bar))
    }

    /// The instrument in hand in a bar.
    #[must_use]
    pub fn instrument_in(&self, bar: usize) -> &'static Instrument {
        if self.instruments.len() < 2 {
            return self.instrument;
        }
        let so_far = self.measures.iter().take(bar + 1).rev();
        so_far.filter_map(|measure| measure.instrument).next().unwrap_or(self.instrument)
    }

    /// The abbreviation before a system that begins with a bar: another instrument that the
    /// player has in hand there goes by its own.
    #[must_use]
    pub fn abbreviation_in(&self, bar: usize) -> &str {
        let instrument = self.instrument_in(bar);
        if std::ptr::eq(instrument, self.instrument) {
            &self.abbreviation
        } else {
            &instrument.abbreviation
        }
    }
}

/// One bar of one staff.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Measure {
    /// Another instrument that the player takes with this bar.
    pub instrument: Option<&'static Instrument>,
    /// A transposition (written to sounding) that begins here: in the first bar, and where the
    /// player takes another crook or key.
    pub transposition: Option<Interval>,
    /// A written key signature that is printed here, where the instrument has one: first bar,
    /// change of key, change of transposition.
    pub key: Option<Key>,
    /// Clefs that begin in this bar: time from the bar's beginning, clef.
    pub clefs: SmallVec<[(Time, Clef); 1]>,
    /// Notes and rests in order; they fill the bar exactly. Grace notes stand before their note
    /// and have no duration.
    pub elements: Vec<Element>,
    /// Directions of this staff in order of time; one at the bar's end closes a hairpin there.
    pub directions: Vec<StaffDirection>,
    /// Is it of the lower staff in a movement in which the player reads the upper one alone? Then it
    /// is not there.
    pub absent: bool,
}

impl Measure {
    /// The same measure with nothing but a rest in it.
    #[must_use]
    pub fn at_rest(&self) -> Measure {
        let kind = ElementKind::BarRest { fermata: false };
        let rest = self.elements.iter().find(|element| element.kind == kind).cloned();
        let end = self.elements.iter().map(|element| element.at + element.length).max();
        let rest = rest.unwrap_or_else(|| Element {
            at: Time::ZERO,
            length: end.unwrap_or_default(),
            value: NoteValue { log2: 0, dots: 0 },
            tuplet: None,
            kind,
            beams: SmallVec::new(),
            origin: Origin::default(),
            stem: Stem::None,
            cue: false,
        });
        Measure { elements: vec![rest], directions: Vec::new(), ..self.clone() }
    }
}

/// A note, a chord or a rest as it is printed.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub struct Element {
    /// Time from the bar's beginning.
    pub at: Time,
    /// Duration; zero for a grace note.
    pub length: Time,
    /// The printed value.
    pub value: NoteValue,
    /// The tuplet it belongs to.
    pub tuplet: Option<TupletUse>,
    /// What is printed.
    pub kind: ElementKind,
    /// Beams from the first (eighths) on: one entry a beam.
    pub beams: SmallVec<[Beam; 4]>,
    /// Where it comes from: all pieces of a note that is tied, and its grace notes, come from the
    /// same note.
    pub origin: Origin,
    /// Which way its stem goes.
    pub stem: Stem,
    /// Is it small, as a cue?
    pub cue: bool,
}

/// Which way a stem goes.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
pub enum Stem {
    /// There is none: a rest, a whole note or longer.
    #[default]
    None,
    /// Up.
    Up,
    /// Down.
    Down,
}

/// What an element is.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub enum ElementKind {
    /// A rest of that value.
    Rest {
        /// Is there a fermata over it?
        fermata: bool,
    },
    /// A rest for the whole bar, whatever its metre. Bars that are shorter or longer than their
    /// metre (a pick-up) have plain rests instead.
    BarRest {
        /// Is there a fermata over it?
        fermata: bool,
    },
    /// A note or chord.
    Note(Box<StaffNote>),
}

/// A note or chord on a staff.
#[derive(Clone, PartialEq, Eq, Hash, Debug, Default)]
pub struct StaffNote {
    /// Written pitches from the lowest up; empty for an unpitched stroke.
    pub heads: SmallVec<[Head; 2]>,
    /// Is it a grace note, and crossed?
    pub grace: Option<Grace>,
    /// Marks that are printed on it.
    pub marks: Marks,
    /// Value into which a tremolo divides it: 1 (eighths) to 4 (64ths), flags and strokes
    /// together; 0 for none.
    pub tremolo: u8,
    /// Does a tie come from the element before?
    pub tie_from: bool,
    /// Does a tie go on to the next element?
    pub tie_to: bool,
    /// Is it held into another ending than the one that it ends, so that no tie is drawn between them?
    pub tie_parts: bool,
    /// Does a slur begin here?
    pub slur_starts: bool,
    /// Does a slur end here?
    pub slur_ends: bool,
    /// Does a slur begin here that goes over notes of both staves of the player?
    pub slur_leaves: bool,
    /// Does such a slur end here?
    pub slur_arrives: bool,
    /// The accidental that stands at the sign of a trill, mordent or turn: the alteration of the
    /// upper neighbour (of the lower one for a mordent), where the signature does not say it.
    pub ornament_accidental: Option<i8>,
    /// Of an artificial harmonic the written pitch of what sounds. Its heads are the note that is
    /// stopped and, above it, the one at which the string is touched, whose head is a hollow diamond.
    pub harmonic: Option<Pitch>,
    /// One of the two notes of a tremolo that goes to and fro between them.
    pub paired: Option<PairedTremolo>,
    /// Syllables under the note, the first verse first.
    pub lyrics: Vec<Syllable>,
    /// Are the numbers of the verses printed before these syllables? So it is where several verses
    /// begin together.
    pub verses_numbered: bool,
}

impl StaffNote {
    /// Is the head of that index the diamond at which a string is touched?
    #[must_use]
    pub fn is_touched(&self, head: usize) -> bool {
        self.harmonic.is_some() && head > 0
    }
}

/// A note's place in a tremolo between two notes. Each is printed with the value of both together.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct PairedTremolo {
    /// Is it the first of the two?
    pub starts: bool,
    /// Strokes (beams between the two): 1 for eighths to 4 for 64ths.
    pub strokes: u8,
}

/// Kind of a grace note.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Grace {
    /// Without a stroke.
    Plain,
    /// Crossed with a stroke.
    Crushed,
}

/// One note head.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct Head {
    /// Written pitch.
    pub pitch: Pitch,
    /// Is its accidental (or natural sign) to be printed?
    pub accidental_shown: bool,
    /// Is that accidental only a courtesy, because something before could mislead?
    pub courtesy: bool,
}

/// A printed value: the part of a whole note, and dots.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct NoteValue {
    /// log2 of the part of a whole note: -1 breve, 0 whole, 1 half, 2 quarter … 10 1024th.
    pub log2: i8,
    /// Dots: 0 to 3.
    pub dots: u8,
}

/// An element's place in a tuplet.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct TupletUse {
    /// How many …
    pub actual: u8,
    /// … in the time of how many.
    pub normal: u8,
    /// Does the tuplet begin with this element?
    pub starts: bool,
    /// Does it end with this element?
    pub ends: bool,
}

/// One beam on one element.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Beam {
    /// Begins here.
    Begins,
    /// Goes on.
    Continues,
    /// Ends here.
    Ends,
    /// A stub to the right.
    HookForward,
    /// A stub to the left.
    HookBackward,
}

/// A direction as it is printed on one staff.
#[derive(Clone, PartialEq, Debug)]
pub struct StaffDirection {
    /// Time from the bar's beginning.
    pub at: Time,
    /// What it says.
    pub kind: StaffDirectionKind,
    /// Where it comes from.
    pub origin: Origin,
}

/// What a printed direction says.
#[derive(Clone, PartialEq, Debug)]
pub enum StaffDirectionKind {
    /// A dynamic below the staff, or between two.
    Dynamic(Dynamic),
    /// A hairpin begins; it grows or not.
    HairpinStarts {
        /// Does it grow?
        grows: bool,
    },
    /// A hairpin ends.
    HairpinEnds,
    /// A technique, above the staff.
    Technique(Technique),
    /// Words above the staff.
    Words(String),
    /// An order that the player must see: "take Piccolo", "change to F"; and what he has in hand
    /// when he enters: "Piccolo", "in F".
    Change(String),
    /// A chord symbol above the staff, at the pitch in which the player reads; `None` where there is
    /// no chord.
    Chord(Option<Chord>),
    /// Figures under a bass, for the signature that the player reads; never empty.
    Figures(Figures),
    /// Who plays, or how prominently: "solo", "soli", "tutti", "div.", "unis.".
    Who(&'static str),
}

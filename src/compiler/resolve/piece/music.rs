//! Types of written music: voices, notes, marks, tuplets, chords.

use super::direction::{Direction, DirectionKind};
use super::directions::Directions;
use super::form::Form;
use super::pitches::Pitches;
use super::written::WrittenNotes;
use crate::diagnostics::Span;
use crate::music::{Chord, Key, Pitch, PitchName, Time, Touch};

/// A chord of the harmony with the time that it holds.
#[derive(Clone, PartialEq, Debug)]
pub struct HarmonyEvent {
    /// Where it begins.
    pub start: Time,
    /// How long it holds.
    pub length: Time,
    /// The chord.
    pub chord: Chord,
    /// The key in which it is heard: declared by the harmony, or else inferred from the chords
    /// around it.
    pub key: Key,
    /// Where it is written (or the bar of the voice that it was inferred from).
    pub span: Span,
}

/// A voice of the source.
#[derive(Clone, PartialEq, Debug)]
pub struct Voice {
    /// Its name.
    pub name: String,
    /// Where the name is written.
    pub span: Span,
    /// Its music at sounding pitch.
    pub music: Music,
}

/// Music as it was written in the source: of a voice, or of a `writes` line.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Music {
    /// Notes in order of time.
    pub notes: WrittenNotes,
    /// Tuplets in order of time; they do not overlap.
    pub tuplets: Vec<Tuplet>,
    /// Rests in order of time.
    pub rests: Vec<Rest>,
    /// Dynamics, hairpins, words and techniques in order of time.
    pub directions: Directions,
    /// The bars that are written (with notes or rests), in order.
    pub bars: super::Bars,
    /// Bars that could not be understood, or whose notes do not stand where they should: there may
    /// be other notes than these.
    pub unsure: super::Bars,
}

impl Music {
    /// Its notes and rests under fermatas.
    #[must_use]
    pub fn fermatas(&self, form: &Form) -> Vec<Fermata> {
        let marked = self.notes.iter().filter(|note| note.attached.marks.has(Mark::Fermata));
        let notes = marked.map(|Note { start, length, .. }| Fermata {
            from: start,
            to: start + length,
            on_rest: false,
        });
        let said = self.directions.iter();
        let on_rests = said.filter(|direction| direction.kind == DirectionKind::FermataOnRest);
        let rests = on_rests.map(|Direction { at, .. }| {
            let rest = self.rests.partition_point(|rest| rest.start < at);
            let written = self.rests.get(rest).filter(|rest| rest.start == at);
            let after = self.notes.begun_before(at);
            let next = self.notes.get(after).map_or(form.end(), |note| note.start);
            let end = written.map_or(next, |rest| next.min(rest.start + rest.length));
            Fermata { from: at, to: end.min(form.end_of_bar_at(at)), on_rest: true }
        });
        notes.chain(rests).collect()
    }
}

/// A note or rest under a fermata.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct Fermata {
    /// Where it begins, in written time.
    pub from: Time,
    /// Where it ends.
    pub to: Time,
    /// Is it a rest?
    pub on_rest: bool,
}

/// What a note sounds: one pitch, a chord, or a stroke without pitch.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Sound {
    /// Sounding pitches, from the lowest to the highest; never empty.
    Pitches(Pitches),
    /// An unpitched stroke.
    Stroke,
}

impl Sound {
    /// The pitches; none for a stroke.
    #[must_use]
    #[inline]
    pub fn pitches(&self) -> &[Pitch] {
        match self {
            Sound::Pitches(pitches) => pitches,
            Sound::Stroke => &[],
        }
    }
}

/// One note (or chord, or stroke) of the source with its whole duration: holds (`=`) are worked in.
#[derive(Clone, PartialEq, Debug)]
pub struct Note {
    /// Where it begins, in written time.
    pub start: Time,
    /// How long it sounds.
    pub length: Time,
    /// What it sounds.
    pub sound: Sound,
    /// Marks, slurs and grace notes.
    pub attached: Attached,
    /// Where it is written.
    pub span: Span,
}

/// A rest of the source, within a bar or of whole bars.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Rest {
    /// Where it begins, in written time.
    pub start: Time,
    /// How long it lasts.
    pub length: Time,
    /// Where it is written.
    pub span: Span,
}

/// What hangs on a note: marks, slurs, tremolo, grace notes.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Attached {
    /// Marks of articulation and ornament.
    pub marks: Marks,
    /// Strokes of a tremolo: 1 (eighths) to 4 (64ths); 0 for none. Unmeasured tremolo has 3.
    pub tremolo: u8,
    /// Its place in a tremolo between two notes, which stand one behind the other and have half of
    /// the time each.
    pub of_two: Option<OfTwo>,
    /// Does a slur begin on this note?
    pub slur_starts: bool,
    /// Does a slur end on this note?
    pub slur_ends: bool,
    /// The neighbour of a trill, mordent or turn (sounding), where it is named.
    pub neighbour: Option<PitchName>,
    /// Where the string is touched, of an artificial harmonic: one that names its stopped note. It has
    /// [`Mark::Harmonic`] too, and a single pitch, which sounds.
    pub touch: Option<Touch>,
    /// Grace notes before the note, if any.
    pub graces: Option<Box<Graces>>,
}

/// A place in a tremolo between two notes, or two chords, which are struck by turns.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum OfTwo {
    /// That with which it begins.
    First,
    /// The other one.
    Second,
}

/// Grace notes before a note.
#[derive(Clone, PartialEq, Debug)]
pub struct Graces {
    /// Are they crossed with a stroke, to be crushed against their note (acciaccatura)?
    pub crushed: bool,
    /// Written value and sounding pitches of each; a stroke without pitch has none.
    pub notes: Vec<(Time, Pitches)>,
}

/// A mark on a note.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[repr(u8)]
pub enum Mark {
    /// A dot: short.
    Staccato,
    /// A wedge: very short.
    Staccatissimo,
    /// A line: held.
    Tenuto,
    /// `>`: struck.
    Accent,
    /// An upright wedge: struck hard.
    Marcato,
    /// Held at will.
    Fermata,
    /// Trill with the upper neighbour.
    Trill,
    /// Mordent (with the lower neighbour).
    Mordent,
    /// Turn.
    Turn,
    /// Up-bow.
    UpBow,
    /// Down-bow.
    DownBow,
    /// Harmonic: natural, or artificial where [`Attached::touch`] says how.
    Harmonic,
    /// Stopped by the hand (horn).
    Stopped,
    /// Open (horn), or an open string.
    Open,
    /// Breath after the note.
    Breath,
    /// Chord spread upwards.
    Arpeggio,
}

impl Mark {
    /// All marks with their words in the language.
    pub const WORDS: [(Mark, &'static str); 16] = [
        (Mark::Staccato, "stacc"),
        (Mark::Staccatissimo, "staccatissimo"),
        (Mark::Tenuto, "tenuto"),
        (Mark::Accent, "accent"),
        (Mark::Marcato, "marcato"),
        (Mark::Fermata, "fermata"),
        (Mark::Trill, "trill"),
        (Mark::Mordent, "mordent"),
        (Mark::Turn, "turn"),
        (Mark::UpBow, "up-bow"),
        (Mark::DownBow, "down-bow"),
        (Mark::Harmonic, "harmonic"),
        (Mark::Stopped, "stopped"),
        (Mark::Open, "open"),
        (Mark::Breath, "breath"),
        (Mark::Arpeggio, "arpeggio"),
    ];
}

/// A set of marks.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
pub struct Marks(u16);

impl Marks {
    /// No marks.
    pub const NONE: Marks = Marks(0);

    pub(super) fn bits(self) -> u16 {
        self.0
    }

    pub(super) fn of_bits(bits: u16) -> Marks {
        Marks(bits)
    }

    /// Adds a mark.
    pub fn insert(&mut self, mark: Mark) {
        self.0 |= 1 << mark as u8;
    }

    /// Adds all marks of another set.
    pub fn add(&mut self, others: Marks) {
        self.0 |= others.0;
    }

    /// Takes a mark away.
    pub fn remove(&mut self, mark: Mark) {
        self.0 &= !(1 << mark as u8);
    }

    /// Is the mark there?
    #[must_use]
    #[inline]
    pub fn has(self, mark: Mark) -> bool {
        self.0 & (1 << mark as u8) != 0
    }

    /// Are there none?
    #[must_use]
    #[inline]
    pub fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// The marks in a fixed order.
    pub fn iter(self) -> impl Iterator<Item = Mark> {
        // Most notes have none.
        let marks = if self.is_empty() { &[][..] } else { &Mark::WORDS[..] };
        marks.iter().map(|(mark, _)| *mark).filter(move |mark| self.has(*mark))
    }

    /// Their words in the language, in the same order.
    pub fn words(self) -> impl Iterator<Item = &'static str> {
        Mark::WORDS.into_iter().filter(move |(mark, _)| self.has(*mark)).map(|(_, word)| word)
    }
}

/// `actual` notes in the time of `normal`.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Tuplet {
    /// Where it begins.
    pub start: Time,
    /// How long it lasts in all.
    pub length: Time,
    /// How many …
    pub actual: u8,
    /// … in the time of how many.
    pub normal: u8,
}

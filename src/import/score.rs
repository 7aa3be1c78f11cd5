//! A piece as both readers hand it on: bars, and in each part lines of which each sounds one note
//! or chord at a time.

use smallvec::SmallVec;

use super::raw::{Head, RawInstrument, RawTempo, Sung};
use crate::music::{Chord, Interval, Key, Metre, Pitch, Sign, Time, Touch};
use crate::resolve::{BarIndices, Bars, Marks, OfTwo};

/// A piece.
#[derive(Debug, Default)]
pub(super) struct Score {
    pub(super) head: Head,
    pub(super) bars: Vec<Bar>,
    /// The bars of each repeat.
    pub(super) repeats: Bars,
    /// The bars of each ending, with the first and the last time for which it is.
    pub(super) endings: Vec<(BarIndices, (u8, u8))>,
    /// The last bar of each repeat that is played more than twice, by index, with how often.
    pub(super) times: Vec<(usize, u8)>,
    /// Bars with signs that tell where to go on, by index.
    pub(super) jumps: Vec<(usize, Sign)>,
    pub(super) parts: Vec<Part>,
    /// Chord symbols in order of time, from the beginning of the piece.
    pub(super) chords: Vec<(Time, Option<Chord>)>,
}

/// A bar.
#[derive(Clone, Debug)]
pub(super) struct Bar {
    /// Its number in the source: 0 for a pick-up.
    pub(super) number: i32,
    /// Its number in the file.
    pub(super) label: String,
    pub(super) start: Time,
    pub(super) length: Time,
    pub(super) metre: Metre,
    pub(super) key: Key,
    /// Does a new metre, a new key begin here?
    pub(super) metre_shown: bool,
    pub(super) key_shown: bool,
    pub(super) tempo: Option<RawTempo>,
    pub(super) mark: Option<String>,
    pub(super) double: bool,
}

impl Bar {
    /// Where it ends.
    pub(super) fn end(&self) -> Time {
        self.start + self.length
    }
}

/// A part.
#[derive(Debug, Default)]
pub(super) struct Part {
    /// The name on paper; may be empty.
    pub(super) name: String,
    pub(super) instruments: Vec<RawInstrument>,
    pub(super) staves: u8,
    pub(super) transposition: Interval,
    /// Do chord symbols stand over it in the file?
    pub(super) has_chords: bool,
    pub(super) lines: Vec<PartLine>,
}

/// The pitches of a note, from the lowest to the highest; none for a stroke.
pub(super) type Pitches = SmallVec<[Pitch; 2]>;

/// A line: one note or chord at a time.
#[derive(Clone, Debug, Default)]
pub(super) struct PartLine {
    /// The name of its voice in the source.
    pub(super) name: String,
    /// The staff on which most of it stands, from 1.
    pub(super) staff: u8,
    /// For strokes: which instrument of the part.
    pub(super) stroke: Option<u8>,
    /// In order of time; none overlaps the next.
    pub(super) notes: Vec<Note>,
    pub(super) directions: Vec<Direction>,
    /// Notes and rests of tuplets as the file has them, in order of time.
    pub(super) spans: Vec<TupletSpan>,
}

/// A note, chord or stroke with its whole duration; ties are worked in.
#[derive(Clone, PartialEq, Debug)]
pub(super) struct Note {
    pub(super) start: Time,
    pub(super) end: Time,
    pub(super) pitches: Pitches,
    pub(super) marks: Marks,
    pub(super) tremolo: u8,
    /// Its place in a tremolo between two notes.
    pub(super) of_two: Option<OfTwo>,
    /// Where the string is touched, of an artificial harmonic.
    pub(super) touch: Option<Touch>,
    pub(super) slur_starts: bool,
    pub(super) slur_ends: bool,
    pub(super) graces: Option<Box<Graces>>,
    pub(super) lyrics: Sung,
}

impl Note {
    /// A note, or a stroke where there are no pitches, with nothing beside it.
    pub(super) fn plain(start: Time, end: Time, pitches: Pitches) -> Note {
        Note {
            start,
            end,
            pitches,
            marks: Marks::default(),
            tremolo: 0,
            of_two: None,
            touch: None,
            slur_starts: false,
            slur_ends: false,
            graces: None,
            lyrics: None,
        }
    }
}

/// Small notes before a note, each with its printed value.
#[derive(Clone, PartialEq, Debug)]
pub(super) struct Graces {
    pub(super) crossed: bool,
    pub(super) notes: Vec<(Time, Pitches)>,
}

/// A direction of a line.
#[derive(Clone, PartialEq, Debug)]
pub(super) struct Direction {
    pub(super) at: Time,
    pub(super) says: Says,
}

/// What a direction says.
#[derive(Clone, PartialEq, Debug)]
pub(super) enum Says {
    /// A word of the language: `p`, `pizz`.
    Word(&'static str),
    /// `cresc` or `dim` up to that time.
    Hairpin { grows: bool, to: Time },
    /// Printed words.
    Words(String),
    /// A fermata over the rest that stands here.
    Fermata,
}

/// One note or rest inside a tuplet of the file.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct TupletSpan {
    pub(super) start: Time,
    pub(super) end: Time,
    /// How many in the time of how many.
    pub(super) ratio: (u8, u8),
    /// Does a bracket begin, does one end here?
    pub(super) bracket: (bool, bool),
}

impl Score {
    /// Where the piece ends.
    pub(super) fn end(&self) -> Time {
        self.bars.last().map_or(Time::ZERO, Bar::end)
    }
}

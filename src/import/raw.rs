//! What a reader finds in a file before anything is made of it: parts with measures, times counted
//! from the beginning of each measure, pitches as they sound.

use smallvec::SmallVec;

use crate::figures::Figures;
use crate::music::{Chord, Interval, Metre, Pitch, Sign, Time, Touch};
use crate::resolve::{Marks, OfTwo};

/// A file as it was read.
#[derive(Debug, Default)]
pub(super) struct RawScore {
    pub(super) head: Head,
    pub(super) parts: Vec<RawPart>,
}

/// What stands above the first system.
#[derive(Clone, Debug, Default)]
pub(super) struct Head {
    pub(super) title: Option<String>,
    pub(super) subtitle: Option<String>,
    pub(super) composer: Option<String>,
    pub(super) arranger: Option<String>,
    pub(super) rights: Option<String>,
    pub(super) revision: Option<String>,
}

/// One part of a file.
#[derive(Debug, Default)]
pub(super) struct RawPart {
    /// The name that the file uses inside.
    pub(super) id: String,
    /// The name on paper.
    pub(super) name: String,
    /// Instruments of the part, several for a player of percussion.
    pub(super) instruments: Vec<RawInstrument>,
    /// How many staves the part has.
    pub(super) staves: u8,
    /// From written to sounding pitch, where the part transposes.
    pub(super) transposition: Interval,
    pub(super) measures: Vec<RawMeasure>,
}

/// An instrument as a file names it.
#[derive(Clone, Debug, Default)]
pub(super) struct RawInstrument {
    pub(super) id: String,
    pub(super) name: String,
    /// Sound of the MusicXML standard.
    pub(super) sound: String,
    /// General MIDI program, from 1.
    pub(super) program: Option<u8>,
    /// General MIDI percussion key.
    pub(super) key: Option<u8>,
}

/// One measure of one part.
#[derive(Debug, Default)]
pub(super) struct RawMeasure {
    /// Its number as the file has it.
    pub(super) label: String,
    /// How far the music of the measure reaches.
    pub(super) length: Time,
    /// Does anything stand in it but rests of a whole bar?
    pub(super) counted: bool,
    /// Is it filled by a rest that is said to be one of the whole bar, or lasts as long as it looks?
    pub(super) silent: bool,
    /// Is that rest one of the whole bar of which no value is printed? Then its length is meant.
    pub(super) unmeasured: bool,
    pub(super) notes: Vec<RawNote>,
    pub(super) directions: Vec<RawDirection>,
    /// Figures under the bass, in order of time.
    pub(super) figures: Vec<(Time, Figures)>,
    pub(super) signs: Signs,
}

/// What concerns all parts at a measure; mostly empty.
#[derive(Debug, Default)]
pub(super) struct Signs {
    pub(super) metre: Option<RawMetre>,
    /// Sharps or flats of the sounding key, and the mode if it is said: major is `true`.
    pub(super) key: Option<(i32, Option<bool>)>,
    pub(super) chords: Vec<(Time, Option<Chord>)>,
    pub(super) tempos: Vec<(Time, RawTempo)>,
    pub(super) marks: Vec<String>,
    pub(super) repeat_starts: bool,
    pub(super) repeat_ends: bool,
    /// How often a passage is played that ends here, where the file says so.
    pub(super) times: Option<u32>,
    /// Signs that tell where to go on, each with its place.
    pub(super) jumps: Vec<(Time, Sign)>,
    pub(super) double: bool,
    pub(super) ending_starts: Option<String>,
    pub(super) ending_ends: bool,
}

/// A metre as it was read.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) enum RawMetre {
    /// So many of such a part of a whole note.
    Plain(u32, u32),
    /// One with a sign of its own or in groups.
    Written(Metre),
    /// Without metre.
    None,
}

/// A tempo as it was read.
#[derive(Clone, PartialEq, Debug, Default)]
pub(super) struct RawTempo {
    /// The value counted and how many go to a minute.
    pub(super) beat: Option<(Time, f64)>,
    pub(super) words: Option<String>,
    /// Does it stand on the page, so that it is no mere setting of the sound?
    pub(super) printed: bool,
}

/// What a note of a file is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum RawKind {
    Rest,
    Pitch(Pitch),
    /// A stroke without pitch, on that instrument of the part.
    Stroke(u8),
}

/// What kind of small note it is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Small {
    /// Crossed with a stroke.
    Crossed,
    /// Not crossed.
    Plain,
}

/// One of the notes with which an artificial harmonic is written.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Finger {
    /// The one that is stopped.
    Stops,
    /// The one at which the string is touched.
    Touches,
    /// The one that sounds.
    Sounds,
}

/// One head of a note, or a rest.
#[derive(Clone, Debug)]
pub(super) struct RawNote {
    /// From the beginning of the measure.
    pub(super) at: Time,
    /// How long it sounds; nothing for small notes.
    pub(super) length: Time,
    /// The printed value without tuplet, for small notes.
    pub(super) value: Time,
    pub(super) kind: RawKind,
    /// Which voice of the part, by any number.
    pub(super) voice: u16,
    pub(super) staff: u8,
    pub(super) small: Option<Small>,
    /// Does it stand in a chord with the note before it?
    pub(super) in_chord: bool,
    pub(super) tie_starts: bool,
    pub(super) tie_stops: bool,
    pub(super) marks: Marks,
    /// Strokes of a tremolo: 1 (eighths) to 4 (64ths); 0 for none.
    pub(super) tremolo: u8,
    /// Its place in a tremolo between two notes.
    pub(super) of_two: Option<OfTwo>,
    /// Where the string is touched, of an artificial harmonic.
    pub(super) touch: Option<Touch>,
    /// Which note of an artificial harmonic it is, as long as the other one has not come.
    pub(super) finger: Option<Finger>,
    /// How many in the time of how many; (0, 0) outside tuplets.
    pub(super) ratio: (u8, u8),
    /// Does a tuplet begin, does one end here, by the brackets of the file?
    pub(super) bracket: (bool, bool),
    /// Slurs that begin (`true`) or end here, with their numbers.
    pub(super) slurs: SmallVec<[(u8, bool); 2]>,
    pub(super) lyrics: Sung,
}

/// What is sung on a note: mostly nothing.
pub(super) type Sung = Option<Box<Vec<Syllable>>>;

/// A syllable of a verse.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(super) struct Syllable {
    pub(super) verse: u8,
    /// Without anything that has a meaning of its own in lyrics of the language.
    pub(super) text: String,
    /// Does the word go on after it?
    pub(super) goes_on: bool,
}

/// A direction of a part.
#[derive(Clone, PartialEq, Debug)]
pub(super) struct RawDirection {
    /// From the beginning of the measure.
    pub(super) at: Time,
    pub(super) staff: u8,
    pub(super) kind: RawDirectionKind,
}

/// What a direction says.
#[derive(Clone, PartialEq, Debug)]
pub(super) enum RawDirectionKind {
    /// A word of the language that stands in brackets of its own: `p`, `pizz`.
    Word(&'static str),
    /// A hairpin begins: does it grow?
    HairpinStarts(bool, u8),
    HairpinEnds(u8),
    /// A fermata over a rest.
    Fermata,
    /// Words that are printed.
    Words(String),
}

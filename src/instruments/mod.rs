//! The catalogue of instruments: data with a source beside every value.
//!
//! The data live in `data/*.toml`, one file a family. To add an instrument, write one more
//! `[[instrument]]` table there; no code changes. Pitches are in scientific pitch notation
//! (C4 is middle C). Each table says whether a pitch is written or sounding.

mod read;

use std::sync::LazyLock;

use crate::music::{Interval, Pitch, PitchName};

/// The families in the order in which a full score sets them, from the top down.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Family {
    /// Flutes and reeds.
    Woodwind,
    /// Lip-blown instruments.
    Brass,
    /// Drums, cymbals, bells; timpani stand at their head.
    Percussion,
    /// The harp.
    Harp,
    /// Harpsichord, celesta and other keyboards.
    Keyboard,
    /// Bowed strings.
    Strings,
}

/// Clefs by their name on paper.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Clef {
    /// G clef on the second line.
    Treble,
    /// C clef on the third line.
    Alto,
    /// C clef on the fourth line.
    Tenor,
    /// F clef on the fourth line.
    Bass,
    /// Two strokes: no pitch.
    Percussion,
}

/// A clef that players of an instrument read, and the written notes that it suits.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct ClefUse {
    /// The clef.
    pub clef: Clef,
    /// Lowest written note for which one would choose it.
    pub low: Pitch,
    /// Highest written note for which one would choose it.
    pub high: Pitch,
}

/// Whose limit a compass is.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Limit {
    /// What the instrument gives at all: beyond it the note cannot be played.
    Instrument,
    /// What a soloist of the era could do.
    Solo,
    /// What an orchestral player of the era was asked day by day.
    Custom,
}

/// A range of notes within a range of years, with its source.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Compass {
    /// Whose limit it is.
    pub limit: Limit,
    /// First year for which it holds.
    pub from: i32,
    /// Last year for which it holds.
    pub to: i32,
    /// Lowest note: sounding pitch, or written pitch for instruments with crooks or keys.
    pub low: Pitch,
    /// Highest note, in the same pitch as `low`.
    pub high: Pitch,
    /// Notes between the ends that are missing, in the same pitch, by sounding height.
    pub missing: Vec<Pitch>,
    /// Author, title, year, chapter; or "from memory"; or "common practice".
    pub source: String,
}

/// A key in which an instrument is built, or a crook that is put into it.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Tuning {
    /// The key as the trade writes it: `D`, `Bb alto`, `Bb basso`.
    pub name: String,
    /// The key as a pitch name, for the choice of the nearest key.
    pub key: PitchName,
    /// The way from the written to the sounding pitch.
    pub transposition: Interval,
    /// Author, title, year, page; "derived", "from memory" or "common practice".
    pub source: String,
}

/// Valveless brass: which notes of the series the players use.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct NaturalSeries {
    /// Written pitch of partial 1 (the fundamental, which is not played).
    pub fundamental: Pitch,
    /// Lowest and highest partial of the first player of a pair.
    pub first: (u8, u8),
    /// Lowest and highest partial of the second player of a pair.
    pub second: (u8, u8),
    /// Partials that are out of tune: 7, 11, 13 and 14.
    pub out_of_tune: Vec<u8>,
    /// First year from which hand-stopped notes are known; `None` where stopping is of no use.
    pub stopping_from: Option<i32>,
    /// Author, title, year, chapter.
    pub source: String,
}

/// The sound that a MIDI file calls for.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum MidiSound {
    /// General MIDI program, counted from 1 as the standard prints it (the byte is one less).
    Program(u8),
    /// General MIDI percussion key on channel 10.
    PercussionKey(u8),
}

/// An instrument of the catalogue.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Instrument {
    /// The word of the language: `oboe`, `natural-horn`, `double-bass`.
    pub id: String,
    /// Other words of the language for it, if any.
    pub aliases: Vec<String>,
    /// Full name at the head of a part: "Oboe".
    pub name: String,
    /// Full name of several: "Oboes".
    pub plural: String,
    /// Abbreviation before later systems: "Ob.".
    pub abbreviation: String,
    /// Family, for brackets and order.
    pub family: Family,
    /// Place in a full score, from the top down (smaller is higher).
    pub score_order: u16,
    /// Clefs from the usual one to the rarer ones; the first suits where none fits better.
    pub clefs: Vec<ClefUse>,
    /// The way from written to sounding pitch where no key or crook is named.
    pub transposition: Interval,
    /// Keys in which it is built (clarinet: C, Bb, A), named `in` by an ensemble line.
    pub keys: Vec<Tuning>,
    /// Crooks of a valveless instrument, named `crook` by an ensemble line.
    pub crooks: Vec<Tuning>,
    /// The natural series, for valveless brass only.
    pub natural: Option<NaturalSeries>,
    /// Is its music written without a key signature (natural brass, timpani)?
    pub without_signature: bool,
    /// Is it written on the percussion clef without pitch (bass drum, cymbals)?
    pub unpitched: bool,
    /// How many notes one player can sound at once: 1 for wind, 2 to 4 for strings, 8 for a
    /// keyboard.
    pub voices: u8,
    /// First year of common use in the orchestra (or in the ensemble, for keyboards).
    pub from: i32,
    /// Compasses. See [`Instrument::compass`].
    pub compasses: Vec<Compass>,
    /// Are the compasses in written pitch (instruments with keys or crooks)?
    pub compass_is_written: bool,
    /// Sound in a MIDI file.
    pub midi: MidiSound,
    /// Sound id of the MusicXML standard: `wind.reed.oboe`.
    pub musicxml_sound: String,
}

impl Instrument {
    /// The compass of a limit in a year: the first one of the catalogue that holds.
    #[must_use]
    pub fn compass(&self, limit: Limit, year: i32) -> Option<&Compass> {
        self.compasses
            .iter()
            .find(|compass| compass.limit == limit && (compass.from..=compass.to).contains(&year))
    }

    /// The key or crook of that name.
    #[must_use]
    pub fn tuning(&self, name: &str) -> Option<&Tuning> {
        self.keys.iter().chain(&self.crooks).find(|tuning| tuning.name == name)
    }
}

/// All instruments, in score order.
#[must_use]
pub fn catalogue() -> &'static [Instrument] {
    static CATALOGUE: LazyLock<Vec<Instrument>> = LazyLock::new(read::read_catalogue);
    &CATALOGUE
}

/// The instrument of that word, by id or alias.
#[must_use]
pub fn find(word: &str) -> Option<&'static Instrument> {
    catalogue().iter().find(|i| i.id == word || i.aliases.iter().any(|alias| alias == word))
}

//! The catalogue of instruments: data with a source beside every value.
//!
//! The data live in `data/*.toml`, one file a family. Pitches are in scientific pitch notation
//! (C4 is middle C). Each field below says whether a pitch is written or sounding.
//!
//! # How to add an instrument
//! Write one more `[[instrument]]` table into the file of its family; no code changes. The
//! quickest way is to copy the nearest relative and go through it line by line:
//!
//! 1. `id` is the word of the language, in small letters with hyphens; `aliases` are other words
//!    for the same thing. Neither may clash with a word already taken.
//! 2. `score_order` places it in a full score. The numbers leave gaps, so that a newcomer fits in
//!    between.
//! 3. Clefs go from the usual one to the rarer ones. Let neighbours overlap, so that a line that
//!    crosses from one to the other need not change clef at every note.
//!    Who reads two staves has `staves = 2` with a `staves_source`; then the first clef is that of
//!    the upper staff and the second that of the lower one. `bass_alone = true` if he reads a bass
//!    line that he has for himself on one staff.
//! 4. Give at least an `instrument` and a `custom` row of `compass` for every year from
//!    `from` on (`to = 9999` is an open end); a `solo` row is a luxury, but if there is one,
//!    there must be one for every year. Set `compass_is_written = true` where the rows are in
//!    written pitch, which is so for every instrument with keys or crooks.
//! 5. Beside every value stands its source: author, title, year, place. A value that could not be
//!    looked up says "from memory"; a rule of the trade without an author "common practice"; a
//!    figure of our own "our heuristic"; one worked out from another "derived". Where sources
//!    disagree, choose one and name the other in the source's text.
//!    What is `like` another instrument takes over all that it does not state, but its names. The
//!    traits that rules, advice and the mock-up ask for (`slides`, `hand`, `trills`, `seat`,
//!    `desk` and others) are described in `traits.rs`; code asks for them, never for an id.
//! 6. What it is called elsewhere goes into `data/other-names.toml`, for findings only.
//! 7. Run `cargo test --lib instruments`. The reader names the file, the instrument and the field
//!    that it cannot take, and the tests say what is missing.

mod clefs;
#[cfg(test)]
mod house_tests;
mod like;
mod natural;
mod other_names;
mod pedals;
#[cfg(test)]
mod published_tests;
mod read;
mod tables;
#[cfg(test)]
mod tests;
mod traits;
mod user;
mod variant;

use std::sync::LazyLock;

use serde::Serialize;

use crate::music::{Interval, Pitch, PitchName};

pub use clefs::{Clef, ClefUse};
pub use natural::{OpenNote, PartialClass, PlayerRank, cents_from, nearest_cents};
pub use other_names::{meant, other_names};
pub use pedals::{Feet, Unset, respelled};
pub use traits::{
    BlurredRun, Desk, Grasp, Hand, OctaveLines, OutOfUse, Pedals, Ranks, Register, Registers,
    Retuning, Seat, Section, Slide, Sparing, SuddenLeap, Taxing, Touch, TrillBy, Trills, ValveSide,
};
pub use user::{UserFault, read_instruments};
pub use variant::{Change, variant};

/// The families in the order in which a full score sets them, from the top down.
#[derive(
    Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, serde::Deserialize, Serialize,
)]
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
    /// Lutes, guitars and mandolins.
    Plucked,
    /// Harpsichord, organ, piano, celesta.
    Keyboard,
    /// Singers.
    Voice,
    /// Bowed strings.
    Strings,
}

/// Whose limit a compass is.
#[derive(
    Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, serde::Deserialize, Serialize,
)]
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
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
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
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct Tuning {
    /// The key as the trade writes it: `D`, `Bb alto`, `Bb basso`.
    pub name: String,
    /// The key as a pitch name, for the choice of the nearest key.
    pub key: PitchName,
    /// The way from the written to the sounding pitch.
    pub transposition: Interval,
    /// Lowest written note that speaks safely in this key or crook, where it lies above the
    /// compass (partial 2 of a long crook is weak); `None` where the compass alone decides.
    pub safe_low: Option<Pitch>,
    /// Highest written note that is safe in this key or crook, where it lies below the compass
    /// (the top of a short crook is a risk); `None` where the compass alone decides.
    pub safe_high: Option<Pitch>,
    /// First year in which it was used; `None` where nothing is known.
    pub from: Option<i32>,
    /// Last year in which it was used; `None` where it never went out of use.
    pub to: Option<i32>,
    /// Author, title, year, page; "derived", "from memory" or "common practice".
    pub source: String,
}

/// Brass without valves: which notes of the series the players use.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct NaturalSeries {
    /// Written pitch of partial 1 (the fundamental, which is not played).
    pub fundamental: Pitch,
    /// Lowest and highest partial of the first player of a pair.
    pub first: (u8, u8),
    /// Highest partial that a first player may be asked for without risk.
    pub first_safe_to: u8,
    /// Lowest and highest partial of the second player of a pair.
    pub second: (u8, u8),
    /// Partials that are out of tune: 7, 11, 13 and 14.
    pub out_of_tune: Vec<u8>,
    /// First year from which hand-stopped notes are known; `None` where stopping is of no use.
    pub stopping_from: Option<i32>,
    /// First year from which the hand fills the whole gap below partial 4.
    pub stopping_far_from: Option<i32>,
    /// Author, title, year, chapter.
    pub source: String,
}

/// The sound that a MIDI file calls for.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum MidiSound {
    /// General MIDI program, counted from 1 as the standard prints it (the byte is one less).
    Program(u8),
    /// General MIDI percussion key on channel 10.
    PercussionKey(u8),
}

/// How fast one player is on the instrument, in notes a second, as an upper bound for a few bars.
///
/// No treatise that could be read gives such figures, so they are labelled as ours.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct Agility {
    /// Fastest repetition of one note (tongue, bow, stick or finger).
    pub repeated: u8,
    /// Fastest run by step.
    pub stepwise: u8,
    /// Fastest succession of leaps, of a fourth or more.
    pub leaping: u8,
    /// Source; mostly "our heuristic".
    pub source: String,
}

/// Seconds of unbroken sound that one breath carries in the middle of the compass.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct Breath {
    /// Seconds at piano.
    pub at_p: u8,
    /// Seconds at forte.
    pub at_f: u8,
    /// Source; mostly "our heuristic".
    pub source: String,
}

/// The register that is heard through a tutti, in sounding pitch.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct Telling {
    /// Lowest sounding note that carries.
    pub low: Pitch,
    /// Highest sounding note that carries.
    pub high: Pitch,
    /// Source; mostly "common practice" or "our heuristic".
    pub source: String,
}

/// The open strings of a bowed instrument within a range of years.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct OpenStrings {
    /// First year for which they hold.
    pub from: i32,
    /// Last year for which they hold.
    pub to: i32,
    /// Sounding pitches, from the lowest string up.
    pub strings: Vec<Pitch>,
    /// Author, title, year, page; or "from memory".
    pub source: String,
}

/// One drum of a pair of timpani.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct Drum {
    /// `large` or `small`.
    pub name: String,
    /// Lowest note to which it can be tuned, sounding.
    pub low: Pitch,
    /// Highest note to which it can be tuned, sounding.
    pub high: Pitch,
    /// Author, title, year, page.
    pub source: String,
}

/// The class in which an instrument weighs when forces are balanced.
/// Source: Rimsky-Korsakov, Principles of Orchestration, tr. Agate, 1922, ch. I. In forte one
/// trumpet, trombone or tuba equals two horns, and one horn equals two woodwind of a kind; in
/// piano all wind are about equal, and a department of strings equals one wind instrument (two in
/// forte). Plucked sounds are easily covered; drums and bells prevail.
#[derive(
    Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, serde::Deserialize, Serialize,
)]
#[serde(rename_all = "kebab-case")]
pub enum Loudness {
    /// Flutes and reeds.
    Woodwind,
    /// Horns, natural or valved.
    Horn,
    /// Trumpets, trombones and tuba.
    HeavyBrass,
    /// Bowed strings: the class weighs a whole department, not one player.
    StringDepartment,
    /// Drums, cymbals and bells.
    Percussion,
    /// Harp, lutes and harpsichord.
    Plucked,
    /// Singers.
    Voice,
}

/// An instrument of the catalogue.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
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
    /// Source of the clefs and their written ranges.
    pub clefs_source: String,
    /// How many staves a player reads: 2, joined by a brace, for harp and keyboard, else 1. Where
    /// there are two, the first of `clefs` is the usual one of the upper staff and the second that
    /// of the lower staff.
    pub staves: u8,
    /// Does a player who has the bass line and nothing else read it on one staff, in the usual
    /// clef of the lower one (the harpsichord as continuo)?
    pub bass_alone: bool,
    /// Source of both where there are two staves; else empty.
    pub staves_source: String,
    /// The way from written to sounding pitch where no key or crook is named. Where the key must
    /// be named for a part to mean anything (clarinet, natural brass) this is the unison.
    pub transposition: Interval,
    /// Source of the transposition.
    pub transposition_source: String,
    /// Keys in which it is built (clarinet: C, Bb, A), named `in` by an ensemble line.
    pub keys: Vec<Tuning>,
    /// Crooks of an instrument without valves, named `crook` by an ensemble line.
    pub crooks: Vec<Tuning>,
    /// The natural series, for brass without valves only.
    pub natural: Option<NaturalSeries>,
    /// Is its music written without a key signature (natural brass, timpani)?
    pub without_signature: bool,
    /// Is it written on the percussion clef without pitch (bass drum, cymbals)?
    pub unpitched: bool,
    /// How many notes one player can sound at once: 1 for wind, 2 to 4 for strings, 8 for a
    /// keyboard; with two staves, half of them in each hand.
    pub voices: u8,
    /// First year of common use in the orchestra (or in the ensemble, for keyboards).
    pub from: i32,
    /// Source of that year.
    pub from_source: String,
    /// Compasses. See [`Instrument::compass`].
    pub compasses: Vec<Compass>,
    /// Are the compasses in written pitch (instruments with keys or crooks)?
    pub compass_is_written: bool,
    /// Sound in a MIDI file.
    pub midi: MidiSound,
    /// Sound id of the MusicXML standard: `wind.reed.oboe`.
    pub musicxml_sound: String,
    /// Source of both sounds, with a remark where a stand-in had to be chosen.
    pub sound_source: String,
    /// Does the player have to breathe (all wind)?
    pub breathes: bool,
    /// How long one breath lasts; wind only.
    pub breath: Option<Breath>,
    /// How fast a player is.
    pub agility: Option<Agility>,
    /// The register that carries in a tutti; `None` for instruments without pitch.
    pub telling: Option<Telling>,
    /// Class of loudness.
    pub loudness: Loudness,
    /// For a keyboard, whether its loudness can be graded.
    pub touch: Option<Touch>,
    /// Open strings of bowed instruments. See [`Instrument::open_strings`].
    pub open_strings: Vec<OpenStrings>,
    /// The drums of a pair of timpani, the large one first.
    pub drums: Vec<Drum>,
    /// The drums by year, where larger or smaller ones joined the pair. See
    /// [`Instrument::drums_of`].
    pub drum_sets: Vec<DrumSet>,
    /// When it was out of use.
    pub out_of_use: Vec<OutOfUse>,
    /// Where the player sits; `None` where the part that the ensemble gives decides.
    pub seat: Option<Seat>,
    /// The desk of the librarians' line; `None` for strings, drums and voices, which are counted
    /// otherwise.
    pub desk: Option<Desk>,
    /// Players of a section; bowed strings only.
    pub section: Option<Section>,
    /// The left hand; bowed strings only.
    pub hand: Option<Hand>,
    /// The slide; trombones only.
    pub slides: Vec<Slide>,
    /// How much of a piece it may take.
    pub sparing: Vec<Sparing>,
    /// Leaps that it dislikes.
    pub sudden_leap: Option<SuddenLeap>,
    /// Runs that blur.
    pub blurred_run: Option<BlurredRun>,
    /// Trills, where they are not those of fingers on every note.
    pub trills: Option<Trills>,
    /// First year from which wind players know an unmeasured tremolo (flutter tonguing).
    pub tremolo_from: Option<i32>,
    /// How long a drum takes to retune.
    pub retuning: Vec<Retuning>,
    /// What one hand takes at once; harp and keyboards.
    pub grasp: Option<Grasp>,
    /// Beyond which notes lines of octaves are read; `None` for all who read ledger lines.
    pub octave_lines: Option<OctaveLines>,
    /// The pedals; harp only.
    pub pedals: Option<Pedals>,
    /// What suits the first and the second player of a pair.
    pub ranks: Vec<Ranks>,
    /// The register in which playing loudly for long taxes the player.
    pub taxing: Vec<Taxing>,
    /// How the registers weigh; where there are none, the telling register weighs whole and the
    /// rest half (our heuristic).
    pub registers: Option<Registers>,
    /// Is it a matter for the ears of those who sit near, when it is loud for long?
    pub loud_for_neighbours: bool,
    /// The instrument without valves that had the same name, if this one has them.
    pub without_valves: Option<String>,
    /// Seconds to lay another instrument down and take this one up: eight, and three for percussion
    /// that hangs or lies ready (our heuristic).
    pub seconds_to_take: u8,
}

/// The drums of a range of years.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct DrumSet {
    /// First year for which they hold.
    pub from: i32,
    /// Last year for which they hold.
    pub to: i32,
    /// The drums from the largest to the smallest.
    pub drums: Vec<Drum>,
}

impl Instrument {
    /// The compass of a limit in a year: the first one of the catalogue that holds, or, for a year
    /// before or after all of them, the nearest. `None` only where the catalogue has no row of
    /// that limit at all, which it may lack for [`Limit::Solo`].
    #[must_use]
    pub fn compass(&self, limit: Limit, year: i32) -> Option<&Compass> {
        self.compasses
            .iter()
            .filter(|compass| compass.limit == limit)
            .min_by_key(|compass| years_away(compass.from, compass.to, year))
    }

    /// The open strings in a year, or in the nearest year that is known; `None` for all but bowed
    /// strings.
    #[must_use]
    pub fn open_strings(&self, year: i32) -> Option<&OpenStrings> {
        self.open_strings.iter().min_by_key(|row| years_away(row.from, row.to, year))
    }

    /// The row of that year among rows that hold for some years, or the nearest.
    fn row<T>(rows: &[T], years: impl Fn(&T) -> (i32, i32), year: i32) -> Option<&T> {
        rows.iter().min_by_key(|row| {
            let (from, to) = years(row);
            years_away(from, to, year)
        })
    }

    /// The row that holds in a year, if one does.
    fn row_of<T>(rows: &[T], years: impl Fn(&T) -> (i32, i32), year: i32) -> Option<&T> {
        rows.iter().find(|row| {
            let (from, to) = years(row);
            (from..=to).contains(&year)
        })
    }

    /// The drums that were in use in a year: those of the nearest set of years, or the pair.
    #[must_use]
    pub fn drums_of(&self, year: i32) -> &[Drum] {
        Self::row(&self.drum_sets, |set| (set.from, set.to), year)
            .map_or(&self.drums, |set| &set.drums)
    }

    /// The slide in a year; `None` for all but trombones with a slide.
    #[must_use]
    pub fn slide(&self, year: i32) -> Option<&Slide> {
        Self::row(&self.slides, |slide| (slide.from, slide.to), year)
    }

    /// How much of a piece it may take in a year, if it is used sparingly.
    #[must_use]
    pub fn sparing(&self, year: i32) -> Option<&Sparing> {
        Self::row_of(&self.sparing, |row| (row.from, row.to), year)
    }

    /// How long a drum takes to retune in a year.
    #[must_use]
    pub fn retuning(&self, year: i32) -> Option<&Retuning> {
        Self::row(&self.retuning, |row| (row.from, row.to), year)
    }

    /// What suits the players of a pair in a year.
    #[must_use]
    pub fn ranks(&self, year: i32) -> Option<&Ranks> {
        Self::row_of(&self.ranks, |row| (row.from, row.to), year)
    }

    /// The register that taxes a player who is loud for long, in a year.
    #[must_use]
    pub fn taxing(&self, year: i32) -> Option<&Taxing> {
        Self::row_of(&self.taxing, |row| (row.from, row.to), year)
    }

    /// The years in which it was out of use, if the year is one of them.
    #[must_use]
    pub fn out_of_use(&self, year: i32) -> Option<&OutOfUse> {
        Self::row_of(&self.out_of_use, |row| (row.from, row.to), year)
    }

    /// The instrument without valves of the same name.
    #[must_use]
    pub fn without_valves(&self) -> Option<&'static Instrument> {
        find(self.without_valves.as_ref()?)
    }

    /// The instrument with valves of the same name.
    #[must_use]
    pub fn with_valves(&self) -> Option<&'static Instrument> {
        catalogue().iter().find(|other| other.without_valves.as_ref() == Some(&self.id))
    }

    /// What a sounding note weighs beside the strongest register of the instrument, 1.0 being the
    /// weight of its class: by its registers, or half outside the telling one (our heuristic).
    #[must_use]
    pub fn weight_at(&self, pitch: Pitch) -> f64 {
        let rows = self.registers.as_ref().map_or(&[][..], |registers| &registers.rows);
        let row = rows.iter().find(|row| pitch.midi() <= row.to.midi()).or(rows.last());
        match (row, &self.telling) {
            (Some(row), _) => f64::from(row.weight) / 100.0,
            (None, Some(telling)) if !self.bowed() => {
                if (telling.low..=telling.high).contains(&pitch) { 1.0 } else { 0.5 }
            }
            _ => 1.0,
        }
    }

    /// Does a sounding note carry through a tutti? Within the telling register, and above it
    /// wherever the instrument gains strength upwards.
    #[must_use]
    pub fn carries(&self, pitch: Pitch) -> bool {
        self.telling.as_ref().is_none_or(|telling| {
            let above = pitch > telling.high && self.weight_at(pitch) >= 1.0;
            (telling.low..=telling.high).contains(&pitch) || above
        })
    }

    /// Is it played with a bow?
    #[must_use]
    pub fn bowed(&self) -> bool {
        self.family == Family::Strings
    }

    /// Can its player grow louder and softer little by little? Not on a keyboard whose keys sound alike however
    /// they are touched (common practice).
    #[must_use]
    pub fn grades(&self) -> bool {
        self.touch.as_ref().is_none_or(|touch| touch.graded)
    }

    /// Does a note sound as long as its player keeps it up, so that it can grow and fade? What is struck or
    /// plucked dies away by itself (common practice).
    #[must_use]
    pub fn sustains(&self) -> bool {
        !matches!(self.loudness, Loudness::Percussion | Loudness::Plucked)
    }

    /// The key or crook of that name.
    #[must_use]
    pub fn tuning(&self, name: &str) -> Option<&Tuning> {
        self.keys.iter().chain(&self.crooks).find(|tuning| tuning.name == name)
    }

    /// Which drums change between two tunings (sounding notes): from which note to which, in the
    /// order of `before`.
    ///
    /// A note of both tunings stays on its drum, if the others can then be reached within the
    /// compass of a drum; if not, the drums are taken one after the other from the lowest up.
    /// Drums that only one of the tunings has are not retuned.
    #[must_use]
    pub fn retuned(&self, before: &[Pitch], after: &[Pitch]) -> Vec<(Pitch, Pitch)> {
        let only = |these: &[Pitch], those: &[Pitch]| -> Vec<Pitch> {
            let has = |note: &Pitch| those.iter().any(|other| other.midi() == note.midi());
            these.iter().copied().filter(|note| !has(note)).collect()
        };
        let (old, new) = (only(before, after), only(after, before));
        let on_one_drum = |(from, to): (&Pitch, &Pitch)| {
            let sets = self.drum_sets.iter().flat_map(|set| &set.drums);
            self.drums.iter().chain(sets).any(|drum| {
                let compass = drum.low.midi()..=drum.high.midi();
                compass.contains(&from.midi()) && compass.contains(&to.midi())
            })
        };
        if old.iter().zip(&new).all(on_one_drum) {
            return old.into_iter().zip(new).collect();
        }
        let pairs = before.iter().copied().zip(after.iter().copied());
        pairs.filter(|(from, to)| from.midi() != to.midi()).collect()
    }
}

/// How many years lie between a year and a range of years: 0 within it.
fn years_away(from: i32, to: i32, year: i32) -> u32 {
    year.abs_diff(year.clamp(from, to.max(from)))
}

/// All instruments, in score order.
///
/// # Panics
///
/// If the tables built into the program are broken, which its tests rule out.
#[must_use]
pub fn catalogue() -> &'static [Instrument] {
    static CATALOGUE: LazyLock<Vec<Instrument>> =
        LazyLock::new(|| read::read_catalogue().unwrap_or_else(|error| panic!("{error}")));
    &CATALOGUE
}

/// The instrument of that word, by id or alias.
#[must_use]
pub fn find(word: &str) -> Option<&'static Instrument> {
    catalogue().iter().find(|i| i.id == word || i.aliases.iter().any(|alias| alias == word))
}

//! Reads the catalogue's TOML tables.
//!
//! The tables are built into the program, so an error here is a mistake of ours; it still names
//! the file, the instrument and the field, because whoever adds an instrument will meet it.

use std::fmt;

use serde::Deserialize;

use super::natural::HIGHEST_PARTIAL;
use super::{
    Agility, Breath, Clef, ClefUse, Compass, Drum, Family, Instrument, Limit, Loudness, MidiSound,
    NaturalSeries, OpenStrings, Telling, Tuning,
};
use crate::music::{Interval, Letter, Pitch, PitchName};

const FILES: [(&str, &str); 5] = [
    ("woodwind.toml", include_str!("data/woodwind.toml")),
    ("brass.toml", include_str!("data/brass.toml")),
    ("percussion.toml", include_str!("data/percussion.toml")),
    ("harp-and-keyboard.toml", include_str!("data/harp-and-keyboard.toml")),
    ("strings.toml", include_str!("data/strings.toml")),
];

/// A fault of the tables, with the place where it stands.
#[derive(Debug)]
pub(super) struct CatalogueError {
    file: String,
    instrument: String,
    fault: String,
}

impl fmt::Display for CatalogueError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "catalogue of instruments, {}, instrument `{}`: {}",
            self.file, self.instrument, self.fault
        )
    }
}

/// All instruments of all files, in score order.
pub(super) fn read_catalogue() -> Result<Vec<Instrument>, CatalogueError> {
    read_files(&FILES)
}

pub(super) fn read_files(files: &[(&str, &str)]) -> Result<Vec<Instrument>, CatalogueError> {
    let mut catalogue: Vec<Instrument> = Vec::new();
    for (file, text) in files {
        for instrument in read_file(file, text)? {
            let mut words = std::iter::once(&instrument.id).chain(&instrument.aliases);
            let taken = words.find(|&word| {
                catalogue.iter().any(|other| other.id == *word || other.aliases.contains(word))
            });
            if let Some(word) = taken {
                return Err(CatalogueError {
                    file: (*file).to_owned(),
                    instrument: instrument.id.clone(),
                    fault: format!("field `id` or `aliases`: the word `{word}` is already taken"),
                });
            }
            catalogue.push(instrument);
        }
    }
    catalogue.sort_by_key(|instrument| instrument.score_order);
    Ok(catalogue)
}

fn read_file(file: &str, text: &str) -> Result<Vec<Instrument>, CatalogueError> {
    let error = |instrument: &str, fault: String| CatalogueError {
        file: file.to_owned(),
        instrument: instrument.to_owned(),
        fault,
    };
    let table: FileTable =
        toml::from_str(text).map_err(|fault| error("(none yet)", fault.to_string()))?;
    let mut instruments = Vec::new();
    for (index, table) in table.instrument.into_iter().enumerate() {
        let id = match table.get("id").and_then(toml::Value::as_str) {
            Some(id) => id.to_owned(),
            None => format!("number {} of the file", index + 1),
        };
        let read = InstrumentTable::deserialize(toml::Value::Table(table))
            .map_err(|fault| fault.to_string().trim_end().replace('\n', " "))
            .and_then(InstrumentTable::build);
        instruments.push(read.map_err(|fault| error(&id, fault))?);
    }
    Ok(instruments)
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FileTable {
    instrument: Vec<toml::Table>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct InstrumentTable {
    id: String,
    #[serde(default)]
    aliases: Vec<String>,
    name: String,
    plural: String,
    abbreviation: String,
    family: Family,
    score_order: u16,
    clefs: Vec<ClefTable>,
    clefs_source: String,
    #[serde(default = "one")]
    staves: u8,
    #[serde(default)]
    bass_alone: bool,
    staves_source: Option<String>,
    transposition: IntervalTable,
    transposition_source: String,
    #[serde(default)]
    keys: Vec<TuningTable>,
    #[serde(default)]
    crooks: Vec<TuningTable>,
    natural: Option<NaturalTable>,
    #[serde(default)]
    without_signature: bool,
    #[serde(default)]
    unpitched: bool,
    voices: u8,
    from: i32,
    from_source: String,
    compass: Vec<CompassTable>,
    #[serde(default)]
    compass_is_written: bool,
    midi: MidiTable,
    musicxml_sound: String,
    sound_source: String,
    #[serde(default)]
    breathes: bool,
    breath: Option<BreathTable>,
    agility: Option<AgilityTable>,
    telling: Option<TellingTable>,
    loudness: Loudness,
    #[serde(default)]
    open_strings: Vec<OpenStringsTable>,
    #[serde(default)]
    drums: Vec<DrumTable>,
}

fn one() -> u8 {
    1
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ClefTable {
    clef: Clef,
    low: String,
    high: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct IntervalTable {
    steps: i32,
    semitones: i32,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct TuningTable {
    name: String,
    key: String,
    steps: i32,
    semitones: i32,
    safe_low: Option<String>,
    safe_high: Option<String>,
    source: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct NaturalTable {
    fundamental: String,
    first: (u8, u8),
    first_safe_to: u8,
    second: (u8, u8),
    out_of_tune: Vec<u8>,
    stopping_from: Option<i32>,
    source: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct CompassTable {
    limit: Limit,
    from: i32,
    to: i32,
    low: String,
    high: String,
    #[serde(default)]
    missing: Vec<String>,
    source: String,
}

#[derive(Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
enum MidiTable {
    Program(u8),
    PercussionKey(u8),
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct BreathTable {
    at_p: u8,
    at_f: u8,
    source: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct AgilityTable {
    repeated: u8,
    stepwise: u8,
    leaping: u8,
    source: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct TellingTable {
    low: String,
    high: String,
    source: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct OpenStringsTable {
    from: i32,
    to: i32,
    strings: Vec<String>,
    source: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct DrumTable {
    name: String,
    low: String,
    high: String,
    source: String,
}

type Fault = String;

fn pitch(field: &str, text: &str) -> Result<Pitch, Fault> {
    text.parse().map_err(|()| {
        format!("field `{field}`: `{text}` is no pitch; write letter, accidental and octave: Bb3")
    })
}

fn optional_pitch(field: &str, text: Option<&String>) -> Result<Option<Pitch>, Fault> {
    text.map(|text| pitch(field, text)).transpose()
}

fn pitches(field: &str, texts: &[String]) -> Result<Vec<Pitch>, Fault> {
    texts.iter().map(|text| pitch(field, text)).collect()
}

fn range(field: &str, low: &str, high: &str) -> Result<(Pitch, Pitch), Fault> {
    let ends = (pitch(&format!("{field}.low"), low)?, pitch(&format!("{field}.high"), high)?);
    if ends.0 > ends.1 {
        return Err(format!("field `{field}`: low {low} lies above high {high}"));
    }
    Ok(ends)
}

fn years(field: &str, from: i32, to: i32) -> Result<(), Fault> {
    if from > to {
        return Err(format!("field `{field}`: the year `from` {from} lies after `to` {to}"));
    }
    Ok(())
}

fn sourced(field: &str, source: String) -> Result<String, Fault> {
    if source.trim().is_empty() {
        return Err(format!("field `{field}`: a source is wanted beside every value"));
    }
    Ok(source)
}

fn build_all<Table, Built>(
    tables: Vec<Table>,
    build: impl Fn(Table) -> Result<Built, Fault>,
) -> Result<Vec<Built>, Fault> {
    tables.into_iter().map(build).collect()
}

impl InstrumentTable {
    fn check_staves(&self) -> Result<(), Fault> {
        if !(1..=2).contains(&self.staves) {
            return Err(format!("field `staves`: 1 or 2 are wanted, not {}", self.staves));
        }
        if self.staves == 1 {
            return match self.bass_alone || self.staves_source.is_some() {
                true => Err("field `staves`: `bass_alone` and `staves_source` go with two".into()),
                false => Ok(()),
            };
        }
        if self.clefs.len() < 2 || self.unpitched {
            return Err("field `clefs`: two staves want a clef each, for notes with pitch".into());
        }
        sourced("staves_source", self.staves_source.clone().unwrap_or_default()).map(drop)
    }

    fn build(self) -> Result<Instrument, Fault> {
        if self.clefs.is_empty() {
            return Err("field `clefs`: at least one clef is wanted".to_owned());
        }
        self.check_staves()?;
        Ok(Instrument {
            clefs: build_all(self.clefs, ClefTable::build)?,
            clefs_source: sourced("clefs_source", self.clefs_source)?,
            staves: self.staves,
            bass_alone: self.bass_alone,
            staves_source: self.staves_source.unwrap_or_default(),
            transposition: Interval::new(self.transposition.steps, self.transposition.semitones),
            transposition_source: sourced("transposition_source", self.transposition_source)?,
            keys: build_all(self.keys, |table| table.build("keys"))?,
            crooks: build_all(self.crooks, |table| table.build("crooks"))?,
            natural: self.natural.map(NaturalTable::build).transpose()?,
            from_source: sourced("from_source", self.from_source)?,
            compasses: build_all(self.compass, CompassTable::build)?,
            midi: self.midi.build()?,
            sound_source: sourced("sound_source", self.sound_source)?,
            breath: self.breath.map(BreathTable::build).transpose()?,
            agility: self.agility.map(AgilityTable::build).transpose()?,
            telling: self.telling.map(TellingTable::build).transpose()?,
            open_strings: build_all(self.open_strings, OpenStringsTable::build)?,
            drums: build_all(self.drums, DrumTable::build)?,
            id: self.id,
            aliases: self.aliases,
            name: self.name,
            plural: self.plural,
            abbreviation: self.abbreviation,
            family: self.family,
            score_order: self.score_order,
            without_signature: self.without_signature,
            unpitched: self.unpitched,
            voices: self.voices,
            from: self.from,
            compass_is_written: self.compass_is_written,
            musicxml_sound: self.musicxml_sound,
            breathes: self.breathes,
            loudness: self.loudness,
        })
    }
}

impl ClefTable {
    fn build(self) -> Result<ClefUse, Fault> {
        let (low, high) = range("clefs", &self.low, &self.high)?;
        Ok(ClefUse { clef: self.clef, low, high })
    }
}

impl TuningTable {
    fn build(self, list: &str) -> Result<Tuning, Fault> {
        let field = format!("{list} `{}`", self.name);
        let key: PitchName = self
            .key
            .parse()
            .map_err(|()| format!("field `{field}.key`: `{}` is no pitch name", self.key))?;
        let transposition = Interval::new(self.steps, self.semitones);
        // A written C sounds the key: the one figure proves the other.
        if PitchName::new(Letter::C, 0).transposed(transposition) != Some(key) {
            return Err(format!(
                "field `{field}`: {} steps and {} semitones do not lead from C to {key}",
                self.steps, self.semitones
            ));
        }
        Ok(Tuning {
            key,
            transposition,
            safe_low: optional_pitch(&format!("{field}.safe_low"), self.safe_low.as_ref())?,
            safe_high: optional_pitch(&format!("{field}.safe_high"), self.safe_high.as_ref())?,
            source: sourced(&format!("{field}.source"), self.source)?,
            name: self.name,
        })
    }
}

impl NaturalTable {
    fn build(self) -> Result<NaturalSeries, Fault> {
        for (field, (low, high)) in [("first", self.first), ("second", self.second)] {
            if low < 1 || low > high || high > HIGHEST_PARTIAL {
                return Err(format!(
                    "field `natural.{field}`: partials {low} to {high} are not within 1 to \
                     {HIGHEST_PARTIAL}"
                ));
            }
        }
        Ok(NaturalSeries {
            fundamental: pitch("natural.fundamental", &self.fundamental)?,
            first: self.first,
            first_safe_to: self.first_safe_to,
            second: self.second,
            out_of_tune: self.out_of_tune,
            stopping_from: self.stopping_from,
            source: sourced("natural.source", self.source)?,
        })
    }
}

impl CompassTable {
    fn build(self) -> Result<Compass, Fault> {
        let field = format!("compass {:?} {}", self.limit, self.from);
        let (low, high) = range(&field, &self.low, &self.high)?;
        years(&field, self.from, self.to)?;
        Ok(Compass {
            limit: self.limit,
            from: self.from,
            to: self.to,
            low,
            high,
            missing: pitches(&format!("{field}.missing"), &self.missing)?,
            source: sourced(&format!("{field}.source"), self.source)?,
        })
    }
}

impl MidiTable {
    fn build(self) -> Result<MidiSound, Fault> {
        match self {
            MidiTable::Program(program @ 1..=128) => Ok(MidiSound::Program(program)),
            MidiTable::PercussionKey(key @ 0..=127) => Ok(MidiSound::PercussionKey(key)),
            MidiTable::Program(program) => {
                Err(format!("field `midi.program`: {program} is not within 1 to 128"))
            }
            MidiTable::PercussionKey(key) => {
                Err(format!("field `midi.percussion-key`: {key} is not within 0 to 127"))
            }
        }
    }
}

impl BreathTable {
    fn build(self) -> Result<Breath, Fault> {
        let source = sourced("breath.source", self.source)?;
        Ok(Breath { at_p: self.at_p, at_f: self.at_f, source })
    }
}

impl AgilityTable {
    fn build(self) -> Result<Agility, Fault> {
        Ok(Agility {
            repeated: self.repeated,
            stepwise: self.stepwise,
            leaping: self.leaping,
            source: sourced("agility.source", self.source)?,
        })
    }
}

impl TellingTable {
    fn build(self) -> Result<Telling, Fault> {
        let (low, high) = range("telling", &self.low, &self.high)?;
        Ok(Telling { low, high, source: sourced("telling.source", self.source)? })
    }
}

impl OpenStringsTable {
    fn build(self) -> Result<OpenStrings, Fault> {
        years("open_strings", self.from, self.to)?;
        Ok(OpenStrings {
            from: self.from,
            to: self.to,
            strings: pitches("open_strings.strings", &self.strings)?,
            source: sourced("open_strings.source", self.source)?,
        })
    }
}

impl DrumTable {
    fn build(self) -> Result<Drum, Fault> {
        let (low, high) = range(&format!("drums `{}`", self.name), &self.low, &self.high)?;
        Ok(Drum { name: self.name, low, high, source: sourced("drums.source", self.source)? })
    }
}

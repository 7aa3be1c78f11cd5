//! The tables of the catalogue as they are written, and what they must hold to.

use serde::Deserialize;

use super::like::Fault;
use super::natural::HIGHEST_PARTIAL;
use super::{
    Agility, BlurredRun, Breath, Clef, ClefUse, Compass, Desk, Drum, DrumSet, Family, Grasp, Hand,
    Instrument, Limit, Loudness, MidiSound, NaturalSeries, OctaveLines, OpenStrings, OutOfUse,
    Pedals, Ranks, Registers, Retuning, Seat, Section, Slide, Sparing, SuddenLeap, Taxing, Telling,
    Touch, Trills, Tuning,
};
use crate::music::{Interval, Letter, Pitch, PitchName};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct InstrumentTable {
    id: String,
    #[serde(default)]
    aliases: Vec<String>,
    name: String,
    plural: Option<String>,
    abbreviation: Option<String>,
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
    touch: Option<Touch>,
    #[serde(default)]
    open_strings: Vec<OpenStringsTable>,
    #[serde(default)]
    drums: Vec<DrumTable>,
    #[serde(default)]
    drum_sets: Vec<DrumSetTable>,
    #[serde(default)]
    out_of_use: Vec<OutOfUse>,
    seat: Option<Seat>,
    desk: Option<Desk>,
    section: Option<Section>,
    hand: Option<Hand>,
    #[serde(default)]
    slides: Vec<Slide>,
    #[serde(default)]
    sparing: Vec<Sparing>,
    sudden_leap: Option<SuddenLeap>,
    blurred_run: Option<BlurredRun>,
    trills: Option<Trills>,
    tremolo_from: Option<i32>,
    #[serde(default)]
    retuning: Vec<Retuning>,
    grasp: Option<Grasp>,
    octave_lines: Option<OctaveLines>,
    pedals: Option<Pedals>,
    #[serde(default)]
    ranks: Vec<Ranks>,
    #[serde(default)]
    taxing: Vec<Taxing>,
    registers: Option<Registers>,
    #[serde(default)]
    loud_for_neighbours: bool,
    without_valves: Option<String>,
    #[serde(default = "eight")]
    seconds_to_take: u8,
}

fn one() -> u8 {
    1
}

/// Our heuristic.
fn eight() -> u8 {
    8
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
    from: Option<i32>,
    to: Option<i32>,
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
    stopping_far_from: Option<i32>,
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

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct DrumSetTable {
    from: i32,
    to: i32,
    drums: Vec<DrumTable>,
}

fn pitch(field: &str, text: &str) -> Result<Pitch, Fault> {
    text.parse().map_err(|()| {
        format!(
            "field `{field}`: `{text}` is not a pitch; write letter, accidental and octave: Bb3"
        )
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
        return Err(format!("field `{field}`: the low end {low} is above the high end {high}"));
    }
    Ok(ends)
}

fn years(field: &str, from: i32, to: i32) -> Result<(), Fault> {
    if from > to {
        return Err(format!("field `{field}`: the year `from` {from} is later than `to` {to}"));
    }
    Ok(())
}

fn sourced(field: &str, source: String) -> Result<String, Fault> {
    if source.trim().is_empty() {
        return Err(format!("field `{field}`: every value needs a source beside it"));
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
            return Err(format!("field `staves`: must be 1 or 2, not {}", self.staves));
        }
        if self.staves == 1 {
            return match self.bass_alone || self.staves_source.is_some() {
                true => {
                    Err("field `staves`: `bass_alone` and `staves_source` belong to two staves"
                        .into())
                }
                false => Ok(()),
            };
        }
        if self.clefs.len() < 2 || self.unpitched {
            return Err("field `clefs`: two staves need a clef each, for notes with pitch".into());
        }
        sourced("staves_source", self.staves_source.clone().unwrap_or_default()).map(drop)
    }

    /// Are the years of all traits in order, their figures possible, and a source beside each?
    fn check_traits(&self) -> Result<(), Fault> {
        type Row<'t> = (&'t str, Option<(i32, i32)>, &'t str);
        let mut rows: Vec<Row> = Vec::new();
        rows.extend(
            self.out_of_use.iter().map(|r| ("out_of_use", Some((r.from, r.to)), &*r.source)),
        );
        rows.extend(self.seat.iter().map(|r| ("seat", None, &*r.source)));
        rows.extend(self.desk.iter().map(|r| ("desk", None, &*r.source)));
        rows.extend(self.section.iter().map(|r| ("section", None, &*r.source)));
        rows.extend(self.hand.iter().map(|r| ("hand", None, &*r.source)));
        rows.extend(self.slides.iter().map(|r| ("slides", Some((r.from, r.to)), &*r.source)));
        rows.extend(self.sparing.iter().map(|r| ("sparing", Some((r.from, r.to)), &*r.source)));
        rows.extend(self.sudden_leap.iter().map(|r| ("sudden_leap", None, &*r.source)));
        rows.extend(self.blurred_run.iter().map(|r| ("blurred_run", None, &*r.source)));
        rows.extend(self.trills.iter().map(|r| ("trills", None, &*r.source)));
        rows.extend(self.retuning.iter().map(|r| ("retuning", Some((r.from, r.to)), &*r.source)));
        rows.extend(self.grasp.iter().map(|r| ("grasp", None, &*r.source)));
        rows.extend(self.octave_lines.iter().map(|r| ("octave_lines", None, &*r.source)));
        rows.extend(self.pedals.iter().map(|r| ("pedals", None, &*r.source)));
        rows.extend(self.ranks.iter().map(|r| ("ranks", Some((r.from, r.to)), &*r.source)));
        rows.extend(self.taxing.iter().map(|r| ("taxing", Some((r.from, r.to)), &*r.source)));
        rows.extend(self.registers.iter().map(|r| ("registers", None, &*r.source)));
        for (field, held, source) in rows {
            if let Some((from, to)) = held {
                years(field, from, to)?;
            }
            if source.trim().is_empty() {
                return Err(format!(
                    "field `{field}.source`: every value needs a source beside it"
                ));
            }
        }
        if self.seat.as_ref().is_some_and(|seat| seat.pan > 127 || seat.second > Some(127)) {
            return Err("field `seat`: from 0 (left) to 127 (right)".to_owned());
        }
        if self.sparing.iter().any(|row| row.percent > 100) {
            return Err("field `sparing.percent`: from 0 to 100".to_owned());
        }
        let hand = self.hand.as_ref();
        if hand.is_some_and(|hand| !(1..1000).contains(&hand.reach) || hand.solo_reach < hand.reach)
        {
            return Err(
                "field `hand`: thousandths of the string, the soloist's not less".to_owned()
            );
        }
        let registers = self.registers.as_ref().map_or(&[][..], |registers| &registers.rows);
        if registers.windows(2).any(|pair| pair[0].to >= pair[1].to) {
            return Err("field `registers.rows`: from the lowest up".to_owned());
        }
        Ok(())
    }

    pub(super) fn build(self) -> Result<Instrument, Fault> {
        if self.clefs.is_empty() {
            return Err("field `clefs`: at least one clef is needed".to_owned());
        }
        self.check_staves()?;
        self.check_traits()?;
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
            drum_sets: build_all(self.drum_sets, DrumSetTable::build)?,
            out_of_use: self.out_of_use,
            seat: self.seat,
            desk: self.desk,
            section: self.section,
            hand: self.hand,
            slides: self.slides,
            sparing: self.sparing,
            sudden_leap: self.sudden_leap,
            blurred_run: self.blurred_run,
            trills: self.trills,
            tremolo_from: self.tremolo_from,
            retuning: self.retuning,
            grasp: self.grasp,
            octave_lines: self.octave_lines,
            pedals: self.pedals,
            ranks: self.ranks,
            taxing: self.taxing,
            registers: self.registers,
            loud_for_neighbours: self.loud_for_neighbours,
            without_valves: self.without_valves,
            seconds_to_take: self.seconds_to_take,
            id: self.id,
            aliases: self.aliases,
            plural: self.plural.unwrap_or_else(|| format!("{}s", self.name)),
            abbreviation: self.abbreviation.unwrap_or_else(|| self.name.clone()),
            name: self.name,
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
            touch: self.touch,
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
            .map_err(|()| format!("field `{field}.key`: `{}` is not a note name", self.key))?;
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
            from: self.from,
            to: self.to,
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
            stopping_far_from: self.stopping_far_from,
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

impl DrumSetTable {
    fn build(self) -> Result<DrumSet, Fault> {
        years("drum_sets", self.from, self.to)?;
        let drums = build_all(self.drums, DrumTable::build)?;
        Ok(DrumSet { from: self.from, to: self.to, drums })
    }
}

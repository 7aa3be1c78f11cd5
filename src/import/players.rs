//! Which instrument of the catalogue a part of a file is for, or which comes nearest.
//!
//! What files call their parts is data: `players.toml`.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use serde::Deserialize;

use super::raw::RawInstrument;
use super::score::{Part, PartLine};
use crate::instruments::{self, Instrument, MidiSound, Tuning, catalogue};
use crate::music::{Interval, Pitch};

/// An instrument for a part.
#[derive(Clone, Copy, Debug)]
pub(super) struct Proposal {
    pub(super) instrument: &'static Instrument,
    /// Is it the one that the file names?
    pub(super) exact: bool,
}

const TEXT: &str = include_str!("players.toml");

static NAMES: LazyLock<Names> = LazyLock::new(|| toml::from_str(TEXT).unwrap_or_default());

/// What files call their parts: `players.toml` describes each field.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct Names {
    usual_key: String,
    usual_keys: BTreeMap<String, String>,
    drum: String,
    below_bass: String,
    sung: Vec<String>,
    voices: Vec<FromKey>,
    bowed: Vec<FromKey>,
    singers: BTreeMap<String, Vec<String>>,
    near_singers: BTreeMap<String, Vec<String>>,
    nearest: Vec<Nearest>,
    programs: Vec<Programs>,
    drums: Vec<Drums>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct FromKey {
    from: i32,
    id: String,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Nearest {
    id: String,
    words: Vec<String>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Programs {
    id: String,
    numbers: Vec<u8>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Drums {
    id: String,
    keys: Vec<u8>,
    #[serde(default)]
    near: Vec<u8>,
}

/// The id that goes with the first limit at or below a MIDI key.
fn from_key(rows: &'static [FromKey], key: i32) -> Option<&'static str> {
    rows.iter().find(|row| key >= row.from).map(|row| row.id.as_str())
}

/// The instrument whose name elsewhere has such a word.
fn nearest(names: &[String]) -> Option<&'static str> {
    names.iter().find_map(|name| {
        let fits = |near: &&Nearest| near.words.iter().any(|word| name.contains(word.as_str()));
        NAMES.nearest.iter().find(fits).map(|near| near.id.as_str())
    })
}

/// The instrument of a line of a part.
pub(super) fn propose(part: &Part, line: &PartLine) -> Proposal {
    match line.stroke {
        Some(stroke) => drum(part, part.instruments.get(usize::from(stroke))),
        None => pitched(part, line),
    }
}

fn pitched(part: &Part, line: &PartLine) -> Proposal {
    let first = part.instruments.first();
    let names = [Some(part.name.as_str()), first.map(|i| i.name.as_str())];
    let names: Vec<String> = names.into_iter().flatten().map(plain).collect();
    if let Some(singer) = names.iter().find_map(|name| singer(name, line)) {
        return singer;
    }
    let named = names.iter().find_map(|name| named(name));
    if let Some(instrument) = named.filter(|instrument| !instrument.unpitched) {
        return Proposal { instrument, exact: true };
    }
    if let Some(id) = nearest(&names)
        && let Some(instrument) = instruments::find(id).filter(|found| !found.unpitched)
    {
        return Proposal { instrument, exact: false };
    }
    // Who has sung words and no name that is known is a singer, whatever the sound.
    if part.staves < 2
        && line.notes.iter().any(|note| note.lyrics.is_some())
        && let Some(instrument) = from_key(&NAMES.voices, lowest(line)).and_then(instruments::find)
    {
        return Proposal { instrument, exact: false };
    }
    // Programs write the first sound, a piano, where nobody chose one.
    let unnamed = names.iter().all(String::is_empty);
    let chosen = first.filter(|i| unnamed || !i.sound.is_empty() || i.program != Some(1));
    if let Some(instrument) = chosen.and_then(by_sound) {
        return Proposal { instrument, exact: unnamed };
    }
    let by_family = chosen.and_then(|i| i.program).and_then(of_program);
    let instrument = by_family.unwrap_or_else(|| by_compass(line));
    Proposal { instrument, exact: false }
}

fn drum(part: &Part, instrument: Option<&RawInstrument>) -> Proposal {
    let names = [instrument.map(|i| i.name.as_str()), Some(part.name.as_str())];
    let names: Vec<String> = names.into_iter().flatten().map(plain).collect();
    let found = names.iter().find_map(|name| named(name)).filter(|found| found.unpitched);
    if let Some(instrument) = found {
        return Proposal { instrument, exact: true };
    }
    if let Some(key) = instrument.and_then(|i| i.key)
        && let Some((id, exact)) = drum_of_key(key)
        && let Some(instrument) = instruments::find(id)
    {
        return Proposal { instrument, exact };
    }
    let near = nearest(&names).and_then(instruments::find);
    let instrument = near.filter(|found| found.unpitched);
    let instrument = instrument.or_else(|| instruments::find(&NAMES.drum));
    Proposal { instrument: instrument.unwrap_or(&catalogue()[0]), exact: false }
}

/// The instrument without pitch that a percussion key calls for, and whether it is that itself.
pub(super) fn drum_of_key(key: u8) -> Option<(&'static str, bool)> {
    let found =
        NAMES.drums.iter().find(|drum| drum.keys.contains(&key) || drum.near.contains(&key));
    found.map(|drum| (drum.id.as_str(), drum.keys.contains(&key)))
}

/// The instrument without pitch that is beaten where nothing says which.
pub(super) fn usual_drum() -> &'static str {
    &NAMES.drum
}

/// A name without numbers, keys and what stands in brackets.
fn plain(name: &str) -> String {
    let small = name.to_lowercase();
    let before = small.split(['(', '[']).next().unwrap_or_default();
    let words: Vec<&str> = before
        .split(|c: char| !(c.is_alphanumeric() || c == '\''))
        .take_while(|word| !matches!(*word, "in" | "en"))
        .filter(|word| {
            let number = matches!(
                *word,
                "" | "i" | "ii" | "iii" | "iv" | "v" | "1st" | "2nd" | "3rd" | "4th" | "solo"
            );
            !number && !word.chars().all(|c| c.is_ascii_digit())
        })
        .collect();
    words.join(" ")
}

/// The singer of a part whose name has no other words than those for singers.
fn singer(name: &str, line: &PartLine) -> Option<Proposal> {
    let words: Vec<&str> = name.split(' ').filter(|word| !word.is_empty()).collect();
    let known = |word: &&str| {
        let single = word.strip_suffix('s').unwrap_or(word);
        let called = |(_, names): &(&String, &Vec<String>)| {
            names.iter().any(|name| name == word || name == single)
        };
        let exact = NAMES.singers.iter().find(called).map(|(id, _)| (id.as_str(), true));
        exact.or_else(|| NAMES.near_singers.iter().find(called).map(|(id, _)| (id.as_str(), false)))
    };
    let sung = |word: &&str| NAMES.sung.iter().any(|name| name == word);
    if words.is_empty() || !words.iter().all(|word| known(word).is_some() || sung(word)) {
        return None;
    }
    let lowest = lowest(line);
    let deepest = NAMES.voices.last().map(|row| row.id.as_str());
    let (id, exact) = match words.iter().find_map(known) {
        // No singer goes down so far.
        Some((id, _)) if Some(id) == deepest && lowest < 36 => (NAMES.below_bass.as_str(), true),
        Some(named) => named,
        None => (from_key(&NAMES.voices, lowest)?, false),
    };
    Some(Proposal { instrument: instruments::find(id)?, exact })
}

fn lowest(line: &PartLine) -> i32 {
    line.notes.iter().flat_map(|note| &note.pitches).map(|p| p.midi()).min().unwrap_or(60)
}

/// The instrument of that name in the catalogue or elsewhere.
fn named(name: &str) -> Option<&'static Instrument> {
    if name.is_empty() {
        return None;
    }
    let of_catalogue = catalogue().iter().filter(|i| i.natural.is_none()).find(|instrument| {
        [&instrument.name, &instrument.plural].iter().any(|other| other.to_lowercase() == name)
            || instrument.id.replace('-', " ") == name
    });
    of_catalogue.or_else(|| instruments::find(&instruments::meant(name)?))
}

fn by_sound(instrument: &RawInstrument) -> Option<&'static Instrument> {
    let usual = || catalogue().iter().filter(|i| i.natural.is_none());
    if !instrument.sound.is_empty()
        && let Some(found) = usual().find(|i| i.musicxml_sound == instrument.sound)
    {
        return Some(found);
    }
    let program = instrument.program?;
    usual().find(|i| i.midi == MidiSound::Program(program))
}

/// The instrument nearest to a family of General MIDI.
fn of_program(program: u8) -> Option<&'static Instrument> {
    let found = NAMES.programs.iter().find(|family| family.numbers.contains(&program));
    found.and_then(|family| instruments::find(&family.id))
}

/// The highest bowed instrument that goes down far enough.
fn by_compass(line: &PartLine) -> &'static Instrument {
    let found = from_key(&NAMES.bowed, lowest(line)).and_then(instruments::find);
    found.unwrap_or(&catalogue()[0])
}

/// The key that an instrument must name: that of the file's transposition, or the usual one.
pub(super) fn key(instrument: &Instrument, by: Interval, known: bool) -> Option<&Tuning> {
    let needs = instrument.keys.len() > 1;
    let within = |interval: Interval| interval.semitones.rem_euclid(12);
    let same = instrument
        .keys
        .iter()
        .find(|key| key.transposition == by)
        .or_else(|| instrument.keys.iter().find(|key| within(key.transposition) == within(by)));
    let usual = || {
        let id = NAMES.usual_keys.get(&instrument.id).unwrap_or(&NAMES.usual_key);
        instrument.keys.iter().find(|key| key.name == *id).or(instrument.keys.first())
    };
    if !needs {
        return None;
    }
    same.filter(|_| known).or_else(usual)
}

/// The notes of drums with pitch, from the lowest up.
pub(super) fn drum_notes(lines: &[&PartLine]) -> Vec<Pitch> {
    let mut notes: Vec<Pitch> =
        lines.iter().flat_map(|line| &line.notes).flat_map(|note| note.pitches.clone()).collect();
    notes.sort_unstable();
    notes.dedup_by_key(|note| note.midi());
    notes
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(name: &str) -> (&'static str, bool) {
        let part = Part { name: name.to_string(), staves: 1, ..Part::default() };
        let proposal = propose(&part, &PartLine::default());
        (&proposal.instrument.id, proposal.exact)
    }

    #[test]
    fn every_id_of_the_data_is_in_the_catalogue() {
        let names: Names = toml::from_str(TEXT).expect("players.toml");
        let mut ids: Vec<&String> = vec![&names.drum, &names.below_bass];
        ids.extend(names.usual_keys.keys().chain(names.singers.keys()));
        ids.extend(names.near_singers.keys());
        ids.extend(names.voices.iter().chain(&names.bowed).map(|row| &row.id));
        ids.extend(names.nearest.iter().map(|row| &row.id));
        ids.extend(names.programs.iter().map(|row| &row.id));
        ids.extend(names.drums.iter().map(|row| &row.id));
        assert!(ids.len() > 60, "{}", ids.len());
        for id in ids {
            assert!(instruments::find(id).is_some(), "{id}");
        }
    }

    #[test]
    fn names_on_paper_find_their_instrument() {
        assert_eq!(of("Violin I"), ("violin", true));
        assert_eq!(of("Violoncello"), ("cello", true));
        assert_eq!(of("Clarinet in Bb 1"), ("clarinet", true));
        assert_eq!(of("Horn in F"), ("horn", true));
        assert_eq!(of("2nd Oboe"), ("oboe", true));
        assert_eq!(of("Contrabass"), ("double-bass", true));
        assert_eq!(of("Double Bass"), ("double-bass", true));
    }

    #[test]
    fn what_is_not_in_the_catalogue_has_a_neighbour() {
        assert_eq!(of("Dulcian"), ("bassoon", false));
        assert_eq!(of("Violone"), ("double-bass", false));
        assert_eq!(of("Cantus"), ("soprano", false));
        assert_eq!(of("Choir"), ("soprano", false));
        assert_eq!(of("Quinto"), ("soprano", false));
        assert_eq!(of(""), ("violin", false));
    }

    #[test]
    fn who_sings_is_told_from_who_plays() {
        assert_eq!(of("Soprano"), ("soprano", true));
        assert_eq!(of("Bass"), ("bass-voice", true));
        assert_eq!(of("Alto Saxophone"), ("alto-saxophone", true));
        assert_eq!(of("Tenor recorder"), ("tenor-recorder", true));
        assert_eq!(of("Piano"), ("piano", true));
    }
}

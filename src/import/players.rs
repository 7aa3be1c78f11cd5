//! Which instrument of the catalogue a part of a file is for, or which comes nearest.

use super::raw::RawInstrument;
use super::score::{Line, Part};
use crate::instruments::{self, Instrument, MidiSound, Tuning, catalogue};
use crate::music::{Interval, Pitch};

/// An instrument for a part.
#[derive(Clone, Copy, Debug)]
pub(super) struct Proposal {
    pub(super) instrument: &'static Instrument,
    /// Is it the one that the file names?
    pub(super) exact: bool,
}

/// Names of singers (common practice). What they sing is set on strings.
const SINGERS: [&str; 24] = [
    "soprano",
    "alto",
    "tenor",
    "bass",
    "baritone",
    "mezzo-soprano",
    "mezzo",
    "contralto",
    "treble",
    "voice",
    "vocal",
    "choir",
    "chorus",
    "sopran",
    "tenore",
    "basso",
    "canto",
    "cantus",
    "superius",
    "altus",
    "bassus",
    "discantus",
    "singstimme",
    "gesang",
];

/// What is not in the catalogue and what comes nearest to it (our heuristic): by sound and compass.
const NEAREST: [(&str, &str); 38] = [
    ("piano", "harpsichord"),
    ("organ", "harpsichord"),
    ("keyboard", "harpsichord"),
    ("celesta", "glockenspiel"),
    ("vibraphone", "glockenspiel"),
    ("xylophone", "glockenspiel"),
    ("marimba", "glockenspiel"),
    ("chimes", "glockenspiel"),
    ("guitar", "harp"),
    ("lute", "harp"),
    ("theorbo", "harp"),
    ("mandolin", "violin"),
    ("banjo", "harp"),
    ("recorder", "flute"),
    ("whistle", "flute"),
    ("pipe", "flute"),
    ("fife", "piccolo"),
    ("sax", "clarinet"),
    ("basset", "clarinet"),
    ("cornett", "oboe"),
    ("cornet", "trumpet"),
    ("flugel", "trumpet"),
    ("bugle", "trumpet"),
    ("sackbut", "tenor-trombone"),
    ("euphonium", "tuba"),
    ("ophicleide", "tuba"),
    ("serpent", "bassoon"),
    ("dulcian", "bassoon"),
    ("viola da gamba", "cello"),
    ("gamba", "cello"),
    ("viol", "viola"),
    ("accordion", "oboe"),
    ("harmonica", "oboe"),
    ("drum", "side-drum"),
    ("bell", "glockenspiel"),
    ("gong", "tam-tam"),
    ("wood", "side-drum"),
    ("percussion", "side-drum"),
];

/// General MIDI percussion keys and the instruments that play them, or come nearest.
const DRUMS: [(u8, u8, &str, bool); 16] = [
    (35, 36, "bass-drum", true),
    (37, 37, "side-drum", false),
    (38, 38, "side-drum", true),
    (39, 39, "side-drum", false),
    (40, 40, "side-drum", true),
    (41, 41, "bass-drum", false),
    (42, 42, "cymbals", false),
    (43, 43, "bass-drum", false),
    (44, 44, "cymbals", false),
    (45, 45, "bass-drum", false),
    (46, 46, "cymbals", false),
    (49, 49, "cymbals", true),
    (52, 53, "cymbals", false),
    (54, 54, "tambourine", true),
    (57, 59, "cymbals", true),
    (80, 81, "triangle", true),
];

/// The instrument of a line of a part.
pub(super) fn propose(part: &Part, line: &Line) -> Proposal {
    match line.stroke {
        Some(stroke) => drum(part, part.instruments.get(usize::from(stroke))),
        None => pitched(part, line),
    }
}

fn pitched(part: &Part, line: &Line) -> Proposal {
    let first = part.instruments.first();
    let names = [Some(part.name.as_str()), first.map(|i| i.name.as_str())];
    let names: Vec<String> = names.into_iter().flatten().map(plain).collect();
    if names.iter().any(|name| sings(name)) {
        return Proposal { instrument: by_compass(line), exact: false };
    }
    let named = names.iter().find_map(|name| named(name));
    if let Some(instrument) = named.filter(|instrument| !instrument.unpitched) {
        return Proposal { instrument, exact: true };
    }
    let near = |name: &String| NEAREST.iter().find(|(word, _)| name.contains(word));
    if let Some((_, id)) = names.iter().find_map(near)
        && let Some(instrument) = instruments::find(id).filter(|found| !found.unpitched)
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
    let near = |name: &String| NEAREST.iter().find(|(word, _)| name.contains(word));
    let id = names.iter().find_map(near).map_or("side-drum", |(_, id)| *id);
    let instrument = instruments::find(id).filter(|found| found.unpitched);
    let instrument = instrument.or_else(|| instruments::find("side-drum"));
    Proposal { instrument: instrument.unwrap_or(&catalogue()[0]), exact: false }
}

/// The instrument without pitch that a percussion key calls for, and whether it is that itself.
pub(super) fn drum_of_key(key: u8) -> Option<(&'static str, bool)> {
    let found = DRUMS.iter().find(|(from, to, ..)| (*from..=*to).contains(&key));
    found.map(|(_, _, id, exact)| (*id, *exact))
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

fn sings(name: &str) -> bool {
    name.split(' ').any(|word| {
        SINGERS.iter().any(|singer| word == *singer || word.strip_suffix('s') == Some(*singer))
    }) && !["trombone", "clarinet", "drum", "clef", "sax", "flute", "recorder", "oboe"]
        .iter()
        .any(|other| name.contains(other))
        && !["double bass", "string bass"].contains(&name)
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

/// The instrument nearest to a family of General MIDI (our heuristic).
fn of_program(program: u8) -> Option<&'static Instrument> {
    instruments::find(match program {
        1..=8 | 17..=24 => "harpsichord",
        9..=16 => "glockenspiel",
        25..=32 => "harp",
        33..=40 => "double-bass",
        57 | 60 => "trumpet",
        58 => "tenor-trombone",
        59 => "tuba",
        61..=64 => "horn",
        65..=68 | 72 => "clarinet",
        73..=80 => "flute",
        _ => return None,
    })
}

/// The highest bowed instrument that goes down far enough (our heuristic).
fn by_compass(line: &Line) -> &'static Instrument {
    let lowest = line.notes.iter().flat_map(|note| &note.pitches).map(|p| p.midi()).min();
    let id = match lowest.unwrap_or(60) {
        55.. => "violin",
        48.. => "viola",
        36.. => "cello",
        _ => "double-bass",
    };
    instruments::find(id).unwrap_or(&catalogue()[0])
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
        let id = if instrument.id == "horn" { "F" } else { "Bb" };
        instrument.keys.iter().find(|key| key.name == id).or(instrument.keys.first())
    };
    if !needs {
        return None;
    }
    same.filter(|_| known).or_else(usual)
}

/// The notes of drums with pitch, from the lowest up.
pub(super) fn drum_notes(lines: &[&Line]) -> Vec<Pitch> {
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
        let proposal = propose(&part, &Line::default());
        (&proposal.instrument.id, proposal.exact)
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
        assert_eq!(of("Soprano"), ("violin", false));
        assert_eq!(of("Piano"), ("harpsichord", false));
        assert_eq!(of("Alto Saxophone"), ("clarinet", false));
        assert_eq!(of("Tenor recorder"), ("flute", false));
        assert_eq!(of(""), ("violin", false));
    }
}

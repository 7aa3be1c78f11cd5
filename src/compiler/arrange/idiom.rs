//! Which techniques an instrument has.

use super::{Notes, PackedNote};
use crate::instruments::{Family, Instrument, Loudness};
use crate::music::{Time, Touch};
use crate::resolve::{Direction, DirectionKind, Mark, Technique};

/// Can the instrument be plucked or bowed, muted, and the like? Bows are for bowed strings; mutes
/// for strings, brass and drums (common practice).
#[must_use]
pub fn has_technique(instrument: &Instrument, technique: Technique) -> bool {
    match technique {
        Technique::Pizzicato | Technique::Arco => bowed(instrument),
        Technique::Muted | Technique::Unmuted => {
            matches!(instrument.family, Family::Strings | Family::Brass | Family::Percussion)
        }
    }
}

/// Words of playing on strings, without their full stops. (Common practice.)
const ON_STRINGS: [&str; 27] = [
    "sul g",
    "sul d",
    "sul a",
    "sul e",
    "sul c",
    "sul pont",
    "sul ponticello",
    "sul tasto",
    "sulla tastiera",
    "am steg",
    "am griffbrett",
    "près du chevalet",
    "sur la touche",
    "on the bridge",
    "near the bridge",
    "over the fingerboard",
    "on the fingerboard",
    "flautando",
    "punta d'arco",
    "alla punta",
    "al tallone",
    "jeté",
    "spiccato",
    "saltando",
    "col legno",
    "col legno battuto",
    "col legno tratto",
];

/// Words with which all of these end. (Common practice.)
const AS_USUAL: [&str; 7] =
    ["ord", "ordinario", "modo ord", "modo ordinario", "pos ord", "nat", "naturale"];

/// Words before these that say how much, or for how long. (Common practice.)
const MORE_OR_LESS: [&str; 5] = ["poco ", "molto ", "sempre ", "ancora ", "quasi "];

/// Leaves out words of a voice, which many may play, about strings that the instrument does not have, and the words
/// with which they end. What says something else besides stays.
pub(super) fn leave_out_words<'a>(
    directions: &mut Vec<Direction>,
    instrument_at: impl Fn(Time) -> &'a Instrument,
) {
    let mut left_out = false;
    directions.retain(|said| {
        let DirectionKind::Words(words) = &said.kind else { return true };
        // Lutes and guitars are plucked at the bridge or over the fingerboard too.
        let instrument = instrument_at(said.at);
        if bowed(instrument) || instrument.family == Family::Plucked {
            left_out = false;
            return true;
        }
        let words = words.to_lowercase().replace('.', "").replace('’', "'");
        let words = words.trim();
        let much = MORE_OR_LESS.iter().find_map(|much| words.strip_prefix(much));
        if ON_STRINGS.contains(&much.unwrap_or(words)) {
            left_out = true;
            return false;
        }
        !(AS_USUAL.contains(&words) && std::mem::take(&mut left_out))
    });
}

/// Does a mark mean anything on the instrument? Bows go up and down on bowed strings, the hand
/// stops horns, harmonics are those of strings and harp, and only who sounds several notes at once
/// can spread a chord (common practice).
#[must_use]
pub fn has_mark(instrument: &Instrument, mark: Mark) -> bool {
    match mark {
        Mark::UpBow | Mark::DownBow => bowed(instrument),
        Mark::Stopped => instrument.loudness == Loudness::Horn,
        Mark::Open => bowed(instrument) || instrument.family == Family::Brass,
        Mark::Harmonic => bowed(instrument) || instrument.family == Family::Harp,
        Mark::Arpeggio => instrument.voices > 1,
        _ => true,
    }
}

/// Can a string of the instrument be stopped and touched at once, for an artificial harmonic? Those of
/// a bowed one can; the harp has natural ones (common practice).
#[must_use]
pub fn has_artificial_harmonics(instrument: &Instrument) -> bool {
    bowed(instrument)
}

/// Leaves out the marks of a voice, which many may play, that mean nothing on the instrument.
pub(super) fn leave_out(notes: &mut Notes, instrument: &Instrument) {
    let means_nothing = |mark: &Mark| !has_mark(instrument, *mark);
    let untouched = |touch: Option<Touch>| touch.is_some() && !has_artificial_harmonics(instrument);
    let nothing = |note: &PackedNote| {
        let attached = note.attached();
        attached.marks.iter().any(|mark| means_nothing(&mark)) || untouched(attached.touch)
    };
    let Some(first) = notes.iter().position(nothing) else { return };
    for note in notes[first..].iter_mut().filter(|note| nothing(note)) {
        note.change(|note| {
            if untouched(note.attached.touch) {
                note.attached.touch = None;
                note.attached.marks.remove(Mark::Harmonic);
            }
            while let Some(mark) = note.attached.marks.iter().find(means_nothing) {
                note.attached.marks.remove(mark);
            }
        });
    }
}

fn bowed(instrument: &Instrument) -> bool {
    !instrument.open_strings.is_empty()
}

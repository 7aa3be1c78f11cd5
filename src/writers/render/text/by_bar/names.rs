//! What things are called, for those who have a text read to them.

use crate::music::Pitch;
use crate::notate::NoteValue;
use crate::render::text::words;
use crate::resolve::{Dynamic, Mark};

/// Signs of accidentals as words, for those who have a text read to them.
pub(super) fn spoken(text: &str) -> String {
    text.replace("♯♯", " double sharp")
        .replace("♭♭", " double flat")
        .replace('♯', " sharp")
        .replace('♭', " flat")
}

/// "F sharp 4", "G4".
pub(super) fn pitch_name(pitch: Pitch) -> String {
    let between = if pitch.alter == 0 { "" } else { " " };
    format!("{}{between}{}", spoken(&words::name(pitch.name(), false)), pitch.octave)
}

/// "dotted quarter".
pub(super) fn value_name(value: NoteValue) -> String {
    let dots = ["", "dotted ", "double-dotted ", "triple-dotted "];
    format!("{}{}", dots[usize::from(value.dots.min(3))], part_name(value.log2))
}

/// The name of a part of a whole note.
pub(super) fn part_name(log2: i8) -> String {
    const NAMES: [&str; 6] = ["breve", "whole", "half", "quarter", "eighth", "sixteenth"];
    match usize::try_from(log2 + 1) {
        Ok(index) if index < NAMES.len() => NAMES[index].to_owned(),
        _ if log2 > 4 => {
            let part = 1_u32 << log2.unsigned_abs().min(20);
            let ending = if part % 10 == 2 && part % 100 != 12 { "nd" } else { "th" };
            format!("{part}{ending}")
        }
        _ => "long".to_owned(),
    }
}

pub(super) fn dynamic_name(dynamic: Dynamic) -> &'static str {
    match dynamic {
        Dynamic::Ppp => "pianississimo",
        Dynamic::Pp => "pianissimo",
        Dynamic::P => "piano",
        Dynamic::Mp => "mezzo piano",
        Dynamic::Mf => "mezzo forte",
        Dynamic::F => "forte",
        Dynamic::Ff => "fortissimo",
        Dynamic::Fff => "fortississimo",
        Dynamic::Fp => "forte-piano",
        Dynamic::Sf | Dynamic::Sfz => "sforzato",
    }
}

/// The name of a mark as a musician says it.
pub(super) fn mark_name(mark: Mark) -> &'static str {
    match mark {
        Mark::Staccato => "staccato",
        Mark::Staccatissimo => "staccatissimo",
        Mark::Tenuto => "tenuto",
        Mark::Accent => "accent",
        Mark::Marcato => "marcato",
        Mark::Fermata => "fermata",
        Mark::Trill => "trill",
        Mark::Mordent => "mordent",
        Mark::Turn => "turn",
        Mark::UpBow => "up-bow",
        Mark::DownBow => "down-bow",
        Mark::Harmonic => "harmonic",
        Mark::Stopped => "stopped",
        Mark::Open => "open",
        Mark::Breath => "breath after it",
        Mark::Arpeggio => "spread upwards",
    }
}

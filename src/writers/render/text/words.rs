//! Music in words and short signs.

use crate::music::{Interval, Key, Letter, Pitch, PitchName, Time};
use crate::notate::{Head, NoteValue, PairedTremolo, StaffNote};
use crate::resolve::{Mark, Tempo};

/// Signs under the notes, with what they mean.
pub(super) const SIGNS: [(Mark, &str, &str); 16] = [
    (Mark::Staccato, ".", "short"),
    (Mark::Staccatissimo, "'", "very short"),
    (Mark::Tenuto, "-", "held for its whole value"),
    (Mark::Accent, ">", "accent"),
    (Mark::Marcato, "^", "strong accent"),
    (Mark::Fermata, "ferm.", "fermata"),
    (Mark::Trill, "tr", "trill"),
    (Mark::Mordent, "mord.", "mordent"),
    (Mark::Turn, "turn", "turn"),
    (Mark::UpBow, "∨", "up-bow"),
    (Mark::DownBow, "⊓", "down-bow"),
    (Mark::Harmonic, "°", "harmonic"),
    (Mark::Stopped, "+", "stopped"),
    (Mark::Open, "o", "open"),
    (Mark::Breath, ",", "breath after the note"),
    (Mark::Arpeggio, "arp.", "spread upwards"),
];

/// The sign before the note at which the string of an artificial harmonic is touched.
pub(super) const TOUCHED: &str = "◇";

/// The names of a note's heads from the lowest up; a cross for a stroke without pitch.
pub(super) fn pitches(
    note: &StaffNote,
    natural_shown: impl Fn(&Head) -> bool,
    octave: &mut Option<i8>,
) -> String {
    if note.heads.is_empty() {
        return "×".to_string();
    }
    let name = |(index, head): (usize, &Head)| {
        let touched = if note.is_touched(index) { TOUCHED } else { "" };
        format!("{touched}{}", pitch(head.pitch, natural_shown(head), octave))
    };
    let names: Vec<String> = note.heads.iter().enumerate().map(name).collect();
    names.join("&")
}

/// A chord symbol with the signs of print: "B♭m7/D♭".
pub(super) fn chord(chord: Option<crate::music::Chord>) -> String {
    chord.map_or_else(
        || crate::edition::NO_CHORD.to_string(),
        |chord| chord.to_string().replace('#', "♯").replace('b', "♭"),
    )
}

/// Figures under a bass: "6/5", "7/♯".
pub(super) fn figures(figures: &[crate::music::Figure]) -> String {
    figures.iter().map(ToString::to_string).collect::<Vec<_>>().join("/")
}

/// The signs of a note, strokes of a tremolo last, with `~` where it goes to and fro with the next
/// note. Words stand apart, single signs together.
pub(super) fn signs(note: &StaffNote) -> String {
    let mut text = String::new();
    let mut after_word = false;
    let strokes = match note.paired {
        Some(PairedTremolo { starts, strokes }) => {
            "/".repeat(usize::from(strokes)) + if starts { "~" } else { "" }
        }
        None => "/".repeat(usize::from(note.tremolo)),
    };
    let signs = SIGNS.iter().filter(|(mark, ..)| note.marks.has(*mark)).map(|(_, sign, _)| *sign);
    for sign in signs.chain((!strokes.is_empty()).then_some(strokes.as_str())) {
        let word = sign.chars().count() > 1;
        if !text.is_empty() && (word || after_word) {
            text.push(' ');
        }
        text.push_str(sign);
        after_word = word;
    }
    text
}

/// A value as a source writes it: "1/4" a quarter, "1/8." a dotted eighth, "2/1" a breve.
pub(super) fn value(value: NoteValue) -> String {
    let part = match value.log2 {
        log2 @ 0..=20 => format!("1/{}", 1_u32 << log2),
        log2 => format!("{}/1", 1_u32 << log2.unsigned_abs().min(20)),
    };
    part + &".".repeat(usize::from(value.dots))
}

/// A name with its accidental: "F♯", "B♭"; "F♮" where a natural sign is asked for.
pub(super) fn name(name: PitchName, natural_shown: bool) -> String {
    let accidental = match name.alter {
        0 if natural_shown => "♮",
        0 => "",
        1 => "♯",
        2 => "♯♯",
        -1 => "♭",
        -2 => "♭♭",
        _ => "?",
    };
    format!("{}{accidental}", name.letter.as_char())
}

/// A pitch with its octave, where it differs from the one before.
pub(super) fn pitch(pitch: Pitch, natural_shown: bool, octave: &mut Option<i8>) -> String {
    let mut text = name(pitch.name(), natural_shown);
    if octave.replace(pitch.octave) != Some(pitch.octave) {
        text.push_str(&pitch.octave.to_string());
    }
    text
}

const NUMBERS: [&str; 8] = ["no", "one", "two", "three", "four", "five", "six", "seven"];

/// "D minor, one flat (B♭)".
pub(super) fn key(key: Key) -> String {
    let fifths = key.fifths();
    let count = NUMBERS[fifths.unsigned_abs().min(7) as usize];
    let letters = [Letter::F, Letter::C, Letter::G, Letter::D, Letter::A, Letter::E, Letter::B];
    let altered = |letter: &Letter| {
        let alter = key.alter(*letter);
        (alter != 0).then(|| name(PitchName::new(*letter, alter), false))
    };
    let names: Vec<String> = if fifths < 0 {
        letters.iter().rev().filter_map(altered).collect()
    } else {
        letters.iter().filter_map(altered).collect()
    };
    let what = if fifths < 0 { "flat" } else { "sharp" };
    let tonic = format!("{} {}", name(key.tonic, false), key.mode);
    match fifths.abs() {
        0 => format!("{tonic}, no sharps or flats"),
        1 => format!("{tonic}, one {what} ({})", names.join(" ")),
        _ => format!("{tonic}, {count} {what}s ({})", names.join(" ")),
    }
}

/// "sounds a minor seventh lower than written", for the way from written to sounding pitch.
pub(super) fn transposition(interval: Interval) -> String {
    if interval == Interval::UNISON {
        return "sounds as written".to_string();
    }
    let down = interval.steps < 0 || (interval.steps == 0 && interval.semitones < 0);
    let interval = interval.to_string();
    let article = match interval.chars().next() {
        Some('a' | 'e' | 'i' | 'o' | 'u') => "an ",
        _ if interval.ends_with("octaves") => "",
        _ => "a ",
    };
    format!("sounds {article}{interval} {} than written", if down { "lower" } else { "higher" })
}

/// "Con moto (quarter = 96)".
pub(super) fn tempo(tempo: &Tempo) -> String {
    let mark = tempo.beat.map(|(value, per_minute)| format!("{} = {per_minute}", counted(value)));
    match (&tempo.words, mark) {
        (Some(words), Some(mark)) => format!("{words} ({mark})"),
        (Some(words), None) => words.clone(),
        (None, mark) => mark.unwrap_or_default(),
    }
}

/// A value in words, as one counts it.
fn counted(value: Time) -> String {
    let plain = [(1, "whole"), (2, "half"), (4, "quarter"), (8, "eighth"), (16, "sixteenth")];
    match value.fraction() {
        (1, part) => plain.iter().find(|(p, _)| *p == part).map(|(_, word)| (*word).to_string()),
        (3, part) => {
            plain.iter().find(|(p, _)| *p * 2 == part).map(|(_, word)| format!("dotted {word}"))
        }
        _ => None,
    }
    .unwrap_or_else(|| value.to_string())
}

/// "a 3" of a tuplet: the number alone where the other is understood.
pub(super) fn ratio(actual: u8, normal: u8) -> String {
    match (actual, normal) {
        (3, 2) | (5..=7, 4) => actual.to_string(),
        _ => format!("{actual}:{normal}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::music::Mode;

    #[test]
    fn keys_and_transpositions_are_said_in_words() {
        let d_minor = Key::new("D".parse().unwrap(), Mode::Minor).unwrap();
        assert_eq!(key(d_minor), "D minor, one flat (B♭)");
        let e_major = Key::new("E".parse().unwrap(), Mode::Major).unwrap();
        assert_eq!(key(e_major), "E major, four sharps (F♯ C♯ G♯ D♯)");
        let lower = Interval::new(-6, -10);
        assert_eq!(transposition(lower), "sounds a minor seventh lower than written");
        assert_eq!(transposition(Interval::octaves(-1)), "sounds an octave lower than written");
        assert_eq!(transposition(Interval::octaves(2)), "sounds two octaves higher than written");
    }

    #[test]
    fn single_signs_stand_together_and_words_apart() {
        let mut note = StaffNote::default();
        note.marks.insert(Mark::Accent);
        note.marks.insert(Mark::Staccato);
        assert_eq!(signs(&note), ".>");
        note.marks.insert(Mark::Trill);
        note.tremolo = 3;
        assert_eq!(signs(&note), ".> tr ///");
        note.tremolo = 0;
        note.paired = Some(PairedTremolo { starts: true, strokes: 2 });
        assert_eq!(signs(&note), ".> tr //~");
        note.paired = Some(PairedTremolo { starts: false, strokes: 2 });
        assert_eq!(signs(&note), ".> tr //");
    }
}

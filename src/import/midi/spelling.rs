//! Spells keys of a keyboard as notes of a scale.
//!
//! The method is the first stage of ps13 (David Meredith, "The ps13 pitch spelling algorithm",
//! Journal of New Music Research 35, 2006; from memory): around each note the tones are counted;
//! each tone, taken as a tonic, says by which letter the note would go, and the letter with most
//! tones behind it is chosen.

use crate::music::{Letter, Pitch, PitchName};
use crate::narrow::Narrow;

/// How many notes before a note, and from it on, are counted.
const BEFORE: usize = 10;
const FROM: usize = 42;

/// Letters above A for the tones above A, for the first note.
const FIRST: [i32; 12] = [0, 1, 1, 2, 2, 3, 4, 4, 5, 5, 6, 6];
/// Steps above a tonic for the tones above it.
const STEPS: [i32; 12] = [0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6];
/// Letters counted from A.
const LETTERS: [Letter; 7] =
    [Letter::A, Letter::B, Letter::C, Letter::D, Letter::E, Letter::F, Letter::G];

/// Spells keys, in order of their beginnings and, of those together, from the lowest up. `fifths`
/// is the signature of the key, which decides between sharps and flats for the whole.
pub(super) fn spell(keys: &[u8], fifths: i32) -> Vec<Pitch> {
    let tones: Vec<usize> = keys.iter().map(|key| tone(*key)).collect();
    let Some(first) = tones.first() else { return Vec::new() };
    let letter_of_first = FIRST[*first];
    let tonics: [i32; 12] = std::array::from_fn(|tonic| {
        (letter_of_first - STEPS[(12 + first - tonic) % 12]).rem_euclid(7)
    });
    let mut counts = [0u32; 12];
    let mut counted = 0..0;
    let mut names: Vec<(u8, Letter)> = Vec::with_capacity(keys.len());
    for index in 0..tones.len() {
        let window = index.saturating_sub(BEFORE)..(index + FROM).min(tones.len());
        (counted.end..window.end).for_each(|i| counts[tones[i]] += 1);
        (counted.start..window.start).for_each(|i| counts[tones[i]] -= 1);
        counted = window;
        let mut strengths = [0u32; 7];
        for (tonic, letter) in tonics.iter().enumerate() {
            let steps = STEPS[(12 + tones[index] - tonic) % 12];
            strengths[(letter + steps).rem_euclid(7) as usize] += counts[tonic];
        }
        let best = (0..7).rev().max_by_key(|letter| strengths[*letter]).unwrap_or(0);
        names.push((keys[index], LETTERS[best]));
    }
    // All notes together may lie a diminished second off.
    let places: Vec<i32> = names.iter().map(|(key, letter)| place(*key, *letter)).collect();
    let mean = places.iter().map(|p| i64::from(*p)).sum::<i64>() as f64 / places.len() as f64;
    // The notes of a key lie about two fifths above its signature.
    let off = mean - f64::from(fifths) - 2.0;
    let shift = (off / 12.0).round().narrow::<i32>() * 12;
    keys.iter()
        .zip(places)
        .map(|(key, place)| {
            // The octaves that are written begin with C0.
            PitchName::from_fifths(place - shift)
                .map(|name| at(name, *key))
                .filter(|pitch| (0..=9).contains(&pitch.octave))
                .unwrap_or_else(|| Pitch::from_midi(i32::from(*key)))
        })
        .collect()
}

/// Semitones above A.
fn tone(key: u8) -> usize {
    usize::from((key + 3) % 12)
}

/// Place on the line of fifths of a key that goes by a letter.
fn place(key: u8, letter: Letter) -> i32 {
    let natural = PitchName::new(letter, 0);
    let alter = (i32::from(key) - natural.class() + 6).rem_euclid(12) - 6;
    natural.fifths() + 7 * alter
}

/// The pitch of a name that a key sounds.
fn at(name: PitchName, key: u8) -> Pitch {
    let octave =
        (i32::from(key) - i32::from(name.alter) - name.letter.semitones()).div_euclid(12) - 1;
    name.at(i8::try_from(octave).unwrap_or(4))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spelled(keys: &[u8], fifths: i32) -> String {
        let pitches = spell(keys, fifths);
        assert!(pitches.iter().zip(keys).all(|(pitch, key)| pitch.midi() == i32::from(*key)));
        pitches.iter().map(ToString::to_string).collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn a_scale_is_spelled_by_its_key() {
        let e_major = [64, 66, 68, 69, 71, 73, 75, 76, 75, 73, 71, 69, 68, 66, 64];
        assert_eq!(spelled(&e_major, 4), "E4 F#4 G#4 A4 B4 C#5 D#5 E5 D#5 C#5 B4 A4 G#4 F#4 E4");
        let e_flat_major: Vec<u8> = e_major.iter().map(|key| key - 1).collect();
        assert_eq!(
            spelled(&e_flat_major, -3),
            "Eb4 F4 G4 Ab4 Bb4 C5 D5 Eb5 D5 C5 Bb4 Ab4 G4 F4 Eb4"
        );
    }

    #[test]
    fn the_leading_note_of_minor_is_raised() {
        let d_minor = [62, 65, 69, 74, 73, 74, 70, 69, 67, 65, 64, 62, 61, 62];
        assert_eq!(spelled(&d_minor, -1), "D4 F4 A4 D5 C#5 D5 Bb4 A4 G4 F4 E4 D4 C#4 D4");
    }

    #[test]
    fn sharps_or_flats_go_by_the_signature() {
        let scale = [66, 68, 70, 71, 73, 75, 77, 78];
        assert_eq!(spelled(&scale, 6), "F#4 G#4 A#4 B4 C#5 D#5 E#5 F#5");
        assert_eq!(spelled(&scale, -6), "Gb4 Ab4 Bb4 Cb5 Db5 Eb5 F5 Gb5");
    }
}

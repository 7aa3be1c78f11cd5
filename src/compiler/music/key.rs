//! Keys.

use std::fmt;

use super::{Interval, Letter, PitchName};
use crate::narrow::Narrow;

/// Major or minor.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Mode {
    /// Major.
    Major,
    /// Minor (the signature is that of the natural minor scale).
    Minor,
}

/// A key: a tonic and a mode.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct Key {
    /// The tonic.
    pub tonic: PitchName,
    /// Major or minor.
    pub mode: Mode,
}

impl Key {
    /// A key whose signature has at most seven sharps or flats; `None` for the others (G# major).
    #[must_use]
    pub fn new(tonic: PitchName, mode: Mode) -> Option<Key> {
        let key = Key { tonic, mode };
        (-7..=7).contains(&key.fifths()).then_some(key)
    }

    /// C major, the key of a part without a signature.
    pub const C_MAJOR: Key =
        Key { tonic: PitchName { letter: Letter::C, alter: 0 }, mode: Mode::Major };

    /// Sharps (positive) or flats (negative) of the signature.
    #[must_use]
    pub fn fifths(self) -> i32 {
        self.tonic.fifths()
            - match self.mode {
                Mode::Major => 0,
                Mode::Minor => 3,
            }
    }

    /// Alteration that the signature gives to a letter, in semitones.
    #[must_use]
    pub fn alter(self, letter: Letter) -> i8 {
        let place = PitchName::new(letter, 0).fifths();
        // The signature holds the letters from F (-1) up to B (5) moved along the line of fifths.
        (self.fifths() - place + 5).div_euclid(7).narrow::<i8>()
    }

    /// The key moved by an interval, brought back by an enharmonic change where the signature
    /// would need more than seven accidentals.
    #[must_use]
    pub fn transposed(self, by: Interval) -> Key {
        let moved = self.tonic.transposed(by).and_then(|tonic| Key::new(tonic, self.mode));
        moved.unwrap_or_else(|| {
            // The move along the line of fifths that these steps and semitones make.
            let fifths = self.fifths() + 7 * by.semitones - 12 * by.steps;
            let fifths = (fifths + 5).rem_euclid(12) - 5;
            let offset = self.tonic.fifths() - self.fifths();
            let tonic = PitchName::from_fifths(fifths + offset).unwrap_or(self.tonic);
            Key { tonic, mode: self.mode }
        })
    }

    /// Pitch class of a degree of the scale counted from 1; in minor the sixth and seventh degrees
    /// are those of the natural scale.
    #[must_use]
    pub fn degree(self, degree: i32) -> PitchName {
        let letter = Letter::from_step(self.tonic.letter.step() + degree - 1);
        PitchName::new(letter, self.alter(letter))
    }

    /// The spelling that lies nearest to the key for a pitch class (0 to 11): of the twelve in a row
    /// on the line of fifths from the lowered second degree on (in minor with the raised sixth,
    /// seventh and fourth).
    #[must_use]
    pub fn spelling(self, class: i32) -> PitchName {
        let lowest = match self.mode {
            Mode::Major => self.fifths() - 5,
            Mode::Minor => self.fifths() - 3,
        };
        // Seven fifths are a semitone, and seven is its own inverse modulo twelve.
        let fifths = lowest + (7 * class - lowest).rem_euclid(12);
        PitchName::from_fifths(fifths).unwrap_or(self.tonic)
    }

    /// The leading note: a semitone below the tonic, in either mode.
    #[must_use]
    pub fn leading_note(self) -> PitchName {
        self.tonic.transposed(Interval::new(-1, -1)).unwrap_or_else(|| self.degree(7))
    }
}

impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.tonic, self.mode)
    }
}

impl fmt::Display for Mode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Mode::Major => "major",
            Mode::Minor => "minor",
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn key(tonic: &str, mode: Mode) -> Key {
        Key::new(tonic.parse().unwrap(), mode).unwrap()
    }

    #[test]
    fn signatures_follow_the_circle_of_fifths() {
        assert_eq!(key("D", Mode::Minor).fifths(), -1);
        assert_eq!(key("Eb", Mode::Major).fifths(), -3);
        assert_eq!(key("C#", Mode::Minor).fifths(), 4);
        assert!(Key::new("G#".parse().unwrap(), Mode::Major).is_none());
    }

    #[test]
    fn a_signature_alters_the_letters_it_names() {
        let d_minor = key("D", Mode::Minor);
        assert_eq!(d_minor.alter(Letter::B), -1);
        assert_eq!(d_minor.alter(Letter::E), 0);
        let c_sharp_major = key("C#", Mode::Major);
        assert!(Letter::ALL.iter().all(|&letter| c_sharp_major.alter(letter) == 1));
        let c_flat_major = key("Cb", Mode::Major);
        assert!(Letter::ALL.iter().all(|&letter| c_flat_major.alter(letter) == -1));
        assert!(Letter::ALL.iter().all(|&letter| Key::C_MAJOR.alter(letter) == 0));
    }

    #[test]
    fn a_key_beyond_seven_accidentals_is_changed_enharmonically() {
        let whole_tone_up = Interval::new(1, 2);
        assert_eq!(key("F#", Mode::Major).transposed(whole_tone_up).to_string(), "Ab major");
        assert_eq!(key("D", Mode::Minor).transposed(whole_tone_up).to_string(), "E minor");
        assert_eq!(key("D#", Mode::Minor).transposed(whole_tone_up).to_string(), "F minor");
    }

    #[test]
    fn every_class_has_a_spelling_near_the_key() {
        let spelled = |key: Key| -> Vec<String> {
            (0..12).map(|class| key.spelling(class).to_string()).collect()
        };
        assert_eq!(
            spelled(Key::C_MAJOR),
            ["C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"]
        );
        assert_eq!(
            spelled(key("C#", Mode::Minor)),
            ["B#", "C#", "D", "D#", "E", "E#", "F#", "G", "G#", "A", "A#", "B"]
        );
    }

    #[test]
    fn the_leading_note_is_raised_in_minor() {
        assert_eq!(key("D", Mode::Minor).leading_note().to_string(), "C#");
        assert_eq!(key("D", Mode::Minor).degree(7).to_string(), "C");
    }
}

//! Intervals as diatonic steps and semitones together.

use std::fmt;
use std::ops::{Add, Neg};

use super::Pitch;

/// The way from one pitch to another: diatonic steps and semitones, both negative downwards.
///
/// A minor third up is (2, 3), an augmented second up (1, 3): alike on a keyboard, different on
/// paper.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default, serde::Serialize)]
pub struct Interval {
    /// Diatonic steps: 0 for a unison, 7 for an octave.
    pub steps: i32,
    /// Semitones.
    pub semitones: i32,
}

impl Interval {
    /// The perfect unison.
    pub const UNISON: Interval = Interval::new(0, 0);
    /// The octave upwards.
    pub const OCTAVE: Interval = Interval::new(7, 12);

    /// An interval of its two measures.
    #[must_use]
    pub const fn new(steps: i32, semitones: i32) -> Interval {
        Interval { steps, semitones }
    }

    /// The interval from one pitch to another.
    #[must_use]
    pub const fn between(from: Pitch, to: Pitch) -> Interval {
        Interval::new(to.step() - from.step(), to.midi() - from.midi())
    }

    /// `count` octaves, upwards if positive.
    #[must_use]
    pub const fn octaves(count: i32) -> Interval {
        Interval::new(7 * count, 12 * count)
    }

    /// Octaves contained whole in the interval, rounded towards the unison.
    #[must_use]
    pub const fn whole_octaves(self) -> i32 {
        self.steps / 7
    }
}

impl Add for Interval {
    type Output = Interval;
    fn add(self, other: Interval) -> Interval {
        Interval::new(self.steps + other.steps, self.semitones + other.semitones)
    }
}

impl Interval {
    /// In words with its article, without the direction: "a perfect fifth", "an octave", "two
    /// octaves".
    #[must_use]
    pub fn with_article(self) -> String {
        let words = self.to_string();
        if words.ends_with("octaves") {
            return words;
        }
        let vowel = words.starts_with(['a', 'i', 'o']);
        format!("{} {words}", if vowel { "an" } else { "a" })
    }
}

impl Neg for Interval {
    type Output = Interval;
    fn neg(self) -> Interval {
        Interval::new(-self.steps, -self.semitones)
    }
}

/// In words, without the direction: "perfect fifth", "major ninth", "two octaves".
impl fmt::Display for Interval {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let up =
            if self.steps < 0 || (self.steps == 0 && self.semitones < 0) { -*self } else { *self };
        let octaves = up.steps / 7;
        let (step, rest) = (up.steps % 7, up.semitones - 12 * octaves);
        if step == 0 && rest == 0 && octaves >= 2 {
            return match octaves {
                2 => f.write_str("two octaves"),
                3 => f.write_str("three octaves"),
                _ => write!(f, "{octaves} octaves"),
            };
        }
        let perfect = matches!(step, 0 | 3 | 4);
        let natural = [0, 2, 4, 5, 7, 9, 11][step as usize];
        let quality = match (perfect, rest - natural) {
            (true, 0) => "perfect",
            (false, 0) => "major",
            (false, -1) => "minor",
            (true, -1) | (false, -2) => "diminished",
            (_, 1) => "augmented",
            (true, -2) | (false, -3) => "doubly diminished",
            (_, 2) => "doubly augmented",
            _ => return write!(f, "interval of {} semitones", up.semitones),
        };
        let number = match up.steps {
            0 => "unison",
            1 => "second",
            2 => "third",
            3 => "fourth",
            4 => "fifth",
            5 => "sixth",
            6 => "seventh",
            7 if quality == "perfect" => return f.write_str("octave"),
            7 => "octave",
            8 => "ninth",
            9 => "tenth",
            10 => "eleventh",
            11 => "twelfth",
            12 => "thirteenth",
            13 => "fourteenth",
            steps => return write!(f, "{quality} {}th", steps + 1),
        };
        write!(f, "{quality} {number}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn intervals_are_named_as_musicians_name_them() {
        let named = |steps, semitones| Interval::new(steps, semitones).to_string();
        assert_eq!(named(-4, -7), "perfect fifth");
        assert_eq!(named(-8, -14), "major ninth");
        assert_eq!(named(2, 3), "minor third");
        assert_eq!(named(1, 3), "augmented second");
        assert_eq!(named(-7, -12), "octave");
        assert_eq!(named(14, 24), "two octaves");
        let said = |steps, semitones| Interval::new(steps, semitones).with_article();
        assert_eq!(said(-4, -7), "a perfect fifth");
        assert_eq!(said(-7, -12), "an octave");
        assert_eq!(said(14, 24), "two octaves");
        assert_eq!(named(0, 0), "perfect unison");
    }
}

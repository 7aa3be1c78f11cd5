//! Figures of a thorough bass: what stands under a bass note for the chord over it.
//!
//! Source of the customs (which figures are left out, an accidental alone for the third, the sign
//! that a note has wherever it differs from the signature): C. P. E. Bach, Versuch über die wahre
//! Art das Clavier zu spielen, part 2, 1762, ch. 1 to 10 (from memory).

use std::fmt;

use smallvec::SmallVec;

use super::{Chord, Key, PitchName};

/// One figure: the interval above the bass, and the accidental of the note that it means.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct Figure {
    /// The interval above the bass, 2 to 9.
    pub number: u8,
    /// Half steps by which the note is raised (1), natural (0) or lowered (-1), where the signature
    /// does not say it.
    pub sign: Option<i8>,
}

/// The figures under one note, the highest number first.
pub type Figures = SmallVec<[Figure; 4]>;

impl Figure {
    /// A figure without an accidental.
    #[must_use]
    pub const fn plain(number: u8) -> Figure {
        Figure { number, sign: None }
    }

    /// The number as it is printed: an accidental alone means the third.
    #[must_use]
    pub fn shown(self) -> Option<u8> {
        (self.number != 3 || self.sign.is_none()).then_some(self.number)
    }
}

impl fmt::Display for Figure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self.sign {
            None => "",
            Some(0) => "♮",
            Some(1) => "♯",
            Some(-1) => "♭",
            Some(2..) => "𝄪",
            Some(_) => "𝄫",
        })?;
        self.shown().map_or(Ok(()), |number| write!(f, "{number}"))
    }
}

/// The figures of all notes of a chord over a bass note in a key, without the bass itself.
#[must_use]
pub fn all_figures(chord: &Chord, bass: PitchName, key: Key) -> Figures {
    let root_position = chord.root == bass;
    let mut all: Figures = chord
        .members()
        .into_iter()
        .filter(|member| *member != bass)
        .map(|member| {
            let steps = (member.letter.step() - bass.letter.step()).rem_euclid(7);
            let number = match steps {
                0 => 8,
                1 if root_position && chord.quality.intervals().iter().any(|(by, _)| *by == 8) => 9,
                1 => 2,
                2 => 3,
                3 => 4,
                4 => 5,
                5 => 6,
                _ => 7,
            };
            let sign = (member.alter != key.alter(member.letter)).then_some(member.alter);
            Figure { number, sign }
        })
        .collect();
    all.sort_unstable_by(|a, b| b.cmp(a));
    all
}

/// The figures of a chord over a bass note in a key: those that custom shows, and each that has an
/// accidental. None under a triad in root position.
#[must_use]
pub fn figures(chord: &Chord, bass: PitchName, key: Key) -> Figures {
    let mut all = all_figures(chord, bass, key);
    let numbers: SmallVec<[u8; 5]> = all.iter().map(|figure| figure.number).collect();
    let usual: Option<&[u8]> = match numbers.as_slice() {
        [5, 3] => Some(&[]),
        [6, 3] => Some(&[6]),
        [7, 5, 3] => Some(&[7]),
        [6, 5, 3] => Some(&[6, 5]),
        [6, 4, 3] => Some(&[4, 3]),
        [6, 4, 2] => Some(&[4, 2]),
        [7, 5, 4] => Some(&[7, 4]),
        [9, 7, 5, 3] => Some(&[9, 7]),
        [9, 5, 3] => Some(&[9]),
        _ => None,
    };
    if let Some(usual) = usual {
        all.retain(|figure| figure.sign.is_some() || usual.contains(&figure.number));
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::music::Mode;

    fn shown(symbol: &str, bass: &str, key: (&str, Mode)) -> String {
        let chord = Chord::read(symbol).unwrap();
        let key = Key::new(key.0.parse().unwrap(), key.1).unwrap();
        let of = figures(&chord, bass.parse().unwrap(), key);
        of.iter().map(ToString::to_string).collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn figures_are_those_of_the_books() {
        let c = ("C", Mode::Major);
        for (symbol, bass, wanted) in [
            ("C", "C", ""),
            ("C", "E", "6"),
            ("C", "G", "6 4"),
            ("G7", "G", "7"),
            ("G7", "B", "6 5"),
            ("G7", "D", "4 3"),
            ("G7", "F", "4 2"),
            ("Gsus4", "G", "5 4"),
            ("D7", "D", "7 ♯"),
            ("D7", "F#", "6 5"),
            ("D7", "C", "♯4 2"),
            ("A7", "C#", "6 5"),
            ("Fm", "F", "♭"),
            ("Fm", "Ab", "6"),
            ("Bdim", "D", "6"),
            ("C9", "C", "9 ♭7"),
        ] {
            assert_eq!(shown(symbol, bass, c), wanted, "{symbol} over {bass}");
        }
        assert_eq!(shown("D7", "D", ("G", Mode::Minor)), "7 ♯");
        assert_eq!(shown("G7", "G", ("C", Mode::Minor)), "7 ♮");
    }
}

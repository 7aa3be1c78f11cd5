//! Chord symbols.

use std::fmt;

use smallvec::SmallVec;

use super::{Interval, PitchName};

/// What stands above the root of a chord symbol.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum ChordQuality {
    /// Major triad: `C`.
    Major,
    /// Minor triad: `Cm`.
    Minor,
    /// Diminished triad: `Cdim`.
    Diminished,
    /// Augmented triad: `Caug`.
    Augmented,
    /// Suspended second: `Csus2`.
    SuspendedSecond,
    /// Suspended fourth: `Csus4`.
    SuspendedFourth,
    /// Dominant seventh: `C7`.
    DominantSeventh,
    /// What is written as a dominant seventh and goes down by a semitone to its goal: the augmented
    /// sixth stands in place of the seventh, and rises. `Ab7` before `G`.
    AugmentedSixth,
    /// The same with an augmented fourth in place of the fifth: `Ab7b5` before `G`.
    AugmentedSixthAndFourth,
    /// Dominant seventh with suspended fourth: `C7sus4`.
    DominantSeventhSuspended,
    /// Major seventh: `Cmaj7`.
    MajorSeventh,
    /// Minor seventh: `Cm7`.
    MinorSeventh,
    /// Minor triad with major seventh: `Cm(maj7)` or `Cmmaj7`.
    MinorMajorSeventh,
    /// Half-diminished seventh: `Cm7b5`.
    HalfDiminishedSeventh,
    /// Diminished seventh: `Cdim7`.
    DiminishedSeventh,
    /// Augmented triad with minor seventh: `Caug7`.
    AugmentedSeventh,
    /// Major triad with added sixth: `C6`.
    MajorSixth,
    /// Minor triad with added sixth: `Cm6`.
    MinorSixth,
    /// Dominant ninth: `C9`.
    DominantNinth,
    /// Dominant seventh with minor ninth: `C7b9`.
    DominantMinorNinth,
    /// Dominant seventh with diminished fifth: `C7b5`.
    DominantFlatFifth,
    /// Minor ninth: `Cm9`.
    MinorNinth,
    /// Major seventh with ninth: `Cmaj9`.
    MajorNinth,
    /// Major triad with added ninth: `Cadd9`.
    AddedNinth,
    /// Minor triad with added ninth: `Cmadd9`.
    MinorAddedNinth,
}

/// A quality, its spellings (the first is the one that is printed), and the intervals of its
/// members above the root in steps and semitones.
type QualityRow = (ChordQuality, &'static [&'static str], &'static [(i32, i32)]);

const QUALITIES: &[QualityRow] = &[
    (ChordQuality::Major, &["", "maj", "M"], &[(2, 4), (4, 7)]),
    (ChordQuality::Minor, &["m", "min", "-"], &[(2, 3), (4, 7)]),
    (ChordQuality::Diminished, &["dim", "°", "o"], &[(2, 3), (4, 6)]),
    (ChordQuality::Augmented, &["aug", "+"], &[(2, 4), (4, 8)]),
    (ChordQuality::SuspendedSecond, &["sus2"], &[(1, 2), (4, 7)]),
    (ChordQuality::SuspendedFourth, &["sus4", "sus"], &[(3, 5), (4, 7)]),
    (ChordQuality::DominantSeventh, &["7", "dom7"], &[(2, 4), (4, 7), (6, 10)]),
    (ChordQuality::DominantSeventhSuspended, &["7sus4", "7sus"], &[(3, 5), (4, 7), (6, 10)]),
    (ChordQuality::MajorSeventh, &["maj7", "M7"], &[(2, 4), (4, 7), (6, 11)]),
    (ChordQuality::MinorSeventh, &["m7", "min7", "-7"], &[(2, 3), (4, 7), (6, 10)]),
    (ChordQuality::MinorMajorSeventh, &["m(maj7)", "mmaj7"], &[(2, 3), (4, 7), (6, 11)]),
    (ChordQuality::HalfDiminishedSeventh, &["m7b5", "m7♭5", "ø", "ø7"], &[(2, 3), (4, 6), (6, 10)]),
    (ChordQuality::DiminishedSeventh, &["dim7", "°7", "o7"], &[(2, 3), (4, 6), (6, 9)]),
    (ChordQuality::AugmentedSeventh, &["aug7", "+7", "7#5", "7♯5"], &[(2, 4), (4, 8), (6, 10)]),
    (ChordQuality::MajorSixth, &["6"], &[(2, 4), (4, 7), (5, 9)]),
    (ChordQuality::MinorSixth, &["m6", "min6"], &[(2, 3), (4, 7), (5, 9)]),
    (ChordQuality::DominantNinth, &["9"], &[(2, 4), (4, 7), (6, 10), (8, 14)]),
    (ChordQuality::DominantMinorNinth, &["7b9", "7♭9"], &[(2, 4), (4, 7), (6, 10), (8, 13)]),
    (ChordQuality::DominantFlatFifth, &["7b5", "7♭5"], &[(2, 4), (4, 6), (6, 10)]),
    (ChordQuality::MinorNinth, &["m9", "min9"], &[(2, 3), (4, 7), (6, 10), (8, 14)]),
    (ChordQuality::MajorNinth, &["maj9", "M9"], &[(2, 4), (4, 7), (6, 11), (8, 14)]),
    (ChordQuality::AddedNinth, &["add9"], &[(2, 4), (4, 7), (8, 14)]),
    (ChordQuality::MinorAddedNinth, &["madd9"], &[(2, 3), (4, 7), (8, 14)]),
    // What is read is a dominant seventh; what follows makes these of it.
    (ChordQuality::AugmentedSixth, &["7"], &[(2, 4), (4, 7), (5, 10)]),
    (ChordQuality::AugmentedSixthAndFourth, &["7b5"], &[(2, 4), (3, 6), (5, 10)]),
];

impl ChordQuality {
    /// All qualities that have a symbol of their own.
    pub fn all() -> impl Iterator<Item = ChordQuality> {
        let all = QUALITIES.iter().map(|(quality, ..)| *quality);
        all.filter(|quality| !quality.is_augmented_sixth())
    }

    /// Is it a dominant seventh by its symbol alone?
    #[must_use]
    pub fn is_augmented_sixth(self) -> bool {
        matches!(self, ChordQuality::AugmentedSixth | ChordQuality::AugmentedSixthAndFourth)
    }

    /// The suffix as it is printed after the root.
    #[must_use]
    pub fn suffix(self) -> &'static str {
        QUALITIES.iter().find(|(quality, ..)| *quality == self).map_or("", |(_, names, _)| names[0])
    }

    /// Intervals of the members above the root, without the root itself.
    #[must_use]
    pub fn intervals(self) -> &'static [(i32, i32)] {
        QUALITIES.iter().find(|(quality, ..)| *quality == self).map_or(&[], |(.., above)| *above)
    }
}

/// A chord: root, quality and, where it is not the root, the bass.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct Chord {
    /// The root.
    pub root: PitchName,
    /// What stands above the root.
    pub quality: ChordQuality,
    /// The note in the bass where it is not the root (`Dm/F`).
    pub bass: Option<PitchName>,
}

/// Why a text is not a chord symbol.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum ChordError {
    /// It does not begin with a root from A to G.
    Root(String),
    /// The root is there, but nobody knows what follows it.
    Quality {
        /// The root as it was written.
        root: String,
        /// What follows it.
        suffix: String,
    },
    /// What follows the slash is not a note name.
    Bass(String),
}

impl Chord {
    /// Reads a chord symbol such as `Gm`, `A7`, `F#m7b5` or `Dm/F`.
    ///
    /// # Errors
    /// Says which of root, quality and bass cannot be read.
    pub fn read(symbol: &str) -> Result<Chord, ChordError> {
        let (upper, bass) = match symbol.split_once('/') {
            Some((upper, bass)) => (upper, Some(bass)),
            None => (symbol, None),
        };
        let signs = ['#', 'b', '♯', '♭', '𝄪', '𝄫'];
        let mut end = upper.chars().next().map_or(0, char::len_utf8);
        while let Some(sign) = upper[end..].chars().next().filter(|c| signs.contains(c)) {
            end += sign.len_utf8();
        }
        let root = upper[..end].parse().map_err(|()| ChordError::Root(upper.to_string()))?;
        let suffix = &upper[end..];
        let quality = QUALITIES
            .iter()
            .find(|(_, names, _)| names.contains(&suffix))
            .map(|(quality, ..)| *quality)
            .ok_or_else(|| ChordError::Quality {
                root: upper[..end].to_string(),
                suffix: suffix.to_string(),
            })?;
        let bass = match bass {
            Some(name) => {
                let name: PitchName =
                    name.parse().map_err(|()| ChordError::Bass(name.to_string()))?;
                (name != root).then_some(name)
            }
            None => None,
        };
        Ok(Chord { root, quality, bass })
    }

    /// The names of the members from the root up (a foreign slash bass is not among them).
    #[must_use]
    pub fn members(&self) -> SmallVec<[PitchName; 5]> {
        let mut members = SmallVec::new();
        members.push(self.root);
        for &(steps, semitones) in self.quality.intervals() {
            if let Some(name) = self.root.transposed(Interval::new(steps, semitones)) {
                members.push(name);
            }
        }
        members
    }

    /// The same chord as it is spelled before the chord that follows: a dominant seventh whose root
    /// falls by a minor second to the root of the next, or to the bass of a six-four chord, has an augmented sixth, which
    /// rises, and no seventh. (Common practice.)
    #[must_use]
    pub fn before(self, next: &Chord) -> Chord {
        let quality = match self.quality {
            ChordQuality::DominantSeventh => ChordQuality::AugmentedSixth,
            ChordQuality::DominantFlatFifth => ChordQuality::AugmentedSixthAndFourth,
            _ => return self,
        };
        let falls = |goal: PitchName| {
            self.root.class() == (goal.class() + 1).rem_euclid(12)
                && (self.root.letter.step() - goal.letter.step()).rem_euclid(7) == 1
        };
        // A six-four chord stands on the fifth for the dominant itself.
        let six_four = next.bass.filter(|bass| next.members().get(2) == Some(bass));
        let stands = falls(next.root) || six_four.is_some_and(falls);
        let of_root = self.bass.is_none_or(|bass| {
            self.quality.intervals()[..2].iter().any(|&(steps, semitones)| {
                self.root.transposed(Interval::new(steps, semitones)) == Some(bass)
            })
        });
        if stands && of_root { Chord { quality, ..self } } else { self }
    }

    /// The note that the bass has: the slash bass or else the root.
    #[must_use]
    pub fn bass_note(&self) -> PitchName {
        self.bass.unwrap_or(self.root)
    }

    /// Does the chord hold this pitch class (0 to 11), in a member or in its bass?
    #[must_use]
    pub fn has_class(&self, class: i32) -> bool {
        self.members().iter().any(|member| member.class() == class)
            || self.bass.is_some_and(|bass| bass.class() == class)
    }
}

impl fmt::Display for Chord {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}{}", self.root, self.quality.suffix())?;
        match self.bass {
            Some(bass) => write!(f, "/{bass}"),
            None => Ok(()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn members(symbol: &str) -> String {
        let chord = Chord::read(symbol).unwrap();
        chord.members().iter().map(ToString::to_string).collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn an_augmented_sixth_is_spelled_as_it_goes() {
        let before = |symbol: &str, next: &str| {
            let chord = Chord::read(symbol).unwrap().before(&Chord::read(next).unwrap());
            let members = chord.members();
            (chord.to_string(), members.iter().map(ToString::to_string).collect::<String>())
        };
        let spelled = |symbol: &str, next: &str| before(symbol, next).1;
        assert_eq!(before("Ab7", "G"), ("Ab7".to_string(), "AbCEbF#".to_string()));
        assert_eq!(spelled("Ab7", "Cm/G"), "AbCEbF#");
        assert_eq!(spelled("Ab7/C", "G7"), "AbCEbF#");
        assert_eq!(spelled("Ab7b5", "G"), "AbCDF#");
        assert_eq!(spelled("Ab7", "G7/B"), "AbCEbF#");
        assert_eq!(spelled("Ab7", "Db"), "AbCEbGb");
        assert_eq!(spelled("Ab7/Gb", "G"), "AbCEbGb");
        assert_eq!(spelled("G#7", "G"), "G#B#D#F#");
        assert_eq!(spelled("Ab7", "Em/G"), "AbCEbGb");
    }

    #[test]
    fn members_are_spelled_from_the_root() {
        assert_eq!(members("Dm"), "D F A");
        assert_eq!(members("A7"), "A C# E G");
        assert_eq!(members("Bbm7b5"), "Bb Db Fb Ab");
        assert_eq!(members("C#dim7"), "C# E G Bb");
        assert_eq!(members("Caug"), "C E G#");
        assert_eq!(members("D7b9"), "D F# A C Eb");
        assert_eq!(members("Ab7b5"), "Ab C Ebb Gb");
        assert_eq!(members("Fadd9"), "F A C G");
        assert_eq!(Chord::read("C7#5").unwrap().to_string(), "Caug7");
    }

    #[test]
    fn every_quality_is_read_back_as_it_is_printed() {
        for quality in ChordQuality::all() {
            let chord = Chord { root: "F#".parse().unwrap(), quality, bass: None };
            assert_eq!(Chord::read(&chord.to_string()), Ok(chord));
        }
        assert_eq!(Chord::read("Dm/F").unwrap().to_string(), "Dm/F");
        assert_eq!(Chord::read("D/D").unwrap().to_string(), "D");
    }

    #[test]
    fn what_nobody_knows_is_said_in_its_own_words() {
        assert_eq!(Chord::read("H7"), Err(ChordError::Root("H7".into())));
        assert!(matches!(Chord::read("Dmx"), Err(ChordError::Quality { .. })));
        assert_eq!(Chord::read("D/q"), Err(ChordError::Bass("q".into())));
        assert_eq!(Chord::read(""), Err(ChordError::Root(String::new())));
    }
}

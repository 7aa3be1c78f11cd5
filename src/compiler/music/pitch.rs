//! Spelled pitch.

use std::fmt;
use std::str::FromStr;

use super::Interval;
use crate::narrow::Narrow;

/// The seven letters of the scale, counted from C as octave numbers are.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Letter {
    /// The letter C.
    C,
    /// The letter D.
    D,
    /// The letter E.
    E,
    /// The letter F.
    F,
    /// The letter G.
    G,
    /// The letter A.
    A,
    /// The letter B.
    B,
}

impl Letter {
    /// All letters, from C up.
    pub const ALL: [Letter; 7] =
        [Letter::C, Letter::D, Letter::E, Letter::F, Letter::G, Letter::A, Letter::B];

    /// Diatonic steps above C: 0 to 6.
    #[must_use]
    pub const fn step(self) -> i32 {
        self as i32
    }

    /// Semitones above C of the natural letter: 0, 2, 4, 5, 7, 9, 11.
    #[must_use]
    #[inline]
    pub const fn semitones(self) -> i32 {
        [0, 2, 4, 5, 7, 9, 11][self as usize]
    }

    /// The letter `step` diatonic steps above C, whatever the octave.
    #[must_use]
    pub fn from_step(step: i32) -> Letter {
        Letter::ALL[step.rem_euclid(7) as usize]
    }

    /// The letter as a capital character.
    #[must_use]
    pub const fn as_char(self) -> char {
        ['C', 'D', 'E', 'F', 'G', 'A', 'B'][self as usize]
    }

    /// The letter written as a capital, `None` for any other character.
    #[must_use]
    pub fn from_char(c: char) -> Option<Letter> {
        Letter::ALL.into_iter().find(|letter| letter.as_char() == c)
    }
}

/// A letter with its alteration, without an octave: the name of a key, a chord root or a crook.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PitchName {
    /// The letter.
    pub letter: Letter,
    /// Semitones of alteration: -2 (double flat) to 2 (double sharp).
    pub alter: i8,
}

impl PitchName {
    /// A letter with an alteration in semitones.
    #[must_use]
    pub const fn new(letter: Letter, alter: i8) -> PitchName {
        PitchName { letter, alter }
    }

    /// Pitch class in semitones above C: 0 to 11.
    #[must_use]
    pub fn class(self) -> i32 {
        (self.letter.semitones() + i32::from(self.alter)).rem_euclid(12)
    }

    /// Place on the line of fifths: F -1, C 0, G 1 …
    #[must_use]
    pub fn fifths(self) -> i32 {
        [0, 2, 4, -1, 1, 3, 5][self.letter as usize] + 7 * i32::from(self.alter)
    }

    /// The name at a place on the line of fifths; `None` beyond double accidentals.
    #[must_use]
    pub fn from_fifths(fifths: i32) -> Option<PitchName> {
        let letter = Letter::from_step((fifths * 4).rem_euclid(7));
        let natural = PitchName::new(letter, 0).fifths();
        let alter = (fifths - natural).div_euclid(7);
        (-2..=2).contains(&alter).then(|| PitchName::new(letter, alter.narrow::<i8>()))
    }

    /// The pitch of this name in an octave.
    #[must_use]
    pub const fn at(self, octave: i8) -> Pitch {
        Pitch::new(self.letter, self.alter, octave)
    }

    /// The name moved by an interval (the octave is dropped); `None` beyond double accidentals.
    #[must_use]
    pub fn transposed(self, by: Interval) -> Option<PitchName> {
        self.at(4).transposed(by).map(Pitch::name)
    }
}

/// A sounding or written pitch: a letter, an alteration and an octave in scientific pitch
/// notation (C4 is middle C; B3 lies just below it).
///
/// C#5 and Db5 are different pitches that sound alike; nothing in Ripieno turns one into the
/// other on its own.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Pitch {
    /// The letter.
    pub letter: Letter,
    /// Semitones of alteration: -2 (double flat) to 2 (double sharp).
    pub alter: i8,
    /// The octave of the letter: B#3 and C4 sound alike.
    pub octave: i8,
}

impl Pitch {
    /// A pitch of its three members.
    #[must_use]
    pub const fn new(letter: Letter, alter: i8, octave: i8) -> Pitch {
        Pitch { letter, alter, octave }
    }

    /// The name without the octave.
    #[must_use]
    #[inline]
    pub const fn name(self) -> PitchName {
        PitchName { letter: self.letter, alter: self.alter }
    }

    /// Diatonic steps above C0, whatever the alterations.
    #[must_use]
    #[inline]
    pub const fn step(self) -> i32 {
        self.letter.step() + 7 * self.octave as i32
    }

    /// Key number of the MIDI standard, where middle C (C4) is 60; outside 0 to 127 it has no
    /// meaning there but still orders pitches by height.
    #[must_use]
    #[inline]
    pub const fn midi(self) -> i32 {
        self.letter.semitones() + self.alter as i32 + 12 * (self.octave as i32 + 1)
    }

    /// The pitch moved by diatonic steps and semitones together; `None` if the spelling would need
    /// more than a double accidental or the octave leaves the range of the type.
    #[must_use]
    #[inline]
    pub fn transposed(self, by: Interval) -> Option<Pitch> {
        // Most instruments sound as they read.
        if by == Interval::UNISON && (-2..=2).contains(&self.alter) {
            return Some(self);
        }
        let step = self.step() + by.steps;
        let octave = i8::try_from(step.div_euclid(7)).ok()?;
        let natural = Pitch::new(Letter::from_step(step), 0, octave);
        let alter = self.midi() + by.semitones - natural.midi();
        (-2..=2).contains(&alter).then_some(Pitch { alter: alter.narrow::<i8>(), ..natural })
    }

    /// The pitch moved by an interval; where the spelling would need more than a double
    /// accidental, the nearest simpler spelling that sounds alike.
    #[must_use]
    #[inline]
    pub fn transposed_or_respelled(self, by: Interval) -> Pitch {
        self.transposed(by).unwrap_or_else(|| Pitch::from_midi(self.midi() + by.semitones))
    }

    /// The plainest spelling of a MIDI key number (flats for E and B, sharps for F, C and G).
    #[must_use]
    pub fn from_midi(key: i32) -> Pitch {
        let octave = (key.div_euclid(12) - 1).clamp(i8::MIN as i32, i8::MAX as i32).narrow::<i8>();
        let (letter, alter) = [
            (Letter::C, 0),
            (Letter::C, 1),
            (Letter::D, 0),
            (Letter::E, -1),
            (Letter::E, 0),
            (Letter::F, 0),
            (Letter::F, 1),
            (Letter::G, 0),
            (Letter::G, 1),
            (Letter::A, 0),
            (Letter::B, -1),
            (Letter::B, 0),
        ][key.rem_euclid(12) as usize];
        Pitch::new(letter, alter, octave)
    }

    /// The pitch `octaves` octaves higher (or lower, if negative).
    #[must_use]
    #[inline]
    pub const fn octaves_up(self, octaves: i8) -> Pitch {
        Pitch { octave: self.octave.saturating_add(octaves), ..self }
    }
}

/// By sounding height first, then by letter, so that enharmonic twins stand side by side.
impl Ord for Pitch {
    #[inline]
    fn cmp(&self, other: &Pitch) -> std::cmp::Ordering {
        (self.midi(), self.step()).cmp(&(other.midi(), other.step()))
    }
}

impl PartialOrd for Pitch {
    #[inline]
    fn partial_cmp(&self, other: &Pitch) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl fmt::Display for PitchName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = match self.alter {
            -2 => "bb",
            -1 => "b",
            0 => "",
            1 => "#",
            2 => "##",
            other => return write!(f, "{}({other:+})", self.letter.as_char()),
        };
        write!(f, "{}{sign}", self.letter.as_char())
    }
}

impl fmt::Display for Pitch {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}{}", self.name(), self.octave)
    }
}

impl serde::Serialize for PitchName {
    fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

impl serde::Serialize for Pitch {
    fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

impl fmt::Debug for PitchName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl fmt::Debug for Pitch {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

/// Reads accidentals as the language writes them: `#`, `##`, `b`, `bb`, `♯`, `♭`, `𝄪`, `𝄫`, `♮`.
fn read_alter(signs: &str) -> Option<i8> {
    Some(match signs {
        "" | "♮" => 0,
        "#" | "♯" => 1,
        "##" | "♯♯" | "𝄪" => 2,
        "b" | "♭" => -1,
        "bb" | "♭♭" | "𝄫" => -2,
        _ => return None,
    })
}

impl FromStr for PitchName {
    type Err = ();
    fn from_str(text: &str) -> Result<PitchName, ()> {
        let mut characters = text.chars();
        let letter = characters.next().and_then(Letter::from_char).ok_or(())?;
        let alter = read_alter(characters.as_str()).ok_or(())?;
        Ok(PitchName::new(letter, alter))
    }
}

impl FromStr for Pitch {
    type Err = ();
    fn from_str(text: &str) -> Result<Pitch, ()> {
        let digits = text.find(|c: char| c.is_ascii_digit() || c == '-').ok_or(())?;
        let name: PitchName = text[..digits].parse()?;
        Ok(name.at(text[digits..].parse().map_err(drop)?))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pitch(text: &str) -> Pitch {
        text.parse().unwrap()
    }

    #[test]
    fn middle_c_is_c4_and_key_60() {
        assert_eq!(pitch("C4").midi(), 60);
        assert_eq!(pitch("B#3").midi(), 60);
        assert_eq!(pitch("Cb4").midi(), 59);
    }

    #[test]
    fn transposition_moves_letter_and_semitones_together() {
        let minor_seventh_down = Interval::new(-6, -10);
        assert_eq!(pitch("C5").transposed(minor_seventh_down), Some(pitch("D4")));
        assert_eq!(pitch("F#5").transposed(minor_seventh_down), Some(pitch("G#4")));
        assert_eq!(pitch("B##4").transposed(Interval::new(0, 1)), None);
    }

    #[test]
    fn names_find_their_place_on_the_line_of_fifths() {
        for fifths in -15..=19 {
            let name = PitchName::from_fifths(fifths).unwrap();
            assert_eq!(name.fifths(), fifths, "{name}");
        }
        assert_eq!("Bb".parse::<PitchName>().unwrap().fifths(), -2);
        assert_eq!("F#".parse::<PitchName>().unwrap().fifths(), 6);
    }
}

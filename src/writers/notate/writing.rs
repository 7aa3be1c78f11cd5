//! From sounding to written pitch and key.

use crate::instruments::Instrument;
use crate::music::{Interval, Key, Letter, Pitch, PitchName};

/// How a player's notes are written in one bar: the way from sounding to written pitch, and the
/// key that they are read in.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Writing {
    /// The way from written to sounding pitch.
    pub(super) transposition: Interval,
    /// The key signature, for instruments that have one.
    pub(super) signature: Option<Key>,
    /// Places on the line of fifths by which the written key was changed enharmonically: ±12, or 0.
    respelling: i32,
    /// Do notes keep their names as in a cue, which shows what another one plays?
    named: bool,
}

impl Writing {
    pub(super) fn new(instrument: &Instrument, sounding: Key, transposition: Interval) -> Writing {
        if instrument.without_signature || instrument.unpitched {
            return Writing::without_signature(transposition);
        }
        Writing::in_key(sounding, transposition)
    }

    /// With the signature of a sounding key, moved by the transposition.
    pub(super) fn in_key(sounding: Key, transposition: Interval) -> Writing {
        let to_written = -transposition;
        let mut key = sounding.transposed(to_written);
        // Seven signs are five in the other spelling. What stands at concert pitch, or octaves away
        // from it, keeps the key of the piece.
        let octaves = Interval::octaves(to_written.whole_octaves());
        if to_written != octaves && key.fifths().abs() > 6 {
            let second = Interval::new(if key.fifths() < 0 { -1 } else { 1 }, 0);
            let other = key.transposed(second);
            if other.fifths().abs() < key.fifths().abs() {
                key = other;
            }
        }
        let respelling = key.fifths() - sounding.fifths() - fifths(to_written);
        Writing { transposition, signature: Some(key), respelling, named: false }
    }

    /// Without a key signature: every accidental stands at its note.
    pub(super) fn without_signature(transposition: Interval) -> Writing {
        Writing { transposition, signature: None, respelling: 0, named: false }
    }

    /// The same for what another one plays: the notes of a cue have the names that he reads, moved by the
    /// transposition.
    pub(super) fn naming(self) -> Writing {
        Writing { named: true, ..self }
    }

    /// The key against which accidentals are printed.
    pub(super) fn key(&self) -> Key {
        self.signature.unwrap_or(Key::C_MAJOR)
    }

    /// The written pitch of a sounding one: moved by the transposition, and spelled as the written
    /// key wants where that was changed enharmonically. Where the spelling would need more than a
    /// double accidental, a plainer one that sounds alike; where the key was changed, already where it
    /// would need a double accidental, the key's own note if that sounds alike.
    pub(super) fn written(&self, sounding: Pitch) -> Pitch {
        let by = -self.transposition;
        if self.respelling == 0 {
            let written = sounding.transposed_or_respelled(by);
            // Without a signature nothing asks for B♯, E♯, C♭, F♭ or a double sign.
            let doubled = written.alter.abs() > 1;
            let kept = self.named && (!doubled || sounding.alter.abs() > 1);
            if self.signature.is_none() && !kept && (needs_plainer(written.name()) || doubled) {
                return plainer(written);
            }
            return written;
        }
        let place = sounding.name().fifths() + fifths(by);
        let midi = sounding.midi() + by.semitones;
        let written = PitchName::from_fifths(place + self.respelling)
            .or_else(|| PitchName::from_fifths(place))
            .and_then(|name| at_midi(name, midi))
            .unwrap_or_else(|| Pitch::from_midi(midi));
        if written.alter.abs() > 1 {
            return of_key(self.key(), midi).unwrap_or_else(|| plainer(written));
        }
        written
    }
}

/// The note of a key that sounds as that MIDI key, if it has one.
fn of_key(key: Key, midi: i32) -> Option<Pitch> {
    let middle = Pitch::from_midi(midi).step();
    (middle - 1..=middle + 1).map(Letter::from_step).find_map(|letter| {
        let own = at_midi(PitchName { letter, alter: key.alter(letter) }, midi)?;
        (own.midi() == midi).then_some(own)
    })
}

/// Names of white keys that are written with a sign.
fn needs_plainer(name: PitchName) -> bool {
    matches!((name.letter, name.alter), (Letter::B | Letter::E, 1) | (Letter::C | Letter::F, -1))
}

/// The plainest spelling of a pitch: a white key as such, a black one with the sign that it has.
fn plainer(pitch: Pitch) -> Pitch {
    let sharp = pitch.alter > 0;
    let plain = Pitch::from_midi(pitch.midi());
    if plain.alter == 0 || (plain.alter > 0) == sharp {
        return plain;
    }
    let other = plain.transposed(Interval::new(if plain.alter > 0 { 1 } else { -1 }, 0));
    other.unwrap_or(plain)
}

/// Places that an interval moves a pitch along the line of fifths.
fn fifths(by: Interval) -> i32 {
    7 * by.semitones - 12 * by.steps
}

/// The pitch of that name which sounds as that MIDI key.
fn at_midi(name: PitchName, midi: i32) -> Option<Pitch> {
    let above = midi - name.letter.semitones() - i32::from(name.alter);
    let octave = i8::try_from(above.div_euclid(12) - 1).ok()?;
    Some(name.at(octave))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::music::Mode;
    use crate::notate::testing;

    fn writing(key: &str, mode: Mode, transposition: Interval) -> Writing {
        let key = Key::new(key.parse().unwrap(), mode).unwrap();
        Writing::new(testing::oboe(), key, transposition)
    }

    fn written(writing: Writing, pitch: &str) -> String {
        writing.written(pitch.parse().unwrap()).to_string()
    }

    const B_FLAT: Interval = Interval::new(-1, -2);

    #[test]
    fn a_clarinet_in_b_flat_reads_a_tone_higher() {
        let d_minor = writing("D", Mode::Minor, B_FLAT);
        assert_eq!(d_minor.key().to_string(), "E minor");
        assert_eq!(written(d_minor, "C#5"), "D#5");
    }

    #[test]
    fn notes_follow_a_key_that_was_changed_enharmonically() {
        let f_sharp = writing("F#", Mode::Major, B_FLAT);
        assert_eq!(f_sharp.key().to_string(), "Ab major");
        assert_eq!(written(f_sharp, "F#4"), "Ab4");
        assert_eq!(written(f_sharp, "E#5"), "G5");
        assert_eq!(written(f_sharp, "A#3"), "C4");
        assert_eq!(written(f_sharp, "B3"), "Db4");
        assert_eq!(written(f_sharp, "C#4"), "Eb4");
    }

    #[test]
    fn a_key_that_was_changed_enharmonically_has_no_double_signs() {
        let all = |writing: Writing, pitches: &[&str]| -> Vec<String> {
            pitches.iter().map(|pitch| written(writing, pitch)).collect()
        };
        let clarinet = writing("F#", Mode::Major, B_FLAT);
        assert_eq!(all(clarinet, &["F4", "F#4", "G4"]), ["G4", "Ab4", "A4"]);
        let cor_anglais = writing("F#", Mode::Major, Interval::new(-4, -7));
        assert_eq!(cor_anglais.key().to_string(), "Db major");
        assert_eq!(all(cor_anglais, &["B4", "Bb4", "B4", "C5"]), ["Gb5", "F5", "Gb5", "G5"]);
    }

    #[test]
    fn a_spelling_beyond_double_accidentals_is_made_plainer() {
        let third = Interval::new(-2, -3);
        assert_eq!(written(writing("C", Mode::Major, third), "F##4"), "A#4");
    }

    #[test]
    fn natural_brass_has_no_signature_and_keeps_its_spelling() {
        let horn_in_d = Interval::new(-6, -10);
        let key = Key::new("F#".parse().unwrap(), Mode::Major).unwrap();
        let writing = Writing::new(testing::natural_horn(), key, horn_in_d);
        assert_eq!(writing.signature, None);
        assert_eq!(writing.written("F#4".parse().unwrap()).to_string(), "E5");
    }

    #[test]
    fn a_cue_keeps_the_names_of_its_notes_without_a_signature() {
        let timpani = Writing::without_signature(Interval::UNISON);
        assert_eq!(written(timpani, "Cb5"), "B4");
        assert_eq!(written(timpani.naming(), "Cb5"), "Cb5");
        let horn_in_d = Writing::without_signature(Interval::new(-6, -10)).naming();
        assert_eq!(written(horn_in_d, "Db4"), "Cb5");
        assert_eq!(written(horn_in_d, "C##4"), "B#4");
        // A double sign that nobody reads is no name to keep.
        assert_eq!(written(horn_in_d, "Fb4"), "D5");
    }

    #[test]
    fn seven_signs_are_written_as_five() {
        let a_clarinet = Interval::new(-2, -3);
        let a_flat = writing("Ab", Mode::Major, a_clarinet);
        assert_eq!(a_flat.key().to_string(), "B major");
        assert_eq!(written(a_flat, "Ab4"), "B4");
        assert_eq!(written(a_flat, "Gb4"), "A4");
        let b = writing("B", Mode::Major, B_FLAT);
        assert_eq!(b.key().to_string(), "Db major");
        assert_eq!(written(b, "D#5"), "F5");
        // A player in C reads the key of the piece.
        let c_flat = writing("Cb", Mode::Major, Interval::UNISON);
        assert_eq!(c_flat.key().fifths(), -7);
        // And so does who reads an octave away from what sounds.
        for (octaves, key, fifths) in [(-1, "C#", 7), (1, "Cb", -7), (2, "Cb", -7)] {
            let writing = writing(key, Mode::Major, Interval::octaves(octaves));
            assert_eq!(writing.key().fifths(), fifths, "{octaves} {key}");
            let note = written(writing, &format!("{key}4"));
            assert!(note.starts_with(key), "{note}");
        }
    }

    #[test]
    fn without_a_signature_white_keys_have_no_sign() {
        let horn_in_d = Interval::new(-6, -10);
        let plain = Writing::without_signature(horn_in_d);
        assert_eq!(written(plain, "C##4"), "C5");
        assert_eq!(written(plain, "F##4"), "F5");
        assert_eq!(written(plain, "Db4"), "B4");
        assert_eq!(written(plain, "E4"), "D5");
        assert_eq!(written(plain, "G#4"), "F#5");
        assert_eq!(written(plain, "Ab4"), "Gb5");
    }
}

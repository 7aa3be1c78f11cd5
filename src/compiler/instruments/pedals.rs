//! The pedals of a harp while it plays.

use super::Pedals;
use crate::music::{Pitch, PitchName};

/// The pedals as they were last used. Seven letters have one pedal each, which sets all strings of the
/// letter flat, natural or sharp; a pedal may be moved as soon as its letter has sounded for the last
/// time, and what one foot has to do between two notes adds up (common practice). Times are seconds
/// from the beginning.
#[derive(Clone, Debug)]
pub struct Feet<'a> {
    pedals: &'a Pedals,
    /// For each letter from C up its accidental and when it sounded last.
    letters: [Option<(i8, f64)>; 7],
    /// When each foot is free again.
    free: [f64; 2],
}

/// Why a note cannot be set.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Unset {
    /// A double sharp or a double flat: no pedal goes so far.
    NoPedal,
    /// The seconds that there are for one pedal.
    NoTime(f64),
}

impl<'a> Feet<'a> {
    /// Before the first note: every pedal is set as it is needed.
    pub fn new(pedals: &'a Pedals) -> Feet<'a> {
        Feet { pedals, letters: [None; 7], free: [f64::NEG_INFINITY; 2] }
    }

    /// Seconds that one foot needs for one pedal.
    pub fn one(&self) -> f64 {
        f64::from(self.pedals.milliseconds) / 1000.0
    }

    /// Plays a note; times never go back. A note that cannot be set in time counts as played all the
    /// same, so that what follows is judged by itself.
    ///
    /// # Errors
    /// [`Unset`], where its pedal cannot be set.
    pub fn play(&mut self, pitch: Pitch, at: f64) -> Result<(), Unset> {
        let name = pitch.name();
        if name.alter.abs() > 1 {
            return Err(Unset::NoPedal);
        }
        let one = self.one();
        let own = &mut self.letters[pitch.step().rem_euclid(7).unsigned_abs() as usize];
        let mut done = Ok(());
        if let Some((alter, last)) = *own
            && alter != name.alter
        {
            let foot = usize::from(!self.pedals.left.contains(name.letter.as_char()));
            let from = self.free[foot].max(last);
            if at - from < one - 1e-9 {
                done = Err(Unset::NoTime((at - from).max(0.0)));
            }
            self.free[foot] = from.max(at - one) + one;
        }
        *own = Some((name.alter, at));
        done
    }
}

/// The same key under another letter that a pedal can set: A flat for G sharp.
pub fn respelled(pitch: Pitch) -> impl Iterator<Item = Pitch> {
    let name = pitch.name();
    [12, -12]
        .into_iter()
        .filter_map(move |way| PitchName::from_fifths(name.fifths() + way))
        .filter(|other| other.alter.abs() <= 1)
        .filter_map(move |other| {
            let near = -1..=1i8;
            let mut octaves = near.map(|by| other.at(pitch.octave + by));
            octaves.find(|same| same.midi() == pitch.midi())
        })
}

#[cfg(test)]
mod tests {
    use super::{Feet, Unset, respelled};
    use crate::instruments::Pedals;
    use crate::music::Pitch;

    fn pitch(text: &str) -> Pitch {
        text.parse().unwrap_or_else(|_| panic!("{text} is no pitch"))
    }

    fn harp() -> Pedals {
        let (left, right) = ("DCB".to_string(), "EFGA".to_string());
        Pedals { left, right, milliseconds: 400, source: "a test".to_string() }
    }

    /// Notes with their seconds: what becomes of each.
    fn play(notes: &[(&str, f64)]) -> Vec<Result<(), Unset>> {
        let pedals = harp();
        let mut feet = Feet::new(&pedals);
        notes.iter().map(|(name, at)| feet.play(pitch(name), *at)).collect()
    }

    #[test]
    fn a_pedal_takes_its_time_since_the_letter_sounded_last() {
        assert_eq!(play(&[("F4", 0.0), ("F#4", 0.5)]), [Ok(()), Ok(())]);
        let late = play(&[("F4", 0.0), ("C4", 0.3), ("F#5", 0.3)]);
        assert_eq!(late, [Ok(()), Ok(()), Err(Unset::NoTime(0.3))]);
    }

    #[test]
    fn feet_work_beside_each_other_and_each_does_one_thing_after_the_other() {
        // G and F are both on the right, C is on the left.
        let both = [("F4", 0.0), ("C4", 0.0), ("F#4", 0.5), ("C#4", 0.5)];
        assert!(play(&both).iter().all(Result::is_ok));
        let one = [("F4", 0.0), ("G4", 0.0), ("F#4", 0.5), ("G#4", 0.5)];
        assert!(matches!(play(&one)[3], Err(Unset::NoTime(has)) if has < 0.2));
    }

    #[test]
    fn no_pedal_sets_a_double_sharp() {
        assert_eq!(play(&[("F##4", 0.0)]), [Err(Unset::NoPedal)]);
    }

    #[test]
    fn a_key_has_one_other_string_at_most_two() {
        let other = |name: &str| -> Vec<Pitch> { respelled(pitch(name)).collect() };
        assert_eq!(other("G#4"), [pitch("Ab4")]);
        assert_eq!(other("B4"), [pitch("Cb5")]);
        assert_eq!(other("C4"), [pitch("B#3")]);
        assert_eq!(other("D4"), []);
        assert_eq!(other("F##4"), [pitch("G4")]);
    }
}

//! Artificial harmonics: a string that one finger stops and another touches.
//!
//! A string that is touched at a half, a third, a quarter, a fifth or a sixth of what is left of it
//! sounds the partial of that number of its stopped note (the harmonic series). The finger then
//! touches it where the octave, fifth, fourth, major or minor third of the stopped note would be
//! stopped. By far the most usual one touches the fourth. (The harmonic series; what is usual is common
//! practice.)

use super::{Interval, Pitch};

/// Where a stopped string is touched: the interval of the finger that touches above the one that
/// stops.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[repr(u8)]
pub enum Touch {
    /// Sounds the octave.
    Octave,
    /// Sounds the twelfth.
    Fifth,
    /// Sounds two octaves above.
    Fourth,
    /// Sounds two octaves and a major third above.
    MajorThird,
    /// Sounds two octaves and a fifth above.
    MinorThird,
}

impl Touch {
    /// All of them, those that sound lowest above the stopped note first.
    pub const ALL: [Touch; 5] =
        [Touch::Octave, Touch::Fifth, Touch::Fourth, Touch::MajorThird, Touch::MinorThird];

    /// How far the string is touched above the stopped note.
    #[must_use]
    pub const fn above(self) -> Interval {
        match self {
            Touch::Octave => Interval::OCTAVE,
            Touch::Fifth => Interval::new(4, 7),
            Touch::Fourth => Interval::new(3, 5),
            Touch::MajorThird => Interval::new(2, 4),
            Touch::MinorThird => Interval::new(2, 3),
        }
    }

    /// How far it sounds above the stopped note.
    #[must_use]
    pub const fn sounds(self) -> Interval {
        match self {
            Touch::Octave => Interval::OCTAVE,
            Touch::Fifth => Interval::new(11, 19),
            Touch::Fourth => Interval::new(14, 24),
            Touch::MajorThird => Interval::new(16, 28),
            Touch::MinorThird => Interval::new(18, 31),
        }
    }

    /// That with which a stopped note sounds so far above itself.
    #[must_use]
    pub fn sounding(by: Interval) -> Option<Touch> {
        Touch::ALL.into_iter().find(|touch| touch.sounds() == by)
    }

    /// That with which a string stopped at a note is touched at another one, as that is spelled.
    #[must_use]
    pub fn touching(stopped: Pitch, touched: Pitch) -> Option<Touch> {
        Touch::ALL.into_iter().find(|touch| touch.touched(stopped) == touched)
    }

    /// The note that is stopped, of the one that sounds.
    #[must_use]
    pub fn stopped(self, sounding: Pitch) -> Pitch {
        sounding.transposed_or_respelled(-self.sounds())
    }

    /// The note at which a string stopped at another one is touched.
    #[must_use]
    pub fn touched(self, stopped: Pitch) -> Pitch {
        stopped.transposed_or_respelled(self.above())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::music::Letter;

    #[test]
    fn a_string_sounds_the_partial_at_whose_node_it_is_touched() {
        // The part of the string at which each is touched, from its stopped end.
        for (touch, partial) in Touch::ALL.into_iter().zip(2..) {
            let semitones = 12.0 * f64::from(partial).log2();
            assert!((semitones - f64::from(touch.sounds().semitones)).abs() < 0.15, "{touch:?}");
            let at = 12.0 * (f64::from(partial) / f64::from(partial - 1)).log2();
            assert!((at - f64::from(touch.above().semitones)).abs() < 0.2, "{touch:?}");
        }
    }

    #[test]
    fn stopped_and_touched_notes_are_spelled_by_their_intervals() {
        let sounding = Pitch::new(Letter::G, 1, 6);
        let notes = Touch::ALL.map(|touch| {
            let stopped = touch.stopped(sounding);
            format!("{stopped} {}", touch.touched(stopped))
        });
        assert_eq!(notes, ["G#5 G#6", "C#5 G#5", "G#4 C#5", "E4 G#4", "C#4 E4"]);
        for touch in Touch::ALL {
            let back = Interval::between(touch.stopped(sounding), sounding);
            assert_eq!(Touch::sounding(back), Some(touch));
            // A fourth above F double flat has no name of its letter.
            for stopped in [touch.stopped(sounding), Pitch::new(Letter::F, -2, 3)] {
                assert_eq!(Touch::touching(stopped, touch.touched(stopped)), Some(touch));
            }
        }
    }
}

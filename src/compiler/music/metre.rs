//! Metres.

use std::fmt;

use super::Time;

/// Most groups of an additive metre.
const MOST_GROUPS: usize = 8;

/// A metre: so many units of a note value in a bar.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct Metre {
    /// How many units a bar holds: 1 to 32.
    pub count: u8,
    /// The unit as the part of a whole note: 1, 2, 4, 8, 16 or 32.
    pub unit: u8,
    /// How it is written.
    pub sign: MetreSign,
    /// The units of each group of an additive metre, then zeros; all zero for any other.
    groups: [u8; MOST_GROUPS],
}

/// How a metre is written.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
pub enum MetreSign {
    /// In figures.
    #[default]
    Figures,
    /// 4/4 as the sign of common time.
    Common,
    /// 2/2 as the sign of cut time.
    Cut,
}

impl Metre {
    /// 4/4 in figures.
    pub const FOUR_FOUR: Metre =
        Metre { count: 4, unit: 4, sign: MetreSign::Figures, groups: [0; MOST_GROUPS] };
    /// 4/4 as common time.
    pub const COMMON: Metre = Metre { sign: MetreSign::Common, ..Metre::FOUR_FOUR };
    /// 2/2 as cut time.
    pub const CUT: Metre = Metre { count: 2, unit: 2, sign: MetreSign::Cut, ..Metre::FOUR_FOUR };

    /// A metre of 1 to 32 units, each a whole, half, quarter … or 32nd note; `None` for others.
    #[must_use]
    pub fn new(count: u8, unit: u8) -> Option<Metre> {
        let usual = (1..=32).contains(&count) && matches!(unit, 1 | 2 | 4 | 8 | 16 | 32);
        usual.then_some(Metre { count, unit, ..Metre::FOUR_FOUR })
    }

    /// An additive metre of two to eight groups: 3+2 eighths. `None` for others, and where all
    /// units together are too many.
    #[must_use]
    pub fn additive(groups: &[u8], unit: u8) -> Option<Metre> {
        if !(2..=MOST_GROUPS).contains(&groups.len()) || groups.contains(&0) {
            return None;
        }
        let count = groups.iter().try_fold(0_u8, |sum, group| sum.checked_add(*group))?;
        let mut metre = Metre::new(count, unit)?;
        metre.groups[..groups.len()].copy_from_slice(groups);
        Some(metre)
    }

    /// The units of each group of an additive metre; empty for any other.
    #[must_use]
    pub fn groups(&self) -> &[u8] {
        let length = self.groups.iter().position(|group| *group == 0).unwrap_or(MOST_GROUPS);
        &self.groups[..length]
    }

    /// What stands above on paper: "3+2" or "4".
    #[must_use]
    pub fn upper(&self) -> String {
        match self.groups() {
            [] => self.count.to_string(),
            groups => groups.iter().map(ToString::to_string).collect::<Vec<_>>().join("+"),
        }
    }

    /// The metre with the name of its sign: "common time (4/4)".
    #[must_use]
    pub fn name(&self) -> String {
        match self.sign {
            MetreSign::Figures => self.to_string(),
            MetreSign::Common => format!("common time ({self})"),
            MetreSign::Cut => format!("cut time ({self})"),
        }
    }

    /// Length of a full bar.
    #[must_use]
    pub fn bar_length(self) -> Time {
        Time::of(i64::from(self.count), i64::from(self.unit))
    }

    /// Is each beat a dotted value (6/8, 9/8, 12/8, 6/16, 6/4)?
    ///
    /// 3/8 counts as compound only from six units on: a 3/8 bar is counted in three. An additive
    /// metre is counted by its units, unless all its groups are threes.
    #[must_use]
    pub fn is_compound(self) -> bool {
        self.groups().iter().all(|group| *group == 3)
            && self.count > 3
            && self.count.is_multiple_of(3)
            && self.unit >= 4
    }

    /// Length of the beat that a musician counts: a quarter in 3/4, a dotted quarter in 6/8.
    #[must_use]
    pub fn beat(self) -> Time {
        let units = if self.is_compound() { 3 } else { 1 };
        Time::of(units, i64::from(self.unit))
    }

    /// Number of beats in a full bar.
    #[must_use]
    pub fn beats(self) -> i64 {
        self.bar_length().div_floor(self.beat())
    }

    /// The beat (from 1) in which a position within the bar lies, and how far into it.
    #[must_use]
    pub fn beat_at(self, position: Time) -> (i64, Time) {
        let beat = self.beat();
        (position.div_floor(beat) + 1, position % beat)
    }

    /// Weight of a position within the bar: 3 the first beat, 2 the middle of a bar of four (or of
    /// two or four compound beats) or of any group of an additive metre, 1 any other beat, 0
    /// between the beats.
    #[must_use]
    pub fn weight(self, position: Time) -> u8 {
        if position == Time::ZERO {
            return 3;
        }
        let (beat, into) = self.beat_at(position);
        if into != Time::ZERO {
            return 0;
        }
        let begins = self.groups().iter().scan(Time::ZERO, |end, group| {
            *end += Time::of(i64::from(*group), i64::from(self.unit));
            Some(*end)
        });
        if !self.groups().is_empty() {
            return if begins.into_iter().any(|begin| begin == position) { 2 } else { 1 };
        }
        let beats = self.beats();
        if beats % 2 == 0 && (beat - 1) * 2 == beats { 2 } else { 1 }
    }
}

/// In figures: "3+2/8".
impl fmt::Display for Metre {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.upper(), self.unit)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn compound_beats_are_dotted() {
        let six_eight = Metre::new(6, 8).unwrap();
        assert_eq!(six_eight.beat(), Time::of(3, 8));
        assert_eq!(six_eight.beats(), 2);
        assert_eq!(Metre::new(3, 8).unwrap().beats(), 3);
        assert_eq!(Metre::new(5, 8).unwrap().beat(), Time::EIGHTH);
    }

    #[test]
    fn the_first_beat_weighs_most_and_the_middle_next() {
        let common = Metre::new(4, 4).unwrap();
        let weights: Vec<u8> = (0..8).map(|i| common.weight(Time::EIGHTH * i)).collect();
        assert_eq!(weights, [3, 0, 1, 0, 2, 0, 1, 0]);
    }

    #[test]
    fn a_metre_nobody_can_beat_is_refused() {
        assert!(Metre::new(0, 4).is_none());
        assert!(Metre::new(3, 5).is_none());
        assert!(Metre::additive(&[3], 8).is_none());
        assert!(Metre::additive(&[30, 3], 8).is_none());
        assert!(Metre::additive(&[3, 0, 2], 8).is_none());
    }

    #[test]
    fn an_additive_metre_has_an_accent_on_each_group() {
        let metre = Metre::additive(&[3, 2, 2], 8).unwrap();
        let weights: Vec<u8> = (0..7).map(|i| metre.weight(Time::EIGHTH * i)).collect();
        assert_eq!(weights, [3, 1, 1, 2, 1, 2, 1]);
        assert_eq!(metre.beat_at(Time::of(3, 8)), (4, Time::ZERO));
        assert_eq!(metre.to_string(), "3+2+2/8");
        // Six eighths counted in three twos are not two dotted quarters; two threes are.
        assert_eq!(Metre::additive(&[2, 2, 2], 8).unwrap().beat(), Time::EIGHTH);
        assert_eq!(Metre::additive(&[3, 3], 8).unwrap().beat(), Time::of(3, 8));
    }

    #[test]
    fn common_and_cut_time_are_what_they_sound_like() {
        assert_eq!(
            (Metre::COMMON.to_string(), Metre::CUT.to_string()),
            ("4/4".into(), "2/2".into())
        );
        assert_eq!(Metre::CUT.beat(), Time::of(1, 2));
        assert_ne!(Some(Metre::COMMON), Metre::new(4, 4));
    }
}

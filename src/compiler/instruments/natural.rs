//! Brass without valves: the natural series, what it offers as open notes and what the hand adds.
//!
//! Partials are counted from the fundamental, which is partial 1. Handbooks that call the octave
//! the "first harmonic" (Prout, The Orchestra, vol. 1, 1898, ch. IX, p. 177) count one less.

use super::{Instrument, Limit, NaturalSeries};
use crate::music::{Interval, Pitch};

/// The highest partial that virtuosi of the clarino reached (Altenburg, 1795, from memory).
pub(super) const HIGHEST_PARTIAL: u8 = 20;

/// The way from the fundamental to each partial as it is written, partial 1 first.
///
/// Source: common practice for the spelling. 11 is written F# or F and 13 A or Ab on a C series;
/// the first of each pair stands here.
const WRITTEN: [Interval; HIGHEST_PARTIAL as usize] = [
    Interval::new(0, 0),
    Interval::new(7, 12),
    Interval::new(11, 19),
    Interval::new(14, 24),
    Interval::new(16, 28),
    Interval::new(18, 31),
    Interval::new(20, 34),
    Interval::new(21, 36),
    Interval::new(22, 38),
    Interval::new(23, 40),
    Interval::new(24, 42),
    Interval::new(25, 43),
    Interval::new(26, 45),
    Interval::new(27, 46),
    Interval::new(27, 47),
    Interval::new(28, 48),
    Interval::new(28, 49),
    Interval::new(29, 50),
    Interval::new(30, 51),
    Interval::new(30, 52),
];

/// A partial farther than this from the nearest note of the piano is read as either neighbour.
const READ_EITHER_WAY: f64 = 100.0 / 3.0;

/// Semitones by which the hand lowers a partial.
const HAND_REACH: i32 = 2;
/// The partial below which the hand later fills the gap down to the next one (written C4 to G3), and
/// by how many semitones: from memory.
const FAR_PARTIAL: u8 = 4;
const FAR_REACH: i32 = 4;

/// Cents by which a partial lies above (positive) or below the note so many semitones above the
/// fundamental in equal temperament. Partial 0 does not exist and gives minus infinity.
#[must_use]
pub fn cents_from(partial: u8, semitones: i32) -> f64 {
    1200.0 * f64::from(partial).log2() - 100.0 * f64::from(semitones)
}

/// Cents by which a partial lies above (positive) or below the nearest note of equal temperament:
/// 0 for the octaves, -31.2 for partial 7. Partial 0 does not exist and gives no number.
#[must_use]
pub fn nearest_cents(partial: u8) -> f64 {
    let cents = 1200.0 * f64::from(partial).log2();
    cents - 100.0 * (cents / 100.0).round()
}

/// Which player of a pair: the high or the low one.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum PlayerRank {
    /// The high player (cor alto, clarino), first of each pair.
    First,
    /// The low player (cor basse, principale), second of each pair.
    Second,
}

/// What a written note is to a player of brass without valves.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum PartialClass {
    /// The open partial of that number, in tune.
    OpenInTune(u8),
    /// The open partial of that number, which is out of tune unless the player mends it.
    OpenOutOfTune(u8),
    /// No open note, but the hand in the bell reaches it from a partial a semitone or a tone above.
    Stopped,
    /// Neither: the instrument does not have the note.
    NotAvailable,
}

/// An open note of the series.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct OpenNote {
    /// Number of the partial.
    pub partial: u8,
    /// Written pitch; two partials, 11 and 13, have a second spelling a semitone lower.
    pub written: Pitch,
    /// Is it in tune?
    pub in_tune: bool,
    /// Cents above (positive) or below the written pitch in equal temperament.
    pub cents: f64,
}

impl NaturalSeries {
    /// Written pitch of a partial; `None` for 0 and above 20.
    #[must_use]
    pub fn written(&self, partial: u8) -> Option<Pitch> {
        let way = WRITTEN.get(usize::from(partial).checked_sub(1)?)?;
        self.fundamental.transposed(*way)
    }

    /// The other spelling of a partial that lies between two notes: F5 for partial 11 and Ab5 for
    /// partial 13 of the series on C2. `None` for all others.
    #[must_use]
    pub fn other_reading(&self, partial: u8) -> Option<Pitch> {
        if nearest_cents(partial).abs() <= READ_EITHER_WAY {
            return None;
        }
        let way = WRITTEN.get(usize::from(partial).checked_sub(1)?)?;
        self.fundamental.transposed(*way + Interval::new(0, -1))
    }

    /// Lowest and highest partial of a player of that rank.
    #[must_use]
    pub fn partials(&self, rank: PlayerRank) -> (u8, u8) {
        match rank {
            PlayerRank::First => self.first,
            PlayerRank::Second => self.second,
        }
    }

    /// The open notes of a player of that rank, from the lowest up, out-of-tune ones included.
    pub fn open_notes(&self, rank: PlayerRank) -> impl Iterator<Item = OpenNote> + '_ {
        let (low, high) = self.partials(rank);
        (low..=high).filter_map(|partial| {
            let written = self.written(partial)?;
            let semitones = Interval::between(self.fundamental, written).semitones;
            Some(OpenNote {
                partial,
                written,
                in_tune: !self.out_of_tune.contains(&partial),
                cents: cents_from(partial, semitones),
            })
        })
    }

    /// What a written note is in a year, whichever player of the pair has it.
    ///
    /// Notes are told by their height, so that D#4 and Eb4 are the same. Partials below and above
    /// those of both players (the fundamental above all) do not count. The rule for stopped notes
    /// is height alone: just below the lowest partial it still answers [`PartialClass::Stopped`],
    /// and the compass is what forbids the note.
    #[must_use]
    pub fn classify(&self, written: Pitch, year: i32) -> PartialClass {
        let partials = self.first.0.min(self.second.0)..=self.first.1.max(self.second.1);
        let height = written.midi();
        let stands_for = |partial: u8| {
            [self.written(partial), self.other_reading(partial)]
                .into_iter()
                .flatten()
                .any(|pitch| pitch.midi() == height)
        };
        if let Some(partial) = partials.clone().find(|&partial| stands_for(partial)) {
            return if self.out_of_tune.contains(&partial) {
                PartialClass::OpenOutOfTune(partial)
            } else {
                PartialClass::OpenInTune(partial)
            };
        }
        let hand_is_known = self.stopping_from.is_some_and(|from| year >= from);
        let far = self.stopping_far_from.is_some_and(|from| year >= from);
        let reach =
            |partial: u8| if far && partial == FAR_PARTIAL { FAR_REACH } else { HAND_REACH };
        let under_a_partial = partials
            .filter_map(|partial| Some((partial, self.written(partial)?)))
            .any(|(partial, pitch)| (1..=reach(partial)).contains(&(pitch.midi() - height)));
        if hand_is_known && under_a_partial {
            PartialClass::Stopped
        } else {
            PartialClass::NotAvailable
        }
    }
}

impl Instrument {
    /// Does it stand in a key of which there is a choice, by the instrument or its crook (clarinet, horn)? Else its
    /// transposition is its own (piccolo, double bass, cor anglais).
    #[must_use]
    pub fn has_choice_of_keys(&self) -> bool {
        !self.keys.is_empty() || !self.crooks.is_empty()
    }

    /// The open notes of a player of that rank that lie within a limit of a year, from the lowest
    /// up; nothing for instruments that are not brass without valves.
    pub fn open_notes(
        &self,
        rank: PlayerRank,
        limit: Limit,
        year: i32,
    ) -> impl Iterator<Item = OpenNote> + '_ {
        let compass = self.compass(limit, year);
        self.natural.iter().flat_map(move |series| series.open_notes(rank)).filter(move |note| {
            compass.is_none_or(|compass| (compass.low..=compass.high).contains(&note.written))
        })
    }
}

//! What notes a player has: the comfortable compass, the open notes of a crook, the tuned drums.

use crate::arrange::Part;
use crate::instruments::{Limit, PlayerRank};
use crate::music::{Chord, Pitch, PitchName, Time};

/// How far a player may be asked to go.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(in crate::arrange) enum Reach {
    /// Where filling notes lie well: the customary compass without its ends.
    Comfortable,
    /// All that the player has.
    Whole,
}

/// The notes that a player has in a stretch of time, in sounding pitch.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub(in crate::arrange) enum Supply {
    /// Strokes without pitch.
    Unpitched,
    /// These and no others, from the lowest up: open notes in tune, tuned drums.
    Notes(Vec<Pitch>),
    /// All from `low` to `high` (MIDI key numbers) but those that are missing.
    Compass { low: i32, high: i32, missing: Vec<i32> },
}

/// The part of a compass that is left out at its ends where filling notes are to lie well: one
/// eighth at the top, for wind also at the bottom, where soft notes are a risk. (Our heuristic.)
const ENDS: i32 = 8;

/// What a player has at a time in a year.
pub(in crate::arrange) fn supply(part: &Part, era: i32, time: Time, reach: Reach) -> Supply {
    let instrument = part.instrument_at(time);
    if instrument.unpitched {
        return Supply::Unpitched;
    }
    if !instrument.drums.is_empty() {
        return Supply::Notes(drums_at(part, time).to_vec());
    }
    let to_sounding = part.transposition_at(time);
    let tuning = part.tuning_at(time);
    if let Some(series) = &instrument.natural {
        let rank = rank(part);
        let limit = if reach == Reach::Comfortable { Limit::Custom } else { Limit::Instrument };
        let safe = |written: Pitch, partial: u8| {
            reach == Reach::Whole
                || (tuning.and_then(|t| t.safe_low).is_none_or(|low| written >= low)
                    && tuning.and_then(|t| t.safe_high).is_none_or(|high| written <= high)
                    && (rank == PlayerRank::Second || partial <= series.first_safe_to))
        };
        let notes = instrument
            .open_notes(rank, limit, era)
            .filter(|note| note.in_tune && safe(note.written, note.partial))
            .map(|note| note.written.transposed_or_respelled(to_sounding))
            .collect();
        return Supply::Notes(notes);
    }
    let custom = instrument.compass(Limit::Custom, era);
    let whole = instrument.compass(Limit::Instrument, era);
    let compass = if reach == Reach::Comfortable { custom.or(whole) } else { whole.or(custom) };
    let Some(compass) = compass else { return Supply::Notes(Vec::new()) };
    let up = if instrument.compass_is_written { to_sounding.semitones } else { 0 };
    let (mut low, mut high) = (compass.low.midi(), compass.high.midi());
    if reach == Reach::Comfortable {
        let end = (high - low) / ENDS;
        high = (high - end).min(tuning.and_then(|t| t.safe_high).map_or(i32::MAX, Pitch::midi));
        if instrument.breathes {
            low += end;
        }
        low = low.max(tuning.and_then(|t| t.safe_low).map_or(i32::MIN, Pitch::midi));
    }
    let missing = compass.missing.iter().map(|pitch| pitch.midi() + up).collect();
    Supply::Compass { low: low + up, high: high + up, missing }
}

/// High or low player: the second, fourth … of a line plays low.
pub(super) fn rank(part: &Part) -> PlayerRank {
    if part.player.is_second() { PlayerRank::Second } else { PlayerRank::First }
}

/// The tuning of the drums in force.
fn drums_at(part: &Part, time: Time) -> &[Pitch] {
    let after = part.drums.partition_point(|(from, _)| *from <= time);
    part.drums.get(after.saturating_sub(1)).map_or(&[], |(_, notes)| notes)
}

impl Supply {
    /// Has the player this note?
    pub(in crate::arrange) fn has(&self, pitch: Pitch) -> bool {
        let height = pitch.midi();
        match self {
            Supply::Unpitched => false,
            Supply::Notes(notes) => notes.iter().any(|note| note.midi() == height),
            Supply::Compass { low, high, missing } => {
                (*low..=*high).contains(&height) && !missing.contains(&height)
            }
        }
    }

    /// The notes of a chord that the player has, from the lowest up. An open note of a crook keeps
    /// the name that it has on paper, even where the chord spells it otherwise.
    pub(super) fn of_chord(&self, chord: &Chord) -> Vec<Pitch> {
        self.of_names(&chord.members())
    }

    /// The same of the notes that have one of these names.
    pub(super) fn of_names(&self, members: &[PitchName]) -> Vec<Pitch> {
        let mut found: Vec<Pitch> = match self {
            Supply::Unpitched => Vec::new(),
            Supply::Notes(notes) => notes
                .iter()
                .copied()
                .filter(|note| members.iter().any(|m| m.class() == note.name().class()))
                .collect(),
            Supply::Compass { low, high, .. } => {
                let octaves = (low / 12 - 2)..=(high / 12);
                octaves
                    .filter_map(|octave| i8::try_from(octave).ok())
                    .flat_map(|octave| members.iter().map(move |member| member.at(octave)))
                    .filter(|&pitch| self.has(pitch))
                    .collect()
            }
        };
        found.sort_unstable();
        found.dedup_by_key(|pitch| pitch.midi());
        found
    }

    /// Does what the player has go down to where it is heard as a bass? (Our heuristic: to the A
    /// at the bottom of the bass staff.)
    pub(super) fn is_deep(&self) -> bool {
        match self {
            Supply::Unpitched => false,
            Supply::Notes(notes) => notes.first().is_some_and(|note| note.midi() <= 45),
            Supply::Compass { low, .. } => *low <= 45,
        }
    }

    /// The middle of what the player has, as a MIDI key number.
    pub(super) fn middle(&self) -> i32 {
        match self {
            Supply::Unpitched => 60,
            Supply::Notes(notes) => notes.get(notes.len() / 2).map_or(60, |note| note.midi()),
            Supply::Compass { low, high, .. } => (low + high) / 2,
        }
    }
}

/// What one player has at every time of the piece.
#[derive(Hash)]
pub(super) struct Supplies {
    from: Vec<(Time, Supply)>,
}

impl Supplies {
    pub(super) fn new(part: &Part, era: i32) -> Supplies {
        let mut times: Vec<Time> = std::iter::once(Time::ZERO)
            .chain(part.instruments.iter().map(|(time, _)| *time))
            .chain(part.tunings.iter().map(|(time, _)| *time))
            .chain(part.drums.iter().map(|(time, _)| *time))
            .collect();
        times.sort_unstable();
        times.dedup();
        let from = times
            .into_iter()
            .map(|time| (time, supply(part, era, time, Reach::Comfortable)))
            .collect();
        Supplies { from }
    }

    /// The number of the stretch of time, for those who remember what they worked out for it.
    pub(super) fn stretch(&self, time: Time) -> usize {
        self.from.partition_point(|(from, _)| *from <= time).saturating_sub(1)
    }

    pub(super) fn at(&self, time: Time) -> &Supply {
        &self.from[self.stretch(time)].1
    }

    /// Does something hold of what the player has, whenever it is?
    pub(super) fn all(&self, holds: impl Fn(&Supply) -> bool) -> bool {
        self.from.iter().all(|(_, supply)| holds(supply))
    }
}

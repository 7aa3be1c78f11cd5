//! Who holds notes: the players of all `sustains` lines of a scoring, choir by choir.

use super::cost;
use super::slots::Slot;
use crate::arrange::derive::Request;
use crate::arrange::derive::supply::{Supplies, Supply};
use crate::instruments::{Family, Instrument, Limit, Loudness};
use crate::music::Pitch;
use crate::narrow::Narrow;

/// Players who stand together: a family of the orchestra, horns apart from the heavy brass.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub(in crate::arrange) enum Choir {
    Strings,
    Woodwind,
    Horns,
    Brass,
    Others,
}

impl Choir {
    pub(in crate::arrange) fn of(instrument: &Instrument) -> Choir {
        match (instrument.family, instrument.loudness) {
            (Family::Strings, _) => Choir::Strings,
            (Family::Woodwind, _) => Choir::Woodwind,
            (Family::Brass, Loudness::Horn) => Choir::Horns,
            (Family::Brass, _) => Choir::Brass,
            _ => Choir::Others,
        }
    }
}

/// What a player is for among those who hold a chord.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub(super) enum Duty {
    /// Any note of the chord.
    Free,
    /// The bass, with it or an octave below: tuba, contrabassoon, double bass. (Common practice.)
    Ground,
    /// Rather the bass than another note, low in its choir: the bass trombone.
    Low,
    /// In a tutti the same, as the lowest of a whole choir: bassoon 2. (Common practice.)
    LowInTutti,
}

/// One player who holds notes.
#[derive(Hash)]
pub(super) struct Seat {
    /// Index of his line among the requests.
    pub(super) line: usize,
    /// His index within the line.
    pub(super) player: usize,
    /// The name of his ensemble line.
    pub(super) name: String,
    pub(super) choir: Choir,
    pub(super) place: Duty,
    pub(super) supplies: Supplies,
    /// A trombone of any size: they are one section, whatever their lines.
    slides: bool,
    /// Does his compass end between those of the violin and the cello?
    tenor: bool,
    /// Natural brass or drums.
    natural: bool,
    drums: bool,
}

impl Seat {
    /// The notes of a chord that the player may hold, from the lowest up; drums have only the root
    /// and the perfect fifth, and who has the bass has one, too, that is foreign to the chord. (Common
    /// practice.)
    pub(super) fn notes(&self, slot: &Slot) -> Vec<Pitch> {
        let supply = self.supplies.at(slot.start);
        let mut notes = match cost::foreign_bass(&slot.chord).filter(|_| self.place != Duty::Free) {
            Some(bass) => {
                let mut members = slot.chord.members();
                members.push(bass);
                supply.of_names(&members)
            }
            None => supply.of_chord(&slot.chord),
        };
        if self.drums {
            let root = slot.chord.root.class();
            notes.retain(|pitch| matches!((pitch.midi() - root).rem_euclid(12), 0 | 7));
        }
        notes
    }

    /// Are two players of one section: of one line of the ensemble, or both trombones?
    pub(super) fn is_of_section(&self, other: &Seat) -> bool {
        self.name == other.name || (self.slides && other.slides)
    }

    /// Does what he has go down to where it is heard as a bass, always, with any note of the scale?
    fn goes_deep(&self) -> bool {
        !self.natural && self.choir != Choir::Strings && self.supplies.all(Supply::is_deep)
    }

    /// Does he stand above the bass of the strings: a viola, by its compass?
    pub(super) fn is_tenor(&self) -> bool {
        self.choir == Choir::Strings && self.place == Duty::Free && self.tenor
    }

    /// Has a player of the same choir a note of his own wherever the chord has one: of the section, and
    /// who has the bass below the choir?
    pub(super) fn parts_from(&self, other: &Seat) -> bool {
        self.choir == other.choir
            && (self.is_of_section(other) || [self.place, other.place].contains(&Duty::Ground))
    }

    /// The same as MIDI key numbers.
    pub(super) fn heights(&self, slot: &Slot) -> Vec<i16> {
        self.notes(slot).iter().map(|pitch| pitch.midi().narrow::<i16>()).collect()
    }

    /// What it costs him to rest although he has a note.
    pub(super) fn resting(&self) -> u32 {
        if self.natural { cost::RESTING_NATURAL } else { cost::RESTING }
    }
}

/// The players of several lines, each choir from the highest down. Players stand by the middle of
/// their compass; where it is the same, by number. Four horns stand 1, 3, 2, 4: the high players
/// of both pairs above the low ones (common practice).
pub(super) fn seats(requests: &[&Request]) -> Vec<Seat> {
    let mut seats: Vec<(i32, bool, Seat)> = Vec::new();
    for (line, request) in requests.iter().enumerate() {
        for (player, part) in request.parts.iter().enumerate() {
            if request.kept[player] || request.own_bars(player).next().is_none() {
                continue;
            }
            let supplies = Supplies::new(part, request.era);
            let supply = supplies.at(request.begins(player));
            let instrument = request.instrument(player);
            if matches!(supply, Supply::Unpitched) || instrument.staves > 1 {
                continue;
            }
            let natural = instrument.natural.is_some();
            let fellows = requests.iter().flat_map(|request| &request.parts);
            let name = &part.player.line_name;
            let in_fours = fellows.filter(|other| other.player.line_name == *name).count() >= 4;
            let low = (in_fours || natural) && part.player.is_second();
            // Crooks differ by a few notes; that does not make a second player a first.
            let middle = if natural { 60 } else { supply.middle() };
            let drums = !instrument.drums.is_empty();
            let seat = Seat {
                line,
                player,
                name: name.clone(),
                choir: Choir::of(instrument),
                place: place(instrument),
                slides: !instrument.slides.is_empty(),
                tenor: is_tenor(instrument),
                natural: natural || drums,
                drums,
                supplies,
            };
            seats.push((-middle, low, seat));
        }
    }
    seats.sort_by(|(a_middle, a_low, a), (b_middle, b_low, b)| {
        let number = |seat: &Seat| requests[seat.line].parts[seat.player].player.number;
        let key = |middle: &i32, low: &bool, seat: &Seat| {
            (seat.choir, *middle, *low, seat.name.clone(), number(seat))
        };
        key(a_middle, a_low, a).cmp(&key(b_middle, b_low, b))
    });
    let mut seats: Vec<Seat> = seats.into_iter().map(|(.., seat)| seat).collect();
    for choir in seats.chunk_by_mut(|one, two| one.choir == two.choir) {
        if choir.len() > cost::COMPLETE && choir.iter().all(|seat| seat.place != Duty::Low) {
            let lowest = choir.iter_mut().rev().find(|seat| seat.place == Duty::Free);
            if let Some(seat) = lowest.filter(|seat| seat.goes_deep()) {
                seat.place = Duty::LowInTutti;
            }
        }
    }
    seats
}

/// Does an instrument go down to the C of the viola, or near it, and no further?
fn is_tenor(instrument: &Instrument) -> bool {
    /// MIDI numbers of A2 and E3. Our heuristic.
    const LOWEST: std::ops::RangeInclusive<i32> = 45..=52;
    let lows = instrument.compasses.iter().filter(|compass| compass.limit == Limit::Instrument);
    lows.map(|compass| compass.low.midi()).min().is_some_and(|low| LOWEST.contains(&low))
}

/// Where an instrument stands in a chord: at the bottom those that go down to the great octave's end
/// and beyond and have one note at a time; low a slide below that of the tenor.
fn place(instrument: &Instrument) -> Duty {
    /// MIDI numbers of sounding F1 and D2. Our heuristic.
    const GROUND: i32 = 29;
    const LOW_SLIDE: i32 = 38;
    let sounding = |low: Pitch| match instrument.compass_is_written {
        true => low.transposed(instrument.transposition).unwrap_or(low),
        false => low,
    };
    let lows = |limit: Limit| instrument.compasses.iter().filter(move |c| c.limit == limit);
    let lowest = lows(Limit::Instrument).map(|compass| sounding(compass.low).midi()).min();
    let first = lows(Limit::Custom).min_by_key(|compass| compass.from);
    let asked = first.map(|compass| sounding(compass.low).midi());
    if lowest.is_some_and(|low| low <= GROUND) && instrument.staves == 1 && !instrument.unpitched {
        Duty::Ground
    } else if !instrument.slides.is_empty() && asked.is_some_and(|low| low <= LOW_SLIDE) {
        Duty::Low
    } else {
        Duty::Free
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::instruments::find;

    #[test]
    fn the_ground_and_the_low_slide_are_found_by_their_compass() {
        for (id, wanted) in [
            ("tuba", Duty::Ground),
            ("contrabassoon", Duty::Ground),
            ("double-bass", Duty::Ground),
            ("bass-trombone", Duty::Low),
            ("tenor-trombone", Duty::Free),
            ("alto-trombone", Duty::Free),
            ("bassoon", Duty::Free),
            ("cello", Duty::Free),
            ("harp", Duty::Free),
            ("natural-horn", Duty::Free),
            ("bass-clarinet", Duty::Free),
        ] {
            assert_eq!(place(find(id).unwrap()), wanted, "{id}");
        }
    }
}

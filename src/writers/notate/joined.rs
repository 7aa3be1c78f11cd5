//! Pieces in movements: each is written by itself, as if nothing stood before it; here its bars come
//! behind those of the movements before it.

use smallvec::SmallVec;

use crate::arrange::{ArrangedMovement, Arrangement, Part};
use crate::instruments::Instrument;
use crate::music::Time;
use crate::resolve::Technique;

use super::staff::{Bars, finished};
use super::{
    ElementKind, FrameBar, Measure, Notation, Origin, Pitches, ScoreMovement, Staff,
    StaffDirection, StaffDirectionKind, hands, names,
};

/// The bars of all movements. Numbers, rehearsal marks and "attacca" are those of the whole.
pub(super) fn frame(arrangement: &Arrangement, movements: &[Notation]) -> Vec<FrameBar> {
    let form = &arrangement.piece.form;
    let mut frame: Vec<FrameBar> = Vec::with_capacity(form.bars.len());
    for (movement, own) in arrangement.movements.iter().zip(movements) {
        let moved = |bar: &FrameBar| FrameBar { start: bar.start + movement.start, ..bar.clone() };
        frame.extend(own.frame.iter().map(moved));
    }
    for (bar, whole) in frame.iter_mut().zip(&form.bars) {
        bar.number = whole.number;
        bar.mark.clone_from(&whole.mark);
        bar.signs.clone_from(&whole.signs);
    }
    frame
}

/// The movements with their titles.
pub(super) fn movements(arrangement: &Arrangement) -> Vec<ScoreMovement> {
    let form = &arrangement.piece.form;
    let all = form.movements.iter().zip(form.movement_bars());
    all.map(|(movement, bars)| ScoreMovement { title: movement.title.clone(), bars }).collect()
}

/// What a player reads in all movements.
pub(super) fn staff(notation: &Notation, player: usize) -> Staff {
    let arrangement = notation.arrangement;
    let part = &arrangement.parts[player];
    let mut row = Row::default();
    for (movement, own) in arrangement.movements.iter().zip(&notation.movements) {
        let index = movement.players.get(player).copied().flatten();
        let index = index.filter(|index| *index < movement.arrangement.parts.len());
        let written = index.and_then(|index| own.staves(index..index + 1).pop());
        let mut written = match written {
            Some(written) => written,
            None => {
                row.append(silent(part, &own.frame, notation.pitches), movement);
                continue;
            }
        };
        row.take(&mut written);
        row.append(written, movement);
    }
    let (mut measures, lower) = row.staves();
    say_changes(part, arrangement, &notation.frame, &mut measures);
    take_back(arrangement, &mut measures);
    finished(part, measures, lower)
}

/// What a player reads, movement behind movement.
#[derive(Default)]
struct Row {
    movements: Vec<Read>,
    /// The instrument in hand at the end.
    hand: Option<&'static Instrument>,
}

/// What he reads in one of them.
struct Read {
    measures: Vec<Measure>,
    /// Those of the lower staff; empty where he reads one.
    lower: Vec<Measure>,
    plays: bool,
}

impl Row {
    /// Says with the first bar of a movement what is in hand there, where that is something else.
    fn take(&mut self, own: &mut Staff) {
        let begins = own.instrument;
        if let Some(first) = own.measures.first_mut()
            && self.hand.is_some_and(|hand| !std::ptr::eq(hand, begins))
        {
            first.instrument.get_or_insert(begins);
        }
        let taken = own.measures.iter().rev().find_map(|measure| measure.instrument);
        self.hand = Some(taken.unwrap_or(begins));
    }

    fn append(&mut self, own: Staff, movement: &ArrangedMovement) {
        let plays = own.plays();
        let Staff { mut measures, mut lower, .. } = own;
        measures.iter_mut().chain(&mut lower).for_each(|measure| behind(measure, movement.lines));
        let mut before = self.movements.iter().rev().flat_map(|read| read.measures.iter().rev());
        let so_far = before.find_map(|measure| measure.transposition);
        if let Some(first) = measures.first_mut().filter(|_| so_far.is_some()) {
            first.transposition = first.transposition.filter(|by| Some(*by) != so_far);
        }
        self.movements.push(Read { measures, lower, plays });
    }

    /// The measures of the one staff or the two. Where the player reads two in some movements, the lower
    /// one is absent from those in which he reads one. Who plays from two nowhere has one where he rests.
    fn staves(self) -> (Vec<Measure>, Vec<Measure>) {
        let plays = || self.movements.iter().filter(|read| read.plays);
        let on_one = plays().next().is_some() && plays().all(|read| read.lower.is_empty());
        let braced = !on_one && self.movements.iter().any(|read| !read.lower.is_empty());
        let (mut measures, mut lower) = (Vec::new(), Vec::new());
        for mut read in self.movements {
            if on_one {
                // A bass that is read alone has the clef of the lower staff.
                for (upper, lower) in read.measures.iter_mut().zip(&mut read.lower) {
                    upper.clefs = std::mem::take(&mut lower.clefs);
                }
            } else if braced && read.lower.is_empty() {
                let absent = |upper: &Measure| Measure { absent: true, ..upper.at_rest() };
                lower.extend(read.measures.iter().map(absent));
            } else {
                lower.append(&mut read.lower);
            }
            measures.append(&mut read.measures);
        }
        (measures, lower)
    }
}

/// What somebody reads who has nothing to do with a movement.
fn silent(part: &Part, frame: &[FrameBar], pitches: Pitches) -> Staff {
    let player = &part.player;
    let part = Part {
        player: player.clone(),
        notes: crate::arrange::Notes::default(),
        tuplets: Vec::new(),
        rests: Vec::new(),
        directions: Vec::new(),
        claims: Vec::new(),
        instruments: vec![(Time::ZERO, player.instrument)],
        tunings: player.tuning.map(|tuning| (Time::ZERO, tuning)).into_iter().collect(),
        drums: Vec::new(),
        takes: Vec::new(),
        waits: Vec::new(),
    };
    hands::staff(&part, &Bars::new(frame, pitches))
}

/// Moves the scoring lines of what stands in a measure behind those of the movements before it.
fn behind(measure: &mut Measure, lines: usize) {
    let origins = measure.elements.iter_mut().map(|element| &mut element.origin);
    for origin in origins.chain(measure.directions.iter_mut().map(|said| &mut said.origin)) {
        let moved =
            |line: crate::arrange::LineId| crate::arrange::LineId::new(line.index() + lines);
        *origin = Origin { line: origin.line.map(moved), ..*origin };
    }
}

/// Every movement begins bowed and open: who was plucking or muted at the end of the one before is
/// told so at their first note, unless they go on.
fn take_back(arrangement: &Arrangement, measures: &mut [Measure]) {
    use Technique::{Arco, Muted, Pizzicato, Unmuted};
    let starts: Vec<usize> = arrangement.movements.iter().map(|movement| movement.first).collect();
    let (mut plucked, mut muted) = (false, false);
    for (number, &first) in starts.iter().enumerate() {
        let after = starts.get(number + 1).copied().unwrap_or(measures.len());
        let Some(own) = measures.get_mut(first..after) else { return };
        let sounds = |measure: &Measure| {
            let mut notes = measure.elements.iter();
            notes.find(|one| matches!(one.kind, ElementKind::Note(_))).map(|one| one.at)
        };
        let entry = own.iter().enumerate().find_map(|(bar, one)| Some((bar, sounds(one)?)));
        let Some((bar, at)) = entry else { continue };
        // At the entry, or in the rest before it.
        let said = |one: Technique| {
            let kind = StaffDirectionKind::Technique(one);
            let before = own[..bar].iter().flat_map(|measure| &measure.directions);
            let here = own[bar].directions.iter().filter(|said| said.at <= at);
            before.chain(here).any(|said| said.kind == kind)
        };
        let mut back: SmallVec<[Technique; 2]> = SmallVec::new();
        back.extend((plucked && !said(Pizzicato) && !said(Arco)).then_some(Arco));
        back.extend((muted && !said(Muted) && !said(Unmuted)).then_some(Unmuted));
        let directions = &mut own[bar].directions;
        for technique in back.into_iter().rev() {
            let kind = StaffDirectionKind::Technique(technique);
            let place = directions.partition_point(|other| other.at < at);
            directions.insert(place, StaffDirection { at, kind, origin: Origin::default() });
        }
        for said in own.iter().flat_map(|measure| &measure.directions) {
            match said.kind {
                StaffDirectionKind::Technique(Pizzicato) => plucked = true,
                StaffDirectionKind::Technique(Arco) => plucked = false,
                StaffDirectionKind::Technique(Muted) => muted = true,
                StaffDirectionKind::Technique(Unmuted) => muted = false,
                _ => {}
            }
        }
    }
}

/// Tells what a player takes between two movements: behind his last note before it, and at the head of
/// the movement in which he plays on it.
fn say_changes(
    part: &Part,
    arrangement: &Arrangement,
    frame: &[FrameBar],
    measures: &mut [Measure],
) {
    let later = arrangement.movements.iter().skip(1);
    let starts: Vec<Time> = later.map(|movement| movement.start).collect();
    let told = names::changes_told(part, frame, &starts).into_iter();
    for told in told.filter(|told| told.taken == Time::ZERO || starts.contains(&told.taken)) {
        let begun = |bar: &FrameBar| bar.start < told.at || bar.start == told.at && !told.at_end;
        let bar = frame.partition_point(begun).saturating_sub(1);
        let (Some(frame), Some(measure)) = (frame.get(bar), measures.get_mut(bar)) else {
            continue;
        };
        let kind = StaffDirectionKind::Change(told.words);
        let said = StaffDirection { at: told.at - frame.start, kind, origin: Origin::default() };
        // A movement in which he changes says by itself in what he begins it.
        if measure.directions.iter().any(|other| (other.at, &other.kind) == (said.at, &said.kind)) {
            continue;
        }
        let place = measure.directions.partition_point(|other| other.at < said.at);
        measure.directions.insert(place, said);
    }
}

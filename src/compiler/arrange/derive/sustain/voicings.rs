//! All voicings of a chord that the leaders of a choir can hold, the cheapest first.

use crate::narrow::Narrow;
use std::collections::HashMap;
use std::rc::Rc;

use super::cost::{self, Leaders, MOST, REST, Row, Wants};
use super::seats::Seat;
use super::slots::Slot;
use crate::lists::push_slowly;
use crate::music::Chord;

/// The voicings of one chord.
pub(super) struct Voicings {
    /// What each leader has of the chord, from the lowest up.
    pub(super) notes: [Vec<i16>; MOST],
    /// For each leader and height, its place among these notes, or [`NOWHERE`].
    places: [[u8; HEIGHTS]; MOST],
    /// All of them, the cheapest first; all players resting is among them.
    pub(super) rows: Box<[Voicing]>,
    pub(super) wants: Wants,
}

/// One voicing, small: of a chord there may be thousands, and many chords are known at a time.
#[derive(Clone, Copy)]
pub(super) struct Voicing {
    /// What it costs, and below that in eight bits the members of the chord that it has.
    cost_and_has: u32,
    row: [i8; MOST],
}

/// Nothing costs more than this, as far as voicings are told apart.
const DEAREST: u32 = u32::MAX >> u8::BITS;

impl Voicing {
    fn new(cost: u32, row: &Row, has: u8) -> Voicing {
        let cost_and_has = cost.min(DEAREST) << u8::BITS | u32::from(has);
        Voicing { cost_and_has, row: row.map(|height| height.narrow::<i8>()) }
    }

    /// What it costs by itself.
    pub(super) fn cost(self) -> u32 {
        self.cost_and_has >> u8::BITS
    }

    /// What each leader has.
    pub(super) fn row(self) -> Row {
        self.row.map(i16::from)
    }

    /// The members of the chord that it has, as a set of bits.
    pub(super) fn has(self) -> u8 {
        (self.cost_and_has & u32::from(u8::MAX)).narrow::<u8>()
    }
}

/// Heights that MIDI key numbers name.
pub(super) const HEIGHTS: usize = 128;

/// The place of a height that a leader does not have.
const NOWHERE: u8 = u8::MAX;

impl Voicings {
    /// The place of a height among the notes that a leader has.
    pub(super) fn place_of(&self, leader: usize, height: i16) -> Option<usize> {
        let place = *self.places[leader].get(usize::try_from(height).ok()?)?;
        (place != NOWHERE).then_some(usize::from(place))
    }
}

/// For each leader the stretch of time in which his supply is the same.
type Stretches = [Option<usize>; MOST];

/// The players of a choir who hold a passage together: those who lead, and who joins them.
pub(super) struct Desk {
    /// Indices of seats from the highest down, at most [`MOST`].
    pub(super) leaders: Vec<usize>,
    /// Indices of seats in the same order.
    pub(super) followers: Vec<usize>,
    room: [i16; MOST],
}

impl Desk {
    /// From seats in order from the highest down; the leaders stand evenly among them.
    pub(super) fn new(seats: &[usize]) -> Desk {
        let count = seats.len();
        let leading = count.min(MOST);
        // The highest and the lowest lead always: whoever has the bass takes it first.
        let place_of = |leader: usize| {
            if count <= MOST { leader } else { leader * (count - 1) / (MOST - 1) }
        };
        let mut room = [0; MOST];
        for (leader, room) in room.iter_mut().enumerate().take(leading).skip(1) {
            *room = (place_of(leader) - place_of(leader - 1) - 1).narrow::<i16>();
        }
        let leads = |place: usize| (0..leading).any(|leader| place_of(leader) == place);
        let (leaders, followers): (Vec<usize>, Vec<usize>) =
            (0..count).partition(|&place| leads(place));
        let of = |places: Vec<usize>| places.into_iter().map(|place| seats[place]).collect();
        Desk { leaders: of(leaders), followers: of(followers), room }
    }

    pub(super) fn players(&self) -> usize {
        self.leaders.len() + self.followers.len()
    }
}

/// What voicings are asked for: the players, the chord, the bass, and the stretches.
type Asked = (Vec<usize>, Chord, Option<i32>, Stretches);

/// Voicings that are worked out once for each desk, chord and supply.
#[derive(Default)]
pub(super) struct Known {
    by_chord: HashMap<Asked, Rc<Voicings>>,
}

impl Known {
    pub(super) fn voicings(&mut self, slot: &Slot, desk: &Desk, seats: &[Seat]) -> Rc<Voicings> {
        let mut stretches = [None; MOST];
        for (leader, &seat) in desk.leaders.iter().enumerate() {
            stretches[leader] = Some(seats[seat].supplies.stretch(slot.start));
        }
        let leading = cost::leading_class(&slot.chord, slot.key);
        let voicings = self
            .by_chord
            .entry((desk.leaders.clone(), slot.chord, leading, stretches))
            .or_insert_with(|| Rc::new(all(slot, desk, seats)));
        Rc::clone(voicings)
    }
}

fn all(slot: &Slot, desk: &Desk, seats: &[Seat]) -> Voicings {
    let wants = Wants::new(&slot.chord, slot.key);
    let mut notes: [Vec<i16>; MOST] = Default::default();
    let mut middles = [0i16; MOST];
    let mut leaders = Leaders { resting: [0; MOST], room: desk.room, players: desk.players() };
    for (leader, &seat) in desk.leaders.iter().enumerate() {
        let seat = &seats[seat];
        middles[leader] = seat.supplies.at(slot.start).middle().narrow::<i16>();
        notes[leader] = seat.heights(slot);
        if !notes[leader].is_empty() {
            leaders.resting[leader] = seat.resting();
        }
    }
    let mut rows: Vec<Voicing> = Vec::new();
    let mut row = [REST; MOST];
    place(&notes, 0, i16::MAX, &mut row, &mut |row| {
        if let Some((cost, has)) = cost::chord(row, &wants, &leaders) {
            let far: u32 = row
                .iter()
                .zip(&middles)
                .filter(|(note, _)| **note != REST)
                .map(|(note, middle)| cost::far_from(*middle, *note))
                .sum();
            push_slowly(&mut rows, Voicing::new(cost + far, row, has.narrow::<u8>()));
        }
    });
    rows.sort_unstable_by_key(|voicing| (voicing.cost(), voicing.row));
    let mut places = [[NOWHERE; HEIGHTS]; MOST];
    for (notes, places) in notes.iter().zip(&mut places) {
        for (&height, number) in notes.iter().zip(0..NOWHERE) {
            if let Some(place) = usize::try_from(height).ok().and_then(|h| places.get_mut(h)) {
                *place = number;
            }
        }
    }
    Voicings { notes, places, rows: rows.into(), wants }
}

/// Goes through all rows in which no player stands above the one before.
fn place(
    notes: &[Vec<i16>; MOST],
    player: usize,
    ceiling: i16,
    row: &mut Row,
    visit: &mut impl FnMut(&Row),
) {
    if player == MOST {
        visit(row);
        return;
    }
    row[player] = REST;
    place(notes, player + 1, ceiling, row, visit);
    for &height in &notes[player] {
        if height > ceiling {
            break;
        }
        row[player] = height;
        place(notes, player + 1, height, row, visit);
    }
    row[player] = REST;
}

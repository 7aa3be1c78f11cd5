//! All voicings of a chord that a group of players can hold, the cheapest first.

use std::collections::HashMap;
use std::rc::Rc;

use super::cost::{self, MOST, REST, Row, Wants};
use super::{Slot, Supplies};
use crate::music::{Chord, Pitch};

/// The voicings of one chord.
pub(super) struct Voicings {
    /// What each player has of the chord, from the lowest up.
    pub(super) notes: [Vec<Pitch>; MOST],
    /// Voicings without a fault, the cheapest first; all players resting is among them.
    pub(super) rows: Vec<(u32, Row)>,
    pub(super) wants: Wants,
}

/// For each leader who plays, the stretch of time in which his supply is the same.
type Stretches = [Option<usize>; MOST];

/// Voicings that are worked out once for each chord and supply.
#[derive(Default)]
pub(super) struct Known {
    by_chord: HashMap<(Chord, Option<i32>, Stretches), Rc<Voicings>>,
}

impl Known {
    pub(super) fn voicings(
        &mut self,
        slot: &Slot,
        leaders: &[usize],
        supplies: &[Supplies],
    ) -> Rc<Voicings> {
        let mut stretches = [None; MOST];
        for (leader, &player) in leaders.iter().enumerate() {
            stretches[leader] = slot.active[leader].then(|| supplies[player].stretch(slot.start));
        }
        let leading = cost::leading_class(&slot.chord, slot.key);
        let voicings = self
            .by_chord
            .entry((slot.chord, leading, stretches))
            .or_insert_with(|| Rc::new(all(slot, leaders, supplies)));
        Rc::clone(voicings)
    }
}

fn all(slot: &Slot, leaders: &[usize], supplies: &[Supplies]) -> Voicings {
    let wants = Wants::new(&slot.chord, slot.key);
    let mut notes: [Vec<Pitch>; MOST] = Default::default();
    let mut middles = [0i16; MOST];
    for (leader, &player) in leaders.iter().enumerate() {
        let supply = supplies[player].at(slot.start);
        middles[leader] = supply.middle() as i16;
        if slot.active[leader] {
            notes[leader] = supply.of_chord(&slot.chord);
        }
    }
    let could = std::array::from_fn(|leader| !notes[leader].is_empty());
    let mut rows = Vec::new();
    let mut row = [REST; MOST];
    place(&notes, 0, i16::MAX, &mut row, &mut |row| {
        if let Some(cost) = cost::chord(row, &wants, could) {
            // A note far from the middle of the compass is held with more care.
            let far: u32 = row
                .iter()
                .zip(&middles)
                .filter(|(note, _)| **note != REST)
                .map(|(note, middle)| u32::from((note - middle).unsigned_abs()))
                .map(|far| far + 2 * far.saturating_sub(6))
                .sum();
            rows.push((cost + far, *row));
        }
    });
    rows.sort_unstable();
    Voicings { notes, rows, wants }
}

/// Goes through all rows in which no player stands above the one before.
fn place(
    notes: &[Vec<Pitch>; MOST],
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
    for note in &notes[player] {
        let height = note.midi() as i16;
        if height > ceiling {
            break;
        }
        row[player] = height;
        place(notes, player + 1, height, row, visit);
    }
    row[player] = REST;
}

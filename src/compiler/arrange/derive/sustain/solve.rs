//! The cheapest way of a choir's leaders through the voicings of a passage.

use crate::narrow::Narrow;
use std::cell::RefCell;
use std::rc::Rc;

use super::board::Board;
use super::cost::{self, MOST, PARALLEL, REST, Row, SETS, Tendency};
use super::ear::{self, Held, Others};
use super::seats::Choir;
use super::slots::Slot;
use super::voicings::{self, Desk, HEIGHTS, Voicings};
use crate::arrange::derive::search::{Choice, cheapest_within};

/// How many voicings of each slot are looked at first.
const BEAM: usize = 16;

/// How many at most.
const WIDE: usize = 256;

/// Up to so many slots without a break the way found is the cheapest of all, not of the beam only.
const SHORT: usize = 16;

/// What it costs a player to move in parallel octaves with one of another choir, whom he may well
/// double, and in parallel fifths.
const FOLLOWS_IN_OCTAVES: u32 = 6;
const FOLLOWS_IN_FIFTHS: u32 = 80;

/// What it costs to resolve the leading note in octaves with the tune: one of a tutti doubles it so.
const RESOLVES_ALONG: u32 = 40;

/// What parallels with an outer voice cost that come about from a passing note off the beat.
const FROM_PASSING: u32 = 40;

/// What there is to a slot for the leaders of a desk.
pub(super) struct Stage {
    /// How the voices come to it.
    pub(super) voices: Voices,
    /// How others come to it, written and worked out.
    others: Vec<(Choir, (i16, i16))>,
    choir: Choir,
    grounds: [bool; MOST],
    /// Is it a tutti, and are the players no strings, who have the tune for the most part?
    tutti: bool,
    pub(super) voicings: Rc<Voicings>,
    /// For each leader and height, what it costs against what else is heard.
    against: [[u16; HEIGHTS]; MOST],
    /// What the lowest note of the leaders costs as the bottom of the choir.
    bottom: [u16; HEIGHTS],
    /// What the whole lacks by the members that the leaders have.
    whole: [u16; SETS],
    /// What of that which the leaders lack their family has with the melody or the bass.
    of_family: [u16; SETS],
}

/// How the outer voices come to a slot.
#[derive(Clone, Copy, Default)]
pub(super) struct Voices {
    /// Outer notes where the slot before begins, and where this one does.
    pub(super) from: Option<(i16, i16)>,
    pub(super) to: Option<(i16, i16)>,
    /// Outer notes just before, each with whether it bears on the ear.
    pub(super) before: Option<[(i16, bool); 2]>,
}

/// The stages of a desk in a passage.
pub(super) fn stages(
    board: &Board,
    desk: &Desk,
    passage: std::ops::Range<usize>,
    known: &mut voicings::Known,
) -> Vec<Stage> {
    passage.map(|slot| stage(board, desk, slot, known)).collect()
}

pub(super) fn stage(board: &Board, desk: &Desk, at: usize, known: &mut voicings::Known) -> Stage {
    let (slot, ear) = (&board.slots[at], &board.ears[at]);
    let voicings = known.voicings(slot, desk, board.seats);
    let of_desk = |seat: usize| desk.leaders.contains(&seat) || desk.followers.contains(&seat);
    let choir = desk.leaders.first().map_or(Choir::Others, |&seat| board.seats[seat].choir);
    let others = Others::new(choir, board.others(at, of_desk), ear);
    let mut against = [[0; HEIGHTS]; MOST];
    let mut grounds = [false; MOST];
    for (leader, &seat) in desk.leaders.iter().enumerate() {
        let seat = &board.seats[seat];
        grounds[leader] = ear.goes_with_bass(seat, desk, leader, slot);
        for &height in &voicings.notes[leader] {
            if let Some(cost) =
                usize::try_from(height).ok().and_then(|h| against[leader].get_mut(h))
            {
                *cost = ear::against(seat, height, &voicings.wants, ear, &others, desk.players())
                    .narrow::<u16>();
            }
        }
    }
    let heard =
        others.sounding().iter().fold(ear.classes, |all, (_, h)| all | 1 << h.rem_euclid(12));
    let heard = voicings.wants.members_among(heard);
    let whole = std::array::from_fn(|has| voicings.wants.all_lack(has | heard).narrow::<u16>());
    let led = voicings.wants.members_among(ear.leading_of(choir));
    let of_family = std::array::from_fn(|has| {
        let lacks = |has| voicings.wants.lacks(has, desk.players());
        lacks(has).saturating_sub(lacks(has | led)).narrow::<u16>()
    });
    let moves = board.moves(at, of_desk);
    let voices = board.voices(at);
    let bottom = bottom(board, desk, slot, &voicings, choir, others.sounding());
    let tutti = ear.is_tutti_for(choir);
    Stage {
        voices,
        others: moves,
        choir,
        grounds,
        tutti,
        voicings,
        against,
        bottom,
        whole,
        of_family,
    }
}

/// What each note costs as the lowest of a choir that goes down so far that it is heard as a bass.
fn bottom(
    board: &Board,
    desk: &Desk,
    slot: &Slot,
    voicings: &Voicings,
    choir: Choir,
    others: &[Held],
) -> [u16; HEIGHTS] {
    let mut bottom = [0; HEIGHTS];
    let Some(&last) = desk.leaders.last() else { return bottom };
    if !board.seats[last].supplies.at(slot.start).is_deep() || desk.players() < cost::COMPLETE {
        return bottom;
    }
    let of_choir = others.iter().filter(|(other, _)| *other == choir);
    let below = of_choir.map(|(_, height)| *height).min().unwrap_or(i16::MAX);
    let bass = slot.chord.bass_note().class();
    for (height, cost) in (0i16..).zip(&mut bottom) {
        if height < below {
            *cost = voicings.wants.at_bottom(height, bass, slot.ends).narrow::<u16>();
        }
    }
    bottom
}

impl Stage {
    fn cost_of(&self, cost: u32, row: &Row, has: u8) -> u32 {
        let of = |(leader, note): (usize, &i16)| {
            usize::try_from(*note).ok().and_then(|note| self.against[leader].get(note))
        };
        let against: u32 = row.iter().enumerate().filter_map(of).map(|c| u32::from(*c)).sum();
        let lowest = row.iter().rev().find(|note| **note != REST);
        let lowest = lowest.and_then(|note| usize::try_from(*note).ok());
        let bottom = lowest.and_then(|note| self.bottom.get(note)).map_or(0, |c| u32::from(*c));
        let has = usize::from(has);
        cost.saturating_sub(u32::from(self.of_family[has]))
            + against
            + bottom
            + u32::from(self.whole[has])
    }

    #[cfg(test)]
    pub(super) fn all_rows(&self) -> impl Iterator<Item = (u32, Row)> {
        let of = |voicing: &voicings::Voicing| {
            let row = voicing.row();
            (self.cost_of(voicing.cost(), &row, voicing.has()), row)
        };
        self.voicings.rows.iter().map(of)
    }

    /// The cheapest voicings, at least `count` and all that cost no more than `limit`.
    fn choices(&self, count: usize, limit: u32) -> Vec<Choice<Row>> {
        let mut found: Vec<(u32, Row)> = Vec::with_capacity(count + 1);
        for voicing in &self.voicings.rows {
            let (cost, row) = (voicing.cost(), voicing.row());
            let full = found.len() >= count;
            if full && found.last().is_some_and(|(last, _)| cost > limit.max(*last)) {
                break;
            }
            let cost = self.cost_of(cost, &row, voicing.has());
            if full && found.last().is_some_and(|last| cost > limit && (cost, row) >= *last) {
                continue;
            }
            let place = found.partition_point(|entry| *entry < (cost, row));
            found.insert(place, (cost, row));
            let last_is_dear = found.last().is_some_and(|(last, _)| *last > limit);
            if found.len() > count && (last_is_dear || found.len() > WIDE) {
                found.pop();
            }
        }
        found.into_iter().map(|(cost, state)| Choice { state, cost }).collect()
    }
}

/// What going from one stage to the next costs; `None` where it is more than `budget`.
pub(super) fn step(from: &Stage, to: &Stage, a: &Row, b: &Row, budget: u32) -> Option<u32> {
    stepped(a, b, budget, |player, moved, top| movement(from, to, player, moved, top))
}

/// The same, where `movement` tells what one player's own movement costs.
fn stepped(
    a: &Row,
    b: &Row,
    budget: u32,
    mut movement: impl FnMut(usize, (i16, i16), bool) -> u32,
) -> Option<u32> {
    let mut cost: u32 = a.iter().zip(b).map(|(a, b)| cost::move_of(*a, *b)).sum();
    if cost > budget {
        return None;
    }
    cost += cost::consecutives(a, b);
    let top = a.iter().position(|note| *note != REST);
    for player in 0..MOST {
        let moved = (a[player], b[player]);
        if moved.0 == REST || moved.1 == REST || moved.0 == moved.1 {
            continue;
        }
        if cost > budget {
            return None;
        }
        cost += movement(player, moved, top == Some(player));
    }
    (cost <= budget).then_some(cost)
}

/// What it costs that one player moves so, whatever the other leaders do; `top` is the highest of
/// them.
fn movement(from: &Stage, to: &Stage, player: usize, moved: (i16, i16), top: bool) -> u32 {
    let (wants, next) = (&from.voicings.wants, &to.voicings.wants);
    let tendency = wants.tendencies[usize::from(moved.0.unsigned_abs() % 12)];
    let ground = to.grounds[player];
    let mut cost = cost::unresolved(tendency, moved.0, moved.1, next.classes, top);
    cost += wants.still(next) + wants.leap(moved.0, moved.1, next);
    cost += match to.tutti {
        true => to.voices.along_in_tutti(moved, ground, tendency),
        false => to.voices.along(moved, ground),
    };
    if to.voices.is_bass(moved, ground) {
        return cost;
    }
    for &(choir, other) in &to.others {
        if cost::parallel(moved, other) {
            cost += match (choir == to.choir, cost::in_octaves(moved, other)) {
                // Two who double the bass, from a note of its chord that it has left.
                (true, true) if ground && to.voices.is_with_bass(moved.1) => 0,
                (true, _) => PARALLEL,
                (false, true) => FOLLOWS_IN_OCTAVES,
                (false, false) => FOLLOWS_IN_FIFTHS,
            };
        }
    }
    cost
}

/// What single movements between the stages of a passage cost, each worked out once: many voicings
/// share their notes. Of long passages what was needed last is known, of short ones all.
struct Movements<'a> {
    passage: &'a [Stage],
    known: [Costs; SHORT],
}

/// What is known of the movements to one stage.
#[derive(Default)]
struct Costs {
    stage: usize,
    /// For each player, note before, note now, and whether he is the highest; or [`UNKNOWN`].
    costs: Vec<u32>,
    /// How many notes a player has at most before and now.
    notes: [usize; 2],
}

/// What no movement costs.
const UNKNOWN: u32 = u32::MAX;

impl Movements<'_> {
    fn of(passage: &[Stage]) -> Movements<'_> {
        Movements { passage, known: Default::default() }
    }

    /// What going from the stage before to that one costs; `None` where it is more than `budget`.
    fn step(&mut self, stage: usize, a: &Row, b: &Row, budget: u32) -> Option<u32> {
        let (from, to) = (&self.passage[stage - 1], &self.passage[stage]);
        let known = &mut self.known[stage % SHORT];
        if known.stage != stage {
            let most = |stage: &Stage| stage.voicings.notes.iter().map(Vec::len).max();
            let notes = [from, to].map(|stage| most(stage).unwrap_or(0));
            *known = Costs { stage, costs: std::mem::take(&mut known.costs), notes };
            known.costs.clear();
            known.costs.resize(MOST * notes[0] * notes[1] * 2, UNKNOWN);
        }
        let [before, now] = known.notes;
        stepped(a, b, budget, |player, moved, top| {
            let work_out = || movement(from, to, player, moved, top);
            let places =
                (from.voicings.place_of(player, moved.0), to.voicings.place_of(player, moved.1));
            let (Some(one), Some(two)) = places else { return work_out() };
            let at = ((player * before + one) * now + two) * 2 + usize::from(top);
            let cost = &mut known.costs[at];
            if *cost == UNKNOWN {
                *cost = work_out();
            }
            *cost
        })
    }
}

impl Voices {
    /// The same for a player of a tutti who is not of the family that has the tune: his leading note
    /// may rise in octaves with it.
    pub(super) fn along_in_tutti(
        &self,
        moved: (i16, i16),
        ground: bool,
        tendency: Tendency,
    ) -> u32 {
        match self.along(moved, ground) {
            PARALLEL if tendency == Tendency::Up && self.is_above_by_octaves(moved) => {
                RESOLVES_ALONG
            }
            cost => cost,
        }
    }

    /// Does the top voice rise by the same semitone, octaves away?
    fn is_above_by_octaves(&self, moved: (i16, i16)) -> bool {
        let before = self.before.map(|[_, (high, _)]| high).into_iter();
        let from = before.chain(self.from.map(|(_, high)| high));
        let Some((_, to)) = self.to else { return false };
        moved.1 - moved.0 == 1
            && to != moved.1
            && (to - moved.1) % 12 == 0
            && from.into_iter().any(|from| to - from == 1)
    }

    /// Does whoever plays the bass or its octave below (`ground`) go along with it? Then its
    /// parallels with others are those of the bass.
    pub(super) fn is_bass(&self, moved: (i16, i16), ground: bool) -> bool {
        let before = self.before.map(|[(low, _), _]| low).filter(|low| *low != REST);
        let from = before.or(self.from.map(|(low, _)| low));
        ground && self.is_with_bass(moved.1) && from.is_some_and(|low| (low - moved.0) % 12 == 0)
    }

    /// Is this the note to which the bass goes, or its octave below?
    fn is_with_bass(&self, height: i16) -> bool {
        self.to.is_some_and(|(low, _)| height <= low && (low - height) % 12 == 0)
    }

    /// What one player's movement costs against the outer voices. Whoever plays the bass an octave
    /// below it (`ground`) goes along with it.
    pub(super) fn along(&self, moved: (i16, i16), ground: bool) -> u32 {
        let Some((low, high)) = self.to else { return 0 };
        if self.is_bass(moved, ground) {
            return 0;
        }
        let low_too = |from: i16| {
            with_voice(moved, (from, low))
                && !(ground && (moved.0 - from) % 12 == 0 && moved.1 <= low)
        };
        let mut cost = 0;
        let against = |voice: (i16, i16)| voice.0 != REST && cost::contrary(moved, voice);
        if let Some(from) = self.from {
            let both = [(from.0, low), (from.1, high)].into_iter().filter(|voice| against(*voice));
            cost += cost::CONTRARY * both.count().narrow::<u32>();
        }
        if let Some(from) = self.from
            && (low_too(from.0) || with_voice(moved, (from.1, high)))
        {
            return PARALLEL;
        }
        let [low_before, high_before] = self.before.unwrap_or([(REST, false); 2]);
        for ((leaving, bears), is_low) in [(low_before, true), (high_before, false)] {
            let along = leaving != REST
                && if is_low { low_too(leaving) } else { with_voice(moved, (leaving, high)) };
            if along {
                cost += if bears { PARALLEL } else { FROM_PASSING };
            }
        }
        cost.min(PARALLEL)
    }
}

/// Parallels with a source voice; here even a unison is one, since the voice is another's.
pub(super) fn with_voice(player: (i16, i16), voice: (i16, i16)) -> bool {
    cost::parallel(player, voice)
        || (player.0 != player.1 && player.0 == voice.0 && player.1 == voice.1)
}

/// The cheapest way through a passage and what it costs; `entry` is what the leaders held in the
/// slot before, with its stage.
pub(super) fn way(passage: &[Stage], entry: Option<(&Stage, Row)>) -> (u32, Vec<Row>) {
    let movements = RefCell::new(Movements::of(passage));
    let go = |choices: &[Vec<Choice<Row>>], limit| {
        cheapest_within(choices, limit, |stage, a, b, budget| {
            movements.borrow_mut().step(stage, a, b, budget)
        })
    };
    let entered = |choices: &mut [Vec<Choice<Row>>]| {
        if let (Some((before, row)), Some(first)) = (&entry, choices.first_mut()) {
            for choice in first {
                let way = step(before, &passage[0], row, &choice.state, u32::MAX);
                choice.cost += way.unwrap_or(0);
            }
        }
    };
    let mut choices: Vec<Vec<Choice<Row>>> =
        passage.iter().map(|stage| stage.choices(BEAM, 0)).collect();
    if entry.is_some() && !passage.is_empty() {
        choices[0] = passage[0].choices(WIDE, 0);
    }
    entered(&mut choices);
    let Some(mut found) = go(&choices, u32::MAX) else {
        return (0, vec![[REST; MOST]; passage.len()]);
    };
    if passage.len() <= SHORT {
        // No way through a voicing can be cheaper than that voicing and the cheapest of all other
        // slots, so what lies above the cost found can be left out without loss.
        let least: Vec<u32> =
            choices.iter().map(|c| c.iter().map(|choice| choice.cost).min().unwrap_or(0)).collect();
        let floor: u32 = least.iter().sum();
        let slack = found.0.saturating_sub(floor);
        let mut wider: Vec<Vec<Choice<Row>>> =
            passage.iter().zip(&least).map(|(s, least)| s.choices(BEAM, least + slack)).collect();
        entered(&mut wider);
        if let Some(better) = go(&wider, found.0) {
            found = better;
            choices = wider;
        }
    }
    let rows = found.1.iter().zip(&choices).map(|(&index, stage)| stage[index].state).collect();
    (found.0, rows)
}

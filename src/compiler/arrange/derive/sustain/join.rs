//! Players of a choir beyond those who are voiced together join them one by one, each on the
//! cheapest way through what is left to him.

use crate::narrow::Narrow;
use std::ops::Range;

use super::board::Board;
use super::cost::{self, REST};
use super::ear::{self, Others};
use super::seats::{Choir, Duty};
use crate::arrange::derive::search::{Choice, cheapest};

/// What parallels cost with one of the same choir, whom a player of a large choir may double in
/// the octave, and with one of another.
const FIFTHS: u32 = 300;
const OCTAVES: u32 = 20;
const FIFTHS_ELSEWHERE: u32 = 80;
const OCTAVES_ELSEWHERE: u32 = 6;

/// What it costs to stand on the wrong side of a player, and of one of the same section.
const CROSSES: u32 = 40;
const CROSSES_HIS_SECTION: u32 = 600;

/// What it costs to stand in unison with one of the same section, or with whoever has the bass
/// below the choir: a pair is written in two notes wherever the chord has them, and a tuba an octave
/// below the bass trombone (common practice).
const SHARES_WITH_HIS_SECTION: u32 = 150;

/// Works out one seat in a passage against all others.
pub(super) fn join(board: &mut Board, seat: usize, passage: Range<usize>) {
    let stages: Vec<Vec<Choice<i16>>> =
        passage.clone().map(|at| choices(board, seat, at)).collect();
    let moves: Vec<Vec<(Choir, (i16, i16))>> =
        passage.clone().map(|at| board.moves(at, |other| other == seat)).collect();
    let mut stages = stages;
    let first = passage.start;
    if let Some(before) = first.checked_sub(1).filter(|_| board.slots[first].joined)
        && let Some(choices) = stages.first_mut()
    {
        let from = board.heights.of(before, seat);
        for choice in choices {
            choice.cost += step(board, seat, first, &moves[0], from, choice.state);
        }
    }
    let way = cheapest(&stages, |stage, from, to, _| {
        Some(step(board, seat, first + stage, &moves[stage], *from, *to))
    });
    let Some((_, way)) = way else { return };
    for ((at, index), stage) in passage.zip(way).zip(&stages) {
        board.heights.put(at, seat, stage[index].state);
    }
}

fn choices(board: &Board, seat: usize, at: usize) -> Vec<Choice<i16>> {
    let (slot, ear, wants) = (&board.slots[at], &board.ears[at], &board.wants[at]);
    let own = &board.seats[seat];
    let notes = own.heights(slot);
    let others = Others::new(own.choir, board.others(at, |other| other == seat), ear);
    let sounding = others.sounding();
    let heard = sounding.iter().fold(ear.classes, |all, (_, h)| all | 1 << h.rem_euclid(12));
    let heard = wants.members_among(heard);
    let choir: Vec<i16> = sounding
        .iter()
        .filter(|(choir, _)| *choir == own.choir)
        .map(|(_, height)| *height)
        .collect();
    let has = choir.iter().filter_map(|height| wants.member(*height)).fold(0, |s, m| s | 1 << m);
    let middle = own.supplies.at(slot.start).middle().narrow::<i16>();
    let has = has | wants.members_among(ear.leading_of(own.choir));
    let lacks = |has: usize| wants.lacks(has, choir.len() + 1) + wants.all_lack(has | heard);
    let mut choices: Vec<Choice<i16>> = notes
        .iter()
        .map(|&height| {
            let member = wants.member(height).unwrap_or(0);
            let times = choir.iter().filter(|other| wants.member(**other) == Some(member)).count();
            let mut cost = ear::against(own, height, wants, ear, &others, choir.len() + 1)
                + cost::far_from(middle, height)
                + lacks(has | 1 << member)
                + crossing(board, seat, at, height);
            if !wants.tender(height) {
                cost += wants.shared(member, times.narrow::<u32>(), choir.len() + 1);
            }
            let nearest = |above: bool| {
                let there =
                    choir.iter().filter(|o| if above { **o > height } else { **o < height });
                there.map(|other| (other - height).abs()).min()
            };
            cost += nearest(true).map_or(0, |gap| cost::beside(gap, height));
            cost += nearest(false).map_or(0, |gap| cost::beside(gap, height - gap));
            Choice { state: height, cost }
        })
        .collect();
    let resting = if notes.is_empty() { 0 } else { own.resting() };
    choices.push(Choice { state: REST, cost: resting + lacks(has) });
    choices
}

/// What it costs to stand above one who stands higher, or below one who stands lower.
fn crossing(board: &Board, seat: usize, at: usize, height: i16) -> u32 {
    let own = &board.seats[seat];
    let mut cost = 0;
    for (other, there) in board.seats.iter().enumerate() {
        let theirs = board.heights.of(at, other);
        if there.choir != own.choir || other == seat || theirs == REST {
            continue;
        }
        if (other < seat && height > theirs) || (other > seat && height < theirs) {
            cost += if there.is_of_section(own) { CROSSES_HIS_SECTION } else { CROSSES };
        } else if height == theirs && there.parts_from(own) {
            cost += SHARES_WITH_HIS_SECTION;
        }
    }
    cost
}

fn step(
    board: &Board,
    seat: usize,
    at: usize,
    moves: &[(Choir, (i16, i16))],
    from: i16,
    to: i16,
) -> u32 {
    let mut cost = cost::move_of(from, to);
    if from == REST || to == REST || from == to {
        return cost;
    }
    let own = &board.seats[seat];
    let tendency = board.wants[at - 1].tendencies[usize::from(from.unsigned_abs() % 12)];
    cost += cost::unresolved(tendency, from, to, board.wants[at].classes, false);
    cost += board.wants[at - 1].still(&board.wants[at]);
    cost += board.wants[at - 1].leap(from, to, &board.wants[at]);
    let voices = board.voices(at);
    let ground = own.place != Duty::Free;
    cost += match board.ears[at].is_tutti_for(own.choir) {
        true => voices.along_in_tutti((from, to), ground, tendency),
        false => voices.along((from, to), ground),
    };
    for &(choir, other) in moves {
        if cost::parallel((from, to), other) {
            cost += match (choir == own.choir, cost::in_octaves((from, to), other)) {
                (true, false) => FIFTHS,
                (true, true) if own.place == Duty::Ground => 0,
                (true, true) => OCTAVES,
                (false, false) => FIFTHS_ELSEWHERE,
                (false, true) => OCTAVES_ELSEWHERE,
            };
        }
    }
    cost
}

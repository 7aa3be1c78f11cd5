//! Held chord notes for several players together, solved over the whole passage.
//!
//! The passage is cut into slots: a chord within a bar. At each slot the cheapest voicings are
//! the choices, and the cheapest way through them is found by dynamic programming. Faults are
//! forbidden outright; where nothing else is left, players rest.

mod breath;
mod choirs;
mod cost;
mod followers;
mod rhythm;
mod solve;
#[cfg(test)]
mod tests;
mod voicings;

use super::findings::{self, Silent};
use super::supply::{Supplies, Supply};
use super::texture::Texture;
use super::{DerivedPart, Request};
use crate::diagnostics::{Diagnostic, Span};
use crate::music::{Chord, Key, Pitch, Time};
use crate::resolve::{HarmonyEvent, Restrike};
use cost::MOST;

pub(super) use cost::leading_class;

/// A chord within a bar, and which of the leading players have it.
struct Slot {
    start: Time,
    end: Time,
    chord: Chord,
    key: Key,
    span: Span,
    /// Index of the chord in the harmony.
    event: usize,
    active: [bool; MOST],
}

/// Where one player holds one note.
#[derive(Clone, Copy, Debug)]
struct Held {
    start: Time,
    end: Time,
    pitch: Pitch,
    span: Span,
    event: usize,
}

/// The notes of `sustains`, one entry for each player of the line.
pub(super) fn sustain(
    request: &Request,
    harmony: &[HarmonyEvent],
    restrike: Restrike,
    diagnostics: &mut Vec<Diagnostic>,
) -> Vec<DerivedPart> {
    let supplies: Vec<Supplies> =
        request.parts.iter().map(|part| Supplies::new(part, request.era)).collect();
    let empty = || request.parts.iter().map(|_| DerivedPart::default()).collect();
    let bars = request.bars();
    if bars.is_empty() {
        return empty();
    }
    let (leaders, followers) = order(request, &supplies);
    let slots = slots(request, harmony, &leaders);
    if slots.is_empty() {
        diagnostics.push(findings::no_harmony(request, &bars));
        return empty();
    }
    let texture = Texture::of(request);
    let stages = solve::stages(request, &slots, &leaders, &supplies, &texture);
    let chosen = solve::solve(&stages);
    let shared = followers::shared(request, &slots, &stages, &chosen, &followers, &supplies);

    let mut held: Vec<Vec<Held>> = request.parts.iter().map(|_| Vec::new()).collect();
    for ((slot, row), shared) in slots.iter().zip(&chosen).zip(&shared) {
        let mut hold = |player: usize, pitch: Pitch| {
            held[player].push(Held {
                start: slot.start,
                end: slot.end,
                pitch,
                span: slot.span,
                event: slot.event,
            });
        };
        for (place, &player) in leaders.iter().enumerate() {
            if let Some(pitch) = row[place] {
                hold(player, pitch);
            }
        }
        for (&(player, _), pitch) in followers.iter().zip(shared) {
            if let Some(pitch) = pitch {
                hold(player, *pitch);
            }
        }
    }
    silent(request, &slots, &supplies, &held, diagnostics);
    followers::tell(request, &slots, &followers, &held, diagnostics);
    let goals = breath::goals(request, &slots);
    let mut taken = breath::Taken::new();
    held.iter()
        .enumerate()
        .map(|(player, held)| {
            let notes =
                rhythm::notes(request, player, held, restrike, &texture, &goals, &mut taken);
            DerivedPart { notes, tuplets: Vec::new() }
        })
        .collect()
}

/// The players who are voiced together, from the highest down, and those beyond the fourth, each
/// with the place of the leader whose notes he shares.
///
/// Players stand by the middle of their compass; where it is the same, in the order of the line.
/// Four horns stand 1, 3, 2, 4: the high players of both pairs above the low ones (common
/// practice).
fn order(request: &Request, supplies: &[Supplies]) -> (Vec<usize>, Vec<(usize, usize)>) {
    let mut players: Vec<usize> = (0..request.parts.len())
        .filter(|&p| !matches!(supplies[p].at(request.begins(p)), Supply::Unpitched))
        .collect();
    let in_fours = |player: usize| {
        let name = &request.parts[player].player.line_name;
        request.parts.iter().filter(|part| part.player.line_name == *name).count() >= 4
    };
    players.sort_by_key(|&player| {
        let part = request.parts[player];
        let low = in_fours(player) && part.player.is_second();
        // Crooks differ by a few notes; that does not make a second player a first.
        let natural = request.instrument(player).natural.is_some();
        let supply = supplies[player].at(request.begins(player));
        let middle = if natural { 60 } else { supply.middle() };
        let low = low || (natural && part.player.is_second());
        (-middle, low, player)
    });
    if players.len() <= MOST {
        return (players, Vec::new());
    }
    let count = players.len();
    let first_of = |leader: usize| leader * count / MOST;
    let leaders = (0..MOST).map(|leader| players[first_of(leader)]).collect();
    let followers = (0..count)
        .filter_map(|place| {
            let leader = (0..MOST).rev().find(|&leader| first_of(leader) <= place)?;
            (first_of(leader) != place).then_some((players[place], leader))
        })
        .collect();
    (leaders, followers)
}

fn slots(request: &Request, harmony: &[HarmonyEvent], leaders: &[usize]) -> Vec<Slot> {
    let form = &request.piece.form;
    let mut slots = Vec::new();
    for (first, after) in request.bars() {
        for (bar, place) in form.bars.iter().enumerate().take(after).skip(first) {
            let (from, to) = request.bar_times(bar);
            let begin = harmony.partition_point(|event| event.start + event.length <= from);
            let mut active = [false; MOST];
            for (leader, &player) in leaders.iter().enumerate() {
                active[leader] = request.claims(player, bar);
            }
            let events = harmony.iter().enumerate().skip(begin);
            for (event, chord) in events.take_while(|(_, event)| event.start < to) {
                slots.push(Slot {
                    start: chord.start.max(from),
                    end: (chord.start + chord.length).min(to),
                    chord: chord.chord,
                    key: place.key,
                    span: chord.span,
                    event,
                    active,
                });
            }
        }
    }
    slots
}

/// Says which players get nothing in the whole passage, and why.
fn silent(
    request: &Request,
    slots: &[Slot],
    supplies: &[Supplies],
    held: &[Vec<Held>],
    diagnostics: &mut Vec<Diagnostic>,
) {
    let mut found: Vec<(usize, Silent)> = Vec::new();
    for player in 0..request.parts.len() {
        if !held[player].is_empty() {
            continue;
        }
        let mut mine = slots
            .iter()
            .filter(|slot| request.claims(player, request.piece.form.index_at(slot.start)))
            .peekable();
        if mine.peek().is_none() {
            continue;
        }
        let could = mine.any(|s| !supplies[player].at(s.start).of_chord(&s.chord).is_empty());
        found.push((player, if could { Silent::TooMany } else { Silent::NoNote }));
    }
    findings::silent(request, &found, diagnostics);
}

/// The stages of a line, for those who want to look at them one by one.
#[cfg(test)]
fn stages_of(request: &Request) -> Vec<solve::Stage> {
    let supplies: Vec<Supplies> =
        request.parts.iter().map(|part| Supplies::new(part, request.era)).collect();
    let (leaders, _) = order(request, &supplies);
    let slots = slots(request, &request.piece.harmony, &leaders);
    solve::stages(request, &slots, &leaders, &supplies, &Texture::of(request))
}

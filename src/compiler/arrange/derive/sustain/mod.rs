//! Held chord notes for all players of a scoring who hold any, solved over the whole passage.
//!
//! The passage is cut into slots: a chord within a bar. The players stand in choirs, families of
//! the orchestra, whatever line they are on. At each slot the cheapest voicings of a choir are the
//! choices, and the cheapest way through them is found by dynamic programming. Faults are dear, and
//! to rest is dearer; what is left of faults is told.

mod board;
mod breath;
mod cost;
mod ear;
mod feet;
mod figures;
mod ground;
#[cfg(test)]
mod handbook;
mod heights;
mod join;
mod plucked;
mod realise;
mod rhythm;
#[cfg(test)]
mod rule_book;
mod seats;
mod settled;
#[cfg(test)]
mod settled_tests;
mod slots;
mod solve;
#[cfg(test)]
mod tests;
mod told;
mod voicings;

use super::findings::{self, Silent};
use super::texture::Texture;
use super::{Derived, Request, Sounding};
use crate::arrange::PackedNote;
use crate::diagnostics::Diagnostic;
use crate::music::{Pitch, Time};
use crate::resolve::{BarIndices, Verb};
use board::Board;
use ear::Hearing;
use ground::Bass;

pub(super) use cost::{KnownWants, Wants, leading_class};
pub(in crate::arrange) use realise::realise;
pub(in crate::arrange) use seats::Choir;
use seats::Duty;
pub(in crate::arrange) use settled::Settled;

/// Where one player holds one note.
#[derive(Clone, Copy, Debug)]
struct Held {
    start: Time,
    end: Time,
    pitch: Pitch,
    /// Index of its chord in the harmony.
    event: u32,
}

/// The notes of all `sustains` lines of a scoring, line by line one entry for each player.
pub(in crate::arrange) fn sustain(
    requests: &[Request],
    around: &Sounding,
    settled: (Option<&Settled>, Option<&mut Settled>),
    diagnostics: &mut Vec<Diagnostic>,
) -> Vec<Vec<Derived>> {
    let Some(first) = requests.first() else { return Vec::new() };
    let (harmony, form) = (first.harmony, &first.piece.form);
    let texture = Texture::of(first);
    let seats = seats::seats(&requests.iter().collect::<Vec<&Request>>());
    let slots = slots::slots(requests, harmony, &seats);
    let hearing = Hearing { form, texture: &texture, sounding: around, tutti: false };
    let mut board = Board::new(&seats, &slots, hearing);
    board.solve(form, settled.0, settled.1);

    told::faults(requests, &board, diagnostics);
    let bass = Bass { form, texture: &texture, around };
    let goals = breath::goals(form, &slots);
    let mut taken = breath::Taken::new();
    let mut lines = Vec::with_capacity(requests.len());
    for (line, request) in requests.iter().enumerate() {
        if request.bars().is_empty() {
            lines.push(request.parts.iter().map(|_| Derived::default()).collect());
            continue;
        }
        let Verb::Sustains { restrike } = request.line.verb else { continue };
        let mut parts: Vec<Derived> = Vec::with_capacity(request.parts.len());
        let mut silent: Vec<usize> = Vec::new();
        let mut sharing = told::Sharing::asked_of(request);
        for player in 0..request.parts.len() {
            let held = held(&board, (line, player), &bass);
            let notes = match request.instrument(player).staves {
                ..=1 => {
                    rhythm::notes(request, player, &held, restrike, &texture, &goals, &mut taken)
                }
                _ => {
                    let chords = plucked::chords(request, player, restrike, &texture, diagnostics);
                    chords.into_iter().map(PackedNote::from).collect()
                }
            };
            if let Some(sharing) = &mut sharing {
                sharing.add(&held);
            }
            if notes.is_empty() && !request.kept[player] {
                silent.push(player);
            }
            parts.push(Derived::settled(notes, request.piece));
        }
        say(request, &silent, diagnostics);
        if let Some(sharing) = &sharing {
            told::sharing(request, sharing, diagnostics);
        }
        lines.push(parts);
    }
    lines
}

/// What a player of a line holds, slot by slot.
fn held(board: &Board, (line, player): (usize, usize), bass: &Bass) -> Vec<Held> {
    let own = |seat: &seats::Seat| (seat.line, seat.player) == (line, player);
    let Some(index) = board.seats.iter().position(own) else { return Vec::new() };
    let seat = &board.seats[index];
    let sounds = |at: &usize| board.heights.of(*at, index) != cost::REST;
    let mut held = Vec::with_capacity((0..board.slots.len()).filter(sounds).count());
    for (at, slot) in board.slots.iter().enumerate() {
        let height = board.heights.of(at, index);
        if height == cost::REST {
            continue;
        }
        let notes = seat.notes(slot);
        let of_height = |pitch: &&Pitch| pitch.midi() == i32::from(height);
        let Some(&pitch) = notes.iter().find(of_height) else { continue };
        let (start, end, event) = (slot.start, slot.end, slot.event);
        let whole = Held { start, end, pitch, event };
        let ear = &board.ears[at];
        let leans = ear.leans_on_bass(seat) && ear.is_with_bass(height);
        if seat.place == Duty::Ground || leans {
            let above = board.above(at, index).map(i32::from);
            held.extend(ground::with_the_bass(bass, whole, &notes, above));
        } else {
            held.push(whole);
        }
    }
    held
}

/// From when to when something is struck, and `true` where it ends a cadence.
pub(in crate::arrange) type Lasting = (Time, Time, bool);

/// What is struck: one entry for each player of a line, in it one for each of its moments.
pub(in crate::arrange) type Struck = Vec<Vec<Option<Pitch>>>;

/// What the players of lines strike together, each line at its moments: whole chords, choir by
/// choir, line by line.
pub(super) fn at_moments(asked: &[(&Request, Vec<Lasting>)]) -> Vec<Struck> {
    let Some((first, _)) = asked.first() else { return Vec::new() };
    let requests: Vec<&Request> = asked.iter().map(|(request, _)| *request).collect();
    let form = &first.piece.form;
    let texture = Texture::of(first);
    let seats = seats::seats(&requests);
    let slots = slots::at_moments(asked, &seats);
    let sounding = Sounding { around: first.around.to_vec(), leading: Vec::new() };
    // Whoever strikes a chord together is a choir that wants to be whole.
    let hearing = Hearing { form, texture: &texture, sounding: &sounding, tutti: true };
    let mut board = Board::new(&seats, &slots, hearing);
    board.solve(form, None, None);
    let silent = |(request, moments): &(&Request, Vec<Lasting>)| {
        vec![vec![None; moments.len()]; request.parts.len()]
    };
    let mut struck: Vec<Struck> = asked.iter().map(silent).collect();
    for (at, slot) in slots.iter().enumerate() {
        for (index, seat) in seats.iter().enumerate() {
            let moments = asked[seat.line].1.iter();
            let Some(moment) = moments.map(|(start, ..)| start).position(|s| *s == slot.start)
            else {
                continue;
            };
            let height = i32::from(board.heights.of(at, index));
            struck[seat.line][seat.player][moment] =
                seat.notes(slot).into_iter().find(|pitch| pitch.midi() == height);
        }
    }
    struck
}

/// Says why players get nothing in the whole passage.
fn say(request: &Request, silent: &[usize], diagnostics: &mut Vec<Diagnostic>) {
    let bars = request.bars();
    let chords_of = |bars: BarIndices| {
        let (from, to) = request.piece.form.times_of(bars);
        let within = move |event: &&crate::resolve::HarmonyEvent| {
            event.start < to && event.start + event.length > from
        };
        request.harmony.iter().filter(within)
    };
    if bars.iter().all(|&bars| chords_of(bars).next().is_none()) {
        diagnostics.push(findings::no_harmony(request, &bars));
        return;
    }
    let mut found: Vec<(usize, Silent)> = Vec::new();
    for &player in silent {
        let supplies = super::supply::Supplies::new(request.parts[player], request.era);
        let mut chords = request.own_bars(player).flat_map(chords_of).peekable();
        if chords.peek().is_none() {
            continue;
        }
        let could = chords.any(|e| !supplies.at(e.start).of_chord(&e.chord).is_empty());
        found.push((player, if could { Silent::TooMany } else { Silent::NoNote }));
    }
    findings::silent(request, &found, diagnostics);
}

/// The stages of a line whose players are all leaders, for those who want to look at them one by
/// one.
#[cfg(test)]
fn stages_of(request: &Request) -> Vec<solve::Stage> {
    let requests = std::slice::from_ref(request);
    let seats = seats::seats(&[request]);
    let slots = slots::slots(requests, request.harmony, &seats);
    let texture = Texture::of(request);
    let sounding = Sounding::default();
    let form = &request.piece.form;
    let hearing = Hearing { form, texture: &texture, sounding: &sounding, tutti: false };
    let mut board = Board::new(&seats, &slots, hearing);
    board.hear_until(slots.len());
    let all: Vec<usize> = (0..seats.len()).collect();
    let desk = voicings::Desk::new(&all);
    solve::stages(&board, &desk, 0..slots.len(), &mut voicings::Known::default())
}

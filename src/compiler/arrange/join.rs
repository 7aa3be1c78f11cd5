//! An arrangement of a piece in movements: those of its movements, one behind the other.
//!
//! Each movement stays as it was arranged ([`ArrangedMovement`]), and is notated and played by
//! itself: nothing that was in force at the end of one reaches into the next. The parts of the whole
//! are theirs joined, for whoever goes by player and bar (cues, reprints, tables).

use std::sync::Arc;

use super::kept::KeptWork;
use super::{
    ArrangedMovement, Arrangement, Claim, Doubt, GivenLine, LineId, LineOrigin, PackedNote, Part,
    Wait,
};
use crate::instruments::Tuning;
use crate::music::Time;
use crate::resolve::{Piece, Player, Scoring, is_same_chair, moved, moved_line};

/// Joins the arrangements of the movements of `piece`, which is itself joined of the same ones, in
/// the same order.
///
/// # Panics
/// If `scoring` is not one of the scorings of `piece`.
#[must_use]
pub fn join(
    piece: &Arc<Piece>,
    scoring: &Arc<Scoring>,
    movements: Vec<Arc<Arrangement>>,
) -> Arrangement {
    let ensemble = &piece.ensembles[scoring.ensemble];
    let mut parts: Vec<Part> = ensemble.players.iter().map(silent).collect();
    let mut lines = Vec::new();
    let mut given: Vec<GivenLine> = Vec::new();
    let mut voices = 0;
    let mut arranged = Vec::with_capacity(movements.len());
    for (movement, bars) in movements.into_iter().zip(piece.form.movement_bars()) {
        let first = bars.start;
        let start = piece.form.bars.get(first).map_or(Time::ZERO, |bar| bar.start);
        let chair = |player: &Arc<Player>| {
            movement.parts.iter().position(|part| is_same_chair(player, &part.player))
        };
        let players: Vec<Option<usize>> = ensemble.players.iter().map(chair).collect();
        let before = lines.len();
        for (part, own) in parts.iter_mut().zip(&players) {
            if let Some(own) = own.and_then(|own| movement.parts.get(own)) {
                append(part, own, (start, before));
            }
        }
        lines.extend(movement.lines.iter().map(|line| {
            let realises = line.realises.map(|voice| voice + voices);
            LineOrigin { realises, ..*line }
        }));
        given.extend(movement.kept.lines.iter().map(|given| {
            let moved = moved_line(&given.line, start, first, voices);
            GivenLine { line: Arc::new(moved), ..given.clone() }
        }));
        voices += movement.piece.voices.len();
        arranged.push(ArrangedMovement {
            arrangement: movement,
            start,
            first,
            players,
            lines: before,
        });
    }
    let era = arranged.first().map_or(ensemble.era, |movement| movement.arrangement.era);
    Arrangement {
        piece: Arc::clone(piece),
        scoring: Arc::clone(scoring),
        era,
        parts: parts.into_iter().map(Arc::new).collect(),
        lines,
        doubt: Doubt::default(),
        diagnostics: Vec::new(),
        movements: arranged,
        kept: KeptWork { lines: given, ..KeptWork::default() },
    }
}

/// A part of somebody who has not played yet.
fn silent(player: &Arc<Player>) -> Part {
    Part {
        player: Arc::clone(player),
        notes: super::Notes::default(),
        tuplets: Vec::new(),
        rests: Vec::new(),
        directions: Vec::new(),
        claims: Vec::new(),
        instruments: vec![(Time::ZERO, player.instrument)],
        tunings: player.tuning.map(|tuning| (Time::ZERO, tuning)).into_iter().collect(),
        drums: Vec::new(),
        takes: Vec::new(),
        waits: Vec::new(),
    }
}

/// Puts the part of a movement behind those before it. What is in hand at its beginning is taken
/// there, if it is something else.
fn append(part: &mut Part, own: &Part, (start, lines): (Time, usize)) {
    let line = |id: LineId| LineId::new(id.index() + lines);
    part.notes.list().extend(own.notes.iter().map(|note| {
        let mut note = note.unpacked();
        note.start += start;
        PackedNote::from(note)
    }));
    part.tuplets.extend(own.tuplets.iter().map(|tuplet| {
        let mut tuplet = *tuplet;
        tuplet.start += start;
        tuplet
    }));
    part.rests.extend(own.rests.iter().map(|rest| {
        let mut rest = *rest;
        rest.start += start;
        rest
    }));
    part.directions.extend(own.directions.iter().map(|direction| moved(direction, start)));
    part.claims.extend(own.claims.iter().map(|claim| Claim {
        from: claim.from + start,
        to: claim.to + start,
        line: line(claim.line),
    }));
    part.takes.extend(own.takes.iter().map(|(at, id)| (*at + start, line(*id))));
    part.waits.extend(own.waits.iter().map(|wait| Wait {
        from: wait.from + start,
        to: wait.to + start,
        ..*wait
    }));
    for (at, instrument) in &own.instruments {
        take(&mut part.instruments, *at + start, *instrument, |a, b| std::ptr::eq(*a, *b));
    }
    for (at, tuning) in &own.tunings {
        // A key that was put in before the instrument in hand was taken belongs to another.
        let in_force = part.tuning_at(*at + start).is_some();
        let same = |a: &&'static Tuning, b: &&'static Tuning| in_force && std::ptr::eq(*a, *b);
        take(&mut part.tunings, *at + start, *tuning, same);
    }
    let begins = match own.drums.first() {
        Some((at, _)) if *at == Time::ZERO => None,
        _ if own.player.drums.is_empty() => None,
        _ => Some((Time::ZERO, own.player.drums.clone())),
    };
    for (at, drums) in begins.iter().chain(&own.drums) {
        let before = part.drums.last().map_or(&part.player.drums, |(_, drums)| drums);
        if before != drums {
            part.drums.push((*at + start, drums.clone()));
        }
    }
}

/// Notes what is taken at a time, if it is not in force.
fn take<T: Copy>(taken: &mut Vec<(Time, T)>, at: Time, what: T, same: impl Fn(&T, &T) -> bool) {
    match taken.last_mut() {
        Some((_, before)) if same(before, &what) => {}
        Some((since, before)) if *since == at => *before = what,
        _ => taken.push((at, what)),
    }
}

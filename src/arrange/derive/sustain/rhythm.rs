//! From held chord notes to notes on paper: long holds with breath, or chords struck anew.

use super::Held;
use crate::arrange::SoundingNote;
use crate::arrange::derive::texture::{Texture, beats};
use crate::arrange::derive::{ROLL, Request};
use crate::music::{Pitch, Time};
use crate::resolve::{Clock, DirectionKind, Dynamic, Restrike};

/// The notes of one player.
pub(super) fn notes(
    request: &Request,
    player: usize,
    held: &[Held],
    restrike: Restrike,
    texture: &Texture,
) -> Vec<SoundingNote> {
    let struck = match restrike {
        Restrike::Never => joined(held, |_, _| true),
        Restrike::EachChord => joined(held, |a, b| a.event == b.event),
        Restrike::EachBeat => on_beats(request, held, false),
        Restrike::OffBeat => on_beats(request, held, true),
    };
    let struck = without_silences(&struck, texture);
    let instrument = request.instrument(player);
    let breathed = match (&instrument.breath, restrike) {
        (Some(breath), Restrike::Never | Restrike::EachChord) => {
            breathe(request, player, &struck, (breath.at_p, breath.at_f))
        }
        _ => struck,
    };
    let is_drum = !instrument.drums.is_empty();
    breathed
        .iter()
        .map(|held| {
            let mut note = request.note(held.start, held.end, Some(held.pitch), held.span);
            // A drum holds a note as a roll.
            if is_drum && note.length > request.piece.form.bar_at(note.start).metre.beat() {
                note.attached.tremolo = ROLL;
            }
            note
        })
        .collect()
}

fn joined(held: &[Held], may_join: impl Fn(&Held, &Held) -> bool) -> Vec<Held> {
    let mut notes: Vec<Held> = Vec::new();
    for next in held {
        match notes.last_mut() {
            Some(last)
                if last.end == next.start
                    && same(last.pitch, next.pitch)
                    && may_join(last, next) =>
            {
                last.end = next.end;
            }
            _ => notes.push(*next),
        }
    }
    notes
}

fn same(a: Pitch, b: Pitch) -> bool {
    a.midi() == b.midi()
}

/// One note on each beat, or on the second half of each.
fn on_beats(request: &Request, held: &[Held], off: bool) -> Vec<Held> {
    let mut notes = Vec::new();
    for hold in held {
        // A chord may begin within a beat: its first half beat is not struck.
        let mut starts = beats(&request.piece.form, hold.start, hold.end);
        if !off && starts.first().is_none_or(|(at, _)| *at > hold.start) {
            let to = starts.first().map_or(hold.end, |(at, _)| *at);
            starts.insert(0, (hold.start, to - hold.start));
        }
        for (at, length) in starts {
            let half = length.scaled(1, 2).unwrap_or(length);
            let start = if off { at + half } else { at };
            let end = at + length;
            if start < end && start >= hold.start {
                notes.push(Held { start, end, ..*hold });
            }
        }
    }
    notes
}

/// Where all voices rest, nobody holds on.
fn without_silences(held: &[Held], texture: &Texture) -> Vec<Held> {
    let mut notes = Vec::with_capacity(held.len());
    for hold in held {
        let mut rest = *hold;
        for &(from, to) in texture.silences(hold.start, hold.end) {
            if from > rest.start {
                notes.push(Held { end: from, ..rest });
            }
            rest.start = to.max(rest.start);
        }
        if rest.start < rest.end {
            notes.push(rest);
        }
    }
    notes
}

/// Ends notes before bar lines so that no breath has to carry further than it does: the last beat
/// of the note (or half of it, if that is shorter) becomes a rest.
///
/// Players breathe one after the other, not all at once: the second of a kind has a little less
/// breath than the first, and so on. (Our heuristic.)
fn breathe(request: &Request, player: usize, held: &[Held], breath: (u8, u8)) -> Vec<Held> {
    let form = &request.piece.form;
    let clock = Clock::new(form);
    let number = request.parts[player].player.number.saturating_sub(1) % 4;
    let share = 1.0 - 0.15 * f64::from(number);
    // Breath is taken at bar lines and at ends of notes; `true` is a piece of the note before.
    let mut pieces: Vec<(Held, bool)> = Vec::with_capacity(held.len());
    for hold in held {
        let mut rest = *hold;
        for bar in &form.bars[form.index_at(hold.start) + 1..] {
            if bar.start >= hold.end {
                break;
            }
            pieces.push((Held { end: bar.start, ..rest }, rest.start > hold.start));
            rest.start = bar.start;
        }
        pieces.push((rest, rest.start > hold.start));
    }
    let mut loudness = LoudnessOf::new(request);
    let mut out: Vec<Held> = Vec::with_capacity(held.len());
    let mut run_from = Time::ZERO;
    for (index, &(piece, continues)) in pieces.iter().enumerate() {
        let joins = out.last().is_some_and(|last| last.end == piece.start);
        if !joins {
            run_from = piece.start;
        }
        match out.last_mut() {
            Some(last) if joins && continues => last.end = piece.end,
            _ => out.push(piece),
        }
        let Some((next, _)) = pieces.get(index + 1).filter(|(n, _)| n.start == piece.end) else {
            continue;
        };
        let carries = share * f64::from(carries(breath, loudness.at(piece.start)));
        if clock.seconds_at(next.end) - clock.seconds_at(run_from) > carries
            && let Some(last) = out.last_mut()
        {
            let beat = form.bar_at(piece.start).metre.beat();
            let half = (piece.end - piece.start).scaled(1, 2).unwrap_or(beat);
            last.end = piece.end - beat.min(half);
        }
    }
    out
}

/// How many seconds a breath lasts at a degree of loudness: the catalogue gives piano and forte.
fn carries(breath: (u8, u8), degree: u8) -> u8 {
    match degree {
        0..=2 => breath.0,
        3..=4 => breath.0.midpoint(breath.1),
        _ => breath.1,
    }
}

/// The loudness in force, asked for in order of time.
struct LoudnessOf {
    steps: Vec<(Time, u8)>,
    own: Option<u8>,
    next: usize,
    now: u8,
}

impl LoudnessOf {
    fn new(request: &Request) -> LoudnessOf {
        let steps = request
            .piece
            .dynamics
            .iter()
            .filter_map(|direction| match direction.kind {
                DirectionKind::Dynamic(dynamic) => Some((direction.at, dynamic.degree()?)),
                _ => None,
            })
            .collect();
        let own = request.line.dynamic.and_then(|(dynamic, _)| dynamic.degree());
        LoudnessOf { steps, own, next: 0, now: Dynamic::Mf as u8 }
    }

    fn at(&mut self, time: Time) -> u8 {
        while self.next < self.steps.len() && self.steps[self.next].0 <= time {
            self.now = self.steps[self.next].1;
            self.next += 1;
        }
        self.own.unwrap_or(self.now)
    }
}

//! From held chord notes to notes on paper: long holds with breath, or chords struck anew.

use super::Held;
use super::breath::{self, Breathed, Goal, Taken};
use super::figures;
use crate::arrange::PackedNote;
use crate::arrange::derive::supply::Supplies;
use crate::arrange::derive::texture::{Texture, beats_from, off_beats};
use crate::arrange::derive::{ROLL, Request};
use crate::music::{Pitch, Time};
use crate::narrow::Narrow;
use crate::resolve::{Clock, Form, Mark, Restrike};

/// The notes of one player.
pub(super) fn notes(
    request: &Request,
    player: usize,
    held: &[Held],
    restrike: Restrike,
    texture: &Texture,
    goals: &[Goal],
    taken: &mut Taken,
) -> Vec<PackedNote> {
    let instrument = request.instrument(player);
    let is_held = matches!(restrike, Restrike::Never | Restrike::EachChord | Restrike::Tremolo);
    let breathed: Vec<Breathed> = {
        let struck = match is_held {
            true => joined_as_held(request, held, restrike),
            false => figured(request, player, held, restrike, texture),
        };
        let struck = without_silences(struck, texture);
        match instrument.breath.as_ref().filter(|_| is_held) {
            Some(breath) => {
                breath::breathe(request, player, &struck, (breath.at_p, breath.at_f), goals, taken)
            }
            None => struck.into_iter().map(|held| Breathed { held, breath: false }).collect(),
        }
    };
    let is_drum = !instrument.drums.is_empty();
    breathed
        .iter()
        .map(|Breathed { held, breath }| {
            let source = request.harmony[held.event as usize].span;
            let mut note = request.note(held.start, held.end, Some(held.pitch), source);
            if *breath {
                note.attached.marks.insert(Mark::Breath);
            }
            if restrike == Restrike::Tremolo && instrument.bowed() {
                note.attached.tremolo = ROLL;
            }
            // A drum holds a note as a roll.
            if is_drum && note.length > request.piece.form.bar_at(note.start).metre.beat() {
                note.attached.tremolo = ROLL;
            }
            PackedNote::from(note)
        })
        .collect()
}

/// What is held, joined where its note stays; each chord struck anew but for `restrike` never.
fn joined_as_held(request: &Request, held: &[Held], restrike: Restrike) -> Vec<Held> {
    let form = &request.piece.form;
    let goes_on = |a: &Held, b: &Held| restrike == Restrike::Never || a.event == b.event;
    joined(held, |a, b| goes_on(a, b) && !jumps_to(form, b.start))
}

/// What is held in the figures of `restrike`; with the last notes of the voices a figure comes to
/// rest.
fn figured(
    request: &Request,
    player: usize,
    held: &[Held],
    restrike: Restrike,
    texture: &Texture,
) -> Vec<Held> {
    let last = texture.rests_from().map_or(held.len(), |last| {
        held.partition_point(|hold| hold.start < last && hold.end <= last)
    });
    let (moving, resting) = held.split_at(last);
    let mut moving: Vec<Held> = moving.to_vec();
    let mut at_last: Vec<Held> = resting.to_vec();
    if let (Some(first), Some(last)) = (at_last.first_mut(), texture.rests_from())
        && first.start < last
    {
        moving.push(Held { end: last, ..*first });
        first.start = last;
    }
    let mut struck = match restrike {
        Restrike::OffBeat => off_the_beats(request, &moving),
        Restrike::Each(value) => on_beats(request, &moving)
            .into_iter()
            .flat_map(|beat| {
                let times = figures::repeated(beat.start, beat.end, value);
                times.into_iter().map(move |(start, end)| Held { start, end, ..beat })
            })
            .collect(),
        Restrike::Broken => broken(request, player, &moving, texture),
        _ => on_beats(request, &moving),
    };
    struck.extend(joined(&at_last, |a, b| a.event == b.event));
    struck
}

/// Is this time the beginning of a bar into which no note is tied?
fn jumps_to(form: &Form, at: Time) -> bool {
    let index = form.index_at(at);
    form.bars[index].start == at && form.no_tie_into(index)
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

/// One note on each beat.
fn on_beats(request: &Request, held: &[Held]) -> Vec<Held> {
    let mut notes = Vec::new();
    for hold in held {
        // A chord may begin within a beat.
        let starts = beats_from(&request.piece.form, hold.start, hold.end);
        notes.extend(
            starts
                .into_iter()
                .filter(|(_, length)| length.is_positive())
                .map(|(start, length)| Held { start, end: start + length, ..*hold }),
        );
    }
    notes
}

/// Notes off the beats.
fn off_the_beats(request: &Request, held: &[Held]) -> Vec<Held> {
    let strokes = held.iter().flat_map(|hold| {
        let strokes = off_beats(&request.piece.form, hold.start, hold.end).into_iter();
        strokes.map(move |(start, end)| Held { start, end, ..*hold })
    });
    strokes.collect()
}

/// The held note and the next note of its chord below, by turns in figures that follow the metre;
/// the note alone where the player has none below within an octave. A second is passed over for a
/// wider step. A note from which the next chord
/// would be reached in parallels with tune or bass is passed over for a lower one.
fn broken(request: &Request, player: usize, held: &[Held], texture: &Texture) -> Vec<Held> {
    let form = &request.piece.form;
    let clock = Clock::new(form);
    let supplies = Supplies::new(request.parts[player], request.era);
    let mut notes = Vec::new();
    for (index, hold) in held.iter().enumerate() {
        let next = held.get(index + 1).filter(|next| next.start == hold.end);
        let figure = figures::broken(&clock, form, hold.start, hold.end, 2);
        let leads_on = figure.last().is_some_and(|(.., place)| *place == 1);
        let chord = request.harmony.get(hold.event as usize).map(|event| event.chord);
        let below = chord.and_then(|chord| {
            let has = supplies.at(hold.start).of_chord(&chord);
            let near = |pitch: &&Pitch| (1..=12).contains(&(hold.pitch.midi() - pitch.midi()));
            let follows = |pitch: &Pitch| {
                leads_on && next.is_some_and(|next| follows_voice(texture, *pitch, next))
            };
            // Two neighbours to and fro would be a written trill.
            let apart = |pitch: &Pitch| hold.pitch.midi() - pitch.midi() > 2;
            let highest = |pitch: &&Pitch| (!follows(pitch), apart(pitch), pitch.midi());
            has.iter().filter(near).max_by_key(highest).copied()
        });
        for (start, end, place) in figure {
            let pitch = if place == 0 { hold.pitch } else { below.unwrap_or(hold.pitch) };
            notes.push(Held { start, end, pitch, ..*hold });
        }
    }
    notes
}

/// Does whoever goes from a note to the next held one go in parallels with tune or bass?
fn follows_voice(texture: &Texture, from: Pitch, next: &Held) -> bool {
    let (Some(before), Some(then)) = (texture.outer_before(next.start), texture.outer(next.start))
    else {
        return false;
    };
    let height = |pitch: Pitch| pitch.midi().narrow::<i16>();
    let moved = (height(from), height(next.pitch));
    let along = |a: Pitch, b: Pitch| super::solve::with_voice(moved, (height(a), height(b)));
    along(before.low, then.low) || along(before.high, then.high)
}

/// Where all voices rest, nobody holds on.
fn without_silences(held: Vec<Held>, texture: &Texture) -> Vec<Held> {
    let mut notes = Vec::with_capacity(held.len());
    for hold in held {
        let mut rest = hold;
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

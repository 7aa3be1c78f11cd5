//! From held chord notes to notes on paper: long holds with breath, or chords struck anew.

use super::Held;
use super::breath::{self, Goal, Lungs, Taken};
use super::figures;
use crate::arrange::PackedNote;
use crate::arrange::derive::supply::Supplies;
use crate::arrange::derive::texture::{Texture, beats_from, off_beats};
use crate::arrange::derive::{ROLL, Request};
use crate::lists::push_slowly;
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
    let is_drum = !instrument.drums.is_empty();
    let is_held = matches!(restrike, Restrike::Never | Restrike::EachChord | Restrike::Tremolo);
    let breath = instrument.breath.as_ref().filter(|_| is_held);
    let lungs = breath.map(|breath| Lungs::new(request, (breath.at_p, breath.at_f)));
    // A note that is held has at most a chord's length.
    let mut notes = Vec::with_capacity(if is_held { held.len() } else { 0 });
    let mut write = |held: Held, breath: bool| {
        let source = request.harmony[held.event as usize].span;
        let mut note = request.note(held.start, held.end, Some(held.pitch), source);
        if breath {
            note.attached.marks.insert(Mark::Breath);
        }
        if restrike == Restrike::Tremolo && instrument.bowed() {
            note.attached.tremolo = ROLL;
        }
        // A drum holds a note as a roll.
        if is_drum && note.length > request.piece.form.bar_at(note.start).metre.beat() {
            note.attached.tremolo = ROLL;
        }
        push_slowly(&mut notes, PackedNote::from(note));
    };
    // One after another: a player of a long piece has tens of thousands of them.
    let strike = |held: Held| {
        without_silences(held, texture, |held| match &lungs {
            Some(lungs) => {
                breath::breathe(request, player, &held, lungs, goals, taken, &mut write);
            }
            None => write(held, false),
        });
    };
    match is_held {
        true => joined_as_held(request, held, restrike, strike),
        false => figured(request, player, held, restrike, texture, strike),
    }
    notes.shrink_to_fit();
    notes
}

/// What is held, joined where its note stays; each chord struck anew but for `restrike` never.
fn joined_as_held(request: &Request, held: &[Held], restrike: Restrike, strike: impl FnMut(Held)) {
    let form = &request.piece.form;
    let goes_on = |a: &Held, b: &Held| restrike == Restrike::Never || a.event == b.event;
    joined(held.iter().copied(), |a, b| goes_on(a, b) && !jumps_to(form, b.start), strike);
}

/// What is held in the figures of `restrike`; with the last notes of the voices a figure comes to
/// rest.
fn figured(
    request: &Request,
    player: usize,
    held: &[Held],
    restrike: Restrike,
    texture: &Texture,
    mut strike: impl FnMut(Held),
) {
    let rests_from = texture.rests_from();
    let last = rests_from.map_or(held.len(), |last| {
        held.partition_point(|hold| hold.start < last && hold.end <= last)
    });
    let (moving, resting) = held.split_at(last);
    // What sounds where the voices come to rest moves up to there.
    let divided = resting.first().zip(rests_from).filter(|(first, last)| first.start < *last);
    let (up_to, from) = match divided {
        Some((first, last)) => {
            (Some(Held { end: last, ..*first }), Some(Held { start: last, ..*first }))
        }
        None => (None, resting.first().copied()),
    };
    let moving = moving.iter().copied().chain(up_to);
    match restrike {
        Restrike::OffBeat => off_the_beats(request, moving, &mut strike),
        Restrike::Each(value) => on_beats(request, moving, |beat| {
            for (start, end) in figures::repeated(beat.start, beat.end, value) {
                strike(Held { start, end, ..beat });
            }
        }),
        Restrike::Broken => broken(request, player, moving, texture, &mut strike),
        _ => on_beats(request, moving, &mut strike),
    }
    let at_last = from.into_iter().chain(resting.iter().skip(1).copied());
    joined(at_last, |a, b| a.event == b.event, strike);
}

/// Is this time the beginning of a bar into which no note is tied?
fn jumps_to(form: &Form, at: Time) -> bool {
    let index = form.index_at(at);
    form.bars[index].start == at && form.no_tie_into(index)
}

fn joined(
    held: impl Iterator<Item = Held>,
    may_join: impl Fn(&Held, &Held) -> bool,
    mut strike: impl FnMut(Held),
) {
    let mut open: Option<Held> = None;
    for next in held {
        match &mut open {
            Some(last)
                if last.end == next.start
                    && same(last.pitch, next.pitch)
                    && may_join(last, &next) =>
            {
                last.end = next.end;
            }
            _ => {
                if let Some(last) = open.replace(next) {
                    strike(last);
                }
            }
        }
    }
    open.into_iter().for_each(strike);
}

fn same(a: Pitch, b: Pitch) -> bool {
    a.midi() == b.midi()
}

/// One note on each beat.
fn on_beats(request: &Request, held: impl Iterator<Item = Held>, mut strike: impl FnMut(Held)) {
    for hold in held {
        // A chord may begin within a beat.
        for (start, length) in beats_from(&request.piece.form, hold.start, hold.end) {
            if length.is_positive() {
                strike(Held { start, end: start + length, ..hold });
            }
        }
    }
}

/// Notes off the beats.
fn off_the_beats(
    request: &Request,
    held: impl Iterator<Item = Held>,
    mut strike: impl FnMut(Held),
) {
    for hold in held {
        for (start, end) in off_beats(&request.piece.form, hold.start, hold.end) {
            strike(Held { start, end, ..hold });
        }
    }
}

/// The held note and the next note of its chord below, by turns in figures that follow the metre;
/// the note alone where the player has none below within an octave. A second is passed over for a
/// wider step. A note from which the next chord
/// would be reached in parallels with tune or bass is passed over for a lower one.
fn broken(
    request: &Request,
    player: usize,
    held: impl Iterator<Item = Held>,
    texture: &Texture,
    mut strike: impl FnMut(Held),
) {
    let form = &request.piece.form;
    let clock = Clock::new(form);
    let supplies = Supplies::new(request.parts[player], request.era);
    let mut held = held.peekable();
    while let Some(hold) = held.next() {
        let next = held.peek().filter(|next| next.start == hold.end);
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
            strike(Held { start, end, pitch, ..hold });
        }
    }
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
fn without_silences(held: Held, texture: &Texture, mut strike: impl FnMut(Held)) {
    let mut rest = held;
    for &(from, to) in texture.silences(held.start, held.end) {
        if from > rest.start {
            strike(Held { end: from, ..rest });
        }
        rest.start = to.max(rest.start);
    }
    if rest.start < rest.end {
        strike(rest);
    }
}

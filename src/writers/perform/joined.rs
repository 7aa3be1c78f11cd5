//! Pieces in movements: each is played by itself, the next one after a pause.

use crate::arrange::{ArrangedMovement, Arrangement};
use crate::music::Time;
use crate::narrow::Narrow;
use crate::notate::{Notation, Pitches};
use crate::resolve::{Form, seconds_per_whole};

use super::{KeyStroke, Performance, Played, Segment, TempoMap, Timeline, seating};

/// Seconds from the end of a movement to the next one, where it does not follow at once. Our choice:
/// long enough to be heard as an end, short enough for a mock-up.
const PAUSE: f64 = 3.0;

/// The bars of a piece in movements in the order in which they are played, and their tempos.
pub(super) fn stage(arrangement: &Arrangement) -> Performance {
    let mut whole = Performance {
        timeline: Timeline { segments: Vec::new(), bars: Vec::new(), end: Time::ZERO },
        tempos: TempoMap::empty(),
        players: Vec::new(),
    };
    for (movement, own, at) in movements(arrangement) {
        whole
            .timeline
            .bars
            .extend(own.timeline.bars.iter().map(|(bar, time)| (bar + movement.first, *time + at)));
        whole.timeline.segments.extend(own.timeline.segments.iter().map(|segment| Segment {
            from: segment.from + movement.start,
            to: segment.to + movement.start,
            at: segment.at + at,
        }));
        whole.timeline.end = at + own.timeline.end;
        whole.tempos.append(&own.tempos, movement.start);
    }
    whole
}

/// What one player sounds in all movements.
pub(super) fn played(arrangement: &Arrangement, player: usize) -> Played {
    let mut all = silent(&arrangement.parts[player]);
    for (movement, own, at) in movements(arrangement) {
        let index = movement.players.get(player).copied().flatten();
        let parts = movement.arrangement.parts.len();
        let Some(index) = index.filter(|index| *index < parts) else { continue };
        let notated = Notation::new(&movement.arrangement, Pitches::Written);
        let notated = notated.score(index..index + 1);
        append(&mut all, &super::played(&movement.arrangement, &own, &notated, index), at);
    }
    all
}

/// Each movement with its own order and tempos, and when it begins in played time.
fn movements(
    arrangement: &Arrangement,
) -> impl Iterator<Item = (&ArrangedMovement, Performance, Time)> {
    let form = &arrangement.piece.form;
    let mut end = Time::ZERO;
    arrangement.movements.iter().enumerate().map(move |(number, movement)| {
        if number > 0 {
            let before = &arrangement.movements[number - 1];
            let attacca = form.movements.get(number - 1).is_some_and(|before| before.attacca);
            if !attacca {
                end += pause(&before.arrangement.piece.form);
            }
        }
        let own = super::stage(&movement.arrangement);
        let at = end;
        end += own.timeline.end;
        (movement, own, at)
    })
}

fn silent(part: &crate::arrange::Part) -> Played {
    Played {
        strokes: Vec::new(),
        programs: Vec::new(),
        swells: Vec::new(),
        syllables: Vec::new(),
        volume: seating::volume(part),
        pan: seating::pan(part),
    }
}

fn append(player: &mut Played, own: &Played, at: Time) {
    player.strokes.extend(own.strokes.iter().map(|stroke| KeyStroke {
        on: stroke.on + at,
        off: stroke.off + at,
        ..*stroke
    }));
    let sung = own.syllables.iter().map(|(time, text)| (*time + at, text.clone()));
    player.syllables.extend(sung);
    for &(time, program) in &own.programs {
        if player.programs.last().is_none_or(|(_, before)| *before != program) {
            // The first sound is there from the beginning of the file.
            let from = if player.programs.is_empty() { Time::ZERO } else { time + at };
            player.programs.push((from, program));
        }
    }
    for &(time, value) in &own.swells {
        if player.swells.last().is_none_or(|(_, before)| *before != value) {
            let from = if player.swells.is_empty() { Time::ZERO } else { time + at };
            player.swells.push((from, value));
        }
    }
}

/// The silence behind a movement: so many of its last bars, if they were full, as last the pause.
fn pause(form: &Form) -> Time {
    let Some(last) = form.bars.last() else { return Time::ZERO };
    let mark = form.bars.iter().rev().find_map(|bar| bar.tempo.as_ref()?.beat);
    let bar = last.metre.bar_length();
    let bars = (PAUSE / (bar.to_f64() * seconds_per_whole(mark))).ceil().clamp(1.0, 64.0);
    bar * bars.narrow::<i64>()
}

//! How fast tremolos, rolls, ornaments and grace notes are played out.

use crate::arrange::{PackedNote, Part};
use crate::music::Time;

/// How long a grace note and a note of an ornament last, where there is room (our heuristic).
pub(super) const QUICK: Time = Time::of(1, 32);

/// The shortest note that is played out where there is no room (our heuristic).
const SHORTEST: Time = Time::of(1, 256);

/// The value of quick notes of which so many have room in a length: [`QUICK`], halved until they
/// fit; `None` if they would be too short.
pub(super) fn quick(count: i64, room: Time) -> Option<Time> {
    let mut value = QUICK;
    while value * count > room {
        value = value.scaled(1, 2).filter(|&half| half >= SHORTEST)?;
    }
    Some(value)
}

/// By how much each note of a spread chord comes after the one below it: a 64th, halved until the
/// whole of it takes a quarter of the chord at most (our heuristic); nothing where it would be too
/// short for that.
pub(super) fn spread(notes: usize, length: Time) -> Time {
    let gaps = notes.saturating_sub(1) as i64;
    let mut each = Time::of(1, 64);
    while each * gaps * 4 > length {
        match each.scaled(1, 2).filter(|&half| half >= Time::of(1, 512)) {
            Some(half) => each = half,
            None => return Time::ZERO,
        }
    }
    each
}

/// The value of the strokes of a tremolo at a written time, and until when it holds at most: in a
/// tuplet they last as its notes do.
pub(super) fn tremolo(part: &Part, note: &PackedNote, at: Time) -> (Time, Time) {
    let value = Time::of(1, 8 << (note.attached().tremolo.clamp(1, 8) - 1));
    let first = part.tuplets.partition_point(|tuplet| tuplet.start + tuplet.length <= at);
    for tuplet in &part.tuplets[first..] {
        let end = tuplet.start + tuplet.length;
        // A note that fills a tuplet is printed without it.
        if note.start() <= tuplet.start && end <= note.end() {
            continue;
        }
        if at < tuplet.start {
            return (value, tuplet.start);
        }
        let inside = value.scaled(i64::from(tuplet.normal), i64::from(tuplet.actual));
        return (inside.unwrap_or(value), end);
    }
    (value, note.end())
}

//! How fast tremolos, rolls, trills and grace notes are played out.

use crate::arrange::{Part, SoundingNote};
use crate::music::Time;
use crate::resolve::Mark;

/// How long a grace note and a note of a trill last.
pub(super) const QUICK: Time = Time::of(1, 32);

/// The value of the strokes that a note is played out in: tremolo, roll, trill; also of its grace
/// notes. `None` for a plain note.
pub(super) fn stroke(part: &Part, note: &SoundingNote) -> Option<Time> {
    let attached = &note.attached;
    if attached.tremolo > 0 {
        let value = Time::of(1, 8 << (attached.tremolo - 1).min(7));
        return Some(in_tuplet(part, note, value));
    }
    let quick = attached.marks.has(Mark::Trill) || attached.graces.is_some();
    quick.then_some(QUICK)
}

/// A written value as it lasts in the tuplet in which the note stands, if it stands in one.
fn in_tuplet(part: &Part, note: &SoundingNote, value: Time) -> Time {
    let after = part.tuplets.partition_point(|tuplet| tuplet.start <= note.start);
    let tuplet = part.tuplets[..after].last();
    // A note that fills its tuplet is printed without it.
    let inside = tuplet.filter(|tuplet| {
        let end = tuplet.start + tuplet.length;
        note.start < end && (tuplet.start < note.start || note.end() < end)
    });
    inside
        .and_then(|tuplet| value.scaled(i64::from(tuplet.normal), i64::from(tuplet.actual)))
        .unwrap_or(value)
}

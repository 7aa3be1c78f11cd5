//! Held notes that grow or fade under a hairpin: expression.
//!
//! The velocity says how loud a note begins; expression says what becomes of it. At the beginning
//! of each note it stands at a middle value, so that notes may grow as well as fade. Every part
//! begins with that value, swelling or not, so that no part is louder for having no hairpin.

use crate::arrange::Part;
use crate::instruments::{Family, Instrument};
use crate::music::Time;
use crate::narrow::Narrow;

use super::loudness::Loudness;
use super::timeline::Timeline;

/// The expression at the beginning of a note (our choice).
pub(crate) const MIDDLE: u8 = 90;
/// How often it may change within a note (our choice).
const STEP: Time = Time::of(1, 16);

/// Can the player change a note that sounds? Bow and breath can.
pub(super) fn by_expression(instrument: &Instrument) -> bool {
    matches!(instrument.family, Family::Woodwind | Family::Brass | Family::Strings)
}

/// Changes of expression as they are played: played time and value. The first stands at the beginning.
pub(super) fn swells(part: &Part, timeline: &Timeline) -> Vec<(Time, u8)> {
    let loudness = Loudness::new(&part.directions);
    let mut changes = vec![(Time::ZERO, MIDDLE)];
    let mut change = |at: Time, value: u8| {
        if changes.last().is_some_and(|(_, last)| *last != value) {
            changes.push((at, value));
        }
    };
    for segment in &timeline.segments {
        let first = part.notes.partition_point(|note| note.end() <= segment.from);
        for note in part.notes[first..].iter().take_while(|note| note.start() < segment.to) {
            let (from, to) = (note.start().max(segment.from), note.end().min(segment.to));
            change(segment.played(from), MIDDLE);
            if !by_expression(part.instrument_at(note.start())) {
                continue;
            }
            let begun = loudness.strength(from);
            let mut at = from + STEP;
            while at < to {
                let value = f64::from(MIDDLE) * loudness.strength(at) / begun;
                let value = value.round().clamp(1.0, 127.0).narrow::<u8>();
                change(segment.played(at), value);
                at += STEP;
            }
        }
    }
    changes
}

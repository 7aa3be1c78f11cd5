//! What the rules ask of a part again and again: when its notes sound in seconds, how loud it is
//! when, how it is played.

use super::context::techniques;
use super::loudness::Loudness;
use crate::arrange::{Part, SoundingNote};
use crate::diagnostics::Span;
use crate::music::Time;
use crate::resolve::{Clock, Technique};

/// Facts of a part.
pub(super) struct Facts {
    /// Seconds at which each note begins and ends, repeats once.
    pub times: Vec<(f64, f64)>,
    /// How loud it is when.
    pub loudness: Loudness,
    /// Its changes of technique.
    pub techniques: Vec<(Time, Technique, Span)>,
}

impl Facts {
    pub fn new(part: &Part, clock: &Clock) -> Facts {
        Facts {
            times: seconds(&part.notes, clock).collect(),
            loudness: Loudness::new(&part.directions),
            techniques: techniques(part),
        }
    }

    /// The same for a part whose notes are others from one index to one in the old and one in the
    /// new.
    pub fn again(&self, part: &Part, clock: &Clock, from: usize, old: usize, new: usize) -> Facts {
        let mut times = Vec::with_capacity(part.notes.len());
        times.extend_from_slice(&self.times[..from]);
        times.extend(seconds(&part.notes[from..new], clock));
        times.extend_from_slice(&self.times[old..]);
        Facts { times, loudness: Loudness::new(&part.directions), techniques: techniques(part) }
    }
}

fn seconds(notes: &[SoundingNote], clock: &Clock) -> impl Iterator<Item = (f64, f64)> {
    // Most notes begin where the one before ends.
    let mut last = (Time::MIN, 0.0);
    notes.iter().map(move |note| {
        let begins = if last.0 == note.start { last.1 } else { clock.seconds_at(note.start) };
        last = (note.end(), clock.seconds_at(note.end()));
        (begins, last.1)
    })
}

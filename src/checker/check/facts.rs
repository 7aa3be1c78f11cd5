//! What the rules ask of a part again and again: when its notes sound in seconds, how loud it is
//! when, how it is played.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use super::context::techniques;
use super::loudness::Loudness;
use crate::arrange::{Arrangement, Part, SoundingNote};
use crate::cores::on_all_cores;
use crate::diagnostics::Span;
use crate::music::Time;
use crate::resolve::{Clock, Technique};

/// Times of notes as they are worked out, by where the old times and the new notes are in memory.
pub(super) type Known = Mutex<HashMap<(usize, usize), Arc<[(f64, f64)]>>>;

/// Facts of a part.
pub(super) struct Facts {
    /// Seconds at which each note begins and ends, repeats once.
    pub times: Arc<[(f64, f64)]>,
    /// How loud it is when.
    pub loudness: Loudness,
    /// Its changes of technique.
    pub techniques: Vec<(Time, Technique, Span)>,
}

impl Facts {
    /// The facts of all parts; of those that are not asked for, without the times. Who shares his notes
    /// shares their times.
    pub fn of_all(arrangement: &Arrangement, asked: impl Fn(usize) -> bool) -> Vec<Arc<Facts>> {
        let parts = &arrangement.parts;
        let clock = Clock::new(&arrangement.piece.form);
        let mut owners: Vec<usize> = Vec::new();
        let mut of_notes: HashMap<usize, usize> = HashMap::new();
        for (player, part) in parts.iter().enumerate().filter(|(player, _)| asked(*player)) {
            of_notes.entry(part.notes.address()).or_insert_with(|| {
                owners.push(player);
                owners.len() - 1
            });
        }
        let times: Vec<Arc<[(f64, f64)]>> =
            on_all_cores(&owners, arrangement.notes(), |player| times(&parts[*player], &clock));
        let facts = |(player, part): (usize, &Arc<Part>)| {
            let owner = of_notes.get(&part.notes.address()).filter(|_| asked(player));
            let times = owner.map_or_else(|| Arc::from([]), |owner| Arc::clone(&times[*owner]));
            Arc::new(Facts::new(part, times))
        };
        parts.iter().enumerate().map(facts).collect()
    }

    fn new(part: &Part, times: Arc<[(f64, f64)]>) -> Facts {
        Facts { times, loudness: Loudness::new(&part.directions), techniques: techniques(part) }
    }

    /// The same for a part whose notes are others from one index to one in the old and one in the
    /// new. Who shares his notes goes on to share their times.
    pub fn again(
        &self,
        part: &Part,
        clock: &Clock,
        (from, old, new): (usize, usize, usize),
        known: &Known,
    ) -> Facts {
        let key = (self.times.as_ptr().addr(), part.notes.address());
        let known = || known.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(times) = known().get(&key) {
            return Facts::new(part, Arc::clone(times));
        }
        let mut times = Vec::with_capacity(part.notes.len());
        times.extend_from_slice(&self.times[..from]);
        times.extend(seconds(&part.notes[from..new], clock));
        times.extend_from_slice(&self.times[old..]);
        let times: Arc<[(f64, f64)]> = times.into();
        known().insert(key, Arc::clone(&times));
        Facts::new(part, times)
    }
}

/// Seconds at which each note of a part begins and ends.
fn times(part: &Part, clock: &Clock) -> Arc<[(f64, f64)]> {
    let mut times = Vec::with_capacity(part.notes.len());
    times.extend(seconds(&part.notes, clock));
    times.into()
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

//! What the rules ask of a part again and again: when its notes sound in seconds, how loud it is
//! when, how it is played.

use std::sync::Arc;

use super::context::techniques;
use super::loudness::Loudness;
use crate::arrange::{PackedNote, Part};
use crate::diagnostics::Span;
use crate::music::Time;
use crate::resolve::{Clock, Technique};

/// Facts of a part that do not depend on its notes.
pub(super) struct Facts {
    /// How loud it is when.
    pub loudness: Loudness,
    /// Its changes of technique.
    pub techniques: Vec<(Time, Technique, Span)>,
}

impl Facts {
    pub fn new(part: &Part) -> Facts {
        Facts { loudness: Loudness::new(&part.directions), techniques: techniques(part) }
    }

    /// The facts of all parts.
    pub fn of_all(parts: &[Arc<Part>]) -> Vec<Arc<Facts>> {
        parts.iter().map(|part| Arc::new(Facts::new(part))).collect()
    }
}

/// When the notes of a part sound, in seconds from the beginning, repeats once. They are worked out
/// as they are asked for: a piece has very many notes, and the clock knows at once.
#[derive(Clone, Copy)]
pub(super) struct Times<'a> {
    pub notes: &'a [PackedNote],
    pub clock: &'a Clock<'a>,
}

impl Times<'_> {
    /// When the note at an index begins.
    #[inline]
    pub fn begin(&self, index: usize) -> f64 {
        self.clock.seconds_at(self.notes[index].start())
    }

    /// When the note at an index ends.
    #[inline]
    pub fn end(&self, index: usize) -> f64 {
        self.clock.seconds_at(self.notes[index].end())
    }

    /// When the note at an index begins and ends.
    #[inline]
    pub fn of(&self, index: usize) -> (f64, f64) {
        (self.begin(index), self.end(index))
    }
}

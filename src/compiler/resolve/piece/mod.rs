//! The piece: what the source means, with every name linked and every time exact.

mod bar;
mod bars;
mod direction;
mod directions;
mod form;
mod layout;
mod lyrics;
mod movements;
mod music;
mod pitches;
mod players;
mod playing;
mod scoring;
#[cfg(test)]
pub(crate) mod strategies;
mod written;
#[cfg(test)]
mod written_tests;

use std::sync::Arc;

use crate::diagnostics::Span;

pub use bar::*;
pub use bars::*;
pub use direction::*;
pub use directions::Directions;
pub use form::*;
pub use layout::*;
pub use lyrics::*;
pub use movements::*;
pub use music::*;
pub use pitches::Pitches;
pub use players::*;
pub use scoring::*;
pub(super) use written::Packing;
pub use written::{WrittenIter, WrittenNotes};

/// A piece with everything that its source and the files it uses declare.
///
/// What is behind an `Arc` stays the same one from one run of a session to the next for as long as
/// it is equal.
#[derive(Clone, Debug, Default)]
pub struct Piece {
    /// Title, as printed at the head.
    pub title: String,
    /// Second line of the head.
    pub subtitle: Option<String>,
    /// Who composed it.
    pub composer: Option<String>,
    /// Who arranged it.
    pub arranger: Option<String>,
    /// Licence of the music.
    pub licence: Option<String>,
    /// Which version it is, or of when: "2nd version, 12 May 2026".
    pub revision: Option<String>,
    /// The declaration of the piece.
    pub span: Span,
    /// Its movements, where it has several: then the rest is theirs, joined.
    pub movements: Vec<Movement>,
    /// What goes on from one movement to the next.
    pub through: Through,
    /// Bars, metres, keys, tempos, repeats.
    pub form: Arc<Form>,
    /// Chords in order; empty where none are declared.
    pub harmony: Vec<HarmonyEvent>,
    /// Dynamics and hairpins for everybody, in order.
    pub dynamics: Directions,
    /// Bars whose chords could not be understood.
    pub harmony_unsure: Bars,
    /// Bars whose loudness is not certain, because a dynamic could not be understood.
    pub dynamics_unsure: Bars,
    /// Voices in order of declaration.
    pub voices: Vec<Arc<Voice>>,
    /// What is sung to the notes of the voices.
    pub lyrics: Arc<Lyrics>,
    /// Ensembles in order of declaration, `extends` worked in.
    pub ensembles: Vec<Arc<Ensemble>>,
    /// Scorings in order of declaration; `keep` is a link, not yet worked in.
    pub scorings: Vec<Arc<Scoring>>,
    /// What copyists override on the pages, in order of declaration.
    pub layouts: Vec<Layout>,
}

impl Piece {
    /// A scoring and those that it keeps, one after another, its own first.
    #[must_use]
    pub fn layers<'a>(&'a self, scoring: &'a Arc<Scoring>) -> Vec<&'a Arc<Scoring>> {
        let mut layers = vec![scoring];
        let mut at = scoring;
        // `resolve` has broken cycles; the bound is for pieces made by other means.
        while let Some((kept, _)) = at.keep
            && layers.len() <= self.scorings.len()
            && let Some(next) = self.scorings.get(kept)
        {
            at = next;
            layers.push(at);
        }
        layers
    }

    /// The fermatas of the voices: in order, each once. A fermata of one voice holds for every part.
    #[must_use]
    pub fn fermatas(&self) -> Vec<Fermata> {
        let voices = self.voices.iter();
        let mut held: Vec<Fermata> =
            voices.flat_map(|voice| voice.music.fermatas(&self.form)).collect();
        held.sort_unstable();
        held.dedup();
        held
    }
}

//! Harmony: the chords that a piece declares, or else those that its voices spell.
//!
//! Where a piece has no `harmony` block, its chords are inferred from the voices. The bars are cut
//! into beats; each beat is weighed against every chord in use (what sounds, what is missing, what
//! lies in the bass, what the key expects); and the cheapest way through all beats is found by
//! dynamic programming, where a change of chord costs less on a strong beat and less along the
//! circle of fifths. The time taken grows with the length of the piece and not faster.

mod costs;
mod evidence;
mod learned;
mod path;
mod stretches;
#[cfg(test)]
mod tests;
mod thin;

use std::borrow::Cow;

use crate::music::{Chord, Key, PitchName, Time};
use crate::resolve::{HarmonyEvent, Piece, hear};

use evidence::Slot;
use path::Beat;
use stretches::Evidence;

/// Harmony that was inferred from the voices.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct InferredHarmony {
    /// The chords in order of time: without gaps, at least one for each bar, none over a bar line.
    /// The span of each is that of a note that sounds where it begins.
    pub events: Vec<HarmonyEvent>,
    /// How sure the roots of each bar of the form are: from 0 (a guess) to 1 (nothing else fits).
    pub certainty: Vec<f64>,
}

/// The harmony of a piece: as declared, or else as inferred. Empty where neither gives any.
#[must_use]
pub fn harmony_of(piece: &Piece) -> Cow<'_, [HarmonyEvent]> {
    if piece.harmony.is_empty() {
        Cow::Owned(infer(piece).events)
    } else {
        Cow::Borrowed(&piece.harmony)
    }
}

/// Infers the harmony of a piece from its voices, whatever it declares.
///
/// Empty where no voice has a note with pitch.
#[must_use]
pub fn infer(piece: &Piece) -> InferredHarmony {
    let evidence = Evidence::of(piece);
    if evidence.is_silent() {
        return InferredHarmony::default();
    }
    let beats = path::cheapest(&evidence);
    let mut events: Vec<HarmonyEvent> = Vec::new();
    let mut sums = vec![(0.0, 0.0); piece.form.bars.len()];
    for stretch in 0..evidence.stretches() {
        let (first, slots) = evidence.stretch(stretch);
        let slots: Vec<_> = slots.iter().zip(&beats[first..]).collect();
        for run in slots.chunk_by(|(one, beat), (two, next)| {
            one.bar == two.bar && beat.candidate == next.candidate
        }) {
            events.push(event(run, &events));
        }
        for (slot, beat) in slots {
            let (sum, weight) = &mut sums[slot.bar];
            *sum += beat.certainty * slot.length.to_f64();
            *weight += slot.length.to_f64();
        }
    }
    // What follows asks for the chords alone.
    drop((evidence, beats));
    events.shrink_to_fit();
    hear(&piece.form, &mut events, &[]);
    let certainty =
        sums.into_iter().map(|(sum, weight)| if weight > 0.0 { sum / weight } else { 0.0 });
    InferredHarmony { events, certainty: certainty.collect() }
}

/// The chord of a run of slots that share a candidate.
fn event(run: &[(&Slot, &Beat)], before: &[HarmonyEvent]) -> HarmonyEvent {
    let (Slot { start, key, .. }, Beat { candidate, .. }) = run[0];
    let slots = || run.iter().map(|(slot, _)| *slot);
    let length: Time = slots().map(|slot| slot.length).sum();
    let root = name_of(slots(), *key, candidate.root);
    let mut chord = Chord { root, quality: candidate.quality, bass: None };
    let bass = slots().filter_map(|slot| slot.bass.as_ref()).find_map(|bass| {
        let class = bass.name.class();
        chord.members().into_iter().find(|member| member.class() == class)
    });
    chord.bass = bass.filter(|bass| *bass != root);
    let span = slots()
        .find_map(|slot| slot.bass.as_ref())
        .map(|bass| bass.span)
        .or(before.last().map(|event| event.span))
        .unwrap_or_default();
    HarmonyEvent { start: *start, length, chord, key: *key, span }
}

/// The root's name: as the voices spell it, or else as lies nearest to the key.
fn name_of<'s>(slots: impl Iterator<Item = &'s Slot>, key: Key, class: i32) -> PitchName {
    let mut slots = slots;
    let heard = slots.find_map(|slot| slot.names[class as usize]);
    heard
        .and_then(|fifths| PitchName::from_fifths(i32::from(fifths)))
        .unwrap_or_else(|| key.spelling(class))
}

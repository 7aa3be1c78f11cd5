//! The seventh of a dominant is doubled.
//!
//! # What it finds
//! The seventh of a dominant seventh is sounded for two thirds of a second or more by two parts that
//! do not double each other (our heuristic). The chord is declared, or where the source declares no
//! harmony, it sounds and is spelled as one. What does not count is the same as for
//! `harmony/doubled-leading-note`: parts that leap on or run through or come to it late off the beat, two players on one pitch,
//! plucked strings, full chords of one player, and octaves between families in a tutti or of a family of
//! three and more.
//!
//! # Why it matters
//! The seventh wants to fall by a step. Two of them fall in octaves, or one is left hanging, and
//! the chord loses its root or its fifth for a dissonance.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! voice tune { 1: 1/1 E5 | 2: F5 | 3: E5 | 4: E5 | }
//! voice mid { 1: 1/1 G4 | 2: B3&F4 | 3: C4&G4 | 4: C4&G4 | }
//! voice low { 1: 1/1 C3 | 2: G2 | 3: C3 | 4: C3 | }
//! ensemble few { era 1810
//!   violin-1 8 players, violin-2 8 players, cello 4 players }
//! scoring few for few {
//!   violin-1 plays tune as melody
//!   violin-2 plays mid as harmony
//!   cello plays low as bass
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! voice tune { 1: 1/1 E5 | 2: F5 | 3: E5 | 4: E5 | }
//! voice mid { 1: 1/1 G4 | 2: B3&D4 | 3: C4&G4 | 4: C4&G4 | }
//! voice low { 1: 1/1 C3 | 2: G2 | 3: C3 | 4: C3 | }
//! ensemble few { era 1810
//!   violin-1 8 players, violin-2 8 players, cello 4 players }
//! scoring few for few {
//!   violin-1 plays tune as melody
//!   violin-2 plays mid as harmony
//!   cello plays low as bass
//! }
//! ```
//!
//! # Source
//! Common practice of part-writing; the length is our heuristic.

use super::tendency::{self, Tone};
use crate::check::context::Context;
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::Severity;

pub const RULE: Rule = Rule {
    code: "harmony/doubled-seventh",
    severity: Severity::Advice,
    scope: Scope::Moment(check),
    grounds: Grounds::Together,
    absence: false,
    cause: Cause::Source,
    text: include_str!("doubled_seventh.rs"),
};

/// Seconds from which it counts: it is less sharp than the leading note. Our heuristic.
const LONG: f64 = 0.66;

fn check(cx: &Context, findings: &mut Findings) {
    tendency::check(cx, findings, &RULE, Tone::Seventh, LONG);
}

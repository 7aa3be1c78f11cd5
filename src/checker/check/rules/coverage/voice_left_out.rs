//! A tune or a bass that nobody plays.
//!
//! # What it finds
//! Notes of a voice that is melody or bass, in this scoring or another one of the piece, of which
//! no player has any: none that comes from it, by `plays` or `doubles`, and none of the same name
//! that begins with it.
//!
//! # Why it matters
//! Where bars were handed over from one player to the next, a line may end a bar too early. Nothing
//! on the page shows it: the parts look complete, and the hole is heard at the first rehearsal.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 2/4, key G major, tempo 1/4 at 90
//!   3 end }
//! voice tune { 1: 1/2 G4 | 2: B4 | 3: G4 | }
//! ensemble pair { era 1770
//!   oboe }
//! scoring pair for pair {
//!   oboe plays tune bars 1, 3 as melody
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 2/4, key G major, tempo 1/4 at 90
//!   3 end }
//! voice tune { 1: 1/2 G4 | 2: B4 | 3: G4 | }
//! ensemble pair { era 1770
//!   oboe }
//! scoring pair for pair {
//!   oboe plays tune as melody
//! }
//! ```
//!
//! # Source
//! Common practice.

use super::gaps;
use crate::check::context::Context;
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::Severity;
use crate::resolve::Role;

pub const RULE: Rule = Rule {
    code: "coverage/voice-left-out",
    severity: Severity::Warning,
    scope: Scope::Scoring(check),
    grounds: Grounds::Whole,
    absence: false,
    cause: Cause::Line,
    text: include_str!("voice_left_out.rs"),
};

fn check(cx: &Context, findings: &mut Findings) {
    gaps::tell(cx, findings, &RULE, |_, role| matches!(role, Some(Role::Melody | Role::Bass)));
}

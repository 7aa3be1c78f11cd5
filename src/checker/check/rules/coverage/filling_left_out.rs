//! A filling voice that nobody plays in some bars.
//!
//! # What it finds
//! Notes of a voice that is harmony, rhythm or highlight of which no player has any: none that
//! comes from it, and none of the same name that begins with it. A scoring that does without the
//! voice altogether is exempt.
//!
//! # Why it matters
//! A filling voice may well give way to held chords. Where it breaks off for a few bars and comes
//! back, a line was mostly forgotten.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 2/4, key G major, tempo 1/4 at 90
//!   3 end }
//! voice tune { 1: 1/2 G5 | 2: B5 | 3: G5 | }
//! voice fill { 1: 1/2 B4 | 2: D5 | 3: B4 | }
//! ensemble pair { era 1770
//!   oboe 2 }
//! scoring pair for pair {
//!   oboe.1 plays tune as melody
//!   oboe.2 plays fill bars 1, 3 as harmony
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 2/4, key G major, tempo 1/4 at 90
//!   3 end }
//! voice tune { 1: 1/2 G5 | 2: B5 | 3: G5 | }
//! voice fill { 1: 1/2 B4 | 2: D5 | 3: B4 | }
//! ensemble pair { era 1770
//!   oboe 2 }
//! scoring pair for pair {
//!   oboe.1 plays tune as melody
//!   oboe.2 plays fill as harmony
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
    code: "coverage/filling-left-out",
    severity: Severity::Advice,
    scope: Scope::Scoring(check),
    grounds: Grounds::Whole,
    absence: false,
    cause: Cause::Line,
    text: include_str!("filling_left_out.rs"),
};

fn check(cx: &Context, findings: &mut Findings) {
    gaps::tell(cx, findings, &RULE, |found, role| {
        let filling = matches!(role, Some(Role::Harmony | Role::Rhythm | Role::Highlight));
        filling && found.played
    });
}

//! A `limits` line sets nothing.
//!
//! # What it finds
//! `limits` lines of an ensemble whose rule does not exist or has no figure that can be set, whose
//! unit is not that of the rule, or whose figure is out of range.
//!
//! # Why it matters
//! The usual figure stays in force, while the reader of the source believes that it was changed.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 2/4, key G major
//!   2 end }
//! voice tune { 1: 1/2 G4 | 2: B4 | }
//! ensemble pair { era 1770
//!   oboe
//!   limits endurance/no-breath 60 seconds "a young player" }
//! scoring pair for pair {
//!   oboe plays tune as melody
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 2/4, key G major
//!   2 end }
//! voice tune { 1: 1/2 G4 | 2: B4 | }
//! ensemble pair { era 1770
//!   oboe
//!   limits endurance/no-breath 60% "a young player" }
//! scoring pair for pair {
//!   oboe plays tune as melody
//! }
//! ```
//!
//! # Source
//! Our own convention.

use crate::check::{Cause, Grounds, Rule, Scope, limits};
use crate::diagnostics::Severity;

pub const RULE: Rule = Rule {
    code: "limits/no-effect",
    severity: Severity::Warning,
    scope: Scope::Piece(limits::without_effect),
    grounds: Grounds::Whole,
    absence: false,
    cause: Cause::Line,
    text: include_str!("no_effect.rs"),
};

//! An `allow` line names a rule that does not exist.
//!
//! # What it finds
//! `allow` lines whose rule is neither the name of a rule nor that of a family.
//!
//! # Why it matters
//! A slip of the finger would leave the finding in force and the reader of the source in the
//! belief that it had been dealt with.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 2/4, key G major
//!   2 end }
//! voice tune { 1: 1/2 G4 | 2: E6 | }
//! ensemble pair { era 1770
//!   oboe }
//! scoring pair for pair {
//!   oboe plays tune as melody
//!   allow compas/outside-custom on oboe "a soloist comes for the evening"
//!   allow compass/outside-custom on oboe "a soloist comes for the evening"
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 2/4, key G major
//!   2 end }
//! voice tune { 1: 1/2 G4 | 2: E6 | }
//! ensemble pair { era 1770
//!   oboe }
//! scoring pair for pair {
//!   oboe plays tune as melody
//!   allow compass/outside-custom on oboe "a soloist comes for the evening"
//! }
//! ```
//!
//! # Source
//! Our own convention.

use crate::check::{Cause, Grounds, Rule, Scope};
use crate::diagnostics::Severity;

pub const RULE: Rule = Rule {
    code: "allow/unknown-rule",
    severity: Severity::Warning,
    scope: Scope::Allows,
    grounds: Grounds::Whole,
    absence: false,
    cause: Cause::Line,
    text: include_str!("unknown_rule.rs"),
};

//! An `allow` line silences nothing.
//!
//! # What it finds
//! `allow` lines whose rule finds nothing for those players in those bars, in the scoring itself
//! or in any that keeps it.
//!
//! # Why it matters
//! The reason given no longer holds, or the line names the wrong bars and the finding that it was written
//! for still stands. Left in place it would hide the next mistake.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 2/4, key G major
//!   2 end }
//! voice tune { 1: 1/2 G4 | 2: B4 | }
//! ensemble pair { era 1770
//!   oboe }
//! scoring pair for pair {
//!   oboe plays tune as melody
//!   allow compass/outside-custom on oboe bars 2 "a soloist comes for the evening"
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
//!   oboe }
//! scoring pair for pair {
//!   oboe plays tune as melody
//! }
//! ```
//!
//! # Source
//! Our own convention.

use crate::check::{Cause, Grounds, Rule, Scope};
use crate::diagnostics::Severity;

pub const RULE: Rule = Rule {
    code: "allow/unused",
    severity: Severity::Advice,
    scope: Scope::Allows,
    grounds: Grounds::Whole,
    absence: true,
    cause: Cause::Line,
    text: include_str!("unused.rs"),
};

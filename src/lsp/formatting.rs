//! Formatting. The canonical form is made elsewhere; this is its one call site.
//!
//! Until it is there, nothing is offered ([`OFFERED`]) and nothing changed.

use std::ops::Range;

use super::workspace::Place;
use crate::diagnostics::FileId;
use crate::session::Session;

/// Is there a canonical form to be asked for?
pub const OFFERED: bool = false;

/// The changes that bring a file, or some bytes of it, into the canonical form.
#[must_use]
pub fn format(_: &Session, _: FileId, _: Option<Range<usize>>) -> Vec<(Place, String)> {
    Vec::new()
}

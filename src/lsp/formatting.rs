//! Formatting. The canonical form is made elsewhere; this is its one call site.
//!
//! Until it is there, nothing is offered ([`OFFERED`]) and nothing changed.

use std::ops::Range;

use super::workspace::Place;
use crate::diagnostics::FileId;
use crate::session::Session;

/// Is there a canonical form to be asked for?
pub const OFFERED: bool = false;

/// What is to be brought into the canonical form.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Which {
    /// A whole file.
    File,
    /// Lines, counted from 0, the end not among them.
    Lines(Range<usize>),
    /// The bar that ends right before a byte, behind the `|` that was typed.
    Bar(usize),
}

/// The changes that bring a file, or a part of it, into the canonical form, in order.
#[must_use]
pub fn format(_: &Session, _: FileId, _: &Which) -> Vec<(Place, String)> {
    Vec::new()
}

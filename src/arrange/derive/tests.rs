//! What all tests of computed lines need, and tests of whole lines.

use crate::diagnostics::Sources;
use crate::resolve::{NoFiles, Piece, resolve};

/// A piece from a few declarations.
pub(super) fn piece(text: &str) -> Piece {
    let mut sources = Sources::new();
    let id = sources.add("test.ripieno".to_string(), format!("piece \"Test\" {{\n}}\n{text}"));
    let (piece, mut diagnostics) = resolve(&mut sources, id, &mut NoFiles);
    // Small tests end where their voices end.
    diagnostics.retain(|finding| finding.code != "bars/no-end");
    assert!(diagnostics.is_empty(), "{diagnostics:#?}");
    piece
}

//! The entry of the parser.

use std::sync::Arc;

use super::document::Document;
use super::tree::*;
use crate::diagnostics::{Diagnostic, FileId, Span};

/// The longest source that is read, in bytes: 16 MiB, many times the longest opera.
pub const LARGEST_SOURCE: usize = 16 * 1024 * 1024;

/// Reads a source text into a tree, with everything that is wrong with it.
///
/// Whatever cannot be read costs one bar, one line or one declaration; the rest is in the tree.
/// The spans are those of a [`Document`], which is what to keep if they are to be shown.
#[must_use]
pub fn parse(file: FileId, text: &str) -> (Tree, Vec<Diagnostic>) {
    let document = Document::new(file, text);
    (document.tree(), document.findings().cloned().collect())
}

/// Why a text is not read at all, if it is not.
pub(super) fn unreadable(file: FileId, text: &str) -> Option<Diagnostic> {
    let whole = Span::new(file, 0, 0);
    if text.len() > LARGEST_SOURCE {
        let message =
            format!("This file is {} MB long; a source may have 16 MB.", text.len() >> 20);
        let help = "Put each movement into a file of its own and share ensembles by `use`.";
        return Some(Diagnostic::error("syntax/too-large", whole, message).with_help(help));
    }
    if text.trim_matches(['\u{FEFF}', ' ', '\t', '\r', '\n']).is_empty() {
        let help = "A source begins with `piece \"Title\" { … }`; `ripieno new` makes one.";
        return Some(
            Diagnostic::error("syntax/empty", whole, "This file is empty.").with_help(help),
        );
    }
    None
}

/// The tree of a file of which nothing was read: what it lacks is not worth telling.
pub(super) fn nothing_to_read() -> Tree {
    Tree { declarations: vec![Arc::new(Declaration::Lost(None))] }
}

//! The entry of the parser.

use std::sync::Arc;

use pest::Parser;

use super::context::{Grammar, Rule};
use super::document::Document;
use super::tree::*;
use crate::diagnostics::{Diagnostic, FileId, Span};
use crate::limits;
use crate::narrow::Narrow;

/// Reads a source text into a tree, with everything that is wrong with it.
///
/// Whatever cannot be read costs one bar, one line or one declaration; the rest is in the tree.
/// The spans are those of a [`Document`], which is what to keep if they are to be shown.
#[must_use]
pub fn parse(file: FileId, text: &str) -> (Tree, Vec<Diagnostic>) {
    let document = Document::new(file, text);
    let mut findings = document.findings().cloned().collect();
    document.crowd().thin_out(&mut findings);
    (document.tree(), findings)
}

/// Is a text a name, as the grammar has it: small letters, then letters, digits and `-`?
#[must_use]
pub fn is_name(text: &str) -> bool {
    Grammar::parse(Rule::name, text).is_ok_and(|name| name.as_str().len() == text.len())
}

/// Why a text is not read at all, if it is not.
pub(super) fn unreadable(file: FileId, text: &str) -> Option<Diagnostic> {
    let whole = Span::new(file, 0, 0);
    if text.len() > limits::SOURCE {
        let message =
            format!("This file is {} MB long; a source may have 16 MB.", text.len() >> 20);
        let help = "Put each movement into a file of its own and share ensembles by `use`.";
        return Some(Diagnostic::error("syntax/too-large", whole, message).with_help(help));
    }
    if text.len() > limits::LINE
        && let Some((number, line)) = too_long_a_line(text)
    {
        let start = line.as_ptr().addr() - text.as_ptr().addr();
        let place = Span::new(file, start.narrow::<u32>(), (start + line.len()).narrow::<u32>());
        let (long, most) = (limits::spaced(line.len()), limits::spaced(limits::LINE));
        let message = format!("Line {number} is {long} bytes long; a line may have {most}.");
        let help = "Put each bar, or some bars, on a line of their own.";
        return Some(Diagnostic::error("syntax/too-large", place, message).with_help(help));
    }
    if text.trim_matches(['\u{FEFF}', ' ', '\t', '\r', '\n']).is_empty() {
        let help = "A source begins with `piece \"Title\" { … }`; `ripieno new` makes one.";
        return Some(
            Diagnostic::error("syntax/empty", whole, "This file is empty.").with_help(help),
        );
    }
    None
}

/// The first line that is longer than a line may be, with its number from 1.
fn too_long_a_line(text: &str) -> Option<(usize, &str)> {
    // A carriage return alone ends a line too.
    let lines = text.split('\n').flat_map(|line| line.trim_end_matches('\r').split('\r'));
    (1..).zip(lines).find(|(_, line)| line.len() > limits::LINE)
}

/// The tree of a file of which nothing was read: what it lacks is not worth telling.
pub(super) fn nothing_to_read() -> Tree {
    Tree { declarations: vec![Arc::new(Declaration::Lost(None))] }
}

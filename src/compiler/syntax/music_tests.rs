//! Plain notes are read in one go, and mean what they would step by step.

use proptest::prelude::*;

use super::{Document, Element, Node, Spanned};
use crate::diagnostics::FileId;

/// What stands in the only bar of a voice.
fn elements(bar: &str) -> Vec<Spanned<Element>> {
    let document = Document::new(FileId(0), format!("voice v {{\n  1: {bar} |\n}}\n"));
    let bars: Vec<_> = document
        .items()
        .filter_map(|(_, item)| match &item.node {
            Node::Bar(bar) if !bar.broken() => Some(bar.read()),
            _ => None,
        })
        .collect();
    assert_eq!(bars.len(), 1, "{bar}");
    bars[0].clone()
}

proptest! {
    /// The same with blanks at which nothing is read in one go.
    #[test]
    fn what_is_read_in_one_go_is_what_stands_there_step_by_step(
        words in proptest::collection::vec(
            "[{]?[A-G](##?|bb?|♯|♭♭?|♮|𝄪)?[0-9]?(\\[(trill|p)\\])?[}]?|[1-9]/[1-9][0-9]?[.]{0,3}[}]?|=(\\[accent\\])?|[{}]|C4&E4|D5\\[trill, p\\]|D5\\[up-bow\\]",
            1..12,
        ),
    ) {
        let steps = words.join("\u{A0}");
        prop_assert_eq!(elements(&words.join("  ")), elements(&steps));
        // More than one word to a word: braces and their notes.
        prop_assert!(elements(&steps).len() >= words.len());
    }
}

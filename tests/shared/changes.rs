//! Sources changed at random.

use proptest::prelude::*;

pub use crate::shared::pieces::PIECES;

/// One change of a text.
#[derive(Clone, Debug)]
pub enum Change {
    Delete { at: usize, length: usize },
    Insert { at: usize, piece: &'static str },
    Copy { from: usize, length: usize, to: usize },
}

/// Any change.
pub fn change() -> impl Strategy<Value = Change> {
    let at = any::<usize>();
    prop_oneof![
        (at, 1_usize..40).prop_map(|(at, length)| Change::Delete { at, length }),
        (at, proptest::sample::select(PIECES)).prop_map(|(at, piece)| Change::Insert { at, piece }),
        (at, 1_usize..200, at).prop_map(|(from, length, to)| Change::Copy { from, length, to }),
    ]
}

/// The nearest place before an offset where a character begins.
fn boundary(text: &str, at: usize) -> usize {
    (0..=at.min(text.len())).rev().find(|&at| text.is_char_boundary(at)).unwrap_or(0)
}

/// A text after changes.
pub fn changed(text: &str, changes: &[Change]) -> String {
    let mut text = text.to_string();
    for change in changes {
        let place = |at: usize| boundary(&text, at % (text.len() + 1));
        match *change {
            Change::Delete { at, length } => {
                let (from, to) = (place(at), boundary(&text, place(at) + length));
                text.replace_range(from..to.max(from), "");
            }
            Change::Insert { at, piece } => {
                let at = place(at);
                text.insert_str(at, &format!(" {piece} "));
            }
            Change::Copy { from, length, to } => {
                let (from, to) = (place(from), place(to));
                let piece = text[from..boundary(&text, from + length).max(from)].to_string();
                text.insert_str(to, &piece);
            }
        }
    }
    text
}

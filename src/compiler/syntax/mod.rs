//! From text to a tree with spans. Parsing never fails: it returns a tree and a list of findings,
//! whatever the text.
//!
//! [`Document`] is the file as it was read, item after item with nothing lost; it can be edited,
//! and reads again only what an edit reaches. [`Tree`] is what it means, without comments and
//! blanks.

mod blocks;
mod context;
mod document;
#[cfg(test)]
mod document_tests;
mod elements;
#[cfg(test)]
mod elements_tests;
mod expected;
mod explain;
mod habits;
mod item;
mod keywords;
mod layout;
mod music;
#[cfg(test)]
mod music_tests;
mod packed;
mod parse;
mod scoring;
mod tree;
mod written;

pub use document::{Block, Document};
pub use item::{Item, Node, Within};
pub use packed::{PackedBar, PackedLine};
pub use parse::{is_name, parse};
pub use tree::*;

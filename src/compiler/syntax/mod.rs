//! From text to a tree with spans. Parsing never fails: it returns a tree and a list of findings,
//! whatever the text.

mod blocks;
mod context;
mod expected;
mod explain;
mod habits;
mod music;
mod parse;
mod scoring;
mod tree;

pub use parse::{LARGEST_SOURCE, parse};
pub use tree::*;

//! From the tree to the piece: names linked, times exact, bars counted.

mod piece;

pub use piece::*;

//! From sounding music to staves as a player reads them.

mod score;

pub use score::*;

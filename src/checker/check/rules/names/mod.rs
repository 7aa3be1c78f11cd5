//! Names that nothing uses.

pub mod idle_player;
pub mod unused_voice;

//! Advice before writing: what the music of a piece says about crooks, drums, forces, voices and
//! harmony.
//!
//! Each kind of advice is a value that serde can write as data and that [`std::fmt::Display`]
//! shows as a table for people. Nothing here changes the piece.

mod harmony;

pub use harmony::{ChordAt, HarmonyAdvice, HarmonyBar, harmony};

/// A share rounded to three places, so that data files stay readable.
fn rounded(share: f64) -> f64 {
    (share * 1000.0).round() / 1000.0
}

//! The compiler proper: from the text to what every player sounds.
//!
//! ```text
//! text ─ syntax ─▶ Tree ─ resolve ─▶ Piece ─ arrange ─▶ Arrangement
//! ```
//!
//! Beside these stages stand [`music`] (pure theory), [`instruments`] (the catalogue), [`harmony`]
//! (chords inferred from voices), [`diagnostics`] (findings and how to show them) and [`mod@format`]
//! (the canonical form of a source). Nothing here reads or writes a file, knows a staff, or judges
//! the music.

// What pest makes of the grammar asks for it.
extern crate alloc;

pub mod arrange;
pub mod cores;
pub mod diagnostics;
pub mod format;
pub mod harmony;
pub mod instruments;
pub mod limits;
pub mod lists;
pub mod music;
pub mod narrow;
pub mod resolve;
pub mod syntax;

//! Ripieno.
pub mod instruments;
pub mod music;

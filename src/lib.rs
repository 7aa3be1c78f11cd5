//! Ripieno.
pub mod arrange;
pub mod diagnostics;
pub mod instruments;
pub mod music;
pub mod notate;
pub mod render;
pub mod resolve;
pub mod syntax;

//! Printed pages.

pub mod glyphs;

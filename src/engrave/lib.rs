//! Printed pages: what players read, laid out as an engraver would and drawn as PDF, SVG and PNG.
//!
//! [`reading`] takes staves over from the notation, [`layout`] makes [`page::Pages`] of them, plain
//! data with places in staff spaces, and [`draw`] writes what is there without deciding anything.

pub mod draw;
pub mod glyphs;
pub mod layout;
pub mod outputs;
pub mod overrides;
pub mod packed;
pub mod page;
pub mod paper;
pub mod reading;
pub mod rows;
pub mod sheet;
pub mod store;
pub mod text;

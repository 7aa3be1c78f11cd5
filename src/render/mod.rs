//! Writers: each turns what `notate` and `arrange` decided into one format.

pub mod midi;
pub mod musicxml;
pub mod text;

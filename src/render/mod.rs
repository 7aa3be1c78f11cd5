//! Writers: each turns what `notate` and `arrange` decided into one format.

pub mod midi;
pub mod text;
pub mod musicxml;

//! Writers: each turns what `notate` and `arrange` decided into one format.
//!
//! A back end is one file here and one line in [`outputs`]. None decides anything musical.

pub mod midi;
pub mod musicxml;
mod outputs;
mod packed;
mod shelf;
mod streamed;
pub mod text;

pub use outputs::{
    Format, Notated, Output, ScoreKind, Wanted, Write, condenses, each_output, notated, outputs,
    outputs_of, part_name, part_of, slug, source_mark,
};
pub use streamed::streamed;

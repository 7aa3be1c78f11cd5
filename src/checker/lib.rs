//! Judgement: [`check`] finds in an arrangement what will not work, and [`advise`] tells before
//! one writes what would.
//!
//! A [`session`] keeps what all stages give out, for whoever works on a source.
//!
//! None of them changes the music, and none knows a staff or a file format.

pub mod advise;
pub mod check;
pub mod draft;
pub mod session;
pub mod write_out;

// The stages before, under the names they have everywhere.
use ripieno_compiler::{
    arrange, cores, diagnostics, format, harmony, instruments, lists, music, narrow, resolve,
    syntax,
};

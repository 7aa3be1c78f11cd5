//! Pages and sound: [`notate`] sets what sounds on staves as players read them, [`edition`] says
//! what stands on which pages, and [`render`] writes text, MusicXML and MIDI.
//!
//! Nothing here decides anything musical, and nothing reads or writes a file.

pub mod edition;
pub mod notate;
pub mod perform;
pub mod render;

// The stages before, under the names they have everywhere.
use ripieno_compiler::{arrange, cores, diagnostics, instruments, music, narrow, resolve};

//! The language server: what an editor asks while somebody types.
//!
//! One file for each kind of request. The features are plain functions of the
//! [`Session`](ripieno_checker::session::Session): a place ([`At`]) goes in, data come out, with places as
//! bytes of a text; tests call them with a few lines of text. Around them lies a thin shell that
//! knows the protocol: [`serve`] takes messages in order, `answers` turns positions into bytes and
//! data into what the protocol calls them, [`positions`] and [`uri`] know how a client counts and
//! names. Files are read and written by whoever gives a [`Host`].
//!
//! Edits reach the session at once; findings are worked out when no message waits any more, root
//! by root, so that a burst of keystrokes is answered once. A request that was cancelled while it
//! waited is not worked on. Nothing runs while nothing is asked.

mod answers;
mod capabilities;
mod commands;
pub mod completion;
pub mod context;
pub mod findings;
pub mod fixes;
pub mod folding;
pub mod formatting;
pub mod hierarchy;
pub mod hints;
pub mod hover;
pub mod lens;
pub mod names;
pub mod notes;
pub mod page;
pub mod positions;
mod progress;
pub mod selection;
mod server;
mod settings;
pub mod show_bar;
pub mod signature;
pub mod symbols;
#[cfg(test)]
mod testing;
pub mod tokens;
pub mod uri;
mod workspace;

pub use server::serve;
pub use settings::{Hints, Settings};
pub use workspace::{At, Host, TextPlace, Workspace};

// The stages, under the names they have everywhere.
use ripieno_checker::{check, session};
use ripieno_compiler::{arrange, diagnostics, format, instruments, music, narrow, resolve, syntax};
use ripieno_writers::{notate, render};

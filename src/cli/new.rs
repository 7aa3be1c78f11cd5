//! `ripieno new`.

use std::path::PathBuf;

use super::{End, Failure, Outcome, files, print};

/// What `new` takes.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The file to create, for example `my-dance.ripieno`.
    file: PathBuf,
}

/// A small piece that compiles, to be written over.
pub(super) const EXAMPLE: &str = include_str!("new.ripieno");

pub(super) fn run(arguments: &Arguments) -> Outcome {
    let path = &arguments.file;
    if path.file_name().is_none() {
        return Err(Failure(format!("{} is not the name of a file", path.display())));
    }
    files::write_new(path, EXAMPLE.as_bytes())?;
    print(&format!(
        "Created {0}. Edit it, then run:\n  ripieno check {0}\n  ripieno build {0}\n",
        path.display()
    ))?;
    Ok(End::Fine)
}

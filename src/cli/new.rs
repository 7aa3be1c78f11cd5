//! `ripieno new`.

use std::path::PathBuf;

use super::{End, Failure, Outcome, files, print};

/// What `new` takes.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The file to begin, for example `my-dance.ripieno`.
    file: PathBuf,
}

/// A small piece that compiles, to be written over.
pub(super) const EXAMPLE: &str = include_str!("new.ripieno");

pub(super) fn run(arguments: &Arguments) -> Outcome {
    let path = &arguments.file;
    if path.exists() {
        return Err(Failure(format!("{} is there already; nothing was changed", path.display())));
    }
    let Some(name) = path.file_name().map(|name| name.to_string_lossy().into_owned()) else {
        return Err(Failure(format!("{} is not the name of a file", path.display())));
    };
    let folder = path.parent().filter(|parent| !parent.as_os_str().is_empty());
    let folder = folder.map_or(PathBuf::from("."), PathBuf::from);
    files::write_all(&folder, &[(name, EXAMPLE.as_bytes().to_vec())])?;
    print(&format!(
        "{0} is begun. Write on in your editor, then:\n  ripieno check {0}\n  ripieno build {0}\n",
        path.display()
    ))?;
    Ok(End::Fine)
}

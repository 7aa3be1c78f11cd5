//! `ripieno check`.

use std::io::Write;
use std::path::PathBuf;

use super::source::{self, counts, has_errors};
use super::{End, Outcome, Show};
use crate::check;

/// What `check` takes.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The sources.
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// Check only this scoring (may be given several times).
    #[arg(long, value_name = "NAME")]
    scoring: Vec<String>,
    /// How findings are shown.
    #[arg(long, value_enum, default_value = "rich")]
    format: Show,
    /// The folder below which used files must lie.
    #[arg(long, value_name = "DIR")]
    root: Option<PathBuf>,
}

pub(super) fn run(arguments: &Arguments) -> Outcome {
    let mut end = End::Fine;
    for path in &arguments.files {
        let mut read = source::read(path, arguments.root.as_deref())?;
        let chosen = source::scorings(&read.piece, &arguments.scoring)?;
        let findings = check::check_scorings(&read.piece, &chosen, &check::Options::default());
        read.diagnostics.extend(findings);
        source::show(&read, arguments.format)?;
        if arguments.format == Show::Rich {
            let _ =
                writeln!(std::io::stderr(), "{}: {}", path.display(), counts(&read.diagnostics));
        }
        if has_errors(&read.diagnostics) {
            end = End::ErrorsInMusic;
        }
    }
    Ok(end)
}

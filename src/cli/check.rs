//! `ripieno check`.

use std::io::Write;
use std::path::PathBuf;

use super::source::{self, counts, has_errors};
use super::{End, Outcome, Show};
use ripieno_checker::check;
use ripieno_compiler::diagnostics::Sources;

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
    /// Treat findings of these rules, families or severities (`warnings`, `advice`, `all`) as errors.
    #[arg(long, value_name = "RULE", value_delimiter = ',')]
    deny: Vec<String>,
    /// Leave out findings of these rules, families or severities (`warnings`, `advice`, `all`).
    #[arg(long, value_name = "RULE", value_delimiter = ',')]
    allow: Vec<String>,
    /// Report only findings of these rules, families or severities (`warnings`, `advice`, `all`).
    #[arg(long, value_name = "RULE", value_delimiter = ',')]
    only: Vec<String>,
    /// Root folder: `use` cannot reach files outside it.
    #[arg(long, value_name = "DIR")]
    root: Option<PathBuf>,
}

pub(super) fn run(arguments: &Arguments) -> Outcome {
    let options = source::options(&arguments.deny, &arguments.allow, &arguments.only)?;
    let mut sources = Sources::new();
    let mut all = Vec::new();
    for path in &arguments.files {
        let mut read = source::read(&mut sources, path, arguments.root.as_deref())?;
        let chosen = source::scorings(&read.piece, &arguments.scoring)?;
        let of_source = std::mem::take(&mut read.diagnostics);
        read.diagnostics = check::report(&read.piece, of_source, &chosen, &options);
        // Data are one object, however many files there are.
        if arguments.format != Show::Json {
            source::show(&sources, &read.diagnostics, arguments.format)?;
        }
        if arguments.format == Show::Rich {
            let _ =
                writeln!(std::io::stderr(), "{}: {}", path.display(), counts(&read.diagnostics));
        }
        all.extend(read.diagnostics);
    }
    if arguments.format == Show::Json {
        source::show(&sources, &all, Show::Json)?;
    }
    Ok(if has_errors(&all) { End::ErrorsInMusic } else { End::Fine })
}

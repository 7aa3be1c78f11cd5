//! `ripieno check`.

use std::io::Write;
use std::path::PathBuf;

use super::source::{self, Desk, Judging, counts, has_errors};
use super::{End, Outcome, Show};

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
    #[command(flatten)]
    judging: Judging,
    /// Report only findings of these rules, families or severities (`warnings`, `advice`, `all`).
    #[arg(long, value_name = "RULE", value_delimiter = ',')]
    only: Vec<String>,
    /// Root folder: `use` cannot reach files outside it.
    #[arg(long, value_name = "DIR")]
    root: Option<PathBuf>,
}

pub(super) fn run(arguments: &Arguments) -> Outcome {
    let mut desk = Desk::new(arguments.judging.options(&arguments.only)?);
    let mut all = Vec::new();
    for path in &arguments.files {
        let file = desk.open(path, arguments.root.as_deref())?;
        source::scorings(&desk.session.piece(file), &arguments.scoring)?;
        let findings = desk.findings_alone(file, &arguments.scoring)?;
        // Data are one object, however many files there are.
        if arguments.format != Show::Json {
            source::show(desk.sources(), &findings, arguments.format)?;
        }
        if arguments.format == Show::Rich {
            let _ = writeln!(std::io::stderr(), "{}: {}", path.display(), counts(&findings));
        }
        all.extend(findings.iter().cloned());
        // Of many files only one stands at a time.
        desk.session.forget(file);
    }
    if arguments.format == Show::Json {
        source::show(desk.sources(), &all, Show::Json)?;
    }
    Ok(if has_errors(&all) { End::ErrorsInMusic } else { End::Fine })
}

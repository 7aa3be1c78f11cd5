//! `ripieno advise`.

use std::fmt::Display;
use std::path::PathBuf;

use clap::{Subcommand, ValueEnum};
use serde::Serialize;

use super::source::{self, has_errors};
use super::{End, Failure, Outcome, Show, print};
use crate::advise;
use crate::diagnostics::Sources;

/// What `advise` takes.
#[derive(clap::Args)]
pub(super) struct Arguments {
    #[command(subcommand)]
    what: What,
}

#[derive(Subcommand)]
enum What {
    /// The chords that the voices spell, as a block ready to paste.
    Harmony(Asked),
}

/// What every kind of advice takes.
#[derive(clap::Args)]
struct Asked {
    /// The source.
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// How the advice is shown.
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
    /// The folder below which used files must lie.
    #[arg(long, value_name = "DIR")]
    root: Option<PathBuf>,
}

/// How advice is shown.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Format {
    /// As a table.
    Text,
    /// As data.
    Json,
}

pub(super) fn run(arguments: &Arguments) -> Outcome {
    match &arguments.what {
        What::Harmony(asked) => {
            let read = open(asked)?;
            tell(asked, &read, &advise::harmony(&read.piece))
        }
    }
}

fn open(asked: &Asked) -> Result<source::Read, Failure> {
    let mut sources = Sources::new();
    let read = source::read(&mut sources, &asked.file, asked.root.as_deref())?;
    source::show(&sources, &read.diagnostics, Show::Rich)?;
    Ok(read)
}

/// Shows the advice; what is wrong with the source stands on the standard error already.
fn tell(asked: &Asked, read: &source::Read, advice: &(impl Display + Serialize)) -> Outcome {
    print(&match asked.format {
        Format::Text => advice.to_string(),
        Format::Json => {
            let json = serde_json::to_string_pretty(advice)
                .map_err(|error| Failure(format!("cannot write the advice as data: {error}")))?;
            json + "\n"
        }
    })?;
    Ok(if has_errors(&read.diagnostics) { End::ErrorsInMusic } else { End::Fine })
}

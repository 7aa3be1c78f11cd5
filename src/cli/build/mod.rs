//! `ripieno build`.

mod batch;
mod piece;

use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

use super::output::{Inputs, MANIFEST, OutputFolder};
use super::paging::{self, Paging};
use super::printing::{self, Format, Printing};
use super::reprint::Past;
use super::revision;
use super::source::{Desk, Judging, has_errors};
use super::{End, Failure, Outcome, Show, print};
use piece::{Building, BuiltFrom};
use ripieno_compiler::diagnostics::{Diagnostic, FileId, json};
use ripieno_writers::render::slug;

/// What `build` takes.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The sources.
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// How findings are shown.
    #[arg(long, value_enum, default_value = "rich")]
    format: Show,
    /// Print "revised" in the parts at bars that are new since OLD: a source, a source in a revision of
    /// a checkout (`v2:weir.ripieno`), or the folder of a build.
    #[arg(long, value_name = "OLD")]
    mark_changes: Option<PathBuf>,
    #[command(flatten)]
    wanted: Wanted,
}

/// What `build` and `watch` are asked to write.
#[derive(clap::Args)]
pub(super) struct Wanted {
    /// The folder into which everything is written: DIR/<piece>/<scoring>/…
    #[arg(short, long, value_name = "DIR", default_value = "build")]
    pub(super) output: PathBuf,
    /// Write only this scoring (may be given several times).
    #[arg(long, value_name = "NAME")]
    scoring: Vec<String>,
    /// Write only these formats: text, midi, musicxml, mxl, pdf, svg, png.
    #[arg(long, value_name = "FORMAT", value_delimiter = ',', value_parser = printing::format)]
    only: Vec<Format>,
    /// Write even if there are errors in the music; the parts will show them.
    #[arg(long)]
    despite_errors: bool,
    /// Remove files of earlier builds that are no longer produced.
    #[arg(long)]
    prune: bool,
    /// Root folder: `use` cannot reach files outside it.
    #[arg(long, value_name = "DIR")]
    pub(super) root: Option<PathBuf>,
    #[command(flatten)]
    pub(super) judging: Judging,
    #[command(flatten)]
    paging: Paging,
    #[command(flatten)]
    printing: Printing,
}

impl Wanted {
    /// The formats to write.
    pub(super) fn formats(&self) -> Result<Vec<Format>, Failure> {
        self.printing.formats(&self.only)
    }
}

pub(super) fn run(arguments: &Arguments) -> Outcome {
    let wanted = &arguments.wanted;
    wanted.formats()?;
    let past = arguments.mark_changes.as_deref().map(Past::read).transpose()?;
    let batch = batch::Batch::new(arguments, wanted.judging.options(&[])?, past);
    let (pieces, output) = batch.run()?;
    if let Some(output) = output {
        output.place()?;
    }
    let mut data = json::Report::default();
    let mut end = End::Fine;
    let mut without: Vec<String> = Vec::new();
    for (path, piece) in arguments.files.iter().zip(pieces) {
        if piece.has_errors {
            end = End::ErrorsInMusic;
        }
        if piece.has_nothing {
            without.push(path.display().to_string());
        }
        data.append(piece.data);
        if arguments.format == Show::Json {
            let _ = std::io::stderr().lock().write_all(piece.report.as_bytes());
        } else {
            print(&piece.report)?;
        }
    }
    if arguments.format == Show::Json {
        print(&data.finished())?;
    }
    if without.len() == arguments.files.len() {
        let verb = if without.len() == 1 { "has" } else { "have" };
        return Err(Failure(format!(
            "{} {verb} no scoring, so there is nothing to write",
            without.join(", ")
        )));
    }
    for path in without {
        let _ = writeln!(std::io::stderr(), "{path}: no scoring, so nothing to write; left out.");
    }
    Ok(end)
}

/// What a source is built from: itself, and all that it uses.
fn built_from(desk: &mut Desk, file: FileId) -> BuiltFrom {
    let inputs = Inputs::of_session(&mut desk.session, file);
    let files = desk.session.files_of(file);
    let paths: Vec<PathBuf> =
        files.iter().map(|file| PathBuf::from(&desk.sources().get(*file).name)).collect();
    BuiltFrom { inputs, revision: revision::current(&paths), files }
}

/// What became of one source.
pub(super) struct Built {
    pub(super) findings: Arc<[Diagnostic]>,
    /// The files that are new or changed, in order; nothing where errors or the lack of a scoring
    /// kept it from being written.
    pub(super) written: Option<Vec<PathBuf>>,
}

/// Builds one source that is open on a desk, by itself.
pub(super) fn alone(
    wanted: &Wanted,
    desk: &mut Desk,
    path: &Path,
    file: FileId,
) -> Result<Built, Failure> {
    let findings = desk.findings(file, &wanted.scoring)?;
    let arranged = desk.session.arrangements(file);
    if (has_errors(&findings) && !wanted.despite_errors) || arranged.is_empty() {
        return Ok(Built { findings, written: None });
    }
    let piece = desk.session.piece(file);
    let output = OutputFolder::open(&wanted.output)?;
    let folder = slug(&piece.title);
    let from = built_from(desk, file);
    let mut building = Building::begin(&output, &piece, folder, path, from)?;
    let past = Mutex::new(None);
    let (_, on_pages) =
        building.scorings(&arranged, wanted, paging::threads(), &past, desk.sources())?;
    let on_pages = wanted.judging.options(&[])?.apply(on_pages);
    let findings: Arc<[Diagnostic]> = findings.iter().cloned().chain(on_pages).collect();
    if has_errors(&findings) && !wanted.despite_errors {
        return Ok(Built { findings, written: None });
    }
    building.finish(0, wanted.prune)?;
    let mut written = output.place()?;
    written.retain(|path| path.file_name().is_none_or(|name| name != MANIFEST));
    Ok(Built { findings, written: Some(written) })
}

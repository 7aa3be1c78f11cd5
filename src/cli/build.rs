//! `ripieno build`.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::output::{Entry, Inputs, MANIFEST, Manifest, OutputFolder, digest};
use super::paging::{self, Paging};
use super::printing::{self, Format, Printing};
use super::reprint::{self, Past};
use super::revision;
use super::source::{self, Desk, counts, has_errors};
use super::{End, Failure, Outcome, Show, print};
use ripieno_checker::advise::{self, table};
use ripieno_compiler::arrange::Arrangement;
use ripieno_compiler::diagnostics::{Diagnostic, FileId};
use ripieno_compiler::resolve::{Form, Piece, Scoring, seconds_per_whole};
use ripieno_writers::render::{self, slug};

/// What `build` takes.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The sources.
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// The folder into which everything is written: DIR/<piece>/<scoring>/…
    #[arg(short, long, value_name = "DIR", default_value = "build")]
    output: PathBuf,
    /// Write only this scoring (may be given several times).
    #[arg(long, value_name = "NAME")]
    scoring: Vec<String>,
    /// Write only these formats: text, midi, musicxml, mxl, pdf, svg, png.
    #[arg(long, value_name = "FORMAT", value_delimiter = ',', value_parser = printing::format)]
    only: Vec<Format>,
    /// How findings are shown.
    #[arg(long, value_enum, default_value = "rich")]
    format: Show,
    /// Write even if there are errors in the music; the parts will show them.
    #[arg(long)]
    despite_errors: bool,
    /// Remove files of earlier builds that the source no longer gives.
    #[arg(long)]
    prune: bool,
    /// Root folder: `use` cannot reach files outside it.
    #[arg(long, value_name = "DIR")]
    root: Option<PathBuf>,
    /// Treat findings of these rules, families or severities (`warnings`, `advice`, `all`) as errors.
    #[arg(long, value_name = "RULE", value_delimiter = ',')]
    deny: Vec<String>,
    /// Leave out findings of these rules, families or severities (`warnings`, `advice`, `all`).
    #[arg(long, value_name = "RULE", value_delimiter = ',')]
    allow: Vec<String>,
    /// Say "revised" in the parts where bars are new since OLD: a source, a source in a revision of
    /// a checkout (`v2:weir.ripieno`), or the folder of a build.
    #[arg(long, value_name = "OLD")]
    mark_changes: Option<PathBuf>,
    #[command(flatten)]
    paging: Paging,
    #[command(flatten)]
    printing: Printing,
}

pub(super) fn run(arguments: &Arguments) -> Outcome {
    let formats = arguments.printing.formats(&arguments.only)?;
    let options = source::options(&arguments.deny, &arguments.allow, &[])?;
    let mut past = arguments.mark_changes.as_deref().map(Past::read).transpose()?;
    let mut desk = Desk::new(options);
    let mut all = Vec::new();
    let mut end = End::Fine;
    let mut without: Vec<String> = Vec::new();
    let mut output: Option<OutputFolder> = None;
    let mut reports: Vec<String> = Vec::new();
    let mut folders: Vec<(String, &Path)> = Vec::new();
    for path in &arguments.files {
        let file = desk.open(path, arguments.root.as_deref())?;
        let findings = desk.findings(file, &arguments.scoring)?;
        let piece = desk.session.piece(file);
        let nothing = piece.scorings.is_empty();
        // Data are one object, however many files there are.
        if arguments.format == Show::Json {
            all.extend(findings.iter().cloned());
        } else {
            source::show(desk.sources(), &findings, arguments.format)?;
        }
        // A file of ensembles that others use has nothing of its own to write.
        if nothing && !has_errors(&findings) {
            without.push(path.display().to_string());
            continue;
        }
        let folder = slug(&piece.title);
        if let Some((_, other)) = folders.iter().find(|(name, _)| *name == folder) {
            return Err(Failure(format!(
                "{} and {} are both called \"{}\" and would overwrite each other; give one another title",
                other.display(),
                path.display(),
                piece.title
            )));
        }
        folders.push((folder.clone(), path));
        if has_errors(&findings) {
            end = End::ErrorsInMusic;
            if !arguments.despite_errors {
                let _ = writeln!(
                    std::io::stderr(),
                    "{}: {}; nothing was written. Fix the errors, or pass `--despite-errors`.",
                    path.display(),
                    counts(&findings)
                );
                continue;
            }
        }
        if nothing {
            without.push(path.display().to_string());
            continue;
        }
        let output = match &mut output {
            Some(output) => output,
            none => none.insert(OutputFolder::open(&arguments.output)?),
        };
        let inputs = inputs(&mut desk, file);
        let mut building = Building::begin(output, &piece, folder, path, inputs)?;
        let arranged = desk.session.arrangements(file);
        let wanted = Pages {
            formats: &formats,
            paging: &arguments.paging,
            printing: &arguments.printing,
            past: past.as_mut(),
        };
        let table = building.scorings(&arranged, wanted)?;
        let stale = building.finish(arguments.prune)?;
        reports.push(format!("{}: {}\n{table}{stale}", path.display(), counts(&findings)));
    }
    if let Some(output) = output {
        output.place()?;
    }
    for report in reports {
        if arguments.format == Show::Json {
            let _ = std::io::stderr().lock().write_all(report.as_bytes());
        } else {
            print(&report)?;
        }
    }
    if arguments.format == Show::Json {
        source::show(desk.sources(), &all, Show::Json)?;
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

/// The digest of a source and all that it uses, and the revision that has them.
fn inputs(desk: &mut Desk, file: FileId) -> (Inputs, Option<String>) {
    let inputs = Inputs::of_session(&mut desk.session, file);
    let files = desk.session.files_of(file);
    let files: Vec<PathBuf> =
        files.iter().map(|file| PathBuf::from(&desk.sources().get(*file).name)).collect();
    (inputs, revision::current(&files))
}

/// What is asked of a build of one source.
pub(super) struct Wanted<'a> {
    pub(super) output: &'a Path,
    pub(super) scorings: &'a [String],
    pub(super) formats: Vec<Format>,
    pub(super) paging: Paging,
    pub(super) printing: Printing,
    pub(super) root: Option<&'a Path>,
    pub(super) despite_errors: bool,
    pub(super) prune: bool,
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
    let findings = desk.findings(file, wanted.scorings)?;
    let arranged = desk.session.arrangements(file);
    if (has_errors(&findings) && !wanted.despite_errors) || arranged.is_empty() {
        return Ok(Built { findings, written: None });
    }
    let piece = desk.session.piece(file);
    let mut output = OutputFolder::open(wanted.output)?;
    let folder = slug(&piece.title);
    let inputs = inputs(desk, file);
    let mut building = Building::begin(&mut output, &piece, folder, path, inputs)?;
    let pages = Pages {
        formats: &wanted.formats,
        paging: &wanted.paging,
        printing: &wanted.printing,
        past: None,
    };
    building.scorings(&arranged, pages)?;
    building.finish(wanted.prune)?;
    let mut written = output.place()?;
    written.retain(|path| path.file_name().is_none_or(|name| name != MANIFEST));
    Ok(Built { findings, written: Some(written) })
}

/// Which pages of each scoring are written, and how.
struct Pages<'a> {
    formats: &'a [Format],
    paging: &'a Paging,
    printing: &'a Printing,
    /// Since when changes are marked.
    past: Option<&'a mut Past>,
}

/// One piece while it is got ready in the output folder.
struct Building<'a> {
    output: &'a mut OutputFolder,
    piece: &'a Arc<Piece>,
    /// The folder of the piece below the output folder.
    folder: String,
    inputs: Inputs,
    /// The revision of the checkout that has the sources as they are.
    revision: Option<String>,
    before: Manifest,
    now: Manifest,
}

impl<'a> Building<'a> {
    /// Begins a piece; a folder that another piece was built into is refused.
    fn begin(
        output: &'a mut OutputFolder,
        piece: &'a Arc<Piece>,
        folder: String,
        path: &Path,
        (inputs, revision): (Inputs, Option<String>),
    ) -> Result<Building<'a>, Failure> {
        let source = output.way_to(&folder, path)?;
        let before = output.manifest(&folder)?.unwrap_or_default();
        if !before.source.is_empty()
            && before.source != source
            && output.is_there(&folder, &before.source)
        {
            return Err(Failure(format!(
                "{} holds \"{}\", built from {}; give one of the two another title, or name another \
                 folder with `--output`",
                output.path(&folder).display(),
                before.piece,
                output.path(&folder).join(&before.source).display(),
            )));
        }
        let now = Manifest {
            version: env!("CARGO_PKG_VERSION").into(),
            piece: piece.title.clone(),
            source,
            ..Manifest::default()
        };
        Ok(Building { output, piece, folder, inputs, revision, before, now })
    }

    /// Gets scorings that are worked out ready; gives back the table of what they hold.
    fn scorings(
        &mut self,
        arranged: &[Arc<Arrangement>],
        mut asked: Pages,
    ) -> Result<String, Failure> {
        let (formats, printing) = (asked.formats, asked.printing);
        let written: Vec<render::Format> = formats
            .iter()
            .filter_map(|format| match format {
                Format::Written(format) => Some(*format),
                _ => None,
            })
            .collect();
        let mut pages = String::new();
        let scorings: Vec<&Scoring> = arranged.iter().map(|one| &*one.scoring).collect();
        let words: Vec<&str> = formats.iter().map(|format| format.word()).collect();
        let mut rows =
            vec![row(["scoring", "parts", "bars", "lasts", "files", "formats", "folder"])];
        let slugs: Vec<String> = scorings.iter().map(|scoring| slug(&scoring.name)).collect();
        for (index, scoring) in scorings.iter().enumerate() {
            if let Some(other) = slugs[..index].iter().position(|other| *other == slugs[index]) {
                return Err(Failure(format!(
                    "the scorings {} and {} would be written into the same folder; rename one",
                    scorings[other].name, scoring.name
                )));
            }
            let arrangement = &*arranged[index];
            let mut files = 0;
            let mut stage = |path: &str, bytes: &[u8]| -> Result<(), Failure> {
                let path = format!("{}/{path}", slugs[index]);
                self.output.stage(&Path::new(&self.folder).join(&path), bytes)?;
                let mut entry = Entry::new(&scoring.name, bytes, &self.inputs);
                // What stays as it was keeps the revision from which it came first.
                let before = self.before.files.get(&path).filter(|before| before.is_same(&entry));
                let known = before.and_then(|before| before.revision.clone());
                entry.revision = known.or_else(|| self.revision.clone());
                self.now.files.insert(path, entry);
                files += 1;
                Ok(())
            };
            let mut wanted = asked.paging.wanted(&written, &self.inputs.0);
            if let Some(past) = &mut asked.past {
                let (now, cues) = ((self.piece, &self.inputs), wanted.cueing.after_bars);
                wanted.revised = reprint::new_bars(past, now, arrangement, cues);
            }
            let (printed, told) = if printing.is_passage() {
                (printing.passage(arrangement, &wanted, formats)?, String::new())
            } else {
                for file in render::all_outputs(arrangement, wanted.clone(), paging::threads()) {
                    stage(&file.path, &file.bytes)?;
                }
                printing.files(arrangement, &wanted, formats)?
            };
            for (path, bytes) in printed {
                stage(&path, &bytes)?;
            }
            if !told.is_empty() {
                pages.push_str(&format!("{}:\n{told}", scoring.name));
            }
            rows.push(row([
                &scoring.name,
                &arrangement.parts.len().to_string(),
                &bars(arrangement),
                &playing_time(&self.piece.form),
                &files.to_string(),
                &words.join(" "),
                &self.output.path(&self.folder).join(&slugs[index]).display().to_string(),
            ]));
        }
        Ok(table(&rows) + &pages)
    }

    /// Gets the manifest ready; gives back lines about what an earlier build left that this source
    /// no longer gives: somebody could hand it out. With `prune` such files are removed, unless
    /// somebody changed them.
    fn finish(mut self, prune: bool) -> Result<String, Failure> {
        let mut text = String::new();
        let mut stale = 0;
        for (path, entry) in std::mem::take(&mut self.before.files) {
            if self.now.files.contains_key(&path) {
                continue;
            }
            let below = Path::new(&self.folder).join(&path);
            let shown = self.output.path(&below).display().to_string();
            let Some(bytes) = self.output.bytes(&below)? else { continue };
            // Another scoring or format of the same source is as good as it was.
            if entry.inputs == self.inputs.0 {
                self.now.files.insert(path, entry);
                continue;
            }
            let changed = digest(&bytes) != entry.sha256;
            if prune && !changed {
                self.output.remove(&below);
                text.push_str(&format!("removed: {shown}\n"));
                continue;
            }
            stale += usize::from(!changed);
            let note = if changed { " (changed by hand)" } else { "" };
            text.push_str(&format!("stale file from an earlier build: {shown}{note}\n"));
            self.now.files.insert(path, entry);
        }
        for (other, manifest) in self.output.other_titles(&self.folder, &self.now.source) {
            let shown = self.output.path(&other).display().to_string();
            if prune && self.output.remove_all(&other, &manifest)? {
                text.push_str(&format!("removed: {shown}\n"));
                continue;
            }
            stale += usize::from(!prune);
            let title = &manifest.piece;
            text.push_str(&format!(
                "stale folder from an earlier build called \"{title}\": {shown}\n"
            ));
        }
        if stale > 0 {
            text.push_str("`--prune` removes what an earlier build left.\n");
        }
        let manifest = Path::new(&self.folder).join(MANIFEST);
        self.output.stage(&manifest, &self.now.bytes())?;
        Ok(text)
    }
}

fn bars(arrangement: &Arrangement) -> String {
    let bars = &arrangement.piece.form.bars;
    let full = bars.iter().filter(|bar| bar.number > 0).count();
    let pick_up = if bars.len() > full { " and pick-up" } else { "" };
    format!("{full}{pick_up}")
}

/// Playing time with repeats, as minutes and seconds.
fn playing_time(form: &Form) -> String {
    let mut per_whole = Vec::with_capacity(form.bars.len());
    let mut beat = None;
    for bar in &form.bars {
        beat = bar.tempo.as_ref().and_then(|tempo| tempo.beat).or(beat);
        per_whole.push(seconds_per_whole(beat));
    }
    let seconds: f64 =
        form.playing_order().iter().map(|&i| form.bars[i].length.to_f64() * per_whole[i]).sum();
    advise::minutes(seconds)
}

fn row<'a>(cells: [&'a str; 7]) -> Vec<String> {
    cells.iter().map(|cell: &&'a str| (*cell).to_string()).collect()
}

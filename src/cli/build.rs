//! `ripieno build`.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::source::{self, Read, counts, has_errors};
use super::{End, Failure, Outcome, Show, files, print};
use crate::advise::{self, table};
use crate::arrange::{Arrangement, arrange};
use crate::check;
use crate::diagnostics::Sources;
use crate::render::{self, Format, slug};
use crate::resolve::{Form, Scoring, seconds_per_whole};

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
    /// Write only these formats: text, midi, musicxml.
    #[arg(long, value_name = "FORMAT", value_delimiter = ',', value_parser = format)]
    only: Vec<Format>,
    /// How findings are shown.
    #[arg(long, value_enum, default_value = "rich")]
    format: Show,
    /// Write even if there are errors in the music; the parts will show them.
    #[arg(long)]
    despite_errors: bool,
    /// The folder below which used files must lie.
    #[arg(long, value_name = "DIR")]
    root: Option<PathBuf>,
    /// Treat findings of these rules, families or severities (`warnings`, `advice`, `all`) as errors.
    #[arg(long, value_name = "RULE", value_delimiter = ',')]
    deny: Vec<String>,
    /// Leave out findings of these rules, families or severities (`warnings`, `advice`, `all`).
    #[arg(long, value_name = "RULE", value_delimiter = ',')]
    allow: Vec<String>,
}

fn format(word: &str) -> Result<Format, String> {
    let found = Format::ALL.into_iter().find(|(_, known, _)| *known == word);
    found.map(|(format, ..)| format).ok_or_else(|| {
        let known: Vec<&str> = Format::ALL.into_iter().map(|(_, word, _)| word).collect();
        format!("known formats are {}", known.join(", "))
    })
}

pub(super) fn run(arguments: &Arguments) -> Outcome {
    let formats: Vec<Format> = if arguments.only.is_empty() {
        Format::ALL.into_iter().map(|(format, ..)| format).collect()
    } else {
        Format::ALL.into_iter().map(|(f, ..)| f).filter(|f| arguments.only.contains(f)).collect()
    };
    let options = source::options(&arguments.deny, &arguments.allow, &[])?;
    let mut sources = Sources::new();
    let mut all = Vec::new();
    let mut end = End::Fine;
    let mut folders: Vec<(String, &Path)> = Vec::new();
    let mut without: Vec<String> = Vec::new();
    for path in &arguments.files {
        let mut read = source::read(&mut sources, path, arguments.root.as_deref())?;
        let nothing = read.piece.scorings.is_empty();
        let chosen = match nothing {
            true => Vec::new(),
            false => source::scorings(&read.piece, &arguments.scoring)?,
        };
        let of_source = std::mem::take(&mut read.diagnostics);
        read.diagnostics = check::report(&read.piece, of_source, &chosen, &options);
        // Data are one object, however many files there are.
        if arguments.format == Show::Json {
            all.extend(read.diagnostics.iter().cloned());
        } else {
            source::show(&sources, &read.diagnostics, arguments.format)?;
        }
        // A file of ensembles that others use has nothing of its own to write.
        if nothing && !has_errors(&read.diagnostics) {
            without.push(path.display().to_string());
            continue;
        }
        let folder = slug(&read.piece.title);
        if let Some((_, other)) = folders.iter().find(|(name, _)| *name == folder) {
            return Err(Failure(format!(
                "{} and {} are both called \"{}\" and would overwrite each other; give one another title",
                other.display(),
                path.display(),
                read.piece.title
            )));
        }
        folders.push((folder.clone(), path));
        if has_errors(&read.diagnostics) {
            end = End::ErrorsInMusic;
            if !arguments.despite_errors {
                let _ = writeln!(
                    std::io::stderr(),
                    "{}: {}; nothing was written. Mend the errors, or build `--despite-errors`.",
                    path.display(),
                    counts(&read.diagnostics)
                );
                continue;
            }
        }
        if nothing {
            without.push(path.display().to_string());
            continue;
        }
        let chosen = source::scorings(&read.piece, &arguments.scoring)?;
        let table = write(&read, &chosen, &formats, &arguments.output.join(folder))?;
        let report = format!("{}: {}\n{table}", path.display(), counts(&read.diagnostics));
        if arguments.format == Show::Json {
            let _ = std::io::stderr().lock().write_all(report.as_bytes());
        } else {
            print(&report)?;
        }
    }
    if arguments.format == Show::Json {
        source::show(&sources, &all, Show::Json)?;
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

/// Writes the scorings of a piece; gives back the table of what was written.
fn write(
    read: &Read,
    scorings: &[&Arc<Scoring>],
    formats: &[Format],
    folder: &Path,
) -> Result<String, Failure> {
    let words: Vec<&str> = formats.iter().map(|format| format.word()).collect();
    let mut rows = vec![row(["scoring", "parts", "bars", "lasts", "files", "formats", "folder"])];
    let mut stale = Vec::new();
    let slugs: Vec<String> = scorings.iter().map(|scoring| slug(&scoring.name)).collect();
    for (index, scoring) in scorings.iter().enumerate() {
        if let Some(other) = slugs[..index].iter().position(|other| *other == slugs[index]) {
            return Err(Failure(format!(
                "the scorings {} and {} would be written into the same folder; rename one",
                scorings[other].name, scoring.name
            )));
        }
        let arrangement = arrange(&read.piece, scoring);
        let outputs = render::outputs(&arrangement, formats);
        let place = folder.join(slug(&scoring.name));
        let files: Vec<(String, Vec<u8>)> =
            outputs.into_iter().map(|output| (output.path, output.bytes)).collect();
        files::write_all(&place, &files)?;
        stale.extend(left_over(&place, &files));
        rows.push(row([
            &scoring.name,
            &arrangement.parts.len().to_string(),
            &bars(&arrangement),
            &playing_time(&read.piece.form),
            &files.len().to_string(),
            &words.join(" "),
            &place.display().to_string(),
        ]));
    }
    let mut text = table(&rows);
    for path in stale {
        text.push_str(&format!("left from an earlier build: {}\n", path.display()));
    }
    Ok(text)
}

/// Parts of an earlier build that this one did not write: somebody could hand them out.
fn left_over(place: &Path, files: &[(String, Vec<u8>)]) -> Vec<PathBuf> {
    let Ok(entries) = std::fs::read_dir(place.join("parts")) else { return Vec::new() };
    let mut left: Vec<PathBuf> = entries
        .filter_map(Result::ok)
        .filter(|entry| {
            let name = entry.file_name().to_string_lossy().into_owned();
            let ours = name.starts_with(|c: char| c.is_ascii_digit())
                && Format::ALL.iter().any(|(.., ending)| name.ends_with(&format!(".{ending}")));
            // A format that was not asked for this time is not left over.
            let numbered = |other: &str| other.rsplit_once('.').map(|(stem, _)| stem.to_string());
            let stem = numbered(&name);
            ours && !files
                .iter()
                .any(|(path, _)| path.strip_prefix("parts/").and_then(numbered) == stem)
        })
        .map(|entry| entry.path())
        .collect();
    left.sort();
    left
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

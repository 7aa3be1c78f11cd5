//! `ripieno import`.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::ValueEnum;
use serde::Serialize;

use super::source::{self, counts, has_errors};
use super::{End, Failure, Outcome, Show, files, print};
use crate::check;
use crate::diagnostics::Sources;
use crate::import::{self, Import, Options, Reduction, Report, Setting};
use crate::syntax::LARGEST_SOURCE;

/// What `import` takes.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The piece: MusicXML (.musicxml, .xml, .mxl) or a MIDI file (.mid).
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// The source that is written; otherwise FILE with the ending .ripieno, in the working folder.
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,
    /// Voices alone, or with an ensemble and a scoring as the file has them.
    #[arg(long = "as", value_enum, default_value = "voices")]
    setting: As,
    /// Bring a fuller score to melody and bass, with the chords: a proposal to begin from.
    #[arg(long, value_enum, value_name = "TO")]
    reduce: Option<Reduce>,
    /// Only this part, by its name in the file (may be given several times).
    #[arg(long, value_name = "NAME")]
    part: Vec<String>,
    /// Only these bars, by their numbers in the file: `9..16`.
    #[arg(long, value_name = "N..M", value_parser = bars)]
    bars: Option<(i32, i32)>,
    /// Write over a source that is there already.
    #[arg(long)]
    overwrite: bool,
    /// How the report and the findings are shown.
    #[arg(long, value_enum, default_value = "rich")]
    format: Show,
}

/// What is made of a piece.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum As {
    /// Voices alone.
    Voices,
    /// Voices, an ensemble and a scoring.
    Scoring,
}

/// To what a score is reduced.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Reduce {
    /// Melody and bass.
    Two,
    /// Melody, a filler and bass.
    Three,
}

/// The report and the findings as data.
#[derive(Serialize)]
struct Data<'a> {
    source: String,
    #[serde(flatten)]
    report: &'a Report,
    errors: bool,
}

fn bars(text: &str) -> Result<(i32, i32), String> {
    let (first, last) = text.split_once("..").unwrap_or((text, text));
    match (first.trim().parse(), last.trim().parse()) {
        (Ok(first), Ok(last)) if first <= last => Ok((first, last)),
        _ => Err("write the first and the last bar, for example 9..16".to_string()),
    }
}

pub(super) fn run(arguments: &Arguments) -> Outcome {
    let path = &arguments.file;
    let target = target(arguments)?;
    let bytes = files::read_bytes(path, import::LARGEST)?;
    let stem = path.file_stem().map(|stem| stem.to_string_lossy().into_owned());
    let options = Options {
        setting: match arguments.setting {
            As::Voices => Setting::Voices,
            As::Scoring => Setting::Scoring,
        },
        reduce: arguments.reduce.map(|reduce| match reduce {
            Reduce::Two => Reduction::Two,
            Reduce::Three => Reduction::Three,
        }),
        parts: arguments.part.clone(),
        bars: arguments.bars,
        title: stem.unwrap_or_default(),
    };
    let Import { source: text, report } = import::import(&bytes, &options)
        .map_err(|error| Failure(format!("{}: {error}", path.display())))?;
    drop(bytes);
    if text.len() > LARGEST_SOURCE {
        return Err(Failure(format!(
            "{}: the source would be longer than 16 MB; import single parts with `--part` or some bars with `--bars`",
            path.display()
        )));
    }
    write(&target, text)?;
    let end = show(arguments, &target, &report)?;
    Ok(end)
}

/// The file that is written; one that is there already is not touched unasked.
fn target(arguments: &Arguments) -> Result<PathBuf, Failure> {
    let target = match &arguments.output {
        Some(output) => output.clone(),
        None => {
            let stem = arguments.file.file_stem().unwrap_or_default();
            PathBuf::from(stem).with_added_extension("ripieno")
        }
    };
    if target.file_name().is_none() || target.is_dir() {
        return Err(Failure(format!("{} is not the name of a file", target.display())));
    }
    if target.exists() && !arguments.overwrite {
        return Err(Failure(format!(
            "{} is there already; name another with `-o`, or write over it with `--overwrite`",
            target.display()
        )));
    }
    Ok(target)
}

fn write(target: &Path, text: String) -> Result<(), Failure> {
    let name = target.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let folder = target.parent().filter(|parent| !parent.as_os_str().is_empty());
    let folder = folder.map_or(PathBuf::from("."), PathBuf::from);
    files::write_all(&folder, &[(name, text.into_bytes())])
}

/// Checks what was written and shows what there is to know of it.
fn show(arguments: &Arguments, target: &Path, report: &Report) -> Outcome {
    let mut sources = Sources::new();
    let mut read = source::read(&mut sources, target, target.parent().filter(|p| !p.as_os_str().is_empty()))?;
    let chosen = source::scorings(&read.piece, &[])?;
    let of_source = std::mem::take(&mut read.diagnostics);
    let options = source::options(&[], &[], &[])?;
    let findings = check::report(&read.piece, of_source, &chosen, &options);
    let errors = has_errors(&findings);
    let name = target.display();
    if arguments.format == Show::Json {
        let data = Data { source: name.to_string(), report, errors };
        let text = serde_json::to_string_pretty(&data)
            .map_err(|error| Failure(format!("cannot write the report as data: {error}")))?;
        print(&format!("{text}\n"))?;
        return Ok(if errors { End::ErrorsInMusic } else { End::Fine });
    }
    source::show(&sources, &findings, arguments.format)?;
    let _ = std::io::stderr().lock().write_all(report.to_text().as_bytes());
    let (voices, bars) = (read.piece.voices.len(), read.piece.form.bars.len());
    let next = match arguments.setting {
        As::Scoring => format!(
            "Read the ensemble and the roles of the scoring over, then:\n  ripieno build {name}\n"
        ),
        As::Voices => format!(
            "Write an ensemble and a scoring for it in your editor, then:\n  ripieno check {name}\nWho can take its voices:\n  ripieno advise voices {name}\n"
        ),
    };
    let plural = |n: usize, word: &str| match n {
        1 => format!("1 {word}"),
        n => format!("{n} {word}s"),
    };
    print(&format!(
        "{name}: {}, {}; {}\n{next}",
        plural(voices, "voice"),
        plural(bars, "bar"),
        counts(&findings)
    ))?;
    Ok(if errors { End::ErrorsInMusic } else { End::Fine })
}

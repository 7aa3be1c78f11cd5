//! `ripieno import`.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::ValueEnum;
use serde::Serialize;

use super::source::{self, counts, has_errors};
use super::{End, Failure, Outcome, Show, files, print};
use ripieno_checker::advise;
use ripieno_checker::check;
use ripieno_checker::session::Session;
use ripieno_compiler::diagnostics::{BarNumbers, FileId};
use ripieno_compiler::resolve::NoFiles;
use ripieno_compiler::syntax::Document;
use ripieno_compiler::{format, limits};
use ripieno_import::{self as import, Import, Options, Reduction, Report, Setting};

/// What names the standard output in place of a file.
const STANDARD_OUTPUT: &str = "-";

/// What `import` takes.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The piece: MusicXML (.musicxml, .xml, .mxl) or a MIDI file (.mid).
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// The source that is written, `-` for the standard output; otherwise it is named after FILE,
    /// with the ending .ripieno, in the working folder.
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
    #[arg(long, value_name = "FROM..TO")]
    bars: Option<BarNumbers>,
    /// Overwrite an existing source.
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
    /// Melody, an inner part and bass.
    Three,
}

/// The report and the findings as data.
#[derive(Serialize)]
struct Data<'a> {
    source: &'a str,
    #[serde(flatten)]
    report: &'a Report,
    errors: bool,
}

pub(super) fn run(arguments: &Arguments) -> Outcome {
    let path = &arguments.file;
    let target = target(arguments)?;
    let bytes = files::read_bytes(path, import::LARGEST)?;
    let stem = path.file_stem().map(|stem| stem.to_string_lossy().into_owned());
    let mut options = Options {
        setting: match arguments.setting {
            As::Voices => Setting::Voices,
            As::Scoring => Setting::Scoring,
        },
        reduce: None,
        parts: arguments.part.clone(),
        bars: arguments.bars,
        harmony: None,
        title: stem.unwrap_or_default(),
    };
    let failed = |error| Failure(format!("{}: {error}", path.display()));
    if let Some(reduce) = arguments.reduce {
        // The chords of a reduction are those of all voices.
        let whole = Options { setting: Setting::Voices, ..options.clone() };
        options.harmony = harmony(&import::import(&bytes, &whole).map_err(failed)?.source);
        options.reduce = Some(match reduce {
            Reduce::Two => Reduction::Two,
            Reduce::Three => Reduction::Three,
        });
    }
    let Import { source: text, report } = import::import(&bytes, &options).map_err(failed)?;
    drop(bytes);
    if text.len() > limits::SOURCE {
        return Err(Failure(format!(
            "{}: the source would be longer than 16 MB; import single parts with `--part` or some bars with `--bars`",
            path.display()
        )));
    }
    // As `fmt` writes it.
    let text = format::format(&Document::new(FileId(0), text.as_str()));
    match &target {
        None => print(&text)?,
        Some(target) if arguments.overwrite => files::write_over(target, text.as_bytes())?,
        Some(target) => files::write_new(target, text.as_bytes())?,
    }
    show(arguments, target.as_deref(), &text, &report)
}

/// The chords that the voices of a source spell, as a block of the source; none where it declares
/// chords itself, from near its beginning on.
fn harmony(source: &str) -> Option<String> {
    let mut session = Session::new(NoFiles);
    let file = session.open("whole.ripieno", source);
    let piece = session.piece(file);
    if piece.harmony.first().is_some_and(|chord| chord.start * 10 <= piece.form.end()) {
        return None;
    }
    let mut found = advise::harmony(&piece).bars.into_iter().peekable();
    found.peek()?;
    let mut block = "harmony {\n".to_string();
    for number in piece.form.bars.iter().map(|bar| bar.number) {
        block.push_str(&format!("  {number}:"));
        // A bar in which nothing sounds has no chord.
        let bar = found.next_if(|bar| bar.bar == number);
        let chords = bar.map(|bar| bar.chords).unwrap_or_default();
        let several = chords.len() > 1;
        for chord in chords {
            let value = if several { format!(" {}", chord.length) } else { String::new() };
            block.push_str(&format!("{value} {}", chord.chord));
        }
        block.push_str(" |\n");
    }
    Some(block + "}")
}

/// The file that is written; none for the standard output.
fn target(arguments: &Arguments) -> Result<Option<PathBuf>, Failure> {
    let target = match &arguments.output {
        Some(output) if output.as_os_str() == STANDARD_OUTPUT => return Ok(None),
        Some(output) => output.clone(),
        None => {
            let mut name = arguments.file.file_stem().unwrap_or_default().to_os_string();
            name.push(".ripieno");
            PathBuf::from(name)
        }
    };
    if target.file_name().is_none() || target.is_dir() {
        return Err(Failure(format!("{} is not the name of a file", target.display())));
    }
    if !arguments.overwrite && target.symlink_metadata().is_ok() {
        return Err(Failure(format!(
            "{} is there already; name another with `-o`, or write over it with `--overwrite`",
            target.display()
        )));
    }
    Ok(Some(target))
}

/// Checks what was written and shows what there is to know of it.
fn show(arguments: &Arguments, target: Option<&Path>, text: &str, report: &Report) -> Outcome {
    let mut session = Session::new(NoFiles);
    let name = target.map_or_else(|| STANDARD_OUTPUT.to_string(), files::slashes);
    let file = session.open(&name, text);
    let piece = session.piece(file);
    // That nobody plays the voices yet need not be said of each.
    if piece.scorings.is_empty() {
        let allow = vec!["names/unused-voice".into()];
        session.set_options(check::Options { allow, ..check::Options::default() });
    }
    let findings = session.findings(file);
    let errors = has_errors(&findings);
    let end = if errors { End::ErrorsInMusic } else { End::Fine };
    if arguments.format == Show::Json {
        let data = Data { source: &name, report, errors };
        let text = serde_json::to_string_pretty(&data)
            .map_err(|error| Failure(format!("cannot write the report as data: {error}")))?;
        if target.is_some() {
            print(&format!("{text}\n"))?;
        } else {
            let _ = writeln!(std::io::stderr(), "{text}");
        }
        return Ok(end);
    }
    source::show(session.sources(), &findings, arguments.format)?;
    let _ = std::io::stderr().lock().write_all(report.to_text().as_bytes());
    if target.is_none() {
        return Ok(end);
    }
    let next = match arguments.setting {
        As::Scoring => format!(
            "Look the ensemble and the roles of the scoring over, then:\n  ripieno build {name}\n"
        ),
        As::Voices => format!(
            "Who can take its voices:\n  ripieno advise voices {name}\nThen write an ensemble and a scoring for it in your editor.\n"
        ),
    };
    let plural = |n: usize, word: &str| match n {
        1 => format!("1 {word}"),
        n => format!("{n} {word}s"),
    };
    print(&format!(
        "{name}: {}, {}; {}\n{next}",
        plural(piece.voices.len(), "voice"),
        plural(piece.form.bars.len(), "bar"),
        counts(&findings)
    ))?;
    Ok(end)
}

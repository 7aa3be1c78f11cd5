//! What must hold of everything that is built from a source without mistakes.

mod midi;
mod musicxml;
mod staves;

use std::ops::Range;
use std::sync::Arc;

use ripieno::arrange::{Arrangement, arrange};
use ripieno::check::{Options, check};
use ripieno::diagnostics::{Diagnostic, Severity, Sources};
use ripieno::notate::notate;
use ripieno::render::{Format, Output, outputs};
use ripieno::resolve::{NoFiles, Piece, resolve};

/// Builds every scoring of a source in these formats and asserts what must hold of staves and files,
/// and that the same source gives the same bytes.
pub fn assert_all_holds(source: &str, formats: &[Format]) {
    let built = assert_each_holds(source, formats);
    let (again, _) = read(source);
    for (scoring, built) in again.scorings.iter().zip(built) {
        let again = arrange(&again, scoring);
        assert!(outputs(&again, formats).eq(built), "the same source gave other bytes");
    }
}

/// Builds every scoring of a source in these formats and asserts what must hold of staves and files;
/// gives back the files of each.
pub fn assert_each_holds(source: &str, formats: &[Format]) -> Vec<Vec<Output>> {
    let (piece, findings) = read(source);
    assert_no_errors(&findings);
    let mut all = Vec::new();
    for scoring in &piece.scorings {
        let arrangement = arrange(&piece, scoring);
        assert_no_errors(&arrangement.diagnostics);
        let _ = check(&arrangement, &Options::default());
        let score = notate(&arrangement);
        staves::assert_full_and_sounding(&arrangement, &score);
        let built: Vec<Output> = outputs(&arrangement, formats).collect();
        for output in &built {
            let with_path = |holds: Result<(), String>| {
                if let Err(message) = holds {
                    panic!("{}: {message}", output.path);
                }
            };
            match output.format {
                Format::Text => with_path(widths(output)),
                Format::Midi => with_path(midi::is_sound(output, &arrangement)),
                Format::MusicXml => with_path(musicxml::is_sound(output, (&arrangement, &score))),
                Format::Mxl => assert!(output.bytes.starts_with(b"PK"), "{}", output.path),
            }
        }
        all.push(built);
    }
    all
}

/// The players who read from the page of which that is a file, by the number in its name.
fn desk_of(output: &Output, arrangement: &Arrangement) -> Result<Range<usize>, String> {
    let number = output.path["parts/".len()..].split('-').next().unwrap_or_default();
    let number: usize = number.parse().map_err(|_| "a file without a number")?;
    arrangement.desks().nth(number - 1).ok_or("a file of nobody".to_string())
}

fn read(source: &str) -> (Arc<Piece>, Vec<Diagnostic>) {
    let mut sources = Sources::new();
    let file = sources.add("a.ripieno", source);
    resolve(&mut sources, file, &mut NoFiles)
}

/// All formats.
pub fn formats() -> Vec<Format> {
    Format::ALL.into_iter().map(|(format, ..)| format).collect()
}

/// All formats but the packed one: to pack takes longer than all the rest, and is another's work.
pub fn unpacked() -> Vec<Format> {
    formats().into_iter().filter(|format| *format != Format::Mxl).collect()
}

/// The source is one without mistakes: what is found must lie in the music, not in its writing.
fn assert_no_errors(findings: &[Diagnostic]) {
    let is_slip = |finding: &&Diagnostic| {
        let family = finding.code.split('/').next().unwrap_or_default();
        finding.severity == Severity::Error
            && matches!(family, "syntax" | "bars" | "names" | "harmony")
    };
    let slips: Vec<_> = findings.iter().filter(is_slip).collect();
    assert!(slips.is_empty(), "{slips:#?}");
}

fn widths(output: &Output) -> Result<(), String> {
    let text = std::str::from_utf8(&output.bytes).map_err(|error| error.to_string())?;
    let width = if output.path.starts_with("parts/") { 80 } else { 120 };
    match text.lines().find(|line| line.chars().count() > width) {
        Some(line) => Err(format!("wider than {width} columns: {line}")),
        None => Ok(()),
    }
}

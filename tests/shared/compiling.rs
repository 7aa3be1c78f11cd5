//! The way through all stages, for any text.

use std::sync::Arc;

use ripieno::arrange::arrange;
use ripieno::check::{self, Options};
use ripieno::diagnostics::{Diagnostic, FileId, Sources, Span, json, rich, short};
use ripieno::format::format;
use ripieno::render::outputs;
use ripieno::resolve::{self, LoadError, Loader, Piece};
use ripieno::syntax::Document;

use super::outputs::unpacked;

pub const WATCHMAN: &str = include_str!("../../samples/watchman-at-the-weir.ripieno");
pub const MILL_RACE: &str = include_str!("../../samples/mill-race.ripieno");
pub const FORCES: &str = include_str!("../../samples/forces.ripieno");
pub const MISTAKES: &str = include_str!("../fixtures/twenty-mistakes.ripieno");
pub const BELL: &str = include_str!("../fixtures/every-token.ripieno");

/// Hands the file of ensembles to whoever uses it.
pub struct Forces;

impl Loader for Forces {
    fn load(&mut self, path: &str, _: &str) -> Result<(String, String), LoadError> {
        match path {
            "forces.ripieno" => Ok((path.to_string(), FORCES.to_string())),
            _ => Err(LoadError::NotFound),
        }
    }
}

/// Every place that a finding names.
fn spans(finding: &Diagnostic) -> Vec<Span> {
    let labels = finding.labels.iter().map(|label| label.span);
    let edits = finding.fixes.iter().flat_map(|fix| fix.edits.iter().map(|edit| edit.span));
    std::iter::once(finding.primary.span).chain(labels).chain(edits).collect()
}

/// Every place that a finding names lies in a source, between two letters.
pub fn assert_inside(sources: &Sources, findings: &[Diagnostic]) {
    for finding in findings {
        for span in spans(finding) {
            let source = sources.find(span.file).expect("a file that was read");
            assert!(
                source.text.get(source.exact(span)).is_some(),
                "outside or inside a letter: {finding:?}"
            );
        }
    }
}

/// All stages, all writers and all three ways to show findings, as far as the text carries.
pub fn compile(text: &str) {
    let (piece, sources, findings) = checked(text);
    write(&piece);
    for show in [rich, short_and_data] {
        show(&findings, &sources);
    }
}

/// The same for who tries millions of texts: each is read and checked, and its letters say what more
/// is done with it, so that a text that fails fails again.
pub fn compile_in_turn(text: &str) {
    let (piece, sources, findings) = checked(text);
    match text.bytes().fold(0, |sum: u8, byte| sum.wrapping_mul(31).wrapping_add(byte)) % 8 {
        0 => write(&piece),
        1 => rich(&findings, &sources),
        2 => short_and_data(&findings, &sources),
        3 => {
            let once = format(&Document::new(FileId(0), text));
            assert_eq!(format(&Document::new(FileId(0), once.as_str())), once, "{text}");
        }
        _ => {}
    }
}

/// The piece, and all that is found.
fn checked(text: &str) -> (Arc<Piece>, Sources, Vec<Diagnostic>) {
    let mut sources = Sources::new();
    let file = sources.add("a.ripieno", text);
    let (piece, mut findings) = resolve::resolve(&mut sources, file, &mut Forces);
    let scorings: Vec<_> = piece.scorings.iter().collect();
    findings.extend(check::check_scorings(&piece, &scorings, &Options::default()));
    assert_inside(&sources, &findings);
    (piece, sources, findings)
}

fn write(piece: &Arc<Piece>) {
    for scoring in &piece.scorings {
        let arrangement = arrange(piece, scoring);
        assert!(outputs(&arrangement, &unpacked()).all(|output| !output.bytes.is_empty()));
    }
}

fn rich(findings: &[Diagnostic], sources: &Sources) {
    let look = rich::Look { colours: true, unicode: true, width: 60 };
    let _ = rich::render(findings, sources, look);
}

fn short_and_data(findings: &[Diagnostic], sources: &Sources) {
    let _ = short::render(findings, sources);
    let _ = json::render(findings, sources);
}

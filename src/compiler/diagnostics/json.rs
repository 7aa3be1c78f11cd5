//! Findings as data for other programs.
//!
//! Lines and columns count from 1, columns count characters, offsets count bytes. The primary
//! place is `file`, `start`, `end`; where there are words about it, it also comes first among the
//! `labels`.

use serde::Serialize;

use super::positions::Positions;
use super::{BarNumbers, Care, Diagnostic, Severity, Sources, Span};

#[derive(Serialize)]
struct Finding<'a> {
    code: &'a str,
    severity: Severity,
    message: &'a str,
    #[serde(flatten)]
    place: Where<'a>,
    bars: Option<BarNumbers>,
    player: Option<&'a str>,
    scoring: Option<&'a str>,
    also_in: &'a [String],
    labels: Vec<Words<'a>>,
    help: Option<&'a str>,
    fixes: Vec<Change<'a>>,
}

#[derive(Serialize)]
struct Where<'a> {
    file: &'a str,
    start: Position,
    end: Position,
}

#[derive(Serialize)]
struct Position {
    line: usize,
    column: usize,
    offset: usize,
}

/// A place with words: a label, or the new text of an edit.
#[derive(Serialize)]
struct Words<'a> {
    #[serde(flatten)]
    place: Where<'a>,
    text: &'a str,
}

#[derive(Serialize)]
struct Change<'a> {
    title: &'a str,
    safe: bool,
    care: Care,
    edits: Vec<Words<'a>>,
}

/// How many findings there are of each severity.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Serialize)]
pub struct Summary {
    /// Errors.
    pub errors: usize,
    /// Warnings.
    pub warnings: usize,
    /// Pieces of advice.
    pub advice: usize,
}

impl Summary {
    /// Counts findings.
    #[must_use]
    pub fn of(diagnostics: &[Diagnostic]) -> Summary {
        let count = |severity| diagnostics.iter().filter(|d| d.severity == severity).count();
        Summary {
            errors: count(Severity::Error),
            warnings: count(Severity::Warning),
            advice: count(Severity::Advice),
        }
    }
}

/// All findings as one JSON object (one line, ended by a line break) with the keys `findings` and
/// `summary`. Places outside their text are brought inside it.
#[must_use]
pub fn render(diagnostics: &[Diagnostic], sources: &Sources) -> String {
    let mut report = Report::default();
    report.add(diagnostics, sources);
    report.finished()
}

/// Findings of several sources, which need not be in memory together, as one JSON object.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Report {
    findings: Vec<String>,
    summary: Summary,
}

impl Report {
    /// Adds findings in these sources.
    pub fn add(&mut self, diagnostics: &[Diagnostic], sources: &Sources) {
        let positions = Positions::new(sources, diagnostics);
        // Strings, numbers and lists only: there is nothing that JSON could not hold.
        let written = |diagnostic| {
            serde_json::to_string(&finding(diagnostic, &positions)).unwrap_or_default()
        };
        self.findings.extend(diagnostics.iter().map(written));
        let Summary { errors, warnings, advice } = Summary::of(diagnostics);
        self.summary.errors += errors;
        self.summary.warnings += warnings;
        self.summary.advice += advice;
    }

    /// Adds all of another report.
    pub fn append(&mut self, other: Report) {
        self.findings.extend(other.findings);
        self.summary.errors += other.summary.errors;
        self.summary.warnings += other.summary.warnings;
        self.summary.advice += other.summary.advice;
    }

    /// The whole object, in one line.
    #[must_use]
    pub fn finished(&self) -> String {
        let summary = serde_json::to_string(&self.summary).unwrap_or_default();
        format!("{{\"findings\":[{}],\"summary\":{summary}}}\n", self.findings.join(","))
    }
}

fn finding<'a>(diagnostic: &'a Diagnostic, positions: &Positions<'a>) -> Finding<'a> {
    let words = |span, text: &'a String| Words { place: place(span, positions), text };
    let primary = Some(&diagnostic.primary).filter(|label| !label.text.is_empty());
    let labels = primary.into_iter().chain(&diagnostic.labels);
    let fixes = diagnostic.fixes.iter().map(|fix| Change {
        title: &fix.title,
        safe: fix.care == Care::Unseen,
        care: fix.care,
        edits: fix.edits.iter().map(|edit| words(edit.span, &edit.text)).collect(),
    });
    Finding {
        code: diagnostic.code,
        severity: diagnostic.severity,
        message: &diagnostic.message,
        place: place(diagnostic.primary.span, positions),
        bars: diagnostic.bars,
        player: diagnostic.player.as_deref(),
        scoring: diagnostic.scoring.as_deref(),
        also_in: &diagnostic.also_in,
        labels: labels.map(|label| words(label.span, &label.text)).collect(),
        help: diagnostic.help.as_deref(),
        fixes: fixes.collect(),
    }
}

fn place<'a>(span: Span, positions: &Positions<'a>) -> Where<'a> {
    let Some(counted) = positions.get(span.file) else {
        let start = Position { line: 1, column: 1, offset: 0 };
        return Where { file: "", start, end: Position { line: 1, column: 1, offset: 0 } };
    };
    let range = counted.source.range(span);
    let position = |offset| Position {
        line: counted.source.line_index(offset) + 1,
        column: counted.column(offset),
        offset,
    };
    let (start, end) = (position(range.start), position(range.end));
    Where { file: &counted.source.name, start, end }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::diagnostics::testing::{chain, odd_places};

    #[test]
    fn every_key_is_there_and_columns_count_characters() {
        let (diagnostics, sources) = chain();
        let value: serde_json::Value =
            serde_json::from_str(&render(&diagnostics[..1], &sources)).unwrap();
        insta::assert_snapshot!(serde_json::to_string_pretty(&value).unwrap());
    }

    #[test]
    fn places_outside_the_text_stay_inside_it() {
        let (diagnostics, sources) = odd_places();
        let value: serde_json::Value =
            serde_json::from_str(&render(&diagnostics, &sources)).unwrap();
        assert_eq!(value["findings"].as_array().unwrap().len(), diagnostics.len());
        assert_eq!(value["summary"]["errors"], diagnostics.len());
        assert_eq!(value["findings"][0]["start"]["line"], 1);
    }
}

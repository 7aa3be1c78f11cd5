//! One line a finding, as editors and logs match it.

use std::ops::Range;

use codespan_reporting::diagnostic as codespan;
use codespan_reporting::files::{Error, Files};
use codespan_reporting::term::{self, Config, DisplayStyle};

use super::positions::{Counted, Positions};
use super::{Diagnostic, FileId, Severity, Sources};

/// All findings, one line each: `file:line:column: severity[code]: message`. Line and column
/// count from 1, the column counts characters.
#[must_use]
pub fn render(diagnostics: &[Diagnostic], sources: &Sources) -> String {
    let files = Texts(Positions::new(sources, diagnostics));
    let config = Config { display_style: DisplayStyle::Short, ..Config::default() };
    let mut text = String::new();
    let mut line = String::new();
    for diagnostic in diagnostics {
        line.clear();
        // Writing to a string fails only where a place is not in the texts; those were left out.
        if term::emit_to_string(&mut line, &config, &files, &translate(diagnostic, &files)).is_err()
        {
            continue;
        }
        if diagnostic.severity == Severity::Advice {
            // The library's word for the lowest severity is not ours.
            let theirs = format!("note[{}]: ", diagnostic.code);
            line = line.replacen(&theirs, &format!("advice[{}]: ", diagnostic.code), 1);
        }
        text.push_str(&line);
    }
    text
}

fn translate(diagnostic: &Diagnostic, files: &Texts) -> codespan::Diagnostic<FileId> {
    let severity = match diagnostic.severity {
        Severity::Error => codespan::Severity::Error,
        Severity::Warning => codespan::Severity::Warning,
        Severity::Advice => codespan::Severity::Note,
    };
    let span = diagnostic.primary.span;
    let labels = files
        .0
        .get(span.file)
        .map(|counted| codespan::Label::primary(span.file, counted.source.range(span)));
    let also = diagnostic.also_found().unwrap_or_default();
    let said = diagnostic.message.split_whitespace().chain(also.split_whitespace());
    let message = said.collect::<Vec<_>>().join(" ");
    codespan::Diagnostic::new(severity)
        .with_code(diagnostic.code)
        .with_message(message)
        .with_labels(labels.into_iter().collect())
}

/// The texts as the library asks for them, with columns that do not count a long line anew for
/// each finding.
struct Texts<'a>(Positions<'a>);

impl<'a> Texts<'a> {
    fn counted(&self, id: FileId) -> Result<&Counted<'a>, Error> {
        self.0.get(id).ok_or(Error::FileMissing)
    }
}

impl<'a> Files<'a> for Texts<'a> {
    type FileId = FileId;
    type Name = &'a str;
    type Source = &'a str;

    fn name(&'a self, id: FileId) -> Result<&'a str, Error> {
        Ok(&self.counted(id)?.source.name)
    }

    fn source(&'a self, id: FileId) -> Result<&'a str, Error> {
        Ok(&self.counted(id)?.source.text)
    }

    fn line_index(&'a self, id: FileId, byte_index: usize) -> Result<usize, Error> {
        Ok(self.counted(id)?.source.line_index(byte_index))
    }

    fn column_number(&'a self, id: FileId, _: usize, byte_index: usize) -> Result<usize, Error> {
        Ok(self.counted(id)?.column(byte_index))
    }

    fn line_range(&'a self, id: FileId, line_index: usize) -> Result<Range<usize>, Error> {
        let source = self.counted(id)?.source;
        Ok(source.line_start(line_index)..source.line_start(line_index + 1))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::diagnostics::Span;
    use crate::diagnostics::testing::{chain, odd_places};

    #[test]
    fn each_finding_has_one_line_that_an_editor_can_follow() {
        let (diagnostics, sources) = chain();
        insta::assert_snapshot!(render(&diagnostics, &sources));
    }

    #[test]
    fn other_scorings_stand_at_the_end_of_the_line() {
        let (mut diagnostics, sources) = chain();
        diagnostics.truncate(1);
        diagnostics[0].also_in = vec!["town".into(), "spa".into()];
        let text = render(&diagnostics, &sources);
        assert!(text.ends_with(" Also in scorings town and spa.\n"), "{text}");
    }

    #[test]
    fn odd_places_keep_their_line() {
        let (diagnostics, sources) = odd_places();
        let text = render(&diagnostics, &sources);
        assert_eq!(text.lines().count(), diagnostics.len());
        assert!(text.lines().all(|line| line.contains("error[test/place]: ")), "{text}");
    }

    #[test]
    fn twenty_thousand_findings_on_one_long_line_take_no_time() {
        let mut sources = Sources::new();
        let file = sources.add("long.ripieno", "♯".repeat(350_000));
        let diagnostics: Vec<Diagnostic> = (0..20_000)
            .map(|i| Diagnostic::error("test/many", Span::new(file, i * 51, i * 51 + 3), "Many."))
            .collect();
        let start = std::time::Instant::now();
        let text = render(&diagnostics, &sources);
        assert!(text.ends_with("long.ripieno:1:339984: error[test/many]: Many.\n"));
        // Counting each column from the line's beginning would take minutes.
        assert!(start.elapsed().as_secs() < 10);
    }
}

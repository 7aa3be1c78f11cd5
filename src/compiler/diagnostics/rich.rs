//! Findings in full, with the source around them.
//!
//! A finding about an arranged note shows a chain of places: the note, the scoring line, the
//! ensemble line, which may stand in several files. The library that draws the report knows one
//! text a report. So each report is given one text of its own in which the places follow one
//! another as windows, each window leading into a file.

use std::fmt;

use miette::{
    GraphicalReportHandler, GraphicalTheme, LabeledSpan, MietteError, MietteSpanContents,
    SourceCode, SourceSpan, SpanContents, ThemeCharacters, ThemeStyles,
};

use super::positions::{Counted, Positions};
use super::{BarNumbers, Care, Diagnostic, Label, Severity, Sources};

/// How a report is drawn.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Look {
    /// Colours by terminal codes.
    pub colours: bool,
    /// Lines and arrows beyond ASCII.
    pub unicode: bool,
    /// Columns of the terminal; texts are wrapped there.
    pub width: usize,
}

/// Labels that are shown in one finding; the rest is counted.
const MOST_LABELS: usize = 12;
/// Lines and bytes between two places of a file up to which one window shows both.
const NEAR: (usize, usize) = (4, 600);
/// Lines of a span beyond which only its first is marked.
const MOST_LINES: usize = 8;
/// Bytes of a line that are shown before and after a place, and bytes that a mark covers.
const MOST_BYTES: usize = 240;

/// All findings, each as a report with its places, its help and its fixes, and an empty line
/// after each.
#[must_use]
pub fn render(diagnostics: &[Diagnostic], sources: &Sources, look: Look) -> String {
    let characters =
        if look.unicode { ThemeCharacters::unicode() } else { ThemeCharacters::ascii() };
    let styles = if look.colours { ThemeStyles::ansi() } else { ThemeStyles::none() };
    let handler = GraphicalReportHandler::new_themed(GraphicalTheme { characters, styles })
        .with_width(look.width.max(40))
        .with_links(false);
    let positions = Positions::new(sources, diagnostics);
    let mut text = String::new();
    for diagnostic in diagnostics {
        let report = Report::new(diagnostic, &positions);
        let before = text.len();
        if handler.render_report(&mut text, &report).is_err() {
            text.truncate(before);
            text.push_str(&format!("{}: {}\n", diagnostic.code, diagnostic.message));
        }
        text.push('\n');
    }
    text
}

/// A finding with its text of windows.
struct Report<'a> {
    diagnostic: &'a Diagnostic,
    windows: Windows<'a>,
    labels: Vec<LabeledSpan>,
    left_out: usize,
}

/// Files one after another: where each begins in the text of the report, and the file.
struct Windows<'a>(Vec<(usize, &'a Counted<'a>)>);

impl<'a> Report<'a> {
    fn new(diagnostic: &'a Diagnostic, positions: &'a Positions<'a>) -> Report<'a> {
        let mut windows = Windows(Vec::new());
        // The last place in each window, to see what is near it.
        let mut last: Vec<(&Label, usize)> = Vec::new();
        let mut labels = Vec::new();
        let all = std::iter::once(&diagnostic.primary).chain(&diagnostic.labels);
        for (index, label) in all.take(MOST_LABELS).enumerate() {
            let Some(counted) = positions.get(label.span.file) else { continue };
            let (start, length) = marked(label, counted);
            let near = last.iter().position(|&(other, at)| {
                let lines =
                    counted.source.line_index(at).abs_diff(counted.source.line_index(start));
                other.span.file == label.span.file
                    && lines <= NEAR.0
                    && at.abs_diff(start) <= NEAR.1
            });
            let window = near.unwrap_or_else(|| {
                last.push((label, start));
                windows.open(counted)
            });
            last[window].1 = start;
            let span = SourceSpan::new((windows.0[window].0 + start).into(), length);
            let text = (!label.text.is_empty()).then(|| label.text.clone());
            labels.push(match index {
                0 => LabeledSpan::new_primary_with_span(text, span),
                _ => LabeledSpan::new_with_span(text, span),
            });
        }
        let left_out = (diagnostic.labels.len() + 1).saturating_sub(MOST_LABELS);
        Report { diagnostic, windows, labels, left_out }
    }
}

/// What is marked for a label in its file: first byte and length.
fn marked(label: &Label, counted: &Counted) -> (usize, usize) {
    let source = counted.source;
    let range = source.range(label.span);
    // Behind the last line there is nothing to point at.
    let text_end = source.text.trim_end().len();
    let mut start = range.start.min(text_end);
    // Where the text ends without a line end, its last sign is pointed at: the renderer shows
    // nothing behind it.
    if start == source.text.len() {
        start = source.floor(start.saturating_sub(1));
    }
    let mut end = range.end.min(text_end).max(start);
    let line = source.line_index(start);
    if source.line_index(end) - line >= MOST_LINES {
        end = source.line_start(line + 1);
        end = start + source.text[start..end].trim_end().len();
    }
    if source.line_index(end) == line {
        end = end.min(source.floor(start + MOST_BYTES));
    }
    (start, end - start)
}

impl<'a> Windows<'a> {
    fn open(&mut self, counted: &'a Counted<'a>) -> usize {
        // One byte lies between two windows, so that the end of one is not in the next.
        let base = self.0.last().map_or(0, |(base, last)| base + last.source.text.len() + 1);
        self.0.push((base, counted));
        self.0.len() - 1
    }
}

impl SourceCode for Windows<'_> {
    fn read_span<'b>(
        &'b self,
        span: &SourceSpan,
        lines_before: usize,
        lines_after: usize,
    ) -> Result<Box<dyn SpanContents<'b> + 'b>, MietteError> {
        let window = self.0.partition_point(|(base, _)| *base <= span.offset());
        let (base, counted) = self.0[..window].last().ok_or(MietteError::OutOfBounds)?;
        let source = counted.source;
        let (from, to) = (span.offset() - base, span.offset() - base + span.len());
        if to > source.text.len() {
            return Err(MietteError::OutOfBounds);
        }
        let line = source.line_index(from);
        let mut start = from;
        if lines_before > 0 {
            let wished = source.line_start(line.saturating_sub(lines_before));
            let own = source.line_start(line);
            let near = [wished, own].into_iter().find(|&at| from - at <= MOST_BYTES);
            start = near.unwrap_or_else(|| source.floor(from - MOST_BYTES / 2));
        }
        let mut end = to;
        if lines_after > 0 {
            let last = source.line_index(to);
            let wished = source.line_start(last + 1 + lines_after);
            let own = source.line_start(last + 1);
            let near = [wished, own].into_iter().find(|&at| at - to <= MOST_BYTES);
            end = near.unwrap_or_else(|| source.floor(to + MOST_BYTES / 2));
        }
        let contents = &source.text.as_bytes()[start..end];
        Ok(Box::new(MietteSpanContents::new_named(
            source.name.clone(),
            contents,
            SourceSpan::new((base + start).into(), end - start),
            source.line_index(start),
            counted.column(start) - 1,
            contents.iter().filter(|&&byte| byte == b'\n').count().max(1),
        )))
    }
}

impl miette::Diagnostic for Report<'_> {
    fn code<'b>(&'b self) -> Option<Box<dyn fmt::Display + 'b>> {
        let mut code = format!("{}[{}]", self.diagnostic.severity.word(), self.diagnostic.code);
        if let Some(player) = &self.diagnostic.player {
            code.push_str(&format!(", {player}"));
        }
        match self.diagnostic.bars {
            Some(BarNumbers { first, last }) if first == last => {
                code.push_str(&format!(", bar {first}"));
            }
            Some(BarNumbers { first, last }) => {
                code.push_str(&format!(", bars {first} to {last}"));
            }
            None => {}
        }
        Some(Box::new(code))
    }

    fn severity(&self) -> Option<miette::Severity> {
        Some(match self.diagnostic.severity {
            Severity::Error => miette::Severity::Error,
            Severity::Warning => miette::Severity::Warning,
            Severity::Advice => miette::Severity::Advice,
        })
    }

    fn help<'b>(&'b self) -> Option<Box<dyn fmt::Display + 'b>> {
        let also = self.diagnostic.also_found();
        let help = [self.diagnostic.help.clone(), also].into_iter().flatten();
        let help = help.collect::<Vec<_>>().join(" ");
        let mut lines = Vec::new();
        if !help.is_empty() {
            lines.push(help);
        }
        for fix in &self.diagnostic.fixes {
            let care = match fix.care {
                Care::Unseen => "",
                Care::Look => " (check before applying)",
                Care::Reason => " (suppresses the finding; give your reason)",
            };
            lines.push(format!("fix: {}{care}", fix.title));
        }
        if self.left_out > 0 {
            lines.push(format!("{} more places are not shown.", self.left_out));
        }
        (!lines.is_empty()).then(|| Box::new(lines.join("\n")) as Box<dyn fmt::Display>)
    }

    fn source_code(&self) -> Option<&dyn SourceCode> {
        Some(&self.windows)
    }

    fn labels(&self) -> Option<Box<dyn Iterator<Item = LabeledSpan> + '_>> {
        let labels = Some(&self.labels).filter(|labels| !labels.is_empty())?;
        Some(Box::new(labels.iter().cloned()))
    }
}

impl std::error::Error for Report<'_> {}

impl fmt::Debug for Report<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Debug::fmt(self.diagnostic, f)
    }
}

impl fmt::Display for Report<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.diagnostic.message)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::diagnostics::Span;
    use crate::diagnostics::testing::{chain, odd_places};

    const PLAIN: Look = Look { colours: false, unicode: true, width: 80 };

    #[test]
    fn the_chain_leads_from_the_note_through_the_scoring_into_the_other_file() {
        let (diagnostics, sources) = chain();
        insta::assert_snapshot!(render(&diagnostics, &sources, PLAIN));
    }

    #[test]
    fn ascii_and_colours_are_kept_to_when_asked_for() {
        let (diagnostics, sources) = chain();
        let ascii = render(&diagnostics[2..], &sources, Look { unicode: false, ..PLAIN });
        assert!(ascii.is_ascii() && !ascii.contains('\u{1b}'), "{ascii}");
        let coloured = render(&diagnostics[2..], &sources, Look { colours: true, ..PLAIN });
        assert!(coloured.contains('\u{1b}'));
    }

    #[test]
    fn a_fix_says_what_care_it_asks_and_the_help_names_other_scorings() {
        let (mut diagnostics, sources) = chain();
        diagnostics.truncate(1);
        let span = diagnostics[0].primary.span;
        diagnostics[0].also_in = vec!["town".into()];
        let finding = diagnostics[0].clone().with_reason("allow it", span.after(), "x", &[]);
        let text = render(&[finding], &sources, Look { width: 200, ..PLAIN });
        assert!(text.contains("allow it (suppresses the finding; give your reason)"), "{text}");
        assert!(text.contains("Also in scoring town."), "{text}");
    }

    #[test]
    fn odd_places_are_reported_all_the_same() {
        let (diagnostics, sources) = odd_places();
        let text = render(&diagnostics, &sources, PLAIN);
        assert_eq!(text.matches("Odd.").count(), diagnostics.len(), "{text}");
        assert!(!text.contains("Failed"), "{text}");
    }

    #[test]
    fn many_findings_on_one_long_line_show_only_what_is_near() {
        let mut sources = Sources::new();
        let file = sources.add("long.ripieno", "♯".repeat(350_000));
        let diagnostics: Vec<Diagnostic> = (0..2_000)
            .map(|i| {
                Diagnostic::error("test/many", Span::new(file, i * 510, i * 510 + 3), "Many.")
                    .with_label(Span::new(file, 0, 1_000_000), "the whole")
            })
            .collect();
        let text = render(&diagnostics, &sources, PLAIN);
        assert_eq!(text.matches("Many.").count(), 2_000);
        assert!(text.len() < 2_000 * 6_000, "{}", text.len());
    }
}

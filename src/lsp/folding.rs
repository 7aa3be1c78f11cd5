//! What can be folded: declarations, blocks of written notes, runs of comments and of `use`.

use std::ops::Range;

use crate::diagnostics::FileId;
use crate::session::Session;
use crate::syntax::{Node, VerbTree};

/// What a fold hides.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Sort {
    /// A declaration or written notes.
    Block,
    /// Comments.
    Comment,
    /// Files that are used.
    Uses,
}

/// The folds of a file that are longer than a line, in order: bytes from the first line on to the
/// last.
#[must_use]
pub fn folds(session: &Session, file: FileId) -> Vec<(Range<usize>, Sort)> {
    let document = session.document(file);
    let text = document.text();
    let mut folds: Vec<(Range<usize>, Sort)> = Vec::new();
    let mut open: Option<usize> = None;
    let mut uses: Option<Range<usize>> = None;
    let mut behind = 0;
    for (start, item) in document.items() {
        comments(text, behind..start, &mut folds);
        behind = start + item.length();
        if let Node::Use(_) = item.node {
            let first = uses.as_ref().map_or(start, |uses| uses.start);
            uses = Some(first..behind);
        } else if let Some(uses) = uses.take() {
            folds.push((uses, Sort::Uses));
        }
        match &item.node {
            Node::Close | Node::Unclosed => {
                if let Some(first) = open.take() {
                    // What is not closed ends with its last line that has something on it.
                    let end = first + text[first..behind].trim_end().len();
                    folds.push((first..end, Sort::Block));
                }
            }
            node if node.opens().is_some() => open = Some(start),
            Node::ScoringLine(line) if matches!(line.verb, VerbTree::Writes(_)) => {
                folds.push((start..behind, Sort::Block));
            }
            _ => {}
        }
    }
    let longer = |(range, _): &(Range<usize>, Sort)| text[range.clone()].contains(['\n', '\r']);
    folds.retain(longer);
    folds.sort_by_key(|(range, _)| (range.start, std::cmp::Reverse(range.end)));
    folds
}

/// Runs of lines that hold a comment and nothing else.
fn comments(text: &str, gap: Range<usize>, folds: &mut Vec<(Range<usize>, Sort)>) {
    let mut run: Option<Range<usize>> = None;
    let mut at = gap.start;
    for (index, line) in text[gap].split_inclusive('\n').enumerate() {
        let content = line.trim();
        // What stands first in a gap may hang on the line of an item.
        let whole = index > 0 || at == 0;
        if content.starts_with("//") && whole {
            let start = at + (line.len() - line.trim_start().len());
            let first = run.as_ref().map_or(start, |run| run.start);
            run = Some(first..start + content.len());
        } else if let Some(run) = run.take() {
            folds.push((run, Sort::Comment));
        }
        at += line.len();
    }
    folds.extend(run.map(|run| (run, Sort::Comment)));
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::text;

    #[test]
    fn blocks_comments_and_uses_fold() {
        let (session, at) = text(
            "// one\n// two\nuse \"a\"\nuse \"b\"\nvoice a {\n  1: D5 | // so\n  // three\n  // four\n}\nscoring s for e {\n  oboe writes as bass {\n    1: D5 |\n  }\n}\npiece \"x\" { }\n",
        );
        let source = session.document(at.file).text().to_string();
        let line = |byte: usize| source[..byte].matches('\n').count() + 1;
        let found: Vec<_> = folds(&session, at.file)
            .into_iter()
            .map(|(range, sort)| (line(range.start), line(range.end), sort))
            .collect();
        assert_eq!(
            found,
            [
                (1, 2, Sort::Comment),
                (3, 4, Sort::Uses),
                (5, 9, Sort::Block),
                (7, 8, Sort::Comment),
                (10, 14, Sort::Block),
                (11, 13, Sort::Block),
            ]
        );
    }
}

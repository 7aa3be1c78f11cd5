//! The canonical form of a file, of some lines, or of the bar that was just ended.

use std::ops::Range;

use super::workspace::TextPlace;
use crate::diagnostics::FileId;
use crate::format;
use crate::session::Session;

/// What is to be brought into the canonical form.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Which {
    /// A whole file.
    File,
    /// The lines in which these bytes stand; one at whose beginning they end is not among them.
    Lines(Range<usize>),
    /// The bar that ends right before a byte, behind the `|` that was typed.
    Bar(usize),
}

/// The changes that bring a file, or a part of it, into the canonical form, in order.
#[must_use]
pub fn format(session: &Session, file: FileId, which: &Which) -> Vec<(TextPlace, String)> {
    let document = session.document(file);
    let edits = match which {
        Which::File => format::edits(document),
        Which::Lines(bytes) => {
            let text = document.text();
            let line = |byte: usize| text[..byte].matches('\n').count();
            let (first, last) = (line(bytes.start), line(bytes.end));
            let ends_there = last > first && text[..bytes.end].ends_with('\n');
            format::edits_of_lines(document, first..last + usize::from(!ends_there))
        }
        Which::Bar(byte) => format::edits_of_bar(document, *byte),
    };
    let change =
        |edit: format::Edit| (TextPlace { file, range: edit.range }, edit.text.into_owned());
    edits.into_iter().map(change).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{changed, text};

    const SOURCE: &str = "voice a {\n1:   1/1 D5   |\n2:   1/1 E5   |\n}\n";

    #[test]
    fn a_file_some_lines_or_a_bar_are_brought_into_form() {
        let (session, at) = text(SOURCE);
        let of = |which| changed(&session, at.file, &format(&session, at.file, &which));
        let whole = of(Which::File);
        assert_eq!(whole, format::format(session.document(at.file)));
        assert!(whole.contains("    1: 1/1 D5 |\n    2: 1/1 E5 |\n"), "{whole}");
        let second = SOURCE.find("2:").unwrap();
        let lines = of(Which::Lines(second..second + 4));
        assert!(
            lines.contains("1:   1/1 D5   |\n") && lines.contains("    2: 1/1 E5 |\n"),
            "{lines}"
        );
        let bar = of(Which::Bar(SOURCE.find('|').unwrap() + 1));
        assert!(bar.contains("1: 1/1 D5 |\n") && bar.contains("2:   1/1 E5   |\n"), "{bar}");
        assert_eq!(of(Which::Bar(3)), SOURCE);
    }
}

//! What a text means, as words that can be compared: the tree, the resolved piece and what was
//! found, without the places.

use std::fmt::Write;

use ripieno::diagnostics::{FileId, Sources};
use ripieno::resolve;
use ripieno::syntax::Document;

use crate::shared::compiling::Forces;

pub fn meaning(text: &str) -> String {
    let mut meaning = String::new();
    let document = Document::new(FileId(0), text);
    for finding in document.findings() {
        let _ = writeln!(meaning, "{} {}", finding.code, finding.message);
    }
    let _ = writeln!(meaning, "{:?}", document.tree());
    let mut sources = Sources::new();
    let file = sources.add("a.ripieno", text);
    let (piece, findings) = resolve::resolve(&mut sources, file, &mut Forces);
    for finding in findings {
        let _ = writeln!(meaning, "{} {}", finding.code, finding.message);
    }
    // Lyrics are kept by their notes, in no order; the tree has told them already.
    let mut piece = (*piece).clone();
    piece.lyrics = Default::default();
    let _ = write!(meaning, "{piece:?}");
    without_places(&meaning)
}

/// A text without spans, and with one kind of line end.
fn without_places(text: &str) -> String {
    let mut pieces = text.split("Span {");
    let mut out = pieces.next().unwrap_or_default().to_string();
    for piece in pieces {
        out.push_str(piece.split_once('}').map_or(piece, |(_, rest)| rest));
    }
    out.replace("\\r\\n", "\\n").replace("\\r", "\\n").replace("\r\n", "\n").replace('\r', "\n")
}

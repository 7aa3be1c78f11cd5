//! Edits of runs of blanks.

use std::borrow::Cow;
use std::ops::Range;

/// Bytes of a text, and what is to stand in their place.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Edit {
    /// The bytes.
    pub range: Range<usize>,
    /// What is to stand there: blanks and line ends.
    pub text: Cow<'static, str>,
}

/// A text after edits, which must be in order and apart.
#[must_use]
pub fn apply(text: &str, edits: &[Edit]) -> String {
    let mut out = String::with_capacity(text.len() + text.len() / 8);
    let mut at = 0;
    for edit in edits {
        out.push_str(&text[at..edit.range.start]);
        out.push_str(&edit.text);
        at = edit.range.end;
    }
    out.push_str(&text[at..]);
    out
}

/// A line end and 64 blanks.
const LINE: &str = "\n                                                                ";

/// So many blanks, 64 at most.
fn blanks(count: usize) -> &'static str {
    &LINE[1..=count.min(LINE.len() - 1)]
}

/// A text, and the edits that were found necessary.
pub(super) struct Edits<'a> {
    pub(super) text: &'a str,
    edits: Vec<Edit>,
}

impl<'a> Edits<'a> {
    pub(super) fn new(text: &'a str) -> Edits<'a> {
        Edits { text, edits: Vec::new() }
    }

    pub(super) fn done(self) -> Vec<Edit> {
        self.edits
    }

    /// Puts blanks in a place.
    pub(super) fn blanks(&mut self, range: Range<usize>, count: usize) {
        self.put(range, blanks(count));
    }

    /// Puts a line end and blanks in a place.
    pub(super) fn line(&mut self, range: Range<usize>, count: usize) {
        self.put(range, &LINE[..=count.min(LINE.len() - 1)]);
    }

    /// Puts blanks or line ends in a place.
    pub(super) fn put(&mut self, range: Range<usize>, with: &'static str) {
        let there = &self.text[range.clone()];
        if there == with {
            return;
        }
        // What stands there already is not touched. All that is put anywhere is of one byte each.
        let same = there.bytes().zip(with.bytes()).take_while(|(one, other)| one == other).count();
        let range = range.start + same..range.end;
        self.edits.push(Edit { range, text: Cow::Borrowed(&with[same..]) });
    }

    /// Gives what is kept as it is the line ends of the rest.
    pub(super) fn line_ends(&mut self, range: Range<usize>) {
        let bytes = self.text.as_bytes();
        for at in range.clone().filter(|&at| bytes[at] == b'\r') {
            let pair = at + 1 < range.end && bytes[at + 1] == b'\n';
            self.put(at..at + 1 + usize::from(pair), "\n");
        }
    }
}

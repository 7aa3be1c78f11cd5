//! Source texts and places in them.

use std::ops::Range;

/// A source text by its number among [`Sources`].
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
pub struct FileId(pub u16);

/// A piece of a source text: bytes from `start` up to but not including `end`.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
pub struct Span {
    /// The text.
    pub file: FileId,
    /// First byte.
    pub start: u32,
    /// One past the last byte.
    pub end: u32,
}

impl Span {
    /// A span of a file.
    #[must_use]
    pub const fn new(file: FileId, start: u32, end: u32) -> Span {
        Span { file, start, end }
    }

    /// The span from the beginning of this one to the end of the other, in this one's file.
    #[must_use]
    pub fn to(self, other: Span) -> Span {
        Span { end: self.end.max(other.end), ..self }
    }

    /// The empty place just before this span.
    #[must_use]
    pub const fn before(self) -> Span {
        Span { end: self.start, ..self }
    }

    /// The empty place just after this span.
    #[must_use]
    pub const fn after(self) -> Span {
        Span { start: self.end, ..self }
    }
}

/// One source text with its name and the beginnings of its lines.
#[derive(Clone, Debug)]
pub struct Source {
    /// The name as it is shown: a path below the project's root.
    pub name: String,
    /// The whole text.
    pub text: String,
    line_starts: Vec<u32>,
}

impl Source {
    /// Index (from 0) of the line in which a byte lies; the last line for bytes beyond the text.
    #[must_use]
    pub fn line_index(&self, offset: usize) -> usize {
        self.line_starts.partition_point(|&start| start as usize <= offset).saturating_sub(1)
    }

    /// First byte of a line (from 0); the end of the text for lines beyond it.
    #[must_use]
    pub fn line_start(&self, index: usize) -> usize {
        self.line_starts.get(index).map_or(self.text.len(), |&start| start as usize)
    }

    /// The nearest beginning of a character at or before a byte, within the text.
    #[must_use]
    pub fn floor(&self, offset: usize) -> usize {
        let mut offset = offset.min(self.text.len());
        while !self.text.is_char_boundary(offset) {
            offset -= 1;
        }
        offset
    }

    /// The bytes of a span, brought inside the text and onto whole characters.
    #[must_use]
    pub fn range(&self, span: Span) -> Range<usize> {
        let start = self.floor(span.start as usize);
        start..self.floor(span.end as usize).max(start)
    }

    /// Line and column, both from 1; the column counts characters.
    #[must_use]
    pub fn position(&self, offset: u32) -> (usize, usize) {
        let line = self.line_index(offset as usize);
        let start = self.line_start(line);
        let end = self.floor(offset as usize);
        let column = self.text.get(start..end).map_or(0, |before| before.chars().count());
        (line + 1, column + 1)
    }
}

/// All source texts of a run, in the order in which they were read.
#[derive(Clone, Debug, Default)]
pub struct Sources {
    files: Vec<Source>,
}

impl Sources {
    /// No texts yet.
    #[must_use]
    pub fn new() -> Sources {
        Sources::default()
    }

    /// Adds a text (of less than 4 GiB) and gives it a number.
    pub fn add(&mut self, name: impl Into<String>, text: impl Into<String>) -> FileId {
        let text = text.into();
        let ends = text.bytes().enumerate().filter(|(_, byte)| *byte == b'\n');
        let line_starts = std::iter::once(0).chain(ends.map(|(at, _)| at as u32 + 1)).collect();
        self.files.push(Source { name: name.into(), text, line_starts });
        FileId((self.files.len() - 1) as u16)
    }

    /// The text of that number.
    ///
    /// # Panics
    /// If the number was given out by other `Sources`.
    #[must_use]
    pub fn get(&self, id: FileId) -> &Source {
        &self.files[usize::from(id.0)]
    }

    /// The text of that number, if there is one.
    #[must_use]
    pub fn find(&self, id: FileId) -> Option<&Source> {
        self.files.get(usize::from(id.0))
    }

    /// The text of a span.
    #[must_use]
    pub fn text(&self, span: Span) -> &str {
        self.get(span.file).text.get(span.start as usize..span.end as usize).unwrap_or("")
    }

    /// All texts.
    pub fn iter(&self) -> impl Iterator<Item = &Source> {
        self.files.iter()
    }

    /// How many texts there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.files.len()
    }

    /// Is there no text?
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.files.is_empty()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_count_characters_from_one() {
        let mut sources = Sources::new();
        let id = sources.add("a", "B♭4\nC#5");
        let source = sources.get(id);
        assert_eq!(source.position(0), (1, 1));
        assert_eq!(source.position(4), (1, 3));
        assert_eq!(source.position(6), (2, 1));
        assert_eq!(source.position(999), (2, 4));
    }
}

//! Source texts and places in them.

use crate::narrow::Narrow;
use std::ops::Range;

use serde::{Deserialize, Serialize};

/// A source text by its number among [`Sources`].
#[derive(
    Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default, Serialize, Deserialize,
)]
pub struct FileId(pub u32);

/// The head of a declaration, a line or a bar, by its number in a file.
///
/// A number stays with its item while the text around it is edited. Number 0 is the whole file.
#[derive(
    Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default, Serialize, Deserialize,
)]
pub struct ItemId(pub u32);

/// A piece of a source text, from a first byte up to but not including a last one.
///
/// Both ends are counted from the beginning of the item in which they stand, so that a span stays
/// the same while the text is edited elsewhere: it is the origin of a note, a line or a
/// declaration. Only [`Source::range`] knows where it stands in the file now. In a text that has
/// not been edited, spans are in order as their places are.
#[derive(
    Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default, Serialize, Deserialize,
)]
pub struct Span {
    /// The text.
    pub file: FileId,
    /// The item in which it begins.
    pub first: ItemId,
    /// First byte, counted from the beginning of that item.
    pub start: u32,
    /// The item in which it ends.
    pub last: ItemId,
    /// One past the last byte, counted from the beginning of that item.
    pub end: u32,
}

impl Span {
    /// A span of a file by its bytes in the whole text. It does not follow when the text is edited.
    #[must_use]
    pub const fn new(file: FileId, start: u32, end: u32) -> Span {
        Span::within(file, ItemId(0), start, end)
    }

    /// A span within one item.
    #[must_use]
    pub const fn within(file: FileId, item: ItemId, start: u32, end: u32) -> Span {
        Span { file, first: item, start, last: item, end }
    }

    /// The span from the beginning of this one to the end of the other, in this one's file.
    #[must_use]
    pub fn to(self, other: Span) -> Span {
        match self.last == other.last && self.end > other.end {
            true => self,
            false => Span { last: other.last, end: other.end, ..self },
        }
    }

    /// The empty place just before this span.
    #[must_use]
    pub const fn before(self) -> Span {
        Span { last: self.first, end: self.start, ..self }
    }

    /// The empty place just after this span.
    #[must_use]
    pub const fn after(self) -> Span {
        Span { first: self.last, start: self.end, ..self }
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
    /// Where each item begins, by its number.
    items: Vec<u32>,
}

impl Source {
    fn new(name: String, text: String) -> Source {
        // A carriage return alone ends a line too, as the grammar has it.
        let ends_line = |(at, byte): &(usize, u8)| match byte {
            b'\n' => true,
            b'\r' => text.as_bytes().get(at + 1) != Some(&b'\n'),
            _ => false,
        };
        let ends = || text.bytes().enumerate().filter(ends_line);
        // A list that grows as it must may take twice the room.
        let mut line_starts = Vec::with_capacity(ends().count() + 1);
        line_starts.push(0);
        line_starts.extend(ends().map(|(at, _)| at.narrow::<u32>() + 1));
        Source { name, text, line_starts, items: Vec::new() }
    }

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

    /// The bytes of a span, as it says them.
    #[must_use]
    pub fn exact(&self, span: Span) -> Range<usize> {
        let item = |item: ItemId| self.items.get(item.0 as usize).copied().unwrap_or(0) as usize;
        item(span.first) + span.start as usize..item(span.last) + span.end as usize
    }

    /// The bytes of a span, brought inside the text and onto whole characters.
    #[must_use]
    pub fn range(&self, span: Span) -> Range<usize> {
        let exact = self.exact(span);
        let start = self.floor(exact.start);
        start..self.floor(exact.end).max(start)
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
        self.files.push(Source::new(name.into(), text.into()));
        FileId((self.files.len() - 1).narrow::<u32>())
    }

    /// Says where the items of a text begin, by their numbers.
    pub fn set_items(&mut self, id: FileId, items: Vec<u32>) {
        if let Some(source) = self.files.get_mut(id.0 as usize) {
            source.items = items;
        }
    }

    /// Puts another text with its items in the place of one.
    pub fn replace(&mut self, id: FileId, text: String, items: Vec<u32>) {
        if let Some(source) = self.files.get_mut(id.0 as usize) {
            let name = std::mem::take(&mut source.name);
            *source = Source { items, ..Source::new(name, text) };
        }
    }

    /// Some of the texts as something else shows them, in that order. Every text keeps its length, so
    /// that places in it stay what they are.
    #[must_use]
    pub fn shown_with(&self, files: &[FileId], shown: impl Fn(&str) -> String) -> Sources {
        let files = files.iter().filter_map(|file| self.find(*file)).map(|source| Source {
            items: source.items.clone(),
            ..Source::new(shown(&source.name), shown(&source.text))
        });
        Sources { files: files.collect() }
    }

    /// Where a span stands now, in bytes of its text; `0..0` in a text that is not known.
    #[must_use]
    pub fn range(&self, span: Span) -> Range<usize> {
        self.find(span.file).map_or(0..0, |source| source.range(span))
    }

    /// The text of that number.
    ///
    /// # Panics
    /// If the number was given out by other `Sources`.
    #[must_use]
    pub fn get(&self, id: FileId) -> &Source {
        &self.files[id.0 as usize]
    }

    /// The text of that number, if there is one.
    #[must_use]
    pub fn find(&self, id: FileId) -> Option<&Source> {
        self.files.get(id.0 as usize)
    }

    /// The text of a span.
    #[must_use]
    pub fn text(&self, span: Span) -> &str {
        let source = self.get(span.file);
        source.text.get(source.range(span)).unwrap_or("")
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

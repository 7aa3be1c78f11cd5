//! Lines and columns of many places at a time.

use std::collections::BTreeMap;

use super::{Diagnostic, FileId, Source, Sources};

/// Distance in bytes between two counted places.
const STRIDE: usize = 256;

/// The texts with a count of characters every few bytes, so that the column of a place costs the
/// same on a line of any length. Built once for a whole report, of the texts that it names: those of
/// a long call are told one after the other.
pub(super) struct Positions<'a> {
    files: BTreeMap<FileId, Counted<'a>>,
}

/// One text with its counts.
pub(super) struct Counted<'a> {
    pub(super) source: &'a Source,
    /// Characters that begin before byte `STRIDE * i`.
    counts: Vec<usize>,
}

impl<'a> Positions<'a> {
    /// The positions in the texts that these findings name.
    pub(super) fn new(sources: &'a Sources, findings: &[Diagnostic]) -> Positions<'a> {
        let mut files = BTreeMap::new();
        for file in findings.iter().flat_map(Diagnostic::places).map(|place| place.file) {
            if let Some(source) = sources.find(file) {
                files.entry(file).or_insert_with(|| Counted::new(source));
            }
        }
        Positions { files }
    }

    pub(super) fn get(&self, id: FileId) -> Option<&Counted<'a>> {
        self.files.get(&id)
    }
}

impl<'a> Counted<'a> {
    fn new(source: &'a Source) -> Counted<'a> {
        let mut characters = 0;
        let mut counts = vec![0];
        for block in source.text.as_bytes().chunks(STRIDE) {
            characters += beginnings(block);
            counts.push(characters);
        }
        Counted { source, counts }
    }

    fn characters_before(&self, offset: usize) -> usize {
        let block = offset / STRIDE;
        let counted = self.counts.get(block).copied().unwrap_or(0);
        let rest = self.source.text.as_bytes().get(block * STRIDE..offset).unwrap_or(&[]);
        counted + beginnings(rest)
    }

    /// Column (characters, from 1) of a byte within the text.
    pub(super) fn column(&self, offset: usize) -> usize {
        let offset = self.source.floor(offset);
        let line = self.source.line_start(self.source.line_index(offset));
        self.characters_before(offset) - self.characters_before(line) + 1
    }
}

/// How many characters begin in these bytes.
fn beginnings(bytes: &[u8]) -> usize {
    bytes.iter().filter(|&&byte| byte & 0xC0 != 0x80).count()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::diagnostics::Span;
    use crate::narrow::Narrow;

    #[test]
    fn columns_agree_with_a_count_from_the_line_s_beginning() {
        let mut sources = Sources::new();
        let text = "♭é♯x".repeat(300) + "\nab\n" + &"♮".repeat(200);
        let id = sources.add("long", text.clone());
        let other = sources.add("other", "x");
        let named = Diagnostic::error("syntax/unexpected", Span::new(id, 0, 1), "");
        let positions = Positions::new(&sources, &[named]);
        assert!(positions.get(other).is_none(), "what nothing names is not counted");
        let counted = positions.get(id).unwrap();
        for offset in (0..text.len() + 3).step_by(7) {
            let (_, column) = sources.get(id).position(offset.narrow::<u32>());
            assert_eq!(counted.column(offset), column, "at byte {offset}");
        }
    }
}

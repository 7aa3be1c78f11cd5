//! Lines and columns of many places at a time.

use super::{FileId, Source, Sources};

/// Distance in bytes between two counted places.
const STRIDE: usize = 256;

/// The texts with a count of characters every few bytes, so that the column of a place costs the
/// same on a line of any length. Built once for a whole report.
pub(super) struct Positions<'a> {
    files: Vec<Counted<'a>>,
}

/// One text with its counts.
pub(super) struct Counted<'a> {
    pub(super) source: &'a Source,
    /// Characters that begin before byte `STRIDE * i`.
    counts: Vec<usize>,
}

impl<'a> Positions<'a> {
    pub(super) fn new(sources: &'a Sources) -> Positions<'a> {
        Positions { files: sources.iter().map(Counted::new).collect() }
    }

    pub(super) fn get(&self, id: FileId) -> Option<&Counted<'a>> {
        self.files.get(id.0 as usize)
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
    use crate::narrow::Narrow;

    #[test]
    fn columns_agree_with_a_count_from_the_line_s_beginning() {
        let mut sources = Sources::new();
        let text = "♭é♯x".repeat(300) + "\nab\n" + &"♮".repeat(200);
        let id = sources.add("long", text.clone());
        let positions = Positions::new(&sources);
        let counted = positions.get(id).unwrap();
        for offset in (0..text.len() + 3).step_by(7) {
            let (_, column) = sources.get(id).position(offset.narrow::<u32>());
            assert_eq!(counted.column(offset), column, "at byte {offset}");
        }
    }
}

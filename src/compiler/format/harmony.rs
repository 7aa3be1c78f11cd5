//! Bars of chord symbols and of syllables.

use std::ops::Range;

use super::INDENT;
use super::edits::Edits;
use super::gaps::{Breaks, Gap, is_blank};
use super::music::{MUSIC, number};

impl Edits<'_> {
    /// A bar of chord symbols or of syllables.
    pub(super) fn harmony_bar(&mut self, range: Range<usize>) {
        let bytes = self.text.as_bytes();
        let mut before = None;
        let mut at = range.start;
        while at < range.end {
            if let Some(before) = before {
                let breaks = if bytes[at] == b'|' { Breaks::Never } else { Breaks::Kept };
                self.gap(before..at, &Gap::within(1, INDENT + MUSIC, breaks));
            }
            let length = if before.is_none() { number(&bytes[at..range.end]) } else { 0 };
            let end = if length > 0 { at + length } else { self.symbol_end(at, range.end) };
            before = Some(end);
            at = self.token_from(end, range.end);
        }
    }

    /// The end of a value, a chord symbol, a word or a bar line. A symbol takes in all up to a blank.
    fn symbol_end(&self, start: usize, end: usize) -> usize {
        let bytes = &self.text.as_bytes()[..end];
        let is_value = bytes[start].is_ascii_digit();
        let ends = |at: usize| match bytes[at] {
            b' ' | b'\t' | b'\n' | b'\r' | b'|' | b'{' | b'}' => true,
            byte => !byte.is_ascii_graphic() && is_value && is_blank(&bytes[at..]),
        };
        if bytes[start] == b'|' {
            return start + 1;
        }
        (start + 1..end).find(|&at| ends(at)).unwrap_or(end)
    }
}

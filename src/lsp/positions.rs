//! Places in a text as the protocol counts them: line and character, from 0.
//!
//! What a character is the two sides agree on: a byte (UTF-8), a unit of UTF-16, or a whole
//! character (UTF-32). A line ends with `\n`, `\r\n` or `\r`, whatever the compiler thinks.

use crate::narrow::Narrow;
use std::ops::Range;

use gen_lsp_types as lsp;

/// What the characters of a position count.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum Encoding {
    /// Bytes.
    Utf8,
    /// Units of UTF-16: what the protocol had alone before 3.17.
    #[default]
    Utf16,
    /// Characters.
    Utf32,
}

impl Encoding {
    /// The word of the protocol.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Encoding::Utf8 => "utf-8",
            Encoding::Utf16 => "utf-16",
            Encoding::Utf32 => "utf-32",
        }
    }

    /// The best of those that a client takes; UTF-16 where it names none that is known.
    #[must_use]
    pub fn choose<'a>(offered: impl Iterator<Item = &'a str> + Clone) -> Encoding {
        let all = [Encoding::Utf8, Encoding::Utf32, Encoding::Utf16];
        let taken = |encoding: &Encoding| offered.clone().any(|word| word == encoding.word());
        all.into_iter().find(taken).unwrap_or_default()
    }

    /// How many units a character has.
    fn units(self, character: char) -> usize {
        match self {
            Encoding::Utf8 => character.len_utf8(),
            Encoding::Utf16 => character.len_utf16(),
            Encoding::Utf32 => 1,
        }
    }

    /// How many units a piece of text has.
    #[must_use]
    pub fn length(self, text: &str) -> usize {
        match self {
            Encoding::Utf8 => text.len(),
            _ if text.is_ascii() => text.len(),
            _ => text.chars().map(|character| self.units(character)).sum(),
        }
    }
}

/// Where the lines of a text begin.
#[derive(Clone, Debug, Default)]
pub struct Lines {
    starts: Vec<u32>,
}

impl Lines {
    /// Counts the lines of a text.
    #[must_use]
    pub fn new(text: &str) -> Lines {
        let bytes = text.as_bytes();
        let ends = memchr::memchr2_iter(b'\n', b'\r', bytes)
            .filter(|&at| bytes[at] == b'\n' || bytes.get(at + 1) != Some(&b'\n'));
        let starts = std::iter::once(0).chain(ends.map(|at| at.narrow::<u32>() + 1)).collect();
        Lines { starts }
    }

    /// The bytes of a line, its end left out; `None` for a line beyond the text.
    fn line(&self, text: &str, line: usize) -> Option<Range<usize>> {
        let start = *self.starts.get(line)? as usize;
        let end = self.starts.get(line + 1).map_or(text.len(), |&end| end as usize);
        let kept = text.get(start..end)?.trim_end_matches(['\n', '\r']).len();
        // A lone `\r` ends a line too, so at most one end was taken away.
        Some(start..start + kept)
    }

    /// The byte of a position. What lies beyond the end of a line is its end, what lies within a
    /// character its beginning.
    #[must_use]
    pub fn offset(&self, text: &str, encoding: Encoding, position: lsp::Position) -> usize {
        let Some(line) = self.line(text, position.line as usize) else { return text.len() };
        let mut left = position.character as usize;
        for (at, character) in text[line.clone()].char_indices() {
            let units = encoding.units(character);
            if left < units {
                return line.start + at;
            }
            left -= units;
        }
        line.end
    }

    /// The position of a byte, which is brought onto the beginning of a character within the text.
    #[must_use]
    pub fn position(&self, text: &str, encoding: Encoding, offset: usize) -> lsp::Position {
        let mut offset = offset.min(text.len());
        while !text.is_char_boundary(offset) {
            offset -= 1;
        }
        let line = self.starts.partition_point(|&start| start as usize <= offset).max(1) - 1;
        let start = self.starts.get(line).map_or(0, |&start| start as usize);
        let before = text.get(start..offset).unwrap_or_default();
        // Behind the end of a line there is no place on it.
        let before = before.trim_end_matches(['\n', '\r']);
        lsp::Position {
            line: line.narrow::<u32>(),
            character: encoding.length(before).narrow::<u32>(),
        }
    }

    /// The range of some bytes.
    #[must_use]
    pub fn range(&self, text: &str, encoding: Encoding, bytes: Range<usize>) -> lsp::Range {
        lsp::Range {
            start: self.position(text, encoding, bytes.start),
            end: self.position(text, encoding, bytes.end),
        }
    }

    /// The line in which a byte lies, from 0.
    #[must_use]
    pub fn line_of(&self, offset: usize) -> usize {
        self.starts.partition_point(|&start| start as usize <= offset).max(1) - 1
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ALL: [Encoding; 3] = [Encoding::Utf8, Encoding::Utf16, Encoding::Utf32];

    fn at(line: u32, character: u32) -> lsp::Position {
        lsp::Position { line, character }
    }

    #[test]
    fn a_character_counts_as_the_encoding_says() {
        // An emoji of four bytes, a letter with a combining accent, a sharp of three bytes.
        let text = "🎻 e\u{301}\nF♯5 x";
        let lines = Lines::new(text);
        let of = |encoding, word: &str| lines.position(text, encoding, text.find(word).unwrap());
        assert_eq!(ALL.map(|e| of(e, "e\u{301}").character), [5, 3, 2]);
        assert_eq!(ALL.map(|e| of(e, "\u{301}").character), [6, 4, 3]);
        assert_eq!(ALL.map(|e| of(e, "x")), [at(1, 6), at(1, 4), at(1, 4)]);
    }

    #[test]
    fn every_byte_that_begins_a_character_goes_there_and_back() {
        for text in ["", "a", "🎻\r\n\r\ne\u{301}|\rx\n", "1: 1/4 D♭5 |\r\n2: rest |", "\n\n", "\r"]
        {
            let lines = Lines::new(text);
            for encoding in ALL {
                for offset in (0..=text.len()).filter(|&at| text.is_char_boundary(at)) {
                    let place = lines.position(text, encoding, offset);
                    let back = lines.offset(text, encoding, place);
                    let within_end = text.as_bytes().get(offset.wrapping_sub(1)) == Some(&b'\r')
                        && text.as_bytes().get(offset) == Some(&b'\n');
                    assert!(
                        back == offset || within_end,
                        "{text:?} {encoding:?} {offset} {place:?}"
                    );
                }
            }
        }
    }

    #[test]
    fn what_lies_beyond_or_within_a_character_is_brought_to_a_place() {
        let text = "a🎻\r\nb";
        let lines = Lines::new(text);
        assert_eq!(lines.offset(text, Encoding::Utf16, at(0, 2)), 1);
        assert_eq!(lines.offset(text, Encoding::Utf8, at(0, 3)), 1);
        assert_eq!(lines.offset(text, Encoding::Utf16, at(0, 99)), 5);
        assert_eq!(lines.offset(text, Encoding::Utf16, at(9, 0)), text.len());
        assert_eq!(lines.position(text, Encoding::Utf16, 3), at(0, 1));
        assert_eq!(lines.position(text, Encoding::Utf16, 999), at(1, 1));
    }

    #[test]
    fn the_best_encoding_that_a_client_takes_is_chosen() {
        let choose = |offered: &[&'static str]| Encoding::choose(offered.iter().copied());
        assert_eq!(choose(&["utf-16", "utf-8"]), Encoding::Utf8);
        assert_eq!(choose(&["utf-32", "utf-16"]), Encoding::Utf32);
        assert_eq!(choose(&["utf-7"]), Encoding::Utf16);
        assert_eq!(choose(&[]), Encoding::Utf16);
    }
}

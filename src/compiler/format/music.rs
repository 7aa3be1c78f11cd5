//! Bars of voices and of written notes.

use std::ops::Range;

use super::edits::Edits;
use super::gaps::{Breaks, Gap, is_blank};

/// Digits for which there is room before the colon of a bar's number.
const DIGITS: usize = 3;
/// Signs from the indent of a block to the music in its bars: a number, a colon and a blank.
pub(super) const MUSIC: usize = DIGITS + 2;

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Kind {
    /// `12:`
    Number,
    /// A note, a rest, a stroke, what begins a tuplet, a word in brackets.
    Word,
    /// `1/4`
    Value,
    /// `=`
    Hold,
    /// `{`
    SlurStart,
    /// `}`
    SlurEnd,
    /// `(`
    Open,
    /// `)`
    Close,
    /// `[`
    Bracket,
    /// `]`
    BracketEnd,
    /// Words in quotes.
    Text,
    Comma,
    /// `|`
    BarLine,
}

/// The length of a bar's number with its colon at a place; 0 where there is none.
pub(super) fn number(bytes: &[u8]) -> usize {
    let digits = bytes.iter().take_while(|byte| byte.is_ascii_digit()).count();
    if digits == 0 || bytes.get(digits) != Some(&b':') {
        return 0;
    }
    // Not the beginning of a tuplet.
    let behind = &bytes[digits + 1..];
    let more = behind.iter().take_while(|byte| byte.is_ascii_digit()).count();
    if more > 0 && behind.get(more) == Some(&b'(') { 0 } else { digits + 1 }
}

impl Edits<'_> {
    /// How far in a bar stands that begins a line: so that its number ends where all others do.
    pub(super) fn indent_of_bar(&self, start: usize, indent: usize) -> usize {
        let number = number(&self.text.as_bytes()[start..]);
        indent + if number == 0 { MUSIC } else { (DIGITS + 1).saturating_sub(number) }
    }

    /// A bar, up to its bar line; gives back where it ends.
    pub(super) fn bar(&mut self, range: Range<usize>, indent: usize) -> usize {
        let mut before: Option<(Kind, usize)> = None;
        let mut at = range.start;
        loop {
            let (kind, end) = self.music_token(at, range.end, before.is_none());
            if let Some((last, last_end)) = before {
                let (same_line, breaks) = between(last, kind, last_end == at);
                self.gap(last_end..at, &Gap::within(same_line, indent + MUSIC, breaks));
            }
            let next = self.token_from(end, range.end);
            if kind == Kind::BarLine || next >= range.end {
                return end;
            }
            before = Some((kind, end));
            at = next;
        }
    }

    fn music_token(&self, start: usize, end: usize, is_first: bool) -> (Kind, usize) {
        let bytes = &self.text.as_bytes()[..end];
        if is_first {
            let number = number(&bytes[start..]);
            if number > 0 {
                return (Kind::Number, start + number);
            }
        }
        let one = match bytes[start] {
            b'=' => Some(Kind::Hold),
            b'{' => Some(Kind::SlurStart),
            b'}' => Some(Kind::SlurEnd),
            b'(' => Some(Kind::Open),
            b')' => Some(Kind::Close),
            b'[' => Some(Kind::Bracket),
            b']' => Some(Kind::BracketEnd),
            b',' => Some(Kind::Comma),
            b'|' => Some(Kind::BarLine),
            b'"' => return (Kind::Text, self.text_end(start, end)),
            _ => None,
        };
        if let Some(kind) = one {
            return (kind, start + 1);
        }
        let (mut at, mut kind) = (start + 1, Kind::Word);
        while at < end {
            let ends = match bytes[at] {
                b'=' | b'{' | b'}' | b'(' | b')' | b'[' | b']' | b',' | b'|' | b'"' => true,
                b'/' if bytes[at..].starts_with(b"//") => true,
                b'/' => {
                    kind = Kind::Value;
                    false
                }
                byte if byte.is_ascii_graphic() => false,
                _ => is_blank(&bytes[at..]),
            };
            if ends {
                break;
            }
            at += 1;
        }
        (kind, at)
    }
}

/// Blanks between two tokens, and whether a line may end there. Whether they touch matters at a
/// bracket alone: touching its note it holds marks, or else directions.
fn between(before: Kind, behind: Kind, touch: bool) -> (usize, Breaks) {
    use Kind::*;
    match (before, behind) {
        (_, BarLine) => (1, Breaks::Never),
        (_, SlurEnd | Close) => (0, Breaks::Never),
        (_, BracketEnd | Comma | Open) | (Bracket, _) => (0, Breaks::Never),
        (SlurStart | Open, _) => (0, Breaks::Kept),
        (Word | Hold, Bracket) if touch => (0, Breaks::Never),
        _ => (1, Breaks::Kept),
    }
}

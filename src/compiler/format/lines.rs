//! Lines and heads: words with one blank between them; the lines of the form and of the dynamics,
//! with a column for the bars.

use std::ops::Range;

use super::edits::Edits;
use super::gaps::{Breaks, Gap, is_blank};

/// Signs from the beginning of the bars of a line to what happens there: `100..108` and two
/// blanks.
const MOMENT: usize = 10;

/// A token of a line.
#[derive(Clone)]
pub(super) struct Token {
    pub(super) range: Range<usize>,
    pub(super) kind: Kind,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Kind {
    Word,
    Text,
    Comma,
    /// `..`
    To,
    /// `=`
    Sign,
    /// `%`
    Percent,
    /// `{`
    Open,
    /// `}`
    Close,
}

impl Edits<'_> {
    /// The token that begins at a place. Where comments may stand, they end a word.
    pub(super) fn token(&self, start: usize, end: usize, comments: bool) -> Token {
        let bytes = &self.text.as_bytes()[..end];
        let one = |kind| Token { range: start..start + 1, kind };
        match bytes[start] {
            b',' => return one(Kind::Comma),
            b'=' => return one(Kind::Sign),
            b'%' => return one(Kind::Percent),
            b'{' => return one(Kind::Open),
            b'}' => return one(Kind::Close),
            b'.' if bytes[start..].starts_with(b"..") => {
                return Token { range: start..start + 2, kind: Kind::To };
            }
            b'"' => return Token { range: start..self.text_end(start, end), kind: Kind::Text },
            _ => {}
        }
        let mut at = start + 1;
        while at < end {
            let ends = match bytes[at] {
                b'"' | b',' | b'=' | b'%' | b'{' | b'}' => true,
                // Not the dots of a value.
                b'.' => {
                    bytes[at..].starts_with(b"..")
                        && bytes[start..at].iter().all(u8::is_ascii_digit)
                }
                b'/' => comments && bytes[at..].starts_with(b"//"),
                byte if byte.is_ascii_graphic() => false,
                _ => is_blank(&bytes[at..]),
            };
            if ends {
                break;
            }
            at += 1;
        }
        Token { range: start..at, kind: Kind::Word }
    }

    /// The end of a text in quotes.
    pub(super) fn text_end(&self, start: usize, end: usize) -> usize {
        let inside = &self.text[start + 1..end];
        inside.find('"').map_or(end, |length| start + length + 2)
    }

    /// All tokens.
    pub(super) fn tokens(&self, range: Range<usize>, comments: bool) -> Vec<Token> {
        let mut tokens: Vec<Token> = Vec::with_capacity(12);
        let mut at = range.start;
        while at < range.end {
            let token = self.token(at, range.end, comments);
            at = self.token_from(token.range.end, range.end);
            tokens.push(token);
        }
        tokens
    }

    /// Width of what stands from one token to another, as it will stand there.
    pub(super) fn width(&self, tokens: &[Token]) -> usize {
        let signs = tokens.iter().map(|token| self.text[token.range.clone()].chars().count());
        let blanks = tokens.windows(2).map(|pair| between(pair[0].kind, pair[1].kind));
        signs.sum::<usize>() + blanks.sum::<usize>()
    }

    /// Sets the gaps between tokens that follow one another.
    pub(super) fn set(&mut self, tokens: &[Token]) {
        for pair in tokens.windows(2) {
            let same_line = between(pair[0].kind, pair[1].kind);
            let gap = pair[0].range.end..pair[1].range.start;
            self.gap(gap, &Gap::within(same_line, 0, Breaks::Never));
        }
    }

    /// A line or a head: one blank between words.
    pub(super) fn words(&mut self, range: Range<usize>, is_head: bool) {
        let tokens = self.tokens(range, is_head);
        self.set(&tokens);
    }

    /// A line of the form or of the dynamics: where, and in a column what happens.
    pub(super) fn moment(&mut self, range: Range<usize>) {
        let tokens = self.tokens(range, false);
        let mut places = 1;
        while let [before, token, ..] = &tokens[places - 1..] {
            let word = &self.text[token.range.clone()];
            let goes_on = token.kind == Kind::To || before.kind == Kind::To || word == "beat";
            if !goes_on && self.text[before.range.clone()] != *"beat" {
                break;
            }
            places += 1;
        }
        let width = self.width(&tokens[..places]);
        self.set(&tokens[..places]);
        if let Some(token) = tokens.get(places) {
            let gap = tokens[places - 1].range.end..token.range.start;
            self.blanks(gap, column(width, MOMENT, 2));
        }
        self.set(&tokens[places..]);
    }
}

/// Blanks from the end of something to the next column, and at least so many.
pub(super) fn column(width: usize, column: usize, least: usize) -> usize {
    column.saturating_sub(width).max(least)
}

/// Blanks between two tokens.
fn between(before: Kind, behind: Kind) -> usize {
    let close = matches!(behind, Kind::Comma | Kind::To | Kind::Percent) || before == Kind::To;
    usize::from(!close)
}

//! Lines of a scoring, and the notes written in them.

use std::ops::Range;

use super::INDENT;
use super::edits::Edits;
use super::gaps::{Breaks, Gap};
use super::lines::{Kind, Token, column};

/// Signs from the beginning of the players to the verb: room for the names of nearly all
/// instruments.
const PLAYERS: usize = 14;
/// Signs from the verb to `as`.
const DEED: usize = 30;
/// How far in the bars of written notes stand.
const WRITTEN: usize = 2 * INDENT;

impl Edits<'_> {
    /// A line that makes players do something; with columns where it has its line to itself.
    pub(super) fn scoring_line(&mut self, range: Range<usize>, columns: bool) {
        let tokens = self.head_of_line(range.clone());
        let follows = |pair: &[Token]| pair[0].kind == Kind::Word && pair[1].kind == Kind::Word;
        let Some(verb) = tokens.windows(2).position(follows).map(|at| at + 1) else {
            return self.set(&tokens);
        };
        let text = self.text;
        let word = |token: &Token| &text[token.range.clone()];
        let writes = matches!(word(&tokens[verb]), "writes" | "write");
        // What these verbs name may be called `as`.
        let names = matches!(
            word(&tokens[verb]).trim_end_matches('s'),
            "play" | "double" | "realise" | "signal" | "take"
        );
        let from = verb + 1 + usize::from(names);
        let role = tokens.iter().skip(from).position(|token| word(token) == "as");
        let role = role.map_or(tokens.len(), |at| from + at);
        if columns {
            let players = column(self.width(&tokens[..verb]), PLAYERS, 1);
            self.set(&tokens[..verb]);
            self.blanks(tokens[verb - 1].range.end..tokens[verb].range.start, players);
        } else {
            self.set(&tokens[..=verb]);
        }
        if columns && !writes && role < tokens.len() {
            let deed = column(self.width(&tokens[verb..role]), DEED, 2);
            self.set(&tokens[verb..role]);
            self.blanks(tokens[role - 1].range.end..tokens[role].range.start, deed);
            self.set(&tokens[role..]);
        } else {
            self.set(&tokens[verb..]);
        }
        if let Some(open) = tokens.last().filter(|token| token.kind == Kind::Open) {
            self.written(open.range.end..range.end);
        }
    }

    /// The tokens of a line up to its brace.
    fn head_of_line(&self, range: Range<usize>) -> Vec<Token> {
        let mut tokens: Vec<Token> = Vec::with_capacity(12);
        let mut at = range.start;
        while at < range.end && tokens.last().is_none_or(|token| token.kind != Kind::Open) {
            let token = self.token(at, range.end, true);
            at = self.token_from(token.range.end, range.end);
            tokens.push(token);
        }
        tokens
    }

    /// Written notes, from behind their brace to the one that closes them.
    fn written(&mut self, range: Range<usize>) {
        let tall = self.text[range.clone()].contains(['\n', '\r']);
        let breaks = if tall { Breaks::Always } else { Breaks::Kept };
        let mut end = range.start;
        loop {
            let start = self.token_from(end, range.end);
            let is_first = end == range.start;
            let gap = Gap { empty_line_first: !is_first, ..Gap::within(1, 0, breaks) };
            if start >= range.end || self.text.as_bytes()[start] == b'}' {
                let gap = Gap { indent: INDENT, notes: WRITTEN, empty_line_last: false, ..gap };
                return self.gap(end..start, &gap);
            }
            let indent = self.indent_of_bar(start, WRITTEN);
            let breaks = if is_first { breaks } else { Breaks::Kept };
            self.gap(end..start, &Gap { breaks, indent, notes: WRITTEN, ..gap });
            end = self.bar(start..range.end, WRITTEN);
        }
    }
}

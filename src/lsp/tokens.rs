//! What each word is, for colours that a pattern alone could not give: a name by what it stands
//! for, a word of the language only where it is one.

use std::ops::Range;

use super::names::{Kind, names};
use crate::diagnostics::FileId;
use crate::resolve::{Dynamic, Role};
use crate::session::Session;
use crate::syntax::Within;

/// What a word is; in the order of [`Token::WORDS`].
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Token {
    /// A comment.
    Comment,
    /// A text in quotes.
    Text,
    /// A word of the language.
    Keyword,
    /// A number, a note value, the number of a bar.
    Number,
    /// A voice.
    Voice,
    /// An ensemble or a scoring.
    Set,
    /// Players or a group.
    Players,
    /// A role, a dynamic, a mark, a direction.
    Term,
    /// A chord symbol.
    Chord,
    /// A rule.
    Rule,
}

impl Token {
    /// The protocol's words for them, in order.
    pub const WORDS: [&str; 10] = [
        "comment",
        "string",
        "keyword",
        "number",
        "variable",
        "class",
        "parameter",
        "enumMember",
        "type",
        "decorator",
    ];
}

/// A token, and whether its name is declared there.
pub type Marked = (Range<usize>, Token, bool);

const KEYWORDS: [&str; 130] = [
    "8va",
    "8vb",
    "15ma",
    "15mb",
    "allow",
    "alto",
    "as",
    "at",
    "bar",
    "bars",
    "basso",
    "beat",
    "budget",
    "cadences",
    "chord",
    "clef",
    "compass",
    "crook",
    "custom",
    "double-bar",
    "doubles",
    "dynamics",
    "each",
    "end",
    "ending",
    "ensemble",
    "entries",
    "era",
    "extends",
    "for",
    "form",
    "from",
    "group",
    "harmony",
    "highlights",
    "in",
    "instrument",
    "joins",
    "keep",
    "key",
    "length",
    "like",
    "limits",
    "major",
    "mark",
    "metre",
    "lyrics",
    "verse",
    "chords",
    "al",
    "capo",
    "coda",
    "common",
    "cut",
    "da",
    "dal",
    "fine",
    "segno",
    "times",
    "minor",
    "off",
    "on",
    "peaks",
    "phrases",
    "pick-up",
    "piece",
    "player",
    "players",
    "divisi",
    "plays",
    "repeat",
    "rests",
    "scoring",
    "short",
    "signals",
    "signature",
    "solo",
    "sounds",
    "strings",
    "sustains",
    "takes",
    "tempo",
    "the",
    "to",
    "tuned",
    "use",
    "voice",
    "without",
    "writes",
    "realises",
    "realise",
    "broken",
    "tremolo",
    "play",
    "double",
    "sustain",
    "signal",
    "highlight",
    "write",
    "rest",
    "take",
    "with",
    "up-beat",
    "written",
    "pizz",
    "arco",
    "muted",
    "movement",
    "attacca",
    "through",
    "afresh",
    "marks",
    "before",
    "break",
    "down",
    "empty",
    "hide",
    "landscape",
    "layout",
    "left",
    "mm",
    "nudge",
    "of",
    "paper",
    "parts",
    "right",
    "score",
    "staff",
    "turn",
    "up",
];
const LINES_OF_A_PIECE: [&str; 5] = ["subtitle", "composer", "arranger", "licence", "revision"];

/// The tokens of a file in order, none over another, none longer than a line.
#[must_use]
pub fn tokens(session: &Session, file: FileId) -> Vec<Marked> {
    let document = session.document(file);
    let mut marked: Vec<Marked> = names(session, file)
        .into_iter()
        .filter_map(|name| {
            let token = match name.kind {
                Kind::Voice => Token::Voice,
                Kind::Ensemble | Kind::Scoring => Token::Set,
                Kind::Players | Kind::Group | Kind::Part | Kind::Instrument => Token::Players,
                Kind::Rule => Token::Rule,
                Kind::File => return None,
            };
            Some((name.place.range, token, name.declares))
        })
        .collect();
    marked.sort_by_key(|(range, ..)| range.start);
    let mut scanner =
        Scanner { text: document.text(), named: &marked, next: 0, tokens: Vec::new() };
    let mut end = 0;
    for (start, item) in document.items() {
        scanner.scan(end..start, Within::File, true);
        end = start + item.length();
        scanner.scan(start..end, item.within, false);
    }
    scanner.tokens
}

struct Scanner<'t> {
    text: &'t str,
    named: &'t [Marked],
    /// The first name that is not behind.
    next: usize,
    tokens: Vec<Marked>,
}

impl Scanner<'_> {
    fn scan(&mut self, range: Range<usize>, within: Within, gap: bool) {
        let mut at = range.start;
        let mut brackets = 0_u32;
        while at < range.end {
            while self.named.get(self.next).is_some_and(|(name, ..)| name.start < at) {
                self.next += 1;
            }
            if let Some(name) = self.named.get(self.next).filter(|(name, ..)| name.start == at)
                && name.0.end > at
                && name.0.end <= range.end
            {
                self.tokens.push(name.clone());
                at = name.0.end;
                continue;
            }
            let rest = &self.text[at..range.end];
            let Some(first) = rest.chars().next() else { break };
            let until = |stop: &dyn Fn(char) -> bool| rest.find(stop).unwrap_or(rest.len());
            let (length, token) = if rest.starts_with("//") {
                (until(&|c| c == '\n' || c == '\r'), Some(Token::Comment))
            } else if gap {
                (first.len_utf8(), None)
            } else if first == '"' {
                let close = rest[1..].find(['"', '\n', '\r']).map_or(rest.len(), |end| end + 1);
                (close + usize::from(rest[close..].starts_with('"')), Some(Token::Text))
            } else if first.is_ascii_digit() {
                let length =
                    until(&|c| !(c.is_ascii_alphanumeric() || matches!(c, '/' | '.' | ':')));
                let word = &rest[..length];
                (
                    length,
                    Some(if KEYWORDS.contains(&word) { Token::Keyword } else { Token::Number }),
                )
            } else if first.is_alphabetic() {
                let length = until(&|c| {
                    let chord = within == Within::Harmony && matches!(c, '/' | '(' | ')');
                    !(c.is_alphanumeric() || matches!(c, '-' | '\'' | '#' | '♯' | '♭') || chord)
                });
                (length, word(&rest[..length], within, brackets > 0))
            } else {
                match first {
                    '[' => brackets += 1,
                    ']' => brackets = brackets.saturating_sub(1),
                    _ => {}
                }
                (first.len_utf8(), None)
            };
            if let Some(token) = token {
                self.tokens.push((at..at + length, token, false));
            }
            at += length;
        }
    }
}

/// What a word is that is no name.
fn word(word: &str, within: Within, in_brackets: bool) -> Option<Token> {
    let small = word.starts_with(char::is_lowercase);
    match within {
        _ if in_brackets => Some(Token::Term),
        Within::Harmony if word == "rest" => Some(Token::Keyword),
        Within::Harmony => Some(Token::Chord),
        Within::Dynamics if word != "beat" => Some(Token::Term),
        _ if matches!(word, "rest" | "grace" | "crushed" | "x") => Some(Token::Keyword),
        Within::Voice => None,
        Within::Lyrics => Some(Token::Text),
        // `harmony` and `dynamics` begin declarations here.
        Within::File if KEYWORDS.contains(&word) => Some(Token::Keyword),
        _ if Role::WORDS.iter().any(|(_, role)| *role == word) => Some(Token::Term),
        _ if Dynamic::WORDS.iter().any(|(_, letters)| *letters == word) => Some(Token::Term),
        Within::Piece if LINES_OF_A_PIECE.contains(&word) => Some(Token::Keyword),
        _ if small && (KEYWORDS.contains(&word) || word == "unmuted") => Some(Token::Keyword),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::text;

    #[test]
    fn a_name_is_told_by_what_it_stands_for() {
        let (session, at) = text(
            "// 🎻\nvoice bass {\n  1: 1/4 D5[stacc] rest |\n}\nharmony {\n  1: Dm/F |\n}\nscoring small for duo {\n  oboe.1  plays bass  as bass \"so\"\n  allow compass on oboe \"x\"\n}\n",
        );
        let source = session.document(at.file).text();
        let found: Vec<(&str, Token)> = tokens(&session, at.file)
            .into_iter()
            .map(|(range, token, _)| (&source[range], token))
            .collect();
        use Token::*;
        assert_eq!(
            found,
            [
                ("// 🎻", Comment),
                ("voice", Keyword),
                ("bass", Voice),
                ("1:", Number),
                ("1/4", Number),
                ("stacc", Term),
                ("rest", Keyword),
                ("harmony", Keyword),
                ("1:", Number),
                ("Dm/F", Chord),
                ("scoring", Keyword),
                ("small", Set),
                ("for", Keyword),
                ("duo", Set),
                ("oboe", Players),
                ("1", Number),
                ("plays", Keyword),
                ("bass", Voice),
                ("as", Keyword),
                ("bass", Term),
                ("\"so\"", Text),
                ("allow", Keyword),
                ("compass", Rule),
                ("on", Keyword),
                ("oboe", Players),
                ("\"x\"", Text),
            ]
        );
    }

    #[test]
    fn tokens_of_any_text_are_in_order_and_on_one_line() {
        for source in [
            "",
            "\"",
            "voice a { \"x\n\"y",
            "🎻♭ // \r\n//",
            "scoring a for b {\n a.1 plays\n",
            "[[[ }",
        ] {
            let (session, at) = text(source);
            let found = tokens(&session, at.file);
            assert!(found.windows(2).all(|w| w[0].0.end <= w[1].0.start));
            assert!(found.iter().all(|(range, ..)| !source[range.clone()].contains('\n')));
        }
    }
}

//! Where in the source a cursor stands while a line is being typed: in which block, behind which
//! words. Works on lines that cannot be read yet.

use super::workspace::At;
use crate::session::Session;
use crate::syntax::{Node, Within};

/// Where a cursor stands.
#[derive(Clone, PartialEq, Debug)]
pub struct Cursor {
    /// In which kind of block; bars behind `writes` count as a voice.
    pub within: Within,
    /// The name of the declaration around it, where it has one.
    pub name: Option<String>,
    /// The ensemble of a scoring, or the one that an ensemble extends.
    pub ensemble: Option<String>,
    /// The words of the line before the one that is being typed; commas, braces and brackets are
    /// words of their own.
    pub before: Vec<String>,
    /// The beginning of the word that is being typed, up to the cursor.
    pub typed: String,
    /// Are these words behind an open bracket, and does it hang on a note?
    pub bracket: Option<Bracket>,
    /// Is it within a text in quotes or a comment?
    pub inert: bool,
}

/// What an open bracket holds.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Bracket {
    /// Marks of the note before it.
    Marks,
    /// Directions.
    Directions,
}

fn is_word(c: char) -> bool {
    c.is_alphanumeric() || matches!(c, '-' | '.' | '\'' | '/' | '#' | '♯' | '♭')
}

/// Where a cursor stands.
#[must_use]
pub fn cursor(session: &Session, at: At) -> Cursor {
    let document = session.document(at.file);
    let text = document.text();
    let mut offset = at.offset.min(text.len());
    while !text.is_char_boundary(offset) {
        offset -= 1;
    }
    let mut within = Within::File;
    let (mut name, mut ensemble) = (None, None);
    for (start, item) in document.items() {
        // Behind a head its block begins, at the end of an item on its own line still is it.
        if start > offset || start == offset && matches!(item.node, Node::Unclosed | Node::End) {
            break;
        }
        if item.within == Within::File {
            (name, ensemble) = (None, None);
        }
        let word = |word: &crate::syntax::Word| Some(word.value.clone());
        match &item.node {
            Node::Voice(voice) | Node::Lyrics(voice, _) => name = word(voice),
            Node::Instrument(own, _) => name = word(own),
            Node::Ensemble(own, extends) => {
                (name, ensemble) = (word(own), extends.as_deref().and_then(word));
            }
            Node::Scoring(own, of) => (name, ensemble) = (word(own), word(of)),
            Node::Layout(_, scoring) => name = scoring.as_deref().and_then(word),
            _ => {}
        }
        let behind = offset >= start + item.length();
        within = match item.node.opens() {
            Some(inner) if behind => inner,
            None if behind && matches!(item.node, Node::Close | Node::Unclosed) => Within::File,
            _ => item.within,
        };
    }
    let line_start = text[..offset].rfind(['\n', '\r']).map_or(0, |end| end + 1);
    let line = &text[line_start..offset];
    let inert = line.contains("//") || line.matches('"').count() % 2 == 1;
    let typed_length: usize =
        line.chars().rev().take_while(|c| is_word(*c)).map(char::len_utf8).sum();
    let (said, typed) = line.split_at(line.len() - typed_length);
    let bracket =
        said.rfind('[').filter(|open| !said[*open..].contains(']')).map(|open| {
            match said[..open].chars().next_back() {
                Some(c) if !c.is_whitespace() && c != '|' => Bracket::Marks,
                _ => Bracket::Directions,
            }
        });
    let numbered = {
        let head = line.trim_start();
        let digits = head.chars().take_while(char::is_ascii_digit).count();
        digits > 0 && head[digits..].starts_with(':')
    };
    let within = if within == Within::Scoring && numbered { Within::Voice } else { within };
    Cursor { within, name, ensemble, before: words(said), typed: typed.to_string(), bracket, inert }
}

/// The words of a piece of a line; texts in quotes are one word each.
fn words(text: &str) -> Vec<String> {
    let mut words = Vec::new();
    let mut rest = text.trim_start();
    while let Some(first) = rest.chars().next() {
        let length = if first == '"' {
            rest[1..].find('"').map_or(rest.len(), |end| end + 2)
        } else if is_word(first) {
            rest.find(|c| !is_word(c)).unwrap_or(rest.len())
        } else {
            first.len_utf8()
        };
        words.push(rest[..length].to_string());
        rest = rest[length..].trim_start();
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::text;

    fn of(source: &str) -> Cursor {
        let (session, at) = text(source);
        cursor(&session, at)
    }

    #[test]
    fn a_line_that_cannot_be_read_yet_has_a_block_and_words() {
        let found = of("scoring small for duo {\n  oboe.1, horn plays up‸\n}\n");
        assert_eq!((found.within, found.name.as_deref()), (Within::Scoring, Some("small")));
        assert_eq!(found.ensemble.as_deref(), Some("duo"));
        assert_eq!(found.before, ["oboe.1", ",", "horn", "plays"]);
        assert_eq!(found.typed, "up");
        assert_eq!(of("ensemble duo extends few {\n  ‸\n}\n").within, Within::Ensemble);
        assert_eq!(of("ensemble duo {\n  era 1770\n}\n‸").within, Within::File);
        assert_eq!(of("voice a {\n  1: 1/4 ‸").within, Within::Voice);
        assert_eq!(of("form {\n  1 me‸\n}\n").within, Within::Form);
    }

    #[test]
    fn a_bracket_hangs_on_a_note_or_stands_alone() {
        assert_eq!(of("voice a {\n  1: 1/4 D5[sta‸\n").bracket, Some(Bracket::Marks));
        assert_eq!(of("voice a {\n  1: 1/4 D5 [‸\n").bracket, Some(Bracket::Directions));
        assert_eq!(of("voice a {\n  1: 1/4 D5[p] ‸\n").bracket, None);
    }

    #[test]
    fn written_notes_are_notes() {
        assert_eq!(
            of("scoring s for d {\n  oboe writes as bass {\n    1: ‸ |\n  }\n}\n").within,
            Within::Voice
        );
    }

    #[test]
    fn texts_and_comments_are_left_alone() {
        assert!(of("piece \"Up‸").inert);
        assert!(of("form { } // up‸").inert);
        assert!(!of("piece \"Up\" ‸").inert);
    }
}

//! Says what is wrong with a piece of text that the grammar set aside as broken.
//!
//! The strict rule is tried again on that piece alone; pest then tells how far it came and what
//! it would have taken there, and this module turns that into words.

use pest::Parser;
use pest::error::{Error, ErrorVariant, InputLocation};
use pest::iterators::Pair;

use super::context::{Grammar, ItemReader, Rule, read_number};
use super::expected::Expected;
use super::habits::{habit, instrument};
pub(super) use super::habits::{late, unbarred};
use super::tree::{Number, Spanned};
use crate::diagnostics::{Diagnostic, did_you_mean, nearest};

/// The keywords of declarations.
pub(super) const DECLARATIONS: [&str; 11] = [
    "piece",
    "form",
    "harmony",
    "dynamics",
    "voice",
    "lyrics",
    "instrument",
    "ensemble",
    "scoring",
    "layout",
    "use",
];

/// A declaration that could not be read; gives back its keyword, where one can be made out.
pub(super) fn declaration(cx: &mut ItemReader, pair: &Pair<Rule>) -> Option<&'static str> {
    let text = pair.as_str();
    let start = pair.as_span().start();
    let word: String = text.chars().take_while(|c| c.is_alphanumeric() || *c == '-').collect();
    let rule = if word == "use" { Some(Rule::use_line) } else { head_of(&word) };
    if let Some(rule) = rule
        && let Err(error) = Grammar::parse(rule, text)
    {
        let diagnostic = without_brace(cx, start, text, &word)
            .unwrap_or_else(|| stopped(cx, start, text, &error, &format!("this `{word}`")));
        cx.diagnostics.push(diagnostic);
        return DECLARATIONS.into_iter().find(|keyword| *keyword == word);
    }
    let end = start + text.find(['\n', '\r']).unwrap_or(text.len());
    let length =
        if word.is_empty() { text.chars().next().map_or(0, char::len_utf8) } else { word.len() };
    let span = cx.at(start, (start + length).min(end).max(start));
    let found = if word.is_empty() { &text[..length] } else { word.as_str() };
    let mut diagnostic = Diagnostic::error(
        "syntax/unknown-declaration",
        span,
        format!("`{found}` does not begin a declaration."),
    )
    .with_help(match found {
        "}" => "Unmatched `}`; remove it.".to_string(),
        _ => did_you_mean(found, &DECLARATIONS, "declaration"),
    });
    let meant = nearest(found, DECLARATIONS);
    if let Some(meant) = meant {
        diagnostic = diagnostic.with_fix(format!("write `{meant}`"), span, meant, false);
    }
    cx.diagnostics.push(diagnostic);
    meant
}

/// A declaration whose head lacks its brace and nothing else.
fn without_brace(cx: &ItemReader, start: usize, text: &str, word: &str) -> Option<Diagnostic> {
    let head = text.lines().next()?.split("//").next()?.trim_end();
    let braced = head.contains('{') || text[head.len()..].trim_start().starts_with('{');
    if braced || Grammar::parse(head_of(word)?, &format!("{head} {{\n}}")).is_err() {
        return None;
    }
    let span = cx.at(start, start + head.len());
    Some(
        Diagnostic::error("syntax/unexpected", span, "Missing `{` after this.")
            .with_help(format!("Write `{head} {{`."))
            .with_fix("open the block", span.after(), " {", false),
    )
}

fn head_of(word: &str) -> Option<Rule> {
    Some(match word {
        "piece" => Rule::piece,
        "form" => Rule::form,
        "harmony" => Rule::harmony,
        "dynamics" => Rule::dynamics,
        "voice" => Rule::voice,
        "lyrics" => Rule::lyrics,
        "instrument" => Rule::instrument,
        "ensemble" => Rule::ensemble,
        "scoring" => Rule::scoring,
        "layout" => Rule::layout,
        _ => return None,
    })
}

/// A line that could not be read, and the rule that it should have followed.
pub(super) fn line(cx: &mut ItemReader, pair: &Pair<Rule>, rule: Rule, what: &str) {
    let text = pair.as_str();
    let start = pair.as_span().start();
    let rule = match text.split(|c: char| !c.is_alphanumeric() && c != '-').next() {
        Some("era") => Rule::era,
        Some("group") => Rule::group,
        Some("without") => Rule::without,
        Some("budget") => Rule::budget,
        Some("limits") => Rule::limits,
        Some("keep") => Rule::keep,
        Some("allow") => Rule::allow,
        Some("movement") if rule == Rule::piece_line => Rule::movement_line,
        Some("bars" | "marks") if rule == Rule::piece_line => Rule::numbering_line,
        _ => rule,
    };
    let diagnostic = match Grammar::parse(rule, text) {
        Err(error) => {
            let mut stopped = stopped(cx, start, text, &error, what);
            // `era 1770, oboe 2`: players are counted on one line, other statements are not.
            let at_comma = stopped.message.starts_with("Unexpected `,`");
            if at_comma && stopped.help.is_none() && rule != Rule::players_line {
                stopped = stopped.with_help(
                    "Write one statement a line: what follows the comma goes on the next line.",
                );
            }
            match instrument(text).filter(|_| rule == Rule::players_line) {
                Some((from, to, meant)) => {
                    let span = cx.at(start + from, start + to);
                    Diagnostic::error(
                        "names/unknown",
                        span,
                        format!("Unknown instrument `{}`.", &text[from..to]),
                    )
                    .with_help(format!("Ripieno calls it `{meant}`."))
                    .with_fix(format!("write `{meant}`"), span, meant, false)
                }
                None => stopped,
            }
        }
        // The line alone reads well: something before it on the same line does not.
        Ok(_) => Diagnostic::error(
            "syntax/unexpected",
            cx.span(pair),
            format!("{} is not allowed here.", capitalised(what)),
        )
        .with_help("Write one statement a line."),
    };
    cx.diagnostics.push(diagnostic);
}

/// A bar that could not be read; gives back its number, if it has one.
pub(super) fn bar(cx: &mut ItemReader, pair: &Pair<Rule>, rule: Rule) -> Option<Number> {
    let text = pair.as_str();
    let start = pair.as_span().start();
    let digits = text.bytes().take_while(u8::is_ascii_digit).count();
    let number = (digits > 0 && text[digits..].starts_with(':')).then(|| Spanned {
        value: read_number(&text[..digits]),
        span: cx.at(start, start + digits + 1),
    });
    let what = number.as_ref().map_or("this bar".to_string(), |n| format!("bar {}", n.value));
    let diagnostic = match Grammar::parse(rule, text) {
        Err(error) => stopped(cx, start, text, &error, &what),
        Ok(_) => {
            Diagnostic::error("syntax/unexpected", cx.span(pair), "A bar is not allowed here.")
        }
    };
    let bars = number.as_ref().map(|n| n.value as i32);
    cx.diagnostics.push(match bars {
        Some(bar) => diagnostic.with_bars(bar, bar),
        None => diagnostic,
    });
    number
}

/// The finding for the place where pest stopped in `text`, which begins at byte `start` of a file.
pub(super) fn stopped(
    cx: &ItemReader,
    start: usize,
    text: &str,
    error: &Error<Rule>,
    what: &str,
) -> Diagnostic {
    // What breaks off does so behind its last sign, whatever blanks follow.
    let end = text.trim_end_matches(|c: char| c.is_whitespace() || c == '\u{FEFF}').len();
    let at = match error.location {
        InputLocation::Pos(at) | InputLocation::Span((at, _)) => at.min(end),
    };
    let found = if at == end { "" } else { token(&text[at..]) };
    let span = cx.at(start + at, start + at + found.len());
    let expected = match &error.variant {
        ErrorVariant::ParsingError { positives, .. } => Expected::of(positives),
        ErrorVariant::CustomError { .. } => Expected::default(),
    };
    let message = match found {
        "" => format!("{} breaks off.", capitalised(what)),
        _ => format!("Unexpected `{found}` in {what}."),
    };
    let mut diagnostic =
        Diagnostic::error("syntax/unexpected", span, message).with_text(expected.sentence());
    let slip = nearest(found, expected.keywords.iter().copied());
    if let Some(meant) = slip {
        diagnostic = diagnostic.with_help(format!("Did you mean `{meant}`?")).with_fix(
            format!("write `{meant}`"),
            span,
            meant,
            false,
        );
    } else if let Some(habit) = habit(text, at, found, &expected) {
        diagnostic = diagnostic.with_help(habit.help);
        if let Some((from, to, text)) = habit.fix {
            let span = cx.at(start + from, start + to);
            let title = if text.trim().is_empty() {
                "remove it".into()
            } else {
                format!("write `{}`", text.trim())
            };
            diagnostic = diagnostic.with_fix(title, span, text, false);
        }
    }
    diagnostic
}

/// The word, number or sign at the beginning of a text.
fn token(text: &str) -> &str {
    let word = |c: char| c.is_alphanumeric() || "-#♯♭𝄪𝄫♮".contains(c);
    let end = match text.chars().next() {
        None => 0,
        Some(first) if word(first) => text.find(|c| !word(c)).unwrap_or(text.len()),
        Some(first) => first.len_utf8(),
    };
    // A word of a thousand letters is not worth repeating.
    let end =
        text.char_indices().take(40).map(|(i, c)| i + c.len_utf8()).last().unwrap_or(0).min(end);
    &text[..end]
}

fn capitalised(text: &str) -> String {
    let mut characters = text.chars();
    characters.next().map_or(String::new(), |c| c.to_uppercase().chain(characters).collect())
}

//! Words for the habits that people bring along from elsewhere.

use super::context::{Context, Rule};
use super::explain::Expected;
use crate::diagnostics::{Diagnostic, Span};
use pest::iterators::Pair;

/// Dynamics as people write them.
const DYNAMICS: [&str; 8] = ["ppp", "pp", "p", "mp", "mf", "f", "ff", "fff"];

/// A word for the habits that people bring along from elsewhere.
pub(super) fn habit(found: &str, expected: &Expected) -> Option<String> {
    let notes =
        expected.things.contains(&"a note") || expected.things.contains(&"a pitch such as `F#4`");
    let first = found.chars().next()?;
    if notes && matches!(first, 'H' | 'h') {
        return Some("The note H of German usage is written `B`, and B is written `Bb`.".into());
    }
    if notes && matches!(first, 'a'..='g') {
        return Some(format!(
            "Letters of notes are capitals: `{}`.",
            found.replacen(first, &first.to_uppercase().to_string(), 1)
        ));
    }
    let syllable =
        found.get(1..).unwrap_or_default().trim_end_matches(|c: char| c.is_ascii_digit());
    if notes && matches!(first, 'A'..='G') && matches!(syllable, "is" | "es" | "s") {
        let accidental = if syllable == "is" { '#' } else { 'b' };
        return Some(format!("Sharps are written `#` and flats `b`: `{first}{accidental}`."));
    }
    if notes && found == "r" {
        return Some("A rest is written `_`, and a whole bar of it `rest`.".into());
    }
    if notes && first == '(' {
        return Some("A slur stands in braces: `{D5 E}`.".into());
    }
    if notes && first == '~' {
        return Some("A note is held on with `=` and a value: `1/2 D5 1/4 =`.".into());
    }
    if expected.keywords.iter().any(|keyword| keyword == "rests")
        && found.eq_ignore_ascii_case("tacet")
    {
        return Some("A player who does not play `rests`.".into());
    }
    if notes && found.ends_with(|c: char| c.is_ascii_digit()) && first.is_ascii_digit() {
        return Some("A value is a fraction of a whole note: a quarter is `1/4`.".into());
    }
    if !notes && DYNAMICS.contains(&found) {
        return Some(format!("A line's own dynamic is written `at {found}`."));
    }
    if let Some((from, to)) = found.split_once('-')
        && [from, to].iter().all(|end| !end.is_empty() && end.bytes().all(|b| b.is_ascii_digit()))
    {
        return Some(format!("Bars from one to another are written `{from}..{to}`."));
    }
    if expected.things.contains(&"a bar line `|`") && found.is_empty() {
        return Some("Write `|` at the end of every bar.".into());
    }
    None
}

/// Written notes on one line without a bar line: shows the line as it should be.
pub(super) fn unbarred(cx: &mut Context, pair: &Pair<Rule>) {
    let span = cx.span(pair);
    let text = pair.as_str();
    let mut diagnostic = Diagnostic::error(
        "syntax/no-bar-line",
        span,
        "Written notes stand in numbered bars, and each bar ends with `|`.",
    );
    let example = "For example `horn.1 writes as highlight { 24: 1/4 A4 _ D5 | }`.";
    let mended = mended(text);
    diagnostic = match &mended {
        Some(line) => diagnostic.with_help(format!("Write `{line}`.")).with_fix(
            "write it so",
            span,
            line.clone(),
            false,
        ),
        None => diagnostic.with_help(example),
    };
    cx.diagnostics.push(diagnostic);
}

/// `horn.1 writes bars 24 { A4 } as highlight` as `horn.1 writes as highlight { 24: A4 | }`.
fn mended(line: &str) -> Option<String> {
    let (head, rest) = line.split_once('{')?;
    let (notes, tail) = rest.rsplit_once('}')?;
    let (who, said) = head.split_once("writes")?;
    let said = format!("{} {}", said.trim(), tail.trim());
    let mut words: Vec<&str> =
        said.split([' ', '\t', ',']).filter(|word| !word.is_empty()).collect();
    let mut notes = notes.trim().to_string();
    if let Some(place) = words.iter().position(|word| matches!(*word, "bars" | "bar")) {
        let bar: u32 = words.get(place + 1)?.parse().ok()?;
        words.drain(place..place + 2);
        notes = format!("{bar}: {notes}");
    }
    let number = notes.split_once(':').map(|(number, _)| number);
    let numbered = number.is_some_and(|n| !n.is_empty() && n.bytes().all(|b| b.is_ascii_digit()));
    numbered.then(|| format!("{}writes {} {{ {notes} | }}", who, words.join(" ")))
}

/// What stands behind the closing brace of written notes and belongs before them.
pub(super) fn late(span: Span, said: &str, before: Span) -> Diagnostic {
    let mut diagnostic = Diagnostic::error(
        "syntax/behind-notes",
        span,
        format!("`{said}` stands behind the notes; it belongs before their brace."),
    )
    .with_help(format!("Write `writes {said} {{` and the notes after it."))
    .with_fix("move it before the brace", span, "", true);
    if let Some(fix) = diagnostic.fixes.last_mut() {
        let text = format!(" {}", said.trim_start_matches([',', ' ']));
        fix.edits.push(crate::diagnostics::Edit { span: before.after(), text });
    }
    diagnostic
}

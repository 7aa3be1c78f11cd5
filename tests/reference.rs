//! Holds the language reference, the grammar and the compiler together.

use ripieno::check;
use ripieno::diagnostics::{Diagnostic, FileId, Sources};
use ripieno::format::format;
use ripieno::resolve::{self, NoFiles};
use ripieno::syntax::Document;

const REFERENCE: &str = include_str!("../grammar/reference.md");
const GRAMMAR: &str = include_str!("../grammar/ripieno.pest");

/// A code block: what its first line says behind the back-quotes, and its text.
fn blocks() -> Vec<(&'static str, String)> {
    let mut blocks = Vec::new();
    let mut open: Option<(&str, String)> = None;
    for line in REFERENCE.lines() {
        match (line.strip_prefix("```"), open.as_mut()) {
            (Some(_), Some(_)) => blocks.extend(open.take()),
            (Some(info), None) => open = Some((info, String::new())),
            (None, Some((_, text))) => {
                text.push_str(line);
                text.push('\n');
            }
            (None, None) => {}
        }
    }
    assert!(open.is_none(), "a code block is not closed");
    blocks
}

fn has(text: &str, keyword: &str) -> bool {
    text.lines().any(|line| line.starts_with(keyword))
}

/// The example with the declarations that it leaves out.
fn completed(text: &str) -> String {
    let mut source = text.to_string();
    if !has(text, "piece") {
        source.push_str("piece \"Example\" { }\n");
    }
    // A piece in movements has the forms of those.
    if !has(text, "form") && !has(text, "  movement") {
        let numbers = text.split_whitespace().filter_map(|w| w.strip_suffix(':')?.parse().ok());
        let last: u32 = numbers.max().unwrap_or(8).max(if has(text, "dynamics") { 8 } else { 1 });
        source.push_str(&format!("form {{\n  1 metre 4/4, key D minor\n  {last} end\n}}\n"));
    }
    source
}

fn findings(text: &str) -> Vec<Diagnostic> {
    let mut sources = Sources::new();
    let file = sources.add("example.ripieno", completed(text));
    let (piece, findings) = resolve::resolve(&mut sources, file, &mut NoFiles);
    let scorings: Vec<_> = piece.scorings.iter().collect();
    let mut findings =
        check::report(&piece, findings, &scorings, &check::Options::default(), &sources);
    // A voice that stands alone on the page is used by no scoring: that is no fault of the example.
    findings.retain(|finding| has(text, "scoring") || finding.code != "names/unused-voice");
    findings
}

#[test]
fn every_example_of_the_reference_is_in_the_canonical_form() {
    for (_, text) in blocks().into_iter().filter(|(info, _)| *info == "ripieno") {
        let document = Document::new(FileId(0), text.as_str());
        assert_eq!(format(&document), text);
    }
}

#[test]
fn every_example_of_the_reference_compiles_without_a_finding() {
    let examples: Vec<_> = blocks().into_iter().filter(|(info, _)| *info == "ripieno").collect();
    assert!(examples.len() >= 12, "the reference has lost its examples");
    for (_, text) in examples {
        let found = findings(&text);
        assert!(found.is_empty(), "{text}\n{found:#?}");
    }
}

#[test]
fn every_error_example_gives_exactly_the_findings_that_it_names() {
    let errors: Vec<_> =
        blocks().into_iter().filter(|(info, _)| info.starts_with("ripieno error=")).collect();
    assert!(errors.len() >= 15, "the reference has lost its error examples");
    for (info, text) in errors {
        let expected: Vec<&str> = info["ripieno error=".len()..].split(',').collect();
        let found: Vec<&str> = findings(&text).iter().map(|finding| finding.code).collect();
        assert_eq!(found, expected, "{text}");
    }
}

#[test]
fn every_keyword_of_the_grammar_is_explained_in_the_reference() {
    let keywords = GRAMMAR
        .lines()
        .filter(|line| line.starts_with("kw_"))
        .filter_map(|line| line.split('"').nth(1));
    let mut count = 0;
    for keyword in keywords {
        count += 1;
        let bound = |c: Option<char>| c.is_none_or(|c| !c.is_alphanumeric() && c != '-');
        let explained = REFERENCE.match_indices(keyword).any(|(at, _)| {
            bound(REFERENCE[..at].chars().next_back())
                && bound(REFERENCE[at + keyword.len()..].chars().next())
        });
        assert!(explained, "`{keyword}` is in the grammar but not in the reference");
    }
    assert!(count > 60, "the keywords of the grammar were not found");
}

#[test]
fn every_mark_and_dynamic_is_explained_in_the_reference() {
    for (_, word) in resolve::Mark::WORDS {
        assert!(REFERENCE.contains(&format!("`{word}`")), "{word}");
    }
    for (_, word) in resolve::Dynamic::WORDS {
        assert!(REFERENCE.contains(word), "{word}");
    }
    for (_, word) in resolve::Role::WORDS {
        assert!(REFERENCE.contains(&format!("`{word}`")), "{word}");
    }
}

//! No text makes the compiler panic, and no finding points outside its source.

use proptest::prelude::*;
use ripieno::arrange::arrange;
use ripieno::check::{self, Options};
use ripieno::diagnostics::{Diagnostic, FileId, Sources, Span, json, rich, short};
use ripieno::render::{Format, outputs};
use ripieno::resolve::{self, LoadError, Loader};
use ripieno::syntax;

const LANTERNS: &str = include_str!("../samples/lanterns-on-the-weir.ripieno");
const MILL_RACE: &str = include_str!("../samples/mill-race.ripieno");
const FORCES: &str = include_str!("../samples/forces.ripieno");
const MISTAKES: &str = include_str!("fixtures/twenty-mistakes.ripieno");
const BELL: &str = include_str!("fixtures/every-token.ripieno");

/// Hands the file of ensembles to whoever uses it.
struct Forces;

impl Loader for Forces {
    fn load(&mut self, path: &str, _: &str) -> Result<(String, String), LoadError> {
        match path {
            "forces.ripieno" => Ok((path.to_string(), FORCES.to_string())),
            _ => Err(LoadError::NotFound),
        }
    }
}

/// Every place that a finding names.
fn spans(finding: &Diagnostic) -> Vec<Span> {
    let labels = finding.labels.iter().map(|label| label.span);
    let edits = finding.fixes.iter().flat_map(|fix| fix.edits.iter().map(|edit| edit.span));
    std::iter::once(finding.primary.span).chain(labels).chain(edits).collect()
}

fn assert_inside(sources: &Sources, findings: &[Diagnostic]) {
    for finding in findings {
        for span in spans(finding) {
            let source = sources.find(span.file).expect("a file that was read");
            let (start, end) = (span.start as usize, span.end as usize);
            assert!(start <= end, "{finding:?}");
            assert!(
                source.text.get(start..end).is_some(),
                "outside or inside a letter: {finding:?}"
            );
        }
    }
}

/// All stages and all writers, as far as the text carries.
fn compile(text: &str) {
    let mut sources = Sources::new();
    let file = sources.add("a.ripieno", text);
    let (piece, mut findings) = resolve::resolve(&mut sources, file, &mut Forces);
    let scorings: Vec<_> = piece.scorings.iter().collect();
    findings.extend(check::check_scorings(&piece, &scorings, &Options::default()));
    assert_inside(&sources, &findings);
    for scoring in scorings {
        let formats: Vec<Format> = Format::ALL.into_iter().map(|(format, ..)| format).collect();
        let written = outputs(&arrange(&piece, scoring), &formats);
        assert!(written.iter().all(|output| !output.bytes.is_empty()));
    }
    let _ =
        rich::render(&findings, &sources, rich::Look { colours: true, unicode: true, width: 60 });
    let _ = short::render(&findings, &sources);
    let _ = json::render(&findings, &sources);
}

/// What may be put into a source: its own tokens, odd numbers, letters of several bytes.
const PIECES: &[&str] = &[
    "{",
    "}",
    "(",
    ")",
    "[",
    "]",
    "|",
    "_",
    "=",
    "x",
    "&",
    ",",
    ":",
    "\"",
    "\n",
    "\r\n",
    "//",
    "1:",
    "0:",
    "99999999999:",
    "1/4",
    "1/0",
    "0/4",
    "1/128",
    "99/1",
    "1/4...",
    "3:2(",
    "16:15(",
    "0:0(",
    "grace(",
    "acciaccatura(1/8 E5)",
    "D5",
    "Cb0",
    "B#9",
    "Fbb4",
    "𝄪",
    "♭",
    "é",
    "D5&F5&A5",
    "rest",
    "rest 4",
    "rest 4000000000",
    "[p]",
    "[cresc]",
    "[to]",
    "[trill]",
    "D5[tremolo 1/64]",
    "[pizz]",
    "[fermata]",
    "form",
    "voice",
    "scoring",
    "ensemble",
    "piece",
    "use \"forces.ripieno\"",
    "keep",
    "plays upper 15ma",
    "8vb",
    "bars 1..99999",
    "bars 9..1",
    "as bass",
    "sustains",
    "signals upper",
    "highlights entries",
    "doubles oboe.1",
    "writes { 1: 1/4 D5 | }",
    "rests",
    "takes crook Bb basso",
    "crook D",
    "tuned D3, A2",
    "24 players",
    "extends",
    "joins basso",
    "metre 255/64",
    "metre 1/1",
    "key Cb major",
    "key G# minor",
    "tempo 1/4 = 0",
    "tempo 1/4 = 1000000",
    "pick-up 1/8",
    "repeat",
    "1..4 repeat",
    "4 ending 1",
    "5 ending 2",
    "length 1/8",
    "end",
    "500 end",
    "double-bar",
    "mark \"\"",
];

#[derive(Clone, Debug)]
enum Change {
    Delete { at: usize, length: usize },
    Insert { at: usize, piece: &'static str },
    Copy { from: usize, length: usize, to: usize },
}

fn change() -> impl Strategy<Value = Change> {
    let at = any::<usize>();
    prop_oneof![
        (at, 1_usize..40).prop_map(|(at, length)| Change::Delete { at, length }),
        (at, proptest::sample::select(PIECES)).prop_map(|(at, piece)| Change::Insert { at, piece }),
        (at, 1_usize..200, at).prop_map(|(from, length, to)| Change::Copy { from, length, to }),
    ]
}

/// The nearest place before an offset where a character begins.
fn boundary(text: &str, at: usize) -> usize {
    (0..=at.min(text.len())).rev().find(|&at| text.is_char_boundary(at)).unwrap_or(0)
}

fn changed(text: &str, changes: &[Change]) -> String {
    let mut text = text.to_string();
    for change in changes {
        let place = |at: usize| boundary(&text, at % (text.len() + 1));
        match *change {
            Change::Delete { at, length } => {
                let (from, to) = (place(at), boundary(&text, place(at) + length));
                text.replace_range(from..to.max(from), "");
            }
            Change::Insert { at, piece } => {
                let at = place(at);
                text.insert_str(at, &format!(" {piece} "));
            }
            Change::Copy { from, length, to } => {
                let (from, to) = (place(from), place(to));
                let piece = text[from..boundary(&text, from + length).max(from)].to_string();
                text.insert_str(to, &piece);
            }
        }
    }
    text
}

fn source() -> impl Strategy<Value = &'static str> {
    // The long samples are slow to build, so the short sources come more often.
    prop_oneof![1 => Just(LANTERNS), 1 => Just(MILL_RACE), 2 => Just(MISTAKES), 6 => Just(BELL)]
}

#[test]
fn the_sources_that_are_changed_compile_as_they_are() {
    for text in [LANTERNS, MILL_RACE, MISTAKES, BELL] {
        compile(text);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..Default::default() })]

    #[test]
    fn no_text_makes_the_parser_panic(text in "\\PC*") {
        let (_, findings) = syntax::parse(FileId(0), &text);
        let mut sources = Sources::new();
        sources.add("a.ripieno", text.as_str());
        assert_inside(&sources, &findings);
    }

    #[test]
    fn no_row_of_tokens_makes_the_compiler_panic(
        tokens in proptest::collection::vec(proptest::sample::select(PIECES), 0..60)
    ) {
        compile(&tokens.join(" "));
    }

    #[test]
    fn no_change_to_a_source_makes_the_compiler_panic(
        text in source(),
        changes in proptest::collection::vec(change(), 1..8)
    ) {
        compile(&changed(text, &changes));
    }
}

//! No text makes the compiler panic, and no finding points outside its source.

mod shared;

use proptest::prelude::*;
use ripieno::diagnostics::{FileId, Sources};
use ripieno::syntax;

use shared::arithmetic;
use shared::choices::Choices;
use shared::compiling::{BELL, MILL_RACE, MISTAKES, WATCHMAN, assert_inside, compile};

/// What may be put into a source: its own tokens, odd numbers, letters of several bytes.
const PIECES: &[&str] = &[
    "{",
    "}",
    "(",
    ")",
    "[",
    "]",
    "|",
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
    "crushed(1/8 E5)",
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
    "tempo 1/4 at 0",
    "tempo 1/4 at 1000000",
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
    prop_oneof![1 => Just(WATCHMAN), 1 => Just(MILL_RACE), 2 => Just(MISTAKES), 6 => Just(BELL)]
}

#[test]
fn the_sources_that_are_changed_compile_as_they_are() {
    for text in [WATCHMAN, MILL_RACE, MISTAKES, BELL] {
        compile(text);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..Default::default() })]

    #[test]
    fn no_text_makes_the_parser_panic(text in "\\PC*") {
        let document = syntax::Document::new(FileId(0), text.as_str());
        let findings: Vec<_> = document.findings().cloned().collect();
        let mut sources = Sources::new();
        let file = sources.add("a.ripieno", text.as_str());
        sources.set_items(file, document.places());
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
    #[test]
    fn the_laws_of_time_pitch_key_metre_and_chord_hold(
        bytes in proptest::collection::vec(any::<u8>(), 0..120)
    ) {
        arithmetic::assert_laws(&mut Choices::new(&bytes));
    }
}

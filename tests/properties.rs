//! No text makes the compiler panic, and no finding points outside its source.

#[path = "shared/changes.rs"]
mod changes;
mod shared;

use proptest::prelude::*;
use ripieno::diagnostics::{FileId, Sources};
use ripieno::syntax;

use changes::{PIECES, change, changed};
use shared::arithmetic;
use shared::choices::Choices;
use shared::compiling::{BELL, MILL_RACE, MISTAKES, WATCHMAN, assert_inside, compile};
use shared::editing::{assert_fixes_make_nothing_worse, assert_session_agrees};

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

#[test]
fn the_fixes_of_common_mistakes_make_nothing_worse() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures/errors");
    let mut tried = assert_fixes_make_nothing_worse(MISTAKES, usize::MAX);
    for file in std::fs::read_dir(folder).unwrap() {
        let text = std::fs::read_to_string(file.unwrap().path()).unwrap();
        tried += assert_fixes_make_nothing_worse(&text, usize::MAX);
    }
    assert!(tried > 2, "only {tried} were tried");
}

/// Findings at one byte once stood in another order after edits than in a fresh run.
#[test]
fn choices_at_which_a_session_once_told_other_findings_than_a_fresh_run() {
    assert_session_agrees(&mut Choices::new(&[0xb2, 0xc6, 0xc4, 0xff, 0x3b]));
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
    fn no_fix_that_may_be_applied_unseen_makes_a_source_worse(
        text in prop_oneof![3 => Just(BELL), 1 => Just(MISTAKES)],
        changes in proptest::collection::vec(change(), 1..4)
    ) {
        assert_fixes_make_nothing_worse(&changed(text, &changes), 12);
    }

    #[test]
    fn the_laws_of_time_pitch_key_metre_and_chord_hold(
        bytes in proptest::collection::vec(any::<u8>(), 0..120)
    ) {
        arithmetic::assert_laws(&mut Choices::new(&bytes));
    }
}

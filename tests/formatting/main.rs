//! The canonical form of sources: what it is, that it settles at once, changes no meaning, loses
//! no comment and leaves alone what cannot be read.

mod cases;
#[path = "../shared/changes.rs"]
mod changes;
mod command;
mod meaning;
#[path = "../shared/mod.rs"]
mod shared;

use std::fs;
use std::path::Path;

use proptest::prelude::*;
use ripieno::check::{RULES, documentation};
use ripieno::diagnostics::FileId;
use ripieno::format::format;
use ripieno::syntax::Document;

use changes::{PIECES, change, changed};
use meaning::meaning;
use shared::choices::Choices;
use shared::compiling::{BELL, MILL_RACE, MISTAKES, WATCHMAN};
use shared::generator::source;

fn formatted(text: &str) -> String {
    format(&Document::new(FileId(0), text))
}

fn is_blank(sign: char) -> bool {
    matches!(sign, ' ' | '\t' | '\u{FEFF}' | '\u{A0}' | '\n' | '\r')
}

/// Comments outside quotes, in order, without the blanks around them.
fn comments(text: &str) -> Vec<&str> {
    let found = text.split(['\n', '\r']).filter_map(|line| {
        let outside = |at: usize| line[..at].matches('"').count() % 2 == 0;
        let mut places = line.match_indices("//").map(|(at, _)| at);
        Some(line[places.find(|&at| outside(at))?..].trim_matches(is_blank))
    });
    found.collect()
}

/// What must hold of any text at all.
fn assert_form(text: &str) -> String {
    let once = formatted(text);
    let signs = |text: &str| text.chars().filter(|&sign| !is_blank(sign)).collect::<String>();
    assert_eq!(signs(&once), signs(text), "signs of\n{text}");
    assert_eq!(formatted(&once), once, "a second time over\n{text}");
    assert!(meaning(&once) == meaning(text), "another meaning:\n{text}\n--- as\n{once}");
    once
}

/// What must hold of a text without a mistake besides.
fn assert_clean(text: &str) -> String {
    let once = assert_form(text);
    assert_eq!(comments(&once), comments(text), "comments of\n{text}");
    assert!(!once.contains(['\r', '\u{FEFF}', '\t']) && !once.contains("\n\n\n"), "{once}");
    assert!(once.ends_with('\n') && !once.ends_with("\n\n"), "{once}");
    assert!(once.lines().all(|line| !line.ends_with(is_blank)), "{once}");
    once
}

fn files(folder: &str) -> Vec<(String, String)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join(folder);
    let mut files: Vec<_> = fs::read_dir(folder)
        .unwrap()
        .map(|file| file.unwrap().path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "ripieno"))
        .map(|path| (path.display().to_string(), fs::read_to_string(path).unwrap()))
        .collect();
    files.sort();
    assert!(!files.is_empty());
    files
}

#[test]
fn samples_and_fixtures_keep_their_signs_and_their_meaning() {
    for folder in ["samples", "tests/fixtures", "tests/fixtures/errors"] {
        for (_, text) in files(folder) {
            assert_form(&text);
            assert_form(&text.replace('\n', "\r\n"));
        }
    }
    for (_, text) in files("samples") {
        assert_clean(&text);
    }
}

#[test]
fn blanks_behind_a_line_that_breaks_off_mean_nothing() {
    for text in [
        "ensemble small {\n  era 1770\n  flute, clarinet 2 in \n}\n",
        "layout {\n  parts staff \n",
        "layout {\n  parts staff \u{FEFF}}\n",
        "form {\n  1 key \t\n",
    ] {
        assert_form(text);
    }
}

#[test]
fn samples_and_the_first_piece_are_in_the_form() {
    for (name, text) in files("samples").into_iter().chain(files("src/cli")) {
        assert_eq!(formatted(&text), text, "{name}");
    }
}

#[test]
fn examples_of_rules_keep_their_signs_and_their_meaning() {
    for rule in RULES {
        let told = documentation(rule);
        assert_clean(&told.example);
        assert_clean(&told.mended);
    }
}

/// A source written by somebody who does not care for blanks: other runs of them, comments, empty
/// lines. Where lines end stays.
fn roughened(text: &str, choices: &mut Choices, comments: bool) -> String {
    let mut out = String::new();
    for line in text.lines() {
        if comments && choices.one_in(8) {
            out += ["// alone\n", "\n\n\n", "   //  \"two\"  \n", "\t\n"][choices.below(4)];
        }
        let mut quoted = false;
        let begins = line.len() - line.trim_start_matches(' ').len();
        out += ["", " ", "\t", "      ", "\u{A0}"][choices.below(5)];
        for sign in line[begins..].chars() {
            quoted ^= sign == '"';
            out.push(sign);
            if sign == ' ' && !quoted {
                out += ["", "", " ", "\t ", "   "][choices.below(5)];
            }
        }
        if comments && choices.one_in(8) {
            out += [" // behind", " //\"quoted", "   // with  room  "][choices.below(3)];
        }
        out += ["", " ", "\t"][choices.below(3)];
        out.push('\n');
    }
    out
}

/// A source, shown as it is where it fails.
struct Made(String);

impl std::fmt::Debug for Made {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "\n{}", self.0)
    }
}

fn made() -> impl Strategy<Value = Made> {
    let bytes = proptest::collection::vec(any::<u8>(), 0..1500);
    bytes.prop_map(|bytes| Made(source(&mut Choices::new(&bytes))))
}

fn bytes() -> impl Strategy<Value = Vec<u8>> {
    proptest::collection::vec(any::<u8>(), 0..3000)
}

fn written() -> impl Strategy<Value = &'static str> {
    prop_oneof![1 => Just(WATCHMAN), 1 => Just(MILL_RACE), 4 => Just(MISTAKES), 12 => Just(BELL)]
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(100) })]

    #[test]
    fn any_music_keeps_its_meaning(made in made()) {
        assert_clean(&made.0);
    }

    #[test]
    fn however_blanks_were_set_the_form_is_one(made in made(), bytes in bytes()) {
        let rough = roughened(&made.0, &mut Choices::new(&bytes), false);
        prop_assert_eq!(assert_clean(&rough), formatted(&made.0));
    }

    #[test]
    fn comments_and_empty_lines_change_nothing(made in made(), bytes in bytes()) {
        let rough = roughened(&made.0, &mut Choices::new(&bytes), true);
        let once = assert_clean(&rough);
        // Without its comments it is what it is without them from the beginning.
        let bare: String = once
            .lines()
            .map(|line| match line.find("//") {
                Some(at) => line[..at].trim_end(),
                None => line,
            })
            .filter(|line| !line.is_empty())
            .map(|line| format!("{line}\n"))
            .collect();
        let plain: String =
            formatted(&made.0).lines().filter(|line| !line.is_empty()).map(|l| format!("{l}\n")).collect();
        prop_assert_eq!(bare, plain);
    }

    #[test]
    fn mistakes_keep_their_signs(
        text in written(),
        changes in proptest::collection::vec(change(), 1..8)
    ) {
        assert_form(&changed(text, &changes));
    }

    #[test]
    fn rows_of_tokens_keep_their_signs(
        tokens in proptest::collection::vec(proptest::sample::select(PIECES), 0..60)
    ) {
        assert_form(&tokens.join(" "));
        assert_form(&tokens.concat());
    }

    #[test]
    fn any_text_keeps_its_signs(text in "\\PC*") {
        assert_form(&text);
    }
}

//! Titles and names that look like others, or turn the direction of writing.
//!
//! Sources: the Unicode consortium's confusables (UTS #39, as the package `unicode-security` carries
//! them) and classes of the bidirectional algorithm (UAX #9, as `unicode-bidi` carries them).

use std::collections::BTreeSet;

use ripieno::arrange::arrange;
use ripieno::diagnostics::Sources;
use ripieno::render::{Format, outputs, slug};
use ripieno::resolve::{self, NoFiles};
use unicode_bidi::{BidiClass, BidiInfo, bidi_class};
use unicode_security::skeleton;

/// Everything that can be written: no surrogates, nothing that ends a text in quotes or a line.
fn characters() -> impl Iterator<Item = char> {
    ('\0'..=char::MAX).filter(|c| !matches!(c, '"' | '\n' | '\r'))
}

fn source(title: &str, name: &str) -> String {
    format!(
        "piece \"{title}\" {{ composer \"{title}\"\n licence \"CC0-1.0\" }}\n\
         form {{ 1 metre 2/4, key D major, tempo 1/4 at 60\n 1 end }}\n\
         voice tune {{ 1: 1/2 D5 | }}\n\
         ensemble solo {{ era 1885\n oboe as \"{name}\" }}\n\
         scoring plain for solo {{ oboe plays tune as melody\n }}\n"
    )
}

/// The title that is understood, the codes that are found, and all that is written.
fn built(text: &str) -> (String, Vec<&'static str>, Vec<Vec<u8>>) {
    let mut sources = Sources::new();
    let file = sources.add("a.ripieno", text);
    let (piece, found) = resolve::resolve(&mut sources, file, &mut NoFiles);
    let formats: Vec<Format> = Format::ALL.into_iter().map(|(format, ..)| format).collect();
    let arrangement = arrange(&piece, &piece.scorings[0]);
    let written = outputs(&arrangement, &formats).map(|output| output.bytes).collect();
    (piece.title.clone(), found.iter().map(|finding| finding.code).collect(), written)
}

fn turns(c: char) -> bool {
    use BidiClass::{FSI, LRE, LRI, LRO, PDF, PDI, RLE, RLI, RLO};
    matches!(bidi_class(c), LRE | RLE | LRO | RLO | PDF | LRI | RLI | FSI | PDI)
}

#[test]
fn whatever_turns_the_direction_of_writing_is_told_and_reaches_no_page() {
    let turning: Vec<char> = characters().filter(|c| turns(*c)).collect();
    assert_eq!(turning.len(), 9, "{turning:?}");
    // The three marks have no class of their own.
    for c in turning.into_iter().chain(['\u{200E}', '\u{200F}', '\u{61C}']) {
        let (title, found, written) = built(&source(&format!("We{c}ir"), &format!("Ob{c}oe")));
        assert_eq!(title, "Weir");
        assert!(found.iter().all(|code| *code == "syntax/hidden-character"), "{c:?}: {found:?}");
        assert!(found.len() >= 2, "{c:?}: {found:?}");
        for bytes in written {
            let sign = c.to_string();
            assert!(!bytes.windows(sign.len()).any(|part| part == sign.as_bytes()), "{c:?}");
        }
    }
}

#[test]
fn a_line_in_a_title_from_right_to_left_ends_with_it() {
    let (_, found, written) = built(&source("נחל", "Oboe"));
    assert!(found.is_empty(), "{found:?}");
    let text = written.iter().filter_map(|bytes| std::str::from_utf8(bytes).ok());
    let page = text.into_iter().find(|text| text.contains("נחל")).expect("a page with the title");
    let info = BidiInfo::new(page, None);
    let turned = info.paragraphs.iter().filter(|paragraph| paragraph.level.is_rtl());
    for paragraph in turned {
        let line = &page[paragraph.range.clone()];
        assert!(!line.contains('|'), "a line of music is turned: {line}");
    }
}

#[test]
fn every_character_that_looks_like_others_can_stand_in_titles_and_names() {
    let alike: Vec<char> = characters()
        .filter(|c| {
            let text = c.to_string();
            !skeleton(&text).eq(text.chars())
        })
        .collect();
    assert!(alike.len() > 5000, "the consortium's list has {} characters", alike.len());
    for some in alike.chunks(120) {
        let title: String = some.iter().collect();
        let (read, found, written) = built(&source(&title, &title));
        // Some of them are hidden as well; all others stay.
        assert!(found.iter().all(|code| *code == "syntax/hidden-character"), "{title}: {found:?}");
        assert!(!found.is_empty() || read == title, "{title} became {read}");
        assert!(written.iter().all(|bytes| !bytes.is_empty()));
        let folder = slug(&title);
        assert!((1..=120).contains(&folder.len()), "{folder}");
        let bad = |c: char| c.is_control() || c.is_whitespace() || r#"/\:*?"<>|."#.contains(c);
        assert!(!folder.contains(bad) && !folder.starts_with('-'), "{title:?} became {folder:?}");
    }
}

#[test]
fn titles_that_look_alike_are_told_apart_and_one_title_in_two_forms_is_one() {
    // Latin, Cyrillic, Greek.
    let three = ["Weir a", "Weir \u{430}", "Weir \u{251}"];
    let folders: BTreeSet<String> = three.iter().map(|title| slug(title)).collect();
    assert_eq!(folders.len(), three.len(), "{folders:?}");
    assert_eq!(slug("Caf\u{E9}"), slug("Cafe\u{301}"));
}

//! What people are told: each source under `fixtures/errors` with its findings in full, read
//! before they were accepted.

use std::fs;
use std::path::Path;

use ripieno::check;
use ripieno::diagnostics::{Diagnostic, Sources, rich};
use ripieno::resolve::{self, NoFiles};

fn findings(name: &str, text: String) -> (Sources, Vec<Diagnostic>) {
    let mut sources = Sources::new();
    let file = sources.add(name, text);
    let (piece, findings) = resolve::resolve(&mut sources, file, &mut NoFiles);
    let scorings: Vec<_> = piece.scorings.iter().collect();
    let findings = check::report(&piece, findings, &scorings, &check::Options::default(), &sources);
    let findings = findings.into_iter().map(|finding| finding.placed(&sources)).collect();
    (sources, findings)
}

fn told(name: &str, text: String) -> String {
    let (sources, findings) = findings(name, text);
    rich::render(&findings, &sources, rich::Look { colours: false, unicode: true, width: 100 })
}

#[test]
fn every_mistake_is_told_in_words_that_help() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures/errors");
    let mut files: Vec<_> = fs::read_dir(folder).unwrap().map(|f| f.unwrap().path()).collect();
    files.sort();
    assert!(files.len() >= 15, "the fixtures are gone");
    for path in files {
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        let told = told(&name, fs::read_to_string(&path).unwrap());
        assert!(!told.is_empty(), "{name} has no findings");
        insta::assert_snapshot!(name.trim_end_matches(".ripieno").to_string(), told);
    }
}

/// The source with the first change of every finding applied.
fn mended(text: &str, findings: &[Diagnostic]) -> String {
    let fixes = findings.iter().filter_map(|finding| finding.fixes.first());
    let mut edits: Vec<_> = fixes.flat_map(|fix| &fix.edits).collect();
    edits.sort_by_key(|edit| (edit.span.start, edit.span.end));
    edits.dedup();
    let mut mended = text.to_string();
    for edit in edits.into_iter().rev() {
        mended.replace_range(edit.span.start as usize..edit.span.end as usize, &edit.text);
    }
    mended
}

#[test]
fn the_changes_that_are_offered_for_habits_mend_them() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures/errors");
    for (name, left) in [
        ("written-notes-on-one-line", &[][..]),
        // A slide and a serpent have no word here; a mute is put on before the note, not on it.
        ("words-of-the-trade", &["gliss", "serpent", "con sord"][..]),
    ] {
        let mut text = fs::read_to_string(folder.join(format!("{name}.ripieno"))).unwrap();
        for _ in 0..3 {
            let (_, found) = findings(name, text.clone());
            text = mended(&text, &found);
        }
        let (_, found) = findings(name, text.clone());
        let wrong: Vec<_> = found
            .iter()
            .filter(|finding| check::find(finding.code).is_none())
            .filter(|finding| {
                let (from, to) = (finding.primary.span.start, finding.primary.span.end);
                !left.contains(&&text[from as usize..to as usize])
            })
            .collect();
        assert!(wrong.is_empty(), "{text}\n{wrong:#?}");
    }
}

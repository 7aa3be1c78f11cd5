//! What people are told: each source under `fixtures/errors` with its findings in full, read
//! before they were accepted.

use std::fs;
use std::path::Path;

use ripieno::check;
use ripieno::diagnostics::{Sources, rich};
use ripieno::resolve::{self, NoFiles};

fn told(name: &str, text: String) -> String {
    let mut sources = Sources::new();
    let file = sources.add(name, text);
    let (piece, findings) = resolve::resolve(&mut sources, file, &mut NoFiles);
    let scorings: Vec<_> = piece.scorings.iter().collect();
    let findings = check::report(&piece, findings, &scorings, &check::Options::default());
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

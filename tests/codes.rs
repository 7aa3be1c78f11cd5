//! Every code that a finding can bear is explained: by a rule's own file, or in the table of the
//! earlier stages; and the table holds no code that nothing bears.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use ripieno::check::RULES;
use ripieno::diagnostics::CODES;

const FAMILIES: [&str; 11] = [
    "syntax",
    "use",
    "bars",
    "names",
    "harmony",
    "natural-brass",
    "arrange",
    "allow",
    "compass",
    "balance",
    "economy",
];

fn sources(folder: &Path, files: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap().map(Result::unwrap) {
        let path = entry.path();
        if path.is_dir() {
            sources(&path, files);
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            files.push(path);
        }
    }
}

/// Codes between quotes in the code of the stages, tests and the table itself left out.
fn borne() -> BTreeSet<String> {
    let mut files = Vec::new();
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    sources(&root, &mut files);
    let mut codes = BTreeSet::new();
    for path in files {
        // Where the checkout lies must not matter: the names are judged from `src` on.
        let name = path.strip_prefix(&root).unwrap().to_string_lossy();
        if name == "diagnostics/codes.rs" || name.contains("test") || name.starts_with("check/") {
            continue;
        }
        let text = fs::read_to_string(&path).unwrap();
        for word in text.split('"').skip(1) {
            let family = word.split('/').next().unwrap_or_default();
            let rest = word.strip_prefix(family).and_then(|rest| rest.strip_prefix('/'));
            let plain = |rest: &str| {
                !rest.is_empty() && rest.bytes().all(|b| b.is_ascii_lowercase() || b == b'-')
            };
            if FAMILIES.contains(&family) && rest.is_some_and(plain) {
                codes.insert(word.to_string());
            }
        }
    }
    codes
}

#[test]
fn every_code_is_explained_once() {
    let borne = borne();
    assert!(borne.len() > 50, "the codes were not found: {borne:?}");
    let rules: BTreeSet<String> = RULES.iter().map(|rule| rule.code.to_string()).collect();
    let table: BTreeSet<String> = CODES.iter().map(|code| code.code.to_string()).collect();
    assert_eq!(table.len(), CODES.len(), "a code stands twice in the table");
    let unexplained: Vec<_> =
        borne.iter().filter(|c| !rules.contains(*c) && !table.contains(*c)).collect();
    assert!(unexplained.is_empty(), "without explanation: {unexplained:?}");
    let unused: Vec<_> = table.iter().filter(|code| !borne.contains(*code)).collect();
    assert!(unused.is_empty(), "nothing bears {unused:?}");
    assert!(rules.is_disjoint(&table));
}

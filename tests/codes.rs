//! Every code that a finding can bear is explained: by a rule's own file, or in the table of the
//! earlier stages; and the table holds no code that nothing bears.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use ripieno::check::RULES;
use ripieno::diagnostics::{CODES, Diagnostic, example, exemplified};
use ripieno::resolve::{LoadError, Loader};
use ripieno::session::Session;
use ripieno::{arrange, engrave, render};

const FAMILIES: [&str; 15] = [
    "movements",
    "syntax",
    "use",
    "bars",
    "names",
    "harmony",
    "natural-brass",
    "arrange",
    "allow",
    "lyrics",
    "layout",
    "notation",
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
        if name == "compiler/diagnostics/codes.rs"
            || name.contains("test")
            || name.starts_with("checker/check/")
        {
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

const MARCH: &str = "piece \"March\" { }\nform { 1 metre 4/4, key D major\n 1 end }\n\
    voice tune { 1: 1/1 D5 | }\nensemble band { era 1810\n oboe }\n\
    scoring band for band { oboe plays tune as melody\n}\n";
const MINUET: &str = "piece \"Minuet\" { }\nform { 1 metre 3/4, key D major\n 1 end }\n\
    voice tune { 1: 1/2. F#5 | }\nensemble band { era 1810\n oboe }\n\
    scoring band for band { oboe plays tune as melody\n}\n";
const SONG: &str = "piece \"Song\" { }\nform { 1 metre 3/4, key D major\n 1 end }\n\
    voice tune { 1: 1/2. F#5 | }\n";

/// The files that the examples use.
struct Shelf;

impl Loader for Shelf {
    fn load(&mut self, path: &str, _: &str) -> Result<(String, String), LoadError> {
        let text = match path {
            "forces.ripieno" => "ensemble band { era 1810\n  oboe 2\n}\n",
            "march.ripieno" => MARCH,
            "minuet.ripieno" => MINUET,
            "song.ripieno" => SONG,
            "suite.ripieno" => "piece \"Suite\" { movement \"march.ripieno\"\n}\n",
            "circle.ripieno" => "use \"example.ripieno\"\n",
            "example.ripieno" => "",
            _ => return Err(LoadError::NotFound),
        };
        Ok((path.to_string(), text.to_string()))
    }
}

/// The example with the declarations that it leaves out, behind its own.
fn completed(text: &str) -> String {
    let has = |keyword: &str| text.lines().any(|line| line.starts_with(keyword));
    let mut source = text.to_string();
    if !has("piece") {
        source.push_str("piece \"Example\" { }\n");
    }
    if !has("form") {
        let numbers = text.split_whitespace().filter_map(|w| w.strip_suffix(':')?.parse().ok());
        let last: u32 = numbers.max().unwrap_or(8);
        source.push_str(&format!("form {{\n  1 metre 4/4, key D minor\n  {last} end\n}}\n"));
    }
    source
}

/// What is found once the pages are laid out.
fn on_pages(arrangement: &arrange::Arrangement) -> Vec<Diagnostic> {
    let wanted = render::Wanted::formats(&[]);
    let printed = engrave::outputs::each_output(
        arrangement,
        &wanted,
        &engrave::outputs::Setups::default(),
        &[],
        (1, &engrave::store::in_memory),
        |_, _| Ok::<(), ()>(()),
    );
    let found = engrave::overrides::findings(arrangement, &printed.unwrap());
    engrave::overrides::gathered(vec![found], true)
}

fn told(text: &str) -> Vec<String> {
    let mut session = Session::new(Shelf);
    let file = session.open("example.ripieno", text);
    let findings = session.findings(file);
    let arranged = session.arrangements(file);
    let on_pages = arranged.iter().flat_map(|arrangement| on_pages(arrangement));
    findings
        .iter()
        .cloned()
        .chain(on_pages)
        // A voice that stands alone on the page is no fault of the example.
        .filter(|finding| text.contains("scoring") || finding.code != "names/unused-voice")
        .map(|finding| format!("{}: {}", finding.code, finding.message))
        .collect()
}

/// What no small source shows: no instrument of the catalogue is so narrow that it lacks all notes
/// of a chord, drums and brass without valves aside; and a source beyond the limits of the language
/// is no example (`tests/limits.rs` goes beyond each of them).
const WITHOUT_EXAMPLE: [&str; 4] =
    ["arrange/no-chord-note", "arrange/too-many-notes", "names/too-many", "syntax/too-large"];

#[test]
fn every_code_has_an_example_that_shows_it_alone_and_is_mended() {
    let mut wrong = Vec::new();
    for code in CODES.iter().map(|code| code.code) {
        let Some(example) = example(code) else {
            if !WITHOUT_EXAMPLE.contains(&code) {
                wrong.push(format!("{code} has no example"));
            }
            continue;
        };
        let source = |text: &str| if example.whole { text.to_string() } else { completed(text) };
        let found = told(&source(&example.fails));
        let alone = matches!(&found[..], [one] if one.split(": ").next() == Some(code));
        if !alone {
            wrong.push(format!("{code} shows {found:#?}"));
        }
        let found = told(&source(&example.mended));
        if !found.is_empty() {
            wrong.push(format!("{code}, mended, shows {found:#?}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    for code in exemplified() {
        assert!(CODES.iter().any(|known| known.code == code), "{code} is no code of the table");
    }
}

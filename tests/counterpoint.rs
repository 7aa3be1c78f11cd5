//! The counterpoint of all samples, held to a rule book.
//!
//! The book: Ebenezer Prout, *Counterpoint: Strict and Free* (London, 1890), in its free style, and
//! for the treatment of chords his *Harmony: its Theory and Practice* (London, 1889). Both are cited
//! from memory; where a limit is ours, the rule says so. Every pair of voices of a piece is
//! looked at as it is played, repeats and endings included, against the harmony that it declares
//! (or else the one inferred). Grace notes and ornaments are left out, and so are parallels from
//! beat to beat with other notes between, which free style bears.
//!
//! Composers run it on one file of their own; files that it uses are sought beside it:
//!
//! ```text
//! RIPIENO_SAMPLE=/path/to/file.ripieno cargo test --test counterpoint -- --nocapture
//! ```

#[path = "shared/counterpoint/mod.rs"]
mod counterpoint;

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use ripieno::diagnostics::{Severity, Sources, short};
use ripieno::music::Time;
use ripieno::resolve::{self, LoadError, Loader, NoFiles, Piece};

use counterpoint::{CASES, CONSECUTIVES, Finding, RULES, Score, findings};

/// A voice that doubles another through a whole passage on purpose.
struct Doubling {
    /// The title of the piece.
    piece: &'static str,
    /// The two voices.
    voices: [&'static str; 2],
    /// First and last bar.
    bars: [i32; 2],
    /// Why they go together.
    reason: &'static str,
}

/// Passages in octaves that are meant. Empty is best.
const DOUBLINGS: &[Doubling] = &[];

impl Doubling {
    fn covers(&self, title: &str, finding: &Finding) -> bool {
        self.piece == title
            && finding.rule == CONSECUTIVES
            && (self.bars[0]..=self.bars[1]).contains(&finding.bar)
            && self.voices.iter().all(|voice| finding.voices.iter().any(|named| named == voice))
    }
}

/// Brings in what a sample uses, from the folder in which the sample lies.
struct Beside(PathBuf);

impl Loader for Beside {
    fn load(&mut self, path: &str, from: &str) -> Result<(String, String), LoadError> {
        let name = Path::new(from).parent().unwrap_or(Path::new("")).join(path);
        let text = fs::read_to_string(self.0.join(&name)).map_err(|error| match error.kind() {
            std::io::ErrorKind::NotFound => LoadError::NotFound,
            _ => LoadError::Other(error.to_string()),
        })?;
        Ok((name.to_string_lossy().into_owned(), text))
    }
}

/// The piece of a source; what cannot be read is an error in the words of the compiler.
fn piece(name: &str, text: &str, loader: &mut dyn Loader) -> Result<std::sync::Arc<Piece>, String> {
    let mut sources = Sources::new();
    let file = sources.add(name, text);
    let (piece, told) = resolve::resolve(&mut sources, file, loader);
    let errors: Vec<_> = told.into_iter().filter(|one| one.severity == Severity::Error).collect();
    if errors.is_empty() { Ok(piece) } else { Err(short::render(&errors, &sources)) }
}

/// The file that the environment names, or else all samples.
fn files() -> Vec<PathBuf> {
    if let Some(file) = std::env::var_os("RIPIENO_SAMPLE") {
        return vec![file.into()];
    }
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("samples");
    let entries = fs::read_dir(folder).expect("the folder of samples").map(Result::unwrap);
    let mut files: Vec<PathBuf> = entries
        .map(|entry| entry.path())
        .filter(|path| path.extension().is_some_and(|end| end == "ripieno"))
        .collect();
    files.sort();
    files
}

/// Findings of a piece with the rules that they break, as a musician reads them.
fn report(title: &str, found: &[Finding]) -> String {
    let mut report = format!("{title}: {} against the rules\n", found.len());
    for finding in found {
        report.push_str(&format!("  {title}, {}\n", finding.message));
    }
    let broken: BTreeSet<&str> = found.iter().map(|finding| finding.rule).collect();
    for rule in RULES.iter().filter(|rule| broken.contains(rule.name)) {
        report.push_str(&format!("  {}: {} [{}]\n", rule.name, rule.remedy, rule.source));
    }
    report
}

#[test]
fn all_samples_keep_the_rules_of_counterpoint() {
    let (mut pieces, mut reports) = (0, String::new());
    let mut used = BTreeSet::new();
    for file in files() {
        let text = fs::read_to_string(&file)
            .unwrap_or_else(|error| panic!("{} cannot be read: {error}", file.display()));
        let name = file.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let folder = file.parent().unwrap_or(Path::new("")).to_path_buf();
        let piece = match piece(&name, &text, &mut Beside(folder)) {
            Ok(piece) => piece,
            Err(errors) => panic!("{} does not compile:\n{errors}", file.display()),
        };
        if piece.voices.is_empty() {
            continue;
        }
        pieces += 1;
        let score = Score::new(&piece);
        let mut found = findings(&score);
        found.retain(|finding| {
            let doubling = DOUBLINGS.iter().position(|one| one.covers(&piece.title, finding));
            used.extend(doubling);
            doubling.is_none()
        });
        if !found.is_empty() {
            reports.push_str(&report(&piece.title, &found));
        }
    }
    assert!(pieces > 0, "there is no voice to look at");
    if std::env::var_os("RIPIENO_SAMPLE").is_none() {
        for (index, doubling) in DOUBLINGS.iter().enumerate() {
            let Doubling { piece, voices, reason, .. } = doubling;
            assert!(used.contains(&index), "no longer needed: {piece}, {voices:?}: {reason}");
        }
    }
    println!("\n{pieces} pieces looked at\n{reports}");
    assert!(reports.is_empty(), "the counterpoint breaks the rules: see the list above");
}

/// The source of a case: form, harmony, voices.
fn source(form: &str, music: &[&str]) -> String {
    let bars = music.iter().map(|line| line.split('|').count()).max().unwrap_or(1);
    let numbered = |line: &str| -> String {
        let bar = |(number, bar): (usize, &str)| format!("{}: {} | ", number + 1, bar.trim());
        let mut written: String = line.split('|').enumerate().map(bar).collect();
        // Harmony that is not changed holds to the end.
        for number in line.split('|').count()..bars {
            let last = line.split_whitespace().next_back().unwrap_or_default();
            written.push_str(&format!("{}: {last} | ", number + 1));
        }
        written
    };
    let mut text = format!(
        "piece \"Case\" {{ }}\nform {{\n1 metre 4/4, key C major\n{form}\n{bars} end\n}}\n\
         harmony {{ {} }}\n",
        numbered(music[0])
    );
    for (voice, line) in ["first", "second", "third", "fourth"].iter().zip(&music[1..]) {
        text.push_str(&format!("voice {voice} {{ {} }}\n", numbered(line)));
    }
    text
}

fn case(form: &str, music: &[&str]) -> std::sync::Arc<Piece> {
    let text = source(form, music);
    piece("case", &text, &mut NoFiles).unwrap_or_else(|errors| panic!("{errors}\n{text}"))
}

#[test]
fn each_rule_finds_its_fault_and_nothing_in_the_counterpart() {
    let mut failures = String::new();
    for one in CASES {
        let wrong = case(one.form[0], one.wrong);
        let found = findings(&Score::new(&wrong));
        let alone = !found.is_empty() && found.iter().all(|finding| finding.rule == one.rule);
        if !alone {
            failures.push_str(&format!("{} ({}): {found:#?}\n", one.rule, one.what));
        }
        let right = case(one.form[1], one.right);
        let found = findings(&Score::new(&right));
        if !found.is_empty() {
            failures.push_str(&format!("not clean: {} ({}): {found:#?}\n", one.rule, one.what));
        }
    }
    assert!(failures.is_empty(), "{failures}");
    for rule in &RULES {
        assert!(CASES.iter().any(|case| case.rule == rule.name), "no case for {}", rule.name);
        assert!(!rule.source.is_empty() && !rule.remedy.is_empty());
    }
}

const FIFTHS: [&str; 3] = ["1/2 C Dm | C/E", "1/2 G4 A4 | 1/1 G4", "1/2 C4 D4 | 1/1 E4"];

#[test]
fn a_finding_names_place_voices_notes_and_rule() {
    let piece = case("", &FIFTHS);
    let found = findings(&Score::new(&piece));
    let told: Vec<&str> = found.iter().map(|finding| finding.message.as_str()).collect();
    let expected = "bar 1, beat 3: first and second move in consecutive fifths: G4–A4 over C4–D4 \
                    (consecutive fifths and octaves)";
    assert_eq!(told, [expected]);
}

#[test]
fn a_rest_of_less_than_a_beat_does_not_mend_fifths() {
    let piece = case("", &FIFTHS);
    for (rest, count) in [(Time::EIGHTH, 1), (Time::QUARTER, 0)] {
        let mut score = Score::new(&piece);
        for line in &mut score.lines {
            line.notes[0].end -= rest;
        }
        let found = findings(&score);
        assert_eq!(found.len(), count, "rest of {rest}: {found:#?}");
    }
}

#[test]
fn a_doubling_is_exempt_in_its_bars_and_no_further() {
    let doubling = |bars| Doubling {
        piece: "Case",
        voices: ["second", "first"],
        bars,
        reason: "the tune in octaves",
    };
    let piece = case("", &["1/2 C Dm | C/E", "1/2 C5 D5 | 1/1 C5", "1/2 C4 D4 | 1/1 E4"]);
    let found = findings(&Score::new(&piece));
    assert_eq!(found.len(), 1);
    assert!(doubling([1, 2]).covers(&piece.title, &found[0]));
    assert!(!doubling([2, 2]).covers(&piece.title, &found[0]));
    assert!(!doubling([1, 2]).covers("Another", &found[0]));
    assert_eq!(doubling([1, 2]).reason, "the tune in octaves");
}

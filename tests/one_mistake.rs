//! One mistake, one finding: each sample with one token broken at a time, in a seeded set of
//! places; what follows from the mistake is not told beside it.
//!
//! `RIPIENO_SHOW_MISTAKES=1 cargo test --test one_mistake -- --nocapture` prints the cases with more
//! than one finding and those without an error; `RIPIENO_MISTAKES=600` makes more of them.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use ripieno::check;
use ripieno::diagnostics::{Diagnostic, Severity, Sources, short};
use ripieno::resolve::{self, LoadError, Loader};

/// The samples, so that `use` finds what the test gives it.
struct Shelf<'a>(&'a BTreeMap<String, String>);

impl Loader for Shelf<'_> {
    fn load(&mut self, path: &str, _: &str) -> Result<(String, String), LoadError> {
        let text = self.0.get(path).ok_or(LoadError::NotFound)?;
        Ok((path.to_string(), text.clone()))
    }
}

fn samples() -> BTreeMap<String, String> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("samples");
    let mut samples = BTreeMap::new();
    for entry in fs::read_dir(folder).unwrap().map(Result::unwrap) {
        let name = entry.file_name().to_string_lossy().into_owned();
        if name.ends_with(".ripieno") {
            samples.insert(name, fs::read_to_string(entry.path()).unwrap());
        }
    }
    samples
}

/// The errors and warnings of a piece, and all its findings as a person reads them in short.
fn findings(shelf: &BTreeMap<String, String>, piece: &str) -> (Vec<Diagnostic>, String) {
    let mut sources = Sources::new();
    let file = sources.add(piece, shelf[piece].clone());
    let (piece, found) = resolve::resolve(&mut sources, file, &mut Shelf(shelf));
    let scorings: Vec<_> = piece.scorings.iter().collect();
    let found = check::report(&piece, found, &scorings, &check::Options::default(), &sources);
    let told = short::render(&found, &sources);
    (found.into_iter().filter(|f| f.severity > Severity::Advice).collect(), told)
}

/// Numbers that look thrown, and are the same in every run.
struct Dice(u64);

impl Dice {
    fn below(&mut self, limit: usize) -> usize {
        // Knuth's linear congruential generator (MMIX).
        self.0 = self.0.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        usize::try_from(self.0 >> 33).unwrap_or(0) % limit
    }
}

/// The places of words, numbers and signs outside comments.
fn tokens(text: &str) -> Vec<(usize, usize)> {
    let mut tokens = Vec::new();
    let mut at = 0;
    for line in text.split_inclusive('\n') {
        let code = line.split("//").next().unwrap_or(line);
        let word = |c: char| c.is_alphanumeric() || "-#/.".contains(c);
        let mut rest = 0;
        while let Some(c) = code[rest..].chars().next() {
            let length = match c {
                c if c.is_whitespace() => {
                    rest += c.len_utf8();
                    continue;
                }
                '"' => code[rest + 1..].find('"').map_or(code.len() - rest, |end| end + 2),
                c if word(c) => code[rest..].find(|c| !word(c)).unwrap_or(code.len() - rest),
                c => c.len_utf8(),
            };
            tokens.push((at + rest, at + rest + length));
            rest += length;
        }
        at += line.len();
    }
    tokens
}

/// What a slip makes of a token: two letters changed over, a letter too few or too many, the
/// token gone, or another sign in its place.
fn slip(token: &str, kind: usize) -> String {
    let mut letters: Vec<char> = token.chars().collect();
    match kind {
        0 if letters.len() > 2 && letters[1] != letters[2] => letters.swap(1, 2),
        0 | 1 if letters.len() > 2 => drop(letters.remove(letters.len() / 2)),
        2 if letters.len() > 1 => letters.push(letters[letters.len() - 1]),
        3 => letters = vec!['?'],
        _ => letters.clear(),
    }
    letters.into_iter().collect()
}

/// A sample with one slip in it, and what is told of it.
struct Case {
    /// Where the slip is, what it makes of what, and all findings.
    told: String,
    /// What is wrong with the source.
    errors: usize,
    /// What the checker says.
    others: usize,
}

/// How many slips are made in each file.
fn slips() -> usize {
    std::env::var("RIPIENO_MISTAKES").ok().and_then(|n| n.parse().ok()).unwrap_or(50)
}

fn cases() -> Vec<Case> {
    let shelf = samples();
    let mut dice = Dice(1725);
    let mut cases = Vec::new();
    for (file, piece) in [
        ("watchman-at-the-weir.ripieno", "watchman-at-the-weir.ripieno"),
        ("mill-race.ripieno", "mill-race.ripieno"),
        ("forces.ripieno", "watchman-at-the-weir.ripieno"),
    ] {
        let text = &shelf[file];
        let tokens = tokens(text);
        // The music is most of the text: half of the slips are made in what is not music.
        let line_of = |at: usize| {
            let head = text[..at].rfind('\n').map_or(0, |n| n + 1);
            &text[head..text[at..].find('\n').map_or(text.len(), |n| at + n)]
        };
        let music = |at: usize| {
            let line = line_of(at).trim_start();
            line.starts_with(|c: char| c.is_ascii_digit()) && line.contains(':')
        };
        let plain: Vec<_> = tokens.iter().copied().filter(|(at, _)| !music(*at)).collect();
        for n in 0..slips() {
            let from = if n % 2 == 0 { &plain } else { &tokens };
            let (start, end) = from[dice.below(from.len())];
            let token = &text[start..end];
            let slipped = slip(token, dice.below(5));
            let mut broken = shelf.clone();
            let changed = format!("{}{slipped}{}", &text[..start], &text[end..]);
            broken.insert(file.to_string(), changed);
            let (found, told) = findings(&broken, piece);
            let number = text[..start].matches('\n').count() + 1;
            let line = line_of(start);
            cases.push(Case {
                told: format!("{file}:{number}: `{token}` -> `{slipped}` in\n  {line}\n{told}"),
                errors: found.iter().filter(|f| check::find(f.code).is_none()).count(),
                others: found.iter().filter(|f| check::find(f.code).is_some()).count(),
            });
        }
    }
    cases
}

/// A slip that leaves a source in order is none for the compiler: the music is another, and the
/// checker says of it what there is to say (double basses at pitch are nine findings, for want of
/// one `8vb`). Such slips are left out.
#[test]
fn one_mistake_makes_one_finding() {
    let cases = cases();
    let mut histogram: BTreeMap<usize, usize> = BTreeMap::new();
    let show = std::env::var_os("RIPIENO_SHOW_MISTAKES").is_some();
    for case in cases.iter().filter(|case| case.errors > 0) {
        let count = case.errors + case.others;
        *histogram.entry(count).or_default() += 1;
        if show && count > 1 {
            println!("#### {}", case.told);
        }
    }
    if show {
        for case in cases.iter().filter(|case| case.errors == 0) {
            println!("#### no error: {}", case.told);
        }
    }
    println!("{} cases, by number of findings: {histogram:?}", cases.len());
    let told: usize = histogram.values().sum();
    assert!(told * 2 > cases.len(), "most slips leave an error: {told} of {}", cases.len());
    for case in cases.iter().filter(|case| case.errors > 0) {
        assert!(case.errors + case.others <= 2, "{}", case.told);
    }
    let single = histogram.get(&1).copied().unwrap_or_default();
    assert!(single * 50 >= told * 49, "98 in 100 slips make one finding: {histogram:?}");
}

/// Slips of which the findings were read; each line is a place in a sample, once in it, what
/// becomes of it, and the only code that is told.
const READ: [(&str, &str, &str, &str); 25] = [
    (WATCHMAN, "viola         plays upper", "viola         plays uppre", "names/unknown"),
    (
        WATCHMAN,
        "plays tenor bars 1..64, 69..84  as harmony\n  viola",
        "palys tenor bars 1..64, 69..84 as harmony\n  viola",
        "syntax/unexpected",
    ),
    (WATCHMAN, "voice middle {", "voise middle {", "syntax/unknown-declaration"),
    (WATCHMAN, "voice middle {", "voice midle {", "names/unknown"),
    (WATCHMAN, "form {", "fomr {", "syntax/unknown-declaration"),
    (WATCHMAN, "1         metre 4/4", "1         meter 4/4", "syntax/unexpected"),
    (WATCHMAN, "1         metre 4/4", "1         metre 3/4", "bars/too-long"),
    (WATCHMAN, "84        end", "8         end", "bars/outside"),
    (WATCHMAN, "84        end", "840       end", "bars/missing"),
    (WATCHMAN, "84        end", "84        ned", "syntax/unexpected"),
    (WATCHMAN, "use \"forces.ripieno\"", "use \"force.ripieno\"", "use/cannot-read"),
    (WATCHMAN, "use \"forces.ripieno\"", "use \"forces.ripieno", "syntax/unexpected"),
    (WATCHMAN, "27: 1/2 Bb/D Bb7 |", "27: 1/2 Bx/D Bb7 |", "harmony/unknown-chord"),
    (WATCHMAN, "  keep spa\n", "  keep sap\n", "names/unknown"),
    (
        WATCHMAN,
        "     23: 1/4 F1[stacc] F2[stacc] G1[stacc] G1[stacc] |\n  }\n",
        "     23: 1/4 F1[stacc] F2[stacc] G1[stacc] G1[stacc] |\n",
        "syntax/unclosed-block",
    ),
    (
        WATCHMAN,
        "     68: 1/4 G4 1/8. G4 1/16 Bb4 1/4 Eb5 rest |\n  }\n  cello ",
        "     68: 1/4 G4 1/8. G4 1/16 Bb4 1/4 Eb5 rest |\n  ?\n  cello ",
        "syntax/unclosed-block",
    ),
    (
        WATCHMAN,
        "clarinet.2    plays middle bars 9..12 ",
        "clarinet.2    plays middle bars 9..122 ",
        "bars/outside",
    ),
    (WATCHMAN, "  piccolo       plays upper", "  picolo        plays upper", "names/unknown"),
    (WATCHMAN, "  72        mark \"H\"", "  720       mark \"H\"", "bars/outside"),
    (WATCHMAN, "  49        mp\n", "  49        piano\n", "names/unknown"),
    (WATCHMAN, "for festival-spa {", "for festival-spar {", "names/unknown"),
    (FORCES, "  oboe 2\n", "  obeo 2\n", "names/unknown"),
    (FORCES, "  era 1810", "  era 180", "names/era"),
    (WATCHMAN, "  trumpet 2 crook C\n", "  turmpet 2 crook C\n", "names/unknown"),
    (FORCES, "  era 1725\n", "  ear 1725\n", "names/unknown"),
];
const WATCHMAN: &str = "watchman-at-the-weir.ripieno";
const FORCES: &str = "forces.ripieno";

#[test]
fn slips_that_once_made_many_findings_make_one() {
    for (file, old, new, code) in READ {
        let mut shelf = samples();
        let text = &shelf[file];
        assert_eq!(text.matches(old).count(), 1, "`{old}` must stand once in {file}");
        let slipped = text.replacen(old, new, 1);
        shelf.insert(file.to_string(), slipped);
        let (found, told) = findings(&shelf, WATCHMAN);
        let codes: Vec<&str> = found.iter().map(|finding| finding.code).collect();
        assert_eq!(codes, [code], "`{old}` -> `{new}`\n{told}");
    }
}

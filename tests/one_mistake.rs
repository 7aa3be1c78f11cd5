//! One mistake, one finding: each sample with one token broken at a time, in a seeded set of
//! places; what follows from the mistake is not told beside it.
//!
//! `RIPIENO_SHOW_MISTAKES=1 cargo test --test one_mistake -- --nocapture` prints every case with
//! its findings.

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
    let found = check::report(&piece, found, &scorings, &check::Options::default());
    let told = short::render(&found, &sources);
    (found.into_iter().filter(|f| f.severity > Severity::Advice).collect(), told)
}

/// Numbers that look thrown, and are the same in every run.
struct Dice(u64);

impl Dice {
    fn below(&mut self, limit: usize) -> usize {
        // Knuth's linear congruential generator (MMIX).
        self.0 = self.0.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        (self.0 >> 33) as usize % limit
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
                c if word(c) => {
                    code[rest..].find(|c| !word(c)).unwrap_or(code.len() - rest)
                }
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

struct Case {
    file: String,
    line: usize,
    column: usize,
    from: String,
    to: String,
    context: String,
    codes: Vec<&'static str>,
    told: String,
}

fn cases() -> Vec<Case> {
    let shelf = samples();
    let mut dice = Dice(1725);
    let mut cases = Vec::new();
    let count: usize = std::env::var("RIPIENO_MISTAKES").ok().and_then(|n| n.parse().ok()).unwrap_or(60);
    for (file, piece) in [
        ("lanterns-on-the-weir.ripieno", "lanterns-on-the-weir.ripieno"),
        ("mill-race.ripieno", "mill-race.ripieno"),
        ("forces.ripieno", "lanterns-on-the-weir.ripieno"),
    ] {
        let text = &shelf[file];
        let tokens = tokens(text);
        // The music is most of the text: half of the slips are made in what is not music.
        let bar = |at: usize| {
            let line = &text[text[..at].rfind('\n').map_or(0, |n| n + 1)..at];
            line.trim_start().starts_with(|c: char| c.is_ascii_digit()) && line.contains(':')
        };
        let plain: Vec<_> = tokens.iter().copied().filter(|(at, _)| !bar(*at)).collect();
        for n in 0..count {
            let from = if n % 2 == 0 { &plain } else { &tokens };
            let (start, end) = from[dice.below(from.len())];
            let token = &text[start..end];
            let slipped = slip(token, dice.below(5));
            let mut broken = shelf.clone();
            let changed = format!("{}{slipped}{}", &text[..start], &text[end..]);
            broken.insert(file.to_string(), changed);
            let (found, told) = findings(&broken, piece);
            let line = text[..start].matches('\n').count() + 1;
            let head = text[..start].rfind('\n').map_or(0, |n| n + 1);
            let tail = text[start..].find('\n').map_or(text.len(), |n| start + n);
            cases.push(Case {
                file: file.to_string(),
                line,
                column: start - head + 1,
                from: token.to_string(),
                to: slipped,
                context: text[head..tail].to_string(),
                codes: found.iter().map(|f| f.code).collect(),
                told,
            });
        }
    }
    cases
}

#[test]
fn one_mistake_makes_one_finding() {
    let cases = cases();
    let show = std::env::var_os("RIPIENO_SHOW_MISTAKES").is_some();
    let mut histogram: BTreeMap<usize, usize> = BTreeMap::new();
    for case in &cases {
        *histogram.entry(case.codes.len()).or_default() += 1;
        if show && case.codes.len() != 1 {
            println!(
                "\n#### {} {}:{}:{}  `{}` -> `{}`\n      {}\n{}",
                case.codes.len(), case.file, case.line, case.column, case.from, case.to, case.context, case.told
            );
        }
    }
    println!("{histogram:?}");
}

//! Every bound of the language: what lies just within it is read, and what goes beyond it is told
//! with the number of the bound.

use std::collections::HashMap;
use std::fmt::Write;

use ripieno::arrange::arrange;
use ripieno::diagnostics::{Diagnostic, Sources};
use ripieno::limits::{self, LIMITS, Limit, spaced};
use ripieno::resolve::{self, LoadError, Loader};

const REFERENCE: &str = include_str!("../grammar/reference.md");

/// Sources by their names.
#[derive(Default)]
struct Shelf(HashMap<String, String>);

impl Loader for Shelf {
    fn load(&mut self, path: &str, _: &str) -> Result<(String, String), LoadError> {
        let text = self.0.get(path).ok_or(LoadError::NotFound)?;
        Ok((path.to_string(), text.clone()))
    }
}

/// A small piece, of which parts can be put in the place of others.
struct Piece {
    piece: String,
    form: String,
    voices: String,
    ensembles: String,
    scorings: String,
}

fn piece() -> Piece {
    Piece {
        piece: "piece \"Bell\" { licence \"CC0-1.0\" }\n".into(),
        form: "form {\n  1 metre 2/4, key D major, tempo 1/4 at 96\n  1 end\n}\n".into(),
        voices: "voice tune { 1: 1/4 D5 A4 | }\n".into(),
        ensembles: "ensemble duo { era 1885\n oboe, violin-1 4 players }\n".into(),
        scorings: "scoring few for duo { oboe plays tune as melody\n violin-1 rests\n}\n".into(),
    }
}

impl Piece {
    fn text(&self) -> String {
        [&*self.piece, &self.form, &self.voices, &self.ensembles, &self.scorings].concat()
    }
}

/// A source (and what it uses) that has so many of what a limit bounds.
fn source(limit: &Limit, count: usize) -> (String, Shelf) {
    let mut piece = piece();
    let mut shelf = Shelf::default();
    let plain = |piece: &Piece| (piece.text(), Shelf::default());
    match (limit.what, limit.unit) {
        ("a file", _) => {
            // Comments, so that there is little to be read in so much.
            let most = if count > limit.most { limits::SOURCE + 1 } else { limits::SOURCE };
            let mut text = piece.text();
            let lines = (most - text.len()) / 1000;
            text.reserve(most);
            for _ in 0..lines {
                text.push_str("//");
                text.push_str(&"-".repeat(997));
                text.push('\n');
            }
            text.push_str(&" ".repeat(most - text.len()));
            (text, shelf)
        }
        ("a piece with all files that it uses", _) => {
            let text = piece.text();
            let files = 4;
            let whole = limits::SOURCES - text.len() - files * "use \"0\"\n".len();
            let mut uses = String::new();
            for file in 0..files {
                let rest = if file == 0 { whole % files + count - limit.most } else { 0 };
                let _ = writeln!(uses, "use \"{file}\"");
                let mut text = String::new();
                while text.len() < whole / files + rest {
                    let left = whole / files + rest - text.len();
                    text.push_str(&"\n".repeat(left.min(10_000)));
                }
                text.replace_range(0..2, "//");
                shelf.0.insert(file.to_string(), text);
            }
            (uses + &text, shelf)
        }
        ("files that a piece uses", _) => {
            let mut uses = String::new();
            for file in 0..count {
                let _ = writeln!(uses, "use \"{file}\"");
                shelf.0.insert(file.to_string(), "// nothing\n".into());
            }
            (uses + &piece.text(), shelf)
        }
        ("movements of a piece", _) => {
            let mut names = String::new();
            for movement in 0..count {
                let _ = writeln!(names, "  movement \"{movement}\"");
                shelf.0.insert(movement.to_string(), piece.text());
            }
            (format!("piece \"Suite\" {{ licence \"CC0-1.0\"\n{names}}}\n"), shelf)
        }
        ("files that use one another", _) => {
            // The piece itself is the first of them.
            for file in 1..count {
                let next = format!("use \"{}\"\n", file + 1);
                let text = if file + 1 < count { next } else { "// nothing\n".into() };
                shelf.0.insert(file.to_string(), text);
            }
            ("use \"1\"\n".to_string() + &piece.text(), shelf)
        }
        ("a line of a source", _) => {
            (piece.text() + "//" + &"-".repeat(count - 2) + "\n// an end", shelf)
        }
        ("a name, or a text between quotes", _) => {
            piece.piece = format!("piece \"{}\" {{ licence \"CC0-1.0\" }}\n", "n".repeat(count));
            plain(&piece)
        }
        ("a form", "bars") => {
            piece.form = format!(
                "form {{\n  1 metre 2/4, key D major, tempo 1/4 at 96\n  {count} end\n}}\n"
            );
            piece.voices = format!("voice tune {{ 1: 1/4 D5 A4 | rest {} | }}\n", count - 1);
            plain(&piece)
        }
        ("a bar", _) => {
            piece.form = format!(
                "form {{\n  1 metre 2/4, key D major, tempo 1/4 at 96\n  1 length {}/4, end\n}}\n",
                4 * count
            );
            piece.voices = format!("voice tune {{ 1: 1/1{} | }}\n", " D5".repeat(count));
            plain(&piece)
        }
        ("all bars of a form together", _) => {
            // The last bar brings what is too much.
            let bars = limit.most / 4;
            piece.form = format!(
                "form {{\n  1 metre 16/4, key D major, tempo 1/4 at 96\n  {bars} length {}/4\n  {bars} end\n}}\n",
                16 + 4 * (count - limit.most)
            );
            piece.voices = format!("voice tune {{ 1: 4/1 D5 | rest {} | }}\n", bars - 1);
            plain(&piece)
        }
        ("voices of a piece", _) => {
            for voice in 1..count {
                let _ = writeln!(piece.voices, "voice tune-{voice} {{ 1: 1/4 D5 A4 | }}");
            }
            plain(&piece)
        }
        ("ensembles", _) => {
            for ensemble in 1..count {
                let _ = writeln!(piece.ensembles, "ensemble e{ensemble} {{ era 1885\n oboe }}");
            }
            plain(&piece)
        }
        ("ensembles that extend one another", _) => {
            let mut before = "duo".to_string();
            for ensemble in 1..count {
                let _ = writeln!(
                    piece.ensembles,
                    "ensemble e{ensemble} extends {before} {{ era 1885\n flute {}\n}}",
                    1 + ensemble % 20
                );
                before = format!("e{ensemble}");
            }
            plain(&piece)
        }
        ("a line of an ensemble", _) => {
            piece.ensembles =
                format!("ensemble duo {{ era 1885\n oboe {count}, violin-1 4 players }}\n");
            plain(&piece)
        }
        ("players at one part", _) => {
            piece.ensembles =
                format!("ensemble duo {{ era 1885\n oboe, violin-1 {count} players }}\n");
            plain(&piece)
        }
        ("an ensemble", _) => {
            piece.ensembles = "ensemble duo { era 1885\n oboe".into();
            for part in 1..count {
                let _ = write!(piece.ensembles, "\n violin-{part} 2 players");
                if part == 255 {
                    break;
                }
            }
            for part in 256..count {
                let _ = write!(piece.ensembles, "\n viola-{} 2 players", part - 255);
            }
            piece.ensembles.push_str(" }\n");
            plain(&piece)
        }
        ("lines of an ensemble", _) => {
            // The year and two lines of players are among them.
            piece.ensembles = "ensemble duo { era 1885\n oboe\n violin-1 4 players\n".into();
            for group in 3..count {
                let _ = writeln!(piece.ensembles, " group g{group} = oboe");
            }
            piece.ensembles.push_str("}\n");
            plain(&piece)
        }
        ("groups and budgets of an ensemble together", _) => {
            piece.ensembles = "ensemble duo { era 1885\n oboe\n violin-1 4 players\n".into();
            let members = vec!["oboe"; 500].join(", ");
            for group in 0..count / 500 {
                let _ = writeln!(piece.ensembles, " group g{group} = {members}");
            }
            let rest = vec!["oboe"; count % 500];
            if !rest.is_empty() {
                let _ = writeln!(piece.ensembles, " group rest = {}", rest.join(", "));
            }
            piece.ensembles.push_str("}\n");
            plain(&piece)
        }
        ("scorings", _) => {
            for scoring in 1..count {
                let _ = writeln!(
                    piece.scorings,
                    "scoring s{scoring} for duo {{ oboe plays tune as melody\n violin-1 rests\n}}"
                );
            }
            plain(&piece)
        }
        ("scorings that keep one another", _) => {
            let mut before = "few".to_string();
            for scoring in 1..count {
                let _ = writeln!(piece.scorings, "scoring s{scoring} for duo {{ keep {before}\n}}");
                before = format!("s{scoring}");
            }
            plain(&piece)
        }
        ("lines of a scoring", _) => {
            piece.form = format!(
                "form {{\n  1 metre 2/4, key D major, tempo 1/4 at 96\n  {count} end\n}}\n"
            );
            piece.voices = format!("voice tune {{ 1: 1/4 D5 A4 | rest {} | }}\n", count - 1);
            piece.scorings = "scoring few for duo {\n".into();
            for bar in 1..count {
                let _ = writeln!(piece.scorings, " oboe plays tune as melody bars {bar}");
            }
            piece.scorings.push_str(" violin-1 rests\n}\n");
            plain(&piece)
        }
        other => panic!("nobody knows how to try {other:?}"),
    }
}

fn found(source: (String, Shelf)) -> Vec<Diagnostic> {
    let (text, mut shelf) = source;
    let mut sources = Sources::new();
    let file = sources.add("bell.ripieno", text);
    let (_, found) = resolve::resolve(&mut sources, file, &mut shelf);
    found.into_iter().filter(|finding| finding.code != "names/unused-voice").collect()
}

#[test]
fn within_each_bound_nothing_is_found_and_beyond_it_the_bound_is_told() {
    for limit in LIMITS.iter().filter(|limit| limit.code != "arrange/too-many-notes") {
        let within = found(source(limit, limit.most));
        assert!(within.is_empty(), "{limit:?}: {:#?}", &within[..within.len().min(3)]);
        let beyond = found(source(limit, limit.most + 1));
        let told: Vec<&Diagnostic> = beyond.iter().filter(|f| f.code == limit.code).collect();
        let [told] = told[..] else {
            panic!("{limit:?}: {:#?}", &beyond[..beyond.len().min(3)]);
        };
        let said = format!("{} {}", told.message, told.help.as_deref().unwrap_or_default());
        let numbers = [limit.most.to_string(), spaced(limit.most)];
        assert!(numbers.iter().any(|number| said.contains(number)), "{limit:?}: {said}");
    }
}

#[test]
fn more_notes_than_can_be_kept_are_told_and_left_out() {
    // A doubling costs few letters and as many notes as the voice.
    let mut piece = piece();
    let bars = 200;
    piece.form =
        format!("form {{\n  1 metre 4/4, key D major, tempo 1/4 at 96\n  {bars} end\n}}\n");
    piece.voices = "voice tune {\n".into();
    for bar in 1..=bars {
        let _ = writeln!(piece.voices, "  {bar}: 1/128{} |", " D5".repeat(128));
    }
    piece.voices.push_str("}\n");
    piece.ensembles = "ensemble duo { era 1885\n".into();
    piece.scorings = "scoring few for duo {\n".into();
    let parts = limits::NOTES / (bars * 128) + 1;
    for part in 1..=parts {
        let _ = writeln!(piece.ensembles, " violin-{part} 2 players");
        let _ = writeln!(piece.scorings, " violin-{part} plays tune as melody");
    }
    piece.ensembles.push_str("}\n");
    piece.scorings.push_str("}\n");
    let mut sources = Sources::new();
    let file = sources.add("bell.ripieno", piece.text());
    let (piece, found) = resolve::resolve(&mut sources, file, &mut Shelf::default());
    assert!(found.is_empty(), "{found:#?}");
    let arrangement = arrange(&piece, &piece.scorings[0]);
    let notes = arrangement.parts.iter().map(|part| part.notes.len()).sum::<usize>();
    assert!(notes <= limits::NOTES, "{notes}");
    let [finding] = &arrangement.diagnostics[..] else { panic!("{:#?}", arrangement.diagnostics) };
    assert_eq!(finding.code, "arrange/too-many-notes");
    assert!(finding.message.contains("5,000,000"), "{}", finding.message);
}

/// The table as the reference prints it.
fn table() -> String {
    let mut table = "| what | at most | reported as |\n| --- | ---: | --- |\n".to_string();
    for limit in LIMITS {
        let most = format!("{} {}", spaced(limit.most), limit.unit);
        let _ = writeln!(table, "| {} | {most} | `{}` |", limit.what, limit.code);
    }
    table
}

#[test]
fn the_reference_has_the_table() {
    let (_, section) = REFERENCE.split_once("\n## Limits\n").expect("a section about limits");
    let section = section.split("\n## ").next().unwrap_or(section);
    let printed: String = section
        .lines()
        .filter(|line| line.starts_with('|'))
        .fold(String::new(), |printed, line| printed + line + "\n");
    assert_eq!(
        printed,
        table(),
        "the section \"Limits\" of grammar/reference.md has another table"
    );
}

//! The command line from outside: exit statuses, refusals, what is written and what is not.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use serde_json::Value;
use tempfile::TempDir;

const GOOD: &str = r#"piece "Bell" { licence "CC0-1.0" }
form {
  1 metre 2/4, key D major, tempo 1/4 at 60
  2 end
}
voice tune { 1: 1/4 D5 A4 | 2: 1/2 D5 | }
ensemble duo {
  era 1770
  oboe, violin-1 4 players
}
scoring plain for duo {
  oboe, violin-1 plays tune as melody
}
scoring solo for duo {
  oboe plays tune as melody
  violin-1 rests
}
"#;

fn ripieno(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_ripieno"))
        .current_dir(folder)
        .args(arguments)
        .env_remove("NO_COLOR")
        .output()
        .expect("ripieno starts")
}

fn folder_with(name: &str, contents: impl AsRef<[u8]>) -> TempDir {
    let folder = TempDir::new().expect("a temporary folder");
    fs::write(folder.path().join(name), contents).expect("a file in it");
    folder
}

fn status(output: &Output) -> i32 {
    output.status.code().expect("ripieno ends by itself, without a signal")
}

fn errors(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).expect("messages are UTF-8")
}

/// Checks a source and gives back the exit status and what was said.
fn check(source: impl AsRef<[u8]>) -> (i32, String) {
    let folder = folder_with("a.ripieno", source);
    let output = ripieno(folder.path(), &["check", "a.ripieno", "--format", "short"]);
    (status(&output), errors(&output))
}

/// The scores and parts below a folder, as sorted relative paths.
fn files(folder: &Path) -> Vec<String> {
    let mut all = all_files(folder);
    all.retain(|path| !path.ends_with("ripieno.json"));
    all
}

/// All files below a folder, as sorted relative paths.
fn all_files(folder: &Path) -> Vec<String> {
    let mut found = Vec::new();
    let mut open = vec![folder.to_path_buf()];
    while let Some(place) = open.pop() {
        for entry in fs::read_dir(place).into_iter().flatten().flatten() {
            let path = entry.path();
            if path.is_dir() {
                open.push(path);
            } else {
                found.push(path.strip_prefix(folder).unwrap().to_string_lossy().into_owned());
            }
        }
    }
    found.sort();
    found
}

#[test]
fn a_good_source_ends_with_status_0_and_says_nothing_bad() {
    let (code, said) = check(GOOD);
    assert_eq!((code, said.contains("error")), (0, false), "{said}");
}

#[test]
fn errors_in_the_music_end_with_status_1() {
    let (code, said) = check(GOOD.replace("1/4 D5 A4", "1/4 D5 A4 G4"));
    assert_eq!(code, 1);
    assert!(said.contains("bars/too-long"), "{said}");
}

#[test]
fn wrong_use_ends_with_status_2() {
    let folder = folder_with("a.ripieno", GOOD);
    for arguments in [
        &["chekc", "a.ripieno"][..],
        &["check"],
        &["check", "there-is-none.ripieno"],
        &["build", "a.ripieno", "--only", "paper"],
    ] {
        assert_eq!(status(&ripieno(folder.path(), arguments)), 2, "{arguments:?}");
    }
}

#[test]
fn a_missing_file_is_named() {
    let folder = TempDir::new().unwrap();
    let output = ripieno(folder.path(), &["check", "none.ripieno"]);
    assert!(errors(&output).contains("there is no file none.ripieno"), "{}", errors(&output));
}

#[test]
fn a_file_that_is_not_utf8_is_refused_with_the_place() {
    let mut bytes = GOOD.as_bytes().to_vec();
    bytes[8] = 0xE9;
    let (code, said) = check(bytes);
    assert_eq!(code, 2);
    assert!(said.contains("not UTF-8") && said.contains("byte 8"), "{said}");
}

#[test]
fn an_empty_file_is_an_error_in_the_music() {
    for nothing in ["", "\u{FEFF}", "\r\n \n"] {
        let (code, said) = check(nothing);
        assert_eq!(code, 1, "{said}");
        assert!(said.contains("syntax/empty"), "{said}");
    }
}

#[test]
fn a_file_of_17_megabytes_is_refused() {
    let (code, said) = check(vec![b'/'; 17 << 20]);
    assert_eq!(code, 2);
    assert!(said.contains("longer than 16 MB"), "{said}");
}

#[test]
fn brackets_nested_ten_thousand_deep_are_findings_and_no_crash() {
    for bracket in ["{", "(", "[", "3:2(", "grace("] {
        let deep = bracket.repeat(10_000);
        let in_voice = GOOD.replace("1/4 D5 A4", &format!("1/4 {deep} D5 A4"));
        for source in [deep.clone(), format!("voice deep {deep}\n"), in_voice] {
            let (code, said) = check(source);
            assert_eq!(code, 1, "{bracket}: {}", said.chars().take(300).collect::<String>());
        }
    }
}

#[test]
fn line_ends_of_other_systems_and_a_byte_order_mark_change_nothing() {
    let folder = folder_with("a.ripieno", GOOD);
    let foreign = format!("\u{FEFF}{}", GOOD.replace('\n', "\r\n"));
    fs::write(folder.path().join("b.ripieno"), foreign).unwrap();
    for (source, output) in [("a.ripieno", "a"), ("b.ripieno", "b")] {
        assert_eq!(status(&ripieno(folder.path(), &["build", source, "-o", output])), 0);
    }
    let (a, b) = (folder.path().join("a"), folder.path().join("b"));
    assert_eq!(files(&a), files(&b));
    assert!(!files(&a).is_empty());
    for path in files(&a) {
        assert_eq!(fs::read(a.join(&path)).unwrap(), fs::read(b.join(&path)).unwrap(), "{path}");
    }
}

#[test]
fn a_used_file_must_not_lie_outside_the_root() {
    let outer = folder_with("secret.ripieno", "ensemble secret {\n  era 1770\n  oboe\n}\n");
    let inner = outer.path().join("project");
    fs::create_dir(&inner).unwrap();
    let absolute = outer.path().join("secret.ripieno").to_string_lossy().into_owned();
    for path in ["../secret.ripieno", "a/../../secret.ripieno", &absolute] {
        fs::write(inner.join("a.ripieno"), format!("use \"{path}\"\n{GOOD}")).unwrap();
        let output = ripieno(&inner, &["check", "a.ripieno", "--format", "short"]);
        let said = errors(&output);
        assert_eq!(status(&output), 1, "{path}: {said}");
        assert!(said.contains("use/cannot-read"), "{path}: {said}");
    }
}

#[cfg(unix)]
#[test]
fn a_link_that_leads_out_of_the_root_is_not_followed() {
    let outer = folder_with("secret.ripieno", "ensemble secret {\n  era 1770\n  oboe\n}\n");
    let inner = outer.path().join("project");
    fs::create_dir(&inner).unwrap();
    std::os::unix::fs::symlink("../secret.ripieno", inner.join("link.ripieno")).unwrap();
    fs::write(inner.join("a.ripieno"), format!("use \"link.ripieno\"\n{GOOD}")).unwrap();
    let output = ripieno(&inner, &["check", "a.ripieno", "--format", "short"]);
    assert_eq!(status(&output), 1);
    assert!(errors(&output).contains("use/cannot-read"), "{}", errors(&output));
}

#[test]
fn files_that_use_each_other_are_a_cycle() {
    let folder = folder_with("a.ripieno", format!("use \"b.ripieno\"\n{GOOD}"));
    fs::write(folder.path().join("b.ripieno"), "use \"a.ripieno\"\n").unwrap();
    let output = ripieno(folder.path(), &["check", "a.ripieno", "--format", "short"]);
    assert_eq!(status(&output), 1);
    assert!(errors(&output).contains("use/cycle"), "{}", errors(&output));
}

#[test]
fn build_writes_the_score_and_all_parts_of_every_scoring() {
    let folder = folder_with("a.ripieno", GOOD);
    let output = ripieno(folder.path(), &["build", "a.ripieno"]);
    assert_eq!(status(&output), 0, "{}", errors(&output));
    let mut wanted = Vec::new();
    for scoring in ["plain", "solo"] {
        for ending in ["mid", "musicxml", "pdf", "txt"] {
            for file in ["parts/01-oboe", "parts/02-violin-1", "score"] {
                wanted.push(format!("bell/{scoring}/{file}.{ending}"));
            }
        }
    }
    wanted.sort();
    assert_eq!(files(&folder.path().join("build")), wanted);
    let table = String::from_utf8(output.stdout).unwrap();
    assert!(table.contains("plain") && table.contains("solo"), "{table}");
}

#[test]
fn build_leaves_out_a_file_of_ensembles_and_writes_the_others() {
    let folder = folder_with("a.ripieno", GOOD);
    let at = GOOD.find("ensemble").unwrap();
    let to = GOOD.find("scoring").unwrap();
    fs::write(folder.path().join("forces.ripieno"), &GOOD[at..to]).unwrap();
    let both = ripieno(folder.path(), &["build", "forces.ripieno", "a.ripieno"]);
    assert_eq!(status(&both), 0, "{}", errors(&both));
    assert!(errors(&both).contains("forces.ripieno: no scoring"), "{}", errors(&both));
    assert_eq!(files(&folder.path().join("build")).len(), 24);
    let alone = ripieno(folder.path(), &["build", "forces.ripieno"]);
    assert_eq!(status(&alone), 2);
    assert!(errors(&alone).contains("nothing to write"), "{}", errors(&alone));
}

#[test]
fn only_writes_the_formats_asked_for() {
    let folder = folder_with("a.ripieno", GOOD);
    let output = ripieno(folder.path(), &["build", "a.ripieno", "--only", "midi,text"]);
    assert_eq!(status(&output), 0, "{}", errors(&output));
    let written = files(&folder.path().join("build"));
    assert_eq!(written.len(), 12);
    assert!(written.iter().all(|path| path.ends_with(".mid") || path.ends_with(".txt")));
}

#[test]
fn scoring_writes_one_scoring_and_an_unknown_name_gets_a_suggestion() {
    let folder = folder_with("a.ripieno", GOOD);
    let output = ripieno(folder.path(), &["build", "a.ripieno", "--scoring", "solo"]);
    assert_eq!(status(&output), 0);
    let written = files(&folder.path().join("build"));
    assert!(!written.is_empty() && written.iter().all(|path| path.starts_with("bell/solo/")));
    let output = ripieno(folder.path(), &["build", "a.ripieno", "--scoring", "plian"]);
    assert_eq!(status(&output), 2);
    let said = errors(&output);
    assert!(said.contains("plian") && said.contains("plain"), "{said}");
}

#[test]
fn a_source_with_errors_writes_nothing_unless_it_is_asked_for() {
    let folder = folder_with("a.ripieno", GOOD.replace("1/4 D5 A4", "1/4 D5 A4 G4"));
    assert_eq!(status(&ripieno(folder.path(), &["build", "a.ripieno"])), 1);
    assert!(!folder.path().join("build").exists());
    let despite = ripieno(folder.path(), &["build", "a.ripieno", "--despite-errors"]);
    assert_eq!(status(&despite), 1);
    assert!(!files(&folder.path().join("build")).is_empty());
}

#[test]
fn output_to_a_place_that_cannot_be_written_leaves_nothing_half_done() {
    let folder = folder_with("a.ripieno", GOOD);
    // A file stands where a folder is wanted; this holds for the superuser as well.
    fs::write(folder.path().join("taken"), "here first").unwrap();
    let output = ripieno(folder.path(), &["build", "a.ripieno", "-o", "taken"]);
    assert_eq!(status(&output), 2);
    assert!(errors(&output).contains("cannot make the folder"), "{}", errors(&output));
    assert_eq!(all_files(folder.path()), ["a.ripieno", "taken"]);
    // A folder stands where the last file of a scoring is wanted.
    let blocked = folder.path().join("out/bell/plain/parts/02-violin-1.musicxml");
    fs::create_dir_all(&blocked).unwrap();
    let output = ripieno(folder.path(), &["build", "a.ripieno", "-o", "out"]);
    assert_eq!(status(&output), 2);
    assert_eq!(all_files(&folder.path().join("out")), Vec::<String>::new());
}

#[test]
fn findings_have_no_colours_where_there_is_no_terminal() {
    let folder = folder_with("a.ripieno", GOOD.replace("plays tune", "plays tuen"));
    for no_color in [None, Some(""), Some("1")] {
        let mut command = Command::new(env!("CARGO_BIN_EXE_ripieno"));
        command.current_dir(folder.path()).args(["check", "a.ripieno"]).env_remove("NO_COLOR");
        if let Some(value) = no_color {
            command.env("NO_COLOR", value);
        }
        let said = errors(&command.output().unwrap());
        assert!(said.contains("tuen") && !said.contains('\u{1B}'), "{said:?}");
    }
}

fn json(source: &str) -> Value {
    let folder = folder_with("a.ripieno", source);
    let output = ripieno(folder.path(), &["check", "a.ripieno", "--format", "json"]);
    serde_json::from_slice(&output.stdout).expect("findings as JSON on the standard output")
}

#[test]
fn json_findings_have_the_documented_shape() {
    let report = json(&GOOD.replace("plays tune", "plays tuen"));
    let findings = report["findings"].as_array().unwrap();
    let errors = report["summary"]["errors"].as_u64().unwrap();
    assert!(errors > 0 && findings.len() as u64 >= errors);
    for finding in findings {
        for key in ["code", "message", "file"] {
            assert!(finding[key].is_string(), "{key} of {finding}");
        }
        assert!(["error", "warning", "advice"].contains(&finding["severity"].as_str().unwrap()));
        for end in ["start", "end"] {
            for key in ["line", "column", "offset"] {
                assert!(finding[end][key].is_u64(), "{end}.{key} of {finding}");
            }
        }
        for key in ["labels", "fixes"] {
            assert!(finding[key].is_array(), "{key} of {finding}");
        }
        for key in ["bars", "player", "help"] {
            assert!(finding.get(key).is_some(), "{key} of {finding}");
        }
    }
}

#[test]
fn a_good_source_is_an_empty_report() {
    let report = json(GOOD);
    assert_eq!(report["summary"]["errors"], 0);
    assert!(report["findings"].is_array());
}

#[test]
fn twenty_mistakes_in_a_file_give_twenty_findings_in_one_run() {
    let source = include_str!("fixtures/twenty-mistakes.ripieno");
    let report = json(source);
    let found: Vec<u64> = report["findings"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|finding| finding["severity"] == "error")
        .map(|finding| finding["start"]["line"].as_u64().unwrap())
        .collect();
    let wanted: Vec<u64> = (1..)
        .zip(source.lines().skip(1))
        .filter(|(_, line)| line.contains(" // ") && line.contains(": "))
        .filter(|(_, line)| {
            let mark = line.rsplit(" // ").next().unwrap_or_default();
            mark.split(':').next().is_some_and(|number| number.parse::<u8>().is_ok())
        })
        .map(|(index, _)| index + 1)
        .collect();
    assert_eq!(wanted.len(), 20);
    for (number, line) in (1..).zip(&wanted) {
        assert!(found.contains(line), "mistake {number} in line {line} is not found: {report:#}");
    }
    for line in &found {
        assert!(
            wanted.contains(line),
            "a finding in line {line}, where nothing is wrong: {report:#}"
        );
    }
    assert_eq!(found.len(), 20, "a mistake is told twice: {report:#}");
}

#[test]
fn what_new_begins_checks_and_builds() {
    let folder = TempDir::new().unwrap();
    assert_eq!(status(&ripieno(folder.path(), &["new", "dance.ripieno"])), 0);
    let output = ripieno(folder.path(), &["check", "dance.ripieno", "--format", "json"]);
    assert_eq!(status(&output), 0);
    let report: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(report["summary"]["errors"], 0, "{report:#}");
    assert_eq!(report["summary"]["warnings"], 0, "{report:#}");
    assert_eq!(status(&ripieno(folder.path(), &["build", "dance.ripieno"])), 0);
    assert!(!files(&folder.path().join("build")).is_empty());
    // It never writes over what is there.
    assert_eq!(status(&ripieno(folder.path(), &["new", "dance.ripieno"])), 2);
}

#[test]
fn the_page_for_editors_shows_a_line_that_is_printed_on_the_standard_error() {
    let page = include_str!("../editors/README.md");
    let shown = page.lines().find(|line| line.starts_with("my-dance.ripieno:")).unwrap();
    let folder = TempDir::new().unwrap();
    assert_eq!(status(&ripieno(folder.path(), &["new", "my-dance.ripieno"])), 0);
    let path = folder.path().join("my-dance.ripieno");
    let text = fs::read_to_string(&path).unwrap();
    let slip = text.replacen("1/4. C5 1/8 B4 1/4 A4", "1/4. C5 1/4 B4 A4", 1);
    assert_ne!(text, slip);
    fs::write(&path, slip).unwrap();
    let output = ripieno(folder.path(), &["check", "my-dance.ripieno", "--format", "short"]);
    assert!(errors(&output).lines().any(|line| line == shown), "{}", errors(&output));
    assert!(output.stdout.is_empty());
}

const WALTZ: &str = r#"piece "Waltz" { licence "CC0-1.0" }
form {
  1 metre 3/4, key D minor, tempo 1/4 at 120
  4 end
}
voice upper { 1: 1/2. A5 | 2: 1/2. G5 | 3: 1/2. E5 | 4: 1/2. D5 | }
voice lower { 1: 1/4 D3 F4 F4 | 2: 1/4 G3 Bb3 Bb3 | 3: 1/4 A3 C#4 C#4 | 4: 1/2. D3 | }
ensemble band {
  era 1790
  horn 2 crook F, violin-1 4 players, cello 2 players
}
scoring plain for band {
  violin-1 plays upper as melody
  cello plays lower as bass
}
"#;

fn advice(arguments: &[&str]) -> Output {
    let folder = folder_with("waltz.ripieno", WALTZ);
    let mut words = vec!["advise", arguments[0], "waltz.ripieno"];
    words.extend(&arguments[1..]);
    ripieno(folder.path(), &words)
}

#[test]
fn advice_is_given_as_data() {
    let data = |what: &str| -> Value {
        let output = advice(&[what, "--format", "json"]);
        assert_eq!(status(&output), 0, "{what}");
        serde_json::from_slice(&output.stdout).unwrap()
    };
    let crooks = data("crooks");
    for (key, count) in [("one_pair", 1), ("two_pairs", 2)] {
        let best = &crooks[key][0];
        assert_eq!(best["crooks"].as_array().unwrap().len(), count);
        assert!(best["coverage"].is_f64() && best["reason"].is_string(), "{best}");
    }
    assert_eq!(crooks["one_pair"][0]["crooks"][0], "F");
    assert_eq!(data("drums")["two_drums"][0]["tuning"], serde_json::json!(["A2", "D3"]));
    assert_eq!(data("forces")["ensembles"][0]["instrumentation"], "0.0.0.0 – 2.0.0.0 – str (4.2)");
    assert_eq!(data("voices")["voices"][0]["range"], serde_json::json!(["D5", "A5"]));
    assert_eq!(data("harmony")["bars"][1]["chords"][0]["chord"], "Gm");
}

#[test]
fn advice_on_what_is_not_there_asks_what_was_meant() {
    for (arguments, meant) in [
        (["crooks", "--scoring", "plaim"], "`plain`"),
        (["crooks", "--voice", "uper"], "`upper`"),
        (["voices", "--voice", "lover"], "`lower`"),
        (["forces", "--scoring", "plian"], "`plain`"),
    ] {
        let output = advice(&arguments);
        assert_eq!(status(&output), 2);
        let words = String::from_utf8(output.stderr).unwrap();
        assert!(words.contains(&format!("Did you mean {meant}?")), "{words}");
        assert!(output.stdout.is_empty());
    }
}

//! What is not made again: a second build of the same. What an earlier one told of the pages stands
//! in the manifest; a word put in there shows whether it was told again or found anew.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use tempfile::TempDir;

const SOURCE: &str = r#"piece "Sluice" { licence "CC0-1.0" }
form {
  1 metre 3/4, key F major
  4 end
}
voice tune { 1: 1/4 F5 A4 C5 | 2: 1/2. D5 | 3: 1/4 E5 G4 B4 | 4: 1/2. C5 | }
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
layout for plain {
  score nudge slur bar 1 up 1
}
layout {
  parts nudge slur bar 2 up 1
}
"#;

const WORD: &str = "  said by the build before\n";

struct Room(TempDir);

impl Room {
    fn new() -> Room {
        let room = Room(TempDir::new().unwrap());
        room.write("a.ripieno", SOURCE);
        room
    }

    fn write(&self, name: &str, text: &str) {
        fs::write(self.0.path().join(name), text).unwrap();
    }

    fn read(&self, name: &str) -> String {
        fs::read_to_string(self.0.path().join(name)).unwrap()
    }

    fn ripieno(&self, arguments: &[&str]) -> Output {
        let mut command = Command::new(env!("CARGO_BIN_EXE_ripieno"));
        command.current_dir(self.0.path()).args(arguments).output().expect("ripieno starts")
    }

    /// Builds, which must end well; gives back all that was said.
    fn build(&self, arguments: &[&str]) -> String {
        let all: Vec<&str> = ["build", "a.ripieno"].iter().chain(arguments).copied().collect();
        let output = self.ripieno(&all);
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        assert!(output.status.success(), "{}", text(&output.stderr));
        text(&output.stdout) + &text(&output.stderr)
    }

    /// Puts a word into what every scoring is remembered by.
    fn plant(&self) {
        let path = "build/sluice/ripieno.json";
        let mut manifest: serde_json::Value = serde_json::from_str(&self.read(path)).unwrap();
        let made = manifest["made"].as_object_mut().expect("what was made is remembered");
        assert!(!made.is_empty());
        for one in made.values_mut() {
            one["told"] = WORD.into();
        }
        self.write(path, &serde_json::to_string_pretty(&manifest).unwrap());
    }

    /// How many scorings a build told of as the one before did.
    fn again(&self, arguments: &[&str]) -> usize {
        self.build(arguments).matches(WORD.trim()).count()
    }
}

fn file(room: &Room, path: &str) -> Vec<u8> {
    fs::read(room.0.path().join("build/sluice").join(path)).unwrap()
}

#[test]
fn what_was_built_from_the_same_in_the_same_way_is_not_made_again() {
    let room = Room::new();
    room.build(&[]);
    let manifest = file(&room, "ripieno.json");
    room.plant();
    assert_eq!(room.again(&[]), 2);
    // One scoring of them, and then all.
    assert_eq!(room.again(&["--scoring", "solo"]), 1);
    assert_eq!(room.again(&[]), 2);
    // How findings are shown and judged is not in the files.
    assert_eq!(room.again(&["--format", "short", "--allow", "layout"]), 2);
    // In other words: other files.
    for other in [&["--cues", "3"][..], &["--paper", "a3"], &["--only", "pdf,midi"]] {
        assert_eq!(room.again(other), 0, "{other:?}");
    }
    // Other pages than were remembered stand there now, and with them nothing is left of the word.
    room.build(&[]);
    assert_eq!(room.again(&[]), 0);
    room.build(&["--prune"]);
    let now: serde_json::Value = serde_json::from_slice(&file(&room, "ripieno.json")).unwrap();
    let before: serde_json::Value = serde_json::from_slice(&manifest).unwrap();
    assert_eq!(now["files"], before["files"]);
}

#[test]
fn what_was_changed_or_removed_is_made_again() {
    let room = Room::new();
    room.build(&[]);
    for (path, scorings) in [("plain/score.pdf", 1), ("solo/parts/01-oboe.musicxml", 1)] {
        let before = file(&room, path);
        let place = room.0.path().join("build/sluice").join(path);
        room.plant();
        fs::write(&place, "bowings in pencil").unwrap();
        assert_eq!(room.again(&[]), scorings, "{path}");
        assert_eq!(file(&room, path), before);
        room.plant();
        fs::remove_file(&place).unwrap();
        assert_eq!(room.again(&[]), scorings, "{path}");
        assert_eq!(file(&room, path), before);
    }
    // A note, or only a remark: another source.
    for changed in [SOURCE.replace("A4 C5", "A4 D5"), format!("// for the ferry\n{SOURCE}")] {
        room.plant();
        room.write("a.ripieno", &changed);
        assert_eq!(room.again(&[]), 0);
    }
}

#[test]
fn marks_of_what_is_new_are_gone_from_the_next_build() {
    let room = Room::new();
    room.build(&[]);
    let plain = file(&room, "plain/parts/01-oboe.txt");
    room.write("old.ripieno", &SOURCE.replace("A4 C5", "A4 D5"));
    room.plant();
    assert_eq!(room.again(&["--mark-changes", "old.ripieno"]), 0);
    assert_ne!(file(&room, "plain/parts/01-oboe.txt"), plain);
    room.build(&[]);
    assert_eq!(file(&room, "plain/parts/01-oboe.txt"), plain);
}

#[test]
fn what_was_found_on_the_pages_is_told_again_at_its_place() {
    let room = Room::new();
    let told =
        |room: &Room| ["rich", "short", "json"].map(|format| room.build(&["--format", format]));
    let first = room.build(&["--format", "json"]);
    assert!(first.contains("layout/no-effect"), "{first}");
    let once = told(&room);
    room.plant();
    // What is told beside the findings was planted.
    let beside = |text: &String| {
        ["plain", "solo"]
            .iter()
            .fold(text.clone(), |text, scoring| text.replace(&format!("{scoring}:\n{WORD}"), ""))
    };
    let planted = told(&room);
    assert!(planted.iter().all(|text| text.matches(WORD).count() == 2));
    let again: Vec<String> = planted.iter().map(beside).collect();
    assert_eq!(again, once);
    assert!(room.build(&["--allow", "layout"]).find("layout/no-effect").is_none());
    // The same text with other ends of lines, or with another file before it in the same build.
    room.write("a.ripieno", &SOURCE.replace('\n', "\r\n"));
    let crlf = room.build(&["--format", "short"]);
    let lines: Vec<&str> = crlf.lines().filter(|line| line.contains("a.ripieno:")).collect();
    let before = once[1].lines().filter(|line| line.contains("a.ripieno:"));
    assert_eq!(lines, before.collect::<Vec<_>>());
}

#[test]
fn a_revision_is_noted_as_soon_as_there_is_one() {
    let room = Room::new();
    let git = |arguments: &[&str]| {
        let git = Command::new("git")
            .current_dir(room.0.path())
            .args(["-c", "user.name=Copyist", "-c", "user.email=copyist@example.org"])
            .args(arguments)
            .output()
            .expect("git starts");
        assert!(git.status.success(), "{}", String::from_utf8_lossy(&git.stderr));
    };
    room.build(&["--only", "text"]);
    git(&["init", "-q"]);
    git(&["add", "a.ripieno"]);
    git(&["commit", "-q", "-m", "The sluice"]);
    room.build(&["--only", "text"]);
    assert!(room.read("build/sluice/ripieno.json").contains("\"revision\""));
    room.plant();
    assert_eq!(room.again(&["--only", "text"]), 2);
}

#[test]
fn a_list_that_was_tampered_with_is_not_believed() {
    let room = Room::new();
    room.build(&["--only", "text,svg"]);
    room.plant();
    let path = "build/sluice/ripieno.json";
    let text = room.read(path);
    for (from, to, again) in [
        ("\"plain/score.txt\"", "\"../score.txt\"", 1),
        ("\"plain/score.txt\"", "\"plain/letter.txt\"", 1),
        ("layout/no-effect", "layout/unheard-of", 0),
    ] {
        // Only in what is remembered: the list itself is refused where it leads outside.
        let (list, made) = text.split_once("\"made\"").unwrap();
        room.write(path, &format!("{list}\"made\"{}", made.replace(from, to)));
        assert_eq!(room.again(&["--only", "text,svg"]), again, "{to}");
    }
    assert!(Path::new(&room.0.path().join("build/sluice/plain/score.txt")).exists());
}

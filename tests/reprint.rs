//! `reprint` from outside: two sources, two revisions of a checkout, a build; and `build` where it
//! marks what is new. Revisions need `git`.

use std::fs;
use std::process::{Command, Output};

use tempfile::TempDir;

const SOURCE: &str = r#"piece "Bell" { licence "CC0-1.0" }
form {
  1 metre 2/4, key D major
  8 end
}
use "forces.ripieno"
voice tune { 1: 1/4 D5 A4 | 2: 1/2 D5 | 3: 1/4 E5 D5 | 4: 1/2 A4 | 5: D5 | 6: E5 | 7: F#5 | 8: D5 | }
voice ground { 1: 1/2 D3 | 2: D3 | 3: A2 | 4: A2 | 5: D3 | 6: A2 | 7: D3 | 8: D3 | }
scoring plain for duo {
  violin-1 plays tune as melody
  cello plays ground as bass
}
"#;

const FORCES: &str = "ensemble duo {\n  era 1770\n  violin-1 4 players, cello 2 players\n}\n";

struct Room(TempDir);

impl Room {
    fn new() -> Room {
        let room = Room(TempDir::new().unwrap());
        room.write("bell.ripieno", SOURCE);
        room.write("forces.ripieno", FORCES);
        room
    }

    fn write(&self, name: &str, text: &str) {
        fs::write(self.0.path().join(name), text).unwrap();
    }

    fn read(&self, name: &str) -> String {
        fs::read_to_string(self.0.path().join(name)).unwrap()
    }

    fn run(&self, program: impl AsRef<std::ffi::OsStr>, arguments: &[&str]) -> Output {
        let mut command = Command::new(program);
        command.current_dir(self.0.path()).args(arguments).env("LC_ALL", "C");
        command.output().expect("the program starts")
    }

    fn git(&self, arguments: &[&str]) {
        let known = ["-c", "user.name=Copyist", "-c", "user.email=copyist@weir.example"];
        let all: Vec<&str> = known.iter().chain(arguments).copied().collect();
        let output = self.run("git", &all);
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    }

    fn ripieno(&self, arguments: &[&str]) -> Result<String, String> {
        let output = self.run(env!("CARGO_BIN_EXE_ripieno"), arguments);
        let text = |bytes| String::from_utf8(bytes).unwrap();
        if output.status.success() { Ok(text(output.stdout)) } else { Err(text(output.stderr)) }
    }

    /// What is to be done with each part: `violin-1 print 3,4`.
    fn reprint(&self, arguments: &[&str]) -> Vec<String> {
        let all = [&["reprint", "--format", "json"], arguments].concat();
        let json = self.ripieno(&all).unwrap();
        let changes: Vec<serde_json::Value> = serde_json::from_str(&json).unwrap();
        let say = |change: &serde_json::Value| {
            let bars = change["bars"].as_array().unwrap().iter();
            let bars: Vec<String> = bars.map(|bar| bar["number"].to_string()).collect();
            let word = |key: &str| change[key].as_str().unwrap().to_owned();
            format!("{} {} {}", word("part"), word("action"), bars.join(",")).trim_end().to_owned()
        };
        changes.iter().map(say).collect()
    }
}

fn changed() -> String {
    SOURCE.replace("3: 1/4 E5 D5 | 4: 1/2 A4", "3: 1/4 E5 F#5 | 4: 1/2 D5")
}

#[test]
fn two_sources_are_compared() {
    let room = Room::new();
    room.write("new.ripieno", &changed());
    let said = room.reprint(&["bell.ripieno", "new.ripieno"]);
    assert_eq!(said, ["violin-1 print 3,4", "cello keep"]);
    let refused = room.ripieno(&["reprint", "bell.ripieno"]).unwrap_err();
    assert!(refused.contains("reprint OLD NEW"), "{refused}");
}

#[test]
fn revisions_of_a_checkout_are_compared_with_all_that_they_use() {
    let room = Room::new();
    room.git(&["init", "--quiet"]);
    room.git(&["add", "."]);
    room.git(&["commit", "--quiet", "-m", "first"]);
    room.git(&["tag", "first"]);
    room.write("bell.ripieno", &changed());
    room.write("forces.ripieno", &FORCES.replace("violin-1 4", "violin-1 8"));
    let said = room.reprint(&["first:bell.ripieno", "bell.ripieno"]);
    assert_eq!(said, ["violin-1 print 3,4", "cello keep"]);
    room.git(&["commit", "--quiet", "--all", "-m", "second"]);
    assert_eq!(room.reprint(&["first:bell.ripieno", "HEAD:bell.ripieno"]), said);
    assert_eq!(
        room.reprint(&["HEAD:bell.ripieno", "bell.ripieno"]),
        ["violin-1 keep", "cello keep"]
    );
    let refused = room.ripieno(&["reprint", "first:gong.ripieno", "bell.ripieno"]).unwrap_err();
    assert!(refused.contains("revision first has no file gong.ripieno"), "{refused}");
    let refused = room.ripieno(&["reprint", "third:bell.ripieno", "bell.ripieno"]).unwrap_err();
    assert!(refused.contains("cannot read revision third"), "{refused}");
}

#[test]
fn a_build_knows_the_revision_from_which_it_came() {
    let room = Room::new();
    room.git(&["init", "--quiet"]);
    room.git(&["add", "."]);
    room.git(&["commit", "--quiet", "-m", "first"]);
    room.ripieno(&["build", "bell.ripieno", "--only", "text,pdf"]).unwrap();
    let manifest = room.read("build/bell/ripieno.json");
    assert_eq!(manifest.matches("\"revision\": \"").count(), 6, "{manifest}");
    room.write("bell.ripieno", &changed());
    assert_eq!(room.reprint(&["build/bell"]), ["violin-1 print 3,4", "cello keep"]);
    // A source that no revision has is named by none.
    room.ripieno(&["build", "bell.ripieno", "--only", "text,pdf"]).unwrap();
    assert!(!room.read("build/bell/ripieno.json").contains("revision"));
    assert_eq!(room.reprint(&["build/bell/ripieno.json"]), ["violin-1 keep", "cello keep"]);
}

#[test]
fn without_a_revision_a_part_is_the_same_or_to_be_printed() {
    let room = Room::new();
    room.ripieno(&["build", "bell.ripieno", "--only", "text"]).unwrap();
    room.write("bell.ripieno", &(changed() + "// A comment.\n"));
    assert_eq!(room.reprint(&["build/bell"]), ["violin-1 print", "cello keep"]);
    let table = room.ripieno(&["reprint", "build/bell"]).unwrap();
    assert!(table.contains("the old source is not known"), "{table}");
}

#[test]
fn new_bars_are_marked_in_the_parts_on_request() {
    let room = Room::new();
    room.write("new.ripieno", &changed());
    let arguments =
        ["build", "new.ripieno", "--only", "text,musicxml", "--mark-changes", "bell.ripieno"];
    room.ripieno(&arguments).unwrap();
    let below = |name: &str| room.read(&format!("build/bell/plain/parts/{name}"));
    assert!(below("01-violin-1.txt").contains("revised to bar 4"));
    assert!(below("01-violin-1.musicxml").contains("revised to bar 4"));
    assert!(!below("02-cello.txt").contains("revised"));
}

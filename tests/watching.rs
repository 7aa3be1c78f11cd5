//! `ripieno watch` as a process: what it says after each save, and what it writes.

use std::fs;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::thread;
use std::time::Duration;

use tempfile::TempDir;

const FORCES: &str = "ensemble duo {\n  era 1770\n  oboe, violin-1 4 players\n}\n";
const PIECE: &str = r#"use "forces.ripieno"
piece "Bell" { licence "CC0-1.0" }
form {
  1 metre 2/4, key D major, tempo 1/4 at 60
  2 end
}
voice tune { 1: 1/4 D5 A4 | 2: 1/2 D5 | }
scoring plain for duo {
  oboe, violin-1 plays tune as melody
}
scoring solo for duo {
  oboe plays tune as melody
  violin-1 rests
}
"#;

/// How long to wait for a line; a machine may be busy.
const PATIENCE: Duration = Duration::from_secs(120);
/// How long nothing must be said for us to believe that nothing will be.
const SILENCE: Duration = Duration::from_millis(1500);

/// A watch that is running, and the folder in which it runs.
struct Watch {
    child: Child,
    lines: Receiver<String>,
    room: TempDir,
}

impl Watch {
    /// Watches pieces in the folder `house` of a room; waits for the line about the first build.
    fn begin(pieces: &[(&str, &str)], arguments: &[&str]) -> (Watch, Vec<String>) {
        let room = TempDir::new().unwrap();
        let house = room.path().join("house");
        fs::create_dir(&house).unwrap();
        fs::write(house.join("forces.ripieno"), FORCES).unwrap();
        for (name, text) in pieces {
            fs::write(house.join(name), text).unwrap();
        }
        let files = pieces.iter().map(|(name, _)| format!("house/{name}"));
        let mut child = Command::new(env!("CARGO_BIN_EXE_ripieno"))
            .current_dir(room.path())
            .arg("watch")
            .args(files)
            .args(["--only", "text"])
            .args(arguments)
            .stdout(Stdio::piped())
            .spawn()
            .expect("ripieno starts");
        let (tell, lines) = channel();
        let said = BufReader::new(child.stdout.take().unwrap());
        thread::spawn(move || {
            said.lines().map_while(Result::ok).for_each(|line| drop(tell.send(line)));
        });
        let watch = Watch { child, lines, room };
        let first = pieces.iter().map(|_| watch.line()).collect();
        (watch, first)
    }

    fn path(&self, below: &str) -> PathBuf {
        self.room.path().join(below)
    }

    fn read(&self, below: &str) -> String {
        fs::read_to_string(self.path(below)).unwrap_or_default()
    }

    fn save(&self, below: &str, text: &str) {
        fs::write(self.path(below), text).unwrap();
    }

    /// Saves as many editors do: a new file in the place of the old one.
    fn save_by_renaming(&self, below: &str, text: &str) {
        let beside = self.path("house/.saving");
        fs::write(&beside, text).unwrap();
        fs::rename(beside, self.path(below)).unwrap();
    }

    /// The next line that is said, without its time.
    fn line(&self) -> String {
        let line = self.lines.recv_timeout(PATIENCE).expect("a line about what happened");
        let (time, said) = line.split_once("  ").expect("a time and two blanks");
        let digits = |part: &str| part.len() == 2 && part.bytes().all(|b| b.is_ascii_digit());
        assert!(time.split(':').count() == 3 && time.split(':').all(digits), "{line}");
        said.to_string()
    }

    /// The next line that says something; a folder that goes or comes may be seen half-way.
    fn line_with(&self, what: &str) -> String {
        let mut lines = std::iter::from_fn(|| Some(self.line())).take(3);
        lines.find(|line| line.contains(what)).unwrap_or_else(|| panic!("nobody says {what}"))
    }

    fn assert_silent(&self) {
        let said = self.lines.recv_timeout(SILENCE);
        assert!(said.is_err(), "nothing happened, but: {said:?}");
    }
}

impl Drop for Watch {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[test]
fn a_save_writes_what_it_changed_and_says_so_in_one_line() {
    let (watch, first) = Watch::begin(&[("bell.ripieno", PIECE)], &["-o", "out"]);
    let all =
        "house/bell.ripieno: wrote plain (score, oboe, violin-1), solo (score, oboe, violin-1)";
    assert!(first[0].starts_with(all), "{first:?}");
    assert!(watch.read("out/bell/solo/parts/01-oboe.txt").contains("Oboe"));
    watch.assert_silent();
    // Only the second scoring says something else now.
    let other =
        PIECE.replace("  oboe plays tune as melody", "  oboe plays tune as melody \"dolce\"");
    watch.save("house/bell.ripieno", &other);
    let line = watch.line();
    assert!(line.starts_with("house/bell.ripieno: wrote solo (score, oboe)"), "{line}");
    assert!(watch.read("out/bell/solo/parts/01-oboe.txt").contains("dolce"));
    // A comment changes no part.
    watch.save_by_renaming("house/bell.ripieno", &format!("{other}// done\n"));
    let line = watch.line();
    assert!(line.contains("nothing to write"), "{line}");
    // Nor does a save that changes nothing.
    watch.save_by_renaming("house/bell.ripieno", &format!("{other}// done\n"));
    watch.save("house/unrelated.txt", "x");
    watch.assert_silent();
    // What the piece uses counts as well.
    watch.save("house/forces.ripieno", &FORCES.replace("oboe", "oboe as \"Hautboy\""));
    let line = watch.line();
    assert!(line.contains("wrote plain (score, oboe)"), "{line}");
}

#[test]
fn an_error_is_told_and_the_parts_stay_until_it_is_mended() {
    let (watch, _) = Watch::begin(&[("bell.ripieno", PIECE)], &[]);
    let part = watch.read("build/bell/plain/parts/01-oboe.txt");
    watch.save("house/bell.ripieno", &PIECE.replace("D5 A4", "D5 A4 A4"));
    let line = watch.line();
    assert!(line.contains("1 error") && line.contains("nothing written"), "{line}");
    assert!(line.contains("house/bell.ripieno:7:") && line.contains("bars/too-long"), "{line}");
    assert_eq!(watch.read("build/bell/plain/parts/01-oboe.txt"), part);
    watch.save("house/bell.ripieno", &PIECE.replace("D5 A4", "D5 G4"));
    let line = watch.line();
    assert!(line.contains("wrote plain (score, oboe, violin-1), solo (score, oboe)"), "{line}");
    // Not even text.
    fs::write(watch.path("house/bell.ripieno"), b"piece \"\xE9\" { }").unwrap();
    let line = watch.line();
    assert!(line.contains("not UTF-8"), "{line}");
    watch.assert_silent();
    watch.save("house/bell.ripieno", PIECE);
    assert!(watch.line().contains("wrote plain"));
}

#[test]
fn a_file_that_is_deleted_is_waited_for() {
    let (watch, _) = Watch::begin(&[("bell.ripieno", PIECE)], &[]);
    fs::remove_file(watch.path("house/bell.ripieno")).unwrap();
    assert!(watch.line().contains("gone"));
    watch.assert_silent();
    watch.save("house/bell.ripieno", &PIECE.replace("D5 A4", "D5 G4"));
    assert!(watch.line().contains("wrote plain"));
    // A file that it uses is an error as long as it is missing.
    fs::remove_file(watch.path("house/forces.ripieno")).unwrap();
    let line = watch.line();
    assert!(line.contains("use/cannot-read"), "{line}");
    watch.save("house/forces.ripieno", FORCES);
    assert!(watch.line().contains("nothing to write"));
}

#[test]
fn a_folder_that_vanishes_may_come_back() {
    let (watch, _) = Watch::begin(&[("bell.ripieno", PIECE)], &[]);
    let (house, away) = (watch.path("house"), watch.path("away"));
    fs::rename(&house, &away).unwrap();
    watch.line_with("gone");
    fs::rename(&away, &house).unwrap();
    watch.line_with("nothing to write");
    // And what is saved in it then is seen.
    watch.save("house/bell.ripieno", &PIECE.replace("D5 A4", "D5 G4"));
    assert!(watch.line().contains("wrote plain"));
    // Removed and made anew.
    fs::remove_dir_all(&house).unwrap();
    watch.line_with("gone");
    fs::create_dir(&house).unwrap();
    watch.save("house/forces.ripieno", FORCES);
    watch.save("house/bell.ripieno", PIECE);
    watch.line_with("wrote plain");
    // What was built vanished: the next save builds all of it.
    fs::remove_dir_all(watch.path("build")).unwrap();
    watch.save("house/bell.ripieno", &PIECE.replace("D5 A4", "D5 G4"));
    let line = watch.line();
    assert!(line.contains("solo (score, oboe, violin-1)"), "{line}");
}

#[test]
fn two_saves_in_one_moment_are_built_once_and_whole() {
    let other = PIECE.replace("\"Bell\"", "\"Horn\"");
    let pieces = [("bell.ripieno", PIECE), ("horn.ripieno", other.as_str())];
    let (watch, first) = Watch::begin(&pieces, &[]);
    assert!(first[0].contains("bell") && first[1].contains("horn"), "{first:?}");
    // Twice the same file, the second time for good; then two files.
    watch.save("house/bell.ripieno", "");
    watch.save("house/bell.ripieno", &PIECE.replace("D5 A4", "D5 G4"));
    let line = watch.line();
    assert!(line.contains("bell.ripieno: wrote"), "{line}");
    watch.assert_silent();
    watch.save("house/bell.ripieno", PIECE);
    watch.save("house/horn.ripieno", &other.replace("D5 A4", "D5 G4"));
    let lines = [watch.line(), watch.line()];
    assert!(lines[0].contains("bell.ripieno: wrote"), "{lines:?}");
    assert!(lines[1].contains("horn.ripieno: wrote"), "{lines:?}");
    watch.assert_silent();
    // Each file by itself builds what uses it, and no other.
    watch.save("house/horn.ripieno", &other);
    assert!(watch.line().contains("horn.ripieno: wrote"));
    watch.assert_silent();
}

#[test]
fn a_source_that_never_was_is_a_slip_of_the_pen() {
    let room = TempDir::new().unwrap();
    let output = Command::new(env!("CARGO_BIN_EXE_ripieno"))
        .current_dir(room.path())
        .args(["watch", "none.ripieno"])
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("no file none.ripieno"));
}

#[cfg(unix)]
#[test]
fn ctrl_c_ends_it_with_status_130() {
    let (mut watch, _) = Watch::begin(&[("bell.ripieno", PIECE)], &[]);
    let sent = Command::new("kill")
        .args(["-INT", &watch.child.id().to_string()])
        .status()
        .expect("kill starts");
    assert!(sent.success());
    assert_eq!(watch.child.wait().unwrap().code(), Some(130));
    let left: Vec<_> = fs::read_dir(watch.path("build"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name())
        .collect();
    assert_eq!(left, [Path::new("bell").as_os_str()]);
}

//! Runs the tour of the README and compares what it shows with what the program prints.
//!
//! To take over new output after reading it: `UPDATE_README=1 cargo test --test readme`.

#![cfg(unix)]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

const README: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/README.md");

/// Runs one line of the tour; gives back what it prints, without blanks at the ends of lines.
fn run(line: &str, folder: &Path) -> String {
    let binary = PathBuf::from(env!("CARGO_BIN_EXE_ripieno"));
    let path = format!(
        "{}:{}",
        binary.parent().unwrap().display(),
        std::env::var("PATH").unwrap_or_default()
    );
    let output = Command::new("sh")
        .args(["-c", &format!("{line} 2>&1")])
        .current_dir(folder)
        .env("PATH", path)
        .env("LC_ALL", "C.UTF-8")
        .env("NO_COLOR", "1")
        .env("COLUMNS", "100")
        .output()
        .expect("there is no shell");
    let text = String::from_utf8(output.stdout).expect("the output is not UTF-8");
    text.lines().map(|line| format!("{}\n", line.trim_end())).collect()
}

/// Does what an edit comment says: `<!-- edit FILE | OLD | NEW -->`.
fn edit(comment: &str, folder: &Path) {
    let unescaped = comment.replace("\\n", "\n").replace("\\|", "\u{0}");
    let parts: Vec<String> =
        unescaped.split(" | ").map(|part| part.replace('\u{0}', "|")).collect();
    let [file, old, new] = &parts[..] else { panic!("an edit has three parts: {comment}") };
    let path = folder.join(file.trim());
    let text = fs::read_to_string(&path).unwrap();
    assert_eq!(text.matches(old.trim_start()).count(), 1, "`{old}` must stand once in {file}");
    fs::write(&path, text.replacen(old.trim_start(), new.trim_end(), 1)).unwrap();
}

#[test]
fn the_tour_shows_what_the_program_prints() {
    let readme = fs::read_to_string(README).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let samples = Path::new(env!("CARGO_MANIFEST_DIR")).join("samples");
    fs::create_dir(folder.path().join("samples")).unwrap();
    for entry in fs::read_dir(samples).unwrap().map(Result::unwrap) {
        fs::copy(entry.path(), folder.path().join("samples").join(entry.file_name())).unwrap();
    }
    let mut played = String::new();
    let mut inside = false;
    let mut commands = 0;
    for line in readme.lines() {
        if let Some(comment) = line.strip_prefix("<!-- edit ").and_then(|l| l.strip_suffix(" -->"))
        {
            edit(comment, folder.path());
        }
        match (inside, line) {
            (false, "```console") => inside = true,
            (true, "```") => inside = false,
            (true, _) => {
                // What the program printed last time is left out and printed anew.
                if let Some(command) = line.strip_prefix("$ ") {
                    commands += 1;
                    played.push_str(&format!("{line}\n{}", run(command, folder.path())));
                }
                continue;
            }
            _ => {}
        }
        played.push_str(line);
        played.push('\n');
    }
    assert!(commands >= 4, "the tour has lost its commands");
    if std::env::var_os("UPDATE_README").is_some() {
        fs::write(README, &played).unwrap();
        return;
    }
    assert!(
        played == readme,
        "the README shows other output than the program prints; read what `UPDATE_README=1 cargo test --test readme` changes"
    );
}

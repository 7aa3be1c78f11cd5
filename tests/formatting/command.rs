//! `ripieno fmt` from outside: what it writes, and what it leaves.

use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Output, Stdio};

use tempfile::TempDir;

const ROUGH: &str = "piece \"Bell\" { }\nvoice tune {\n1: 1/4 D5   A4|\n}\n";
const FORMED: &str = "piece \"Bell\" { }\nvoice tune {\n    1: 1/4 D5 A4 |\n}\n";

fn ripieno(folder: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_ripieno"))
        .current_dir(folder)
        .args(arguments)
        .output()
        .expect("ripieno starts")
}

fn folder_with(files: &[(&str, &str)]) -> TempDir {
    let folder = TempDir::new().unwrap();
    for (name, text) in files {
        fs::write(folder.path().join(name), text).unwrap();
    }
    folder
}

fn said(bytes: &[u8]) -> &str {
    std::str::from_utf8(bytes).unwrap()
}

#[test]
fn files_are_brought_into_the_form_and_stay_in_it() {
    let folder = folder_with(&[("a.ripieno", ROUGH), ("b.ripieno", FORMED)]);
    let before = fs::metadata(folder.path().join("b.ripieno")).unwrap().modified().unwrap();
    let output = ripieno(folder.path(), &["fmt", "a.ripieno", "b.ripieno"]);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output.stderr));
    for name in ["a.ripieno", "b.ripieno"] {
        assert_eq!(fs::read_to_string(folder.path().join(name)).unwrap(), FORMED);
    }
    let after = fs::metadata(folder.path().join("b.ripieno")).unwrap().modified().unwrap();
    assert_eq!(before, after, "a file in the form is not written");
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 2, "nothing is left behind");
}

#[test]
fn check_names_files_and_lines_and_changes_nothing() {
    let folder = folder_with(&[("a.ripieno", ROUGH), ("b.ripieno", FORMED)]);
    let output = ripieno(folder.path(), &["fmt", "--check", "a.ripieno", "b.ripieno"]);
    assert_eq!(output.status.code(), Some(1));
    assert_eq!(said(&output.stdout), "a.ripieno:3: not in the canonical form\n");
    assert_eq!(fs::read_to_string(folder.path().join("a.ripieno")).unwrap(), ROUGH);
    assert_eq!(ripieno(folder.path(), &["fmt", "--check", "b.ripieno"]).status.code(), Some(0));
}

#[test]
fn the_standard_input_goes_to_the_standard_output() {
    let mut child = Command::new(env!("CARGO_BIN_EXE_ripieno"))
        .args(["fmt", "-"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(ROUGH.as_bytes()).unwrap();
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(0));
    assert_eq!(said(&output.stdout), FORMED);
}

#[test]
fn what_cannot_be_read_is_told_and_the_rest_brought_into_the_form() {
    let folder = folder_with(&[("a.ripieno", &ROUGH.replace("}\nv", "}\nwhat  is this\nv"))]);
    let output = ripieno(folder.path(), &["fmt", "a.ripieno"]);
    assert_eq!(output.status.code(), Some(0));
    assert!(said(&output.stderr).contains("1 place could not be read"), "{output:?}");
    let text = fs::read_to_string(folder.path().join("a.ripieno")).unwrap();
    assert_eq!(text, FORMED.replace("}\nv", "}\nwhat  is this\nv"));
}

#[test]
fn where_one_file_cannot_be_read_none_is_written() {
    let folder = folder_with(&[("a.ripieno", ROUGH)]);
    fs::write(folder.path().join("b.ripieno"), b"piece \"\xE9\" { }\n").unwrap();
    for other in ["b.ripieno", "none.ripieno"] {
        let output = ripieno(folder.path(), &["fmt", "a.ripieno", other]);
        assert_eq!(output.status.code(), Some(2));
        assert!(said(&output.stderr).contains(other), "{output:?}");
        assert_eq!(fs::read_to_string(folder.path().join("a.ripieno")).unwrap(), ROUGH);
    }
}

#[cfg(unix)]
#[test]
fn a_link_stays_a_link_and_a_file_keeps_its_permissions() {
    use std::os::unix::fs::PermissionsExt;
    let folder = folder_with(&[("a.ripieno", ROUGH)]);
    let (file, link) = (folder.path().join("a.ripieno"), folder.path().join("link.ripieno"));
    fs::set_permissions(&file, fs::Permissions::from_mode(0o640)).unwrap();
    std::os::unix::fs::symlink("a.ripieno", &link).unwrap();
    assert_eq!(ripieno(folder.path(), &["fmt", "link.ripieno"]).status.code(), Some(0));
    assert!(link.symlink_metadata().unwrap().is_symlink());
    assert_eq!(fs::read_to_string(&file).unwrap(), FORMED);
    assert_eq!(fs::metadata(&file).unwrap().permissions().mode() & 0o777, 0o640);
    let rough = folder.path().join("c.ripieno");
    fs::write(&rough, ROUGH).unwrap();
    fs::set_permissions(&rough, fs::Permissions::from_mode(0o440)).unwrap();
    let output = ripieno(folder.path(), &["fmt", "c.ripieno"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(said(&output.stderr).contains("write-protected"), "{output:?}");
}

#[test]
fn shells_and_man_are_told_of_every_command() {
    let folder = TempDir::new().unwrap();
    for shell in ["bash", "elvish", "fish", "powershell", "zsh"] {
        let output = ripieno(folder.path(), &["completions", shell]);
        assert_eq!(output.status.code(), Some(0));
        assert!(said(&output.stdout).contains("instruments"), "{shell}");
    }
    let page = ripieno(folder.path(), &["man"]);
    assert!(said(&page.stdout).starts_with(".ie") && said(&page.stdout).contains(".TH ripieno 1"));
    let page = ripieno(folder.path(), &["man", "build"]);
    let page = said(&page.stdout);
    assert!(page.contains(".TH ripieno-build 1") && page.contains("despite"), "{page}");
    assert_eq!(ripieno(folder.path(), &["man", "biuld"]).status.code(), Some(2));
}

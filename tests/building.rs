//! The output folder from outside: what a build leaves alone, names, removes and refuses, and what
//! it leaves behind when it is stopped.

use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Output, Stdio};

use tempfile::TempDir;

const SOURCE: &str = r#"piece "Bell" { licence "CC0-1.0" }
form {
  1 metre 2/4, key D major
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

fn command(folder: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_ripieno"));
    command.current_dir(folder).args(arguments);
    command
}

fn ripieno(folder: &Path, arguments: &[&str]) -> Output {
    command(folder, arguments).output().expect("ripieno starts")
}

/// Runs a build that must end well, and gives back what it printed.
fn build(folder: &Path, arguments: &[&str]) -> String {
    let all: Vec<&str> = ["build"].iter().chain(arguments).copied().collect();
    let output = ripieno(folder, &all);
    assert!(output.status.success(), "{}", errors(&output));
    String::from_utf8(output.stdout).unwrap()
}

fn errors(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

fn room(sources: &[(&str, &str)]) -> TempDir {
    let room = TempDir::new().unwrap();
    for (name, text) in sources {
        fs::write(room.path().join(name), text).unwrap();
    }
    room
}

/// Everything below a folder, folders with a `/` at their end.
fn everything(folder: &Path) -> Vec<String> {
    let mut found = Vec::new();
    let mut open = vec![folder.to_path_buf()];
    while let Some(place) = open.pop() {
        for entry in fs::read_dir(place).into_iter().flatten().flatten() {
            let path = entry.path();
            let name = path.strip_prefix(folder).unwrap().to_string_lossy().into_owned();
            found.push(if path.is_dir() { name + "/" } else { name });
            if path.is_dir() {
                open.push(path);
            }
        }
    }
    found.sort();
    found
}

#[test]
fn an_unchanged_build_writes_nothing() {
    let room = room(&[("a.ripieno", SOURCE)]);
    build(room.path(), &["a.ripieno"]);
    let score = room.path().join("build/bell/plain/score.mid");
    let times = || {
        let files = everything(&room.path().join("build/bell"));
        files
            .iter()
            .map(|f| {
                fs::metadata(room.path().join("build/bell").join(f)).unwrap().modified().unwrap()
            })
            .collect::<Vec<_>>()
    };
    let before = times();
    build(room.path(), &["a.ripieno"]);
    assert_eq!(times(), before);
    fs::write(&score, "somebody wrote over it").unwrap();
    build(room.path(), &["a.ripieno"]);
    assert!(fs::read(&score).unwrap().starts_with(b"MThd"), "a build mends what it finds changed");
}

#[test]
fn text_is_laid_out_as_asked_and_a_passage_alone() {
    let room = room(&[("a.ripieno", SOURCE)]);
    let below = |path: &str| room.path().join("build/bell/plain").join(path);
    build(room.path(), &["a.ripieno", "--scoring", "plain", "--only", "text", "--text", "words"]);
    let part = fs::read_to_string(below("parts/01-oboe.txt")).unwrap();
    assert!(part.contains("\nBar 2: D5 half; the end.\n"), "{part}");
    let bars =
        ["a.ripieno", "--scoring", "plain", "--only", "text", "--bars", "2", "--output", "p"];
    build(room.path(), &bars);
    let pieces = everything(&room.path().join("p/bell/plain"));
    assert_eq!(pieces, ["bar-2.txt"]);
    let scores =
        ["a.ripieno", "--scoring", "plain", "--only", "svg,text", "--bars", "2", "--scores"];
    let scores = |kinds| [&scores[..], &[kinds, "--output", "q"]].concat();
    build(room.path(), &scores("full,concert,condensed"));
    let all =
        ["bar-2-concert.svg", "bar-2-concert.txt", "bar-2-condensed.svg", "bar-2.svg", "bar-2.txt"];
    assert_eq!(everything(&room.path().join("q/bell/plain")), all);
    let condensed =
        ["build", "a.ripieno", "--only", "text", "--bars", "2", "--scores", "condensed"];
    let refused = ripieno(room.path(), &condensed);
    assert!(errors(&refused).contains("ask for pdf, svg or png"), "{}", errors(&refused));
    let refused = ripieno(room.path(), &["build", "a.ripieno", "--only", "midi", "--bars", "2"]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(errors(&refused).contains("midi holds the whole piece"), "{}", errors(&refused));
}

#[test]
fn many_pieces_are_told_in_order_and_placed_together() {
    let sources: Vec<(String, String)> = (0..24)
        .map(|number| {
            let title = format!("\"Bell {number:02}\"");
            (format!("{number:02}.ripieno"), SOURCE.replace("\"Bell\"", &title))
        })
        .collect();
    let named: Vec<(&str, &str)> = sources.iter().map(|(n, t)| (n.as_str(), t.as_str())).collect();
    let room = room(&named);
    let mut arguments: Vec<&str> = named.iter().map(|(name, _)| *name).collect();
    arguments.extend(["--only", "text"]);
    let said = build(room.path(), &arguments);
    let told: Vec<&str> = said.lines().filter(|line| line.contains(".ripieno:")).collect();
    let wanted: Vec<String> =
        named.iter().map(|(name, _)| format!("{name}: no problems found")).collect();
    assert_eq!(told, wanted);
    assert_eq!(fs::read_dir(room.path().join("build")).unwrap().count(), 24);
    // One that cannot be read keeps all from being written.
    let mut arguments = arguments.clone();
    arguments.extend(["no-such.ripieno", "--output", "other"]);
    let refused = ripieno(room.path(), &[&["build"], arguments.as_slice()].concat());
    assert_eq!(refused.status.code(), Some(2));
    assert!(!room.path().join("other").exists(), "{}", errors(&refused));
    // Data are one object.
    let arguments = ["build", "00.ripieno", "01.ripieno", "--format", "json", "--output", "data"];
    let data = ripieno(room.path(), &arguments).stdout;
    let data: serde_json::Value = serde_json::from_slice(&data).unwrap();
    assert_eq!(data["summary"]["errors"], 0);
}

#[test]
fn packed_scores_are_read_like_plain_ones() {
    let room = room(&[("a.ripieno", SOURCE)]);
    build(room.path(), &["a.ripieno", "--only", "musicxml,mxl"]);
    let read = |ending: &str| {
        let score = format!("build/bell/plain/score.{ending}");
        let source = format!("{ending}.ripieno");
        let output = ripieno(room.path(), &["import", &score, "-o", &source]);
        assert!(output.status.success(), "{}", errors(&output));
        fs::read_to_string(room.path().join(source)).unwrap()
    };
    assert_eq!(read("mxl"), read("musicxml"));
}

#[test]
fn what_an_earlier_build_left_is_named_and_removed_on_request() {
    let room = room(&[("a.ripieno", SOURCE)]);
    let path = room.path().join("a.ripieno");
    build(room.path(), &["a.ripieno"]);
    // The same source in one format: all else is as good as it was.
    let said = build(room.path(), &["a.ripieno", "--only", "text"]);
    assert!(!said.contains("left from"), "{said}");
    // A note is changed: what is not built again is old.
    fs::write(&path, SOURCE.replace("1/2 D5", "1/2 A5")).unwrap();
    let said = build(room.path(), &["a.ripieno", "--only", "text", "--scoring", "plain"]);
    assert!(
        said.contains("stale file from an earlier build: build/bell/plain/score.mid"),
        "{said}"
    );
    assert!(
        said.contains("stale file from an earlier build: build/bell/solo/parts/01-oboe.txt"),
        "{said}"
    );
    assert!(said.contains("--prune"), "{said}");
    // One of them was changed by hand, and one is not ours: these stay.
    fs::write(room.path().join("build/bell/solo/score.txt"), "bowings in pencil").unwrap();
    fs::write(room.path().join("build/bell/solo/letter.txt"), "to the librarian").unwrap();
    let said =
        build(room.path(), &["a.ripieno", "--only", "text", "--scoring", "plain", "--prune"]);
    assert!(said.contains("removed: build/bell/plain/score.mid"), "{said}");
    assert!(said.contains("build/bell/solo/score.txt (changed by hand)"), "{said}");
    let left = everything(&room.path().join("build/bell"));
    assert_eq!(
        left,
        [
            "plain/",
            "plain/parts/",
            "plain/parts/01-oboe.txt",
            "plain/parts/02-violin-1.txt",
            "plain/score.txt",
            "ripieno.json",
            "solo/",
            "solo/letter.txt",
            "solo/score.txt"
        ]
    );
}

#[test]
fn a_scoring_and_a_title_that_were_renamed_leave_files_that_are_named() {
    let room = room(&[("a.ripieno", SOURCE)]);
    let path = room.path().join("a.ripieno");
    build(room.path(), &["a.ripieno"]);
    fs::write(&path, SOURCE.replace("scoring solo", "scoring alone")).unwrap();
    let said = build(room.path(), &["a.ripieno"]);
    assert!(said.contains("stale file from an earlier build: build/bell/solo/score.txt"), "{said}");
    fs::write(&path, SOURCE.replace("\"Bell\"", "\"Gong\"")).unwrap();
    let said = build(room.path(), &["a.ripieno"]);
    assert!(
        said.contains("stale folder from an earlier build called \"Bell\": build/bell"),
        "{said}"
    );
    build(room.path(), &["a.ripieno", "--prune"]);
    assert!(!room.path().join("build/bell").exists());
    assert!(room.path().join("build/gong/plain/score.txt").exists());
}

#[test]
fn another_piece_of_the_same_name_is_refused() {
    let room = room(&[("a.ripieno", SOURCE), ("b.ripieno", SOURCE)]);
    build(room.path(), &["a.ripieno"]);
    let score = room.path().join("build/bell/plain/score.txt");
    let before = fs::read(&score).unwrap();
    fs::write(room.path().join("b.ripieno"), SOURCE.replace("1/2 D5", "1/2 A5")).unwrap();
    let output = ripieno(room.path(), &["build", "b.ripieno"]);
    assert_eq!(output.status.code(), Some(2));
    let said = errors(&output);
    assert!(said.contains("a.ripieno") && said.contains("another title"), "{said}");
    assert_eq!(fs::read(&score).unwrap(), before);
    // A source that was renamed keeps its folder.
    fs::rename(room.path().join("a.ripieno"), room.path().join("c.ripieno")).unwrap();
    build(room.path(), &["c.ripieno"]);
}

#[test]
fn a_list_that_cannot_be_read_stops_the_build() {
    let room = room(&[("a.ripieno", SOURCE)]);
    build(room.path(), &["a.ripieno"]);
    fs::write(room.path().join("build/bell/ripieno.json"), "{ \"files\": 7 }").unwrap();
    let output = ripieno(room.path(), &["build", "a.ripieno"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(errors(&output).contains("move it away"), "{}", errors(&output));
}

#[test]
fn two_pieces_are_written_together_or_not_at_all() {
    let other = SOURCE.replace("\"Bell\"", "\"Gong\"");
    let room = room(&[("a.ripieno", SOURCE), ("b.ripieno", &other)]);
    fs::create_dir_all(room.path().join("build/gong/solo/score.txt")).unwrap();
    let output = ripieno(room.path(), &["build", "a.ripieno", "b.ripieno"]);
    assert_eq!(output.status.code(), Some(2), "{}", errors(&output));
    let left = everything(&room.path().join("build"));
    assert_eq!(left, ["gong/", "gong/solo/", "gong/solo/score.txt/"]);
}

#[test]
fn the_standard_input_is_a_source_and_devices_are_none() {
    let room = room(&[]);
    let mut child = command(room.path(), &["build", "-", "--only", "text"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(SOURCE.as_bytes()).unwrap();
    assert!(child.wait_with_output().unwrap().status.success());
    assert!(room.path().join("build/bell/plain/score.txt").exists());
    if cfg!(unix) {
        let output = ripieno(room.path(), &["check", "/dev/zero"]);
        assert_eq!(output.status.code(), Some(2));
        assert!(errors(&output).contains("it is not a file"), "{}", errors(&output));
    }
}

#[test]
fn findings_name_a_source_as_it_was_given() {
    let room = room(&[]);
    fs::create_dir_all(room.path().join("here")).unwrap();
    fs::create_dir_all(room.path().join("music/parts")).unwrap();
    let wrong =
        "use \"parts/forces.ripieno\"\n".to_string() + &SOURCE.replace("plays tune", "plays tuen");
    fs::write(room.path().join("music/a.ripieno"), wrong).unwrap();
    fs::write(
        room.path().join("music/parts/forces.ripieno"),
        "ensemble few {\n era 1770\n obeo\n}\n",
    )
    .unwrap();
    let here = room.path().join("here");
    for given in [
        "../music/a.ripieno".to_string(),
        room.path().join("music/a.ripieno").display().to_string(),
    ] {
        let said = errors(&ripieno(&here, &["check", "--format", "short", &given]));
        assert!(said.contains(&format!("{given}:")), "{said}");
        let used = given.replace("a.ripieno", "parts/forces.ripieno");
        assert!(said.contains(&format!("{used}:3:")), "{said}");
    }
}

#[cfg(unix)]
#[test]
fn links_to_one_folder_are_one_folder() {
    let room = room(&[]);
    let shelf = room.path().join("shelf");
    fs::create_dir(&shelf).unwrap();
    for link in ["a", "b"] {
        std::os::unix::fs::symlink(&shelf, room.path().join(link)).unwrap();
        std::os::unix::fs::symlink("..", shelf.join(link)).unwrap();
    }
    // Each file uses the next by two ways: told apart by spelling, there are 2^20 of them.
    for n in 0..20 {
        let text = format!("use \"../a/{0}.ripieno\"\nuse \"../b/{0}.ripieno\"\n", n + 1);
        fs::write(shelf.join(format!("{n}.ripieno")), text).unwrap();
    }
    fs::write(shelf.join("20.ripieno"), "ensemble few {\n  era 1770\n  oboe\n}\n").unwrap();
    fs::write(room.path().join("root.ripieno"), "use \"shelf/0.ripieno\"\n").unwrap();
    let output = ripieno(room.path(), &["check", "--format", "short", "root.ripieno"]);
    assert!(output.status.success(), "{}", errors(&output));
}

/// A source that takes a while, and its parts many files.
fn large() -> String {
    let mut source = String::from(
        "piece \"Large\" { }\nform {\n 1 metre 4/4, key D major\n 100 end\n}\nvoice tune {\n",
    );
    for bar in 1..=100 {
        source.push_str(&format!(" {bar}: 1/8 D5 E F# G A G F# E |\n"));
    }
    source.push_str("}\nensemble many {\n era 1885\n flute 12, oboe 12, bassoon 12\n}\n");
    for scoring in 0..3 {
        source.push_str(&format!("scoring s{scoring} for many {{\n flute, oboe plays tune as melody\n bassoon plays tune 8vb as bass\n}}\n"));
    }
    source
}

#[cfg(unix)]
#[test]
fn a_build_that_is_stopped_leaves_nothing_half_done() {
    let room = room(&[("a.ripieno", &large())]);
    let mut stopped = 0;
    for round in 0..9_u32 {
        let folder = format!("out{}", round % 2);
        let mut child = command(
            room.path(),
            &[
                "build",
                "a.ripieno",
                "-o",
                &folder,
                "--allow",
                "all",
                "--only",
                "text,midi,musicxml",
            ],
        )
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
        // Moments spread over the build, whatever the machine's speed.
        let place = room.path().join(&folder);
        for _ in 0..(round * 40) {
            if everything(&place).len() > (round * 15) as usize {
                break;
            }
            std::thread::yield_now();
        }
        let signal = if round % 3 == 0 { "-TERM" } else { "-INT" };
        let _ = Command::new("kill").args([signal, &child.id().to_string()]).status();
        let status = child.wait().unwrap();
        let left = everything(&place);
        assert!(!left.iter().any(|path| path.starts_with(".ripieno")), "{left:?}");
        if status.success() {
            continue;
        }
        // A signal that comes before anybody listens ends the process by itself.
        assert!(matches!(status.code(), Some(130) | None), "{status}");
        stopped += 1;
    }
    assert!(stopped > 0, "no build was stopped");
    build(room.path(), &["a.ripieno", "-o", "out0", "--allow", "all"]);
}

#[cfg(unix)]
#[test]
fn builders_of_one_folder_end_whole_or_refused() {
    let room = room(&[("a.ripieno", &large())]);
    let children: Vec<_> = (0..4)
        .map(|_| {
            command(room.path(), &["build", "a.ripieno", "--only", "text", "--allow", "all"])
                .stdout(Stdio::null())
                .stderr(Stdio::piped())
                .spawn()
                .unwrap()
        })
        .collect();
    let mut whole = 0;
    for child in children {
        let output = child.wait_with_output().unwrap();
        whole += usize::from(output.status.success());
        assert!(
            output.status.success() || errors(&output).contains("another build"),
            "{}",
            errors(&output)
        );
    }
    assert!(whole > 0);
    let built = everything(&room.path().join("build"));
    assert_eq!(built.iter().filter(|path| path.ends_with(".txt")).count(), 3 * 37);
}

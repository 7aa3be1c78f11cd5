//! Who shares a staff of a condensed score still reads how loud he is to play: at each of his notes the level
//! that his own part has there, and after rests and where a hairpin sets out the sign itself; and he grows and
//! fades where his own part does.

mod hairpins;
mod loudness;
#[path = "../shared/mod.rs"]
mod shared;

use ripieno::arrange::arrange;
use ripieno::diagnostics::Sources;
use ripieno::edition::condensed_score;
use ripieno::notate::{Score, notate};
use ripieno::resolve;

use shared::choices::Choices;
use shared::generator::{paired_source, source};
use shared::random::Random;
use shared::shelf::Shelf;

fn samples() -> Shelf {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/samples/");
    let files = std::fs::read_dir(folder).unwrap().map(|file| file.unwrap().path());
    let files = files.filter(|path| path.extension().is_some_and(|kind| kind == "ripieno"));
    let read = |path: std::path::PathBuf| {
        let name = path.file_name().unwrap().to_str().unwrap().to_string();
        (name, std::fs::read_to_string(&path).unwrap())
    };
    Shelf(files.map(read).collect())
}

/// What they cannot read from the staves that they share.
fn check(score: &Score) -> Vec<String> {
    let edition = condensed_score(score);
    let shared =
        edition.parts.iter().filter(|part| part.players.len() == 2 && part.staves.len() == 1);
    shared
        .flat_map(|part| {
            let mut missing = loudness::unread(score, &edition, part);
            missing.extend(hairpins::unread(score, &edition, part));
            missing
        })
        .collect()
}

#[test]
fn who_shares_a_staff_reads_his_own_level_at_each_entry() {
    let mut shelf = samples();
    let mut names: Vec<String> = shelf.0.keys().cloned().collect();
    names.sort();
    let mut missing = Vec::new();
    for name in names {
        let text = shelf.0[&name].clone();
        let mut sources = Sources::new();
        let file = sources.add(&name, text);
        let (piece, _) = resolve::resolve(&mut sources, file, &mut shelf);
        for scoring in &piece.scorings {
            let score = notate(&arrange(&piece, scoring));
            let of_it = check(&score).into_iter();
            missing.extend(of_it.map(|one| format!("{name}, {}: {one}", scoring.name)));
        }
    }
    assert!(missing.is_empty(), "{}:\n{}", missing.len(), missing.join("\n"));
}

/// What nobody can read in a piece that is made of some bytes.
fn missing_in(text: &str) -> Vec<String> {
    let mut sources = Sources::new();
    let file = sources.add("made.ripieno", text.to_owned());
    let (piece, _) = resolve::resolve(&mut sources, file, &mut resolve::NoFiles);
    piece.scorings.iter().flat_map(|one| check(&notate(&arrange(&piece, one)))).collect()
}

/// Pieces with anything in them, the same in every run, and others: `RIPIENO_CASES=10000` tries so many more.
#[test]
fn whatever_is_written_each_reads_his_level() {
    let mut random = Random(1725);
    let cases = std::env::var("RIPIENO_CASES").ok().and_then(|cases| cases.parse().ok());
    for case in 0..cases.unwrap_or(200) {
        let length = random.below(1500);
        let bytes: Vec<u8> = (0..length).map(|_| random.below(256).try_into().unwrap()).collect();
        let choices = &mut Choices::new(&bytes);
        let text = if case % 2 == 0 { source(choices) } else { paired_source(choices) };
        let missing = missing_in(&text);
        assert!(missing.is_empty(), "{}\n{text}", missing.join("\n"));
    }
}

//! What must hold of every import: it ends without a panic, and its source compiles.

use std::sync::Arc;

use ripieno::arrange::arrange;
use ripieno::diagnostics::{Severity, Sources};
use ripieno::edition::full_score;
use ripieno::import::{Import, Options, Reduction, Setting, import};
use ripieno::music::{Pitch, Time};
use ripieno::notate::notate;
use ripieno::render::musicxml;
use ripieno::resolve::{NoFiles, Piece, resolve};

/// Imports any bytes in every way, and compiles what comes out.
pub fn import_anything(bytes: &[u8]) {
    let plain = Options { title: "Anything".into(), ..Options::default() };
    let ways = [
        Options { setting: Setting::Scoring, ..plain.clone() },
        Options { reduce: Some(Reduction::Three), bars: Some((1, 2)), ..plain.clone() },
        plain,
    ];
    for way in ways {
        if let Ok(Import { source, report }) = import(bytes, &way) {
            let _ = report.to_text();
            compiled(&source);
        }
    }
}

/// The piece of an imported source, in which nothing may be wrong but the music.
pub fn compiled(source: &str) -> Arc<Piece> {
    let mut sources = Sources::new();
    let file = sources.add("imported.ripieno", source);
    let (piece, findings) = resolve(&mut sources, file, &mut NoFiles);
    let wrong = findings.iter().find(|finding| {
        // How an instrument is to be tuned is for the arranger to say.
        let music = ["names/tuned", "natural-brass/drum-outside", "names/key"];
        finding.severity == Severity::Error && !music.contains(&finding.code)
    });
    assert!(wrong.is_none(), "{wrong:#?}\n{source}");
    piece
}

/// A note: beginning, end, and the keys that it sounds. Written parts may spell them otherwise.
type Sounded = (Time, Time, Vec<i32>);

/// Writes every scoring of a source as MusicXML and imports it: the same notes must come back.
pub fn assert_comes_back(source: &str) {
    let piece = compiled(source);
    for scoring in &piece.scorings {
        let arrangement = arrange(&piece, scoring);
        let mut wanted: Vec<Sounded> = arrangement
            .parts
            .iter()
            .flat_map(|part| &part.notes)
            .map(|note| (note.start, note.end(), keys(note.sound.pitches())))
            .collect();
        let file = musicxml::write(&full_score(&notate(&arrangement)));
        let imported = import(&file, &Options { title: "Back".into(), ..Options::default() });
        let imported = match imported {
            Ok(imported) => imported.source,
            // A scoring in which nobody plays has nothing to be imported.
            Err(_) if wanted.is_empty() => continue,
            Err(error) => panic!("{error}\n{source}"),
        };
        let back = compiled(&imported);
        let mut found: Vec<Sounded> = back
            .voices
            .iter()
            .flat_map(|voice| &voice.music.notes)
            .map(|note| (note.start, note.start + note.length, keys(note.sound.pitches())))
            .collect();
        for notes in [&mut wanted, &mut found] {
            split_into_heads(notes);
        }
        let missing: Vec<&Sounded> = wanted.iter().filter(|note| !found.contains(note)).collect();
        assert!(missing.is_empty(), "{missing:?}\n{source}\n{imported}");
        assert_eq!(wanted.len(), found.len(), "{source}\n{imported}");
    }
}

fn keys(pitches: &[Pitch]) -> Vec<i32> {
    pitches.iter().map(|pitch| pitch.midi()).collect()
}

/// One note for each head: chords may be parted into several voices.
fn split_into_heads(notes: &mut Vec<Sounded>) {
    let heads = notes.drain(..).flat_map(|(start, end, pitches)| match pitches.len() {
        0 => vec![(start, end, pitches)],
        _ => pitches.into_iter().map(|pitch| (start, end, vec![pitch])).collect(),
    });
    let mut heads: Vec<Sounded> = heads.collect();
    heads.sort();
    *notes = heads;
}

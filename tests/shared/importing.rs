//! What must hold of every import: it ends without a panic, and its source compiles.

use std::collections::BTreeSet;
use std::sync::Arc;

use ripieno::arrange::arrange;
use ripieno::diagnostics::{BarNumbers, Severity, Sources};
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
        Options {
            reduce: Some(Reduction::Three),
            bars: Some(BarNumbers::new(1, 2)),
            ..plain.clone()
        },
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
        let mut trembling: Vec<Sounded> = arrangement
            .parts
            .iter()
            .flat_map(|part| &part.notes)
            .filter(|note| note.attached.tremolo > 0)
            .map(|note| (note.start, note.end(), keys(note.sound.pitches())))
            .collect();
        // A stroke that is held while its player takes another instrument is one on each of them.
        let unpitched = |note: &&Sounded| note.2.is_empty();
        let mut in_strokes: Vec<Sounded> = wanted.iter().filter(unpitched).cloned().collect();
        in_strokes.extend(trembling.iter().filter(|note| !unpitched(note)).cloned());
        let file = musicxml::write(&full_score(&notate(&arrangement)));
        let imported = import(&file, &Options { title: "Back".into(), ..Options::default() });
        let imported = match imported {
            // The strokes of a tremolo that is held into a tuplet lie between all its values.
            Ok(imported) if !trembling.is_empty() && has_moved(&imported) => continue,
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
        for notes in [&mut wanted, &mut found, &mut trembling, &mut in_strokes] {
            split_into_heads(notes);
        }
        // What is doubled in octaves may lie beyond all instruments. MusicXML writes octaves 0 to
        // 9, from which the glockenspiel sounds two octaves away: what lies beyond is written there.
        let beyond = |(.., keys): &&Sounded| keys.iter().any(|key| !(36..=103).contains(key));
        // Nor can the strokes of a tremolo there be told from other notes.
        if trembling.iter().any(|note| beyond(&note)) {
            continue;
        }
        // What lies beyond is left out with all that sounds just as long; strokes before that, or
        // they would be left over.
        put_strokes_together(&wanted, &in_strokes, &mut found);
        let beyond: BTreeSet<(Time, Time)> =
            wanted.iter().filter(beyond).map(|(start, end, _)| (*start, *end)).collect();
        for notes in [&mut wanted, &mut found] {
            notes.retain(|(start, end, _)| !beyond.contains(&(*start, *end)));
        }
        let missing: Vec<&Sounded> = wanted.iter().filter(|note| !found.contains(note)).collect();
        assert!(missing.is_empty(), "{missing:?}\n{source}\n{imported}");
        let count = |notes: &[Sounded], note: &Sounded| notes.iter().filter(|n| *n == note).count();
        let other = wanted.iter().chain(&found);
        let other: Vec<&Sounded> =
            other.filter(|note| count(&wanted, note) != count(&found, note)).collect();
        assert!(other.is_empty(), "not as often as it was: {other:?}\n{source}\n{imported}");
    }
}

/// Were times moved that nothing reaches?
fn has_moved(imported: &Import) -> bool {
    imported.report.losses.iter().any(|loss| loss.what.starts_with("times that no value"))
}

/// Puts the strokes of a tremolo together where they are written out, for want of a stem that could
/// show them.
fn put_strokes_together(wanted: &[Sounded], trembling: &[Sounded], found: &mut Vec<Sounded>) {
    let count = |notes: &[Sounded], note: &Sounded| notes.iter().filter(|n| *n == note).count();
    for note in trembling {
        if count(found, note) >= count(wanted, note) {
            continue;
        }
        let (start, end, keys) = note;
        let mut strokes = Vec::new();
        let mut at = *start;
        while at < *end {
            let stroke = found.iter().position(|(from, to, other)| {
                *from == at && to > from && to <= end && other == keys
            });
            let Some(stroke) = stroke else { break };
            at = found[stroke].1;
            strokes.push(found.remove(stroke));
        }
        if at == *end {
            found.push(note.clone());
        } else {
            found.extend(strokes);
        }
    }
    found.sort();
}

/// The keys of a chord, each once: two spellings of one key may be written as one.
fn keys(pitches: &[Pitch]) -> Vec<i32> {
    let keys: BTreeSet<i32> = pitches.iter().map(|pitch| pitch.midi()).collect();
    keys.into_iter().collect()
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

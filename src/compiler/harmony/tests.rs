use std::sync::Arc;

use super::*;
use crate::diagnostics::Sources;
use crate::resolve::{NoFiles, resolve};

pub(super) fn piece(form: &str, rest: &str) -> Arc<Piece> {
    let text = format!("piece \"Test\" {{ }}\nform {{\n{form}\n}}\n{rest}\n");
    let mut sources = Sources::new();
    let file = sources.add("test.ripieno", text);
    let (piece, findings) = resolve(&mut sources, file, &mut NoFiles);
    assert!(findings.is_empty(), "{findings:?}");
    piece
}

fn symbols(piece: &Piece) -> String {
    let chords: Vec<String> =
        infer(piece).events.iter().map(|event| event.chord.to_string()).collect();
    chords.join(" ")
}

const D_MINOR: &str = "1 metre 4/4, key D minor\n2 end";

#[test]
fn a_cadence_in_minor_has_the_raised_leading_note() {
    let piece = piece(
        D_MINOR,
        "voice upper {\n1: 1/2 F5 E5 |\n2: 1/2 E5 1/2 D5 |\n}
voice middle {\n1: 1/2 A4 Bb4 |\n2: 1/2 C#5 1/2 A4 |\n}
voice lower {\n1: 1/2 D3 G3 |\n2: 1/2 A3 1/2 F3 |\n}",
    );
    assert_eq!(symbols(&piece), "Dm Edim/G A Dm/F");
}

#[test]
fn a_note_that_nobody_sounds_is_taken_from_the_key() {
    let piece = piece(
        "1 metre 3/4, key G minor\n3 end",
        "voice upper {\n1: 1/4 G5 1/8 D5 G5 A5 Bb5 |\n2: 1/4 A5 F#5 D5 |\n3: 1/2. G5 |\n}
voice lower {\n1: 1/4 G2 1/8 D3 G3 A3 Bb3 |\n2: 1/4 C4 D3 F#3 |\n3: 1/2. G3 |\n}",
    );
    assert!(!symbols(&piece).contains("Am"), "no voice has an E: {}", symbols(&piece));
}

#[test]
fn passing_notes_and_suspensions_do_not_change_the_chord() {
    let piece = piece(
        "1 metre 4/4, key C major\n2 end",
        "voice upper {\n1: 1/8 E5 D5 C5 D5 1/2 E5 |\n2: 1/2 F5 1/2 E5 |\n}
voice middle {\n1: 1/1 G4 |\n2: 1/4 C5 1/4 B4 1/2 C5 |\n}
voice lower {\n1: 1/1 C3 |\n2: 1/2 G3 1/2 C3 |\n}",
    );
    assert_eq!(symbols(&piece), "C G7 C");
}

#[test]
fn a_bass_that_falls_from_a_root_passes_its_seventh() {
    let piece = piece(
        "1 metre 6/8, key Bb major\n2 end",
        "voice upper {\n1: 1/4. Bb5 1/4 F5 1/8 D5 |\n2: 1/4. Eb5 Bb5 |\n}
voice lower {\n1: 1/4. Bb2 Ab2 |\n2: 1/4. G2 G2 |\n}",
    );
    assert_eq!(symbols(&piece), "Bb Bb7/Ab Eb/G");
}

#[test]
fn a_diminished_seventh_takes_its_root_from_the_spelling() {
    let piece = piece(
        "1 metre 4/4, key D minor\n3 end",
        "voice upper {\n1: 1/1 F5&A5 |\n2: 1/1 E5&G5&Bb5 |\n3: 1/1 F5&A5 |\n}
voice lower {\n1: 1/1 D3 |\n2: 1/1 C#3 |\n3: 1/1 D3 |\n}",
    );
    assert_eq!(symbols(&piece), "Dm C#dim7 Dm");
}

#[test]
fn a_broken_chord_is_one_chord() {
    let piece = piece(
        "1 metre 3/4, key G major\n2 end",
        "voice tune {\n1: 1/4 G4 B4 D5 |\n2: 1/4 A4 C5 F#5 |\n}
voice bass {\n1: 3/4 G2 |\n2: 3/4 D3 |\n}",
    );
    assert_eq!(symbols(&piece), "G D7");
}

#[test]
fn declared_harmony_goes_before_inferred() {
    let piece =
        piece(D_MINOR, "harmony { 1: Gm | 2: Dm | }\nvoice v {\n1: 1/1 D4&F4&A4 |\n2: rest |\n}");
    assert!(matches!(harmony_of(&piece), Cow::Borrowed(events) if events.len() == 2));
}

#[test]
fn silence_has_no_harmony_and_rests_keep_the_chord() {
    let silent = piece(D_MINOR, "voice v {\n1: rest |\n2: rest |\n}");
    assert_eq!(infer(&silent), InferredHarmony::default());
    let pausing = piece(D_MINOR, "voice v {\n1: 1/2 D4&F4&A4 rest |\n2: rest |\n}");
    assert_eq!(symbols(&pausing), "Dm Dm");
}

#[test]
fn events_fill_every_bar_without_gap_or_overlap_even_with_a_pick_up() {
    let piece = piece(
        "0 metre 3/4, key F major, pick-up 1/4\n2 length 2/4\n2 end",
        "voice v {\n0: 1/4 C5 |\n1: 1/4 F5 A5 G5 |\n2: 1/4 E5 F5 |\n}",
    );
    let inferred = infer(&piece);
    let mut at = Time::ZERO;
    for event in &inferred.events {
        assert_eq!(event.start, at);
        at += event.length;
        let bar = piece.form.bar_at(event.start);
        assert!(event.start + event.length <= bar.start + bar.length);
    }
    assert_eq!(at, piece.form.end());
    assert_eq!(inferred.certainty.len(), piece.form.bars.len());
    assert!(inferred.certainty.iter().all(|sure| (0.0..=1.0).contains(sure)));
}

//! What all tests of computed lines need, and tests of whole lines.

use std::fmt::Write;
use std::ops::RangeInclusive;
use std::sync::Arc;

use proptest::prelude::*;

use super::Request;
use crate::arrange::taking::at_hand;
use crate::arrange::{Arrangement, LineId, Part, arrange};
use crate::diagnostics::{Diagnostic, Severity, Sources};
use crate::instruments::{Limit, PartialClass};
use crate::music::{Pitch, Time};
use crate::resolve::{BarIndices, NoFiles, Piece, resolve};

/// A piece from a few declarations.
pub(in crate::arrange) fn piece(text: &str) -> Arc<Piece> {
    let mut sources = Sources::new();
    let id = sources.add("test.ripieno".to_string(), format!("piece \"Test\" {{\n}}\n{text}"));
    let (piece, mut diagnostics) = resolve(&mut sources, id, &mut NoFiles);
    // Small tests end where their voices end, and what is drawn by lot may slur a repeated note, or one.
    let fine = ["bars/no-end", "bars/slur-or-tie"];
    let of_one =
        |finding: &Diagnostic| finding.code == "bars/slur" && finding.severity == Severity::Warning;
    diagnostics.retain(|finding| !fine.contains(&finding.code) && !of_one(finding));
    assert!(diagnostics.is_empty(), "{diagnostics:#?}");
    piece
}

/// Chord symbols, one a bar.
pub(in crate::arrange) fn chord_symbols(
    count: RangeInclusive<usize>,
) -> impl Strategy<Value = Vec<String>> {
    let root =
        prop::sample::select(vec!["D", "G", "A", "C", "F", "Bb", "E", "B", "Eb", "F#", "Ab", "C#"]);
    let kind = prop::sample::select(vec![
        "", "m", "7", "m7", "maj7", "dim", "dim7", "m7b5", "sus4", "aug", "9", "6",
    ]);
    prop::collection::vec((root, kind).prop_map(|(root, kind)| format!("{root}{kind}")), count)
}

/// Two voices in 3/4: for each bar a rhythm and the steps of the upper one, and a bass note.
pub(in crate::arrange) fn melody(bars: usize) -> impl Strategy<Value = Vec<(u8, [u8; 4], u8)>> {
    prop::collection::vec((0u8..5, prop::array::uniform4(0u8..12), 0u8..10), bars)
}

const NAMES: [&str; 7] = ["C", "D", "E", "F", "G", "A", "B"];

fn note(step: u8, octave: u8) -> String {
    format!("{}{}", NAMES[usize::from(step % 7)], octave + step / 7)
}

/// A line of an ensemble and its year.
pub(super) fn wind() -> impl Strategy<Value = (&'static str, i32)> {
    prop::sample::select(vec![
        ("oboe 2", 1770),
        ("flute", 1725),
        ("horn 2 crook F", 1770),
        ("horn 2 crook D", 1725),
        ("horn 4 crook F, D", 1810),
        ("horn 2 crook Bb basso", 1810),
        ("horn 2 crook C alto", 1770),
        ("trumpet 2 crook D", 1770),
        ("trumpet 2 crook Eb", 1740),
        ("timpani tuned D3, A2", 1810),
        ("clarinet 2 in Bb, bassoon 2", 1810),
        ("horn 4 in F", 1885),
        ("trumpet 2 in Bb", 1885),
        ("trumpet 3 in F", 1885),
        ("alto-trombone, tenor-trombone, bass-trombone", 1885),
        ("oboe 2, clarinet 2 in A, bassoon 2", 1885),
    ])
}

/// A piece of random music with one computed line for all wind of its ensemble.
pub(super) fn arranged_piece(
    chords: &[String],
    tune: &[(u8, [u8; 4], u8)],
    era: i32,
    players: &str,
    verb: &str,
) -> Arc<Piece> {
    let who: Vec<&str> = players
        .split(", ")
        .filter_map(|line| line.split(' ').next())
        .filter(|word| word.starts_with(char::is_lowercase))
        .collect();
    scored_piece(chords, tune, era, players, &format!("{} {verb}", who.join(", ")))
}

/// A piece of random music with these lines of its scoring.
pub(super) fn scored_piece(
    chords: &[String],
    tune: &[(u8, [u8; 4], u8)],
    era: i32,
    players: &str,
    lines: &str,
) -> Arc<Piece> {
    piece(&scored_text(chords, tune, era, players, lines))
}

/// The text of that piece.
pub(in crate::arrange) fn scored_text(
    chords: &[String],
    tune: &[(u8, [u8; 4], u8)],
    era: i32,
    players: &str,
    lines: &str,
) -> String {
    let mut text = format!(
        "form {{\n 1 metre 3/4, key D minor, tempo 1/4 at 96\n {} end\n}}\nharmony {{\n",
        chords.len()
    );
    for (bar, chord) in chords.iter().enumerate() {
        let _ = write!(text, "{}: {chord} | ", bar + 1);
    }
    text.push_str("\n}\nvoice upper {\n");
    for (bar, (rhythm, steps, _)) in tune.iter().enumerate().take(chords.len()) {
        let [a, b, c, d] = steps.map(|step| note(step, 5));
        let notes = match rhythm {
            0 => format!("1/2. {a}"),
            1 => format!("1/4 {a} {b} {c}"),
            2 => format!("1/4 {a} 1/8 {b} {b} {c} {d}"),
            3 => format!("1/2 {a} 1/4 rest"),
            _ => format!("1/16 {a} {b} {c} {d} 1/4 {a} rest"),
        };
        let _ = writeln!(text, "{}: {notes} |", bar + 1);
    }
    text.push_str("}\nvoice lower {\n");
    for (bar, (_, _, bass)) in tune.iter().enumerate().take(chords.len()) {
        let _ = writeln!(text, "{}: 1/2. {} |", bar + 1, note(*bass, 2));
    }
    let _ = write!(
        text,
        "}}\nensemble band {{\n era {era}\n {players}\n}}\nscoring all for band {{\n {lines}\n}}\n",
    );
    text
}

/// The request of the first line of an arrangement.
pub(super) fn request<'r, 'a: 'r>(
    piece: &'a Piece,
    arrangement: &'r Arrangement,
) -> Request<'r, 'a> {
    Request {
        voices: piece.voices.iter().map(|voice| at_hand(&voice.music.notes)).collect(),
        written: Vec::new(),
        basses: Vec::new(),
        within: BarIndices::all(&piece.form),
        piece,
        harmony: &piece.harmony,
        era: arrangement.era,
        line: &piece.scorings[0].lines[0],
        line_id: LineId(0),
        parts: arrangement.parts.iter().map(|part| &**part).collect(),
        kept: vec![false; arrangement.parts.len()],
        around: std::sync::Arc::new([]),
    }
}

/// Has the player this note? Asked of the catalogue, not of the code that chose the note.
pub(super) fn has_note(part: &Part, era: i32, time: Time, sounding: Pitch) -> bool {
    let instrument = part.player.instrument;
    if !instrument.drums.is_empty() {
        return part.player.drums.contains(&sounding);
    }
    let written = part.written(sounding, time);
    let Some(compass) = instrument.compass(Limit::Custom, era) else { return false };
    let asked = if instrument.compass_is_written { written } else { sounding };
    let inside = (compass.low.midi()..=compass.high.midi()).contains(&asked.midi())
        && compass.missing.iter().all(|missing| missing.midi() != asked.midi());
    let Some(series) = &instrument.natural else { return inside };
    let (low, high) = if part.player.is_second() { series.second } else { series.first };
    match series.classify(written, era) {
        PartialClass::OpenInTune(partial) => inside && (low..=high).contains(&partial),
        _ => false,
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn signals_and_highlights_take_only_notes_that_the_player_has(
        chords in chord_symbols(1..=16),
        tune in melody(16),
        (players, era) in wind(),
        verb in prop::sample::select(vec![
            "signals upper", "signals lower", "highlights", "highlights beat 1, beat 3",
            "sustains each beat", "sustains off the beat", "sustains each chord",
        ]),
    ) {
        let piece = arranged_piece(&chords, &tune, era, players, verb);
        let arrangement = arrange(&piece, &piece.scorings[0]);
        for part in &arrangement.parts {
            let mut until = Time::ZERO;
            for note in &part.notes {
                let pitch = note.sound().pitches()[0];
                prop_assert!(has_note(part, era, note.start(), pitch), "{} at {}", pitch, note.start());
                let bar = piece.form.index_at(note.start());
                prop_assert!(piece.harmony[bar].chord.has_class(pitch.name().class()));
                prop_assert!(note.start() >= until && note.length().is_positive());
                until = note.end();
            }
            prop_assert!(until <= piece.form.end());
        }
        let again = arrange(&piece, &piece.scorings[0]);
        for (a, b) in arrangement.parts.iter().zip(&again.parts) {
            prop_assert_eq!(&a.notes, &b.notes);
        }
    }

    #[test]
    fn three_trumpets_never_cross_and_drums_stand_where_the_bass_stands(
        chords in chord_symbols(1..=12),
        tune in melody(12),
        verb in prop::sample::select(vec!["signals upper", "signals lower"]),
    ) {
        let piece = arranged_piece(&chords, &tune, 1885, "trumpet 3 in F", verb);
        let arrangement = arrange(&piece, &piece.scorings[0]);
        for (upper, lower) in [(0, 1), (1, 2)] {
            for note in &arrangement.parts[lower].notes {
                let mut others = arrangement.parts[upper].notes.iter();
                let above = others.find(|other| other.start() == note.start());
                prop_assert!(above.is_none_or(|above| above.sound().pitches() >= note.sound().pitches()));
            }
        }
        let piece = arranged_piece(&chords, &tune, 1885, "timpani tuned D3, A2, G2, C3", verb);
        let arrangement = arrange(&piece, &piece.scorings[0]);
        let part = &arrangement.parts[0];
        for note in part.notes.iter().filter(|note| note.end() < piece.form.end()) {
            let bar = piece.form.index_at(note.start());
            let root = piece.harmony[bar].chord.root.class();
            let class = |pitch: Pitch| pitch.name().class();
            let written = piece.voices[1].music.notes.get(bar).unwrap();
            let bass = class(written.sound.pitches()[0]);
            let firm = matches!((bass - root).rem_euclid(12), 0 | 7);
            let wanted = if firm && piece.form.weight(note.start()) > 0 { bass } else { root };
            let fifth_is_there = piece.harmony[bar].chord.has_class(wanted);
            if fifth_is_there && part.player.drums.iter().any(|drum| class(*drum) == wanted) {
                prop_assert_eq!(class(note.sound().pitches()[0]), wanted, "at {}", note.start());
            }
        }
    }
}

//! What an edit works out again, and what a good hand does at the bottom, before the bar line and at
//! the keyboard.

use std::fmt::Write;
use std::sync::Arc;

use crate::arrange::derive::tests::piece;
use crate::arrange::{Arrangement, arrange, arrange_again};
use crate::music::Time;
use crate::resolve::Piece;

const BARS: usize = 64;

fn long(changed: &str) -> Arc<Piece> {
    const CHORDS: [&str; 8] = ["C", "F", "G7", "C", "Am", "Dm7", "G7/B", "C"];
    const TUNE: [&str; 8] = ["E5", "F5", "D5", "E5", "E5", "F5", "D5", "E5"];
    const BASS: [&str; 8] = ["C3", "F3", "G2", "C3", "A2", "D3", "B2", "C3"];
    let mut text = format!(
        "form {{\n 1 metre 4/4, key C major, tempo 1/4 at 90\n {BARS} end\n}}\nharmony {{\n"
    );
    for bar in 0..BARS {
        let _ = writeln!(text, "{}: {} |", bar + 1, CHORDS[bar % 8]);
    }
    for (name, notes) in [("tune", TUNE), ("ground", BASS)] {
        let _ = write!(text, "}}\nvoice {name} {{\n");
        for bar in 0..BARS {
            let note = if name == "tune" && bar == 34 { changed } else { notes[bar % 8] };
            let _ = writeln!(text, "{}: 1/1 {note} |", bar + 1);
        }
    }
    text.push_str(
        "}\nensemble e {\n era 1885\n violin-1 8 players, cello 4 players\n \
         oboe 2, clarinet 2 in Bb, bassoon 2, horn 4 in F\n}\n\
         scoring s for e {\n violin-1 plays tune as melody\n cello plays ground as bass\n \
         oboe, clarinet, bassoon sustains\n horn sustains\n}\n",
    );
    piece(&text)
}

fn sounding(arrangement: &Arrangement) -> Vec<Vec<(Time, Time, Vec<i32>)>> {
    let of = |note: &crate::arrange::PackedNote| {
        let heights = note.sound().pitches().iter().map(|pitch| pitch.midi()).collect();
        (note.start(), note.length(), heights)
    };
    arrangement.parts.iter().map(|part| part.notes.iter().map(of).collect()).collect()
}

#[test]
fn an_edit_in_one_bar_works_out_its_passage_again_and_gives_what_a_fresh_run_gives() {
    let (old, new) = (long("D5"), long("B4"));
    let before = arrange(&old, &old.scorings[0]);
    let after = arrange_again(&new, &new.scorings[0], Some(&before));
    assert_eq!(sounding(&after), sounding(&arrange(&new, &new.scorings[0])));
    let (Some(known), Some(now)) = (&before.kept.settled, &after.kept.settled) else {
        panic!("nothing is kept");
    };
    let (again, all) = now.news_to(known);
    assert!(all >= 3, "the piece has passages: {all}");
    // Its own, and the one before, which looks ahead to it only where they adjoin.
    assert!((1..=2).contains(&again), "{again} of {all} are worked out again");
}

fn few(form: &str, harmony: &str, voices: &str, players: &str, lines: &str) -> Arrangement {
    let piece = piece(&format!(
        "form {{\n{form}\n}}\nharmony {{ {harmony} }}\n{voices}\nensemble e {{\n {players}\n}}\n\
         scoring s for e {{\n {lines}\n}}\n"
    ));
    arrange(&piece, &piece.scorings[0])
}

fn part(arrangement: &Arrangement, player: &str) -> Vec<(Time, Time, Vec<i32>)> {
    let index = arrangement.parts.iter().position(|part| part.player.id == player);
    sounding(arrangement).swap_remove(index.unwrap_or(0))
}

#[test]
fn the_tuba_goes_with_the_bass_also_on_a_leading_note_that_others_have() {
    let played = few(
        "1 metre 4/4, key C major, tempo 1/4 at 80\n 4 end",
        "1: C | 2: G7/B | 3: C/E | 4: F |",
        "voice a { 1: 1/1 E5 | 2: D5 | 3: G5 | 4: F5 | }\n\
         voice b { 1: 1/1 C3 | 2: B2 | 3: E3 | 4: F3 | }",
        "era 1885\n violin-1 8 players, cello 4 players\n tenor-trombone 2, bass-trombone, tuba",
        "violin-1 plays a as melody\n cello plays b as bass\n \
         tenor-trombone, bass-trombone, tuba sustains",
    );
    let classes: Vec<i32> = part(&played, "tuba").iter().map(|(.., h)| h[0] % 12).collect();
    assert_eq!(classes, [0, 11, 4, 5]);
}

#[test]
fn nobody_holds_under_a_bare_up_beat() {
    let played = few(
        "0 metre 4/4, key C major, tempo 1/4 at 90, pick-up 1/4\n 3 end",
        "0: C | 1: C | 2: G | 3: C |",
        "voice a { 0: 1/4 G4 | 1: 1/2 C5 E5 | 2: 1/2 D5 1/4 rest G4 | 3: 1/1 E5 | }\n\
         voice b { 0: 1/4 rest | 1: 1/1 C3 | 2: 1/2. G2 1/4 rest | 3: 1/1 C3 | }",
        "era 1885\n violin-1 8 players, cello 4 players\n horn 2 in F",
        "violin-1 plays a as melody\n cello plays b as bass\n horn sustains",
    );
    let held: Vec<(Time, Time)> =
        part(&played, "horn.1").iter().map(|&(start, length, _)| (start, start + length)).collect();
    assert_eq!(held.first().map(|h| h.0), Some(Time::of(1, 4)), "not in the pick-up: {held:?}");
    // Bar 2 begins after five quarters; its up-beat is its fourth.
    let up_beat = (Time::of(8, 4), Time::of(9, 4));
    assert!(held.iter().all(|(from, to)| *to <= up_beat.0 || *from >= up_beat.1), "{held:?}");
}

#[test]
fn a_bass_is_realised_closely_before_1800_and_with_full_hands_on_a_later_piano() {
    let realised = |era: i32, keyboard: &str| {
        few(
            "1 metre 4/4, key C major, tempo 1/4 at 80\n 4 end",
            "1: C | 2: F | 3: G7 | 4: C |",
            "voice a { 1: 1/1 G5 | 2: A5 | 3: G5 | 4: G5 | }\n\
             voice b { 1: 1/1 C3 | 2: F3 | 3: G3 | 4: C3 | }\ndynamics { 1 f\n }",
            &format!("era {era}\n violin-1 8 players\n {keyboard}"),
            &format!("violin-1 plays a as melody\n {keyboard} realises b"),
        )
    };
    for (.., chord) in part(&realised(1740, "harpsichord"), "harpsichord") {
        let [_, hand @ ..] = chord.as_slice() else { panic!("{chord:?}") };
        assert_eq!(hand.len(), 3, "{chord:?}");
        let gaps = hand.windows(2).map(|pair| pair[1] - pair[0]).max();
        assert!(gaps <= Some(6), "the hand is close: {chord:?}");
    }
    let full = part(&realised(1885, "harpsichord"), "harpsichord");
    assert!(full.iter().all(|(.., chord)| chord[1] - chord[0] == 12), "{full:?}");
}

/// One bar of a tune over a bass, with its chord.
fn one_bar(chord: &str, tune: &str, players: &str, lines: &str) -> Arrangement {
    few(
        " 1 metre 4/4, key C major, tempo 1/4 at 90\n 2 end\n",
        &format!("1: {chord} | 2: C"),
        &format!(
            "voice tune {{ 1: {tune} | 2: 1/1 C6 | }}\nvoice bass {{ 1: 1/1 G2 | 2: C3 | }}\n"
        ),
        &format!("era 1885\n {players}"),
        lines,
    )
}

#[test]
fn off_the_beat_the_right_hand_answers_with_one_layout_of_the_chord() {
    let arrangement = one_bar("G7", "1/4 F5 B4 D5 F5", "piano", "piano sustains off the beat");
    let struck: Vec<Vec<i32>> =
        part(&arrangement, "piano").into_iter().take(4).map(|(.., notes)| notes).collect();
    assert!(struck.windows(2).all(|pair| pair[0] == pair[1]), "{struck:?}");
    assert!(struck[0].len() == 4 && struck[0][0] >= 53, "{struck:?}");
}

#[test]
fn a_broken_figure_of_a_seventh_chord_is_no_trill() {
    for player in ["violin-2 6 players", "viola 4 players", "bassoon", "clarinet in Bb"] {
        let name = player.split(' ').next().unwrap();
        let line = format!("{name} sustains broken");
        let arrangement = one_bar("G7", "1/2 D6 B5", player, &line);
        let figure: Vec<i32> =
            part(&arrangement, name).into_iter().take(8).map(|(.., notes)| notes[0]).collect();
        let steps = figure.windows(2).map(|pair| (pair[0] - pair[1]).abs());
        assert!(steps.clone().any(|step| step > 0), "{name}: {figure:?}");
        assert!(steps.clone().all(|step| step == 0 || step > 2), "{name}: {figure:?}");
    }
}

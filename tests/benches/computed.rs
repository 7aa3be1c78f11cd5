//! How long computed lines take: `cargo bench --bench computed`. Four players who sustain over
//! 1,000 bars with two chords a bar are kept below 50 ms, 24 below 400 ms, 30 players over 100
//! bars below 100 ms, and an edit in one bar of 200 for twelve players below 16 ms.

use std::fmt::Write;
use std::sync::Arc;

use divan::{Bencher, black_box};
use ripieno::arrange::{arrange, arrange_again};
use ripieno::diagnostics::Sources;
use ripieno::resolve::{NoFiles, Piece, resolve};

fn main() {
    let _ = ripieno::instruments::catalogue();
    divan::main();
}

/// A piece of `bars` bars whose chords go round the circle of fifths, with one scoring of `line`.
fn piece(bars: usize, players: &str, line: &str) -> Arc<Piece> {
    edited(bars, players, line, "E")
}

/// The same with another second note in the middle bar.
fn edited(bars: usize, players: &str, line: &str, second: &str) -> Arc<Piece> {
    const CHORDS: [&str; 8] = ["Dm", "Gm", "C7", "F", "Bb", "Em7b5/G", "A7", "Dm/F"];
    let mut text = String::from(
        "piece \"Figures\" { }\nform {\n  1 metre 4/4, key D minor, tempo 1/4 at 100\n",
    );
    writeln!(text, "  {bars} end\n}}\nharmony {{").unwrap();
    for bar in 1..=bars {
        let chord = |half: usize| CHORDS[(2 * bar + half) % CHORDS.len()];
        writeln!(text, "  {bar}: 1/2 {} {} |", chord(0), chord(1)).unwrap();
    }
    text.push_str("}\nvoice upper {\n");
    for bar in 1..=bars {
        let second = if bar == bars / 2 { second } else { "E" };
        writeln!(text, "  {bar}: 1/8 D5 {second} F G A G F E |").unwrap();
    }
    text.push_str("}\nvoice lower {\n");
    for bar in 1..=bars {
        writeln!(text, "  {bar}: 1/4 D3 F G A |").unwrap();
    }
    write!(
        text,
        "}}\nensemble all {{\n  era 1885\n  {players}\n}}\nscoring all for all {{\n  {line}\n}}\n"
    )
    .unwrap();
    let mut sources = Sources::new();
    let file = sources.add("bench.ripieno", text);
    let (piece, findings) = resolve(&mut sources, file, &mut NoFiles);
    assert!(findings.is_empty(), "{findings:#?}");
    piece
}

fn work(bencher: Bencher, piece: &Arc<Piece>) {
    bencher.bench_local(|| arrange(black_box(piece), &piece.scorings[0]).parts.len());
}

#[divan::bench]
fn four_horns_sustain_1_000_bars(bencher: Bencher) {
    work(bencher, &piece(1000, "horn 4 in F", "horn sustains"));
}

#[divan::bench]
fn four_natural_horns_sustain_1_000_bars(bencher: Bencher) {
    work(bencher, &piece(1000, "horn 4 crook F, D", "horn sustains"));
}

#[divan::bench]
fn clarinets_and_bassoons_sustain_1_000_bars(bencher: Bencher) {
    let players = "clarinet 2 in Bb, bassoon 2";
    work(bencher, &piece(1000, players, "clarinet, bassoon sustains each beat"));
}

#[divan::bench]
fn two_trumpets_signal_1_000_bars(bencher: Bencher) {
    work(bencher, &piece(1000, "trumpet 2 crook D", "trumpet signals upper"));
}

#[divan::bench]
fn timpani_highlight_1_000_bars(bencher: Bencher) {
    work(bencher, &piece(1000, "timpani tuned D3, A2", "timpani highlights"));
}

/// A full orchestra without its strings, of so many wind players.
const WIND: &str = "flute 3, oboe 3, cor-anglais, clarinet 2 in Bb, bassoon 2\n  horn 4 in F, \
     trumpet 3 in Bb, tenor-trombone 2, bass-trombone, tuba\n  violin-2 10 players, viola 8 players";

const WIND_LINES: &str = "flute, oboe, cor-anglais, clarinet, bassoon sustains\n  horn sustains\n  \
     trumpet, tenor-trombone, bass-trombone, tuba sustains\n  violin-2, viola sustains";

/// An edit in one bar, as an editor makes it, of a piece for twelve computed players.
#[divan::bench(sample_count = 20)]
fn an_edit_in_one_of_200_bars_for_twelve_players(bencher: Bencher) {
    let players = "flute 2, oboe 2, clarinet 2 in Bb, bassoon 2, horn 2 in F\n  violin-2 8 players, \
                   viola 6 players";
    let lines =
        "flute, oboe, clarinet, bassoon sustains\n  horn sustains\n  violin-2, viola sustains";
    let (old, new) = (piece(200, players, lines), edited(200, players, lines, "D"));
    let before = arrange(&old, &old.scorings[0]);
    bencher.bench_local(|| {
        arrange_again(black_box(&new), &new.scorings[0], Some(&before)).parts.len()
    });
}

#[divan::bench(sample_count = 10)]
fn twenty_four_players_over_1000_bars(bencher: Bencher) {
    work(bencher, &piece(1000, WIND, WIND_LINES));
}

#[divan::bench(sample_count = 20)]
fn thirty_players_over_100_bars(bencher: Bencher) {
    let players = WIND
        .replace("flute 3", "flute 4")
        .replace(
            "clarinet 2 in Bb, bassoon 2",
            "clarinet 3 in Bb, bassoon 3, contrabassoon, bass-clarinet",
        )
        .replace("violin-2", "violin-1 12 players, violin-2");
    let lines = WIND_LINES
        .replace("bassoon sustains", "bassoon, contrabassoon, bass-clarinet sustains")
        .replace("violin-2, viola sustains", "violin-1, violin-2, viola sustains");
    work(bencher, &piece(100, &players, &lines));
}

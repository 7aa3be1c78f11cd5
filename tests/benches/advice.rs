//! How long advice takes on a piece of 200 bars for 24 players: `cargo bench --bench advice`. Each
//! kind is kept below 100 ms, a draft for a full orchestra below 2 s; the inference of harmony grows in
//! proportion to the bars.

mod source;

use std::fmt::Write;
use std::sync::Arc;

use divan::{Bencher, black_box};
use ripieno::advise;
use ripieno::diagnostics::Sources;
use ripieno::draft::{Asked, draft};
use ripieno::harmony;
use ripieno::resolve::{NoFiles, Piece, resolve};
use ripieno::session::Session;

fn main() {
    let _ = ripieno::instruments::catalogue();
    divan::main();
}

fn piece(bars: usize) -> Arc<Piece> {
    let mut sources = Sources::new();
    let file = sources.add("bench.ripieno", source::orchestra(bars, 24));
    let (piece, findings) = resolve(&mut sources, file, &mut NoFiles);
    assert!(findings.is_empty(), "{findings:#?}");
    piece
}

#[divan::bench]
fn crooks(bencher: Bencher) {
    let piece = piece(200);
    bencher.bench_local(|| advise::crooks(black_box(&piece), None, None));
}

#[divan::bench]
fn drums(bencher: Bencher) {
    let piece = piece(200);
    bencher.bench_local(|| advise::timpani(black_box(&piece)));
}

#[divan::bench]
fn forces(bencher: Bencher) {
    let piece = piece(200);
    bencher.bench_local(|| advise::forces(black_box(&piece), None));
}

#[divan::bench]
fn voices(bencher: Bencher) {
    let piece = piece(200);
    bencher.bench_local(|| advise::voices(black_box(&piece), None));
}

#[divan::bench(args = [200, 1000, 5000])]
fn harmony_of_bars(bencher: Bencher, bars: usize) {
    let piece = piece(bars);
    bencher.bench_local(|| harmony::infer(black_box(&piece)));
}

/// A tune over a bass in periods of sixteen bars, by turns quiet and loud, for a full orchestra.
fn in_periods(bars: usize) -> String {
    const TUNE: [&str; 8] = [
        "1/4 D5 F A G",
        "1/4. F5 1/8 E 1/2 D",
        "1/4 G5 Bb 1/8 A G F E",
        "1/2 F5 A",
        "1/4 Bb5 A 1/8 G F E D",
        "1/4 E5 G 1/2 Bb",
        "1/4 A5 G F E",
        "1/2. D5 1/4 rest",
    ];
    const BASS: [&str; 8] = [
        "1/2 D3 F",
        "1/2 A2 D3",
        "1/2 G2 Bb",
        "1/1 F3",
        "1/2 G3 E",
        "1/1 C3",
        "1/2 F3 A2",
        "1/1 D3",
    ];
    const CHORDS: [&str; 8] =
        ["1/2 Dm Dm/F", "1/2 A7 Dm", "1/2 Gm Gm/Bb", "F", "1/2 Gm Em7b5", "C7", "1/2 F A7", "Dm"];
    let mut text = String::from(
        "piece \"Periods\" { }\nform {\n  1 metre 4/4, key D minor, tempo 1/4 at 96\n",
    );
    let periods: Vec<usize> = (17..bars).step_by(16).collect();
    for bar in &periods {
        writeln!(text, "  {bar} mark \"{bar}\"").unwrap();
    }
    writeln!(text, "  {bars} end\n}}\ndynamics {{\n  1 p").unwrap();
    for (bar, how) in periods.iter().zip(["mf", "f", "p", "ff"].into_iter().cycle()) {
        writeln!(text, "  {bar} {how}").unwrap();
    }
    text.push_str("}\n");
    for (head, rows) in [("voice tune", TUNE), ("voice ground", BASS), ("harmony", CHORDS)] {
        writeln!(text, "{head} {{").unwrap();
        for bar in 0..bars {
            writeln!(text, "  {}: {} |", bar + 1, rows[bar % rows.len()]).unwrap();
        }
        text.push_str("}\n");
    }
    text.push_str(
        "ensemble full {\n  era 1885\n  piccolo, flute 2, oboe 2, cor-anglais, clarinet 2 in Bb\n  \
         bass-clarinet in Bb, bassoon 2, contrabassoon\n  horn 4 in F, trumpet 2 in F, \
         tenor-trombone 2, bass-trombone, tuba\n  timpani tuned D3, A2\n  triangle, cymbals, \
         bass-drum\n  harp\n  violin-1 10 players, violin-2 8 players, viola 6 players\n  \
         cello 5 players, double-bass 4 players\n}\n",
    );
    text
}

#[divan::bench(sample_count = 5)]
fn draft_of_200_bars_for_a_full_orchestra(bencher: Bencher) {
    let text = in_periods(200);
    let asked = Asked { ensemble: "full".into(), ..Asked::default() };
    bencher.bench_local(|| {
        let mut session = Session::new(NoFiles);
        let root = session.open("bench.ripieno", text.as_str());
        draft(&mut session, root, black_box(&asked)).unwrap_or_else(|why| panic!("{why}"))
    });
}

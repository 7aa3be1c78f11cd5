//! The figures that Ripieno keeps: `cargo bench`.
//!
//! - `build_24_000_notes`: 30 parts × 100 bars × 8 notes, from the text to the score and all parts
//!   as MusicXML and MIDI. Kept below 60 ms on one core.
//! - `check_1_000_bars_for_24_players`: from the text to the findings. Kept below 150 ms.
//! - `check_bars` and `check_players`: the same for growing pieces and ensembles; the time grows in
//!   proportion.
//!
//! `tests/benches/compare.py` sets the first against a general-purpose Python toolkit.

mod source;

use std::sync::Arc;

use divan::{Bencher, black_box};
use ripieno::arrange::arrange;
use ripieno::check;
use ripieno::diagnostics::Sources;
use ripieno::render::{Format, outputs};
use ripieno::resolve::{NoFiles, Piece, resolve};

fn main() {
    // The catalogue is read once for a process; that belongs to the start-up.
    let _ = ripieno::instruments::catalogue();
    divan::main();
}

fn piece(text: &str) -> Arc<Piece> {
    let mut sources = Sources::new();
    let file = sources.add("bench.ripieno", text);
    let (piece, findings) = resolve(&mut sources, file, &mut NoFiles);
    assert!(findings.is_empty(), "{findings:#?}");
    piece
}

#[divan::bench]
fn build_24_000_notes(bencher: Bencher) {
    let text = source::orchestra(100, 30);
    bencher.bench_local(|| {
        let piece = piece(black_box(&text));
        let arrangement = arrange(&piece, &piece.scorings[0]);
        outputs(&arrangement, &[Format::MusicXml, Format::Midi]).count()
    });
}

#[divan::bench]
fn text_of_24_000_notes(bencher: Bencher) {
    let text = source::orchestra(100, 30);
    let piece = piece(&text);
    bencher.bench_local(|| {
        let arrangement = arrange(&piece, &piece.scorings[0]);
        outputs(&arrangement, &[Format::Text]).count()
    });
}

fn check(text: &str) -> usize {
    let piece = piece(text);
    let scorings: Vec<_> = piece.scorings.iter().collect();
    check::check_scorings(&piece, &scorings, &check::Options::default()).len()
}

#[divan::bench]
fn check_1_000_bars_for_24_players(bencher: Bencher) {
    let text = source::orchestra(1000, 24);
    bencher.bench_local(|| check(black_box(&text)));
}

#[divan::bench(args = [100, 1_000, 10_000], sample_count = 10)]
fn check_bars(bencher: Bencher, bars: usize) {
    let text = source::orchestra(bars, 24);
    bencher.bench_local(|| check(black_box(&text)));
}

#[divan::bench(args = [6, 12, 24], sample_count = 20)]
fn check_players(bencher: Bencher, players: usize) {
    let text = source::orchestra(1000, players);
    bencher.bench_local(|| check(black_box(&text)));
}

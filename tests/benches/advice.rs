//! How long advice takes on a piece of 200 bars for 24 players: `cargo bench --bench advice`. Each
//! kind is kept below 100 ms; the inference of harmony grows in proportion to the bars.

mod source;

use std::sync::Arc;

use divan::{Bencher, black_box};
use ripieno::advise;
use ripieno::diagnostics::Sources;
use ripieno::harmony;
use ripieno::resolve::{NoFiles, Piece, resolve};

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

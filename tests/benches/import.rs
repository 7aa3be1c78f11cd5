//! How fast pieces are imported: `cargo bench --bench import`.
//!
//! - `musicxml`: a score of 24 parts, from the bytes to the source. Kept above 40 MB/s on one core.
//! - `midi`: the same piece as a MIDI file.
//!
//! `tests/outside/check_import.py` prints the ratio to music21's reading of the same files.

mod source;

use divan::counter::BytesCount;
use divan::{Bencher, black_box};
use ripieno::arrange::arrange;
use ripieno::diagnostics::Sources;
use ripieno::import::{Options, import};
use ripieno::render::{Format, outputs};
use ripieno::resolve::{NoFiles, resolve};

fn main() {
    let _ = ripieno::instruments::catalogue();
    divan::main();
}

/// The score of a piece of 200 bars for 24 players, in a format.
fn score(format: Format) -> Vec<u8> {
    let mut sources = Sources::new();
    let file = sources.add("bench.ripieno", source::orchestra(200, 24));
    let (piece, _) = resolve(&mut sources, file, &mut NoFiles);
    let arrangement = arrange(&piece, &piece.scorings[0]);
    outputs(&arrangement, &[format]).next().map(|output| output.bytes).unwrap_or_default()
}

fn bench(bencher: Bencher, format: Format) {
    let bytes = score(format);
    bencher.counter(BytesCount::of_slice(&bytes)).bench_local(|| {
        import(black_box(&bytes), &Options::default()).expect("a score that we wrote").source.len()
    });
}

#[divan::bench(sample_count = 20)]
fn musicxml(bencher: Bencher) {
    bench(bencher, Format::MusicXml);
}

#[divan::bench(sample_count = 20)]
fn midi(bencher: Bencher) {
    bench(bencher, Format::Midi);
}

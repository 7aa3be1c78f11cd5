//! Reading, and the canonical form: `cargo bench --bench format`.
//!
//! - `read_1_000_bars`: 1,000 bars for 24 players from the text to the document. Kept above 8 MB/s.
//! - `format_1_000_bars`: 1,000 bars for 24 players from the text to the text, the reading
//!   included. Kept above 4 MB/s.
//! - `set_1_000_bars`: the same without the reading, as an editor has it that holds the document.

mod source;

use divan::counter::BytesCount;
use divan::{Bencher, black_box};
use ripieno::diagnostics::FileId;
use ripieno::format::format;
use ripieno::syntax::Document;

fn main() {
    divan::main();
}

#[divan::bench]
fn read_1_000_bars(bencher: Bencher) {
    let text = source::orchestra(1000, 24);
    bencher
        .counter(BytesCount::of_str(&text))
        .bench_local(|| Document::new(FileId(0), black_box(text.as_str())));
}

#[divan::bench]
fn format_1_000_bars(bencher: Bencher) {
    let text = source::orchestra(1000, 24);
    bencher
        .counter(BytesCount::of_str(&text))
        .bench_local(|| format(&Document::new(FileId(0), black_box(text.as_str()))));
}

#[divan::bench]
fn set_1_000_bars(bencher: Bencher) {
    let text = source::orchestra(1000, 24);
    let document = Document::new(FileId(0), text.as_str());
    bencher.counter(BytesCount::of_str(&text)).bench_local(|| format(black_box(&document)));
}

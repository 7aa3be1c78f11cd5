//! The figures that Ripieno keeps: `cargo bench`.
//!
//! - `build_24_000_notes`: 30 parts × 100 bars × 8 notes, from the text to the score and all parts
//!   as MusicXML and MIDI, on all cores. Kept below 20 ms on two; `on_one_core` is the same on one.
//! - `check_1_000_bars_for_24_players`: from the text to the findings. Kept below 150 ms.
//! - `check_bars` and `check_players`: the same for growing pieces and ensembles; the time grows in
//!   proportion.
//!
//! `tests/benches/compare.py` sets the first against a general-purpose Python toolkit.

mod source;

use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use divan::{Bencher, black_box};
use quick_xml::events::Event;
use quick_xml::{Reader, Writer};
use ripieno::arrange::arrange;
use ripieno::check;
use ripieno::diagnostics::Sources;
use ripieno::render::{Format, Wanted, each_output, outputs};
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

/// Bytes of all files, which go nowhere.
fn build(text: &str, threads: usize) -> usize {
    let piece = piece(text);
    let arrangement = arrange(&piece, &piece.scorings[0]);
    let wanted = Wanted::formats(&[Format::MusicXml, Format::Midi]);
    let bytes = AtomicUsize::new(0);
    let taken = each_output(&arrangement, wanted, threads, |_, write| {
        let mut file = Counted(0);
        write(&mut file)?;
        bytes.fetch_add(file.0, Ordering::Relaxed);
        Ok::<(), std::io::Error>(())
    });
    assert!(taken.is_ok());
    bytes.into_inner()
}

struct Counted(usize);

impl std::io::Write for Counted {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0 += bytes.len();
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

#[divan::bench]
fn build_24_000_notes(bencher: Bencher) {
    let text = source::orchestra(100, 30);
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    bencher.bench_local(|| build(black_box(&text), threads));
}

#[divan::bench]
fn build_24_000_notes_on_one_core(bencher: Bencher) {
    let text = source::orchestra(100, 30);
    bencher.bench_local(|| build(black_box(&text), 1));
}

/// The XML of the same files put down again by the writer of XML alone, from events that are ready.
#[divan::bench]
fn xml_events_of_24_000_notes(bencher: Bencher) {
    let piece = piece(&source::orchestra(100, 30));
    let arrangement = arrange(&piece, &piece.scorings[0]);
    let files: Vec<String> = outputs(&arrangement, &[Format::MusicXml])
        .map(|output| String::from_utf8(output.bytes).unwrap())
        .collect();
    let events: Vec<Vec<Event>> = files
        .iter()
        .map(|file| {
            let mut reader = Reader::from_str(file);
            reader.config_mut().trim_text(true);
            std::iter::from_fn(|| reader.read_event().ok().filter(|event| *event != Event::Eof))
                .collect()
        })
        .collect();
    bencher.bench_local(|| {
        let mut bytes = 0;
        for file in &events {
            let mut writer = Writer::new_with_indent(Vec::new(), b' ', 2);
            for event in file {
                writer.write_event(event.borrow()).unwrap();
            }
            bytes += writer.into_inner().len();
        }
        bytes
    });
}

/// What Ripieno needs for the MusicXML alone, on one core, from the arrangement.
#[divan::bench]
fn musicxml_of_24_000_notes(bencher: Bencher) {
    let piece = piece(&source::orchestra(100, 30));
    let arrangement = arrange(&piece, &piece.scorings[0]);
    bencher.bench_local(|| outputs(&arrangement, &[Format::MusicXml]).count());
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

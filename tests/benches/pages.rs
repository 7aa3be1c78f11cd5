//! What printed pages cost: `cargo bench --bench pages`.
//!
//! - `sample`: all parts and the score of the largest scoring of the samples as PDF, on two threads.
//!   Kept below 0.5 s on two cores.
//! - `part_bars`: a part of eighths, laid out. 100 bars are kept below 10 ms; the time grows in
//!   proportion.
//! - `score_of_40_staves`: 400 bars as PDF. Kept below 3 s.
//!
//! Before it measures it prints the size of the largest part of two pages, kept below 120 kB.

mod source;

use std::path::{Path, PathBuf};
use std::sync::Arc;

use divan::{Bencher, black_box};
use ripieno::arrange::{Arrangement, arrange};
use ripieno::diagnostics::Sources;
use ripieno::engrave::outputs::{Drawn, Of, Printed, Setups, each_output};
use ripieno::engrave::store::{NewScratch, in_memory};
use ripieno::engrave::{draw, layout, paper, reading};
use ripieno::render::Wanted;
use ripieno::resolve::{LoadError, Loader, NoFiles, resolve};
use ripieno::{edition, notate};

fn main() {
    let _ = ripieno::instruments::catalogue();
    let arrangement = largest_sample();
    let mut sizes = Vec::new();
    let printed = printed(&arrangement, 2, &mut |of, size| sizes.push((of, size)));
    let two_pages = |of: Of| {
        matches!(of, Of::Part(_)) && printed.iter().any(|one| one.of == of && one.pages == 2)
    };
    let largest = sizes.iter().filter(|(of, _)| two_pages(*of)).map(|(_, size)| size).max();
    println!(
        "largest part of two pages: {} bytes; {} documents",
        largest.unwrap_or(&0),
        printed.len()
    );
    divan::main();
}

/// The files beside a source.
struct Beside(PathBuf);

impl Loader for Beside {
    fn load(&mut self, path: &str, _: &str) -> Result<(String, String), LoadError> {
        let text = std::fs::read_to_string(self.0.join(path)).map_err(|_| LoadError::NotFound)?;
        Ok((path.to_string(), text))
    }
}

/// The scoring of the samples with the most notes.
fn largest_sample() -> Arc<Arrangement> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("samples");
    let files = std::fs::read_dir(&folder).unwrap().map(|entry| entry.unwrap().path());
    let mut all = Vec::new();
    for path in files.filter(|path| path.extension().is_some_and(|ending| ending == "ripieno")) {
        let mut sources = Sources::new();
        let file = sources.add("sample", std::fs::read_to_string(&path).unwrap());
        let (piece, _) = resolve(&mut sources, file, &mut Beside(folder.clone()));
        all.extend(piece.scorings.iter().map(|scoring| arrange(&piece, scoring)));
    }
    let notes = |one: &Arrangement| one.parts.iter().map(|part| part.notes.len()).sum::<usize>();
    Arc::new(all.into_iter().max_by_key(notes).unwrap())
}

fn printed(
    arrangement: &Arrangement,
    threads: usize,
    take: &mut dyn FnMut(Of, usize),
) -> Vec<Printed> {
    let wanted = Wanted::formats(&[]);
    let drawing = (threads, &in_memory as &NewScratch);
    each_output(arrangement, &wanted, &Setups::default(), &[Drawn::Pdf], drawing, |of, file| {
        take(of, file.2.bytes()?.len());
        Ok::<(), std::io::Error>(())
    })
    .unwrap()
}

#[divan::bench(sample_count = 10)]
fn sample(bencher: Bencher) {
    let arrangement = largest_sample();
    bencher.bench_local(|| printed(black_box(&arrangement), 2, &mut |_, _| {}));
}

fn orchestra(bars: usize, players: usize) -> Arrangement {
    let mut sources = Sources::new();
    let file = sources.add("bench.ripieno", source::orchestra(bars, players));
    let (piece, findings) = resolve(&mut sources, file, &mut NoFiles);
    assert!(findings.is_empty(), "{findings:#?}");
    arrange(&piece, &piece.scorings[0])
}

#[divan::bench(args = [100, 1_000, 4_000], sample_count = 10)]
fn part_bars(bencher: Bencher, bars: usize) {
    let arrangement = orchestra(bars, 1);
    let score = notate::notate(&arrangement);
    let edition = edition::part(&score, 0);
    let sheet = reading::sheet(&edition);
    bencher.bench_local(|| layout::pages(black_box(&sheet), &paper::Setup::default()).pages.len());
}

#[divan::bench(sample_count = 3, sample_size = 1)]
fn score_of_40_staves(bencher: Bencher) {
    let arrangement = orchestra(400, 40);
    let score = notate::notate(&arrangement);
    bencher.bench_local(|| {
        let sheet = reading::sheet(&edition::full_score(&score));
        draw::pdf::document(&layout::pages(&sheet, &paper::Setup::default())).len()
    });
}

//! What a keystroke costs: `cargo bench --bench session`.
//!
//! A piece of 1,000 bars for 24 players is open in a session; each line gives the median and the
//! 95th percentile of the time from an edit to complete findings, on all cores. A machine that does
//! nothing else shows what a user sees.
//!
//! - a note changed, a note typed letter by letter, a scoring line typed letter by letter: 16 ms
//! - a bar put in: 50 ms
//! - memory after 10,000 edits: 250 MB
//!
//! The first line is a whole run over the same text, to compare; the second what reading alone
//! takes. The last are whole runs over more and fewer bars, players and scoring lines, whose time
//! grows in proportion.

mod source;

use std::time::Instant;

use ripieno::arrange::arrange;
use ripieno::check::{self, Options};
use ripieno::diagnostics::{FileId, Sources};
use ripieno::resolve::{NoFiles, resolve};
use ripieno::session::Session;
use ripieno::syntax::Document;

/// Sorted times in milliseconds.
struct Times(Vec<f64>);

impl Times {
    fn of(count: usize, mut work: impl FnMut(usize)) -> Times {
        let mut times: Vec<f64> = (0..count)
            .map(|index| {
                let start = Instant::now();
                work(index);
                start.elapsed().as_secs_f64() * 1e3
            })
            .collect();
        times.sort_by(f64::total_cmp);
        Times(times)
    }

    fn at(&self, hundredth: usize) -> f64 {
        self.0[(self.0.len() - 1) * hundredth / 100]
    }

    fn print(&self, what: &str) {
        let (least, median, most) = (self.0[0], self.at(50), self.at(95));
        println!("{what:<44} least {least:>8.2}  median {median:>8.2}  p95 {most:>8.2} ms");
    }
}

fn whole(text: &str, times: usize, what: &str) {
    Times::of(times, |_| {
        let mut sources = Sources::new();
        let root = sources.add("bench", text);
        let (piece, found) = resolve(&mut sources, root, &mut NoFiles);
        let scorings: Vec<_> = piece.scorings.iter().collect();
        let _ = check::report(&piece, found, &scorings, &Options::default(), &sources);
    })
    .print(what);
}

/// What each stage of a whole run takes.
fn stages(text: &str) {
    let mut sources = Sources::new();
    let root = sources.add("bench", text);
    Times::of(10, |_| {
        let _ = resolve(&mut sources, root, &mut NoFiles);
    })
    .print("reading and resolving");
    let (piece, _) = resolve(&mut sources, root, &mut NoFiles);
    Times::of(10, |_| drop(arrange(&piece, &piece.scorings[0]))).print("arranging");
    let arranged = arrange(&piece, &piece.scorings[0]);
    Times::of(10, |_| drop(check::check(&arranged, &Options::default()))).print("all rules");
}

fn main() {
    let _ = ripieno::instruments::catalogue();
    let text = source::orchestra(1000, 24);
    whole(&text, 10, "a whole run");
    stages(&text);
    let megabytes = text.len() as f64 / 1e6;
    let reading = Times::of(20, |_| drop(Document::new(FileId(0), text.as_str())));
    reading.print("reading alone");
    println!("{:<44} {:.1} MB/s", "", megabytes / reading.0[0] * 1e3);

    let mut session = Session::new(NoFiles);
    let file = session.open("bench", &text);
    session.findings(file);
    let at = |session: &Session, bar: usize, what: &str| {
        let text = session.document(file).text();
        let bar = text.match_indices("\n  500: ").nth(bar).map_or(0, |(at, _)| at);
        bar + text[bar..].find(what).unwrap_or(0)
    };
    for (voice, name) in ["upper", "middle"].iter().enumerate() {
        let place = at(&session, voice, "A G F#");
        Times::of(200, |index| {
            session.edit(file, place..place + 1, ["B", "A"][index % 2]);
            session.findings(file);
        })
        .print(&format!("a note changed in `{name}`"));
        Times::of(200, |index| {
            let typed = [" ", "F", "#", " ", "E", ""][index % 6];
            // When all is typed, it is taken away again.
            let begin = place + 1 + if typed.is_empty() { 0 } else { index % 6 };
            session.edit(file, begin..place + 1 + index % 6, typed);
            session.findings(file);
        })
        .print(&format!("a note typed in `{name}`"));
    }
    let line = "  tuba plays lower as bass, at f";
    let place = session.document(file).text().rfind("  viola plays").unwrap_or(0);
    Times::of(line.len(), |index| {
        let end = place + index;
        session.edit(file, end..end, &line[index..=index]);
        session.findings(file);
    })
    .print("a scoring line typed");
    session.edit(file, place..place + line.len(), "");
    let place = at(&session, 0, "500: ");
    Times::of(40, |index| {
        let bar = "500: 1/8 D5 E F# G A G F# E |\n  ";
        match index % 2 {
            0 => session.edit(file, place..place, bar),
            _ => session.edit(file, place..place + bar.len(), ""),
        }
        session.findings(file);
    })
    .print("a bar put in and taken out");
    let place = at(&session, 0, "A G F#");
    for index in 0..10_000 {
        session.edit(file, place..place + 1, ["B", "A"][index % 2]);
        if index % 100 == 0 {
            session.findings(file);
        }
    }
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let peak = status.lines().find(|line| line.starts_with("VmHWM")).unwrap_or_default();
    println!("after 10,000 edits: {}", peak.split_whitespace().collect::<Vec<_>>().join(" "));
    // Last, for they would be in the peak of memory.
    for (bars, times) in [(100, 20), (1_000, 10), (10_000, 3)] {
        whole(&source::orchestra(bars, 24), times, &format!("… of {bars} bars"));
    }
    for players in [6, 12, 24, 55] {
        whole(&source::orchestra(1000, players), 10, &format!("… for {players} players"));
    }
    for passages in [5, 50, 500] {
        let text = source::in_passages(1000, 6, passages);
        let lines = text.matches(" plays ").count();
        whole(&text, 5, &format!("… for 6 players in {lines} scoring lines"));
    }
}

//! The language server on 1,000 bars for 24 players, measured through the server: what a message
//! costs from the client's side, the way through the channel and back included.
//!
//! - `keystroke_to_findings`: a note or a word of a scoring line is changed, and all findings of
//!   that version have been told. Allowed: 16 ms for 95 of 100.
//! - `hover` and `completion`: allowed: 5 ms.
//! - `memory`: the peak of the process after 10,000 edits, printed at the end. Allowed: 250 MB.
//!
//! `cargo bench --bench server`; `RIPIENO_EDITS=10000` makes so many edits.

#[path = "../shared/client.rs"]
mod client;
mod source;

use std::time::{Duration, Instant};

use lsp_server::Connection;
use serde_json::{Value, json};

use client::Client;

const URI: &str = "untitled:orchestra";

/// Puts a text of the same length in the place of another, and waits for the findings.
fn edit(
    client: &mut Client<Connection>,
    version: i64,
    (line, character): (usize, usize),
    length: usize,
    with: &str,
) -> Duration {
    let range = json!({
        "start": { "line": line, "character": character },
        "end": { "line": line, "character": character + length },
    });
    let began = Instant::now();
    client.change(URI, version, json!([{ "range": range, "text": with }]));
    client.findings(URI, version);
    began.elapsed()
}

fn shown(what: &str, mut times: Vec<Duration>) {
    times.sort();
    let at = |share: usize| times[(times.len() * share / 100).min(times.len() - 1)];
    println!(
        "{what:<34} median {:>8.2?}  p95 {:>8.2?}  most {:>8.2?}  ({} times)",
        at(50),
        at(95),
        at(100),
        times.len()
    );
}

/// Line and character of a text from the n-th line that holds it on.
fn find(text: &str, wanted: &str, nth: usize) -> (usize, usize) {
    let mut found =
        text.lines().enumerate().filter_map(|(line, text)| Some((line, text.find(wanted)?)));
    found.nth(nth).unwrap()
}

fn main() {
    let _ = ripieno::instruments::catalogue();
    let edits: usize =
        std::env::var("RIPIENO_EDITS").ok().and_then(|n| n.parse().ok()).unwrap_or(200);
    let text = source::orchestra(1000, 24);
    let mut client = Client::in_thread();
    client.open(URI, 0, &text);
    client.findings(URI, 0);
    let mut version = 0;
    let mut next = || {
        version += 1;
        version
    };
    let notes = (0..edits).map(|step| {
        let (line, character) = find(&text, "F# G A", 997 * step % 1000);
        let with = if step / 1000 % 2 == 0 { "D " } else { "F#" };
        edit(&mut client, next(), (line, character), 2, with)
    });
    let notes: Vec<Duration> = notes.collect();
    shown("keystroke in a note to findings", notes);
    let (line, character) = find(&text, "plays middle as melody", 2);
    let roles = (0..edits.min(200)).map(|step| {
        let at = (line, character + "plays middle as ".len());
        let (length, with) = if step % 2 == 0 { (6, "rhythm") } else { (6, "melody") };
        edit(&mut client, next(), at, length, with)
    });
    let roles: Vec<Duration> = roles.collect();
    shown("keystroke in a line to findings", roles);
    let asks = |client: &mut Client<Connection>,
                method: &str,
                (line, character): (usize, usize)| {
        let place = json!({ "textDocument": { "uri": URI }, "position": { "line": line, "character": character } });
        let began = Instant::now();
        let answer = client.answer(method, place).response_result;
        let took = began.elapsed();
        assert!(answer.is_ok_and(|answer| answer != Value::Null), "{method} has no answer");
        took
    };
    let hovers = (0..100).map(|step| {
        let (line, character) = find(&text, "A G F# E |", 37 * step % 4000);
        asks(&mut client, "textDocument/hover", (line, character))
    });
    let hovers: Vec<Duration> = hovers.collect();
    shown("hover on a note", hovers);
    let (line, character) = find(&text, "plays middle", 1);
    for (what, into) in [("completion behind `plays`", 6), ("completion of who", 0)] {
        let at = (line, if into == 0 { 2 } else { character + into });
        let times = (0..50).map(|_| asks(&mut client, "textDocument/completion", at)).collect();
        shown(what, times);
    }
    for method in [
        "textDocument/documentSymbol",
        "textDocument/semanticTokens/full",
        "textDocument/foldingRange",
    ] {
        let times = (0..20).map(|_| asks(&mut client, method, (0, 0))).collect();
        shown(method, times);
    }
    let cpu = || {
        std::fs::read_to_string("/proc/self/stat").ok().and_then(|stat| {
            let fields: Vec<&str> = stat.rsplit(')').next()?.split_whitespace().collect();
            Some(fields.get(11)?.parse::<u64>().ok()? + fields.get(12)?.parse::<u64>().ok()?)
        })
    };
    let before = cpu();
    std::thread::sleep(Duration::from_secs(3));
    if let (Some(before), Some(after)) = (before, cpu()) {
        println!("idle for 3 s: {} ticks of the processor", after - before);
    }
    let peak = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let peak = peak.lines().find(|line| line.starts_with("VmHWM"));
    println!("after {version} edits: {}", peak.unwrap_or("the peak of memory is not known here"));
}

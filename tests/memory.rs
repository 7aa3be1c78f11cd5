//! How much memory a `check` takes at its highest: at most twenty times the source, for pieces of the
//! shapes below and for [`sparse`] ones, of which there is little in the source for each bar. Bytes are counted as they are asked for; no test looks at a clock or at what the system keeps beside
//! them.
//!
//! Where most of the notes are computed, the source is short for what it says: there the notes of its
//! computed lines count as if they were written out.
//!
//! The catalogue of instruments and the program itself are not counted: they are the same for every
//! source, and would be all that a short one shows. The longer a list grows the less it matters
//! that its last copy stands beside the one before, which counts here too.

#[path = "benches/source/mod.rs"]
mod source;
#[path = "memory/sparse.rs"]
mod sparse;

use std::fmt::Write;

use peak_alloc::PeakAlloc;
use ripieno::diagnostics::{Diagnostic, Severity};
use ripieno::resolve::{LoadError, Loader, NoFiles};
use ripieno::session::Session;
use ripieno::write_out::{Asked, write_out};

#[global_allocator]
static MEMORY: PeakAlloc = PeakAlloc;

/// So many times the source is what a check may take.
const ALLOWED: f64 = 20.0;

/// A piece in 4/4 of voices in eighths, each of eight notes that come again in every bar.
fn piece(bars: usize, voices: &[(&str, &str)], ensemble: &str, scoring: &str) -> String {
    let mut text = String::from(
        "piece \"Figures\" { }\nform {\n  1 metre 4/4, key D major, tempo 1/4 at 60\n",
    );
    writeln!(text, "  {bars} end\n}}").unwrap();
    for (voice, notes) in voices {
        writeln!(text, "voice {voice} {{").unwrap();
        (1..=bars).for_each(|bar| writeln!(text, "  {bar}: 1/8 {notes} |").unwrap());
        text.push_str("}\n");
    }
    let ensemble = format!("ensemble all {{\n  era 1885\n{ensemble}}}\n");
    format!("{text}{ensemble}scoring all for all {{\n{scoring}}}\n")
}

const FOUR: [(&str, &str); 4] = [
    ("upper", "D5 E F# G A G F# E"),
    ("middle", "F#4 G A B A G F# E"),
    ("lower", "D3 E F# G A G F# E"),
    ("deep", "D2 E F# G A G F# E"),
];

/// Seven players, each with a line and so with notes of his own.
fn lines_of_their_own(bars: usize) -> String {
    piece(
        bars,
        &FOUR,
        "  flute 1\n  oboe 1\n  clarinet 1 in Bb\n  horn 1 in F\n  bassoon 1\n  cello 1\n  double-bass 1\n",
        "  flute plays upper as melody\n  oboe plays upper 8va as harmony\n  \
         clarinet plays middle as harmony\n  horn plays middle as rhythm\n  \
         bassoon plays lower as bass\n  cello plays lower as harmony\n  \
         double-bass plays deep as bass\n",
    )
}

/// Six voices in which every step is a parallel fifth.
fn parallel_fifths(bars: usize) -> String {
    let fifths = [("second", "A4 B C#5 D E D C# B4"), ("tenor", "A3 B C#4 D E D C# B3")];
    piece(
        bars,
        &[FOUR[0], fifths[0], FOUR[1], fifths[1], FOUR[2], FOUR[3]],
        "  flute 2\n  oboe 1\n  clarinet 1 in Bb\n  horn 1 in F\n  bassoon 1\n  double-bass 1\n",
        "  flute plays upper as melody\n  oboe plays second as melody\n  \
         clarinet plays middle as melody\n  horn plays tenor as melody\n  \
         bassoon plays lower as melody\n  double-bass plays deep as melody\n",
    )
}

/// Sixteen voices with a player each.
fn a_voice_for_each(bars: usize) -> String {
    let names: Vec<String> = (1..=16).map(|number| format!("voice-{number}")).collect();
    let voices: Vec<(&str, &str)> =
        names.iter().enumerate().map(|(index, name)| (name.as_str(), FOUR[index / 4].1)).collect();
    let players = ["flute 4", "clarinet 4 in Bb", "bassoon 4", "double-bass 4"];
    let ensemble: String = players.iter().map(|players| format!("  {players}\n")).collect();
    let scoring = names.iter().enumerate().map(|(index, name)| {
        let player = ["flute", "clarinet", "bassoon", "double-bass"][index / 4];
        format!("  {player}.{} plays {name} as harmony\n", index % 4 + 1)
    });
    piece(bars, &voices, &ensemble, &scoring.collect::<String>())
}

/// Four voices, and among the players fifteen whose notes are computed from the chords.
fn computed(bars: usize) -> String {
    piece(
        bars,
        &FOUR,
        "  flute 2\n  oboe 2\n  clarinet 2 in Bb\n  bassoon 2\n  horn 4 in F\n  trumpet 3 in Bb\n  \
         tenor-trombone 2\n  timpani tuned D3, A2\n  violin-1 8 players\n  violin-2 8 players\n  \
         viola 6 players\n  cello 4 players\n  double-bass 3 players\n",
        "  violin-1, flute plays upper as melody\n  cello, bassoon plays lower as bass\n  \
         double-bass plays deep as bass\n  viola plays middle as harmony\n  \
         oboe, clarinet sustains\n  horn sustains\n  trumpet signals upper\n  \
         tenor-trombone sustains\n  timpani highlights\n  violin-2 sustains\n",
    )
}

/// Two bars, of which the form says much that cannot hold together or cannot be read: these lines, one
/// after another.
fn contradictions(lines: &[&str]) -> String {
    let said: String = lines.iter().cycle().take(60_000).fold(String::new(), |mut said, line| {
        writeln!(said, "  {line}").unwrap();
        said
    });
    format!(
        "piece \"Figures\" {{ }}\nform {{\n  1 metre 4/4, key C major\n{said}  2 end\n}}\n\
         voice upper {{ 1: 1/1 C5 | 2: C5 | }}\nensemble all {{\n  era 1885\n  flute 1\n}}\n\
         scoring all for all {{\n  flute plays upper as melody\n}}\n"
    )
}

/// Bytes that a check of the source takes at its highest, for each byte of the source. Of what is
/// wrong in it as many findings are told as may be.
fn times_the_source_with_faults(text: &str) -> f64 {
    times(text, |findings| {
        let wrong = findings.iter().filter(|finding| finding.severity == Severity::Error);
        assert_eq!(wrong.count(), ripieno::limits::FINDINGS);
    })
}

/// The same for a source without faults.
fn times_the_source(text: &str) -> f64 {
    times(text, |findings| {
        let right = |finding: &Diagnostic| finding.severity < Severity::Error;
        assert!(findings.iter().all(right), "{findings:#?}");
    })
}

/// The same for a piece of which most is computed: for each byte of the source and of the notes that its
/// computed lines give, written out.
fn times_what_it_says(text: &str) -> f64 {
    let mut session = Session::new(NoFiles);
    let file = session.open("memory.ripieno", text);
    let asked = Asked { scoring: "all".into(), ..Asked::default() };
    let written = write_out(&mut session, file, &asked).expect("it has computed lines").edits;
    drop(session);
    let notes: usize = written.iter().map(|(bytes, notes)| notes.len() - bytes.len()).sum();
    drop(written);
    times_the_source(text) * text.len() as f64 / (text.len() + notes) as f64
}

fn times(text: &str, hold: impl Fn(&[Diagnostic])) -> f64 {
    times_with(text.len(), text, NoFiles, hold)
}

/// Movements under the names by which they are used.
struct Movements(Vec<(String, String)>);

impl Loader for Movements {
    fn load(&mut self, path: &str, _: &str) -> Result<(String, String), LoadError> {
        let found = self.0.iter().find(|(name, _)| name == path);
        found.cloned().ok_or(LoadError::NotFound)
    }
}

/// A piece of that text in movements, for each byte of all of them.
fn times_the_movements(text: &str, movements: usize) -> f64 {
    let names = (1..=movements).map(|number| format!("movement-{number}"));
    let movements: Vec<_> = names.map(|name| (name, text.to_string())).collect();
    let heads: String =
        movements.iter().map(|(name, _)| format!("  movement \"{name}\"\n")).collect();
    let all = movements.len() * text.len();
    times_with(all, &format!("piece \"Suite\" {{\n{heads}}}\n"), Movements(movements), |findings| {
        assert!(findings.iter().all(|finding| finding.severity < Severity::Error), "{findings:#?}");
    })
}

fn times_with(
    bytes: usize,
    text: &str,
    loader: impl Loader + 'static,
    hold: impl Fn(&[Diagnostic]),
) -> f64 {
    let before = MEMORY.current_usage();
    MEMORY.reset_peak_usage();
    let mut session = Session::asked_once(loader);
    let file = session.open("memory.ripieno", text);
    let findings = session.findings_alone(file);
    let peak = MEMORY.peak_usage() - before;
    hold(&findings);
    peak as f64 / bytes as f64
}

#[test]
fn a_check_takes_at_most_twenty_times_its_source() {
    // The catalogue is read once for a process.
    times_the_source(&lines_of_their_own(4));
    let shapes: [(&str, String); 6] = [
        ("24 players on four voices", source::orchestra(2000, 24)),
        ("30 players on sixteen lines", source::orchestra(2000, 30)),
        ("seven players with lines of their own", lines_of_their_own(2000)),
        ("a voice for each of sixteen players", a_voice_for_each(1000)),
        ("six voices in parallel fifths", parallel_fifths(2000)),
        ("players whose notes are computed", computed(1000)),
    ];
    let faulty = [
        (
            "60,000 contradictions of one bar",
            contradictions(&["1 key C major", "1 key D major", "1 key E major"]),
        ),
        ("60,000 lines that cannot be read", contradictions(&["1 kee C major", "1 kee D major"])),
    ];
    let shapes = shapes.into_iter().chain(sparse::shapes());
    let measured = shapes.map(|(shape, text)| (shape, text.len(), times_the_source(&text)));
    let faulty = faulty
        .into_iter()
        .map(|(shape, text)| (shape, text.len(), times_the_source_with_faults(&text)));
    let suite = source::orchestra(250, 24);
    let computed = sparse::computed().into_iter();
    let computed = computed.map(|(shape, text)| (shape, text.len(), times_what_it_says(&text)));
    let told: Vec<(bool, String)> = measured
        .chain(faulty)
        .chain(computed)
        .chain([("a suite of four movements", suite.len(), times_the_movements(&suite, 4))])
        .map(|(shape, length, times)| {
            let told = format!("{shape}, {length} bytes: {times:.1} times, {ALLOWED} allowed");
            (times <= ALLOWED, told)
        })
        .collect();
    let words: Vec<&str> = told.iter().map(|(_, words)| words.as_str()).collect();
    println!("{}", words.join("\n"));
    assert!(told.iter().all(|(within, _)| *within), "{}", words.join("\n"));
}

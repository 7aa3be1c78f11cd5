//! A session gives after any edits what a fresh run gives.
//!
//! `RIPIENO_EDITS=50000 cargo test --release --test session` makes more edits than the usual run.

#[path = "shared/random.rs"]
mod random;
#[path = "shared/shelf.rs"]
mod shelf;

use std::collections::HashMap;

use ripieno::arrange::{Arrangement, arrange};
use ripieno::check::{self, Options};
use ripieno::diagnostics::{Diagnostic, Sources};
use ripieno::resolve::{self, NoFiles};
use ripieno::session::Session;

use random::Random;
use shelf::Shelf;

/// Two pieces that use one ensemble.
const FORCES: &str = "ensemble small {\n  era 1770\n  oboe 2\n  horn 2 crook D\n  violin-1 4 players\n  violin-2 4 players\n  viola 2 players\n  cello 2 players\n  harpsichord\n  group basso = cello, harpsichord\n  budget horn 60 %\n}\n";

const RIVER: &str = r#"// Up the river and down.
use "forces.ripieno"

piece "River" { composer "House copyist" licence "CC0-1.0" }

form {
  1 metre 3/4, key D major, tempo "Con moto" 1/4 at 108
  5 mark "A"
  8 end
}

dynamics {
  1 f
  5 p
  6..8 cresc
}

voice upper {
  1: 1/4 D5 F# A | 2: 1/8 {B A G F#} 1/4 E |  // two in a line
  3: 1/2 F#5 1/4 E[trill] |

  4: D5 rest A4 |
  5: 3:2(1/8 D5 E F#) 1/4 G A | 6: crushed(A5) 1/4 B A G |
  7: 1/2. F#5 | 8: 1/4 D5[fermata] rest 1/4 rest |
}

voice lower {
  1: 1/2. D3 | 2: 1/4 G2 A B | 3: A2 C#3 A2 | 4: 1/2. D3 |
  5: 1/2 B2 1/4 A | 6: 1/4 G2 A B | 7: 1/2. A2 | 8: D3 |
}

harmony {
  1: D | 2: 1/4 G 1/2 A7 | 3: A7 | 4: D |
  5: Bm | 6: G | 7: A7 | 8: D |
}

scoring plain for small {
  violin-1 plays upper as melody
  basso plays lower as bass
  oboe.1 doubles violin-1 bars 5..8
  horn sustains bars 1..4
  violin-2, viola sustains each beat
  allow economy on horn "they are few"
}

scoring full for small {
  keep plain
  oboe writes as harmony {
    3: 1/4 A4 A A |
    4: F#4 F# F# |
  }
  horn highlights cadences bars 5..8
}
"#;

/// What each player sounds and where he rests, with the places from which it comes.
fn sounds(arrangement: &Arrangement, sources: &Sources) -> Vec<String> {
    let mut all = Vec::new();
    for part in &arrangement.parts {
        let id = &part.player.id;
        let at = |span| (sources.range(span), &sources.get(span.file).name);
        let lines = |line| arrangement.line(line).map(|line| at(line.span));
        all.extend(part.notes.iter().map(|note| {
            let (sound, from) = (&note.sound(), at(note.source()));
            format!(
                "{id} {} {} {sound:?} {from:?} {:?}",
                note.start(),
                note.length(),
                lines(part.line_of(note))
            )
        }));
        all.extend(
            part.rests.iter().map(|rest| {
                format!("{id} rest {} {} {:?}", rest.start, rest.length, at(rest.span))
            }),
        );
        all.extend(part.takes.iter().map(|(time, line)| format!("{id} {time} {:?}", lines(*line))));
    }
    all
}

/// What a fresh run finds, and what sounds.
fn fresh(name: &str, text: &str, mut shelf: Shelf) -> (Vec<Diagnostic>, Vec<String>) {
    let mut sources = Sources::new();
    let root = sources.add(name, text);
    let (piece, found) = resolve::resolve(&mut sources, root, &mut shelf);
    let scorings: Vec<_> = piece.scorings.iter().collect();
    let found = check::report(&piece, found, &scorings, &Options::default(), &sources);
    let sounds =
        scorings.iter().flat_map(|scoring| sounds(&arrange(&piece, scoring), &sources)).collect();
    (found.into_iter().map(|finding| finding.placed(&sources)).collect(), sounds)
}

fn kept(session: &mut Session, name: &str) -> (Vec<Diagnostic>, Vec<String>) {
    let root = session.file(name).expect("it is open");
    let (found, arranged) = (session.findings(root), session.arrangements(root));
    let sources = session.sources();
    let sounds = arranged.iter().flat_map(|arranged| sounds(arranged, sources)).collect();
    (found.iter().map(|finding| finding.clone().placed(sources)).collect(), sounds)
}

fn told(findings: &[Diagnostic]) -> Vec<String> {
    findings.iter().map(|finding| format!("{finding:#?}")).collect()
}

fn assert_same(session: &mut Session, shelf: &HashMap<String, String>, what: &str) {
    let root = session.file("river.ripieno").unwrap();
    let text = session.document(root).text().to_string();
    let mut files = shelf.clone();
    if let Some(forces) = session.file("forces.ripieno") {
        files.insert("forces.ripieno".into(), session.document(forces).text().to_string());
    }
    let (fresh, sounds) = fresh("river.ripieno", &text, Shelf(files));
    let (kept, kept_sounds) = kept(session, "river.ripieno");
    let (mut fresh, mut kept) = (told(&fresh), told(&kept));
    fresh.extend(sounds);
    kept.extend(kept_sounds);
    if fresh != kept {
        let only = |a: &[String], b: &[String]| {
            a.iter().filter(|one| !b.contains(one)).cloned().collect::<Vec<_>>().join("\n")
        };
        panic!(
            "{what}\n--- only fresh\n{}\n--- only kept\n{}\n--- in\n{text}",
            only(&fresh, &kept),
            only(&kept, &fresh)
        );
    }
}

/// What a writer might put in, sense and nonsense.
const BITS: [&str; 64] = [
    "|",
    "{",
    "}",
    "\n",
    "3:2(",
    ")",
    "9:",
    " ",
    "//",
    "\"",
    "1/4 ",
    "1/8 ",
    "=",
    "rest ",
    "D5 ",
    "F#4 ",
    "C6 ",
    "G2 ",
    "Bb3 ",
    "[p]",
    "[f]",
    "[stacc]",
    "[fermata]",
    "[cresc]",
    "#",
    "b",
    "&",
    "\r\n",
    "A4&D5 ",
    " as melody",
    " as bass",
    " at f",
    " at pp",
    " solo",
    " bars 2..3",
    "oboe.2 doubles oboe.1\n",
    "viola rests bars 1\n",
    "cello plays upper as harmony\n",
    "violin-2 doubles viola\n",
    "viola doubles violin-2\n",
    "allow compass \"so\"\n",
    "horn takes crook G bar 5\n",
    " 8va",
    " pizz",
    "keep full\n",
    "5 metre 2/4\n",
    "3 tempo 1/4 at 160\n",
    "4 repeat\n",
    "6 ff\n",
    "era 1885\n",
    "flute 2\n",
    "trumpet 2 in C\n",
    "voice third {\n 1: 1/2. A4 |\n}\n",
    "use \"forces.ripieno\"\n",
    "🎻",
    "x ",
    "crushed(C5) ",
    "C7 ",
    "F ",
    "sustains",
    "highlights",
    "rest 3 |",
    "length 1/4",
    "C#2 ",
];

#[test]
fn after_any_edits_the_findings_are_those_of_a_fresh_run() {
    let edits: usize =
        std::env::var("RIPIENO_EDITS").ok().and_then(|n| n.parse().ok()).unwrap_or(240);
    let shelf = HashMap::from([("forces.ripieno".to_string(), FORCES.to_string())]);
    let mut random = Random(0x2545_F491_4F6C_DD1D);
    let mut session = Session::new(Shelf(shelf.clone()));
    let river = session.open("river.ripieno", RIVER);
    let forces = session.open("forces.ripieno", FORCES);
    assert_same(&mut session, &shelf, "before any edit");
    for step in 0..edits {
        // A text that has gone to pieces is begun anew, so that most edits meet something whole.
        if step % 12 == 0 {
            session.open("river.ripieno", RIVER);
            session.open("forces.ripieno", FORCES);
        }
        let file = if random.below(8) == 0 { forces } else { river };
        let length = session.document(file).text().len();
        let start = random.below(length + 1);
        let end = if random.below(2) == 0 { start } else { start + random.below(7) };
        let with = if random.below(4) == 0 { "" } else { BITS[random.below(BITS.len())] };
        session.edit(file, start..end, with);
        assert_same(&mut session, &shelf, &format!("step {step}: {start}..{end} {with:?}"));
    }
}

#[test]
fn typing_a_line_letter_by_letter_gives_what_a_fresh_run_gives() {
    let shelf = HashMap::from([("forces.ripieno".to_string(), FORCES.to_string())]);
    let mut session = Session::new(Shelf(shelf.clone()));
    let river = session.open("river.ripieno", RIVER);
    for (before, typed) in [
        ("  horn sustains", "oboe.2 plays upper as harmony, at mf\n"),
        ("  8 end", "7 tempo 1/4 at 60\n"),
        ("  4: D5 rest", "// a remark\n"),
        ("\n  violin-2, viola", "  // held"),
        ("\n  oboe.1 doubles", "// the bass"),
        ("scoring full", "scoring third for small {\n  viola plays lower as bass\n}\n"),
    ] {
        let mut at = session.document(river).text().find(before).unwrap();
        for letter in typed.chars() {
            session.edit(river, at..at, &letter.to_string());
            at += letter.len_utf8();
            assert_same(&mut session, &shelf, &format!("{typed:?} up to {letter:?}"));
        }
    }
}

#[test]
fn what_an_edit_does_not_reach_stays_the_same() {
    let shelf = HashMap::from([("forces.ripieno".to_string(), FORCES.to_string())]);
    let mut session = Session::new(Shelf(shelf));
    let river = session.open("river.ripieno", RIVER);
    session.findings(river);
    let (piece, before) = (session.piece(river), session.arrangement(river, "full").unwrap());
    let at = session.document(river).text().find("1/2. D3").unwrap();
    session.edit(river, at..at + 7, "1/2. D2");
    let (now, after) = (session.piece(river), session.arrangement(river, "full").unwrap());
    assert!(std::sync::Arc::ptr_eq(&piece.voices[0], &now.voices[0]));
    assert!(!std::sync::Arc::ptr_eq(&piece.voices[1], &now.voices[1]));
    for (old, new) in before.parts.iter().zip(&after.parts) {
        // The violins and the oboe that doubles them play the upper voice.
        let same = std::sync::Arc::ptr_eq(old, new);
        match new.player.line_name.as_str() {
            "violin-1" => assert!(same),
            "cello" | "harpsichord" => assert!(!same),
            _ => {}
        }
    }
}

#[test]
fn only_the_scorings_that_are_chosen_are_worked_out() {
    let shelf = HashMap::from([("forces.ripieno".to_string(), FORCES.to_string())]);
    let mut session = Session::new(Shelf(shelf));
    let river = session.open("river.ripieno", RIVER);
    let all = session.findings(river);
    session.choose(river, vec!["full".into()]);
    let names = |session: &mut Session| {
        let arranged = session.arrangements(river);
        arranged.iter().map(|one| one.scoring.name.clone()).collect::<Vec<_>>()
    };
    assert_eq!(names(&mut session), ["full"]);
    let chosen = session.findings(river);
    assert!(chosen.iter().all(|finding| finding.scoring.as_deref().is_none_or(|s| s == "full")));
    session.choose(river, vec!["plain".into(), "full".into()]);
    assert_eq!(names(&mut session), ["plain", "full"]);
    assert_eq!(told(&session.findings(river)), told(&all));
}

#[test]
fn who_asks_for_findings_alone_is_told_what_others_are() {
    let text = RIVER.replace("1/4 D5 F# A |", "1/4 D5 F# A8 |").replace("violin-2, viola", "viola");
    let asked = |alone: bool, chosen: Option<&str>| {
        let shelf = HashMap::from([("forces.ripieno".to_string(), FORCES.to_string())]);
        let mut session = Session::asked_once(Shelf(shelf));
        let river = session.open("river.ripieno", &text);
        if let Some(name) = chosen {
            session.choose(river, vec![name.into()]);
        }
        let findings = match alone {
            true => session.findings_alone(river),
            false => session.findings(river),
        };
        // Who asks for more after all gets it.
        (told(&findings), session.arrangements(river).len())
    };
    for chosen in [None, Some("plain"), Some("full")] {
        let (findings, scorings) = asked(true, chosen);
        assert!(findings.iter().any(|finding| finding.contains("compass/")), "{findings:?}");
        assert_eq!((findings, scorings), asked(false, chosen));
    }
}

#[test]
fn a_used_file_is_taken_as_it_stands_in_the_editor() {
    let mut session = Session::new(Shelf(HashMap::new()));
    let river = session.open("river.ripieno", RIVER);
    let codes = |session: &mut Session| {
        let findings = session.findings(river);
        findings.iter().map(|finding| finding.code).collect::<Vec<_>>()
    };
    assert!(codes(&mut session).contains(&"use/cannot-read"));
    let forces = session.open("forces.ripieno", FORCES);
    assert!(!codes(&mut session).contains(&"use/cannot-read"));
    session.edit(forces, 0..FORCES.len(), "");
    assert!(codes(&mut session).contains(&"syntax/empty"));
    session.close(forces);
    assert!(codes(&mut session).contains(&"use/cannot-read"));
}

#[test]
fn a_session_survives_any_text() {
    let mut session = Session::new(NoFiles);
    for text in ["", "\u{FEFF}", "{{{{", "voice", "piece \"", "\u{0}\u{1}", "use \"a\"\nuse \"a\""]
    {
        let file = session.open("a", text);
        session.findings(file);
        session.edit(file, 0..0, "form {\n");
        session.findings(file);
        session.edit(file, 3..900, "🎻");
        session.findings(file);
    }
}

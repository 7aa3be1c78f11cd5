//! Drafts of pieces small and large.

use super::*;
use crate::resolve::NoFiles;

const PIECE: &str = "piece \"Weir\" { }\nform {\n  0         metre 3/4, key G major, tempo 1/4 at 108, pick-up 1/4\n  17        length 2/4, end\n}\n\
    dynamics {\n  0 p\n  9 mf\n  13 f\n}\n\
    voice tune {\n    0: 1/4 D5 |\n    1: 1/4 G5 A B | 2: 1/2 A5 1/4 F# | 3: 1/4 G5 E A | 4: 1/2 D5 1/4 D |\n    5: 1/4 G5 A B | 6: 1/2 C6 1/4 A5 | 7: 1/4 B5 G A | 8: 1/2 G5 1/4 D |\n    9: 1/4 E5 F# G | 10: 1/2 F#5 1/4 D | 11: 1/4 E5 C# E | 12: 1/2 D5 1/4 D |\n   13: 1/4 G5 A B | 14: 1/2 C6 1/4 A5 | 15: 1/4 B5 G A | 16: 1/2. G5 | 17: 1/2 G5 |\n}\n\
    voice ground {\n    0: rest |\n    1: 1/2. G3 | 2: D3 | 3: 1/2 C3 1/4 C#3 | 4: 1/2. D3 | 5: G3 | 6: A3 | 7: 1/2 D3 1/4 D | 8: 1/2. G3 |\n    9: C3 | 10: D3 | 11: A2 | 12: D3 | 13: G3 | 14: A3 | 15: 1/2 D3 1/4 D | 16: 1/2. G3 | 17: 1/2 G3 |\n}\n\
    harmony {\n    0: D | 1: G | 2: D | 3: 1/2 C 1/4 A7/C# | 4: D | 5: G | 6: Am | 7: 1/2 G/D 1/4 D7 | 8: G |\n    9: C | 10: D | 11: A7 | 12: D | 13: G | 14: Am | 15: 1/2 G/D 1/4 D7 | 16: G | 17: G |\n}\n\
    ensemble village {\n  era 1770\n  violin-1 6 players, violin-2 6 players, viola 3 players, cello 3 players\n  oboe 2, horn 2 crook G\n}\n\
    ensemble town extends village {\n  era 1810\n  flute 2, clarinet 2 in A, bassoon 2, trumpet 2 crook D, timpani tuned G2, D3\n}\n\
    scoring small for village {\n  violin-1      plays tune                    as melody\n  cello         plays ground                  as bass\n  violin-2, viola sustain\n  horn          sustains bars 9..17\n  oboe          plays tune bars 9..17 as melody\n}\n";

#[test]
fn a_draft_has_no_error_and_no_warning_and_is_the_same_again() {
    for lean in [Lean::Lean, Lean::Full, Lean::Colourful] {
        for (keep, ensemble, seed) in
            [(None, "village", 1), (None, "town", 2), (Some("small"), "town", 3)]
        {
            let mut session = Session::new(NoFiles);
            let file = session.open("weir.ripieno", PIECE);
            let asked =
                Asked { ensemble: ensemble.into(), keep: keep.map(String::from), lean, seed };
            let text = draft(&mut session, file, &asked);
            let text = text.unwrap_or_else(|why| panic!("{lean:?} {keep:?} {ensemble}: {why}"));
            assert_eq!(session.document(file).text(), PIECE);
            assert_eq!(draft(&mut session, file, &asked).as_ref(), Ok(&text));
            let name = format!("{ensemble}-draft");
            let whole = format!("{PIECE}{text}");
            let mut fresh = Session::new(NoFiles);
            let file = fresh.open("weir.ripieno", &whole);
            let wrong: Vec<String> = fresh
                .findings(file)
                .iter()
                .filter(|found| found.severity != Severity::Advice)
                .filter(|found| found.scoring.as_deref().is_none_or(|s| s == name))
                .map(|found| found.message.clone())
                .collect();
            assert_eq!(wrong, Vec::<String>::new(), "{text}");
            assert!(text.contains("//") && text.lines().count() > 6, "{text}");
        }
    }
}

#[test]
fn what_tune_and_bass_bring_between_them_is_allowed_and_both_are_played() {
    let without_scoring = PIECE.split("scoring small").next().unwrap_or(PIECE);
    let piece = without_scoring
        .replace("9: 1/4 E5 F# G |", "9: 1/4 G5 G Eb |")
        .replace("9: C3 | 10: D3 |", "9: 1/2 E3 1/4 G3 | 10: 1/2. D3 |")
        + "ensemble duo {\n  era 1770\n  violin-1 6 players, cello 3 players\n}\n";
    let mut session = Session::new(NoFiles);
    let file = session.open("weir.ripieno", piece.as_str());
    let asked = Asked { ensemble: "duo".into(), ..Asked::default() };
    let text = draft(&mut session, file, &asked).unwrap();
    assert!(!text.contains("No draft without a warning"), "{text}");
    assert!(text.contains("allow harmony/cross-relation bars 9") && text.contains(OWN), "{text}");
    assert!(text.contains("plays tune") && text.contains("plays ground"), "{text}");
}

#[test]
fn what_is_not_there_is_said() {
    let mut session = Session::new(NoFiles);
    let file = session.open("weir.ripieno", PIECE);
    let asked = Asked { ensemble: "moon".into(), ..Asked::default() };
    assert!(matches!(draft(&mut session, file, &asked), Err(Refusal::NoEnsemble(_))));
    let asked = Asked { ensemble: "town".into(), keep: Some("moon".into()), ..asked };
    assert!(matches!(draft(&mut session, file, &asked), Err(Refusal::NoScoring(_))));
}

/// The draft of an ensemble, line by line.
fn lines(text: &str, ensemble: &str, lean: Lean, seed: u64) -> Vec<String> {
    let mut session = Session::new(NoFiles);
    let file = session.open("weir.ripieno", text);
    let asked = Asked { ensemble: ensemble.into(), keep: None, lean, seed };
    let draft = draft(&mut session, file, &asked).unwrap_or_else(|why| panic!("{why}"));
    assert!(!draft.contains("No draft without a warning"), "{draft}");
    draft.lines().map(|line| line.trim().to_string()).collect()
}

#[test]
fn tune_and_bass_stay_with_the_strings_and_everybody_has_a_part() {
    let soft = PIECE.replace("13 f", "13 mf");
    for text in [PIECE, soft.as_str()] {
        for ensemble in ["village", "town"] {
            for seed in 0..4 {
                for lean in [Lean::Lean, Lean::Full, Lean::Colourful] {
                    let all = lines(text, ensemble, lean, seed);
                    let has = |start: &str| all.iter().any(|line| line.starts_with(start));
                    assert!(
                        has("violin-1      plays tune                    as melody"),
                        "{all:#?}"
                    );
                    assert!(has("cello         plays ground                  as bass"), "{all:#?}");
                    let idle = all.iter().filter(|line| line.contains("has no part here"));
                    let idle: Vec<&String> = idle.collect();
                    assert!(lean != Lean::Full || text == soft || idle.is_empty(), "{all:#?}");
                }
            }
        }
    }
    // Trumpets wait for a forte, and where there is none they have no part.
    let soft = lines(&soft, "town", Lean::Full, 1);
    assert!(soft.iter().any(|line| line.starts_with("trumpet       rests  //")), "{soft:#?}");
}

#[test]
fn a_few_notes_too_low_do_not_take_the_bass_from_the_double_basses() {
    let text = format!(
        "{}ensemble low {{\n  era 1770\n  violin-1 6 players, viola 3 players, cello 3 players, double-bass 2 players\n}}\n",
        PIECE.replace("15: 1/2 D3 1/4 D |", "15: 1/2 D3 1/4 D2 |")
    );
    let all = lines(&text, "low", Lean::Full, 1);
    assert!(all.iter().any(|line| line.starts_with("double-bass   plays ground 8vb")), "{all:#?}");
    assert!(!all.iter().any(|line| line.starts_with("double-bass   sustains")), "{all:#?}");
}

use std::sync::Arc;

use proptest::prelude::*;

use super::*;
use crate::diagnostics::Sources;
use crate::music::Pitch;
use crate::resolve::{NoFiles, Piece, resolve};

fn piece(text: &str) -> Arc<Piece> {
    let mut sources = Sources::new();
    let file = sources.add("test.ripieno", text);
    let (piece, findings) = resolve(&mut sources, file, &mut NoFiles);
    assert!(findings.is_empty(), "{findings:?}");
    piece
}

/// A dance in D minor that leans to the relative major in its middle.
const MILLPOND: &str = r#"
piece "Millpond" { licence "CC0-1.0" }
form {
  1 metre 3/4, key D minor, tempo 1/4 at 120
  12 end
}
voice upper {
  1: 1/2 A5 1/4 F5 | 2: 1/4 E5 G5 E5 | 3: 1/2 F5 1/4 D5 | 4: 1/2. C#5 |
  5: 1/4 D5 F5 A5 | 6: 1/2 Bb5 1/4 G5 | 7: 1/4 G5 F5 E5 | 8: 1/2. F5 |
  9: 1/2 D5 1/4 G5 | 10: 1/4 F5 E5 D5 | 11: 1/2 E5 1/4 C#5 | 12: 1/2. D5 |
}
voice middle {
  1: 1/2. D5 | 2: 1/2. C#5 | 3: 1/2. A4 | 4: 1/2. A4 | 5: 1/2. A4 | 6: 1/2. D5 | 7: 1/2. Bb4 |
  8: 1/2. C5 | 9: 1/2. Bb4 | 10: 1/2. A4 | 11: 1/2. A4 | 12: 1/2. A4 |
}
voice lower {
  1: 1/2. D3 | 2: 1/2. A2 | 3: 1/2. D3 | 4: 1/2. A2 | 5: 1/2. D3 | 6: 1/2. G3 | 7: 1/2. C3 |
  8: 1/2. F3 | 9: 1/2. G2 | 10: 1/2. D3 | 11: 1/2. A2 | 12: 1/2. D3 |
}
"#;

/// A march in G minor that does not leave its key.
const SLUICE: &str = r#"
piece "Sluice" { licence "CC0-1.0" }
form {
  1 metre 2/4, key G minor, tempo 1/4 at 100
  8 end
}
voice upper {
  1: 1/4 D5 G5 | 2: 1/8 F#5 G5 1/4 A5 | 3: 1/4 Bb5 G5 | 4: 1/4 A5 F#5 |
  5: 1/4 G5 Eb5 | 6: 1/4 C5 Eb5 | 7: 1/4 D5 F#5 | 8: 1/2 G5 |
}
voice middle {
  1: 1/2 Bb4 | 2: D5 | 3: D5 | 4: D5 | 5: Bb4 | 6: G4 | 7: 1/4 A4 C5 | 8: 1/2 Bb4 |
}
voice lower { 1: 1/2 G3 | 2: D3 | 3: G3 | 4: D3 | 5: Eb3 | 6: C3 | 7: D3 | 8: G2 | }
"#;

/// A lament in C minor, of which only the chords are there.
const WEIR: &str = r#"
piece "Weir" { licence "CC0-1.0" }
form {
  1 metre 4/4, key C minor, tempo 1/4 at 60
  8 end
}
harmony {
  1: Cm | 2: Fm | 3: 1/2 G7 Cm | 4: G | 5: Cm | 6: 1/2 Ab Bb7 | 7: 1/2 Eb Dm7b5/F | 8: 1/2 G7 Cm |
}
voice upper { 1: 1/1 G5 | 2: 1/1 Ab5 | 3: 1/2 F5 Eb5 | 4: 1/1 D5 | 5: rest 4 | }
"#;

/// A fanfare in D major.
const LOCK: &str = r#"
piece "Lock" { licence "CC0-1.0" }
form {
  1 metre 4/4, key D major, tempo 1/4 at 120
  4 end
}
harmony { 1: 1/2 D A7 | 2: 1/2 D G | 3: 1/2 D/A A7 | 4: D | }
voice upper { 1: 1/2 F#5 E5 | 2: 1/2 D5 G5 | 3: 1/2 F#5 E5 | 4: 1/1 D5 | }
ensemble band {
  era 1790
  piccolo, flute 2, oboe 2, bassoon 2
  horn 2 crook D, trumpet 2 crook D
  timpani tuned D3, A2
  violin-1 6 players, violin-2 6 players, viola 3 players, cello 3 players, double-bass 2 players
}
ensemble pair {
  era 1790
  oboe, harpsichord
}
scoring parade for band {
  oboe.1, violin-1 plays upper as melody
  flute.1 plays upper bars 1..2 as melody
}
scoring indoors for pair {
  oboe plays upper as melody
}
"#;

fn keys(choice: &CrookChoice) -> Vec<&str> {
    choice.crooks.iter().map(|name| name.split(' ').next().unwrap_or(name)).collect()
}

#[test]
fn one_pair_in_a_minor_piece_takes_the_crook_of_the_relative_major() {
    for (text, relative) in [(MILLPOND, "F"), (SLUICE, "Bb"), (WEIR, "Eb")] {
        let advice = crooks(&piece(text), None, None);
        assert_eq!(keys(&advice.one_pair[0]), [relative]);
    }
}

#[test]
fn two_pairs_in_a_minor_piece_take_the_crooks_of_the_tonic_and_of_the_relative_major() {
    for (text, pair) in [(MILLPOND, ["D", "F"]), (SLUICE, ["Bb", "G"]), (WEIR, ["C", "Eb"])] {
        let advice = crooks(&piece(text), None, None);
        let mut found = keys(&advice.two_pairs[0]);
        found.sort_unstable();
        assert_eq!(found, pair);
    }
}

#[test]
fn a_major_piece_takes_the_crook_of_its_key() {
    let advice = crooks(&piece(LOCK), None, None);
    assert_eq!(advice.one_pair[0].crooks, ["D"]);
    let place = |name: &str| advice.one_pair.iter().position(|c| c.crooks == [name]);
    assert!(place("D") < place("G") && place("D") < place("A"));
}

#[test]
fn trumpets_are_ranked_only_where_the_ensemble_has_them_without_valves() {
    let piece = piece(LOCK);
    assert_eq!(crooks(&piece, None, None).trumpets[0].crooks, ["D"]);
    assert!(crooks(&piece, Some(&piece.scorings[1]), None).trumpets.is_empty());
}

#[test]
fn drums_take_tonic_and_dominant_where_the_table_of_grove_has_them() {
    // Grove, A Dictionary of Music and Musicians, vol. 1, "Drum", p. 464.
    for (text, tuning) in [
        (MILLPOND, ["A2", "D3"]),
        (SLUICE, ["G2", "D3"]),
        (WEIR, ["G2", "C3"]),
        (LOCK, ["A2", "D3"]),
    ] {
        assert_eq!(timpani(&piece(text)).two_drums[0].tuning, tuning);
    }
}

#[test]
fn drums_stand_in_tonic_and_dominant_even_where_other_roots_are_more_frequent() {
    let leaning = SLUICE.replace(
        "voice upper {",
        "harmony { 1: Gm | 2: F | 3: F7 | 4: Bb | 5: F | 6: F7 | 7: D7 | 8: Gm | }\nvoice upper {",
    );
    let best = &timpani(&piece(&leaning)).two_drums[0];
    assert_eq!(best.tuning, ["G2", "D3"]);
}

#[test]
fn trumpets_stand_in_the_tonic_of_a_minor_piece() {
    let band = "ensemble band {\n era 1780\n trumpet 2 crook D\n violin-1 6 players\n}\n\
                scoring out for band {\n violin-1 plays upper as melody\n trumpet signals upper as rhythm\n}\n";
    for (text, key) in [(MILLPOND, "D"), (WEIR, "C")] {
        let advice = crooks(&piece(&format!("{text}{band}")), None, None);
        assert_eq!(keys(&advice.trumpets[0]), [key]);
    }
}

#[test]
fn trumpets_of_a_piece_in_g_minor_stand_on_a_usual_crook() {
    let band = "ensemble band {\n era 1780\n trumpet 2 crook D\n violin-1 6 players\n}\n\
                scoring out for band {\n violin-1 plays upper as melody\n trumpet signals upper as rhythm\n}\n";
    let advice = crooks(&piece(&format!("{SLUICE}{band}")), None, None);
    let first = keys(&advice.trumpets[0]);
    assert!(["C", "D", "Eb", "F", "Bb"].contains(&first[0]), "G and A are rare: {first:?}");
}

#[test]
fn two_pairs_may_share_a_crook_and_in_major_they_rank_high() {
    let advice = crooks(&piece(LOCK), None, None);
    let place = advice.two_pairs.iter().position(|choice| choice.crooks == ["D", "D"]);
    assert!(place.is_some_and(|place| place < 4), "{place:?}");
}

#[test]
fn before_1750_rare_crooks_come_last() {
    let early = LOCK.replace("era 1790", "era 1725").replace("key D major", "key E major");
    let early = early.replace(
        "1: 1/2 D A7 | 2: 1/2 D G | 3: 1/2 D/A A7 | 4: D |",
        "1: E | 2: A | 3: B7 | 4: E |",
    );
    let (early, late) = (
        crooks(&piece(&early), None, None),
        crooks(&piece(&early.replace("era 1725", "era 1790")), None, None),
    );
    let of = |advice: &CrooksAdvice| {
        advice.one_pair.iter().find(|choice| choice.crooks == ["E"]).map(|c| c.coverage)
    };
    assert!(of(&early) < of(&late));
}

#[test]
fn coverage_says_who_has_a_voice_who_doubles_it_and_where_nobody_does() {
    let text = LOCK
        .replace(
            "oboe.1, violin-1 plays upper as melody",
            "violin-1 plays upper bars 1, 3..4 as melody",
        )
        .replace("flute.1 plays upper bars 1..2 as melody", "oboe.1 doubles violin-1 bars 3");
    let advice = coverage(&piece(&text), None);
    let upper = &advice.scorings[0].voices[0];
    let told: Vec<(i32, i32, String, String, bool)> = upper
        .passages
        .iter()
        .map(|p| {
            (p.bars.first, p.bars.last, p.played_by.join(" "), p.doubled_by.join(" "), p.nobody)
        })
        .collect();
    let row = |bars: (i32, i32), played: &str, doubled: &str, nobody| {
        (bars.0, bars.1, played.to_string(), doubled.to_string(), nobody)
    };
    assert_eq!(
        told,
        [
            row((1, 1), "violin-1", "", false),
            row((2, 2), "", "", true),
            row((3, 3), "violin-1", "oboe.1", false),
            row((4, 4), "violin-1", "", false),
        ]
    );
    assert!(advice.to_string().contains("nobody"));
}

#[test]
fn forces_are_written_in_the_order_of_the_librarians() {
    let advice = forces(&piece(LOCK), None);
    let lines: Vec<&str> =
        advice.ensembles.iter().map(|forces| forces.instrumentation.as_str()).collect();
    assert_eq!(
        lines,
        ["3[1.2.pic].2.0.2 – 2.2.0.0 – timp – str (6.6.3.3.2)", "0.1.0.0 – 0.0.0.0 – hpd"]
    );
    assert_eq!((advice.ensembles[0].players, advice.ensembles[1].players), (32, 2));
}

#[test]
fn playing_time_counts_repeats_and_the_tempo_in_force() {
    let advice = forces(
        &piece(
            r#"piece "Twice" { licence "CC0-1.0" }
form {
  1 metre 2/4, key C major, tempo 1/4 at 60
  1..1 repeat
  2 tempo 1/4 at 120
  2 end
}
voice tune { 1: 1/4 C5 rest | 2: 1/2 C5 | }
ensemble alone {
  era 1790
  oboe
}
scoring all for alone {
  oboe plays tune as melody
}
"#,
        ),
        None,
    );
    let oboe = &advice.ensembles[0].scorings[0].parts[0];
    // Twice one second in the repeated bar, then two quarters of half a second.
    assert_eq!((oboe.seconds, oboe.time.as_str()), (3.0, "0:03"));
    assert_eq!(advice.seconds, 5.0);
    assert_eq!(oboe.share, 0.6);
}

#[test]
fn a_flute_that_has_time_could_take_the_piccolo() {
    let text = LOCK.replace(
        "flute.1 plays upper bars 1..2 as melody",
        "flute.2 plays upper bars 1 as melody\n  piccolo plays upper bars 4 as melody",
    );
    let slow = text.replace("tempo 1/4 at 120", "tempo 1/4 at 40");
    let doublings = |text: &str| -> Vec<Doubling> {
        forces(&piece(text), None).ensembles[0].scorings[0].doublings.clone()
    };
    let expected = Doubling { player: "flute.2".to_string(), takes: "piccolo".to_string() };
    assert_eq!(doublings(&slow), [expected]);
    // At four seconds' distance flute 2 has no time, but flute 1 rests all along.
    assert_eq!(doublings(&text)[0].player, "flute.1");
}

#[test]
fn a_voice_is_measured_by_range_tessitura_and_speed() {
    let advice = voices(&piece(MILLPOND), None);
    let upper = &advice.voices[0];
    assert_eq!(upper.range, Some(("C#5".to_string(), "Bb5".to_string())));
    assert_eq!(upper.tessitura, Some(("D5".to_string(), "F5".to_string())));
    assert_eq!(upper.fastest, 2.0);
}

#[test]
fn a_natural_horn_takes_only_a_voice_of_open_notes() {
    let text = |notes: &str| {
        format!(
            r#"piece "Call" {{ licence "CC0-1.0" }}
form {{
  1 metre 4/4, key D major
  1 end
}}
voice call {{ 1: 1/4 {notes} | }}
ensemble horns {{
  era 1790
  horn 2 crook D
}}
"#
        )
    };
    let fits = |notes: &str| voices(&piece(&text(notes)), None).voices[0].fits[0].clone();
    assert_eq!(fits("D4 F#4 A4 D4").at_pitch, ["horn"]);
    // Written E6 and G6 would lie above the compass.
    let high = fits("D5 F#5 A5 D5");
    assert_eq!((high.at_pitch, high.octave_down), (vec![], vec!["horn".to_string()]));
    // The eleventh partial is out of tune.
    assert_eq!(fits("D4 G4 A4 D4").at_pitch, Vec::<String>::new());
}

#[test]
fn a_piece_without_notes_gets_a_sentence_instead_of_a_table() {
    let empty = piece(
        "piece \"Empty\" { licence \"CC0-1.0\" }\nform {\n  1 metre 4/4, key C major\n  2 end\n}\n",
    );
    assert!(crooks(&empty, None, None).to_string().contains("nothing to go by"));
    assert!(timpani(&empty).to_string().contains("nothing to go by"));
    assert!(forces(&empty, None).to_string().contains("No ensemble"));
    assert!(voices(&empty, None).to_string().contains("No voice"));
    assert!(harmony(&empty).to_string().contains("No voice has a note"));
}

#[test]
fn the_harmony_block_is_read_back_as_it_was_inferred() {
    let bare = piece(MILLPOND);
    let block = harmony(&bare).to_string();
    let pasted = piece(&format!("{MILLPOND}\n{block}"));
    let mut declared = pasted.harmony.clone();
    let inferred = crate::harmony::infer(&bare).events;
    // Only the places in the source differ.
    for (one, other) in declared.iter_mut().zip(&inferred) {
        one.span = other.span;
    }
    assert_eq!(declared, inferred);
    assert_eq!(harmony(&pasted).agrees_with_declared, Some(1.0));
}

#[test]
fn tables_are_as_people_read_them() {
    let millpond = piece(MILLPOND);
    insta::assert_snapshot!("crooks", crooks(&millpond, None, None).to_string());
    insta::assert_snapshot!("timpani", timpani(&millpond).to_string());
    insta::assert_snapshot!("harmony", harmony(&millpond).to_string());
    let lock = piece(LOCK);
    insta::assert_snapshot!("forces", forces(&lock, None).to_string());
    insta::assert_snapshot!("voices", voices(&lock, None).to_string());
}

fn descending(coverages: &[f64]) -> bool {
    coverages.iter().all(|coverage| (0.0..=1.0).contains(coverage))
        && coverages.windows(2).all(|two| two[0] >= two[1])
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn coverage_is_a_share_and_the_best_comes_first(
        roots in proptest::collection::vec((0i32..12, 0usize..17), 1..8),
        key in -7i32..=7,
    ) {
        let key = crate::music::Key::new(
            crate::music::PitchName::from_fifths(key).unwrap(),
            crate::music::Mode::Major,
        ).unwrap();
        let chords: Vec<String> = roots
            .iter()
            .enumerate()
            .map(|(bar, (root, quality))| {
                let quality = crate::music::ChordQuality::all().nth(*quality).unwrap();
                format!("{}: {}{} |", bar + 1, key.spelling(*root), quality.suffix())
            })
            .collect();
        let piece = piece(&format!(
            "piece \"Any\" {{ licence \"CC0-1.0\" }}\nform {{\n  1 metre 4/4, key {key}\n  {} end\n}}\nharmony {{ {} }}\n",
            roots.len(),
            chords.join(" ")
        ));
        let advice = crooks(&piece, None, None);
        for choices in [&advice.one_pair, &advice.two_pairs] {
            let coverages: Vec<f64> = choices.iter().map(|choice| choice.coverage).collect();
            prop_assert!(descending(&coverages), "{:?}", coverages);
        }
        let advice = timpani(&piece);
        for choices in [&advice.two_drums, &advice.three_drums] {
            let coverages: Vec<f64> = choices.iter().map(|choice| choice.coverage).collect();
            prop_assert!(descending(&coverages), "{:?}", coverages);
            for choice in choices {
                let notes: Vec<i32> =
                    choice.tuning.iter().map(|note| note.parse::<Pitch>().unwrap().midi()).collect();
                let (low, high) = (notes[0], notes[notes.len() - 1]);
                // Prout, The Orchestra, vol. 1, 1898: F2 to C3 and B♭2 to F3.
                prop_assert!((41..=48).contains(&low) && (46..=53).contains(&high));
                prop_assert!(notes.windows(2).all(|two| two[0] < two[1]));
            }
        }
    }
}

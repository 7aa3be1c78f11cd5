//! Pages made from source text by all stages, read before they were accepted.

use super::*;
use crate::arrange::arrange;
use crate::diagnostics::{Severity, Sources};
use crate::notate::notate;
use crate::resolve::{NoFiles, resolve};

const PIECE: &str = r#"
piece "Evening at the Locks" {
  subtitle "For the lock-keepers"
  composer "House copyist"
  licence "CC0-1.0"
}

form {
  0   metre 3/4, key D minor, tempo "Con moto" 1/4 at 96, pick-up 1/4
  5   mark "A"
  1..6 repeat
  6   ending 1
  7   ending 2
  9   metre 6/8, key F major, tempo 1/4. at 60
  16  mark "B"
  18  end
}

harmony { 0: 1/4 Dm | 1: Dm | 2: Gm | 3: A7 | 4: Dm }

dynamics {
  0      p
  2..4   cresc
  5      f
  17..18 dim
}

voice upper {
  0: 1/8 A4 C#5 |
  1: {1/8 D5 E} 3:2(1/8 F E D) 1/4 A4[stacc] |
  2: 1/4 D5&F5 1/8 = E5 rest C#5[accent] |
  3: 1/16 {D5 E F G A G F E} 1/4 D[tremolo 1/16] |
  4: grace(1/16 E5 F) 1/2. D |
  5: [pizz] 1/4 D5[stacc] A4[stacc] F[stacc] | 6: [arco] 1/2 D4 1/8 A4 C#5 |
  7: 1/2. D5[fermata] | 8: rest |
  9: 3/8 F5[trill] 1/4 C 1/8 A4 | 10: rest 6 |
  16: ["dolce"] 1/8 {F5 E D C Bb4 A} | 17: 3/8 G4 crushed(1/8 A4) 3/8 Bb | 18: 3/4 A |
}

voice lower {
  0: 1/4 rest |
  1: 1/2. D3 | 2: G2 | 3: 1/4 A2 C#3 E | 4: 1/2. D | 5: 1/4 D rest D | 6: D A2 rest | 7: 1/2. D3 | 8: rest |
  9: 3/4 F2 | 10: rest 6 | 16: 3/8 F3 F2 | 17: C3 C2 | 18: 3/4 F2 |
}

ensemble spa-orchestra {
  era 1810
  oboe 1, clarinet 1 in A, horn 2 crook D
  violin-1 6 players, cello 3 players, double-bass 2 players
}

scoring spa for spa-orchestra {
  violin-1 plays upper as melody
  oboe plays upper 8va bars 9..18 as melody
  clarinet plays upper bars 5..8 as melody
  horn sustains bars 1..4 as harmony
  cello, double-bass plays lower as bass
}
"#;

const GATE: &str = r#"
piece "Weir Gate" {
  arranger "The copyist"
}

form {
  1  metre 12/8, key Eb major, tempo "Allegro" 1/4. at 72
  2  double-bar
  3  metre 5/4, mark "Entry of the millers"
  4  metre 2/2, tempo 1/2 at 80
  5  end
}

voice drum {
  1: ["soft sticks"] 1/8 x rest x 3/8 x[tremolo] x 1/8 x x x |
  2: [ff] 3/8 x rest 3/4 x[accent marcato] |
  3: 5:4(1/4 x x x x x) 1/4 rest |
  4: [p][cresc] 1/2 x x | 5: [f] 1/2 x[trill] rest[fermata] |
}

voice keys {
  1: 3/8 Eb3&G3&Bb3&Eb4 Eb4&G4 Ab3&C4&F4 1/8 Bb4 Ab G |
  2: 3/2 Eb4&Gb4&A4[arpeggio] |
  3: 1/32 C5 D Eb F G A B C6 D6 C B5 A G F Eb D 3/4 C5 |
  4: {1/8 C5 D} {Eb D} {C Eb} {D C} | 5: 1/64 D5 E D E 1/16 D E D 1/4 C 1/2 rest |
}

ensemble mill {
  era 1885
  timpani tuned C3, G2, bass-drum, harpsichord
}

scoring mill for mill {
  bass-drum plays drum as rhythm
  harpsichord plays keys as melody
  timpani rests
}
"#;

/// The score of the first scoring of a text without errors in its grammar and names.
fn score_of(text: &str) -> Score {
    let mut sources = Sources::new();
    let root = sources.add("ferrymen.ripieno", text);
    let (piece, diagnostics) = resolve(&mut sources, root, &mut NoFiles);
    let errors = diagnostics.iter().filter(|found| found.severity == Severity::Error);
    assert_eq!(errors.collect::<Vec<_>>(), Vec::<&crate::diagnostics::Diagnostic>::new());
    notate(&arrange(&piece, &piece.scorings[0]))
}

fn staff(score: &Score, id: &str) -> usize {
    score.staves.iter().position(|staff| staff.id == id).unwrap()
}

#[test]
fn a_violin_part() {
    let score = score_of(PIECE);
    insta::assert_snapshot!(part(&score, staff(&score, "violin-1")));
}

#[test]
fn a_clarinet_part_in_a_with_long_rests() {
    let score = score_of(PIECE);
    insta::assert_snapshot!(part(&score, staff(&score, "clarinet")));
}

#[test]
fn parts_for_drum_and_keyboard() {
    let score = score_of(GATE);
    let parts = ["bass-drum", "harpsichord", "timpani"].map(|id| part(&score, staff(&score, id)));
    insta::assert_snapshot!(parts.join("\n\n"));
}

const SLUICE: &str = r#"
piece "The Sluice" {
}

form {
  1  metre 3/4, key G major, tempo 1/4 at 84
  9  end
}

dynamics {
  1     p
  2..3  cresc
  4     f
}

voice tune {
  1: 1/4 G2&D3&B4&D5[arpeggio] {1/8 D5 E F# G} |
  2: 3:2(1/8 G2&B4 B2&D5 D3&G5) grace(1/16 A5) 1/2 G5 |
  3: 1/16 G2 B D3 G B D4 G B D5 G B D6 | 4: 1/2. C3&G3&E5&C6[fermata] |
  5: rest 4 | 9: ["dolce"] 1/2. G2&D3&B3&G4 |
}

voice ground {
  1: 1/2. G2 | 2: G2 | 3: 1/4 G2 B2 D3 | 4: 1/2. C3[fermata] | 5: rest 2 | 7: G2 | 8: D3 | 9: G2 |
}

ensemble weir {
  era 1885
  harp, harpsichord, cello 4 players
}

scoring weir for weir {
  harp plays tune as melody
  harpsichord, cello plays ground as bass
}
"#;

#[test]
fn a_brace_joins_the_two_staves_of_a_harp() {
    let score = score_of(SLUICE);
    let harp = part(&score, staff(&score, "harp"));
    assert!(harp.lines().all(|line| line.chars().count() <= 80), "{harp}");
    insta::assert_snapshot!(format!("{harp}\n\n{}", super::score(&score)));
}

#[test]
fn a_score() {
    let score = score_of(PIECE);
    insta::assert_snapshot!(super::score(&score));
}

/// A piece for one violin with the given bars of 4/4 (and a form of so many bars).
fn violin(bars: usize, music: &str) -> String {
    format!(
        "piece \"Weir\" {{\n}}\nform {{\n  1 metre 4/4, key C major\n  {bars} end\n}}\n\
         voice upper {{\n{music}\n}}\nensemble solo {{\n  era 1885\n  violin-1\n}}\n\
         scoring solo for solo {{\n  violin-1 plays upper as melody\n}}\n"
    )
}

#[test]
fn a_bar_wider_than_the_page_is_parted_at_a_beat_and_a_held_note_is_named_again() {
    let quick = "C#5&G#5 D#5&A#5 ".repeat(7);
    let music = format!(
        "1: 1/16 {{{quick}C#5&G#5 1/16 D#5&A#5 |\n2: 1/1 C5}} |\n3: 1/1 = | 4: 1/4 = 3/4 D5 | 5: 1/1 = |\n\
         6: 1/1 = | 7: 1/1 = | 8: 1/1 = | 9: 1/1 = | 10: 1/1 = | 11: 1/4 = C5 D E |"
    );
    let text = part(&score_of(&violin(11, &music)), 0);
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    insta::assert_snapshot!(text);
}

#[test]
fn no_line_leaves_its_page() {
    let score = score_of(PIECE);
    for staff in 0..score.staves.len() {
        assert!(part(&score, staff).lines().all(|line| line.chars().count() <= 80));
    }
    assert!(super::score(&score).lines().all(|line| line.chars().count() <= 120));
}

#[test]
fn long_titles_and_names_are_broken_at_the_edge_of_the_page() {
    let title = "The Evenings at the Locks ".repeat(5) + &"o".repeat(130);
    let text = violin(1, "1: 1/1 D5 |").replace("\"Weir\"", &format!("\"{title}\""));
    let name = format!("violin-1 as \"{}\"", "Those at the lower gate ".repeat(7));
    let score = score_of(&text.replacen("violin-1", &name, 1));
    let (part, score) = (part(&score, 0), super::score(&score));
    assert!(part.lines().all(|line| line.chars().count() <= 80), "{part}");
    assert!(score.lines().all(|line| line.chars().count() <= 120), "{score}");
}

#[test]
fn a_score_without_bars_or_staves_has_its_head() {
    let mut score = score_of(PIECE);
    score.staves.clear();
    assert!(super::score(&score).starts_with("Evening"));
    assert_eq!(part(&score, 0), "");
    score.frame.clear();
    assert!(super::score(&score).starts_with("Evening"));
}

#[test]
fn a_part_bar_by_bar_in_words_and_in_signs() {
    let (piece, sluice) = (score_of(PIECE), score_of(SLUICE));
    let [words, lines] = [Style::Words, Style::Lines].map(|style| {
        let violin = edition::part(&piece, staff(&piece, "violin-1"));
        let harp = edition::part(&sluice, staff(&sluice, "harp"));
        format!("{}\n\n{}", write(&violin, style), write(&harp, style))
    });
    insta::assert_snapshot!(format!("{words}\n\n{lines}"));
}

#[test]
fn grace_notes_of_a_drum_are_strokes_whatever_it_beats() {
    let source = "piece \"Tattoo\" { }\nform {\n  1 metre 4/4\n  2 end\n}\n\
        voice own { 1: crushed(1/8 x) 1/4 x x grace(1/16 x x) 1/2 x | 2: rest | }\n\
        voice tune { 1: rest | 2: grace(1/16 A5 B) 1/1 C6 | }\n\
        ensemble field { era 1900\n side-drum\n }\n\
        scoring s for field {\n side-drum plays own bars 1 as rhythm\n\
        side-drum plays tune bars 2 as rhythm\n}\n";
    let score = score_of(source);
    let drum = write(&edition::part(&score, staff(&score, "side-drum")), Style::Lines);
    assert!(drum.contains("(/×) × 1/4 × (×) (×) × 1/2"), "{drum}");
    assert!(drum.contains("(×) (×) × 1/1"), "{drum}");
}

#[test]
fn what_changes_in_one_bar_changes_one_line() {
    let before = score_of(PIECE);
    let after = score_of(&PIECE.replace("2: 1/4 D5&F5", "2: 1/8 D5&F5 E5"));
    let changed = |before: String, after: String| {
        assert_eq!(before.lines().count(), after.lines().count());
        before.lines().zip(after.lines()).filter(|(before, after)| before != after).count()
    };
    for style in [Style::Words, Style::Lines] {
        let [before, after] = [&before, &after]
            .map(|score| write(&edition::part(score, staff(score, "violin-1")), style));
        assert_eq!(changed(before, after), 1);
    }
}

#[test]
fn a_passage_of_the_score() {
    let score = score_of(PIECE);
    insta::assert_snapshot!(passage(&score, 9..12, Style::Beats));
    let lines = passage(&score, 9..12, Style::Lines);
    assert!(lines.contains("9, ") && !lines.contains("8, "), "{lines}");
    assert_eq!(passage(&score, 90..92, Style::Words), "");
}

/// More bars than are held at a time, with rests of several bars for both.
#[test]
fn a_long_score_is_the_same_part_by_part() {
    use crate::edition::{Halves, full_score, players_of_score};
    use crate::notate::testing::{Fixture, oboe};
    let notes = |step: usize, length: &str| -> String {
        let all = (0..1300).filter(|bar| bar % 7 != 3 && bar % 40 > 4 && bar % step > 0);
        let one = |bar: usize| format!("{}/4 {length} {}5", bar * 2, ["C", "E", "G"][bar % 3]);
        all.map(one).collect::<Vec<_>>().join(", ")
    };
    let fixture = Fixture::new(&["2/4"; 1300]).notes(&notes(5, "1/2")).part(oboe());
    let score = fixture.notes(&notes(9, "3/8")).score();
    for (style, _) in Style::ALL {
        let mut by_parts = Vec::new();
        let one = |player, look: &mut dyn FnMut(Edition) -> io::Result<()>| {
            look(players_of_score(&score, player..player + 1, Halves::Apart))
        };
        write_by_parts(2, one, style, &mut by_parts).unwrap();
        assert!(String::from_utf8(by_parts).unwrap() == write(&full_score(&score), style));
    }
}

#[test]
fn an_artificial_harmonic_says_what_is_stopped_and_touched() {
    let text = part(&score_of(&violin(1, "1: 1/1 E6[harmonic E4] |")), 0);
    assert!(text.contains("E4&◇A"), "{text}");
    assert!(text.contains("◇ where the finger touches the string"), "{text}");
}

use std::sync::Arc;

use super::*;
use crate::diagnostics::Sources;
use crate::edition::{part, part_with_cues};
use crate::music::Interval;
use crate::notate::notate;
use crate::resolve::{NoFiles, resolve};

const HEAD: &str = "piece \"Ferry\" { composer \"House copyist\" }\n\
    form { 1 metre 4/4, key C major\n 12 end }\n";

fn arranged(voices: &str, lines: &str) -> Arrangement {
    arranged_for("flute, oboe, clarinet in Bb, bassoon, harp", voices, lines)
}

fn arranged_for(players: &str, voices: &str, lines: &str) -> Arrangement {
    arranged_from(HEAD, players, voices, lines)
}

fn arranged_from(head: &str, players: &str, voices: &str, lines: &str) -> Arrangement {
    let text = format!(
        "{head}{voices}ensemble few {{ era 1885\n {players} }}\n\
         scoring few for few {{\n {lines}\n}}\n"
    );
    let mut sources = Sources::new();
    let root = sources.add("ferry", &*text);
    let (piece, _) = resolve(&mut sources, root, &mut NoFiles);
    let scoring = Arc::clone(&piece.scorings[0]);
    crate::arrange::arrange(&piece, &scoring)
}

/// Cue notes bar by bar, and what names them.
fn cues(arrangement: &Arrangement, player: usize, after_bars: u32) -> Vec<String> {
    let score = notate(arrangement);
    let edition = part_with_cues(arrangement, &score, player, Cueing { after_bars });
    let bars = edition.staves[0].bars.iter().zip(1..);
    bars.filter_map(|(bar, number)| {
        let small: Vec<String> = bar.voices[0]
            .elements
            .iter()
            .filter(|element| element.cue)
            .map(|element| match &element.kind {
                ElementKind::Note(note) => {
                    let heads: Vec<String> =
                        note.heads.iter().map(|head| head.pitch.to_string()).collect();
                    heads.join("&")
                }
                _ => "rest".into(),
            })
            .collect();
        let names = bar.directions.iter().filter_map(|said| match &said.kind {
            DirectionKind::CueName(name) => Some(format!("{name}: ")),
            _ => None,
        });
        (!small.is_empty())
            .then(|| format!("{number} {}{}", names.collect::<String>(), small.join(" ")))
    })
    .collect()
}

const TUNES: &str = "voice tune { 1: rest 8 | 9: 1/4 C5 D5 E5 F5 | 10: 1/4 G5 A5 B5 C6 | 11: rest 2 | }\n\
    voice low { 1: 1/1 C4 | 2: C4 | 3: C4 | 4: C4 | 5: C4 | 6: C4 | 7: C4 | 8: C4 | 9: C4 | 10: C4 | 11: rest 2 | }\n\
    voice late { 1: rest 10 | 11: 1/1 D5 | 12: D5 | }\n";

#[test]
fn the_player_sees_the_tune_that_leads_to_his_entry() {
    let arrangement = arranged(
        TUNES,
        "flute plays tune as melody\n bassoon plays low as bass\n clarinet plays late as harmony",
    );
    // In his own transposition, a tone up.
    assert_eq!(cues(&arrangement, 2, 8), ["9 Fl.: D5 E5 F#5 G5", "10 A5 B5 C#6 D6"]);
    assert_eq!(cues(&arrangement, 2, 11), [""; 0]);
    assert_eq!(cues(&arrangement, 2, 0), [""; 0]);
}

#[test]
fn of_chords_the_player_sees_one_line() {
    let chords = TUNES.replace("C5 D5 E5 F5", "E4&C5 F4&D5 G4&E5 A4&F5");
    let lines = "harp plays tune as melody\n clarinet plays late as harmony";
    let arrangement = arranged(&chords, lines);
    assert_eq!(cues(&arrangement, 2, 8), ["9 Hp.: D5 E5 F#5 G5", "10 A5 B5 C#6 D6"]);
}

#[test]
fn after_a_general_pause_there_is_none() {
    let silent = TUNES.replace("10: 1/4 G5 A5 B5 C6", "10: rest").replace("| 10: C4", "| 10: rest");
    let arrangement = arranged(
        &silent,
        "flute plays tune as melody\n bassoon plays low as bass\n clarinet plays late as harmony",
    );
    assert_eq!(cues(&arrangement, 2, 8), [""; 0]);
}

#[test]
fn who_enters_behind_a_cadenza_sees_its_end() {
    // The clarinet plays up to the cadenza of bar 2 and enters behind it.
    let head = "piece \"Ferry\" { composer \"House copyist\" }\n\
        form { 1 metre 3/4, key C major\n 2 length 12/4\n 3 end }\n";
    let free = |end: &str| {
        let voices = format!(
            "voice solo {{ 1: rest | 2: 1/2. C5 1/8 D5 E F G A B C6 B5 A G F E 1/4 D F {end} | 3: 1/2. C5 | }}\n\
             voice late {{ 1: 1/2. E4 | 2: rest | 3: E4 | }}\n"
        );
        let lines = "flute plays solo as melody\n clarinet plays late as harmony";
        arranged_from(head, "flute, clarinet in Bb", &voices, lines)
    };
    // At least four notes, and a bar of the metre; a note or tuplet that begins before is whole.
    assert_eq!(cues(&free("E"), 1, 8), ["2 Fl.: F#5 E5 G5 F#5"]);
    assert_eq!(cues(&free("3:2(1/8 E F E)"), 1, 8), ["2 Fl.: E5 G5 F#5 G5 F#5"]);
    assert_eq!(cues(&free("E"), 1, 0), [""; 0]);
    // What is before is his own rest: one, whole.
    let arrangement = free("E");
    let score = notate(&arrangement);
    let edition = part_with_cues(&arrangement, &score, 1, Cueing::default());
    let voices = &edition.staves[0].bars[1].voices;
    assert!(voices[0].elements[0].at > Time::ZERO && voices[1].elements.len() == 1);
}

#[test]
fn a_cue_breaks_the_rest_and_changes_nothing_else() {
    let arrangement = arranged(
        TUNES,
        "flute plays tune as melody\n bassoon plays low as bass\n clarinet plays late as harmony",
    );
    let score = notate(&arrangement);
    let (with, without) =
        (part_with_cues(&arrangement, &score, 2, Cueing::default()), part(&score, 2));
    assert_eq!(with.staves[0].bars[0].multi_rest, 8);
    assert_eq!(without.staves[0].bars[0].multi_rest, 10);
    for (with, without) in with.staves[0].bars.iter().zip(&without.staves[0].bars) {
        let own = with.voices.last().unwrap();
        assert_eq!(own.elements, without.voices[0].elements);
    }
}

#[test]
fn a_cue_in_another_octave_says_where_it_sounds() {
    let high = TUNES.replace("C5 D5 E5 F5", "C7 D7 E7 F7").replace("G5 A5 B5 C6", "E7 D7 E7 F7");
    let high = high.replace("11: 1/1 D5 | 12: D5", "11: 1/1 D3 | 12: D3");
    let lines = "flute plays tune as melody\n bassoon plays late as bass";
    let arrangement = arranged(&high, lines);
    let expected = ["9 Fl. (sounds 3 octaves higher): C4 D4 E4 F4", "10 E4 D4 E4 F4"];
    assert_eq!(cues(&arrangement, 3, 8), expected);
    let nearer = high.replace("C7 D7 E7 F7", "C6 D6 E6 F6").replace("E7 D7 E7 F7", "E6 D6 E6 F6");
    let expected = ["9 Fl. (sounds 15ma): C4 D4 E4 F4", "10 E4 D4 E4 F4"];
    assert_eq!(cues(&arranged(&nearer, lines), 3, 8), expected);
}

#[test]
fn a_player_reads_his_own_instrument_where_it_stands() {
    let high = TUNES.replace("C5 D5 E5 F5", "C6 E6 G6 A6").replace("G5 A5 B5 C6", "A6 A6 B6 C7");
    let lines = "flute.1 plays tune as melody\n flute.2 plays late as harmony";
    let arrangement = arranged_for("flute 2", &high, lines);
    assert_eq!(cues(&arrangement, 1, 8), ["9 Fl. 1: C6 E6 G6 A6", "10 A6 A6 B6 C7"]);
}

#[test]
fn who_plays_without_pitch_reads_the_rhythm() {
    let lines = "flute plays tune as melody\n\
        triangle writes as rhythm {\n 11: 1/1 x | 12: x | }";
    let arrangement = arranged_for("flute, triangle", TUNES, lines);
    let triangle = arrangement.parts.iter().position(|part| part.player.id == "triangle").unwrap();
    assert_eq!(cues(&arrangement, triangle, 8), ["9 Fl.:    ", "10    "]);
}

#[test]
fn a_cue_of_rhythm_has_no_ornaments_and_no_slurs() {
    let tune = TUNES
        .replace("C5 D5 E5 F5", "grace(1/8 B4) {C5 D5} E5[turn] F5[accent]")
        .replace("1/4 G5 A5 B5 C6", "1/4 {G5 A5[trill]} B5[mordent] C6");
    let lines = "flute plays tune as melody\n triangle writes as rhythm {\n 11: 1/1 x | 12: x | }";
    let arrangement = arranged_for("flute, triangle", &tune, lines);
    let triangle = arrangement.parts.iter().position(|part| part.player.id == "triangle").unwrap();
    let score = notate(&arrangement);
    let edition = part_with_cues(&arrangement, &score, triangle, Cueing { after_bars: 8 });
    let staff = &edition.staves[0];
    let elements = staff.bars.iter().flat_map(|bar| &bar.voices).flat_map(|v| v.elements.iter());
    let notes = elements.filter(|element| element.cue).filter_map(|element| match &element.kind {
        ElementKind::Note(note) => Some(note),
        _ => None,
    });
    let signs: Vec<Vec<Mark>> = notes.map(|note| note.marks.iter().collect()).collect();
    assert_eq!(signs.iter().filter(|marks| !marks.is_empty()).count(), 1, "{signs:?}");
    assert!(signs.len() == 8 && signs[3] == [Mark::Accent], "{signs:?}");
    let slur = |span: &&Spanner| matches!(span.kind, SpannerKind::Slur { .. });
    assert_eq!(staff.spans.iter().filter(slur).count(), 0);
}

#[test]
fn a_cue_says_whether_it_is_plucked() {
    let voices = "voice low { 1: rest 8 | 9: 1/4 C3 D3 E3 F3 | 10: G3 A3 [arco] G3 F3 | 11: 1/1 C3 | 12: C3 | }\n\
        voice late { 1: rest 10 | 11: 1/1 D3 | 12: D3 | }\n";
    let lines = "cello plays low as bass, pizz\n viola plays late as harmony";
    let arrangement = arranged_for("viola, cello", voices, lines);
    let expected = ["9 Vc. (pizz.): C3 D3 E3 F3", "10 arco: G3 A3 G3 F3"];
    assert_eq!(cues(&arrangement, 0, 8), expected);
}

#[test]
fn a_line_that_moves_is_chosen_before_one_that_lasts() {
    let voices = "voice held { 1: rest 9 | 10: 1/1 G4 | 11: G4 | 12: G4 | }\n\
        voice moving { 1: 1/4 C4 D4 E4 F4 | 2: rest 6 | 8: C4 D4 E4 F4 | 9: C4 D4 E4 F4 | 10: C4 D4 E4 F4 | 11: C4 D4 E4 F4 | 12: 1/1 C4 | }\n\
        voice late { 1: rest 10 | 11: 1/1 D4 | 12: D4 | }\n";
    let lines =
        "clarinet plays held as melody\n bassoon plays moving as bass\n oboe plays late as harmony";
    let arrangement = arranged(voices, lines);
    let cue = cues(&arrangement, 1, 8);
    assert!(cue[0].contains("Bn.:"), "{cue:?}");
}

#[test]
fn a_cue_stands_in_the_crook_that_the_player_has_by_then() {
    let voices = "voice tune { 1: 1/1 E4 | 2: rest 7 | 9: 1/4 C5 D5 E5 F5 | 10: 1/4 G5 A5 B5 C6 | 11: 1/1 C4 | 12: C4 | }\n\
        voice late { 1: 1/1 C4 | 2: rest 9 | 11: 1/1 D4 | 12: D4 | }\n";
    let lines =
        "flute plays tune as melody\n horn plays late as harmony\n horn takes crook D bar 11";
    let arrangement = arranged_for("flute, horn crook C alto", voices, lines);
    let horn = arrangement.parts.iter().position(|part| part.player.id == "horn").unwrap();
    let expected = ["9 Fl. (sounds 8va): Bb4 C5 D5 Eb5", "10 F5 G5 A5 Bb5"];
    assert_eq!(cues(&arrangement, horn, 8), expected);
    let score = notate(&arrangement);
    let edition = part_with_cues(&arrangement, &score, horn, Cueing::default());
    let bars = edition.staves[0].bars.iter().enumerate();
    let turned: Vec<usize> =
        bars.filter(|(_, bar)| bar.transposition.is_some()).map(|(bar, _)| bar).collect();
    // From where he is told to change it, before the cue.
    assert_eq!(turned, [0, 1]);
}

/// Of the cue of a player, the pitches that his instrument would give, moved as the name says, and the name.
fn heard(arrangement: &Arrangement, player: usize) -> (String, String) {
    let score = notate(arrangement);
    let edition = part_with_cues(arrangement, &score, player, Cueing::default());
    let (mut heard, mut name) = (Vec::new(), String::new());
    let (mut transposition, mut by) = (Interval::UNISON, 0);
    for bar in &edition.staves[0].bars {
        transposition = bar.transposition.unwrap_or(transposition);
        for said in &bar.directions {
            let DirectionKind::CueName(words) = &said.kind else { continue };
            name.clone_from(words);
            by = match words.split_once("sounds ").map(|(_, sounds)| sounds.trim_end_matches(')')) {
                None => 0,
                Some("8va") => 1,
                Some("8vb") => -1,
                Some("15ma") => 2,
                Some("15mb") => -2,
                Some(sounds) => panic!("{sounds}"),
            };
        }
        for element in bar.voices[0].elements.iter().filter(|element| element.cue) {
            let ElementKind::Note(note) = &element.kind else { continue };
            let sounds = |head: &crate::notate::Head| {
                head.pitch.transposed_or_respelled(transposition).octaves_up(by)
            };
            heard.extend(note.heads.iter().map(|head| sounds(head).to_string()));
        }
    }
    (heard.join(" "), name)
}

#[test]
fn what_a_player_reads_and_is_told_is_what_sounds() {
    let readers = [
        ("piccolo", "Fl. (sounds 8vb)", "C4 E4 G4 A4"),
        ("piccolo", "Fl.", "C6 E6 G6 A6"),
        ("english-horn", "Fl.", "C4 E4 G4 A4"),
        ("bass-clarinet", "Fl.", "C4 E4 G4 A4"),
        ("clarinet in Eb", "Fl. (sounds 15mb)", "C2 E2 G2 A2"),
        ("horn crook C basso", "Fl. (sounds 8va)", "C5 E5 G5 A5"),
        ("horn crook C basso", "Fl.", "C4 E4 G4 A4"),
        ("horn crook Bb basso", "Fl. (sounds 8va)", "C5 E5 G5 A5"),
        ("contrabassoon", "Fl.", "C2 E2 G2 A2"),
        ("contrabassoon", "Fl. (sounds 15ma)", "C4 E4 G4 A4"),
        ("double-bass", "Fl.", "C2 E2 G2 A2"),
        ("double-bass", "Fl. (sounds 8va)", "C3 E3 G3 A3"),
        ("viola", "Fl.", "C4 E4 G4 A4"),
    ];
    let found = readers.map(|(player, _, tune)| {
        // One plays it whose notes can lie anywhere.
        let voices = TUNES.replace("C5 D5 E5 F5", tune).replace("G5 A5 B5 C6", tune);
        let id = player.split(' ').next().unwrap();
        let lines = format!("flute plays tune as melody\n {id} plays late as harmony");
        let arrangement = arranged_for(&format!("flute, {player}"), &voices, &lines);
        let reader = arrangement.parts.iter().position(|part| part.player.id == id).unwrap();
        let (heard, name) = heard(&arrangement, reader);
        format!("{player}: {name} {heard}")
    });
    let expected = readers.map(|(player, name, tune)| format!("{player}: {name} {tune} {tune}"));
    assert_eq!(found, expected);
}

#[test]
fn a_cue_stands_for_the_instrument_that_the_player_has_taken_by_then() {
    let voices = "voice tune { 1: 1/1 E4 | 2: rest 7 | 9: 1/4 C6 D6 E6 F6 | 10: 1/4 G6 A6 B6 C7 | 11: 1/1 C4 | 12: C4 | }\n\
        voice late { 1: 1/1 C5 | 2: rest 9 | 11: 1/1 D5 | 12: D5 | }\n";
    for bar in [3, 10, 11] {
        let lines = format!(
            "oboe plays tune as melody\n flute.2 plays late as harmony\n flute.2 takes piccolo bar {bar}"
        );
        let arrangement = arranged_for("flute 2, oboe", voices, &lines);
        let player = arrangement.parts.iter().position(|part| part.player.id == "flute.2").unwrap();
        let expected = ["9 Ob.: C5 D5 E5 F5", "10 G5 A5 B5 C6"];
        assert_eq!(cues(&arrangement, player, 8), expected, "{bar}");
        let score = notate(&arrangement);
        let edition = part_with_cues(&arrangement, &score, player, Cueing::default());
        let bars = edition.staves[0].bars.iter().zip(1..);
        let told: Vec<String> = bars
            .flat_map(|(bar, number)| bar.directions.iter().map(move |said| (number, said)))
            .filter_map(|(number, said)| match &said.kind {
                DirectionKind::Change(words) => Some(format!("{number} {words}")),
                _ => None,
            })
            .collect();
        // Not over the cue, where it would be taken for who is heard.
        assert_eq!(told, ["2 take Piccolo", "11 Piccolo"], "{bar}");
    }
}

#[test]
fn a_cue_names_the_instrument_that_its_player_has_by_then() {
    let voices = "voice tune { 1: 1/1 E5 | 2: rest 7 | 9: 1/4 C6 D6 E6 F6 | 10: 1/4 G6 A6 B6 C7 | 11: 1/1 C6 | 12: C6 | }\n\
        voice late { 1: 1/1 C5 | 2: rest 9 | 11: 1/1 D5 | 12: D5 | }\n";
    let lines =
        "flute.2 plays tune as melody\n oboe plays late as harmony\n flute.2 takes piccolo bar 5";
    let arrangement = arranged_for("flute 2, oboe", voices, lines);
    let player = arrangement.parts.iter().position(|part| part.player.id == "oboe").unwrap();
    let cue = cues(&arrangement, player, 8);
    assert!(cue[0].starts_with("9 Picc."), "{cue:?}");
}

#[test]
fn a_cue_from_halves_that_play_the_same_names_their_section() {
    let cue = |lower: &str| {
        let lines = format!(
            "violin-1.1 plays tune as melody\n violin-1.2 plays {lower} as melody\n oboe plays late as harmony"
        );
        let arrangement = arranged_for("oboe, violin-1 8 players divisi", TUNES, &lines);
        cues(&arrangement, 0, 8)
    };
    let named = |cue: &[String], name: &str| cue[0].starts_with(&format!("9 {name}: "));
    let together = cue("tune");
    assert!(named(&together, "Vln. I"), "{together:?}");
    let divided = cue("tune 8va");
    assert!(named(&divided, "Vln. I (upper half)"), "{divided:?}");
}

#[test]
fn a_fermata_over_a_cue_leaves_the_rest_of_the_bar_whole() {
    let voices = TUNES.replace("10: 1/4 G5 A5 B5 C6", "10: 1/4 G5 A5 B5[fermata] C6");
    let lines = "flute plays tune as melody\n bassoon plays low as bass\n oboe plays late as melody\n clarinet, harp rest";
    let arrangement = arranged(&voices, lines);
    let score = notate(&arrangement);
    let edition = part_with_cues(&arrangement, &score, 1, Cueing { after_bars: 8 });
    let [cue, rests] = edition.staves[0].bars[9].voices.as_slice() else { panic!() };
    let held = cue.elements.iter().map(|element| match &element.kind {
        ElementKind::Note(note) => note.marks.has(Mark::Fermata),
        _ => false,
    });
    assert_eq!(held.collect::<Vec<_>>(), [false, false, true, false]);
    let kinds: Vec<_> = rests.elements.iter().map(|element| element.kind.clone()).collect();
    assert_eq!(kinds, [ElementKind::BarRest { fermata: false }]);
    // Without a cue it is divided.
    assert_eq!(score.staves[1].measures[9].elements.len(), 3);
}

#[test]
fn the_clef_of_the_entry_stands_before_a_cue_that_it_suits_better() {
    let clefs = |cue: &str| {
        let voices = format!(
            "voice tune {{ 1: 1/4 A4 G4 A4 B4 | 2: A4 G4 A4 B4 | 3: A4 G4 A4 B4 | 4: rest 7 | 11: 1/4 C2 D2 E2 F2 | 12: 1/1 G2 | }}\n\
             voice low {{ 1: 1/1 C3 | 2: C3 | 3: C3 | 4: C3 | 5: C3 | 6: C3 | 7: C3 | 8: C3 | 9: {cue} | 10: {cue} | 11: rest 2 | }}\n"
        );
        let lines = "bassoon plays low as melody\n cello plays tune as bass";
        let arrangement = arranged_for("bassoon, cello 2 players", &voices, lines);
        let score = notate(&arrangement);
        let edition = part_with_cues(&arrangement, &score, 1, Cueing { after_bars: 4 });
        let bars = edition.staves[0].bars.iter().zip(1..);
        let cue = bars.clone().find(|(bar, _)| bar.voices[0].elements.iter().any(|e| e.cue));
        let changes =
            bars.flat_map(|(bar, number)| bar.clefs.iter().map(move |(_, c)| (number, *c)));
        (cue.map(|(_, number)| number), changes.collect::<Vec<(i32, Clef)>>())
    };
    let (cue, changes) = clefs("1/4 C3 D3 B2 G2");
    assert_eq!((cue, changes), (Some(9), vec![(1, Clef::Tenor), (9, Clef::Bass)]));
    let (cue, changes) = clefs("1/4 A4 G4 A4 B4");
    assert_eq!((cue, changes), (Some(9), vec![(1, Clef::Tenor), (11, Clef::Bass)]));
}

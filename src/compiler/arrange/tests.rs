use std::sync::Arc;

use super::{Arrangement, PackedNote, arrange};
use crate::diagnostics::{BarNumbers, Sources};
use crate::music::Time;
use crate::resolve::{DirectionKind, Fermata, NoFiles, Piece, resolve};

/// A frame for examples: four bars of 2/4, two voices, a few players.
const FRAME: &str = r#"
piece "Sluice" { }
form {
  1 metre 2/4, key D minor
  4 end
}
dynamics {
  1 p
  3 f
}
voice upper { 1: 1/4 D5 E | 2: F5 G | 3: {A5 G} | 4: 1/2 F5 | }
voice thirds { 1: 1/4 D5&F5 E5&G5 | 2: 1/2 F5&A5 | 3: E5&G5 | 4: [pp] D5&F5 | }
ensemble small {
  era 1770
  violin-1 4 players, oboe 2, cello
  group low = cello
}
ensemble large extends small {
  era 1810
  bassoon joins low
  flute
}
"#;

pub(super) fn piece(scorings: &str) -> Arc<Piece> {
    let mut sources = Sources::new();
    let file = sources.add("example.ripieno", format!("{FRAME}{scorings}"));
    let (piece, findings) = resolve(&mut sources, file, &mut NoFiles);
    assert!(findings.is_empty(), "{findings:#?}");
    piece
}

/// What a player sounds: pitches by bar, `.` for a bar without a note, and the roles.
fn sounds(arrangement: &Arrangement, player: &str) -> String {
    let part = arrangement.parts.iter().find(|part| part.player.id == player).unwrap();
    let form = &arrangement.piece.form;
    let bars: Vec<String> = (0..form.bars.len())
        .map(|bar| {
            let notes: Vec<String> = part
                .notes
                .iter()
                .filter(|note| form.index_at(note.start()) == bar)
                .map(|note| {
                    let pitches: Vec<String> =
                        note.sound().pitches().iter().map(ToString::to_string).collect();
                    pitches.join("&")
                })
                .collect();
            if notes.is_empty() { ".".to_string() } else { notes.join(" ") }
        })
        .collect();
    bars.join(" | ")
}

/// The dynamics of a player with their bars.
fn dynamics(arrangement: &Arrangement, player: &str) -> String {
    let part = arrangement.parts.iter().find(|part| part.player.id == player).unwrap();
    let said: Vec<String> = part
        .directions
        .iter()
        .filter_map(|direction| match &direction.kind {
            DirectionKind::Dynamic(dynamic) => {
                let bar = arrangement.piece.form.bar_at(direction.at).number;
                Some(format!("{bar} {}", dynamic.letters()))
            }
            _ => None,
        })
        .collect();
    said.join(", ")
}

#[test]
fn a_line_claims_the_bars_that_it_names() {
    let piece = piece("scoring one for small {\n  oboe.1 plays upper 8vb bars 2, 4 as melody\n}");
    let arrangement = arrange(&piece, &piece.scorings[0]);
    assert_eq!(sounds(&arrangement, "oboe.1"), ". | F4 G4 | . | F4");
    assert_eq!(sounds(&arrangement, "oboe.2"), ". | . | . | .");
}

#[test]
fn an_own_line_takes_over_from_a_kept_one_for_its_bars_only() {
    let piece = piece(
        "scoring one for small {\n  violin-1 plays upper as melody\n  low plays upper 15mb as bass\n}
scoring two for large {\n  keep one\n  violin-1 plays upper 8va bars 3 as melody\n  violin-1 rests bars 4\n}",
    );
    let arrangement = arrange(&piece, &piece.scorings[1]);
    assert_eq!(sounds(&arrangement, "violin-1"), "D5 E5 | F5 G5 | A6 G6 | .");
    // The kept line speaks to the group, and the bassoon has joined it.
    assert_eq!(sounds(&arrangement, "bassoon"), "D3 E3 | F3 G3 | A3 G3 | F3");
    assert!(arrangement.diagnostics.is_empty());
}

#[test]
fn a_member_of_a_group_may_stand_in_another_octave() {
    let piece = piece(
        "ensemble basses {
  era 1770
  cello 2 players, harpsichord
  group low = cello, harpsichord
  double-bass joins low 8vb
}
scoring one for basses {\n  low plays upper 15mb bars 1..2 as bass\n  double-bass plays upper 15mb bars 3 as bass\n}",
    );
    let arrangement = arrange(&piece, &piece.scorings[0]);
    assert_eq!(sounds(&arrangement, "cello"), "D3 E3 | F3 G3 | . | .");
    assert_eq!(sounds(&arrangement, "double-bass"), "D2 E2 | F2 G2 | A3 G3 | .");
}

#[test]
fn a_pair_shares_the_notes_of_chords_from_the_top_down() {
    let piece = piece("scoring one for small {\n  oboe plays thirds as harmony\n}");
    let arrangement = arrange(&piece, &piece.scorings[0]);
    assert_eq!(sounds(&arrangement, "oboe.1"), "F5 G5 | A5 | G5 | F5");
    assert_eq!(sounds(&arrangement, "oboe.2"), "D5 E5 | F5 | E5 | D5");
    assert!(arrangement.diagnostics.is_empty());
}

#[test]
fn what_a_single_player_leaves_out_of_chords_is_told() {
    let piece = piece(
        "scoring one for small {\n  oboe.1 plays thirds as harmony\n  violin-1 plays thirds as melody\n}",
    );
    let arrangement = arrange(&piece, &piece.scorings[0]);
    assert_eq!(sounds(&arrangement, "oboe.1"), "F5 G5 | A5 | G5 | F5");
    assert_eq!(sounds(&arrangement, "violin-1"), "D5&F5 E5&G5 | F5&A5 | E5&G5 | D5&F5");
    let codes: Vec<_> = arrangement.diagnostics.iter().map(|finding| finding.code).collect();
    assert_eq!(codes, ["arrange/chord-thinned"]);
}

#[test]
fn strokes_for_a_player_of_pitched_notes_are_told_once_a_line() {
    let piece = piece(
        "scoring one for small {\n  oboe writes as rhythm {\n 1: 1/4 x x |\n 2: 1/2 x |\n }\n}",
    );
    let arrangement = arrange(&piece, &piece.scorings[0]);
    let codes: Vec<_> = arrangement.diagnostics.iter().map(|finding| finding.code).collect();
    assert_eq!(codes, ["arrange/no-pitch"]);
}

#[test]
fn two_lines_of_one_scoring_for_one_player_are_told_and_the_first_holds() {
    let piece = piece(
        "scoring one for small {\n  oboe plays upper as melody\n  oboe.2 plays upper 8vb bars 2..3 as harmony\n}",
    );
    let arrangement = arrange(&piece, &piece.scorings[0]);
    assert_eq!(arrangement.diagnostics.len(), 1);
    assert_eq!(arrangement.diagnostics[0].code, "names/conflict");
    assert_eq!(arrangement.diagnostics[0].bars, Some(BarNumbers::new(2, 3)));
    assert_eq!(sounds(&arrangement, "oboe.2"), "D5 E5 | F5 G5 | A5 G5 | F5");
}

#[test]
fn doubling_copies_what_the_other_part_sounds_bar_by_bar() {
    let piece = piece(
        "scoring one for large {\n  violin-1 plays upper bars 1..2 as melody\n  violin-1 plays thirds bars 3..4 as harmony\n  flute doubles violin-1 8va bars 2..3\n}",
    );
    let arrangement = arrange(&piece, &piece.scorings[0]);
    assert_eq!(sounds(&arrangement, "flute"), ". | F6 G6 | G6 | .");
}

#[test]
fn the_loudness_of_everybody_returns_after_a_line_with_its_own() {
    let piece = piece(
        "scoring one for small {\n  oboe.1 plays upper bars 1..2 as melody, at mf\n  oboe.1 plays upper bars 3..4 as melody\n  oboe.2 plays upper bars 1..3 as melody, at mf\n  oboe.2 plays upper bars 4 as melody\n  violin-1 plays thirds as harmony\n}",
    );
    let arrangement = arrange(&piece, &piece.scorings[0]);
    assert_eq!(dynamics(&arrangement, "oboe.1"), "1 mf, 3 f");
    assert_eq!(dynamics(&arrangement, "oboe.2"), "1 mf, 4 f");
    assert_eq!(dynamics(&arrangement, "violin-1"), "1 p, 3 f, 4 pp");
}

#[test]
fn who_takes_up_a_voice_has_the_level_that_it_has_said_itself() {
    let level = |said: &str, everybody: &str| {
        let frame = FRAME.replace("  3 f\n", everybody);
        let lines = format!(
            "voice own {{\n1: 1/2 C5 |\n2: [{said}] 1/2 D5 |\n3: 1/2 E5 |\n4: 1/2 D5 |\n}}\n\
             scoring one for small {{\n  oboe.1 plays own bars 3 as melody\n  \
             violin-1 plays thirds as harmony\n}}"
        );
        let mut sources = Sources::new();
        let file = sources.add("example.ripieno", format!("{frame}{lines}"));
        let (piece, findings) = resolve(&mut sources, file, &mut NoFiles);
        assert!(findings.is_empty(), "{findings:#?}");
        dynamics(&arrange(&piece, &piece.scorings[0]), "oboe.1")
    };
    assert!(level("mf", "").contains("3 mf"), "{}", level("mf", ""));
    assert!(level("fp", "").contains("3 p"), "what an fp leaves");
    // What everybody is told since holds for him, too.
    assert!(level("mf", "  3 f\n").contains("3 f"), "{}", level("mf", "  3 f\n"));
}

#[test]
fn who_takes_up_a_voice_plays_as_it_is_played_there() {
    let told = |lines: &str| {
        let lines = format!(
            "voice own {{\n1: [pizz] 1/2 C5 |\n2: 1/2 D5 |\n3: [arco] 1/2 E5 |\n4: [muted] 1/2 D5 |\n}}\n\
             scoring one for small {{\n{lines}\n  oboe.1 plays own as melody\n}}"
        );
        let mut sources = Sources::new();
        let file = sources.add("example.ripieno", format!("{FRAME}{lines}"));
        let (piece, findings) = resolve(&mut sources, file, &mut NoFiles);
        assert!(findings.is_empty(), "{findings:#?}");
        let arrangement = arrange(&piece, &piece.scorings[0]);
        let said = |player: &str| -> Vec<String> {
            let part = arrangement.parts.iter().find(|part| part.player.id == player).unwrap();
            let said = part.directions.iter().filter_map(|said| match said.kind {
                DirectionKind::Technique(way) => {
                    Some(format!("{} {}", piece.form.bar_at(said.at).number, way.word()))
                }
                _ => None,
            });
            said.collect()
        };
        assert!(said("oboe.1").is_empty(), "an oboe is not plucked");
        said("violin-1").join(", ")
    };
    let line = |bars: &str| format!("  violin-1 plays own bars {bars} as melody");
    assert_eq!(told(&line("2")), "2 pizz");
    assert_eq!(told(&line("3")), "3 arco");
    assert_eq!(told(&line("4")), "4 muted");
    let thirds = "\n  violin-1 plays thirds bars 2 as harmony";
    assert_eq!(told(&format!("{}{thirds}", line("1, 3"))), "1 pizz, 2 arco, 3 arco");
    // One line goes on where another does, and what a line says itself goes before.
    assert_eq!(told(&format!("{}\n{}", line("1"), line("2"))), "1 pizz");
    assert_eq!(told(&format!("{}, arco", line("2"))), "2 arco");
    assert_eq!(told(&format!("{}, muted", line("2"))), "2 muted, 2 pizz");
}

#[test]
fn words_about_strings_are_for_those_who_have_them() {
    let told = |words: [&str; 3], player: &str| {
        let [one, two, three] = words;
        let lines = format!(
            "voice own {{\n1: [\"{one}\"] 1/2 C5 |\n2: [\"{two}\"] 1/2 D5 |\n3: [\"{three}\"] 1/2 E5 |\n4: 1/2 D5 |\n}}\n\
             scoring one for small {{\n  violin-1 plays own as melody\n  oboe.1 plays own as melody\n}}"
        );
        let mut sources = Sources::new();
        let file = sources.add("example.ripieno", format!("{FRAME}{lines}"));
        let (piece, findings) = resolve(&mut sources, file, &mut NoFiles);
        assert!(findings.is_empty(), "{findings:#?}");
        let arrangement = arrange(&piece, &piece.scorings[0]);
        let part = arrangement.parts.iter().find(|part| part.player.id == player).unwrap();
        let said = part.directions.iter().filter_map(|said| match &said.kind {
            DirectionKind::Words(words) => Some(words.to_string()),
            _ => None,
        });
        said.collect::<Vec<_>>().join(", ")
    };
    let words = ["sempre sul G", "ord.", "dolce"];
    assert_eq!(told(words, "violin-1"), "sempre sul G, ord., dolce");
    assert_eq!(told(words, "oboe.1"), "dolce");
    // What says something else besides stays, and so does what ends nothing that was left out.
    let words = ["sul G, dolce", "sul ponticello", "ord."];
    assert_eq!(told(words, "oboe.1"), "sul G, dolce");
    assert_eq!(told(["ord.", "dolce", "ord."], "oboe.1"), "ord., dolce, ord.");
}

#[test]
fn words_of_a_line_are_not_said_again_after_a_rest_within_it() {
    let piece = piece(
        "scoring one for small {\n  oboe.1 plays upper bars 1..4 as melody, \"solo\"\n  \
         violin-1 plays thirds as harmony\n}\n\
         scoring two for small {\n  keep one\n  oboe.1 rests bars 2\n}",
    );
    let arrangement = arrange(&piece, &piece.scorings[1]);
    let part = arrangement.parts.iter().find(|part| part.player.id == "oboe.1").unwrap();
    let words = part.directions.iter().filter(|said| matches!(said.kind, DirectionKind::Words(_)));
    let notes: Vec<Time> = part.notes.iter().map(|note| note.start()).collect();
    assert!(!notes.contains(&Time::of(1, 2)), "{notes:?}");
    assert_eq!(words.map(|said| said.at).collect::<Vec<_>>(), [Time::ZERO]);
}

#[test]
fn who_leaves_a_voice_where_its_hairpin_ends_still_knows_its_goal() {
    let lines = "voice own {\n1: [p cresc] 1/2 C5 |\n2: 1/2 D5 |\n3: [mf] 1/2 E5 |\n4: 1/2 D5 |\n}\n\
        scoring one for small {\n  oboe.1 plays own bars 1..2 as melody\n  \
        violin-1 plays thirds as harmony\n}";
    let frame = FRAME.replace("  3 f\n", "");
    let mut sources = Sources::new();
    let file = sources.add("example.ripieno", format!("{frame}{lines}"));
    let (piece, findings) = resolve(&mut sources, file, &mut NoFiles);
    assert!(findings.is_empty(), "{findings:#?}");
    let told = dynamics(&arrange(&piece, &piece.scorings[0]), "oboe.1");
    assert!(told.contains("3 mf"), "{told}");
}

#[test]
fn a_hairpin_of_everybody_ends_where_a_line_has_a_loudness_of_its_own() {
    let frame = FRAME.replace("  3 f\n", "  1..2 cresc\n  3 f\n");
    let lines = "scoring one for small {\n  oboe.1 plays upper bars 2..4 as melody, at mf\n  \
        violin-1 plays thirds as harmony\n}";
    let mut sources = Sources::new();
    let file = sources.add("example.ripieno", format!("{frame}{lines}"));
    let (piece, findings) = resolve(&mut sources, file, &mut NoFiles);
    assert!(findings.is_empty(), "{findings:#?}");
    let arrangement = arrange(&piece, &piece.scorings[0]);
    let ends = |player: &str| -> Vec<Time> {
        let part = arrangement.parts.iter().find(|part| part.player.id == player).unwrap();
        let pins = part.directions.iter().filter_map(|said| match said.kind {
            DirectionKind::Hairpin { to, .. } => Some(to),
            _ => None,
        });
        pins.collect()
    };
    assert_eq!(ends("violin-1"), [Time::WHOLE], "to the next dynamic");
    assert_eq!(ends("oboe.1"), [Time::of(1, 2)]);
}

#[test]
fn who_comes_back_amid_a_hairpin_of_everybody_goes_on_with_it() {
    let frame = FRAME.replace("  3 f\n", "  1..2 cresc\n  3 f\n");
    let lines = "scoring one for small {\n  oboe.1 plays upper bars 1 as melody, at pp\n  \
        oboe.1 plays upper bars 2..4 as melody\n  violin-1 plays thirds as harmony\n}";
    let mut sources = Sources::new();
    let file = sources.add("example.ripieno", format!("{frame}{lines}"));
    let (piece, findings) = resolve(&mut sources, file, &mut NoFiles);
    assert!(findings.is_empty(), "{findings:#?}");
    let arrangement = arrange(&piece, &piece.scorings[0]);
    let oboe = arrangement.parts.iter().find(|part| part.player.id == "oboe.1").unwrap();
    let pins = oboe.directions.iter().filter_map(|said| match said.kind {
        DirectionKind::Hairpin { to, .. } => Some((said.at, to)),
        _ => None,
    });
    assert_eq!(pins.collect::<Vec<_>>(), [(Time::of(1, 2), Time::WHOLE)]);
}

#[test]
fn a_slur_that_is_cut_by_a_claim_falls_away() {
    let piece = piece(
        "voice long { 1: 1/4 D5 {E | 2: F5 G} | 3: 1/2 A5 | 4: F5 | }
scoring one for small {\n  oboe.1 plays long bars 1 as melody\n  oboe.2 plays long bars 2..4 as melody\n  violin-1 plays long as melody\n}",
    );
    let arrangement = arrange(&piece, &piece.scorings[0]);
    for part in &arrangement.parts {
        let mut open = 0;
        for note in &part.notes {
            open += i32::from(note.attached().slur_starts) - i32::from(note.attached().slur_ends);
            assert!((0..=1).contains(&open), "{}", part.player.id);
        }
        assert_eq!(open, 0, "{}", part.player.id);
    }
}

#[test]
fn every_note_knows_its_source_its_line_and_its_role() {
    let text = "scoring one for small {\n  oboe.1 plays upper as melody\n  cello plays upper 15mb as bass\n}";
    let mut sources = Sources::new();
    let file = sources.add("example.ripieno", format!("{FRAME}{text}"));
    let (piece, _) = resolve(&mut sources, file, &mut NoFiles);
    let arrangement = arrange(&piece, &piece.scorings[0]);
    let cello = arrangement.parts.iter().find(|part| part.player.id == "cello").unwrap();
    let note = &cello.notes[1];
    assert_eq!(sources.text(note.source()), "E");
    let line = arrangement.lines[cello.line_of(note).index()];
    assert_eq!(sources.text(line.span), "cello plays upper 15mb as bass");
    assert_eq!(sources.text(cello.player.span), "cello");
    assert_eq!(note.role().word(), "bass");
    assert_eq!(note.start(), Time::QUARTER);
}

#[test]
fn no_line_is_lost_where_there_are_as_many_as_there_may_be() {
    let bars = 1250;
    let mut text = format!(
        "piece \"Weir\" {{ }}\nform {{\n  1 metre 2/4, key C major\n  {bars} end\n}}\n\
         voice tune {{\n  1: 1/2 C5 |\n  2: rest {} |\n}}\n\
         ensemble few {{\n  era 1810\n  oboe 4\n}}\nscoring one for few {{\n",
        bars - 1
    );
    for player in 1..=4 {
        for bar in 2..=bars {
            text += &format!("  oboe.{player} rests bars {bar}\n");
        }
    }
    text += "  oboe.4 plays tune bars 1 as melody\n}\n";
    let mut sources = Sources::new();
    let file = sources.add("example.ripieno", text);
    let (piece, _) = resolve(&mut sources, file, &mut NoFiles);
    let arrangement = arrange(&piece, &piece.scorings[0]);
    assert_eq!(arrangement.lines.len(), 4 * (bars - 1) + 1);
    assert!(arrangement.lines.len() > crate::limits::LINES - 5);
    assert_eq!(arrangement.parts[3].notes.len(), 1);
    let part = &arrangement.parts[3];
    let line = part.line_of(&part.notes[0]);
    assert_eq!(
        sources.text(arrangement.lines[line.index()].span),
        "oboe.4 plays tune bars 1 as melody"
    );
}

#[test]
fn a_fermata_on_a_rest_within_a_bar_leaves_the_notes_after_it_alone() {
    let piece = piece(
        "voice held { 1: 1/4 D5 rest[fermata] | 2: rest[fermata] G | 3: A5 G | 4: 1/2 F5 | }
scoring one for small {\n  violin-1 plays held as melody\n  cello plays held 15mb as bass\n  oboe rests\n}",
    );
    let arrangement = arrange(&piece, &piece.scorings[0]);
    let fermata = |from, to| Fermata { from, to, on_rest: true };
    let (half, later) = (Time::of(1, 2), Time::of(3, 4));
    assert_eq!(piece.fermatas(), [fermata(Time::QUARTER, half), fermata(half, later)]);
    for part in &arrangement.parts {
        let marked = |note: &&crate::arrange::PackedNote| {
            note.attached().marks.has(crate::resolve::Mark::Fermata)
        };
        assert_eq!(part.notes.iter().filter(marked).count(), 0, "{}", part.player.id);
        let on_rests = part.directions.iter().filter(|d| d.kind == DirectionKind::FermataOnRest);
        assert_eq!(on_rests.count(), 2, "{}", part.player.id);
    }
}

#[test]
fn a_part_that_falls_silent_under_a_fermata_waits_in_its_rest() {
    let piece = piece(
        "voice held { 1: 1/2 D5[fermata] | 2: 1/4 E F | 3: A5 G | 4: 1/2 F5 | }
voice short { 1: 1/4 D3 rest | 2: rest 3 | }
scoring one for small {\n  violin-1 plays held as melody\n  cello plays short as bass\n  oboe rests\n}",
    );
    let arrangement = arrange(&piece, &piece.scorings[0]);
    let cello = arrangement.parts.iter().find(|part| part.player.id == "cello").unwrap();
    let at = cello.directions.iter().find(|d| d.kind == DirectionKind::FermataOnRest);
    assert_eq!(at.map(|direction| direction.at), Some(Time::QUARTER));
}

#[test]
fn others_wait_as_long_as_the_rest_under_a_fermata_not_as_the_silence() {
    let piece = piece(
        "voice held { 1: 1/8 D5 rest[fermata] rest 1/8 E | 2: 1/2 F | 3: 1/2 G | 4: 1/2 F5 | }
voice long { 1: 1/4 D3 E | 2: 1/2 F3 | 3: 1/2 G3 | 4: 1/2 F3 | }
scoring one for small {\n  violin-1 plays held as melody\n  cello plays long as bass\n  oboe rests\n}",
    );
    let rest = Fermata { from: Time::of(1, 8), to: Time::QUARTER, on_rest: true };
    assert_eq!(piece.fermatas(), [rest]);
    let arrangement = arrange(&piece, &piece.scorings[0]);
    let cello = arrangement.parts.iter().find(|part| part.player.id == "cello").unwrap();
    let marked =
        cello.notes.iter().filter(|note| note.attached().marks.has(crate::resolve::Mark::Fermata));
    assert_eq!(marked.map(PackedNote::start).collect::<Vec<_>>(), [Time::ZERO]);
    let oboe = arrangement.parts.iter().find(|part| part.player.id == "oboe.1").unwrap();
    let rests = super::Wait { from: rest.from, to: rest.to, sounds: false, on_rest: true };
    assert_eq!(oboe.waits, [rests]);
}

#[test]
fn fermatas_of_two_voices_that_end_together_are_one_on_a_rest() {
    let piece = piece(
        "voice held { 1: 1/2 D5[fermata] | 2: 1/4 E F | 3: A5 G | 4: 1/2 F5 | }
voice short { 1: 1/4 D3 D3[fermata] | 2: rest 3 | }
scoring one for small {\n  violin-1 plays held as melody\n  cello plays short as bass\n  oboe rests\n}",
    );
    let arrangement = arrange(&piece, &piece.scorings[0]);
    let oboe = arrangement.parts.iter().find(|part| part.player.id == "oboe.1").unwrap();
    let on_rests = oboe.directions.iter().filter(|d| d.kind == DirectionKind::FermataOnRest);
    assert_eq!(on_rests.map(|d| d.at).collect::<Vec<_>>(), [Time::QUARTER]);
}

#[test]
fn a_note_that_is_held_on_beyond_a_fermata_waits_within_it() {
    let piece = piece(
        "voice held { 1: 1/2 D5 | 2: 1/2 E[fermata] | 3: A5 | 4: F5 | }
voice long { 1: 1/2 D3 | 2: = | 3: = | 4: 1/2 rest | }
scoring one for small {\n  violin-1 plays held as melody\n  cello plays long as bass\n  oboe rests\n}",
    );
    let arrangement = arrange(&piece, &piece.scorings[0]);
    let cello = arrangement.parts.iter().find(|part| part.player.id == "cello").unwrap();
    let marked = |note: &crate::arrange::PackedNote| {
        (note.start(), note.length(), note.attached().marks.has(crate::resolve::Mark::Fermata))
    };
    let notes: Vec<_> = cello.notes.iter().map(marked).collect();
    let half = Time::of(1, 2);
    assert_eq!(notes, [(Time::ZERO, half * 3, false)]);
    let wait = super::Wait { from: half, to: half * 2, sounds: true, on_rest: false };
    assert_eq!(cello.waits, [wait]);
    let oboe = arrangement.parts.iter().find(|part| part.player.id == "oboe.1").unwrap();
    assert_eq!(oboe.waits, [super::Wait { sounds: false, ..wait }]);
}

#[test]
fn a_fermata_of_a_written_line_holds_for_all_where_it_is_played() {
    let waits = |line: &str| -> Vec<String> {
        let piece = piece(&format!(
            "voice held {{ 1: 1/2 D5 | 2: 1/4 E F | 3: 1/2 A5 | 4: F5[fermata] | }}
voice long {{ 1: 1/2 D3 | 2: = | 3: = | 4: 1/2 D3 | }}
scoring one for small {{\n  violin-1 plays held as melody\n  cello plays long as bass\n  {line}\n}}"
        ));
        let arrangement = arrange(&piece, piece.scorings.last().unwrap());
        let players = arrangement.parts.iter().map(|part| {
            let marked = |note: &&crate::arrange::PackedNote| {
                note.attached().marks.has(crate::resolve::Mark::Fermata)
            };
            let notes = part.notes.iter().filter(marked).map(|note| note.start().to_string());
            let held = part.waits.iter().map(|wait| format!("{}-{}", wait.from, wait.to));
            let rests = part.directions.iter().filter(|d| d.kind == DirectionKind::FermataOnRest);
            let rests = rests.map(|rest| format!("rest {}", rest.at));
            let all: Vec<String> = notes.chain(held).chain(rests).collect();
            format!("{}: {}", part.player.id, all.join(", "))
        });
        players.collect()
    };
    let last = ["oboe.1: 3/2", "oboe.2: 3/2-2/1, rest 3/2", "violin-1: 3/2", "cello: 3/2"];
    assert_eq!(waits("oboe.1 writes as harmony { 4: 1/2 F4[fermata] | }"), last);
    let others = [
        "oboe.1: 1/2, 3/2",
        "oboe.2: 1/2-3/4, 3/2-2/1, rest 1/2, rest 3/2",
        "violin-1: 1/2, 3/2",
        "cello: 3/2, 1/2-3/4",
    ];
    let oboe = waits("oboe.1 writes as harmony { 2: 1/4 F4[fermata] G | 4: 1/2 F4 | }");
    assert_eq!(oboe, others);
    // He does not play it.
    let kept = "oboe.1 writes as harmony { 2: 1/4 F4[fermata] G | 4: 1/2 F4 | }\n}\n\
        scoring two for small {\n  keep one\n  oboe.1 rests bars 2";
    assert!(waits(kept).iter().all(|part| !part.contains("1/2")), "{:?}", waits(kept));
}

#[test]
fn a_held_note_is_not_divided_within_a_tuplet_of_another_voice() {
    let piece = piece(
        "voice held { 1: 3:2(1/4 D5 E[fermata] F) | 2: rest 3 | }
voice long { 1: 1/2 F3 | 2: rest 3 | }
scoring one for small {\n  violin-1 plays held as melody\n  cello plays long as bass\n  oboe rests\n}",
    );
    let arrangement = arrange(&piece, &piece.scorings[0]);
    let cello = arrangement.parts.iter().find(|part| part.player.id == "cello").unwrap();
    assert_eq!((cello.notes.len(), &*cello.waits), (1, &[][..]));
}

#[test]
fn a_fermata_of_one_voice_holds_for_every_part() {
    let piece = piece(
        "voice held { 1: 1/4 D5 E | 2: F5 G | 3: A5 G | 4: 1/2 F5[fermata] | }
scoring one for small {\n  violin-1 plays held as melody\n  cello plays upper 15mb bars 4 as bass\n  oboe rests\n}",
    );
    let arrangement = arrange(&piece, &piece.scorings[0]);
    for part in &arrangement.parts {
        let on_note = part
            .notes
            .last()
            .is_some_and(|note| note.attached().marks.has(crate::resolve::Mark::Fermata));
        let on_rest =
            part.directions.iter().any(|direction| direction.kind == DirectionKind::FermataOnRest);
        assert!(on_note != on_rest, "{}", part.player.id);
    }
}

#[test]
fn a_player_who_takes_another_instrument_has_it_until_he_takes_the_next() {
    let piece = piece(
        "scoring a for large {\n oboe plays upper as melody\n oboe.2 takes cor-anglais bar 2\n \
         oboe.2 takes oboe bar 4\n}\nscoring b for large {\n keep a\n oboe.2 takes oboe bar 2\n}\n",
    );
    let in_hand = |scoring: usize| {
        let arrangement = arrange(&piece, &piece.scorings[scoring]);
        let part = arrangement.parts.iter().find(|part| part.player.id == "oboe.2").unwrap();
        let bars = piece.form.bars.iter();
        bars.map(|bar| part.instrument_at(bar.start).id.as_str()).collect::<Vec<_>>()
    };
    assert_eq!(in_hand(0), ["oboe", "cor-anglais", "cor-anglais", "oboe"]);
    assert_eq!(in_hand(1), ["oboe"; 4], "a line of its own has the last word");
}

#[test]
fn a_key_belongs_to_the_instrument_in_hand() {
    let piece = piece(
        "ensemble reeds {\n era 1885\n clarinet 2 in Bb\n}\nscoring a for reeds {\n \
         clarinet plays upper as melody\n clarinet.2 takes bass-clarinet in A bar 2\n \
         clarinet.2 takes clarinet bar 4\n}\n",
    );
    let arrangement = arrange(&piece, &piece.scorings[0]);
    let part = &arrangement.parts[1];
    let steps: Vec<i32> =
        piece.form.bars.iter().map(|bar| part.transposition_at(bar.start).semitones).collect();
    assert_eq!(steps, [-2, -15, -15, -2], "his own clarinet has its own key");
}

#[test]
fn ways_of_playing_in_a_voice_go_only_to_those_who_have_them() {
    let piece = piece(
        "voice bowed { 1: [pizz] 1/4 D5[down-bow] E | 2: [arco] F5 G | 3: 1/2 A5[stacc] | 4: F5 | }\n\
         scoring a for small {\n violin-1, oboe.1 plays bowed as melody\n}\n",
    );
    let arrangement = arrange(&piece, &piece.scorings[0]);
    let of = |player: &str| {
        let part = arrangement.parts.iter().find(|part| part.player.id == player).unwrap();
        let ways = part.directions.iter();
        let ways = ways.filter(|d| matches!(d.kind, DirectionKind::Technique(_))).count();
        (ways, part.notes.iter().filter(|note| !note.attached().marks.is_empty()).count())
    };
    assert_eq!(of("violin-1"), (2, 2));
    assert_eq!(of("oboe.1"), (0, 1));
}

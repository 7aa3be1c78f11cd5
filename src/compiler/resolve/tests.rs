use std::sync::Arc;

use super::{BarIndices, Mark, NoFiles, OfTwo, Piece, Sound, resolve};
use crate::diagnostics::{Diagnostic, Sources};
use crate::music::Time;

fn read(text: &str) -> (Arc<Piece>, Vec<Diagnostic>) {
    let mut sources = Sources::new();
    let file = sources.add("example.ripieno", format!("piece \"Sluice\" {{ }}\n{text}"));
    resolve(&mut sources, file, &mut NoFiles)
}

fn piece(text: &str) -> Arc<Piece> {
    let (piece, findings) = read(text);
    assert!(findings.is_empty(), "{findings:#?}");
    piece
}

/// The notes of the first voice: beginning, pitches, length.
fn notes(piece: &Piece) -> String {
    let notes = piece.voices[0].music.notes.iter().map(|note| {
        let pitches = match &note.sound {
            Sound::Pitches(pitches) => {
                pitches.iter().map(ToString::to_string).collect::<Vec<_>>().join("&")
            }
            Sound::Stroke => "x".to_string(),
        };
        format!("{} {pitches} {}", note.start, note.length)
    });
    notes.collect::<Vec<_>>().join(", ")
}

const TWO_BARS: &str = "form {\n  1 metre 2/4, key D minor\n  2 end\n}\n";

#[test]
fn values_and_octaves_hold_until_the_next_one() {
    let piece = piece(&format!("{TWO_BARS}voice v {{ 1: 1/8 D5 E 1/4 F | 2: G A4 | }}"));
    assert_eq!(notes(&piece), "0/1 D5 1/8, 1/8 E5 1/8, 1/4 F5 1/4, 1/2 G5 1/4, 3/4 A4 1/4");
}

#[test]
fn a_hold_lengthens_the_note_before_it_even_over_a_bar_line() {
    let piece =
        piece(&format!("{TWO_BARS}voice v {{ 1: 1/4 rest D5&F5 | 2: 1/8 = rest 1/4 x | }}"));
    assert_eq!(notes(&piece), "1/4 D5&F5 3/8, 3/4 x 1/4");
}

#[test]
fn tuplets_scale_their_values_and_leave_the_written_one_in_force() {
    let piece = piece(&format!(
        "{TWO_BARS}voice v {{ 1: 3:2(1/8 D5 E F) 1/4 G | 2: 5:4(1/8 A A A A A) | }}"
    ));
    assert_eq!(
        notes(&piece),
        "0/1 D5 1/12, 1/12 E5 1/12, 1/6 F5 1/12, 1/4 G5 1/4, \
         1/2 A5 1/10, 3/5 A5 1/10, 7/10 A5 1/10, 4/5 A5 1/10, 9/10 A5 1/10"
    );
    assert_eq!(piece.voices[0].music.tuplets.len(), 2);
}

#[test]
fn a_tuplet_of_twice_as_many_units_is_two_where_a_beat_parts_it() {
    let tuplets = |metre: &str, bar: &str| -> String {
        let form = format!("form {{ 1 metre {metre}, key C major\n 2 end }}\n");
        let piece = piece(&format!("{form}voice v {{ 1: {bar} | 2: rest | }}"));
        let all = piece.voices[0].music.tuplets.iter();
        let all = all.map(|t| format!("{} {} {}:{}", t.start, t.length, t.actual, t.normal));
        all.collect::<Vec<_>>().join(", ")
    };
    let two = "0/1 1/4 3:2, 1/4 1/4 3:2";
    assert_eq!(tuplets("4/4", "3:2(1/8 E4 F G A B C5) 1/2 G4"), two);
    assert_eq!(tuplets("4/4", "3:2(1/8 E4 F G 1/4 A 1/8 C5) 1/2 G4"), "0/1 1/2 3:2");
    assert_eq!(tuplets("2/2", "3:2(1/8 E4 F G A B C5) 1/2 G4"), two);
    // No note ends at the middle, or no beat begins there.
    assert_eq!(tuplets("4/4", "3:2(1/8. E4 1/16 F 1/8. G 1/16 A 1/8 B C5) 1/2 G4"), "0/1 1/2 6:4");
    assert_eq!(tuplets("2/4", "3:2(1/16 E4 F G A B C5) 1/4 G4"), "0/1 1/4 6:4");
    assert_eq!(tuplets("4/4", "1/8 C4 3:2(1/8 E4 F G A B C5) 3/8 G4"), "1/8 1/2 6:4");
    let twelve = "3:2(1/16 E4 F G A B C5 E4 F G A B C5) 1/2 G4";
    assert_eq!(tuplets("4/4", twelve), "0/1 1/4 6:4, 1/4 1/4 6:4");
    let ten = "5:4(1/16 E4 F G A B E4 F G A B) 1/2 G4";
    assert_eq!(tuplets("4/4", ten), "0/1 1/4 5:4, 1/4 1/4 5:4");
    // Its own unit is there.
    assert_eq!(tuplets("4/4", "3:2(1/4 E4 1/8 F G A B) 1/2 G4"), "0/1 1/2 3:2");
    assert_eq!(tuplets("6/8", "2:3(1/16 E4 F G A) 3/8 G4"), "0/1 3/8 2:3");
}

#[test]
fn grace_notes_take_no_time_and_let_nothing_leak() {
    let piece =
        piece(&format!("{TWO_BARS}voice v {{ 1: 1/4 D5 grace(1/16 E4 F) G | 2: 1/2 A | }}"));
    assert_eq!(notes(&piece), "0/1 D5 1/4, 1/4 G5 1/4, 1/2 A5 1/2");
    let graces = piece.voices[0].music.notes.get(1).unwrap().attached.graces.unwrap();
    assert_eq!(graces.notes.len(), 2);
    assert_eq!(graces.notes[1].1[0].to_string(), "F4");
}

#[test]
fn grace_notes_of_a_stroke_are_strokes() {
    let voice = |bar: &str| format!("{TWO_BARS}voice v {{ 1: {bar} | 2: 1/2 rest | }}");
    let piece = piece(&voice("1/4 x grace(1/16 x x) x"));
    let graces = piece.voices[0].music.notes.get(1).unwrap().attached.graces.unwrap();
    let lengths: Vec<_> = graces.notes.iter().map(|(value, sound)| (*value, sound.len())).collect();
    assert_eq!(lengths, [(Time::of(1, 16), 0), (Time::of(1, 16), 0)]);
    for bar in ["1/4 x grace(1/16 E5) x", "1/4 D5 grace(1/16 x) D5", "1/4 D5 grace(1/16 x E5) D5"] {
        let (piece, found) = read(&voice(bar));
        assert_eq!(found.iter().map(|finding| finding.code).collect::<Vec<_>>(), ["bars/grace"]);
        let graces = piece.voices[0].music.notes.get(1).unwrap().attached.graces;
        assert!(graces.is_none_or(|graces| bar.ends_with('x') && graces.notes[0].1.is_empty()));
    }
}

#[test]
fn a_tremolo_between_two_notes_gives_half_of_the_time_to_each() {
    let piece = piece(&format!(
        "{TWO_BARS}voice v {{ 1: 1/2 D5[tremolo A, accent, fermata] | 2: 1/4 F&A[tremolo C6 1/16] E | }}"
    ));
    assert_eq!(notes(&piece), "0/1 D5 1/4, 1/4 A5 1/4, 1/2 F5&A5 1/8, 5/8 C6 1/8, 3/4 E5 1/4");
    let places: Vec<_> = piece.voices[0].music.notes.iter().map(|n| n.attached.of_two).collect();
    let (first, second) = (Some(OfTwo::First), Some(OfTwo::Second));
    assert_eq!(places, [first, second, first, second, None]);
    // What begins it stands on the first, what ends it on the second.
    let marks = |n: usize| piece.voices[0].music.notes.get(n).unwrap().attached.marks;
    assert!(marks(0).has(Mark::Accent) && !marks(0).has(Mark::Fermata));
    assert!(!marks(1).has(Mark::Accent) && marks(1).has(Mark::Fermata));
}

#[test]
fn a_tremolo_between_two_notes_that_is_no_single_value_is_parted_at_beats() {
    let parted = |metre: &str, bar: &str| {
        let piece = piece(&format!(
            "form {{ 1 metre {metre}, key C major\n 1 end }}\nvoice v {{ 1: {bar} | }}"
        ));
        let music = &piece.voices[0].music;
        let marks = |n: usize| music.notes.get(n).unwrap().attached.marks;
        let last = music.notes.len() - 1;
        assert!(marks(last).has(Mark::Fermata) && (0..last).all(|n| !marks(n).has(Mark::Fermata)));
        notes(&piece)
    };
    let note = |value: &str| format!("{value} D5[tremolo A, fermata]");
    let compound = "0/1 D5 3/8, 3/8 A5 3/8, 3/4 D5 3/16, 15/16 A5 3/16";
    assert_eq!(parted("9/8", &note("9/8")), compound);
    let five = "0/1 D5 3/8, 3/8 A5 3/8, 3/4 D5 1/4, 1/1 A5 1/4";
    assert_eq!(parted("5/4", &note("5/4")), five);
    let short = "0/1 D5 3/16, 3/16 A5 3/16, 3/8 D5 1/8, 1/2 A5 1/8";
    assert_eq!(parted("5/8", &note("5/8")), short);
    // Behind an eighth it is parted where no value under a flag is left.
    let later = "0/1 C5 3/8, 3/8 D5 3/16, 9/16 A5 3/16, 3/4 D5 1/8, 7/8 A5 1/8";
    assert_eq!(parted("4/4", &format!("3/8 C5 {}", note("5/8"))), later);
    assert_eq!(parted("7/8", &note("7/8")), "0/1 D5 7/16, 7/16 A5 7/16");
}

#[test]
fn a_tremolo_between_two_notes_that_cannot_be_is_told() {
    for (bar, said) in [
        ("1/2 D5[tremolo D]", "another note"),
        ("1/8 D5[tremolo A] rest 1/4 rest", "too short"),
        ("1/4 D5[tremolo A 1/8] rest", ""),
        ("1/4. D5[tremolo A 1/4] 1/8 rest", "no tremolo has such strokes"),
        ("3:2(1/4 D5[tremolo A] E F)", "tuplet"),
        ("1/4 D5[tremolo A] =", "is not held on"),
        ("1/2 D5[accent A]", "has no other note"),
        ("1/2 D5[trill E5]", "without its octave"),
        ("1/2 D5[trill E&F]", "one note"),
    ] {
        let (_, found) = read(&format!("{TWO_BARS}voice v {{ 1: {bar} | 2: 1/2 D5 | }}"));
        let told = found.iter().any(|finding| finding.message.to_lowercase().contains(said));
        assert_eq!(told, !said.is_empty(), "{bar}: {found:?}");
    }
}

#[test]
fn a_hairpin_in_a_voice_runs_to_the_next_dynamic() {
    let piece = piece(&format!("{TWO_BARS}voice v {{ 1: [p] 1/4 D5 [cresc] E | 2: F [f] G | }}"));
    let hairpin = piece.voices[0].music.directions.get(1).unwrap();
    assert_eq!(hairpin.at, Time::QUARTER);
    let super::DirectionKind::Hairpin { grows: true, to } = hairpin.kind else { panic!() };
    assert_eq!(to, Time::of(3, 4));
}

#[test]
fn repeats_are_played_twice_with_their_endings() {
    let piece = piece(
        "form {
  0    metre 4/4, key G major, pick-up 1/4
  0..3 repeat
  3    ending 1, length 3/4
  4    ending 2
  6..7 repeat
  8    end
}",
    );
    let numbers: Vec<i32> =
        piece.form.playing_order().iter().map(|&bar| piece.form.bars[bar].number).collect();
    assert_eq!(numbers, [0, 1, 2, 3, 0, 1, 2, 4, 5, 6, 7, 6, 7, 8]);
    assert_eq!(piece.form.end(), Time::of(1, 4) + Time::of(3, 4) + Time::WHOLE * 7);
}

#[test]
fn an_up_beat_within_the_piece_belongs_to_the_section_it_leads_into() {
    let piece = piece(
        "form {
  1    metre 3/4, key G major
  1..4 repeat
  4    fine
  5    key C major, mark \"Trio\", up-beat 1/4
  5..6 repeat
  7    da capo al fine, end
}
voice tune { 1: 1/2. G4 | 2: G | 3: G | 4: 1/2 G 1/8 A B | 5: 1/2. C5 | 6: C | 7: C | }
voice rests { 1: rest 4 | 5: 1/2. C5 | 6: rest 2 | }
harmony { 1: G | 2: D | 3: G | 4: G | 5: C | 6: F | 7: C | }",
    );
    let form = &piece.form;
    let bars: Vec<_> = form.bars.iter().map(|bar| (bar.number, bar.length, bar.up_beat)).collect();
    let (whole, half) = (Time::of(3, 4), Time::of(1, 2));
    assert_eq!(bars[2], (3, whole, None));
    assert_eq!(bars[3..5], [(4, half, None), (4, Time::QUARTER, Some(half))]);
    assert_eq!(bars[5], (5, whole, None));
    // What is said of the section begins with the up-beat.
    let said = |bar: usize| (form.bars[bar].mark.is_some(), form.bars[bar].key.fifths());
    assert_eq!([said(3), said(4), said(5)], [(false, 1), (true, 0), (false, 0)]);
    assert!(form.bars[3].repeat_ends && form.bars[4].repeat_starts);
    let order: Vec<usize> = form.playing_order();
    assert_eq!(order, [0, 1, 2, 3, 0, 1, 2, 3, 4, 5, 6, 4, 5, 6, 7, 0, 1, 2, 3]);
    // Its beats are those of the bar to which it belongs, and weigh as much.
    let at = form.bars[4].start;
    assert_eq!(form.place(at).to_string(), "bar 4, beat 3");
    assert_eq!(form.weight(at), form.weight(Time::of(1, 2)));
    assert_eq!([form.index_of(4), form.index_of(5), form.index_of(8)], [Some(3), Some(5), None]);
    let tune = &piece.voices[0].music;
    assert_eq!(
        tune.notes.within(3..6).map(|note| note.start).collect::<Vec<_>>(),
        [Time::of(9, 4), at, at + Time::EIGHTH,]
    );
    // Bars of rest are counted as players count them, and a chord fills its whole bar.
    assert_eq!(piece.voices[1].music.rests[0].length, whole * 4);
    assert_eq!(piece.harmony[3].length, whole);
}

#[test]
fn a_phrase_begins_with_the_up_beat_that_the_form_names() {
    let piece = piece(
        "form {\n  1 metre 6/8, key F major\n  3 up-beat 3/8\n  4 end\n}
voice tune { 1: 6/8 F4 | 2: 1/4. F {1/8 C D E} | 3: 6/8 F | 4: F | }
ensemble duo { era 1885\n oboe 2\n}
scoring s for duo {\n oboe.1 plays tune bars 1..2 with up-beat as melody
 oboe.2 plays tune bars 3..4 with up-beat as melody\n}",
    );
    let lines = &piece.scorings[0].lines;
    let at = piece.form.bars[2].start;
    assert_eq!(lines[0].times, [(Time::ZERO, at)]);
    assert_eq!(lines[1].times, [(at, piece.form.end())]);
}

#[test]
fn an_up_beat_needs_a_bar_of_which_it_leaves_something() {
    let told = |lines: &str, bar: &str| {
        let (_, found) = read(&format!(
            "form {{\n  1 metre 2/4, key C major\n{lines}\n  3 end\n}}\n\
             voice v {{ 1: 1/2 C4 | 2: {bar} | 3: 1/2 C | }}"
        ));
        found.into_iter().map(|finding| finding.message).collect::<Vec<_>>()
    };
    assert_eq!(told("3 up-beat 1/8", "C"), [""; 0]);
    for (lines, bar, message) in [
        ("1 up-beat 1/8", "C", "The up-beat of the whole piece is its pick-up."),
        ("3 up-beat 1/2", "C", "This up-beat leaves nothing of bar 2, whose end it is."),
        (
            "3 up-beat 1/8",
            "1/4 C 3:2(1/8 C D E)",
            "The line before the up-beat of bar 3 goes through this tuplet.",
        ),
        ("4 up-beat 1/8", "C", "The piece has no bar 4."),
        ("3 up-beat 1/8, up-beat 1/4", "C", "Bar 3 has a second `up-beat`."),
    ] {
        assert_eq!(told(lines, bar), [message], "{lines}");
    }
}

#[test]
fn places_are_named_by_bar_and_beat_and_a_pick_up_counts_from_its_end() {
    let piece = piece("form {\n  0 metre 3/4, key G major, pick-up 1/4\n  2 end\n}");
    assert_eq!(piece.form.place(Time::ZERO).to_string(), "bar 0, beat 3");
    assert_eq!(piece.form.place(Time::QUARTER).to_string(), "bar 1, beat 1");
    let place = piece.form.place(Time::of(5, 8)).to_string();
    assert_eq!(place, "bar 1, 1/8 after beat 2");
}

#[test]
fn a_broken_bar_costs_that_bar_and_raises_no_echo() {
    let (piece, findings) = read(
        "form {\n  1 metre 2/4, key D minor\n  3 end\n}\nvoice v { 1: 1/4 D5 ? | 2: E F | 3: = 1/8 G5 A | }",
    );
    let codes: Vec<_> = findings.iter().map(|finding| finding.code).collect();
    assert_eq!(codes, ["syntax/unexpected"]);
    assert_eq!(piece.voices[0].music.bars, [BarIndices::new(0, 3)]);
}

#[test]
fn an_ensemble_takes_over_and_replaces_and_joins() {
    let piece = piece(
        "form {\n  1 metre 2/4, key D minor\n  1 end\n}
ensemble small {
  era 1725
  harpsichord, cello 2 players, violin-2 4 players, violin-1 4 players
  group low = cello, harpsichord
}
ensemble large extends small {
  era 1810
  without harpsichord
  violin-1 8 players
  bassoon 2 joins low
  horn 4 crook Bb basso, F
  clarinet 2 in Bb
}",
    );
    let large = &piece.ensembles[1];
    let ids: Vec<&str> = large.players.iter().map(|player| player.id.as_str()).collect();
    assert_eq!(
        ids,
        [
            "clarinet.1",
            "clarinet.2",
            "bassoon.1",
            "bassoon.2",
            "horn.1",
            "horn.2",
            "horn.3",
            "horn.4",
            "violin-1",
            "violin-2",
            "cello"
        ]
    );
    let names = |players: Vec<usize>| -> Vec<&str> {
        players.into_iter().map(|player| large.players[player].id.as_str()).collect()
    };
    assert_eq!(names(large.players_named("low")), ["bassoon.1", "bassoon.2", "cello"]);
    assert_eq!(large.players[4].tuning.unwrap().name, "Bb basso");
    assert_eq!(large.players[6].tuning.unwrap().name, "F");
    assert_eq!(large.players[8].count, 8);
    assert_eq!(large.players[8].name, "Violins I");
    assert_eq!(large.players[4].instrument.id, "natural-horn");
}

#[test]
fn a_section_of_one_is_named_in_the_singular() {
    let piece = piece(
        "form {\n  1 metre 2/4, key D minor\n  1 end\n}
ensemble few {
  era 1725
  cello-1 1 player, cello-2 2 players, double-bass 1 player, violin-1 4 players, violin-2
}",
    );
    let names: Vec<&str> =
        piece.ensembles[0].players.iter().map(|player| player.name.as_str()).collect();
    assert_eq!(
        names,
        ["Violins I", "Violins II", "Violoncello I", "Violoncellos II", "Double bass"]
    );
}

#[test]
fn used_files_come_in_once_through_the_loader() {
    struct House(usize);
    impl super::Loader for House {
        fn load(&mut self, path: &str, _: &str) -> Result<(String, String), super::LoadError> {
            self.0 += 1;
            let text = match path {
                "forces" => "use \"more\"\nensemble duo {\n  era 1770\n  oboe 2\n}\n",
                "more" => "ensemble solo {\n  era 1770\n  oboe\n}\n",
                _ => return Err(super::LoadError::NotFound),
            };
            Ok((path.to_string(), text.to_string()))
        }
    }
    let mut sources = Sources::new();
    let text = format!("use \"forces\"\nuse \"more\"\npiece \"Sluice\" {{ }}\n{TWO_BARS}");
    let file = sources.add("example.ripieno", text);
    let mut house = House(0);
    let (piece, findings) = resolve(&mut sources, file, &mut house);
    assert!(findings.is_empty(), "{findings:#?}");
    assert_eq!(piece.ensembles.len(), 2);
    assert_eq!(sources.len(), 3);
}

#[test]
fn a_file_of_ensembles_alone_need_not_be_a_piece() {
    let mut sources = Sources::new();
    let text = "ensemble duo {\n  era 1770\n  oboe 2\n}\n";
    let file = sources.add("forces.ripieno", text);
    let (piece, findings) = resolve(&mut sources, file, &mut NoFiles);
    assert!(findings.is_empty(), "{findings:#?}");
    assert_eq!(piece.ensembles[0].players.len(), 2);
}

#[test]
fn ensembles_build_on_one_another_as_deep_as_they_may() {
    let mut text = format!("{TWO_BARS}ensemble e0 {{\n  era 1770\n  oboe 2\n}}\n");
    for number in 1..crate::limits::DEPTH {
        text += &format!("ensemble e{number} extends e{} {{\n}}\n", number - 1);
    }
    let piece = piece(&text);
    assert!(piece.ensembles.iter().all(|e| e.era == 1770 && e.players.len() == 2));
}

#[test]
fn bars_beyond_what_anybody_plays_are_not_made() {
    let (piece, findings) = read("form {\n  1 metre 32/1, key D minor\n  20000 end\n}\n");
    assert_eq!(findings.iter().map(|f| f.code).collect::<Vec<_>>(), ["bars/too-many"]);
    assert_eq!(piece.form.bars.len(), 626);
}

#[test]
fn a_long_row_of_blanks_in_a_broken_line_is_read_in_no_time() {
    // As long as a line may be; at the square of its length this would take seconds.
    let blanks = "\t ".repeat(9_900);
    let (_, findings) = read(&format!("{TWO_BARS}scoring s for e {{\n oboe {blanks}x\n}}\n"));
    assert!(findings.iter().any(|finding| finding.code == "syntax/unexpected"));
}

fn messages(source: &str) -> Vec<String> {
    let mut sources = Sources::new();
    let file = sources.add("gaps.ripieno", source);
    let (_, findings) = resolve(&mut sources, file, &mut NoFiles);
    findings.into_iter().map(|f| format!("{} {}", f.message, f.help.unwrap_or_default())).collect()
}

#[test]
fn a_misspelt_word_of_a_form_line_does_not_hide_bars_that_are_too_long() {
    let told = messages(
        "piece \"Weir\" { }\nform {\n 1 metre 4/4, key C majr, tempo 1/4 at 96\n 2 end\n}\n\
         voice upper { 1: 1/4 C5 D E F G | 2: 1/1 C | }\n",
    );
    assert_eq!(told.len(), 2, "{told:?}");
    assert!(told.iter().any(|text| text.contains("`majr`")), "{told:?}");
    assert!(told.iter().any(|text| text.contains("too long")), "{told:?}");
}

#[test]
fn an_unknown_ensemble_does_not_hide_an_unknown_scoring_to_keep() {
    let told = messages(
        "piece \"Weir\" { }\nform {\n 1 metre 4/4, key C major\n 1 end\n}\n\
         voice upper { 1: 1/1 C5 | }\nensemble few { era 1810\n oboe }\n\
         scoring town for fwe {\n keep villlage\n}\n",
    );
    assert_eq!(told.len(), 2, "{told:?}");
    assert!(told[1].contains("Unknown scoring `villlage`"), "{told:?}");
}

#[test]
fn german_names_of_crooks_and_keys_are_explained() {
    let line = |players: &str| messages(&format!("ensemble few {{ era 1810\n {players} }}\n"));
    assert!(line("horn 2 crook H")[0].ends_with(" German H is B."));
    assert!(line("clarinet 2 in Es")[0].ends_with(" German Es is Eb."));
}

#[test]
fn who_writes_a_key_for_a_horn_without_valves_is_told_of_its_crooks() {
    let line = |players: &str| messages(&format!("ensemble few {{ era 1770\n {players} }}\n"));
    assert!(line("natural-horn 2 in Eb")[0].ends_with(" write `crook Eb`."));
    assert!(line("natural-horn 2 in Gb")[0].contains(" write `crook` and one of "));
    assert!(line("oboe 2 in Eb")[0].ends_with(": leave `in Eb` out."));
}

#[test]
fn as_many_timpanists_as_drums_are_a_slip_worth_a_word() {
    let line = |players: &str| messages(&format!("ensemble few {{ era 1885\n {players} }}\n"));
    assert!(line("timpani 3 tuned G2, C3, D3")[0].contains("3 players with 3 drums each"));
    assert_eq!(line("timpani tuned G2, C3, D3"), [""; 0]);
    assert_eq!(line("timpani 2 tuned G2, C3, D3"), [""; 0]);
}

#[test]
fn what_is_said_twice_of_one_thing_is_one_finding_with_both_places() {
    let form = |lines: &str| format!("piece \"Weir\" {{ }}\nform {{\n{lines}\n}}\n");
    let good = form("1 metre 4/4, key C major\n2 end");
    let rest = "voice v { 1: 1/1 C5 | 2: C5 | }\nensemble few { era 1810\n oboe }\n";
    let scoring = |line: &str| format!("{good}{rest}scoring s for few {{\n {line}\n}}\n");
    for (source, code, second) in [
        (form("1 metre 4/4, key C major\n1 metre 3/4\n2 end"), "names/twice", "metre 3/4"),
        (form("1 metre 4/4, key C major, key D major\n2 end"), "names/twice", "key D major"),
        (
            form("1 metre 4/4, tempo \"Largo\"\n1 tempo 1/4 at 60\n2 end"),
            "names/twice",
            "tempo 1/4 at 60",
        ),
        (form("1 metre 4/4\n2 mark \"A\"\n2 mark \"B\"\n2 end"), "names/twice", "mark \"B\""),
        (form("1 metre 4/4\n1..2 key D major\n2 end"), "bars/one-bar", "1..2"),
        (form("1 metre 4/4\n1..2 repeat, double-bar\n3 end"), "bars/one-bar", "1..2"),
        (form("1 metre 4/4\n1..2 double-bar, repeat\n3 end"), "bars/one-bar", "1..2"),
        (form("1 metre 4/4\n0 end"), "bars/outside", "end"),
        (scoring("oboe plays v as melody as bass"), "names/twice", "as bass"),
        (scoring("oboe plays v as melody at p, at ff"), "names/twice", "at ff"),
        (scoring("oboe plays v bars 1 as melody bars 2"), "names/twice", "bars 2"),
        (
            good.replace("{ }", "{\n composer \"A\"\n composer \"B\"\n}"),
            "names/twice",
            "composer \"B\"",
        ),
        (
            format!("{good}ensemble few {{ era 1770\n horn 2 crook D crook F\n}}\n"),
            "names/twice",
            "crook F",
        ),
        (
            format!(
                "{good}ensemble few {{ era 1770\n oboe 2\n group g = oboe\n group g = oboe\n}}\n"
            ),
            "names/twice",
            "g",
        ),
    ] {
        let mut sources = Sources::new();
        let file = sources.add("twice.ripieno", source.as_str());
        let (_, findings) = resolve(&mut sources, file, &mut NoFiles);
        let told: Vec<&str> = findings.iter().map(|finding| finding.code).collect();
        assert_eq!(told, [code], "{source}\n{findings:#?}");
        let place = sources.text(findings[0].primary.span).trim_start_matches([',', ' ']);
        assert_eq!(place, second, "{source}");
        // The change that is offered mends it, where one is.
        let Some(fix) = findings[0].fixes.first() else { continue };
        let mut mended = source.clone();
        for edit in fix.edits.iter().rev() {
            mended.replace_range(sources.range(edit.span), &edit.text);
        }
        assert!(messages(&mended).is_empty(), "{mended}\n{:?}", messages(&mended));
    }
}

/// Of several bars what stands at the end of a bar is meant of the last one, all else of the first.
#[test]
fn what_happens_at_one_of_several_bars_is_given_its_own() {
    for (line, mended) in [
        ("1..3 double-bar", "3 double-bar"),
        ("1..3 mark \"A\"", "1 mark \"A\""),
        ("2..3 repeat, double-bar", "2..3 repeat\n  3 double-bar"),
        ("2..3 repeat, key D major", "2..3 repeat\n  2 key D major"),
        ("2..3 double-bar, repeat", "3 double-bar\n  2..3 repeat"),
        ("2..3 repeat, mark \"A\", ending 1", "2..3 repeat\n  2 mark \"A\"\n  2..3 ending 1"),
        ("2..3 mark \"A\", double-bar", "2..3 mark \"A\"\n  3 double-bar"),
    ] {
        let mut sources = Sources::new();
        let text = format!("piece \"Weir\" {{ }}\nform {{\n 1 metre 4/4\n {line}\n 4 end\n}}\n");
        let file = sources.add("weir.ripieno", text.as_str());
        let (_, findings) = resolve(&mut sources, file, &mut NoFiles);
        let found = findings.iter().rfind(|finding| finding.code == "bars/one-bar").unwrap();
        let mut fixed = text.clone();
        for edit in found.fixes[0].edits.iter().rev() {
            fixed.replace_range(sources.range(edit.span), &edit.text);
        }
        assert_eq!(fixed, text.replace(line, mended));
    }
}

#[test]
fn a_character_that_nobody_sees_is_told_and_left_out() {
    let (piece, findings) = {
        let mut sources = Sources::new();
        let text = "piece \"Be\u{1B}[31mll \u{202E}Weir\" { }\nform {\n 1 metre 4/4, key C major\n 1 end\n}\n";
        let file = sources.add("hidden.ripieno", text);
        resolve(&mut sources, file, &mut NoFiles)
    };
    assert_eq!(findings.iter().map(|f| f.code).collect::<Vec<_>>(), ["syntax/hidden-character"]);
    assert_eq!(piece.title, "Be[31mll Weir");
}

#[test]
fn what_is_found_in_a_line_of_which_a_part_is_read_stands_where_it_is() {
    let line = " 1 metre 4/4, key C major, clef, mark \"Be\u{1B}ll\", double-bar";
    let text = format!("piece \"Weir\" {{ }}\nform {{\n{line}\n 1 end\n}}\n");
    let mut sources = Sources::new();
    let file = sources.add("hidden.ripieno", text.as_str());
    let (_, findings) = resolve(&mut sources, file, &mut NoFiles);
    let hidden = findings.iter().find(|f| f.code == "syntax/hidden-character").unwrap();
    let source = sources.get(file);
    let word = "\"Be\u{1B}ll\"";
    assert_eq!(source.text.get(source.exact(hidden.primary.span)), Some(word));
    let edit = &hidden.fixes[0].edits[0];
    assert_eq!(
        (source.text.get(source.exact(edit.span)), edit.text.as_str()),
        (Some(word), "\"Bell\"")
    );
}

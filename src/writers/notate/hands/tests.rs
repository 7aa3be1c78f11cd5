use crate::edition::part;
use crate::instruments::Clef;
use crate::narrow::Narrow;
use crate::notate::testing::{Fixture, directions, dump, dump_lower, harp, harpsichord, oboe};
use crate::notate::{ElementKind, Measure, Score};
use crate::resolve::{DirectionKind, Dynamic, Mark, Role};

fn harp_in(metres: &[&str]) -> Fixture {
    Fixture::new(metres).instrument(harp())
}

fn both(score: &Score) -> [String; 2] {
    [dump(score, 0), dump_lower(score, 0)]
}

fn clefs(measures: &[Measure]) -> Vec<(usize, Clef)> {
    let bars = measures.iter().enumerate();
    bars.flat_map(|(bar, m)| m.clefs.iter().map(move |(_, clef)| (bar, *clef))).collect()
}

#[test]
fn a_chord_is_divided_at_the_widest_gap_that_both_hands_can_grip() {
    let score = harp_in(&["4/4"]).notes("0/1 1/1 C3&G3&E4&C5&G5").score();
    assert_eq!(both(&score), ["E4&C5&G5:1/1", "C3&G3:1/1"]);
    let score = harp_in(&["4/4"]).notes("0/1 1/1 C2&C3&A3&E4&C5").score();
    assert_eq!(both(&score), ["A3&E4&C5:1/1", "C2&C3:1/1"]);
}

#[test]
fn the_hands_share_a_low_chord_so_that_each_stands_on_its_staff() {
    let low = "0/1 1/2 Gb2&Db3&Gb3&Bb3&Db4, 1/2 1/2 E2&B2&E3&G#3&B3";
    let score = harp_in(&["4/4"]).notes(low).score();
    assert_eq!(both(&score), ["Gb3!&Bb3!&Db4!:1/2 G#3!&B3!:1/2", "Gb2!&Db3!:1/2 E2&B2&E3:1/2"]);
}

#[test]
fn a_chord_that_no_hands_can_grip_is_divided_at_middle_c() {
    let score = harp_in(&["4/4"]).notes("0/1 1/1 C2&A2&G3&E5&F6&E7").score();
    assert_eq!(both(&score), ["E5&F6&E7:1/1", "C2&A2&G3:1/1"]);
}

#[test]
fn a_chord_in_one_grip_stays_in_one_hand_if_it_has_at_most_half_of_the_notes() {
    let score = harp_in(&["4/4"]).notes("0/1 1/2 C5&E5&G5&C6, 1/2 1/2 C5&D5&E5&G5&C6").score();
    assert_eq!(both(&score), ["C5&E5&G5&C6:1/2 C6:1/2", "rest:1/2 C5&D5&E5&G5:1/2"]);
    let score = harp_in(&["4/4"]).notes("0/1 1/1 C3&E3&G3").score();
    assert_eq!(both(&score), ["rest", "C3&E3&G3:1/1"]);
}

#[test]
fn a_run_keeps_its_hand_across_middle_c() {
    let run = "0/1 1/8 G3, 1/8 1/8 A3, 1/4 1/8 B3, 3/8 1/8 C4, 1/2 1/8 D4, 5/8 1/8 C4, \
               3/4 1/8 B3, 7/8 1/8 A3, 1/1 1/1 G3";
    let score = harp_in(&["4/4", "4/4"]).notes(run).score();
    assert_eq!(dump(&score, 0), "rest | rest");
    assert_eq!(
        dump_lower(&score, 0),
        "G3:1/8[ A3:1/8= B3:1/8= C4:1/8] D4:1/8[ C4:1/8= B3:1/8= A3:1/8] | G3:1/1"
    );
}

#[test]
fn equal_bars_are_divided_alike() {
    let bar = |first: i32| {
        let pitches = ["A2", "E3", "A3", "C#4", "E4", "A4"].iter().enumerate();
        let notes = pitches.map(|(at, p)| format!("{}/8 1/8 {p}", first + at.narrow::<i32>()));
        notes.collect::<Vec<_>>().join(", ")
    };
    let score = harp_in(&["3/4", "3/4"]).notes(&format!("{}, {}", bar(0), bar(6))).score();
    for staff in both(&score) {
        let bars: Vec<&str> = staff.split(" | ").collect();
        assert_eq!(bars[0], bars[1]);
        assert_ne!(bars[0], "rest", "A4 lies far above the staff of the left hand");
    }
}

#[test]
fn a_broken_chord_wider_than_a_hand_is_divided_alike_in_all_beats() {
    let notes = |pitches: &[&str]| {
        let each = pitches.iter().enumerate();
        let notes = each.map(|(at, p)| format!("{at}/8 1/8 {p}"));
        notes.collect::<Vec<_>>().join(", ")
    };
    // E3 alone could be read in the right hand, and D4 in the left.
    let wide = notes(&["E3", "E4", "B4", "B2", "D4", "B4", "E3", "F4", "C5"]);
    let score = harp_in(&["9/8"]).notes(&wide).score();
    assert_eq!(
        both(&score),
        [
            "rest:1/8 E4:1/8[ B4:1/8] rest:1/8 D4:1/8[ B4:1/8] rest:1/8 F4:1/8[ C5:1/8]",
            "E3:1/8 rest:1/8 rest:1/8 B2:1/8 rest:1/8 rest:1/8 E3:1/8 rest:1/8 rest:1/8",
        ]
    );
    // Up and down again over a bar: what lies low is in the left hand on the way back too.
    let bar = notes(&["A2", "E3", "C4", "E4", "A4", "E4", "C4", "E3"]);
    let later = bar.split(", ").enumerate().map(|(at, note)| {
        let (_, rest) = note.split_once(' ').unwrap();
        format!("{}/8 {rest}", at + 8)
    });
    let notes = format!("{bar}, {}", later.collect::<Vec<_>>().join(", "));
    let [upper, lower] = both(&harp_in(&["4/4", "4/4"]).notes(&notes).score());
    let beats = "rest:1/4 C4:1/8[ E4:1/8] A4:1/8[ E4:1/8= C4:1/8] rest:1/8";
    assert_eq!(upper, format!("{beats} | {beats}"));
    let beats = "A2:1/8[ E3:1/8] rest:1/4 rest:1/4 rest:1/8 E3:1/8";
    assert_eq!(lower, format!("{beats} | {beats}"));
}

#[test]
fn leaps_and_rests_let_the_other_hand_come_in() {
    let score = harp_in(&["4/4"]).notes("0/1 1/4 C3, 1/4 1/4 E5, 1/2 1/4 C3, 3/4 1/4 E5").score();
    assert_eq!(
        both(&score),
        ["rest:1/4 E5:1/4 rest:1/4 E5:1/4", "C3:1/4 rest:1/4 C3:1/4 rest:1/4"]
    );
    let score = harp_in(&["4/4"]).notes("0/1 1/4 A3, 1/2 1/4 A4").score();
    assert_eq!(both(&score), ["rest:1/2 A4:1/4 rest:1/4", "A3:1/4 rest:1/4 rest:1/2"]);
}

#[test]
fn a_run_that_goes_far_passes_to_the_other_hand_at_a_beat() {
    let pitches = "C2 E2 G2 C3 E3 G3 C4 E4 G4 C5 E5 G5 C6 G5 E5 C5";
    let notes: Vec<String> = pitches
        .split(' ')
        .enumerate()
        .map(|(index, pitch)| format!("{index}/16 1/16 {pitch}"))
        .collect();
    let score = harp_in(&["4/4"]).notes(&notes.join(", ")).score();
    let [upper, lower] = both(&score);
    assert!(upper.starts_with("rest:1/2 G4:1/16[[ C5"), "{upper}");
    assert!(lower.ends_with("C4:1/16== E4:1/16]] rest:1/2"), "{lower}");
}

#[test]
fn a_slur_does_not_decide_the_hands_and_goes_over_both() {
    let run = |pitches: &str| {
        let each = pitches.split(' ').enumerate();
        let notes: Vec<String> =
            each.map(|(index, pitch)| format!("{index}/16 1/16 {pitch}")).collect();
        harp_in(&["4/4"]).notes(&notes.join(", "))
    };
    for pitches in [
        "C2 E2 G2 C3 E3 G3 C4 E4 G4 C5 E5 G5 C6 G5 E5 C5",
        "Gb2 Db3 Gb3 Bb3 Db4 Gb4 Bb4 Db5 Gb5 Db5 Bb4 Gb4 Db4 Bb3 Gb3 Db3",
    ] {
        let slurred = both(&run(pitches).slur(0, 15).score());
        let plain = slurred.clone().map(|staff| staff.replace("(~", "").replace("~)", ""));
        assert_eq!(plain, both(&run(pitches).score()));
        let ends = |sign: &str| slurred.iter().map(|staff| staff.matches(sign).count()).sum();
        assert_eq!((ends("(~"), ends("~)")), (1, 1), "{slurred:?}");
        assert!(!slurred.iter().any(|staff| staff.contains("](") || staff.contains(" (")));
        // One in each hand stands on its staff.
        let by_hand = both(&run(pitches).slur(0, 3).slur(4, 7).score());
        assert!(!by_hand.iter().any(|staff| staff.contains('~')), "{by_hand:?}");
    }
}

#[test]
fn a_slur_over_both_staves_ends_on_the_last_piece_of_a_tied_note_and_may_begin_anew_there() {
    let notes = "0/1 1/4 C3, 1/4 1/4 E5, 1/2 3/4 G5, 5/4 1/4 C3, 3/2 1/2 E5";
    let score = harp_in(&["4/4"; 2]).notes(notes).slur(0, 2).slur(2, 3).score();
    assert_eq!(
        both(&score),
        [
            "rest:1/4 E5:1/4 G5:1/2… | …G5:1/4~)(~ rest:1/4 E5:1/2",
            "C3:1/4(~ rest:1/4 rest:1/2 | rest:1/4 C3:1/4~) rest:1/2",
        ]
    );
}

#[test]
fn chords_after_a_run_do_not_serve_to_change_hands() {
    let notes = "0/1 1/8 D3, 1/8 1/8 A3, 1/4 1/4 D4&F#4&A4, 1/2 1/2 A3&D4&F#4, 1/1 1/1 D4&F#4&A4";
    let score = harp_in(&["4/4", "4/4"]).notes(notes).score();
    assert_eq!(
        both(&score),
        [
            "rest:1/4 D4&F#4!&A4:1/4 A3&D4&F#4:1/2 | D4&F#4!&A4:1/1",
            "D3:1/8[ A3:1/8] rest:1/4 rest:1/2 | rest"
        ]
    );
}

#[test]
fn a_tuplet_stays_in_one_hand_even_over_leaps() {
    let fixture = harp_in(&["2/4"]).notes("0/1 1/12 C3, 1/12 1/12 E5, 1/6 1/12 G5, 1/4 1/4 C3");
    let score = fixture.tuplet("0/1", "1/4", (3, 2)).score();
    let tuplet = "{3:2 C3:1/8[ E5:1/8= G5:1/8] }";
    assert_eq!(both(&score), [format!("{tuplet} rest:1/4"), "rest:1/4 C3:1/4".to_owned()]);
}

#[test]
fn both_staves_have_a_tuplet_of_both_hands() {
    let fixture = harp_in(&["1/4"]).notes("0/1 1/12 C3&E5, 1/12 1/12 C3&F5, 1/6 1/12 C3&G5");
    let score = fixture.tuplet("0/1", "1/4", (3, 2)).score();
    let tuplet = |[a, b, c]: [&str; 3]| format!("{{3:2 {a}:1/8[ {b}:1/8= {c}:1/8] }}");
    assert_eq!(both(&score), [tuplet(["E5", "F5", "G5"]), tuplet(["C3", "C3", "C3"])]);
}

#[test]
fn a_slur_stands_where_all_its_notes_are() {
    let notes = "0/1 1/4 C3&E5, 1/4 1/4 G5, 1/2 1/4 C3&E5, 3/4 1/4 C3&D5";
    let score = harp_in(&["4/4"]).notes(notes).slur(0, 2).slur(2, 3).score();
    assert_eq!(
        both(&score),
        ["E5:1/4( G5:1/4 E5:1/4)( D5:1/4)", "C3:1/4 rest:1/4 C3:1/4( C3:1/4)"]
    );
}

#[test]
fn ties_and_grace_notes_go_with_their_notes() {
    let fixture = harp_in(&["2/4", "2/4"]).notes("0/1 3/4 C3&E5, 3/4 1/4 F5");
    let score = fixture.graces(0, &[("1/16", "D5")]).score();
    assert_eq!(both(&score), ["(D5:1/16) E5:1/2… | …E5:1/4 F5:1/4", "C3:1/2… | …C3:1/4 rest:1/4"]);
}

#[test]
fn ornaments_stand_on_the_top_note_and_other_marks_on_both_staves() {
    let fixture = harp_in(&["4/4"]).notes("0/1 1/1 C3&E5").mark(0, Mark::Trill);
    let score = fixture.mark(0, Mark::Arpeggio).mark(0, Mark::Accent).score();
    assert_eq!(both(&score), ["E5:1/1+accent+trill+arpeggio", "C3:1/1+accent+arpeggio"]);
}

#[test]
fn a_fermata_holds_on_both_staves() {
    let score = harp_in(&["2/4"]).notes("0/1 1/4 C5, 1/4 1/4 D5").mark(1, Mark::Fermata).score();
    // Where the other hand holds, not over the rest of the bar.
    assert_eq!(both(&score), ["C5:1/4 D5:1/4+fermata", "rest:1/4 rest:1/4+fermata"]);
    let score = harp_in(&["2/4", "2/4"]).notes("0/1 1/1 C5").mark(0, Mark::Fermata).score();
    assert_eq!(both(&score), ["C5:1/2… | …C5:1/2+fermata", "rest | rest+fermata"]);
    let score = harp_in(&["2/4"])
        .notes("0/1 1/4 C5")
        .direction("1/4", DirectionKind::FermataOnRest)
        .score();
    let held = |measure: &Measure| {
        let kind = &measure.elements.last().unwrap().kind;
        matches!(kind, ElementKind::Rest { fermata: true } | ElementKind::BarRest { fermata: true })
    };
    assert!(score.staves[0].all_measures().all(held));
}

#[test]
fn what_is_said_stands_once_between_the_staves() {
    let score = harp_in(&["4/4"])
        .notes("0/1 1/2 C3, 1/2 1/2 E5")
        .direction("0/1", DirectionKind::Dynamic(Dynamic::P))
        .direction("1/2", DirectionKind::Dynamic(Dynamic::F))
        .score();
    assert_eq!(directions(&score, 0), "1 0/1 p, 1 1/2 f");
    assert!(score.staves[0].lower.iter().all(|measure| measure.directions.is_empty()));
}

#[test]
fn a_long_rest_is_one_of_both_staves() {
    let score = harp_in(&["4/4"; 5]).notes("0/1 1/1 E5, 2/1 1/1 C3").score();
    let edition = part(&score, 0);
    let runs = edition.staves[0].bars.iter().map(|bar| bar.multi_rest);
    assert_eq!(runs.collect::<Vec<_>>(), [0, 0, 0, 2, 0]);
}

#[test]
fn each_staff_has_its_clef_and_changes_it_by_itself() {
    let score = harp_in(&["4/4"; 2]).notes("0/1 1/1 C3&E5, 1/1 1/1 C3&E5").score();
    assert_eq!(clefs(&score.staves[0].measures), [(0, Clef::Treble)]);
    assert_eq!(clefs(&score.staves[0].lower), [(0, Clef::Bass)]);
    let high = "0/1 1/1 C3&E5, 1/1 1/1 E5&G5&C6&E6&G6, 2/1 1/1 E5&G5&C6&E6&G6";
    let score = harp_in(&["4/4"; 3]).notes(high).score();
    assert_eq!(clefs(&score.staves[0].measures), [(0, Clef::Treble)]);
    assert_eq!(clefs(&score.staves[0].lower), [(0, Clef::Bass), (1, Clef::Treble)]);
}

#[test]
fn a_harpsichord_reads_a_bass_line_alone_on_one_staff() {
    let bass = |notes: &str| Fixture::new(&["4/4"]).instrument(harpsichord()).notes(notes);
    let score = bass("0/1 1/2 C3, 1/2 1/2 G3").role(Role::Bass).score();
    assert!(!score.staves[0].is_braced());
    assert_eq!(dump(&score, 0), "C3:1/2 G3:1/2");
    assert_eq!(clefs(&score.staves[0].measures), [(0, Clef::Bass)]);
    assert!(bass("0/1 1/2 C3&E3, 1/2 1/2 G3").role(Role::Bass).score().staves[0].is_braced());
    assert!(bass("0/1 1/2 C3, 1/2 1/2 G3").role(Role::Harmony).score().staves[0].is_braced());
    assert!(harp_in(&["4/4"]).notes("0/1 1/1 C3").role(Role::Bass).score().staves[0].is_braced());
}

#[test]
fn a_bass_line_for_two_hands_says_that_it_is_the_continuo() {
    let told = |words: &[&str], role: Role| {
        let bass = Fixture::new(&["3/4"; 2]).instrument(harpsichord()).notes("3/4 1/2 Ab2");
        let said = words.iter().fold(bass.role(role), |bass, words| {
            bass.direction("3/4", DirectionKind::words(words))
        });
        directions(&said.score(), 0)
    };
    assert_eq!(told(&[], Role::Bass), "2 0/1 \"basso continuo\"");
    assert_eq!(told(&["dolce"], Role::Bass), "2 0/1 \"basso continuo\", 2 0/1 \"dolce\"");
    assert_eq!(told(&["Tasto solo"], Role::Bass), "2 0/1 \"Tasto solo\"");
    assert_eq!(told(&[], Role::Harmony), "", "both hands are written out");
}

#[test]
fn a_harp_that_rests_throughout_reads_two_staves() {
    let score = harp_in(&["4/4", "4/4"]).score();
    assert_eq!(both(&score), ["rest | rest", "rest | rest"]);
}

#[test]
fn notes_beyond_the_form_are_left_out() {
    let notes = "0/1 1/1 C3&E5, 1/1 1/1 D5";
    let score = harp_in(&["4/4"]).notes(notes).mark(1, Mark::Fermata).score();
    assert_eq!(both(&score), ["E5:1/1", "C3:1/1"]);
    let score = harp_in(&[]).notes(notes).mark(0, Mark::Fermata).mark(1, Mark::Fermata).score();
    assert_eq!(both(&score), ["", ""]);
}

#[test]
fn who_takes_a_harp_for_a_while_has_two_staves_throughout() {
    let notes = "0/1 1/1 C4, 1/1 1/1 C3&E5, 2/1 1/1 C4";
    let fixture = Fixture::new(&["4/4"; 3]).notes(notes);
    let score = fixture.takes("1/1", harp()).takes("2/1", oboe()).score();
    assert_eq!(both(&score), ["C4:1/1 | E5:1/1 | C4:1/1", "rest | C3:1/1 | rest"]);
    assert_eq!(clefs(&score.staves[0].measures), [(0, Clef::Treble)]);
    assert_eq!(clefs(&score.staves[0].lower), [(0, Clef::Bass)]);
    assert_eq!(score.staves[0].instruments.len(), 2);
}

#[test]
fn the_bass_note_an_octave_below_its_figure_is_in_the_left_hand() {
    let notes =
        "0/1 1/8 Eb3, 1/8 1/8 Eb4, 1/4 1/8 G4, 3/8 1/8 Bb4, 1/2 1/8 Db2, 5/8 1/8 Db4&Eb4&G4&Bb4";
    let [upper, lower] = both(&harp_in(&["3/4"]).notes(notes).score());
    assert!(lower.starts_with("Eb3") && !upper.contains("Eb3"), "{upper} over {lower}");
    // A chord behind a bass, and the bass of the next bar an octave below it.
    let notes = "0/1 1/8 F2, 1/8 1/8 Db4&F4&Ab4, 1/4 1/8 Db3, 3/8 1/8 Db4&F4&Ab4";
    let [upper, lower] = both(&harp_in(&["2/4"]).notes(notes).score());
    assert!(upper.contains("Db4") && !lower.contains("Db4"), "{upper} over {lower}");
}

#[test]
fn a_run_over_the_whole_instrument_is_no_figure() {
    let pitches = "E2 G#2 B2 E3 G#3 B3 E4 G#4 B4 E5 G#5 B5 E6 G#6 B6 E7";
    let notes: Vec<String> = pitches
        .split(' ')
        .enumerate()
        .map(|(index, pitch)| format!("{index}/32 1/32 {pitch}"))
        .collect();
    let [upper, lower] = both(&harp_in(&["2/4"]).notes(&notes.join(", ")).score());
    assert!(!upper.contains("2:") && !lower.contains("5:"), "{upper} over {lower}");
}

/// A thorough bass: the left hand has the bass alone (common practice).
#[test]
fn the_left_hand_has_a_realised_bass_also_where_it_is_high_or_its_chord_is_close() {
    let notes = "0/1 1/8 D3&F4&A4&D5, 1/8 1/8 F3, 1/4 1/8 A3, 3/8 1/8 D4, 1/2 1/4 E3&G3&C4, \
                 3/4 1/4 F4&A4&C5&F5";
    let score = Fixture::new(&["4/4"]).instrument(harpsichord()).notes(notes).role(Role::Bass);
    assert_eq!(
        both(&score.score()),
        [
            "F4&A4&D5:1/8 rest:1/8 rest:1/4 G3&C4:1/4 A4&C5&F5:1/4",
            "D3:1/8[ F3:1/8= A3:1/8= D4:1/8] E3:1/4 F4:1/4",
        ]
    );
}

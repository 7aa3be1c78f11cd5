//! Single cases that the rules must tell apart.

use super::Options;
use super::tests::{apply, findings, findings_with};
use crate::diagnostics::{BarNumbers, Diagnostic, Severity};
use crate::instruments::{Limit, catalogue};

fn piece(tempo: u32, harmony: &str, voices: &str, players: &str, lines: &str) -> String {
    let harmony = match harmony {
        "" => String::new(),
        chords => format!("harmony {{ {chords} }}\n"),
    };
    format!(
        "piece \"Ferry\" {{ composer \"House copyist\" }}\n\
         form {{ 1 metre 4/4, key C major, tempo 1/4 at {tempo}\n 4 end }}\n{harmony}{voices}\n\
         ensemble few {{ {players} }}\nscoring few for few {{\n {lines}\n}}\n"
    )
}

fn only(text: &str, rule: &str) -> Vec<Diagnostic> {
    findings_with(text, &Options { only: vec![rule.into()], ..Options::default() })
}

#[test]
fn a_passage_reaches_to_the_end_of_its_notes_and_is_allowed_there() {
    let voices = "voice tune { 1: 1/1 D5 | 2: E6 | 3: = | 4: D5 | }";
    let lines = |allow: &str| format!("oboe plays tune as melody\n {allow}");
    let text = |allow: &str| piece(96, "", voices, "era 1770\n oboe", &lines(allow));
    let found = only(&text(""), "compass");
    assert_eq!(found[0].bars, Some(BarNumbers::new(2, 3)), "{found:#?}");
    assert!(
        only(&text("allow compass/outside-custom on oboe bars 2..3 \"a guest\""), "compass")
            .is_empty()
    );
}

#[test]
fn what_is_added_to_a_line_stands_before_its_comment() {
    let oboe = "voice tune { 1: 1/1 G5 | 2: E6 | 3: G5 | 4: G5 | }";
    let covered = "voice tune { 1: 1/1 E5 | 2: E5 | 3: E5 | 4: E5 | }\n\
                   voice fill { 1: 1/1 C5 | 2: C5 | 3: C5 | 4: C5 | }";
    let texts = [
        piece(96, "", oboe, "era 1770\n oboe", "oboe plays tune as melody // of old"),
        piece(
            96,
            "",
            covered,
            "era 1885\n flute, trumpet 2 in C",
            "flute plays tune as melody\n trumpet plays fill as harmony // loud",
        ),
    ];
    let mut tried = 0;
    for text in texts {
        let text = text.replace("form {", "dynamics { 1 f }\nform {");
        for fix in findings(&text).iter().flat_map(|finding| &finding.fixes) {
            let mut mended = text.clone();
            apply(&mut mended, fix);
            assert!(findings(&mended).is_empty(), "{}\n{mended}", fix.title);
            tried += 1;
        }
    }
    assert!(tried >= 4, "{tried}");
}

#[test]
fn lines_that_hold_notes_of_one_chord_do_not_double_each_other() {
    let voices = "voice tune { 1: 1/1 C6 | 2: B5 | 3: C6 | 4: C6 | }";
    let text = |second: &str| {
        piece(
            96,
            "1: C | 2: G7 | 3: C | 4: C |",
            voices,
            "era 1885\n flute, oboe 3, clarinet 3 in Bb",
            &format!("flute plays tune as melody\n oboe sustains as harmony\n {second}"),
        )
    };
    let independent = only(&text("clarinet sustains as harmony"), "harmony");
    let doubled = only(&text("clarinet doubles oboe"), "harmony");
    assert!(doubled.len() <= independent.len(), "{doubled:#?}");
}

#[test]
fn a_whole_foreign_bar_does_not_pass_as_a_step() {
    let found = |second: &str| {
        let voices = format!("voice tune {{ 1: 1/1 E5 | 2: {second} | 3: 1/1 E5 | 4: E5 | }}");
        let text = piece(
            96,
            "1: C | 2: C | 3: C | 4: C |",
            &voices,
            "era 1810\n violin-1 8 players",
            "violin-1 plays tune as melody",
        );
        only(&text, "harmony/contradicts").len()
    };
    assert_eq!(found("1/1 F5"), 1);
    assert_eq!(found("1/2 F5 E5"), 0);
}

#[test]
fn findings_of_earlier_stages_have_names_that_can_be_allowed() {
    let voices = "voice tune { 1: 1/1 E5 | 2: E5 | 3: E5 | 4: E5 | }";
    let told = |name: &str| {
        let lines = format!("violin-1 plays tune as melody\n allow {name} \"we know\"");
        let text = piece(96, "", voices, "era 1810\n violin-1 8 players", &lines);
        findings(&text).iter().map(|finding| finding.code).collect::<Vec<_>>()
    };
    assert_eq!(told("arrange/nonsense"), ["allow/unknown-rule"]);
    assert_eq!(told("harmony/inferred"), ["allow/unused"]);
    assert_eq!(told("arrange"), ["allow/unused"]);
}

#[test]
fn severities_are_taken_in_the_singular_and_the_plural() {
    let voices = "voice tune { 1: 1/1 G5 | 2: E6 | 3: G5 | 4: G5 | }";
    let text = piece(96, "", voices, "era 1770\n oboe", "oboe plays tune as melody");
    for word in ["warning", "warnings"] {
        let options = Options { deny: vec![word.into()], ..Options::default() };
        assert!(options.unknown().is_empty());
        assert_eq!(findings_with(&text, &options)[0].severity, Severity::Error);
    }
    let errors = Options { deny: vec!["error".into(), "errors".into()], ..Options::default() };
    assert!(errors.unknown().is_empty());
    let nonsense = Options { deny: vec!["arrange/nonsense".into()], ..Options::default() };
    assert_eq!(nonsense.unknown().len(), 1);
}

#[test]
fn a_soloist_has_all_that_an_orchestral_player_has() {
    for instrument in catalogue() {
        for year in 1600..=2000 {
            let (Some(solo), Some(custom)) =
                (instrument.compass(Limit::Solo, year), instrument.compass(Limit::Custom, year))
            else {
                continue;
            };
            let holds = solo.low.midi() <= custom.low.midi()
                && custom.high.midi() <= solo.high.midi()
                && solo.missing.iter().all(|note| {
                    custom.missing.contains(note) || !(custom.low..=custom.high).contains(note)
                });
            assert!(holds, "{} in {year}", instrument.id);
        }
    }
}

#[test]
fn repeated_semiquavers_are_idiomatic_on_horns() {
    let run = "1/16 D4 D D D D D D D D D D D D D D D";
    let voices = format!("voice tune {{ 1: {run} | 2: {run} | 3: 1/1 D4 | 4: D4 | }}");
    let text = piece(88, "", &voices, "era 1770\n horn crook D", "horn plays tune as rhythm");
    assert!(only(&text, "agility").is_empty());
}

#[test]
fn crossing_to_the_neighbouring_string_is_no_leap() {
    let told = |figure: &str| {
        let bar = figure.repeat(8);
        let voices = format!("voice tune {{ 1: 1/16 {bar} | 2: {bar} | 3: 1/1 A4 | 4: A4 | }}");
        let players = "era 1810\n violin-1 8 players";
        only(&piece(150, "", &voices, players, "violin-1 plays tune as melody"), "agility").len()
    };
    assert_eq!(told("B4 E5 "), 0);
    assert_eq!(told("A3 A5 "), 1);
}

#[test]
fn double_basses_below_their_lowest_string_are_advised_to_read_at_pitch() {
    let voices = "voice low { 1: 1/1 C3 | 2: C2 | 3: G2 | 4: C3 | }";
    let players = "era 1770\n cello 3 players, double-bass 2 players";
    let lines = "cello plays low as bass\n double-bass plays low 8vb as bass";
    let found = only(&piece(96, "", voices, players, lines), "compass/beyond-instrument");
    assert_eq!(found.len(), 1, "{found:#?}");
    assert!(found[0].help.as_ref().is_some_and(|help| help.contains("at pitch")), "{found:#?}");
}

#[test]
fn a_new_tempo_metre_or_octave_is_something_new_at_a_mark() {
    let bar = "1/2 E5 1/4 D5 rest";
    let text = |form: &str, line: &str| {
        let voices = format!("voice tune {{ 1: {bar} | 2: {bar} | 3: {bar} | 4: {bar} | }}");
        let players = "era 1810\n flute 3, oboe 3";
        piece(96, "", &voices, players, line)
            .replace("\n 4 end", &format!("\n 3 mark \"A\"{form}\n 4 end"))
    };
    let all = "flute, oboe plays tune as melody";
    let octave = "flute plays tune bars 1..2 as melody\n flute plays tune 8va bars 3..4 as melody\n \
                  oboe plays tune as melody";
    let told = |form: &str, line: &str| only(&text(form, line), "economy/nothing-new").len();
    assert_eq!(told("", all), 1);
    assert_eq!(told(", tempo 1/4 at 60", all), 0);
    assert_eq!(told("", octave), 0);
}

#[test]
fn a_melody_is_covered_by_what_is_held_rolls_or_roars_below_it() {
    let scored = |tune: &str, others: &str, players: &str, lines: &str| {
        let four = |bar: &str| (1..=4).map(|n| format!(" {n}: {bar} |")).collect::<String>();
        let fill = |(name, bar): (&str, &str)| format!("voice {name} {{{} }}\n", four(bar));
        let voices: String =
            others.split("; ").filter_map(|v| v.split_once(": ")).map(fill).collect();
        let voices = format!("voice tune {{{} }}\n{voices}", four(tune));
        let players = format!("era 1885\n {players}");
        let found = only(&piece(96, "", &voices, &players, lines), "balance/melody-covered");
        !found.is_empty()
    };
    // The lowest octave of the flute is weak: common practice, weighed by the catalogue.
    let strings = "flute, violin-1 8 players, violin-2 8 players, viola 4 players";
    let held = |flute: &str| {
        format!(
            "flute plays tune {flute} as melody\n violin-1, violin-2 plays mid as harmony\n viola plays low as harmony"
        )
    };
    assert!(scored("1/4 E4 F4 G4 F4", "mid: 1/1 E4; low: 1/1 C4", strings, &held("")));
    assert!(!scored("1/4 E4 F4 G4 F4", "mid: 1/1 E4; low: 1/1 C4", strings, &held("8va")));
    // Drums prevail: Rimsky-Korsakov, Principles of Orchestration, 1922, ch. I.
    let drums = "flute, timpani tuned C3, G2";
    let roll = "flute plays tune as melody, at p\n timpani plays low as rhythm, at ff";
    assert!(scored("1/4 E5 F5 G5 F5", "low: 1/1 C3[tremolo]", drums, roll));
    assert!(!scored("1/4 E5 F5 G5 F5", "low: 1/4 C3 rest C3 rest", drums, roll));
    // Loud brass masks what is above it; marked softer it leaves the violins free.
    let brass = "violin-1 12 players, trumpet 2 in C, tenor-trombone 3";
    let loud = |degree: &str| {
        format!(
            "violin-1 plays tune as melody, at f\n trumpet plays mid as harmony, at {degree}\n tenor-trombone plays low as harmony, at {degree}"
        )
    };
    assert!(scored("1/4 E5 F5 G5 F5", "mid: 1/1 C4; low: 1/1 G3", brass, &loud("ff")));
    assert!(!scored("1/4 E5 F5 G5 F5", "mid: 1/1 C4; low: 1/1 G3", brass, &loud("p")));
    // A trumpet is four woodwind: the same chapter.
    let pair = "flute, trumpet 2 in C";
    let both = "flute plays tune as melody\n trumpet plays mid as harmony";
    assert!(scored("1/4 E5 F5 G5 F5", "mid: 1/4 C5 C C C", pair, both));
}

#[test]
fn lips_are_tired_by_loud_and_high_notes_not_by_soft_ones() {
    let bars = |bar: &str| (1..=40).map(|n| format!(" {n}: {bar} |")).collect::<String>();
    let tires = |bar: &str, player: &str, degree: &str| {
        let text = format!(
            "piece \"Ferry\" {{ composer \"House copyist\" }}\n\
             form {{ 1 metre 4/4, key C major, tempo 1/4 at 90\n 40 end }}\n\
             dynamics {{ 1 {degree} }}\nvoice tune {{{} }}\nensemble few {{ era 1885\n {player} }}\n\
             scoring few for few {{\n {} plays tune as harmony\n}}\n",
            bars(bar),
            player.split(' ').next().unwrap_or_default(),
        );
        !only(&text, "endurance/lips").is_empty()
    };
    assert!(!tires("1/2 C4 1/4 E4 rest", "horn in F", "p"));
    assert!(tires("1/2 C5 1/4 E5 rest", "horn in F", "f"));
    assert!(!tires("1/4 C2 rest C2 rest", "tuba", "f"));
    assert!(!tires("1/2. C3 1/4 rest", "tenor-trombone", "p"));
    assert!(tires("1/2. G4 1/4 rest", "tenor-trombone", "f"));
}

#[test]
fn a_note_straight_after_its_alteration_elsewhere_is_a_cross_relation() {
    let found = |tune: &str, bass: &str| {
        let voices = format!(
            "voice tune {{ 1: {tune} | 2: 1/1 C5 | 3: = | 4: = | }}\n\
             voice low {{ 1: {bass} | 2: 1/1 C3 | 3: = | 4: = | }}"
        );
        let lines = "flute plays tune as melody\n cello plays low as bass";
        let text = piece(96, "", &voices, "era 1885\n flute, cello 4 players", lines);
        only(&text, "harmony/cross-relation")
    };
    let told = found("1/2 A5 F#5", "1/2 F3 D3");
    assert_eq!(told.len(), 1, "{told:#?}");
    let expected = "Flute: F#5 comes straight after F3 of Violoncellos in bar 1, beat 3.";
    assert_eq!(told[0].message, expected);
    // One player has the step, the first note goes on as it wants, a beat lies between, both pass.
    for (tune, bass) in [
        ("1/2 F5 F#5", "1/2 F3 D3"),
        ("1/2 A5 F#5", "1/2 F3 E3"),
        ("1/2 A5 F#5", "1/4 F3 A3 D3 E3"),
        ("1/8 A5 F#5 G5 A5 1/2 G5", "1/8 F3 D3 E3 F3 1/2 E3"),
    ] {
        let told = found(tune, bass);
        assert!(told.is_empty(), "{tune} over {bass}: {told:#?}");
    }
}

#[test]
fn the_root_of_a_dominant_of_another_key_is_no_leading_note() {
    let doubled = |chords: &str| {
        let voices = "voice tune { 1: 1/1 G5 | 2: F5 | 3: E5 | 4: E5 | }\n\
                      voice fill { 1: 1/1 B4 | 2: B4 | 3: B4 | 4: G4 | }\n\
                      voice low { 1: 1/1 E3 | 2: B2 | 3: E3 | 4: C3 | }";
        let lines = "oboe plays tune as melody\n clarinet plays fill as harmony\n bassoon plays low as bass";
        let text = piece(96, chords, voices, "era 1885\n oboe, clarinet in Bb, bassoon", lines);
        only(&text, "harmony/doubled-leading-note").len()
    };
    // B7 leads to E minor, where B is the fifth; under a diminished triad B leads to C.
    assert_eq!(doubled("1: Em | 2: B7 | 3: Em | 4: C |"), 0);
    assert_eq!(doubled("1: Em | 2: Bdim | 3: Em | 4: C |"), 1);
}

#[test]
fn a_bass_that_goes_down_to_its_fifth_under_a_held_root_is_no_mud() {
    let found = |second: &str, held: &str| {
        let voices = format!(
            "voice high {{ 1: 1/1 {held} | 2: C3 | 3: C3 | 4: C3 | }}\n\
             voice low {{ 1: 1/2 C2 {second} | 2: 1/1 C2 | 3: C2 | 4: C2 | }}"
        );
        let text = piece(
            96,
            "1: C | 2: C | 3: C | 4: C |",
            &voices,
            "era 1885\n bassoon, cello 4 players, double-bass 3 players",
            "bassoon plays high as harmony\n cello plays low as bass",
        );
        only(&text, "harmony/muddy").len()
    };
    assert_eq!(found("G2", "C3"), 0, "the fifth under the held root");
    assert_eq!(found("A2", "C3"), 1, "a sixth is no fifth");
    assert_eq!(found("G2", "B2"), 1, "what is held is no root");
}

#[test]
fn a_broken_chord_is_one_voice_by_its_top() {
    // E4 at the end of the figure and G4 at its beginning go along with the bass from C to E; the figure
    // itself stays where it is.
    let voices = "voice tune { 1: 1/1 C6 | 2: C6 | 3: C6 | 4: C6 | }\n\
                  voice low { 1: 1/2 E3 G3 | 2: E3 G3 | 3: E3 G3 | 4: 1/1 C3 | }";
    let text = piece(
        80,
        "1: C | 2: C | 3: C | 4: C |",
        voices,
        "era 1810\n violin-1 6 players, violin-2 6 players, cello 4 players",
        "violin-1 plays tune as melody\n cello plays low as bass\n violin-2 sustains broken",
    );
    assert_eq!(only(&text, "harmony/parallels"), []);
}

#[test]
fn a_leading_note_that_the_tune_touches_off_the_beat_is_not_doubled() {
    let found = |tune: &str| {
        let voices = format!(
            "voice tune {{ 1: {tune} | 2: 1/1 C6 | 3: C6 | 4: C6 | }}\n\
             voice inner {{ 1: 1/1 B4 | 2: G4 | 3: G4 | 4: G4 | }}\n\
             voice low {{ 1: 1/1 G3 | 2: C3 | 3: C3 | 4: C3 | }}"
        );
        let text = piece(
            80,
            "1: G7 | 2: C | 3: C | 4: C |",
            &voices,
            "era 1810\n violin-1 6 players, violin-2 6 players, cello 4 players",
            "violin-1 plays tune as melody\n violin-2 plays inner as harmony\n cello plays low as bass",
        );
        only(&text, "harmony/doubled-leading-note").len()
    };
    assert_eq!(found("1/2 D6 1/4. D6 1/8 B5"), 0, "an eighth off the beat");
    assert_eq!(found("1/2 D6 B5"), 1, "half of the chord");
}

/// What a full wind band and its heavy brass hold above a bass, by the harmony's rules.
fn held_by_full_wind(chords: &str, tune: &str, low: &str) -> Vec<String> {
    let text = piece(
        72,
        chords,
        &format!("voice tune {{ {tune} }}\nvoice low {{ {low} }}"),
        "era 1885\n flute 2, oboe 2, clarinet 2 in A, bass-clarinet in Bb, bassoon 2, contrabassoon\n \
         horn 4 in F, trumpet 3 in F, tenor-trombone 2, bass-trombone, tuba\n \
         violin-1 12 players, viola 8 players, cello 8 players, double-bass 6 players",
        "violin-1 plays tune as melody\n cello plays low as bass\n double-bass plays low 8vb as bass\n \
         flute, oboe, clarinet, bass-clarinet, bassoon, contrabassoon sustain\n \
         horn, trumpet, tenor-trombone, bass-trombone, tuba sustain\n viola sustains",
    );
    let codes = ["harmony/muddy", "harmony/below-bass", "harmony/doubled-leading-note"];
    codes.iter().flat_map(|code| only(&text, code)).map(|found| found.message).collect()
}

#[test]
fn the_lowest_of_full_wind_go_with_a_bass_that_leaves_them_no_room() {
    // Between B2 and the fifth above it there is nothing that is clear.
    let turns = held_by_full_wind(
        "1: Am | 2: E7/G# | 3: Am | 4: 1/2 Dm/F E |",
        "1: 1/1 E5 | 2: D5 | 3: C5 | 4: 1/2 A4 G#4 |",
        "1: 1/1 A2 | 2: G#2 | 3: A2 | 4: 1/2 F2 E2 |",
    );
    assert_eq!(turns, [""; 0]);
    let stands = held_by_full_wind(
        "1: Am | 2: Am/C | 3: G7/B | 4: C |",
        "1: 1/1 E5 | 2: E5 | 3: F5 | 4: E5 |",
        "1: 1/1 A2 | 2: C3 | 3: B2 | 4: C3 |",
    );
    assert_eq!(stands, [""; 0]);
}

#[test]
fn those_who_have_the_bass_have_one_that_is_foreign_to_the_chord_and_follow_it_out_of_mud() {
    let foreign = held_by_full_wind(
        "1: Em | 2: Em/D | 3: C | 4: G |",
        "1: 1/1 B4 | 2: B4 | 3: C5 | 4: B4 |",
        "1: 1/1 E3 | 2: D3 | 3: C3 | 4: G2 |",
    );
    assert_eq!(foreign, [""; 0]);
    // The double basses come to G2 above a held E♭2.
    let moves = held_by_full_wind(
        "1: Eb | 2: Eb | 3: Ab | 4: Eb |",
        "1: 1/1 G5 | 2: G5 | 3: Ab5 | 4: G5 |",
        "1: 1/1 Eb3 | 2: 1/4 Eb3 G3 1/2 Bb3 | 3: 1/1 Ab3 | 4: Eb3 |",
    );
    assert_eq!(moves, [""; 0]);
}

#[test]
fn a_seventh_to_which_the_tune_comes_at_last_is_left_to_it() {
    let text = "piece \"Ferry\" { composer \"House copyist\" }\n\
        form { 1 metre 6/8, key D major, tempo 1/4. at 40\n 4 end }\n\
        harmony { 1: 3/8 D D/F# | 2: 3/8 Em/G A7 | 3: 3/8 D B7/D# | 4: Em | }\n\
        voice tune { 1: 1/8. D6 1/16 C# 1/8 D 1/4 A5 1/8 F# | 2: 1/4 G5 1/8 B 1/4 A 1/8 G |\n\
        3: 1/4 F#5 1/8 A 1/4 D# 1/8 F# | 4: 1/2. G5 | }\n\
        voice bass { 1: 1/4. D3 F#3 | 2: 1/4. G3 A2 | 3: 1/4. D3 D#3 | 4: 1/2. E3 | }\n\
        ensemble few { era 1750\n oboe 2, horn 2 crook G\n violin-1 6 players, violin-2 6 players\n\
        viola 3 players, cello 3 players }\n\
        scoring few for few {\n violin-1 plays tune as melody\n cello plays bass as bass\n\
        oboe, horn, violin-2, viola sustain\n}\n";
    assert_eq!(only(text, "harmony/unresolved-seventh"), []);
}

#[test]
fn the_left_hand_of_a_harp_goes_with_the_bass_within_a_chord() {
    let text = piece(
        96,
        "1: Eb | 2: Eb | 3: Bb7 | 4: Eb |",
        "voice tune { 1: 1/1 Bb5 | 2: Bb5 | 3: Ab5 | 4: G5 | }\n\
         voice low { 1: 1/2 Eb3 G3 | 2: Bb3 G3 | 3: 1/1 Bb2 | 4: Eb3 | }",
        "era 1885\n harp, violin-1 12 players, cello 8 players, double-bass 6 players",
        "violin-1 plays tune as melody\n cello plays low as bass\n double-bass plays low 8vb as bass\n \
         harp sustains each beat",
    );
    assert_eq!(only(&text, "harmony/muddy"), []);
}

#[test]
fn whoever_goes_with_a_bass_that_has_the_leading_note_does_not_double_it_again() {
    let found = |wind: &str| {
        let text = piece(
            80,
            "1: C | 2: G7/B | 3: C | 4: C |",
            &format!(
                "voice tune {{ 1: 1/1 C5 | 2: D5 | 3: C5 | 4: C5 | }}\n\
                 voice inner {{ 1: 1/1 E4 | 2: B4 | 3: G4 | 4: G4 | }}\n\
                 voice wind {{ 1: 1/1 G3 | 2: {wind} | 3: E3 | 4: E3 | }}\n\
                 voice low {{ 1: 1/1 C3 | 2: B2 | 3: C3 | 4: C3 | }}"
            ),
            "era 1810\n oboe 2, bassoon, cello 4 players",
            "oboe.1 plays tune as melody\n oboe.2 plays inner as harmony\n \
             bassoon plays wind as harmony\n cello plays low as bass",
        );
        let all = only(&text, "harmony/doubled-leading-note");
        all.iter().filter(|found| found.message.contains("Bassoon")).count()
    };
    assert_eq!(found("B2"), 0, "in unison with the bass");
    assert_eq!(found("B3"), 1, "above it");
}

#[test]
fn an_artificial_harmonic_is_judged_by_the_notes_at_which_the_fingers_stand() {
    let told = |players: &str, note: &str| {
        let name = players.split(' ').next().unwrap();
        let voices = format!("voice tune {{ 1: 1/1 E4 | 2: {note} | 3: E4 | 4: E4 | }}");
        let text = piece(
            60,
            "",
            &voices,
            &format!("era 1890\n {players}"),
            &format!("{name} plays tune as harmony"),
        );
        let found = [only(&text, "compass"), only(&text, "strings/double-stop")].concat();
        found.iter().map(|finding| finding.message.clone()).collect::<Vec<_>>().join(" ")
    };
    assert_eq!(told("violin-1 8 players", "E7[harmonic E5]"), "");
    assert_eq!(told("viola 4 players", "E6[harmonic E4]"), "");
    let low = told("violin-1 8 players", "F5[harmonic F3]");
    assert!(low.contains("cannot play F3"), "{low}");
    let wide = told("violin-1 8 players", "Ab4[harmonic Ab3]");
    assert!(wide.contains("cannot stop and touch one string at Ab3 and Ab4"), "{wide}");
    assert_eq!(told("flute", "E6[harmonic E4]"), "", "it plays the note that sounds");
}

//! Whole computed lines: what they give on paper and what is said when they cannot.

use super::tests::piece;
use crate::arrange::{Arrangement, arrange};
use crate::music::Time;

const FORM: &str = "form {\n 1 metre 4/4, key D minor, tempo 1/4 at 60\n 4 end\n}\n";
const HARMONY: &str = "harmony { 1: Dm | 2: Dm | 3: 1/2 Gm A7 | 4: Dm | }\n";
const VOICES: &str = "voice upper {\n1: 1/4 D5 A F D | 2: 1/8 D5 E F G 1/4 A rest | 3: 1/4 Bb5 G E C# | 4: 1/1 D5 |\n}\n\
                      voice lower {\n1: 1/2 D3 A2 | 2: 1/1 D3 | 3: 1/2 G2 A2 | 4: 1/1 D2 |\n}\n";

/// Each part as "player: start+length note, …".
fn told(arrangement: &Arrangement) -> Vec<String> {
    let note = |note: &crate::arrange::PackedNote| {
        let what = note.sound().pitches().first().map_or("x".to_string(), ToString::to_string);
        let roll = if note.attached().tremolo > 0 { "~" } else { "" };
        format!("{}+{} {what}{roll}", note.start(), note.length())
    };
    arrangement
        .parts
        .iter()
        .map(|part| {
            let notes: Vec<String> = part.notes.iter().map(note).collect();
            format!("{}: {}", part.player.id, notes.join(", "))
        })
        .collect()
}

fn with_line(harmony: &str, players: &str, line: &str) -> (Vec<String>, Vec<(String, String)>) {
    let piece = piece(&format!(
        "{FORM}{harmony}{VOICES}ensemble e {{\n era 1810\n {players}\n}}\nscoring s for e {{\n {line}\n}}\n"
    ));
    let arrangement = arrange(&piece, &piece.scorings[0]);
    let said = arrangement.diagnostics.iter().map(|d| (d.code.to_string(), d.message.clone()));
    (told(&arrangement), said.collect())
}

#[test]
fn equal_notes_of_following_chords_are_one_hold() {
    let (parts, said) = with_line(HARMONY, "viola", "viola sustains");
    assert_eq!(said, []);
    let notes: Vec<&str> = parts[0].split(", ").collect();
    assert!(notes[0].starts_with("viola: 0/1+2/1"), "{parts:?}");
}

#[test]
fn chords_are_struck_anew_as_the_line_asks() {
    let starts = |line: &str| {
        let (parts, _) = with_line(HARMONY, "viola", line);
        let notes = parts[0].trim_start_matches("viola: ").to_string();
        notes.split(", ").map(|n| n.split(' ').next().unwrap_or("").to_string()).collect::<Vec<_>>()
    };
    let each_chord = starts("viola sustains each chord");
    assert_eq!(each_chord, ["0/1+1/1", "1/1+1/1", "2/1+1/2", "5/2+1/2", "3/1+1/1"]);
    // With the last note of the voices the figure comes to rest.
    let each_beat = starts("viola sustains each beat");
    assert_eq!(each_beat.len(), 13);
    assert_eq!(each_beat.last().map(String::as_str), Some("3/1+1/1"));
    assert_eq!(starts("viola sustains off the beat")[..2], ["1/8+1/8", "3/8+1/8"]);
}

#[test]
fn off_a_dotted_beat_its_second_and_third_parts_are_struck() {
    let text = "form {\n 1 metre 6/8, key D minor, tempo 1/4. at 60\n 3 end\n}\nharmony { 1: Dm | 2: Dm | 3: Dm }\n\
                voice v { 1: 6/8 F5 | 2: F | 3: F | }\nensemble e {\n era 1810\n violin-1 4 players, viola 2 players\n}\n\
                scoring s for e {\n violin-1 plays v as melody\n viola sustains off the beat\n}\n";
    let piece = piece(text);
    let arrangement = arrange(&piece, &piece.scorings[0]);
    let part = arrangement.parts.iter().find(|part| part.player.id == "viola").unwrap();
    let starts: Vec<String> =
        part.notes.iter().take(5).map(|n| format!("{}+{}", n.start(), n.length())).collect();
    assert_eq!(starts, ["1/8+1/8", "1/4+1/8", "1/2+1/8", "5/8+1/8", "7/8+1/8"]);
}

#[test]
fn wind_breathes_at_a_bar_line_without_a_rest_and_strings_do_not() {
    // Sixteen slow bars on one chord: no oboe holds that.
    let bars: Vec<String> = (1..=16).map(|bar| format!("{bar}: 1/1 F5 |")).collect();
    let chords: Vec<String> = (1..=16).map(|bar| format!("{bar}: Dm |")).collect();
    let text = |who: &str| {
        format!(
            "form {{\n 1 metre 4/4, key D minor, tempo 1/4 at 60\n 16 end\n}}\nharmony {{ {} }}\n\
             voice v {{\n{}\n}}\nensemble e {{\n era 1810\n {who}\n}}\nscoring s for e {{\n {who} sustains\n}}\n",
            chords.join(" "),
            bars.join("\n")
        )
    };
    let count = |who: &str| {
        let piece = piece(&text(who));
        let arrangement = arrange(&piece, &piece.scorings[0]);
        let rests = arrangement.parts[0].notes.windows(2).filter(|n| n[0].end() < n[1].start());
        (arrangement.parts[0].notes.len(), rests.count())
    };
    assert_eq!(count("viola"), (1, 0));
    let (notes, rests) = count("oboe");
    assert!(notes > 1 && rests == 0, "{notes} {rests}");
}

#[test]
fn drums_mark_the_cadence_and_roll_its_last_note() {
    let (parts, said) = with_line(HARMONY, "timpani tuned D3, A2", "timpani highlights cadences");
    assert_eq!(said, []);
    assert_eq!(parts, ["timpani: 5/2+1/4 A2, 3/1+1/1 D3~"]);
}

#[test]
fn cymbals_wait_for_peaks_and_the_end() {
    let (parts, said) = with_line(HARMONY, "cymbals", "cymbals highlights");
    assert_eq!(said, []);
    assert_eq!(parts, ["cymbals: 3/1+1/4 x"]);
}

#[test]
fn a_piccolo_doubles_the_tune_an_octave_higher() {
    let (parts, _) = with_line(HARMONY, "piccolo", "piccolo highlights entries");
    let head = "0/1+1/4 D6, 1/4+1/4 A6, 1/2+1/4 F6, 3/4+1/4 D6, 1/1+1/8 D6";
    assert_eq!(parts, [format!("piccolo: {head}")], "to the next first beat");
}

#[test]
fn a_horn_signal_follows_the_rhythm_on_open_notes() {
    let (parts, said) = with_line(HARMONY, "horn 2 crook D", "horn signals upper bars 1..2");
    assert_eq!(said, []);
    for part in &parts {
        let starts: Vec<&str> = part.split(", ").collect();
        assert_eq!(starts.len(), 7, "{part}");
        assert!(!part.contains("F4") && !part.contains("F5"), "no F on crook D: {part}");
    }
}

fn only(harmony: &str, players: &str, line: &str) -> (String, String) {
    let (parts, mut said) = with_line(harmony, players, line);
    assert_eq!(said.len(), 1, "{said:?} {parts:?}");
    said.remove(0)
}

#[test]
fn harmony_that_is_not_declared_is_inferred_and_that_is_told() {
    let (code, _) = only("", "oboe 2", "oboe sustains bars 2..3");
    assert_eq!(code, "harmony/inferred");
    let (parts, _) = with_line("", "viola", "viola sustains");
    assert_ne!(parts, ["viola: "]);
}

#[test]
fn no_harmony_has_its_own_words() {
    let (code, message) = only("harmony { 1: Dm | }\n", "oboe 2", "oboe sustains bars 2..3");
    assert_eq!(code, "harmony/missing");
    assert_eq!(
        message,
        "There is no harmony for Oboe 1 and Oboe 2 to take notes from in bars 2 to 3."
    );
}

#[test]
fn a_crook_without_a_note_in_the_chords_has_its_own_words() {
    let (code, message) = only(HARMONY, "horn 2 crook Ab", "horn sustains bars 4");
    assert_eq!(code, "arrange/no-open-note");
    assert_eq!(
        message,
        "Horn 1 and Horn 2 on crook Ab have no open note in any chord of bar 4 and rest there."
    );
}

#[test]
fn drums_without_a_note_in_the_chords_have_their_own_words() {
    let (code, message) = only(HARMONY, "timpani tuned C3, Bb2", "timpani signals lower bars 4");
    assert_eq!(code, "arrange/no-tuned-note");
    assert!(message.contains("tuned Bb2 and C3"), "{message}");
}

#[test]
fn more_players_than_the_chord_has_notes_for_have_their_own_words() {
    // On this crook both players have only the third of the chord, its leading note.
    let harmony = "harmony { 1: Dm | 2: Dm | 3: Gm | 4: C7 | }\n";
    let (code, message) = only(harmony, "horn 2 crook E", "horn sustains bars 4");
    assert_eq!(code, "arrange/too-many-players", "{message}");
    assert!(
        message.starts_with("There are more players (2) than chord tones in bar 4"),
        "{message}"
    );
}

#[test]
fn a_harmony_that_fights_with_the_voices_is_not_held_against_them() {
    let harmony = "harmony { 1: Dm | 2: Dm | 3: Gm | 4: D#7 | }\n";
    let (code, message) = only(harmony, "horn 2 crook Db", "horn sustains bars 4");
    assert_eq!(code, "arrange/too-many-players", "{message}");
    assert!(message.contains("clash with a voice, so they rest there"), "{message}");
}

#[test]
fn strokes_cannot_hold_a_chord() {
    let (code, _) = only(HARMONY, "cymbals", "cymbals sustains");
    assert_eq!(code, "arrange/no-pitch");
}

#[test]
fn bars_without_a_moment_are_told() {
    let (code, _) = only(HARMONY, "trumpet 2 crook D", "trumpet highlights peaks bars 1..2");
    assert_eq!(code, "arrange/no-moment");
}

#[test]
fn strokes_closer_than_a_beat_do_not_overlap() {
    let source = format!(
        "{FORM}voice upper {{\n1: [p] 1/4 D5 A 1/8 F [ff] D 1/4 D | 2: rest 3 |\n}}\n\
         voice lower {{\n1: [p] 1/2 D3 [ff] 1/2 A2 | 2: rest 3 |\n}}\n\
         ensemble town {{\nera 1810\nbass-drum\n}}\n\
         scoring out for town {{\nbass-drum highlights peaks\n}}\n"
    );
    let piece = piece(&source);
    let arrangement = arrange(&piece, &piece.scorings[0]);
    assert_eq!(told(&arrangement), ["bass-drum: 1/2+1/8 x, 5/8+1/4 x"]);
}

#[test]
fn what_is_written_by_hand_as_melody_and_bass_is_heard_like_voices() {
    let piece = piece(&format!(
        "{FORM}{HARMONY}ensemble e {{\n era 1810\n flute, oboe, bassoon\n}}\nscoring s for e {{\n \
         flute writes as melody {{ 1: 1/2 F5 D5 | 2: 1/1 F5 | 3: 1/2 G5 C#6 | 4: 1/2 D6 rest | }}\n \
         bassoon writes as bass {{ 1: 1/1 D3 | 2: D3 | 3: 1/2 G2 A2 | 4: D2 rest | }}\n \
         oboe sustains\n}}\n"
    ));
    let arrangement = arrange(&piece, &piece.scorings[0]);
    let oboe = &arrangement.parts[1];
    assert!(oboe.notes.len() >= 2, "{:?}", told(&arrangement));
    // Nobody holds on where both rest, and the leading note of the flute is left to it.
    assert_eq!(oboe.notes.last().map(|note| note.end()), Some(Time::of(7, 2)));
    let over_a7 = oboe.notes.iter().filter(|note| note.start() < Time::of(3, 1));
    let over_a7 = over_a7.filter(|note| note.end() > Time::of(5, 2));
    let names: Vec<_> = over_a7.map(|note| note.sound().pitches()[0].name().to_string()).collect();
    assert!(!names.is_empty() && !names.contains(&"C#".to_string()), "{names:?}");
}

#[test]
fn drums_mark_a_cadence_only_on_root_or_fifth() {
    // Of the chords of the cadence the drums have but the third of the first.
    let (parts, _) = with_line(
        "harmony { 1: Dm | 2: Dm | 3: 1/2 Dm Bdim7 | 4: C | }\n",
        "timpani tuned D3, A2",
        "timpani highlights cadences",
    );
    assert_eq!(parts, ["timpani: "]);
}

#[test]
fn a_signal_does_not_go_below_the_bass() {
    let piece = piece(
        "form {\n 1 metre 4/4, key C major, tempo 1/4 at 60\n 1 end\n}\nharmony { 1: C/E | }\n\
         voice upper {\n1: 1/4 C5 C C C |\n}\nvoice lower {\n1: 1/4 E3 E E E |\n}\n\
         ensemble e {\n era 1810\n bassoon 2, cello 2\n}\nscoring s for e {\n bassoon signals lower\n}\n",
    );
    let arrangement = arrange(&piece, &piece.scorings[0]);
    let notes = arrangement.parts.iter().flat_map(|part| &part.notes);
    let pitches: Vec<_> = notes.flat_map(|note| note.sound().pitches()).copied().collect();
    let bass = crate::music::Pitch::new(crate::music::Letter::E, 0, 3).midi();
    assert!(!pitches.is_empty());
    assert!(pitches.iter().all(|p| p.midi() >= bass || (bass - p.midi()) % 12 == 0), "{pitches:?}");
}

#[test]
fn a_drum_stands_on_the_root_where_the_bass_does() {
    let piece = piece(
        "form {\n 1 metre 4/4, key Eb major, tempo 1/4 at 100\n 3 end\n}\n\
         harmony { 1: 1/2 Eb Bb7 | 2: 1/2 Eb/Bb Bb7 | 3: Eb | }\n\
         voice tune {\n1: 1/2 Eb5 D | 2: 1/2 G5 F | 3: 1/1 Eb5 |\n}\n\
         voice bass {\n1: 1/2 Eb3 Bb2 | 2: 1/2 Bb2 Bb2 | 3: 1/1 Eb2 |\n}\n\
         ensemble e {\n era 1810\n timpani tuned Bb2, Eb3\n}\n\
         scoring s for e {\n timpani signals tune\n}\n",
    );
    let arrangement = arrange(&piece, &piece.scorings[0]);
    let strokes = "0/1+1/2 Eb3~, 1/2+1/2 Bb2~, 1/1+1/2 Bb2~, 3/2+1/2 Bb2~, 2/1+1/1 Eb3~";
    assert_eq!(told(&arrangement), [format!("timpani: {strokes}")], "the dominant under six-four");
}

#[test]
fn three_trumpets_signal_in_three_parts_from_the_top_down() {
    for (trumpets, era) in [("trumpet 3 in F", 1885), ("trumpet 3 crook Eb", 1810)] {
        let piece = piece(&format!(
            "form {{\n 1 metre 2/4, key Eb major, tempo 1/4 at 100\n 2 end\n}}\n\
             harmony {{ 1: Eb | 2: Eb | }}\n\
             voice tune {{\n1: 1/4 Eb5 G | 2: 1/2 Eb5 |\n}}\nvoice bass {{\n1: 1/2 Eb3 | 2: 1/2 Eb2 |\n}}\n\
             ensemble e {{\n era {era}\n {trumpets}\n}}\nscoring s for e {{\n trumpet signals tune\n}}\n"
        ));
        let arrangement = arrange(&piece, &piece.scorings[0]);
        let count = arrangement.parts[0].notes.len();
        assert!(count >= 2);
        for stroke in 0..count {
            let of = |part: usize| arrangement.parts[part].notes[stroke].sound().pitches()[0];
            let mut classes = [of(0), of(1), of(2)].map(|pitch| pitch.name().class());
            assert!(of(0) > of(1) && of(1) > of(2), "{:?}", told(&arrangement));
            classes.sort_unstable();
            assert_eq!(classes, [3, 7, 10], "{:?}", told(&arrangement));
        }
    }
}

#[test]
fn the_second_pair_of_horns_signals_below_the_first() {
    let piece = piece(
        "form {\n 1 metre 2/4, key Eb major, tempo 1/4 at 100\n 2 end\n}\n\
         harmony { 1: Eb | 2: Eb | }\n\
         voice tune {\n1: 1/4 Eb5 G | 2: 1/2 Eb5 |\n}\nvoice bass {\n1: 1/2 Eb3 | 2: 1/2 Eb2 |\n}\n\
         ensemble e {\n era 1810\n horn 4 crook Eb\n}\nscoring s for e {\n horn signals tune\n}\n",
    );
    let arrangement = arrange(&piece, &piece.scorings[0]);
    let count = arrangement.parts[0].notes.len();
    assert!(count >= 2 && arrangement.parts.iter().all(|part| part.notes.len() == count));
    for stroke in 0..count {
        let of = |part: usize| arrangement.parts[part].notes[stroke].sound().pitches()[0];
        let lower = [of(2), of(3)];
        assert!(of(0) >= of(2) && of(1) >= of(3), "{:?}", told(&arrangement));
        assert!(lower != [of(0), of(1)], "not the same once more: {:?}", told(&arrangement));
    }
}

#[test]
fn the_last_chord_ends_with_the_double_bar_before_the_up_beat_of_a_trio() {
    let text = |line: &str| {
        format!(
            "form {{\n 1 metre 6/8, key G minor, tempo 1/4. at 46\n 2 fine\n 3 mark \"Trio\", up-beat 1/8\n \
             4 da capo al fine, end\n}}\n\
             harmony {{ 1: D7 | 2: Gm | 3: Gm | 4: Gm | }}\n\
             voice tune {{\n1: 1/4. F#5 A | 2: 1/4. G5 1/4 G 1/8 D | 3: 1/4. G5 Bb | 4: 3/4 G5 |\n}}\n\
             voice bass {{\n1: 3/4 D3 | 2: 1/4. G2 1/4 G2 1/8 rest | 3: 3/4 G2 | 4: 3/4 G2 |\n}}\n\
             ensemble e {{\n era 1810\n horn 2 crook G\n timpani tuned G2, D3\n}}\n\
             scoring s for e {{\n {line}\n}}\n"
        )
    };
    let line = Time::of(11, 8);
    for verb in ["highlight cadences", "signal tune"] {
        let piece = piece(&text(&format!("horn, timpani {verb}")));
        let arrangement = arrange(&piece, &piece.scorings[0]);
        let over = |note: &crate::arrange::PackedNote| note.start() < line && note.end() > line;
        for part in &arrangement.parts {
            assert!(!part.notes.iter().any(over), "{verb} {:?}", told(&arrangement));
        }
        let held = arrangement.parts[0].notes.iter().any(|note| note.end() == line);
        assert!(held, "{verb} {:?}", told(&arrangement));
    }
}

//! Files from outside become sources that compile, whatever they hold.

mod shared;

use ripieno::narrow::Narrow;
use std::collections::BTreeSet;

use proptest::prelude::*;
use ripieno::import::{Options, Setting, import};

use shared::choices::Choices;
use shared::generator::source;
use shared::importing::{assert_comes_back, compiled, import_anything, thrown};

/// A MIDI file: for each note its delay, length and key, in ticks of which 480 are a quarter.
fn midi(notes: &[(u16, u16, u8)]) -> Vec<u8> {
    let mut events: Vec<(u32, bool, u8)> = Vec::new();
    let mut at = 0;
    for (delay, length, key) in notes {
        at += u32::from(*delay);
        events.push((at, true, *key));
        events.push((at + u32::from(*length), false, *key));
    }
    // Ends come before beginnings.
    events.sort_by_key(|(at, begins, key)| (*at, *begins, *key));
    let mut track: Vec<u8> = Vec::new();
    let mut before = 0;
    for (at, begins, key) in events {
        let delta = at - before;
        before = at;
        let bytes = [delta >> 14, delta >> 7, delta].map(|bits| (bits & 0x7f).narrow::<u8>());
        track.extend([bytes[0] | 0x80, bytes[1] | 0x80, bytes[2]]);
        track.extend([0x90, key, if begins { 80 } else { 0 }]);
    }
    track.extend([0, 0xff, 0x2f, 0]);
    let mut file = b"MThd\0\0\0\x06\0\0\0\x01\x01\xe0MTrk".to_vec();
    file.extend(track.len().narrow::<u32>().to_be_bytes());
    file.extend(track);
    file
}

#[test]
fn a_chord_longer_than_any_value_is_imported() {
    import_anything(thrown(&[26, 30, 12, 26, 19]).as_bytes());
}

#[test]
fn a_tuplet_goes_on_where_it_could_have_ended() {
    // An eleventh of the bar and a half is a whole number of 128ths, in the middle of the tuplet.
    assert_comes_back(
        "piece \"Tuplets\" { }\nform {\n  1 metre 7/8, key Ab minor\n  1 end\n}\nvoice upper {\n  \
         1: 11:8(1/16 rest E5 A4 rest G##5 1/8 rest 1/16 Fbb5 = C5&E5&B##6 D4&C5) 1/32 Db5 \
         10:11(1/16 E5&F5&F6 1/64 F5&B5 B5 1/32 rest 1/64 A#5 F##4 1/32 = = 1/16 G5 1/64 rest G6) |\
         \n}\nensemble small {\n  era 1770\n  violin-1 1 player\n}\nscoring first for small {\n  \
         violin-1 plays upper as melody\n}\n",
    );
}

#[test]
fn a_short_bar_of_rests_in_a_long_metre_keeps_its_length() {
    assert_comes_back(
        "piece \"Rests\" { }\nform {\n  1 metre 12/1, key C major, length 16/16\n  2 metre 4/4\n  \
         2 end\n}\nvoice upper {\n  1: 1/1 rest |\n  2: 1/1 C5 |\n}\nensemble small {\n  era 1770\n  \
         violin-1 1 player\n}\nscoring first for small {\n  violin-1 plays upper as melody\n}\n",
    );
}

#[test]
fn a_stroke_held_over_a_change_of_instrument_comes_back() {
    assert_comes_back(
        "piece \"Strokes\" { }\nform {\n  1 metre 4/4, key C major\n  2 end\n}\nvoice drum {\n  \
         1: 1/2 x x |\n  2: 1/2 = x |\n}\nensemble small {\n  era 1885\n  triangle\n}\n\
         scoring first for small {\n  triangle takes cymbals bar 2\n  triangle plays drum as rhythm\n}\n",
    );
}

/// A file of parts, each with what stands in its one measure.
fn of_parts(parts: &[(String, String)]) -> String {
    let (mut list, mut measures) = (String::new(), String::new());
    for (index, (name, measure)) in parts.iter().enumerate() {
        list += &format!("<score-part id='P{index}'><part-name>{name}</part-name></score-part>");
        measures += &format!(
            "<part id='P{index}'><measure number='1'><attributes><divisions>32</divisions>\
             </attributes>{measure}</measure></part>"
        );
    }
    format!("<score-partwise><part-list>{list}</part-list>{measures}</score-partwise>")
}

fn note(duration: u32, more: &str) -> String {
    format!(
        "<note><pitch><step>C</step><octave>5</octave></pitch>\
         <duration>{duration}</duration><voice>1</voice>{more}</note>"
    )
}

#[test]
fn texts_longer_than_any_may_be_are_cut_and_told() {
    let long = "la ".repeat(300);
    let lyric = format!("<lyric><text>{}</text></lyric>", "a".repeat(600));
    let words = |what: &str| {
        format!("<direction><direction-type><{what}>{long}</{what}></direction-type></direction>")
    };
    let measure = words("words") + &words("rehearsal") + &note(128, &lyric);
    let head = format!(
        "<score-partwise><work><work-title>{long}</work-title></work><identification>\
         <creator type='composer'>{long}</creator><rights>{long}</rights></identification>"
    );
    let file = of_parts(&[(long.clone(), measure)]).replace("<score-partwise>", &head);
    import_anything(file.as_bytes());
    let import = import(file.as_bytes(), &Options::default()).unwrap();
    let told = |part: Option<&str>| {
        let what = "texts of more than 500 characters, cut";
        let losses = import.report.losses.iter().filter(|loss| loss.what == what);
        let of_part = losses.filter(|loss| loss.part.is_some() == part.is_some());
        of_part.map(|loss| loss.count).sum::<usize>()
    };
    // Title, composer, rights and mark; words, a syllable and the name of the part.
    assert_eq!((told(None), told(Some("the part"))), (4, 3));
}

#[test]
fn more_lines_than_a_source_may_have_are_refused() {
    let of = |name: &str, count: usize, setting: Setting| {
        let name = |n: usize| format!("{} {n}", if n > 200 { "Oboe" } else { name });
        let parts: Vec<_> = (1..=count).map(|n| (name(n), note(128, ""))).collect();
        import(of_parts(&parts).as_bytes(), &Options { setting, ..Options::default() })
    };
    let taken = |name, count, setting| drop(compiled(&of(name, count, setting).unwrap().source));
    let refused = |name, count, setting| of(name, count, setting).unwrap_err().to_string();
    taken("Oboe", 500, Setting::Voices);
    let error = refused("Oboe", 501, Setting::Voices);
    assert!(error.contains("501 lines of music, and a source may have 500 voices"), "{error}");
    taken("Flute", 400, Setting::Scoring);
    let error = refused("Flute", 401, Setting::Scoring);
    assert!(error.contains("401 lines of music, and an ensemble may have 400 parts"), "{error}");
    taken("Oboe", 255, Setting::Scoring);
    let error = refused("Oboe", 256, Setting::Scoring);
    assert!(error.contains("256 parts for `oboe`, and an ensemble may have 255"), "{error}");
}

#[test]
fn a_part_of_more_lines_than_a_line_of_the_ensemble_has_players_takes_several() {
    // Thirty notes that begin together and end one after the other.
    let back = |length: u32| format!("<backup><duration>{length}</duration></backup>");
    let notes: Vec<String> = (1..=30).map(|length| note(length, "") + &back(length)).collect();
    let file = of_parts(&[("Violin".to_string(), notes.concat())]);
    let options = Options { setting: Setting::Scoring, ..Options::default() };
    let source = import(file.as_bytes(), &options).unwrap().source;
    assert!(source.contains("  violin-1 24\n  violin-2 6\n"), "{source}");
    let _ = compiled(&source);
}

#[test]
fn a_bar_longer_than_a_line_may_be_goes_on_in_the_next() {
    let metre = "<attributes><time><beats>64</beats><beat-type>1</beat-type></time></attributes>";
    let sharp = note(1, "").replace("</step>", "</step><alter>1</alter>");
    let harmony = |step: &str| {
        format!(
            "<harmony><root><root-step>{step}</root-step></root><kind>minor-seventh</kind></harmony>"
        )
    };
    let beat = [harmony("D"), note(1, ""), harmony("E"), sharp].concat();
    let file = of_parts(&[("Oboe".to_string(), metre.to_string() + &beat.repeat(32 * 128))]);
    let source = import(file.as_bytes(), &Options::default()).unwrap().source;
    assert!(source.lines().map(str::len).max() > Some(5_000), "{source}");
    let _ = compiled(&source);
}

#[test]
fn bars_of_a_midi_file_have_lengths_that_can_be_written() {
    let file = |track: &[u8]| {
        let mut file = b"MThd\0\0\0\x06\0\0\0\x01\0\x60MTrk".to_vec();
        file.extend((track.len() + 4).narrow::<u32>().to_be_bytes());
        file.extend(track);
        file.extend([0, 0xff, 0x2f, 0]);
        file
    };
    // A quarter of 96 ticks after a rest, and a metre of so many quarters.
    let note = |rest: u8, key: u8| vec![rest, 0x90, key, 80, 96, 0x90, key, 0];
    let metre = |rest: u8, count: u8| vec![rest, 0xff, 0x58, 4, count, 2, 24, 8];
    // The bars begin with the first note, a third into a quarter, and a metre comes on a whole one.
    let notes = [60, 62, 64, 65].map(|key| note(0, key)).concat();
    let moved = [note(32, 67), notes.clone(), metre(64, 3), note(32, 60), notes.clone()].concat();
    // An up-beat that begins some two thirds into a bar.
    let silence = [metre(0, 4), note(127, 60)[..1].to_vec(), vec![0xff, 1, 0]].concat();
    let up_beat = [silence, note(127, 67), note(2, 60), notes].concat();
    for track in [moved, up_beat] {
        import_anything(&file(&track));
    }
}

fn cases() -> ProptestConfig {
    ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(80) }
}

proptest! {
    #![proptest_config(cases())]

    #[test]
    fn whatever_stands_in_a_file_is_imported_or_refused(
        choices in proptest::collection::vec(any::<u8>(), 0..60)
    ) {
        import_anything(thrown(&choices).as_bytes());
    }

    #[test]
    fn a_file_that_breaks_off_or_is_garbled_is_refused_or_imported(
        choices in proptest::collection::vec(any::<u8>(), 0..20),
        end in 0usize..4000,
        at in 0usize..4000,
        byte in any::<u8>(),
    ) {
        let mut bytes = thrown(&choices).into_bytes();
        bytes.truncate(end.max(1));
        let place = at % bytes.len();
        bytes[place] = byte;
        import_anything(&bytes);
    }

    #[test]
    fn no_midi_bytes_are_too_much(
        bytes in proptest::collection::vec(any::<u8>(), 0..200)
    ) {
        let mut file = b"MThd\0\0\0\x06\0\x01\0\x01\0\x60MTrk\0\0\0\xff".to_vec();
        file.extend(bytes);
        import_anything(&file);
    }

    #[test]
    fn what_we_write_as_musicxml_is_imported_as_the_same_music(
        bytes in proptest::collection::vec(any::<u8>(), 0..1200)
    ) {
        // A fermata stands over what every part has there, not only over what it was written on.
        let source = source(&mut Choices::new(&bytes));
        assert_comes_back(&source.replace("rest[fermata]", "rest").replace("fermata", "tenuto"));
    }

    #[test]
    fn midi_notes_on_a_grid_come_back_key_for_key(
        notes in proptest::collection::vec((0u16..4, 1u16..6, 40u8..90), 1..40)
    ) {
        let ticks: Vec<(u16, u16, u8)> =
            notes.iter().map(|(delay, length, key)| (delay * 120, length * 120, *key)).collect();
        let imported = import(&midi(&ticks), &Options::default()).unwrap();
        let piece = compiled(&imported.source);
        let found: BTreeSet<i32> = piece
            .voices
            .iter()
            .flat_map(|voice| &voice.music.notes)
            .flat_map(|note| Vec::from(note.sound.pitches()))
            .map(|pitch| pitch.midi())
            .collect();
        let wanted: BTreeSet<i32> = notes.iter().map(|(.., key)| i32::from(*key)).collect();
        prop_assert_eq!(wanted, found);
    }
}

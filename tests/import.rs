//! Files from outside become sources that compile, whatever they hold.

mod shared;

use ripieno::narrow::Narrow;
use std::collections::BTreeSet;

use proptest::prelude::*;
use ripieno::import::{Options, import};

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
        // A fermata holds for every part and cuts what others hold there.
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
            .flat_map(|note| note.sound.pitches().iter().map(|pitch| pitch.midi()))
            .collect();
        let wanted: BTreeSet<i32> = notes.iter().map(|(.., key)| i32::from(*key)).collect();
        prop_assert_eq!(wanted, found);
    }
}

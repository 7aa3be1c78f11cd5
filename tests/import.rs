//! Files from outside become sources that compile, whatever they hold.

mod shared;

use ripieno::narrow::Narrow;
use std::collections::BTreeSet;

use proptest::prelude::*;
use ripieno::import::{Options, import};

use shared::choices::Choices;
use shared::generator::source;
use shared::importing::{assert_comes_back, compiled, import_anything};

/// Pieces of MusicXML from which files are thrown together.
const PIECES: &[&str] = &[
    "<attributes><divisions>6</divisions></attributes>",
    "<attributes><divisions>0</divisions><transpose><chromatic>-14</chromatic></transpose></attributes>",
    "<attributes><key><fifths>-5</fifths><mode>minor</mode></key><time><beats>3+2</beats><beat-type>8</beat-type></time><staves>2</staves></attributes>",
    "<attributes><time><senza-misura/></time></attributes>",
    "<attributes><time><beats>77</beats><beat-type>3</beat-type></time></attributes>",
    "<note><pitch><step>F</step><alter>1</alter><octave>5</octave></pitch><duration>6</duration><voice>1</voice><type>quarter</type></note>",
    "<note><pitch><step>B</step><alter>-3</alter><octave>-1</octave></pitch><duration>3</duration></note>",
    "<note><pitch><step>G</step><octave>4</octave></pitch><duration>2</duration><tie type='start'/><voice>1</voice><type>eighth</type><time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes></time-modification><notations><slur type='start' number='2'/><tuplet type='start'/></notations></note>",
    "<note><chord/><pitch><step>C</step><octave>5</octave></pitch><duration>2</duration><tie type='stop'/><voice>2</voice><notations><slur type='stop'/><ornaments><tremolo>3</tremolo><trill-mark/></ornaments><fermata/></notations></note>",
    "<note><grace/><pitch><step>A</step><octave>4</octave></pitch><voice>1</voice><type>16th</type></note>",
    "<note><grace slash='yes'/><chord/><pitch><step>A</step><octave>5</octave></pitch><voice>1</voice></note>",
    "<note><rest measure='yes'/><duration>24</duration><notations><fermata/></notations></note>",
    "<note><rest/><duration>1</duration><staff>2</staff></note>",
    "<note><unpitched/><duration>6</duration><instrument id='P1-I2'/></note>",
    "<note><cue/><pitch><step>E</step><octave>4</octave></pitch><duration>6</duration><lyric><text>la</text></lyric></note>",
    "<note print-object='no'><pitch><step>E</step><octave>4</octave></pitch><duration>-6</duration></note>",
    "<backup><duration>5</duration></backup>",
    "<forward><duration>7</duration></forward>",
    "<backup><duration>999999999999</duration></backup>",
    "<forward><duration>99999999</duration></forward>",
    "<direction><direction-type><dynamics><ffff/><p/></dynamics></direction-type><offset>-3</offset><staff>2</staff></direction>",
    "<direction><direction-type><wedge type='crescendo' number='1'/></direction-type></direction>",
    "<direction><direction-type><wedge type='stop' number='1'/></direction-type></direction>",
    "<direction><direction-type><words>poco rit. \"&amp;\"</words></direction-type><sound tempo='9999'/></direction>",
    "<direction><direction-type><metronome><beat-unit>half</beat-unit><beat-unit-dot/><per-minute>c. 60</per-minute></metronome></direction-type></direction>",
    "<direction><direction-type><rehearsal>A</rehearsal></direction-type><direction-type><segno/></direction-type></direction>",
    "<harmony><root><root-step>D</root-step><root-alter>-1</root-alter></root><kind>dominant-13th</kind><bass><bass-step>F</bass-step></bass></harmony>",
    "<barline location='left'><repeat direction='forward'/><ending number='1' type='start'/></barline>",
    "<barline location='right'><repeat direction='backward' times='3'/><ending number='2' type='stop'/></barline>",
    "<barline><bar-style>light-light</bar-style></barline>",
    "</measure><measure number='7'>",
    "</measure><measure number='X1' implicit='yes'>",
    "</measure></part><part id='P2'><measure>",
    "<direction><direction-type><words>D.C. al Fine</words></direction-type><sound dacapo='yes'/></direction>",
    "<direction><direction-type><words>D.S. al Coda</words></direction-type></direction>",
    "<direction><direction-type><words>Fine</words></direction-type></direction>",
    "<direction><direction-type><words>To Coda</words></direction-type></direction>",
    "<direction><direction-type><coda/></direction-type></direction>",
    "<barline location='right'><repeat direction='backward'/><ending number='1, 2' type='stop'/></barline>",
    "<barline location='left'><ending number='3' type='start'/></barline>",
    "<note><pitch><step>A</step><octave>4</octave></pitch><duration>6</duration><voice>1</voice><lyric number='2'><syllabic>begin</syllabic><text>me-|{</text></lyric></note>",
];

/// A file thrown together from pieces.
fn thrown(choices: &[u8]) -> String {
    let mut text =
        "<score-partwise><part-list><score-part id='P1'><part-name>Drums &amp; more</part-name>\
        <score-instrument id='P1-I2'><instrument-name>Triangle</instrument-name></score-instrument>\
        </score-part></part-list><part id='P1'><measure>"
            .to_string();
    for choice in choices {
        text += PIECES[usize::from(*choice) % PIECES.len()];
    }
    text + "</measure></part></score-partwise>"
}

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

//! Bars as a player reads them, made from sounding notes.

use crate::instruments::{Clef, find};
use crate::music::{Interval, Key, Time};
use crate::notate::testing::{Fixture, cello, clarinet, directions, dump, form, natural_horn};
use crate::notate::{ElementKind, Pitches, notate_at};
use crate::resolve::{BarLine, Ending, Mark};

#[test]
fn notes_are_tied_over_bar_lines() {
    let score = Fixture::new(&["3/4", "3/4"]).notes("1/2 1/2 C5").score();
    assert_eq!(dump(&score, 0), "rest:1/4 rest:1/4 C5:1/4… | …C5:1/4 rest:1/4 rest:1/4");
}

#[test]
fn a_bar_of_rest_is_one_sign() {
    let score = Fixture::new(&["3/4", "3/4"]).notes("3/4 3/4 C5").score();
    assert_eq!(dump(&score, 0), "rest | C5:3/4");
}

#[test]
fn a_pick_up_is_read_as_the_end_of_a_bar() {
    let mut form = form(&["4/4", "4/4"]);
    form.bars[0].number = 0;
    form.bars[0].length = Time::of(5, 8);
    form.bars[1].number = 1;
    form.bars[1].start = Time::of(5, 8);
    form.bars[1].line = BarLine::Final;
    let score = Fixture::of(form)
        .notes("0/1 5/8 C5, 5/8 1/1 D5")
        .part(clarinet())
        .notes("5/8 1/1 C5")
        .score();
    assert_eq!(dump(&score, 0), "C5:1/8… …C5:1/2 | D5:1/1");
    assert_eq!(dump(&score, 1), "rest:1/8 rest:1/2 | D5:1/1");
}

#[test]
fn marks_stand_on_the_first_piece_and_dots_and_fermatas_on_the_last() {
    let score = Fixture::new(&["2/4", "2/4"])
        .notes("0/1 1/1 C5")
        .mark(0, Mark::Accent)
        .mark(0, Mark::Fermata)
        .mark(0, Mark::Staccato)
        .score();
    assert_eq!(dump(&score, 0), "C5:1/2…+accent | …C5:1/2+stacc+fermata");
}

#[test]
fn a_note_held_on_beyond_a_fermata_of_others_is_two_that_are_tied() {
    let score = Fixture::new(&["9/8", "9/8"])
        .notes("0/1 9/4 C5")
        .wait("0/1", "9/8", true)
        .wait("9/8", "12/8", true)
        .part(cello())
        .notes("0/1 3/8 C3")
        .wait("0/1", "9/8", false)
        .score();
    // The note with the fermata is written as a dotted half and a dotted quarter.
    assert_eq!(dump(&score, 0), "C5:3/4… …C5:3/8…+fermata | …C5:3/8…+fermata …C5:3/4");
    let fermatas = score.staves[1].measures[0].elements.iter().map(|element| match element.kind {
        ElementKind::Rest { fermata } => fermata,
        _ => false,
    });
    assert_eq!(fermatas.collect::<Vec<_>>(), [false, false, true]);
}

#[test]
fn a_trill_has_its_sign_again_where_the_music_jumps_into_it() {
    let mut form = form(&["2/4", "2/4", "2/4"]);
    form.bars[1].repeat_starts = true;
    form.bars[2].repeat_ends = true;
    let fixture = Fixture::of(form).notes("0/1 3/2 C5").mark(0, Mark::Trill);
    assert_eq!(dump(&fixture.score(), 0), "C5:1/2…+trill | …C5:1/2…+trill | …C5:1/2");
}

#[test]
fn slurs_embrace_ties() {
    let score = Fixture::new(&["2/4", "2/4"]).notes("0/1 1/4 C5, 1/4 1/2 D5").slur(0, 1).score();
    assert_eq!(dump(&score, 0), "C5:1/4( D5:1/4… | …D5:1/4) rest:1/4");
}

#[test]
fn a_note_held_into_another_crook_sounds_as_before() {
    let horn = Fixture::new(&["2/4", "2/4"]).instrument(natural_horn());
    let horn = horn.crook("0/1", "D").crook("1/2", "F").notes("0/1 1/1 F#4");
    assert_eq!(dump(&horn.score(), 0), "E5:1/2… | …C#5!:1/2");
}

#[test]
fn another_instrument_brings_its_transposition_and_clef_and_is_told_in_the_rest() {
    let score = Fixture::new(&["2/4", "2/4", "2/4", "2/4"])
        .instrument(cello())
        .notes("0/1 1/2 C4, 5/4 1/4 F#4, 3/2 1/2 D4")
        .takes("1/2", clarinet())
        .takes("3/2", cello())
        .score();
    assert_eq!(dump(&score, 0), "C4:1/2 | rest | rest:1/4 G#4!:1/4 | D4:1/2");
    assert_eq!(
        directions(&score, 0),
        "2 0/1 \"take Clarinet\", 3 1/4 \"Clarinet\", 4 0/1 \"Violoncello\""
    );
    let staff = &score.staves[0];
    let clefs: Vec<_> = staff.measures.iter().map(|m| m.clefs.first().map(|c| c.1)).collect();
    assert_eq!(clefs, [Some(Clef::Bass), Some(Clef::Treble), None, Some(Clef::Bass)]);
    let ids = [0, 1, 2, 3].map(|bar| staff.instrument_in(bar).id.as_str());
    assert_eq!(ids, ["cello", "clarinet", "clarinet", "cello"]);
    assert_eq!(staff.name, "Violoncello and Clarinet");
}

#[test]
fn a_tremolo_that_no_stem_can_show_is_written_out() {
    let fixture = Fixture::new(&["4/4"]).notes("0/1 3/8 C5, 3/8 1/4 D5, 5/8 3/8 E5");
    let score = fixture.tremolo(1, 1).score();
    assert_eq!(dump(&score, 0), "C5:3/8 D5:1/8 D5:1/8 E5:3/8");
}

#[test]
fn strokes_that_are_written_out_are_not_tied_to_those_of_a_tremolo() {
    let fixture = Fixture::new(&["4/4"]).notes("0/1 1/12 C5, 1/12 1/12 D5, 1/6 7/12 E5");
    let fixture = fixture.tuplet("0/1", "1/4", (3, 2)).tremolo(2, 1);
    assert_eq!(dump(&fixture.score(), 0), "{3:2 C5:1/8[ D5:1/8= E5:1/8] } E5:1/2 rest:1/4");
}

#[test]
fn no_stroke_is_written_out_that_ends_where_no_value_does() {
    let fixture = Fixture::new(&["4/4"]).notes("0/1 1/6 C5, 1/6 5/24 D5, 3/8 5/8 E5");
    let fixture = fixture.tuplet("0/1", "1/4", (3, 2)).tremolo(1, 1);
    assert_eq!(dump(&fixture.score(), 0), "{3:2 C5:1/4 D5:1/8 } D5:1/8[ E5:1/8…] …E5:1/2");
}

#[test]
fn a_tremolo_that_a_stem_can_show_is_tied_as_it_is() {
    let fixture = Fixture::new(&["4/4"]).notes("0/1 3/8 C5, 3/8 1/4 D5, 5/8 3/8 E5");
    let score = fixture.tremolo(1, 2).score();
    assert_eq!(dump(&score, 0), "C5:3/8 D5:1/8… …D5:1/8 E5:3/8");
}

#[test]
fn transposing_instruments_show_written_key_and_pitch() {
    let score = Fixture::new(&["4/4"])
        .key("D minor")
        .instrument(clarinet())
        .notes("0/1 1/2 C#5, 1/2 1/2 D5")
        .score();
    let measure = &score.staves[0].measures[0];
    assert_eq!(measure.transposition, Some(Interval::new(-1, -2)));
    assert_eq!(measure.key.unwrap().to_string(), "E minor");
    assert_eq!(dump(&score, 0), "D#5!:1/2 E5:1/2");
    assert_eq!(score.staves[0].key_name.as_deref(), Some("in B♭"));
}

#[test]
fn without_a_signature_every_accidental_stands_at_its_note() {
    let fixture = Fixture::new(&["4/4"]).key("D major").instrument(clarinet());
    let score = fixture.without_signature().notes("0/1 1/2 F#5, 1/2 1/2 D5").score();
    assert_eq!(score.staves[0].measures[0].key, None);
    assert_eq!(dump(&score, 0), "G#5!:1/2 E5:1/2");
}

#[test]
fn at_concert_pitch_an_octave_stays_that_is_the_instruments_own_and_none_of_a_crook_or_key() {
    let concert = |fixture: Fixture| notate_at(&fixture.arrangement(), Pitches::Concert);
    let horn = Fixture::new(&["4/4"; 2]).instrument(natural_horn());
    let horn = horn.crook("0/1", "Eb").crook("1/1", "C basso").notes("0/1 1/1 G3, 1/1 1/1 G3");
    let score = concert(horn);
    let moves = score.staves[0].measures.iter().map(|measure| measure.transposition);
    assert_eq!(moves.collect::<Vec<_>>(), [Some(Interval::UNISON), None]);
    assert_eq!(dump(&score, 0), "G3:1/1 | G3:1/1");
    let own = |id: &str, note: &str| {
        let fixture = Fixture::new(&["4/4"]).instrument(find(id).unwrap());
        dump(&concert(fixture.notes(&format!("0/1 1/1 {note}"))), 0)
    };
    assert_eq!(own("piccolo", "G5"), "G4:1/1");
    assert_eq!(own("contrabassoon", "G1"), "G2:1/1");
    assert_eq!(own("double-bass", "G1"), "G2:1/1");
    // Built in several keys: in C as in B flat.
    assert_eq!(own("bass-trumpet", "G3"), "G3:1/1");
}

#[test]
fn at_concert_pitch_horns_with_crooks_have_the_signature_of_the_piece_and_timpani_none() {
    let signature = |instrument, crook: Option<&str>, pitches| {
        let fixture = Fixture::new(&["4/4"]).key("Eb major").instrument(instrument);
        let fixture = crook.into_iter().fold(fixture, |fixture, crook| fixture.crook("0/1", crook));
        let score = notate_at(&fixture.notes("0/1 1/1 Eb4").arrangement(), pitches);
        score.staves[0].measures[0].key.map(Key::fifths)
    };
    assert_eq!(signature(natural_horn(), Some("D"), Pitches::Concert), Some(-3));
    assert_eq!(signature(natural_horn(), Some("C basso"), Pitches::Concert), Some(-3));
    assert_eq!(signature(natural_horn(), Some("D"), Pitches::Written), None);
    let timpani = find("timpani").unwrap();
    assert_eq!(signature(timpani, None, Pitches::Concert), None);
}

#[test]
fn chords_are_read_from_the_lowest_note_up() {
    let score = Fixture::new(&["4/4"]).notes("0/1 1/1 A5&D5&F5").score();
    assert_eq!(dump(&score, 0), "D5&F5&A5:1/1");
}

#[test]
fn a_tie_parts_at_an_ending_only_for_a_note_that_begins_before_it() {
    let parts = |notes: &str| {
        let mut form = form(&["4/4"; 4]);
        form.bars[2].repeat_ends = true;
        (form.bars[2].ending, form.bars[3].ending) = (Some(Ending::of(1)), Some(Ending::of(2)));
        let score = Fixture::of(form).notes(notes).score();
        let measures = score.staves[0].measures.iter();
        let notes = measures.flat_map(|measure| &measure.elements);
        let parts = notes.filter_map(|element| match &element.kind {
            ElementKind::Note(note) => Some(note.tie_parts),
            _ => None,
        });
        parts.collect::<Vec<_>>()
    };
    assert_eq!(parts("1/1 3/1 C5"), [false, true, false]);
    // Held from the one ending into the other, which nobody plays.
    assert_eq!(parts("2/1 2/1 C5"), [false, false]);
}

#[test]
fn in_a_free_bar_a_note_is_not_divided_at_beats_that_nobody_counts() {
    let lengths = "3/8 1/8 1/8 1/2 1/2 1/8 1/4 r1/4 1/4 5/8";
    let bar = |long: bool| {
        let mut fixture = Fixture::new(&["4/4"; 4]);
        if long {
            fixture.form.bars.truncate(1);
            fixture.form.bars[0].length = Time::of(25, 8);
        }
        dump(&fixture.row(lengths).score(), 0)
    };
    let long = bar(true).replace(['[', ']', '=', '>'], "");
    let values = "C5:3/8 C5:1/8 C5:1/8 C5:1/2 C5:1/2 C5:1/8 C5:1/4 rest:1/4 C5:1/4";
    assert!(long.starts_with(values), "{long}");
    assert!(long[values.len()..].contains('…'), "five eighths are no value: {long}");
    assert!(bar(false).contains("C5:3/8… | …C5:1/8"), "{}", bar(false));
}

#[test]
fn a_signature_comes_back_behind_a_stretch_without_pitch_or_is_taken_back() {
    let keys = |taken: &str| -> Vec<Option<i32>> {
        let text = format!(
            "piece \"Ferry\" {{ composer \"House copyist\" }}\nform {{ 1 metre 4/4, key A major\n 4 end }}\n\
             voice high {{ 1: 1/1 A5 | }}\nvoice low {{ 3: 1/1 A2 | 4: E3 | }}\n\
             ensemble few {{ era 1885\n xylophone }}\nscoring few for few {{\n\
             xylophone takes triangle bar 2\n xylophone takes {taken} bar 3\n\
             xylophone writes as rhythm {{ 1: 1/1 A5 | 2: 1/1 x | 3: 1/1 A2 | 4: E3 | }}\n }}\n"
        );
        let mut sources = crate::diagnostics::Sources::new();
        let root = sources.add("ferry", &*text);
        let (piece, _) = crate::resolve::resolve(&mut sources, root, &mut crate::resolve::NoFiles);
        let score = crate::notate::notate(&crate::arrange::arrange(&piece, &piece.scorings[0]));
        let measures = score.staves[0].measures.iter();
        measures.map(|measure| measure.key.map(|key| key.fifths())).collect()
    };
    assert_eq!(keys("xylophone"), [Some(3), None, Some(3), None]);
    assert_eq!(keys("timpani"), [Some(3), None, Some(0), None]);
}

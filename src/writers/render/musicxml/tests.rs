use quick_xml::Reader;
use quick_xml::events::Event;

use super::*;
use crate::edition;
use crate::music::{Time, Touch};
use crate::notate::testing::{
    Fixture, bass_drum, cello, clarinet, form, harp, harpsichord, natural_horn,
};
use crate::notate::{ElementKind, Score};
use crate::resolve::{
    BarLine, DirectionKind, Dynamic, Ending, Mark, Role, Syllable, Technique, Tempo,
};

fn whole(score: &Score) -> Vec<u8> {
    write(&edition::full_score(score))
}

fn part(score: &Score, player: usize) -> Vec<u8> {
    write(&edition::part(score, player))
}

/// A score with one of everything that the writer can write.
fn everything() -> Score {
    let mut form = form(&["3/4", "3/4", "3/4", "3/4", "6/8", "6/8", "6/8"]);
    let pick_up = Time::QUARTER;
    form.bars[0].number = 0;
    form.bars[0].length = pick_up;
    for (bar, number) in form.bars[1..].iter_mut().zip(1..) {
        bar.number = number;
        bar.start = bar.start - Time::of(3, 4) + pick_up;
    }
    form.bars[0].tempo =
        Some(Tempo { beat: Some((Time::of(3, 8), 60.5)), words: Some("Con moto & <vivo>".into()) });
    form.bars[1].mark = Some("A".into());
    form.bars[1].repeat_starts = true;
    form.bars[2].ending = Some(Ending::of(1));
    form.bars[2].repeat_ends = true;
    form.bars[3].ending = Some(Ending::of(2));
    form.bars[3].line = BarLine::Double;
    form.bars[4].tempo = Some(Tempo { beat: None, words: Some("poco rit.".into()) });
    form.bars[6].line = BarLine::Final;
    let mut fixture = Fixture::of(form)
        .key("F# major")
        .notes(
            "0/1 1/4 C#5, 1/4 1/2 F#5, 3/4 1/12 G5, 5/6 1/12 A5, 11/12 1/12 B5, 1/1 3/8 C#6, \
             11/8 1/8 D#5&A#5, 3/2 1/16 E5, 25/16 3/16 F5, 7/4 3/4 Fb5&Abb5",
        )
        .tuplet("3/4", "1/4", (3, 2))
        .graces(1, &[("1/16", "E5"), ("1/16", "E#5")])
        .slur(1, 4)
        .tremolo(5, 3)
        .direction("0/1", DirectionKind::Dynamic(Dynamic::P))
        .direction("3/8", DirectionKind::Hairpin { grows: true, to: Time::of(1, 1) })
        .direction("1/1", DirectionKind::Dynamic(Dynamic::Fp))
        .direction("1/1", DirectionKind::words("dolce"));
    for (index, (mark, _)) in Mark::WORDS.into_iter().enumerate() {
        fixture = fixture.mark([0, 2, 5, 6, 9][index % 5], mark);
    }
    fixture
        .part(clarinet())
        .notes("0/1 1/4 C#5, 1/4 3/4 F#4, 1/1 3/4 E#4")
        .part(natural_horn())
        .crook("0/1", "D")
        .crook("5/2", "F")
        .notes("0/1 1/4 A3, 1/4 1/2 F#4, 5/2 3/4 C4")
        .mark(1, Mark::Open)
        .part(bass_drum())
        .notes("1/4 1/4 x, 1/2 1/4 x")
        .part(cello())
        .notes("0/1 1/4 F#2, 7/4 3/4 C#3, 5/2 1/8 F#3")
        .mark(0, Mark::Open)
        .direction("0/1", DirectionKind::Technique(Technique::Pizzicato))
        .direction("7/4", DirectionKind::Technique(Technique::Arco))
        .direction("13/4", DirectionKind::FermataOnRest)
        .score()
}

fn text(bytes: Vec<u8>) -> String {
    String::from_utf8(bytes).unwrap()
}

/// The text between the first `from` and the next `to`, without line breaks and indentation.
fn between(file: &str, from: &str, to: &str) -> String {
    let start = file.find(from).unwrap();
    let end = start + file[start..].find(to).unwrap() + to.len();
    file[start..end].split_whitespace().collect::<Vec<_>>().join(" ").replace("> <", "><")
}

#[test]
fn a_small_score() {
    let score = Fixture::new(&["2/4", "2/4"])
        .key("G major")
        .notes("0/1 1/4 F5, 1/4 1/2 F#5&A5, 3/4 1/4 G5")
        .mark(0, Mark::Staccato)
        .direction("0/1", DirectionKind::Dynamic(Dynamic::Mf))
        .score();
    insta::assert_snapshot!(text(whole(&score)));
}

#[test]
fn a_file_is_well_formed() {
    let everything = everything();
    let mut files = vec![whole(&everything)];
    files.extend((0..everything.staves.len()).map(|staff| part(&everything, staff)));
    for file in files {
        let mut reader = Reader::from_reader(file.as_slice());
        reader.config_mut().check_end_names = true;
        let (mut open, mut notes) = (0, 0);
        loop {
            match reader.read_event().unwrap() {
                Event::Start(tag) => {
                    open += 1;
                    notes += u32::from(tag.name().as_ref() == "note");
                }
                Event::End(_) => open -= 1,
                Event::Eof => break,
                _ => {}
            }
        }
        assert_eq!(open, 0);
        assert!(notes > 0);
    }
}

#[test]
fn the_divisions_are_the_fewest_that_are_needed() {
    let everything = everything();
    let score = text(whole(&everything));
    assert!(score.contains("<divisions>12</divisions>"));
    assert!(text(part(&everything, 2)).contains("<divisions>1</divisions>"));
    assert!(text(part(&everything, 4)).contains("<divisions>2</divisions>"));
}

#[test]
fn tempos_and_marks_stand_on_the_top_staff_and_in_each_part() {
    let everything = everything();
    let count = |file: Vec<u8>, tag: &str| text(file).matches(tag).count();
    assert_eq!(count(whole(&everything), "<rehearsal>"), 1);
    assert_eq!(count(part(&everything, 3), "<rehearsal>"), 1);
    assert_eq!(count(part(&everything, 4), "<metronome>"), 1);
    let file = text(part(&everything, 4));
    let tempo = between(&file, "<metronome>", "</direction>");
    assert_eq!(
        tempo,
        "<metronome><beat-unit>quarter</beat-unit><beat-unit-dot/>\
         <per-minute>60.5</per-minute></metronome></direction-type>\
         <sound tempo=\"90.75\"/></direction>"
    );
    assert!(file.contains("Con moto &amp; &lt;vivo&gt;"));
}

#[test]
fn a_crook_is_told_by_its_transposition() {
    let file = text(part(&everything(), 2));
    assert_eq!(
        between(&file, "<transpose>", "</transpose>"),
        "<transpose><diatonic>-6</diatonic><chromatic>-10</chromatic></transpose>"
    );
    // From the rest on in which it is changed.
    let second = &file[file.rfind("<transpose>").unwrap()..];
    assert!(second.contains("<words>change to F</words>"));
    assert_eq!(
        between(second, "<transpose>", "</transpose>"),
        "<transpose><diatonic>-4</diatonic><chromatic>-7</chromatic></transpose>"
    );
    assert_eq!(between(&file, "<key>", "</key>"), "<key><fifths>0</fifths></key>");
    assert!(file.contains("<part-name>Horn in D</part-name>"));
}

#[test]
fn octaves_of_a_transposition_stand_apart() {
    let written = |steps, semitones| {
        let mut xml = Xml::with_capacity(0);
        measure::transpose(&mut xml, crate::music::Interval::new(steps, semitones));
        let file = text(xml.finish());
        between(&file, "<transpose>", "</transpose>")
    };
    assert_eq!(
        written(-7, -12),
        "<transpose><diatonic>0</diatonic><chromatic>0</chromatic>\
         <octave-change>-1</octave-change></transpose>"
    );
    assert_eq!(
        written(-8, -14),
        "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic>\
         <octave-change>-1</octave-change></transpose>"
    );
}

#[test]
fn unpitched_strokes_stand_on_one_line() {
    let file = text(part(&everything(), 3));
    assert!(file.contains("<staff-lines>1</staff-lines>"));
    assert_eq!(
        between(&file, "<unpitched>", "</unpitched>"),
        "<unpitched><display-step>E</display-step><display-octave>4</display-octave></unpitched>"
    );
    assert!(file.contains("<midi-unpitched>36</midi-unpitched>"));
}

#[test]
fn parts_count_their_rests_together() {
    let score = Fixture::new(&["4/4"; 5]).notes("0/1 1/1 C5").score();
    assert!(text(part(&score, 0)).contains("<multiple-rest>4</multiple-rest>"));
    assert!(!text(whole(&score)).contains("multiple-rest"));
}

#[test]
fn open_means_a_string_or_an_open_horn() {
    let everything = everything();
    assert!(text(part(&everything, 2)).contains("<open/>"));
    assert!(text(part(&everything, 4)).contains("<open-string/>"));
}

#[test]
fn percussion_keeps_channel_ten() {
    let channels: Vec<i64> = (0..16).map(melodic_channel).collect();
    assert_eq!(channels, [1, 2, 3, 4, 5, 6, 7, 8, 9, 11, 12, 13, 14, 15, 16, 1]);
}

#[test]
fn what_changes_its_transposition_tells_the_first_one_even_at_pitch() {
    let horn = |later: &str| {
        let fixture = Fixture::new(&["2/4", "2/4"]).instrument(natural_horn());
        let fixture = fixture.crook("0/1", "C alto").crook("1/2", later);
        text(part(&fixture.notes("0/1 1/1 C5").score(), 0))
    };
    assert_eq!(
        between(&horn("F"), "<transpose>", "</transpose>"),
        "<transpose><diatonic>0</diatonic><chromatic>0</chromatic></transpose>"
    );
    assert!(!horn("C alto").contains("<transpose>"));
}

/// MusicXML 4.0, `clef-octave-change`: the notes are given as the clef says, and nothing is left to transpose.
#[test]
fn a_clef_with_an_octave_sign_has_the_notes_as_they_sound() {
    let tenor = crate::instruments::find("tenor").unwrap();
    let fixture = Fixture::new(&["2/4"]).instrument(tenor).notes("0/1 1/2 C4");
    let file = text(part(&fixture.score(), 0));
    assert_eq!(
        between(&file, "<clef>", "</clef>"),
        "<clef><sign>G</sign><line>2</line><clef-octave-change>-1</clef-octave-change></clef>"
    );
    assert_eq!(
        between(&file, "<pitch>", "</pitch>"),
        "<pitch><step>C</step><octave>4</octave></pitch>"
    );
    assert!(!file.contains("<transpose>"));
}

#[test]
fn no_octave_goes_beyond_those_of_the_format() {
    let file = text(part(&Fixture::new(&["2/4"]).notes("0/1 1/2 C12").score(), 0));
    assert_eq!(between(&file, "<octave>", "</octave>"), "<octave>9</octave>");
}

/// A harp with chords in both hands, a slur in each and a rest of three bars.
fn two_hands() -> Score {
    Fixture::new(&["3/4"; 5])
        .instrument(harp())
        .notes("0/1 1/4 C3&E5, 1/4 1/4 D3&F5, 1/2 1/4 G5")
        .slur(0, 1)
        .mark(0, Mark::Arpeggio)
        .direction("0/1", DirectionKind::Dynamic(Dynamic::P))
        .notes("3/4 3/4 C3&E5")
        .score()
}

#[test]
fn two_staves_are_one_part_with_a_step_back_in_each_measure() {
    let file = text(part(&two_hands(), 0));
    assert_eq!(file.matches("<part ").count(), 1);
    assert_eq!(file.matches("<staves>2</staves>").count(), 1);
    assert_eq!(file.matches("<backup>").count(), 5);
    assert_eq!(between(&file, "<backup>", "</backup>"), "<backup><duration>3</duration></backup>");
    assert_eq!(
        between(&file, "<staves>", "</attributes>"),
        "<staves>2</staves><clef number=\"1\"><sign>G</sign><line>2</line></clef>\
         <clef number=\"2\"><sign>F</sign><line>4</line></clef></attributes>"
    );
    let (upper, lower) = file.split_once("<backup>").unwrap();
    assert!(!upper.contains("<voice>5</voice>") && !upper.contains("<staff>2</staff>"));
    assert!(lower.starts_with(|c: char| c.is_whitespace()));
    let lower = lower.split_once("</measure>").unwrap().0;
    assert!(!lower.contains("<voice>1</voice>") && !lower.contains("<staff>1</staff>"));
    assert!(lower.contains("<staff>2</staff>"));
}

#[test]
fn slurs_of_two_staves_have_numbers_of_their_own_and_a_spread_chord_one_for_both() {
    let file = text(part(&two_hands(), 0));
    for (staff, number) in [("1", "1"), ("2", "2")] {
        let slur = format!("<slur type=\"start\" number=\"{number}\"");
        let before = file.split_once(&slur).unwrap().0;
        assert!(before.trim_end().ends_with("<notations>"), "{before}");
        assert!(before[before.rfind("<note>").unwrap()..].contains(&format!("<staff>{staff}<")));
    }
    assert_eq!(file.matches("<arpeggiate number=\"1\"/>").count(), 2);
}

#[test]
fn dynamics_of_two_staves_stand_once_below_the_upper_one() {
    let file = text(part(&two_hands(), 0));
    assert_eq!(file.matches("<dynamics>").count(), 1);
    assert_eq!(
        between(&file, "<direction placement=\"below\">", "</direction>"),
        "<direction placement=\"below\"><direction-type><dynamics><p/></dynamics>\
         </direction-type><staff>1</staff></direction>"
    );
}

/// Gould, Behind Bars, 2011, chapter Vocal Music, from memory: dynamics stand over a staff with words to its notes.
#[test]
fn dynamics_and_hairpins_stand_above_a_staff_with_words_to_its_notes() {
    let mut score = Fixture::new(&["2/4"; 2])
        .notes("0/1 1/2 E5, 1/2 1/2 G5")
        .direction("0/1", DirectionKind::Dynamic(Dynamic::P))
        .direction("0/1", DirectionKind::Hairpin { grows: true, to: Time::of(1, 2) })
        .score();
    let sides = |score: &Score| {
        let file = text(whole(score));
        let side = |side: &str| file.matches(&format!("<direction placement=\"{side}\">")).count();
        (side("above"), side("below"))
    };
    assert_eq!(sides(&score), (0, 3));
    let ElementKind::Note(note) = &mut score.staves[0].measures[0].elements[0].kind else {
        panic!("a note");
    };
    let weir = "Weir".into();
    note.lyrics =
        vec![Syllable { verse: 1, text: weir, continues: false, goes_on: false, melisma: false }];
    assert_eq!(sides(&score), (3, 0));
}

#[test]
fn rests_of_several_bars_hold_for_both_staves() {
    let file = text(part(&two_hands(), 0));
    assert!(file.contains("<multiple-rest>3</multiple-rest>"));
    assert_eq!(file.matches("<rest measure=\"yes\"/>").count(), 6);
}

/// MusicXML 4.0, number-level: in the file the staves of a bar stand one after another, and what goes from one
/// to the other needs a number of its own.
#[test]
fn a_slur_from_staff_to_staff_has_one_number_that_no_other_has_meanwhile() {
    let notes =
        "0/1 1/8 C3, 1/8 1/8 E3, 1/4 1/8 G5, 3/8 1/8 C6, 1/2 1/8 G5, 5/8 1/8 E5, 3/4 1/4 C3";
    let fixture = Fixture::new(&["4/4"]).instrument(harp()).notes(notes);
    let file = text(part(&fixture.slur(1, 2).slur(3, 5).score(), 0));
    let signs = file.match_indices("<slur ").map(|(at, _)| {
        let quoted: Vec<&str> = file[at..].split('"').take(4).collect();
        format!("{} {}", quoted[1], quoted[3])
    });
    let slurs: Vec<String> = signs.collect();
    assert_eq!(slurs, ["stop 1", "start 2", "stop 2", "start 1"]);
}

#[test]
fn a_bass_line_alone_names_no_staff() {
    let bass = Fixture::new(&["2/4"]).instrument(harpsichord()).notes("0/1 1/2 C3");
    let file = text(part(&bass.role(Role::Bass).score(), 0));
    assert!(!file.contains("<staves>") && !file.contains("<staff>") && !file.contains("<backup>"));
    assert!(file.contains("<sign>F</sign>"));
}

#[test]
fn an_artificial_harmonic_is_its_base_and_touching_pitch() {
    let score = Fixture::new(&["2/4"])
        .notes("0/1 1/4 E6, 1/4 1/4 A5")
        .touch(0, Touch::Fourth)
        .mark(0, Mark::UpBow)
        .mark(1, Mark::Harmonic)
        .score();
    let file = text(part(&score, 0));
    let mut notes = file.split("<note>").skip(1);
    let mut next = || notes.next().unwrap().split_whitespace().collect::<Vec<_>>().join("");
    let stopped = next();
    let harmonic = |kind: &str| format!("<harmonic>{kind}</harmonic>");
    assert!(stopped.contains("<step>E</step><octave>4</octave>"), "{stopped}");
    assert!(stopped.contains(&harmonic("<artificial/><base-pitch/>")), "{stopped}");
    assert!(stopped.contains("<up-bow/>") && !stopped.contains("<notehead"), "{stopped}");
    let touched = next();
    assert!(touched.contains("<chord/><pitch><step>A</step><octave>4</octave>"), "{touched}");
    assert!(touched.contains("filled=\"no\">diamond</notehead>"), "{touched}");
    assert!(touched.contains(&harmonic("<artificial/><touching-pitch/>")), "{touched}");
    assert!(!touched.contains("up-bow"), "{touched}");
    assert!(next().contains(&harmonic("<natural/>")));
}

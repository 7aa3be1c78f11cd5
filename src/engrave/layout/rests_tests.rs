//! Rests of one voice beside another, and under a cue: where they stand, and what hangs on them.

use super::page_tests::bars;
use super::tests::{OBOES, of, part_with_cues, score};
use crate::glyphs::Glyph;
use crate::page::{Kind, Mark, Page, Shape};
use crate::paper::Setup;

fn glyph(mark: &Mark) -> Option<Glyph> {
    match mark.shape {
        Shape::Glyph { glyph, .. } => Some(glyph),
        _ => None,
    }
}

/// The boxes of signs of a kind, in reading order of one line.
fn boxes(page: &Page, kind: Kind, signs: &[Glyph]) -> Vec<kurbo::Rect> {
    let marks = of(page, kind).into_iter();
    let own = marks.filter(|mark| glyph(mark).is_some_and(|sign| signs.contains(&sign)));
    let mut boxes: Vec<kurbo::Rect> = own.map(Mark::bounds).collect();
    boxes.sort_by(|a, b| a.x0.total_cmp(&b.x0));
    boxes
}

const FERMATAS: [Glyph; 2] = [Glyph::FermataAbove, Glyph::FermataBelow];

/// A condensed score of two oboes, in the second bar of which each has what is given.
fn two(first: &str, second: &str) -> Page {
    let text = format!(
        "{OBOES}voice one {{ {} }}\nvoice two {{ {} }}\nscoring all for few {{\n oboe.1 plays one as melody\n \
         oboe.2 plays two as harmony\n bassoon plays two 8vb as bass\n}}\n",
        bars(20, "1/1 C5").replace(" 2: 1/1 C5", &format!(" 2: {first}")),
        bars(20, "1/1 C5").replace(" 2: 1/1 C5", &format!(" 2: {second}")),
    );
    score(&text, true).pages.remove(0)
}

#[test]
fn a_rest_that_two_voices_share_has_one_fermata() {
    let count = |first, second| boxes(&two(first, second), Kind::Articulation, &FERMATAS).len();
    // The bassoon has one of its own.
    assert_eq!(count("1/2 A4 1/2 rest[fermata]", "1/4 E4 F4 1/2 rest[fermata]"), 2);
    let page = two("1/2 A4 1/4 A4 rest[fermata]", "1/4 E4 F4 1/2 rest[fermata]");
    let below = boxes(&page, Kind::Articulation, &[Glyph::FermataBelow]);
    assert_eq!(below.len(), 1, "a longer rest has its own, under the staff");
}

#[test]
fn rests_of_one_voice_that_follow_one_another_are_level() {
    let page = two("1/4 G4 1/8 B4 C5 1/2 B4", "1/4 rest 1/8 rest E4 1/2 F4");
    let rests = boxes(&page, Kind::Rest, &[Glyph::RestQuarter, Glyph::Rest8th]);
    let staff = of(&page, Kind::StaffLine)[2].bounds().center().y;
    let quarter =
        rests.iter().find(|rest| (rest.center().y - staff).abs() < 6.0).expect("his rest");
    let eighth = rests.iter().find(|rest| rest.x0 > quarter.x1 && rest.center().y > staff);
    let apart = eighth.expect("his rest").center().y - quarter.center().y;
    assert!(apart.abs() < 1.0, "{apart}");
}

/// The page of an oboe with a cue over an up-beat, where his own rests are plain ones.
fn cued(up_beat: &str) -> Page {
    let form = OBOES.replace("20 end", "19 up-beat 1/4\n 20 end");
    let text = format!(
        "{form}voice one {{ {} 18: {up_beat} | 19: 1/1 C5 | 20: C5 | }}\nvoice two {{ 1: rest 18 | 19: 1/1 C5 | 20: C5 | }}\n\
         scoring all for few {{\n oboe.1 plays one as melody\n oboe.2 plays two as harmony\n \
         bassoon plays one 8vb as bass\n}}\n",
        bars(17, "1/4 E5 F5 G5 F5"),
    );
    part_with_cues(&text, 1, &Setup::default()).pages.remove(0)
}

#[test]
fn a_mark_of_a_cue_stands_over_it_where_a_rest_stands_under_it() {
    let page = cued("1/4 E5[accent] 1/2 F5 1/4 G5");
    let accents = boxes(&page, Kind::Articulation, &[Glyph::ArticAccentAbove]);
    let [accent] = accents[..] else { panic!("one accent: {accents:?}") };
    let rests = boxes(&page, Kind::Rest, &[Glyph::RestHalf, Glyph::RestQuarter]);
    let under = rests.iter().filter(|rest| (rest.center().x - accent.center().x).abs() < 1.5);
    let under: Vec<_> = under.collect();
    assert!(!under.is_empty(), "{rests:?}");
    assert!(under.iter().all(|rest| accent.y1 < rest.y0), "{accent:?} {under:?}");
}

#[test]
fn the_fermata_of_a_rest_under_a_cue_stands_once_over_the_cue() {
    let text = format!(
        "{OBOES}voice one {{ {} 18: 1/4 C5[fermata] E5 1/2 = | 19: 1/1 C5 | 20: C5 | }}\n\
         voice two {{ 1: rest 18 | 19: 1/1 C5 | 20: C5 | }}\n\
         scoring all for few {{\n oboe.1 plays one as melody\n oboe.2 plays two as harmony\n \
         bassoon plays one 8vb as bass\n}}\n",
        bars(17, "1/4 E5 F5 G5 F5"),
    );
    let page = part_with_cues(&text, 1, &Setup::default()).pages.remove(0);
    let fermatas = boxes(&page, Kind::Articulation, &FERMATAS);
    let [fermata] = fermatas[..] else { panic!("one fermata: {fermatas:?}") };
    let heads = of(&page, Kind::Head).into_iter().map(|head| head.bounds().center());
    let over = heads.filter(|head| (head.x - fermata.center().x).abs() < 0.5);
    assert!(over.count() > 0, "over the note that is held");
}

/// What hangs on the notes of the lower of two stands under the staff (common practice).
#[test]
fn a_trill_and_a_breath_of_the_second_player_stand_under_the_staff() {
    for (mark, sign) in [("trill", Glyph::OrnamentTrill), ("breath", Glyph::BreathMarkComma)] {
        let page = two("1/2 A4 C5", &format!("1/2 F4 E4[{mark}]"));
        let lines = of(&page, Kind::StaffLine).into_iter().map(|line| line.bounds().y0);
        let bottom = lines.take(5).fold(0.0, f64::max);
        let signs = boxes(&page, Kind::Articulation, &[sign]);
        // The bassoon has one of its own, over its staff.
        assert_eq!(signs.len(), 2, "{mark}");
        let under = signs.iter().filter(|at| at.y0 > bottom && at.y0 < bottom + 4.0).count();
        assert_eq!(under, 1, "{mark}: {signs:?}");
        let page = two(&format!("1/2 A4 C5[{mark}]"), "1/2 F4 E4");
        assert_eq!(boxes(&page, Kind::Articulation, &[sign]).len(), 1);
    }
}

/// Our heuristic.
#[test]
fn the_accent_of_a_high_note_of_a_cue_stands_over_it() {
    let page = |pitch: &str| {
        let text = format!(
            "{OBOES}voice one {{ {} }}\nvoice two {{ 1: rest 18 | 19: 1/1 C5 | 20: C5 | }}\n\
             scoring all for few {{\n oboe.1 plays one as melody\n oboe.2 plays two as harmony\n \
             bassoon rests\n}}\n",
            bars(20, &format!("1/4 {pitch}[accent] {pitch}[accent] {pitch} {pitch}")),
        );
        part_with_cues(&text, 1, &Setup::default()).pages.remove(0)
    };
    let below = |pitch: &str| {
        let page = page(pitch);
        let accents = boxes(&page, Kind::Articulation, &[Glyph::ArticAccentAbove]);
        assert!(!accents.is_empty());
        let lines = of(&page, Kind::StaffLine).into_iter().map(|line| line.bounds().center().y);
        let near = lines.filter(|line| (line - accents[0].center().y).abs() < 8.0);
        let foot = near.fold(f64::MIN, f64::max);
        accents[0].center().y > foot
    };
    assert!(!below("D6") && below("E4"));
}

//! Where dynamics, hairpins and words of loudness stand.

use kurbo::Rect;

use super::page_tests::bars;
use super::tests::{of, part, part_of, score, texts};
use crate::page::{Kind, Page};
use crate::paper::Setup;

fn boxes(page: &Page, kind: Kind) -> Vec<Rect> {
    of(page, kind).iter().map(|mark| mark.bounds()).collect()
}

#[test]
fn a_hairpin_gives_way_to_words_beside_their_dynamic() {
    let form = "1 metre 2/4, key C major, tempo 1/4 at 96\n 12 end";
    let tune = format!("{} 9: [p] C5 | 10: C5 | 11: C5 |", bars(8, "1/2 C5"));
    let tune = tune.replacen("1: 1/2", "1: [mf \"sempre p\"] 1/2", 1);
    let tune = tune.replacen("2: 1/2", "2: [cresc] 1/2", 1);
    let page = &part(form, &tune).pages[0];
    let words = texts(page, "sempre p")[0].bounds();
    let pins = boxes(page, Kind::Hairpin);
    let letters = boxes(page, Kind::Dynamic);
    assert!(pins.len() >= 2, "{pins:?}");
    assert!(letters.iter().any(|sign| sign.y1 > words.y0 && sign.x1 < words.x0), "on one line");
    assert!(pins.iter().all(|pin| pin.x0 > words.x1 || pin.y0 > words.y1), "{pins:?} {words:?}");
}

/// A long hairpin begins behind them, a short one has them under it.
#[test]
fn words_of_how_a_hairpin_goes_stand_on_its_side_and_line() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 12 end";
    let page = |to: u32| -> Page {
        let tune = bars(12, "1/4 C5 D5 E5 D5")
            .replacen("2: ", "2: [cresc \"poco a poco\"] ", 1)
            .replacen(&format!("{to}: 1/4 C5"), &format!("{to}: [f] 1/4 C5"), 1);
        part(form, &tune).pages[0].clone()
    };
    for (to, beside) in [(4, true), (3, false)] {
        let page = &page(to);
        let words = texts(page, "poco a poco")[0].bounds();
        let pin = boxes(page, Kind::Hairpin).into_iter().reduce(|a, b| a.union(b)).unwrap();
        let lines = boxes(page, Kind::StaffLine);
        let staff = lines.iter().map(|line| line.y1).filter(|y| *y < pin.y1).fold(0.0, f64::max);
        assert!(words.y0 > staff, "bar {to}: {words:?} below the staff at {staff}");
        if beside {
            assert!(words.x1 < pin.x0 && (words.center().y - pin.center().y).abs() < 1.0);
        } else {
            assert!(words.y0 > pin.y1 - 0.1 && words.y0 < pin.y1 + 2.0, "{words:?} {pin:?}");
        }
    }
}

#[test]
fn dynamics_of_one_phrase_stand_on_one_line_whatever_their_notes_need() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 5 end";
    let page = &part(
        form,
        "1: [p] 1/4 C5 D5 E5 D5 | 2: [cresc] C5 D5 E5 B3 | 3: [f] C5 D5 E5 C5 | 4: C5 D5 E5 D5 |",
    )
    .pages[0];
    let feet: Vec<f64> = boxes(page, Kind::Dynamic).iter().map(|sign| sign.y1).collect();
    let pins = boxes(page, Kind::Hairpin);
    let middle = pins.iter().map(|pin| pin.center().y).sum::<f64>() / pins.len() as f64;
    assert!(feet.len() == 2 && pins.len() == 2, "{feet:?} {pins:?}");
    for foot in feet {
        assert!((foot - middle).abs() < 1.5, "{foot} beside {middle}");
    }
}

/// A dynamic under a low note, and a hairpin soon behind it under high ones, which would stand much higher.
#[test]
fn a_hairpin_of_a_part_sets_out_from_the_level_of_the_dynamic_before_it() {
    let quiet = |bar: usize| format!("{bar}: 1/1 D3 | ");
    let rest: String = (4..=16).map(quiet).collect();
    let text = format!(
        "piece \"Sluice\" {{ composer \"House copyist\" }}\n\
         form {{ 1 metre 4/4, key C major\n 16 end }}\n\
         voice tune {{ 1: 1/2 D3 [f] B1 | 2: [dim] 1/4 G3 A3 G3 A3 | 3: [p] 1/1 D3 | {rest} }}\n\
         ensemble few {{ era 1885\n bassoon\n }}\n\
         scoring all for few {{\n bassoon plays tune as melody\n}}\n"
    );
    let page = &part_of(&text, &Setup::default()).pages[0];
    let (letters, pins) = (boxes(page, Kind::Dynamic), boxes(page, Kind::Hairpin));
    let (loud, pin) = (letters[0], pins.iter().copied().reduce(|a, b| a.union(b)).unwrap());
    assert!((6.0..12.0).contains(&(pin.x0 - loud.x1)), "{loud:?} {pin:?}");
    assert!((loud.center().y - pin.center().y).abs() < 1.0, "{loud:?} {pin:?}");
}

#[test]
fn a_dynamic_between_two_staves_stands_midway_or_by_the_hand_that_plays() {
    let text = |notes: &str| {
        format!(
            "piece \"Sluice\" {{ composer \"House copyist\" }}\n\
             form {{ 1 metre 4/4, key C major\n 4 end }}\n\
             voice tune {{ 1: [mf] {notes} | 2: {notes} | 3: {notes} | }}\n\
             ensemble few {{ era 1885\n harp\n }}\n\
             scoring all for few {{\n harp plays tune as melody\n}}\n"
        )
    };
    let places = |notes: &str| {
        let pages = part_of(&text(notes), &Setup::default());
        let page = &pages.pages[0];
        let lines = boxes(page, Kind::StaffLine);
        let dynamic = boxes(page, Kind::Dynamic).into_iter().reduce(|a, b| a.union(b)).unwrap();
        (dynamic.y0 - lines[4].y1, lines[5].y0 - dynamic.y1)
    };
    let (above, below) = places("1/1 C3&G3&E5&G5");
    assert!((above - below).abs() < 0.5, "{above} {below}");
    let (above, below) = places("1/1 C3");
    assert!(above > below + 1.0 && below > 1.0, "{above} {below}");
}

#[test]
fn a_hairpin_that_opens_wide_keeps_clear_of_the_staff() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 7 end";
    let bar = |number| format!("{number}: 1/8 A4 B4 A4 B4 A4 B4 A4 B4 | ");
    let tune: String = (1..=6).map(bar).collect();
    let tune = tune.replacen("1/8", "[p cresc] 1/8", 1) + "7: [f] 1/1 A4 |";
    let page = &part(form, &tune).pages[0];
    let (lines, pins) = (boxes(page, Kind::StaffLine), boxes(page, Kind::Hairpin));
    for pin in pins {
        let above = lines.iter().filter(|line| line.y1 < pin.y1).map(|line| line.y1);
        let staff = above.fold(f64::MIN, f64::max);
        assert!(pin.y0 - staff > 0.6, "{} below the staff", pin.y0 - staff);
    }
}

#[test]
fn the_letters_of_a_dynamic_keep_half_a_space_from_an_accent() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 3 end";
    for dynamic in ["p", "mp", "mf", "f"] {
        let tune = format!("1: [{dynamic}] 1/4 A4[accent] G4 A4 G4 | 2: 1/1 A4 | 3: A4 |");
        let page = &part(form, &tune).pages[0];
        let accent = boxes(page, Kind::Articulation)[0];
        let letters = boxes(page, Kind::Dynamic);
        let under = letters.iter().filter(|sign| sign.x0 < accent.x1 && accent.x0 < sign.x1);
        let air = under.map(|sign| sign.y0 - accent.y1).fold(f64::MAX, f64::min);
        assert!(air > 0.47 && air < f64::MAX, "{dynamic}: {air}");
    }
}

#[test]
fn what_a_singer_is_told_stands_above_her_words_on_one_line() {
    let text = |words: &str| {
        format!(
            "piece \"Sluice\" {{ composer \"House copyist\" }}\n\
             form {{ 1 metre 4/4, key C major\n 4 end }}\n\
             voice tune {{ 1: [p \"dolce\"] 1/2 C5 D5 | 2: [cresc] 1/2 E5 D5 | 3: [f] 1/2 C5 D5 | \
             4: 1/1 C5 | }}\n{words}\n\
             ensemble few {{ era 1885\n soprano\n }}\n\
             scoring all for few {{\n soprano plays tune as melody\n}}\n"
        )
    };
    let places = |words: &str| {
        let pages = part_of(&text(words), &Setup::default());
        let page = &pages.pages[0];
        let mut loud = boxes(page, Kind::Dynamic);
        loud.extend(boxes(page, Kind::Hairpin));
        let staff = boxes(page, Kind::StaffLine)[0].y0;
        let p = loud.iter().map(|sign| sign.x1).fold(f64::MAX, f64::min);
        let dolce = texts(page, "dolce")[0].bounds();
        (loud.iter().all(|sign| sign.y1 < staff), p < dolce.x0, dolce.y1 < staff)
    };
    let words = "lyrics for tune { 1: Lan- terns | 2: burn low | 3: all night | 4: long | }";
    assert_eq!(places(words), (true, true, true), "above the staff, the words beside the p");
    assert!(!places("").0, "without words they stand below, as for everybody");
}

#[test]
fn dynamics_of_a_part_come_down_to_those_of_their_phrase() {
    let form = "1 metre 2/4, key C major, tempo 1/4 at 96\n 28 end";
    let apart = |second: &str| {
        let rest: String = (4..=28).map(|bar| format!("{bar}: 1/2 G4 | ")).collect();
        let tune = format!("1: [p] 1/2 G4 | 2: {second} | 3: [mp] 1/2 C4 | {rest}");
        let page = part(form, &tune).pages.remove(0);
        let letters = boxes(&page, Kind::Dynamic);
        let (first, last) = (letters[0], letters[letters.len() - 1]);
        let gap = last.x0 - first.x1;
        assert!(gap > 8.0 && gap < 24.0, "two stretches near one another: {gap}");
        last.y1 - first.y1
    };
    assert!(apart("1/2 G4").abs() < 0.01, "on one line");
    assert!(apart("rest") > 0.6, "behind a bar of rest another phrase begins");
}

/// Feet of the letters in a score of two staves, of which the upper one has a quiet bar of low notes between two of
/// high ones; and the lower one the same or what is given.
fn feet_in_score(lower: &str) -> (Vec<f64>, Vec<f64>) {
    let tune = "1: [p] 1/4 E4 D5 E5 D5 | 2: [pp] 1/4 A3 D5 E5 D5 | 3: [p] 1/4 E4 D5 E5 D5 | 4: C5 D5 E5 D5 |";
    let lower = if lower.is_empty() { tune } else { lower };
    let text = format!(
        "piece \"Sluice\" {{ composer \"House copyist\" }}\n\
         form {{ 1 metre 4/4, key C major\n 4 end }}\n\
         voice tune {{ {tune} }}\nvoice low {{ {lower} }}\n\
         ensemble few {{ era 1885\n flute\n oboe\n }}\n\
         scoring all for few {{\n flute plays tune as melody\n oboe plays low as harmony\n}}\n"
    );
    let pages = score(&text, false);
    let page = &pages.pages[0];
    let oboe = boxes(page, Kind::StaffLine)[5].y0;
    let feet = boxes(page, Kind::Dynamic).into_iter().map(|sign| sign.y1);
    feet.partition(|foot| *foot < oboe)
}

#[test]
fn in_a_score_dynamics_of_one_phrase_come_down_to_one_line_where_the_staves_leave_room() {
    let (flute, oboe) = feet_in_score("");
    for feet in [flute, oboe] {
        assert_eq!(feet.len(), 4, "{feet:?}");
        assert!(feet.iter().all(|foot| (foot - feet[0]).abs() < 0.1), "{feet:?}");
    }
}

#[test]
fn in_a_score_a_dynamic_keeps_its_own_line_where_a_lower_one_is_nearer_to_the_next_staff() {
    let (feet, _) = feet_in_score("1: 1/1 A6 | 2: E5 | 3: E5 | 4: E5 |");
    assert!(feet[1] - feet[0] > 0.6, "{feet:?}");
    assert!((feet[3] - feet[1]).abs() < 0.1, "{feet:?}");
}

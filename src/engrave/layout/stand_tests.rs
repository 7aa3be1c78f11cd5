//! How systems and staves fill a page of a score.

use super::page_tests::{bars, middles, three_with};
use super::stand::{clear_of_lines_above, shared};
use super::tests::{OBOES, score_sheet};
use crate::page::Page;
use crate::paper::Setup;
use crate::sheet::{Heading, Sheet};

#[test]
fn a_page_of_a_score_behind_which_the_music_goes_on_has_a_system_more() {
    let text = format!(
        "{OBOES}voice one {{ {} }}\nscoring all for few {{\n oboe.1 plays one as melody\n \
         oboe.2 plays one as harmony\n bassoon plays one 8vb as bass\n}}\n",
        bars(72, "1/8 A4 C5 A4 C5 A4 C5 A4 C5"),
    );
    let text = text.replace(" 20 end", " 72 end");
    let setup = Setup { turns: vec![13], ..Setup::default() };
    let pages = super::pages(&score_sheet(&text, false), &setup).pages;
    let page = &pages[0];
    let foot = page.size.1 / page.space - middles(page).last().unwrap();
    assert!(pages.len() > 2 && foot < 25.0, "{foot} of {:?}", middles(page));
}

#[test]
fn a_page_of_a_score_whose_bars_are_no_more_systems_has_its_staves_farther_apart() {
    let setup = Setup { lines: vec![5], turns: vec![9], ..Setup::default() };
    let pages = super::pages(&score_sheet(&three_with("1/1 A4"), false), &setup).pages;
    let middles = middles(&pages[0]);
    let apart: Vec<f64> = middles.windows(2).map(|pair| pair[1] - pair[0]).collect();
    assert_eq!(middles.len(), 6, "{middles:?}");
    assert!(apart[0] > 15.5 && apart[2] > apart[0] + 4.0, "{apart:?}");
}

/// How many staves systems of six players have.
const SIX: usize = 6;

/// The gaps of a page between staves of systems of six players, and between these systems.
fn gaps(page: &Page) -> (Vec<f64>, Vec<f64>) {
    let middles = middles(page);
    let gaps = middles.windows(2).map(|pair| pair[1] - pair[0] - 4.0).enumerate();
    let (between, within): (Vec<_>, Vec<_>) = gaps.partition(|(n, _)| (n + 1) % SIX == 0);
    let only = |gaps: Vec<(usize, f64)>| gaps.into_iter().map(|(_, gap)| gap).collect();
    (only(within), only(between))
}

fn mean(gaps: &[f64]) -> f64 {
    gaps.iter().sum::<f64>() / gaps.len() as f64
}

fn widest(gaps: &[f64]) -> f64 {
    gaps.iter().copied().fold(0.0, f64::max)
}

/// Twenty bars of six players, of whom the second plays that.
fn six(second: &str) -> Sheet {
    let bassoons: String =
        (1..=4).map(|n| format!(" bassoon.{n} plays two 8vb as bass\n")).collect();
    let text = format!(
        "{OBOES}voice one {{ {} }}\nvoice two {{ {} }}\nscoring all for few {{\n oboe.1 plays two as melody\n \
         oboe.2 plays one as harmony\n{bassoons}}}\n",
        bars(20, second),
        bars(20, "1/2 C4 E4"),
    );
    score_sheet(&text.replace("oboe 2, bassoon", "oboe 2, bassoon 4"), false)
}

/// The first pages with staves from the one height on to the other, in millimetres.
fn first_pages(sheet: &Sheet, setup: &Setup, (from, to): (u8, u8)) -> Vec<Page> {
    let heights = (4 * from..4 * to).map(|quarters| Some(f64::from(quarters) / 4.0));
    let setups = heights.map(|staff_height| Setup { staff_height, ..setup.clone() });
    setups.map(|setup| super::pages(sheet, &setup).pages.remove(0)).collect()
}

#[test]
fn systems_stand_farther_apart_than_the_widest_gap_between_their_staves() {
    let setup = Setup { lines: vec![11], ..Setup::default() };
    let page = &super::pages(&six("1/2 D8 E8"), &setup).pages[0];
    let (within, between) = gaps(page);
    assert_eq!(between.len(), 1);
    assert!(between[0] > 1.1 * widest(&within), "{between:?} and {within:?}");
}

#[test]
fn of_little_room_the_narrow_gaps_beside_a_wide_one_are_given_first() {
    let setup = Setup { lines: vec![11], ..Setup::default() };
    let pages = first_pages(&six("1/2 D8 E8"), &setup, (4, 8));
    let two = pages.iter().map(gaps).filter(|(_, between)| between.len() == 1);
    let eased = |(within, _): &(Vec<f64>, Vec<f64>)| {
        let narrowest = within.iter().copied().fold(f64::MAX, f64::min);
        widest(within) < 12.5 && narrowest > 4.5
    };
    assert!(two.clone().any(|gaps| eased(&gaps)), "{:?}", two.collect::<Vec<_>>());
}

#[test]
fn what_a_heading_parts_in_a_score_takes_no_room_from_its_staves() {
    let mut sheet = six("1/2 C4 E4");
    sheet.bars[10].headings.push(Heading { words: "II. Air".into(), tacet: false });
    let pages = first_pages(&sheet, &Setup::default(), (5, 7));
    // Where there is no more room than they can take.
    let scarce =
        |(within, between): &(Vec<f64>, Vec<f64>)| between.len() == 1 && mean(within) < 7.1;
    let two = pages.iter().map(gaps).filter(scarce);
    assert!(two.clone().count() > 0);
    for (within, between) in two {
        assert!(between[0] < 1.6 * mean(&within) + 8.0, "{between:?} and {within:?}");
    }
}

#[test]
fn what_systems_have_beyond_their_due_goes_between_their_staves() {
    let setup = Setup { lines: vec![5], turns: vec![9], ..Setup::default() };
    let pages = first_pages(&six("1/2 C4 E4"), &setup, (4, 8));
    let wide = |(within, between): &(Vec<f64>, Vec<f64>)| {
        between.len() == 1 && (9.5..12.0).contains(&mean(within))
    };
    let wide: Vec<_> = pages.iter().map(gaps).filter(wide).collect();
    assert!(!wide.is_empty());
    for (within, between) in wide {
        assert!(between[0] < 1.65 * mean(&within), "{between:?} and {within:?}");
    }
}

#[test]
fn a_single_system_fills_its_page_with_staves_a_little_farther_apart() {
    let setup = Setup { turns: vec![5], ..Setup::default() };
    let pages = first_pages(&six("1/2 C4 E4"), &setup, (7, 13));
    let filled = |page: &&Page| {
        let foot = page.size.1 / page.space - middles(page).last().unwrap();
        foot * page.space < 30.0 && gaps(page).1.is_empty()
    };
    let within: Vec<f64> = pages.iter().filter(filled).map(|page| mean(&gaps(page).0)).collect();
    assert!(widest(&within) > 12.5, "{within:?}");
}

#[test]
fn gaps_that_lack_room_are_opened_first() {
    assert!(shared(&[0.0; 3], 2.0).iter().all(|gap| (gap - 2.0).abs() < 1e-6));
    let given = shared(&[0.0, 3.0, 0.0], 2.0);
    assert!((given[1] - 3.0).abs() < 1e-6 && (given[0] - 1.5).abs() < 1e-6, "{given:?}");
    let scarce = shared(&[0.0, 3.0, 0.0], 0.5);
    assert!((scarce[1] - 1.5).abs() < 1e-6 && scarce[0] < 1e-6, "{scarce:?}");
}

#[test]
fn lines_that_nearly_touch_get_air_from_what_a_page_has_left() {
    // Two lines with little air, of which the second was set apart already.
    let spread = |free: f64| {
        let mut grown = [0.0, 4.0, 0.2];
        clear_of_lines_above(&mut grown, &[1.6, 1.6, 1.6], free);
        grown
    };
    let near = |a: [f64; 3], b: [f64; 3]| a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1e-9);
    assert!(near(spread(20.0), [1.2, 4.0, 1.2]), "{:?}", spread(20.0));
    assert!(near(spread(1.1), [0.6, 4.0, 0.7]), "{:?}", spread(1.1));
    assert!(near(spread(0.0), [0.0, 4.0, 0.2]), "a full page stays as it is");
}

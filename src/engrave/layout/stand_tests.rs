//! How systems and staves fill a page of a score.

use super::page_tests::{bars, middles, three_with};
use super::tests::{OBOES, score_sheet};
use crate::paper::Setup;

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

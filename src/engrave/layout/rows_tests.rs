//! What is read along a line stands at one height: figures of a bass.

use super::clear_tests::figured;
use super::tests::texts;

#[test]
fn figures_of_a_bass_in_one_line_stand_on_one_row() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 24 end";
    let page = &figured(form, "[f] 1/4 C2[accent stacc] E3 C3 E3", 24).pages[0];
    let mut rows: Vec<f64> = texts(page, "6").iter().map(|mark| mark.bounds().y0).collect();
    rows.sort_by(f64::total_cmp);
    assert!(rows.len() > 30, "{}", rows.len());
    let apart = |pair: &[f64]| pair[1] - pair[0];
    assert!(rows.windows(2).map(apart).all(|by| !(0.01..8.0).contains(&by)), "{rows:?}");
}

//! What is read along a line stands at one height: figures of a bass, endings.

use crate::page::{Kind, Mark};
use crate::paper::Setup;

use super::clear_tests::figured;
use super::page_tests::bars;
use super::tests::{of, part_of, texts};

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

#[test]
fn endings_that_follow_one_another_stand_at_one_height() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 1..3 repeat\n 3 ending 1\n 4 ending 2\n 12 end";
    let text = format!(
        "piece \"Sluice\" {{ composer \"House copyist\" }}\nform {{ {form} }}\n\
         voice tune {{ {} 4: 1/1 C7 | {} }}\n\
         ensemble few {{ era 1885\n violin-1\n }}\nscoring all for few {{\n \
         violin-1 plays tune as melody\n}}\n",
        bars(3, "1/1 C5"),
        (5..=12).map(|n| format!("{n}: 1/1 C5 | ")).collect::<String>(),
    );
    let page = &part_of(&text, &Setup::default()).pages[0];
    let is_flat = |mark: &&&Mark| mark.bounds().width() > 3.0;
    let lines: Vec<f64> =
        of(page, Kind::Frame).iter().filter(is_flat).map(|mark| mark.bounds().y0).collect();
    assert!(lines.len() == 2 && (lines[0] - lines[1]).abs() < 1e-6, "{lines:?}");
}

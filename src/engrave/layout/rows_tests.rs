//! What is read along a line stands at one height: figures of a bass, endings. The number of a bar beside a bracket.

use crate::glyphs::Glyph;
use crate::page::{Kind, Mark, Shape};
use crate::paper::Setup;

use super::clear_tests::figured;
use super::page_tests::bars;
use super::tests::{of, part_in, part_of, score, texts};

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

#[test]
fn the_number_of_a_bar_keeps_clear_of_the_bracket_before_the_top_staff() {
    let text = format!(
        "piece \"Sluice\" {{ composer \"House copyist\" }}\n\
         form {{ 1 metre 3/4, key D major\n 60 end }}\nvoice tune {{ {} }}\n\
         ensemble few {{ era 1770\n cello 2 players, double-bass\n }}\nscoring all for few {{\n \
         cello plays tune as bass\n double-bass plays tune as bass\n}}\n",
        bars(60, "1/4 A2 B2 C#3"),
    );
    let page = &score(&text, false).pages[0];
    let is_tip =
        |mark: &&&Mark| matches!(mark.shape, Shape::Glyph { glyph: Glyph::BracketTop, .. });
    let tips: Vec<_> = of(page, Kind::Bracket).into_iter().filter(|mark| is_tip(&mark)).collect();
    let mut beside = 0;
    for number in (2..60).flat_map(|n| texts(page, &n.to_string())).map(|mark| mark.bounds()) {
        for tip in tips.iter().map(|tip| tip.bounds()) {
            assert!(tip.intersect(number).area() == 0.0, "{tip:?} and {number:?}");
            beside += usize::from((0.0..1.0).contains(&(tip.y0 - number.y1)));
        }
    }
    assert!(beside > 1, "{beside}");
}

#[test]
fn a_double_sharp_among_figures_is_the_sign_of_a_note() {
    let text = format!(
        "piece \"Sluice\" {{ composer \"House copyist\" }}\n\
         form {{ 1 metre 4/4, key D# minor\n 8 end }}\n\
         harmony {{ {} }}\nvoice low {{ {} }}\n\
         ensemble few {{ era 1770\n cello\n }}\nscoring all for few {{\n \
         cello plays low as bass, with figures\n}}\n",
        bars(8, "1/2 D# 1/2 G#m"),
        bars(8, "1/2 D#3 G#3"),
    );
    let page = &part_of(&text, &Setup::default()).pages[0];
    let is = |mark: &&&Mark| {
        matches!(mark.shape, Shape::Glyph { glyph: Glyph::AccidentalDoubleSharp, .. })
    };
    assert!(of(page, Kind::Text).iter().filter(is).count() == 8 && texts(page, "♯♯").is_empty());
}

/// That the bracket of an ending goes as far as its bar is common practice.
#[test]
fn the_bracket_of_an_ending_goes_up_to_its_bar_line_before_a_wide_rehearsal_mark() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 1..3 repeat\n 3 ending 1\n 4 ending 2\n \
                5 mark \"Trio of the weir\"\n 12 end";
    let setup = Setup { bare: true, ..Setup::default() };
    let page = &part_in(form, &bars(12, "1/1 C5"), &setup).pages[0];
    let box_of = texts(page, "Trio of the weir")[0].bounds();
    // The brackets lie flat; the frame is a path around the words.
    let ends: Vec<f64> = of(page, Kind::Frame)
        .iter()
        .filter(|mark| matches!(mark.shape, Shape::Line { .. }) && mark.bounds().width() > 3.0)
        .map(|mark| mark.bounds().x1)
        .collect();
    let lines: Vec<f64> = of(page, Kind::BarLine).iter().map(|line| line.bounds().x0).collect();
    assert_eq!(ends.len(), 2, "{ends:?}");
    let line = lines.iter().copied().find(|x| *x > ends[1] - 0.1).unwrap();
    assert!(line - ends[1] < 0.6, "the bracket ends at {}, its bar at {line}", ends[1]);
    assert!(box_of.x0 > line, "{box_of:?} behind {line}");
}

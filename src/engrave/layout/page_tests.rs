//! How lines share a page, and what stands over them.

use crate::glyphs::Glyph;
use crate::page::{Kind, Page, Shape};

use super::tests::{of, part, texts};

/// Middles of the staves of a page of one player.
fn middles(page: &Page) -> Vec<f64> {
    let lines: Vec<f64> =
        of(page, Kind::StaffLine).iter().map(|mark| mark.bounds().center().y).collect();
    lines.chunks(5).map(|five| five[2]).collect()
}

fn bars(count: usize, bar: &str) -> String {
    (1..=count).map(|n| format!("{n}: {bar} | ")).collect()
}

#[test]
fn no_mark_stands_nearer_to_the_line_above_than_to_its_own() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 7 mark \"A\"\n 16 mark \"B\", tempo \"Calmo\" 1/4 at 60\n \
                24 mark \"C\"\n 33 mark \"D\"\n 96 end";
    let mut seen = 0;
    for page in &part(form, &bars(96, "1/8 C4 D6 E6 C4 E6 D6 C6 D6")).pages {
        let middles = middles(page);
        for letter in ["A", "B", "C", "D"] {
            let [mark] = texts(page, letter)[..] else { continue };
            let mark = mark.bounds();
            let own = middles.iter().position(|middle| *middle > mark.y1).unwrap();
            let Some(above) = own.checked_sub(1) else { continue };
            let (up, down) = (mark.y0 - (middles[above] + 2.0), middles[own] - 2.0 - mark.y1);
            assert!(up > down, "{letter} is {up} below the line above, {down} above its own");
            seen += 1;
        }
    }
    assert!(seen > 1, "{seen}");
}

#[test]
fn a_tempo_ends_before_the_mark_of_the_next_bars() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n \
                5 mark \"G\", tempo \"The slow procession to the weir\" 1/4 at 80\n 7 mark \"H\"\n 30 end";
    let notes = |from: usize, to: usize| -> String {
        (from..=to).map(|n| format!("{n}: 1/4 C5 D5 E5 D5 | ")).collect()
    };
    let page = &part(form, &format!("{}5: rest 2 | {}", notes(1, 4), notes(7, 30))).pages[0];
    let mark = texts(page, "H")[0].bounds();
    let said = |mark: &&crate::page::Mark| match &mark.shape {
        Shape::Text { run, .. } => ["procession", "80)"].iter().any(|word| run.text.contains(word)),
        _ => false,
    };
    let tempo: Vec<_> = page.marks.iter().filter(said).map(crate::page::Mark::bounds).collect();
    assert!(tempo.len() > 1, "{tempo:?}");
    let level = tempo.iter().filter(|words| (words.center().y - mark.center().y).abs() < 6.0);
    assert!(level.clone().all(|words| words.x1 + 1.0 < mark.x0), "{tempo:?} before {mark:?}");
}

#[test]
fn lines_of_the_last_page_stand_little_farther_apart_than_those_before() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 150 end";
    let pages = part(form, &bars(150, "1/8 C5 D5 E5 F5 E5 D5 C5 D5")).pages;
    let apart: Vec<f64> = pages
        .iter()
        .map(|page| {
            let middles = middles(page);
            (middles[middles.len() - 1] - middles[0]) / (middles.len() - 1) as f64
        })
        .collect();
    let [.., before, last] = apart[..] else { panic!("{apart:?}") };
    assert!(last < before * 1.3, "{apart:?}");
}

#[test]
fn a_page_of_few_bars_has_them_in_more_lines() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 40 end";
    let page = &part(form, &bars(40, "1/2 C5 D5")).pages[0];
    // Four lines would do.
    assert!(middles(page).len() > 5, "{}", middles(page).len());
}

#[test]
fn a_trill_on_more_than_a_quarter_has_a_wavy_line() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 9 end";
    let waves = |bar: &str| {
        let page = &part(form, &bars(9, bar)).pages[0];
        let wave = |mark: &&crate::page::Mark| {
            matches!(mark.shape, Shape::Glyph { glyph: Glyph::WiggleTrill, .. })
        };
        page.marks.iter().filter(wave).count()
    };
    assert_eq!(waves("1/4 C5 D5[trill] E5 D5"), 0);
    assert!(waves("1/4. C5[trill] 1/8 D5 1/8 C5 D5 E5 D5") >= 18, "two waves on each at least");
    assert!(waves("1/2 C5[trill] 1/4 D5 E5") >= 18);
}

#[test]
fn a_slur_ends_at_its_heads_within_the_staff() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 9 end";
    let page = &part(form, &bars(9, "{1/4 A4 B4} 1/2 D5")).pages[0];
    let middle = middles(page)[0];
    let line = |mark: &&&crate::page::Mark| (mark.bounds().center().y - middle).abs() < 8.0;
    for slur in of(page, Kind::Slur).iter().filter(line) {
        let Shape::Path(path) = &slur.shape else { panic!("a slur is a path") };
        let ends: Vec<f64> = path
            .elements()
            .iter()
            .filter_map(|element| match element {
                kurbo::PathEl::CurveTo(_, _, to) | kurbo::PathEl::MoveTo(to) => Some(to.y),
                _ => None,
            })
            .collect();
        // B is on the middle line.
        let near = ends.iter().map(|y| (y - middle).abs()).fold(f64::MAX, f64::min);
        assert!(near < 1.6, "{near} from the head: {ends:?}");
    }
}

//! Where ties lie, among lines, dots and what stands behind them.

use super::measures::{SLUR_MIDDLE, STAFF_LINE};
use super::page_tests::bars;
use super::tests::{of, part, part_in};
use crate::glyphs::Glyph;
use crate::page::{Kind, Mark, Page, Shape};
use crate::paper::Setup;

/// Ties of the first line of a page, and the heights of its staff lines.
fn ties(page: &Page) -> (Vec<kurbo::Rect>, Vec<f64>) {
    let lines: Vec<f64> =
        of(page, Kind::StaffLine).iter().map(|line| line.bounds().center().y).take(5).collect();
    let bottom = lines.iter().copied().fold(0.0, f64::max);
    let ties = of(page, Kind::Tie).into_iter().map(Mark::bounds);
    (ties.filter(|tie| tie.y0 < bottom + 3.0).collect(), lines)
}

/// That a tie keeps off the lines of its staff is common practice; how far is our heuristic.
#[test]
fn the_crown_of_a_tie_lies_on_no_line_of_the_staff() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 24 end";
    let mut long = 0;
    for note in ["C4", "D4", "E4", "F4", "G4", "A4", "B4", "C5", "D5", "E5", "F5", "G5", "A5"] {
        // From bar to bar, over a quarter, a half and a whole note.
        for bar in ["1/4 = 1/2 rest 1/4 {n}", "1/2 = 1/2 {n}", "1/1 ="] {
            let tune = bars(24, &bar.replace("{n}", note)).replacen('=', note, 1);
            let page = &part(form, &tune).pages[0];
            let (ties, lines) = ties(page);
            assert!(!ties.is_empty(), "{bar}");
            for tie in ties.iter().filter(|tie| tie.width() > 1.0) {
                let up = is_up(tie, page);
                let crown =
                    if up { tie.y0 + SLUR_MIDDLE / 2.0 } else { tie.y1 - SLUR_MIDDLE / 2.0 };
                let near = lines.iter().map(|line| (line - crown).abs()).fold(f64::MAX, f64::min);
                let white = near - (SLUR_MIDDLE + STAFF_LINE) / 2.0;
                let asked = (0.025 * tie.width()).min(0.2);
                assert!(white > asked - 0.03, "{bar}: {white} at {tie:?}");
                long += usize::from(tie.width() > 6.0);
            }
        }
    }
    assert!(long > 40, "{long} long ties");
}

/// Does a tie bend up? Its head then lies below its crown.
fn is_up(tie: &kurbo::Rect, page: &Page) -> bool {
    let heads = of(page, Kind::Head).into_iter().map(Mark::bounds);
    let away =
        |head: &kurbo::Rect| (head.x1 - tie.x0).abs() + (head.center().y - tie.center().y).abs();
    let nearest = heads.min_by(|a, b| away(a).total_cmp(&away(b)));
    nearest.is_some_and(|head| head.center().y > tie.center().y)
}

#[test]
fn a_tie_begins_clear_of_the_dot_of_its_note() {
    let form = "1 metre 6/8, key C major, tempo 1/4. at 60\n 16 end";
    for note in ["G4", "B4", "D5", "A4", "C5"] {
        let tune = bars(16, "1/4. = =").replacen("= =", &format!("{note} ="), 1);
        let page = &part(form, &tune).pages[0];
        let dots: Vec<_> = of(page, Kind::Dot).into_iter().map(Mark::bounds).collect();
        let (ties, _) = ties(page);
        assert!(ties.len() > 3, "{note}");
        for tie in ties {
            let before = dots.iter().filter(|dot| (dot.center().y - tie.center().y).abs() < 1.5);
            let before = before.map(|dot| tie.x0 - dot.x1).filter(|gap| *gap > -1.0);
            let gap = before.fold(f64::MAX, f64::min);
            assert!(gap > 0.15, "{note}: {gap}");
        }
    }
}

/// A drum has one line: nothing else is to be kept off, and its ties lie alike whatever their notes are.
#[test]
fn a_tie_on_one_line_keeps_off_that_line_alone() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 24 end";
    let text = format!(
        "piece \"Sluice\" {{ composer \"House copyist\" }}\nform {{ {form} }}\nvoice beat {{ {} }}\n\
         ensemble few {{ era 1885\n side-drum\n }}\nscoring all for few {{\n side-drum plays beat as rhythm\n}}\n",
        bars(24, "1/1 =").replacen('=', "x[tremolo 1/32]", 1),
    );
    let page = &super::tests::part_of(&text, &Setup::default()).pages[0];
    let line = of(page, Kind::StaffLine)[0].bounds().center().y;
    let ties: Vec<_> = of(page, Kind::Tie).into_iter().map(Mark::bounds).collect();
    assert!(!ties.is_empty());
    for tie in ties {
        let by_itself = super::measures::tie_height(tie.width()) + SLUR_MIDDLE / 2.0;
        assert!((tie.height() - by_itself).abs() < 0.06, "{tie:?}: {by_itself} high by itself");
        assert!((tie.y0 - line).abs().min((tie.y1 - line).abs()) > 0.2, "{tie:?} at {line}");
    }
}

/// Common practice: from the bar before an ending only a half tie leads into a later one.
#[test]
fn a_tie_into_two_endings_leads_into_each_of_them_and_from_neither_into_the_other() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 1..3 repeat\n 3 ending 1\n 4 ending 2\n 12 end";
    let mut held = bars(12, "1/4 E5 F5 G5 rest");
    for (bar, notes) in [(2, "1/1 D#5"), (3, "="), (4, "=")] {
        held = held.replacen(&format!("{bar}: 1/4 E5 F5 G5 rest"), &format!("{bar}: {notes}"), 1);
    }
    let page = &part(form, &held).pages[0];
    let (mut ties, _) = ties(page);
    ties.sort_by(|a, b| a.x0.total_cmp(&b.x0));
    assert_eq!(ties.len(), 2);
    let mut lines: Vec<_> = of(page, Kind::BarLine).into_iter().map(Mark::bounds).collect();
    lines.sort_by(|a, b| a.x0.total_cmp(&b.x0));
    let through = |tie: &kurbo::Rect| lines.iter().any(|line| tie.x0 < line.x0 && line.x1 < tie.x1);
    assert!(through(&ties[0]), "into the first ending");
    assert!(!through(&ties[1]), "into the second, behind the repeat");
    // The accidental stands again.
    assert_eq!(of(page, Kind::Accidental).len(), 2);
}

#[test]
fn the_line_of_a_trill_that_is_tied_on_goes_on_at_the_head_of_the_next_line() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 6 end";
    let notes = "1: 1/1 D5 | 2: E5 | 3: D5[trill] | 4: = | 5: 1/4 = 1/2 C5 1/4 B4 | 6: 1/1 C5 |";
    let setup = Setup { lines: vec![3], ..Setup::default() };
    let page = &part_in(form, notes, &setup).pages[0];
    let waves: Vec<kurbo::Rect> =
        page.marks.iter().filter(|mark| is_wave(mark)).map(Mark::bounds).collect();
    let heads: Vec<kurbo::Rect> = of(page, Kind::Head).into_iter().map(Mark::bounds).collect();
    // The fourth note stands on the second line, and so do the waves over it and over the first quarter.
    let second = waves.iter().filter(|wave| wave.y0 > heads[2].y1).map(|wave| (wave.x0, wave.x1));
    let reach =
        second.fold((f64::MAX, 0.0_f64), |reach, wave| (reach.0.min(wave.0), reach.1.max(wave.1)));
    assert!(reach.0 < heads[3].x1 && reach.1 > heads[4].x0 && reach.1 < heads[5].x0, "{reach:?}");
}

fn is_wave(mark: &Mark) -> bool {
    matches!(mark.shape, Shape::Glyph { glyph: Glyph::WiggleTrill, .. })
}

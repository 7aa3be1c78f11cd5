//! Slurs over both staves of a player.

use kurbo::{ParamCurve, Point, Rect};

use crate::page::{Kind, Mark, Page, Shape};
use crate::paper::Setup;

use super::page_tests::{bars, middles, slurs};
use super::tests::{of, part_of};

/// The page of a harp with so many bars of those notes.
fn harp(count: usize, bar: &str, setup: &Setup) -> Page {
    let text = format!(
        "piece \"Sluice\" {{ composer \"House copyist\" }}\n\
         form {{ 1 metre 4/4, key C major, tempo 1/4 at 60\n {} end }}\n\
         ensemble few {{ era 1885\n harp\n }}\n\
         scoring all for few {{\n harp writes as harmony {{ {} }}\n}}\n",
        count + 1,
        bars(count, bar),
    );
    part_of(&text, setup).pages.remove(0)
}

/// The points of a drawn curve.
fn outline(mark: &Mark) -> Vec<Point> {
    let Shape::Path(path) = &mark.shape else { panic!("a curve is a path") };
    let points =
        path.segments().flat_map(|part| (0..=40).map(move |k| part.eval(f64::from(k) / 40.0)));
    points.collect()
}

const RUNS: [&str; 5] = [
    "1/8 {C2 G2 E3 C4 G4 C5 E5 G5}",
    "1/8 {G5 E5 C5 G4 C4 E3 G2 C2}",
    "1/16 {G2 D3 G3 B3 D4 G4 B4 D5} {G5 D5 B4 G4 D4 B3 G3 D3}",
    "1/16 {E2 B2 E3 G3 B3 E4 G4 B4 E5 B4 G4 E4 B3 G3 E3 B2}",
    "1/16 {E6 C6 G5 E5 C5 G4 E4 C4 G3 E3 C3 G2 C2 E2 G2 C3}",
];

/// Gould, Behind Bars, 2011, keyboard, from memory: it goes from the first note to the last, from staff to staff, and
/// all notes lie on one side of it.
#[test]
fn a_slur_over_both_staves_goes_from_its_first_note_to_its_last_and_through_none() {
    for run in RUNS {
        let page = harp(2, run, &Setup { lines: vec![2], ..Setup::default() });
        let drawn = of(&page, Kind::Slur);
        assert_eq!(drawn.len(), 2 * run.matches('{').count(), "{run}");
        let of_notes = |kind: Kind| of(&page, kind).into_iter().map(Mark::bounds);
        let notes: Vec<Rect> = of_notes(Kind::Head).chain(of_notes(Kind::Stem)).collect();
        let heads: Vec<Rect> = of_notes(Kind::Head).collect();
        for slur in drawn {
            let (points, bounds) = (outline(slur), slur.bounds());
            for note in &notes {
                let through = points.iter().find(|at| note.contains(**at));
                assert!(through.is_none(), "{run}: {through:?} in {note:?}");
            }
            let under =
                heads.iter().filter(|head| bounds.x0 - 1.5 < head.x0 && head.x1 < bounds.x1 + 1.5);
            let sides: Vec<bool> = under
                .filter_map(|head| {
                    let near = |at: &&Point| (at.x - head.center().x).abs() < 1.0;
                    let over = points.iter().filter(near).map(|at| at.y);
                    (over.clone().count() > 0).then(|| over.fold(0.0, f64::max) < head.center().y)
                })
                .collect();
            assert!(sides.len() >= 6, "{run}: {}", sides.len());
            assert!(sides.iter().all(|side| *side == sides[0]), "{run}: {sides:?}");
        }
    }
}

#[test]
fn a_slur_over_both_staves_that_is_broken_by_a_line_goes_out_and_comes_in() {
    let text = "piece \"Sluice\" { composer \"House copyist\" }\n\
        form { 1 metre 4/4, key C major, tempo 1/4 at 60\n 3 end }\n\
        ensemble few { era 1885\n harp\n }\n\
        scoring all for few {\n harp writes as harmony { 1: 1/8 {C2 G2 E3 C4 G4 C5 E5 G5 | \
        2: C6 G5 E5 C5 G4 E4 C4 G3} | }\n}\n";
    let page = part_of(text, &Setup { lines: vec![1, 1], ..Setup::default() }).pages.remove(0);
    let middles = middles(&page);
    assert_eq!(middles.len(), 4);
    let [out, back] = slurs(&page)[..] else { panic!("two halves") };
    let right = of(&page, Kind::StaffLine).iter().map(|line| line.bounds().x1).fold(0.0, f64::max);
    assert!(right - out.1.x < 1.0 && out.1.y < middles[2], "{out:?}");
    assert!(back.0.y > middles[1] && back.1.x < right, "{back:?}");
}

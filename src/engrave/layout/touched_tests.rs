//! Artificial harmonics: the note that is stopped, and the diamond of the one that is touched.

use super::page_tests::bars;
use super::tests::{of, part_of};
use crate::glyphs::Glyph;
use crate::page::{Kind, Mark, Page, Shape};
use crate::paper::Setup;

/// A part of a section of violins, every bar alike.
fn violins(bar: &str) -> Page {
    let text = format!(
        "piece \"Sluice\" {{ composer \"House copyist\" }}\n\
         form {{ 1 metre 4/4, key C major, tempo 1/4 at 60\n 8 end }}\nvoice tune {{ {} }}\n\
         ensemble few {{ era 1900\n violin-1 8 players\n }}\n\
         scoring all for few {{\n violin-1 plays tune as melody\n}}\n",
        bars(8, bar)
    );
    part_of(&text, &Setup::default()).pages[0].clone()
}

fn glyph(mark: &Mark) -> (Glyph, f64) {
    match mark.shape {
        Shape::Glyph { glyph, at, .. } => (glyph, at.y),
        _ => panic!("a head is a sign"),
    }
}

/// Gould, Behind Bars, 2011, string harmonics, from memory: the diamond is hollow, whatever the value.
#[test]
fn an_artificial_harmonic_is_its_stopped_note_under_a_hollow_diamond() {
    for (bar, stopped) in [
        ("1/1 E6[harmonic E4]", Glyph::NoteheadWhole),
        ("1/2 E6[harmonic E4] E6[harmonic E4]", Glyph::NoteheadHalf),
        (
            "1/4 E6[harmonic E4] E6[harmonic E4] 1/8 {E6[harmonic E4] E6[harmonic E4]} 1/4 rest",
            Glyph::NoteheadBlack,
        ),
    ] {
        let page = violins(bar);
        let heads: Vec<(Glyph, f64)> = of(&page, Kind::Head).into_iter().map(glyph).collect();
        assert!(heads.len() > 8 && heads.len().is_multiple_of(2), "{bar}: {heads:?}");
        for (one, other) in heads.iter().zip(&heads[1..]).step_by(2) {
            assert_eq!((one.0, other.0), (stopped, Glyph::NoteheadDiamondHalf), "{bar}");
            assert!((one.1 - other.1 - 1.5).abs() < 1e-9, "a fourth above: {one:?} {other:?}");
        }
        let rings = of(&page, Kind::Articulation).into_iter();
        assert_eq!(
            rings.filter(|mark| glyph(mark).0 == Glyph::StringsHarmonic).count(),
            0,
            "{bar}"
        );
    }
    let ring = violins("1/1 E5[harmonic]");
    assert!(of(&ring, Kind::Articulation).iter().any(|m| glyph(m).0 == Glyph::StringsHarmonic));
}

#[test]
fn the_stem_meets_the_corner_of_the_diamond() {
    for bar in ["1/2 E6[harmonic E4] E6[harmonic E4]", "1/2 C7[harmonic C5] C7[harmonic C5]"] {
        let page = violins(bar);
        let stems = of(&page, Kind::Stem);
        let heads = of(&page, Kind::Head).into_iter();
        for diamond in heads.filter(|head| glyph(head).0 == Glyph::NoteheadDiamondHalf) {
            let bounds = diamond.bounds();
            let meets = stems.iter().any(|stem| {
                let stem = stem.bounds();
                let corner = |x: f64| stem.x0 - 0.02 <= x && x <= stem.x1 + 0.02;
                let y = bounds.center().y;
                (corner(bounds.x0) || corner(bounds.x1))
                    && (stem.y0 - 0.02..stem.y1 + 0.02).contains(&y)
            });
            assert!(meets, "{bar}: {bounds:?}");
        }
    }
}

/// Gould, Behind Bars, 2011, chapter 1, from memory: beside an accidental a ledger line is shortened.
#[test]
fn a_ledger_line_is_shortened_beside_an_accidental_and_does_not_touch_it() {
    for bar in [
        "1/1 C#4",
        "1/1 Cb4",
        "1/1 Bb3",
        "1/2 G3 Gb3",
        "1/1 C#6",
        "1/1 grace(1/16 C#6) D6",
        "1/1 Ab5&C#6",
        "1/1 C#6&D#6",
        "1/2 Ab3 1/4 A3 Bb3",
    ] {
        let page = violins(bar);
        let lines: Vec<_> = of(&page, Kind::Ledger).iter().map(|line| line.bounds()).collect();
        let heads: Vec<_> = of(&page, Kind::Head).iter().map(|head| head.bounds()).collect();
        let mut beside = 0;
        for sign in of(&page, Kind::Accidental) {
            let Shape::Glyph { glyph, at, scale } = sign.shape else { panic!("a sign") };
            for line in
                lines.iter().filter(|line| (-0.5..0.5).contains(&(line.x0 - sign.bounds().x1)))
            {
                let near = |y: f64| (at.y - y) / scale;
                let Some(edge) = glyph.right_between(near(line.y1), near(line.y0)) else {
                    continue;
                };
                let gap = line.x0 - at.x - edge * scale;
                assert!(gap > 0.14, "{bar}: {gap}");
                let head = heads.iter().map(|head| head.x0).filter(|x| *x > line.x0);
                let left = head.fold(f64::MAX, f64::min) - line.x0;
                assert!(left > 0.1, "{bar}: {left} before the head");
                beside += 1;
            }
        }
        assert!(beside > 0, "{bar}");
    }
}

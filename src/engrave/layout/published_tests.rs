//! Published measures, held against what is drawn: weights of lines, spacing, curves, margins, paper.
//!
//! Ross is Ted Ross, The Art of Music Engraving and Processing, 1970; Gould is Elaine Gould, Behind
//! Bars, 2011; both from memory. Stems and beams are measured in `tests`.

use super::page_tests::bars;
use super::tests::{OBOES, of, part, part_in, part_of, part_with_cues};
use crate::page::{Kind, Mark, Page, Shape};
use crate::paper::{Paper, Setup};

/// How thick the straight lines of a kind are, each weight once, the thinnest first.
fn weights(page: &Page, kind: Kind) -> Vec<f64> {
    let width = |mark: &&Mark| match mark.shape {
        Shape::Line { width, .. } => Some(width),
        _ => None,
    };
    let mut weights: Vec<f64> = of(page, kind).iter().filter_map(width).collect();
    weights.sort_by(f64::total_cmp);
    weights.dedup();
    weights
}

/// Left edges of the heads of a page, in their order.
fn heads(page: &Page) -> Vec<f64> {
    of(page, Kind::Head).iter().map(|mark| mark.bounds().x0).collect()
}

/// Ross, staff lines and bar-lines: a staff line is an eighth of a space thick or a little less, a stem hardly
/// thicker, the thick line as thick as a beam. Gould, chapter 1: ledger lines and bar-lines are a little heavier
/// than staff lines.
#[test]
fn lines_have_their_weights() {
    let form = "1 metre 4/4, key C major\n 4 end";
    let page = &part(form, &bars(4, "1/4 C4 D6 1/8 C6 D6 1/4 E6")).pages[0];
    let one = |kind: Kind| match weights(page, kind)[..] {
        [weight] => weight,
        ref others => panic!("{}: {others:?}", kind.name()),
    };
    let (staff, stem, ledger) = (one(Kind::StaffLine), one(Kind::Stem), one(Kind::Ledger));
    assert!((0.08..=0.125).contains(&staff), "staff lines {staff}");
    assert!((staff..=staff * 1.25).contains(&stem), "stems {stem} beside staff lines {staff}");
    assert!((staff * 1.1..=staff * 1.7).contains(&ledger), "ledger lines {ledger}");
    let [thin, thick] = weights(page, Kind::BarLine)[..] else { panic!("thin and thick lines") };
    assert!((staff * 1.2..=staff * 2.0).contains(&thin), "bar lines {thin}");
    assert!((thick - 0.5).abs() < 1e-9, "the thick line {thick}");
}

/// Gould, chapter 1, "Spacing symbols": from a quarter (3.5) to a half (5) and a whole note (7), a half again or
/// somewhat less; Ross, spacing, has steps alike. A line that is stretched or pressed keeps the ratio.
#[test]
fn a_note_of_twice_the_length_takes_half_as_much_again_or_somewhat_less() {
    let form = "1 metre 4/4, key C major\n 24 end";
    let mixed = |bar: &str| {
        let page = &part(form, &bars(24, bar)).pages[0];
        let heads = heads(page);
        (heads[1] - heads[0], heads[2] - heads[1])
    };
    for (bar, ratio) in [
        ("1/2 C5 1/4 D5 1/4 E5", (1.3, 1.5)),
        ("1/4 C5 1/8 D5 E5 1/2 F5", (1.3, 1.5)),
        ("1/2 C5 1/8 D5 E5 1/4 F5", (1.7, 2.15)),
    ] {
        let (long, short) = mixed(bar);
        let taken = long / short;
        assert!((ratio.0..=ratio.1).contains(&taken), "{bar}: {long:.2} beside {short:.2}");
    }
}

/// Ross, slurs: the longer, the flatter, and no higher than a few spaces.
#[test]
fn a_long_slur_is_flatter_than_a_short_one() {
    let form = "1 metre 4/4, key C major\n 8 end";
    let shape = |tune: &str| {
        let page = &part(form, tune).pages[0];
        let slur = of(page, Kind::Slur)[0].bounds();
        (slur.width(), slur.height())
    };
    let rests = (3..=8).map(|bar| format!("{bar}: rest | ")).collect::<String>();
    let short = shape(&format!("1: 1/4 {{A4 A4}} A4 A4 | 2: 1/1 A4 | {rests}"));
    let long = shape(&format!("1: 1/4 {{A4 B4 A4 G4 | 2: A4 B4 A4 A4}} | {rests}"));
    assert!(short.0 < long.0 && short.1 < long.1, "{short:?} {long:?}");
    assert!(long.1 / long.0 < short.1 / short.0, "{short:?} {long:?}");
    assert!((0.5..=4.0).contains(&short.1) && long.1 <= 4.0, "{short:?} {long:?}");
}

/// Where the staves of a page begin, and how far from the right edge they end, in millimetres.
fn sides(page: &Page) -> (f64, f64) {
    let lines: Vec<_> = of(page, Kind::StaffLine).iter().map(|mark| mark.bounds()).collect();
    let left = lines.iter().map(|line| line.x0).fold(f64::MAX, f64::min);
    let right = lines.iter().map(|line| line.x1).fold(f64::MIN, f64::max);
    (left * page.space, page.size.0 - right * page.space)
}

/// Half an inch at least (Major Orchestra Librarians' Association, Music Preparation Guidelines for Orchestral
/// Music, from memory), and more towards the spine, which lies left of an odd page and right of an even one.
#[test]
fn margins_of_pages_that_face_one_another_are_mirrored() {
    let form = "1 metre 4/4, key C major\n 160 end";
    // A bar of rest in which to turn, so that the part begins on the right.
    let tune: String = (1..=160)
        .map(|bar| match bar % 10 {
            0 => format!("{bar}: rest | "),
            _ => format!("{bar}: 1/8 C5 D5 E5 F5 E5 D5 C5 D5 | "),
        })
        .collect();
    let pages = part(form, &tune).pages;
    assert!(pages.len() > 2, "{} pages", pages.len());
    let sides: Vec<(f64, f64)> = pages.iter().map(sides).collect();
    for (left, right) in &sides {
        assert!(left.min(*right) >= 12.7 && (left - right).abs() > 2.0, "{sides:?}");
    }
    for pair in sides.windows(2) {
        let same = (pair[0].0 - pair[1].1).abs() < 0.05 && (pair[0].1 - pair[1].0).abs() < 0.05;
        assert!(same, "each page mirrors the one before: {sides:?}");
    }
}

/// ISO 216; letter, and the inches of the librarians' guidelines.
#[test]
fn paper_has_its_size_upright_and_on_its_side() {
    const INCH: f64 = 25.4;
    let form = "1 metre 4/4, key C major\n 40 end";
    for (word, width, height) in [
        ("a4", 210.0, 297.0),
        ("a3", 297.0, 420.0),
        ("letter", 8.5 * INCH, 11.0 * INCH),
        ("9x12", 9.0 * INCH, 12.0 * INCH),
        ("10x13", 10.0 * INCH, 13.0 * INCH),
    ] {
        let (paper, _) = Paper::WORDS.into_iter().find(|(_, known)| *known == word).expect(word);
        for (landscape, wanted) in [(false, (width, height)), (true, (height, width))] {
            let setup = Setup { paper, landscape, ..Setup::default() };
            let page = part_in(form, &bars(40, "1/4 C5 D5 E5 F5"), &setup).pages.remove(0);
            assert!((page.size.0 - wanted.0).abs() < 0.01, "{word}: {:?}", page.size);
            assert!((page.size.1 - wanted.1).abs() < 0.01, "{word}: {:?}", page.size);
            // The lines go from margin to margin, whatever the paper.
            let (left, right) = sides(&page);
            assert!(
                (left - 16.0).abs() < 0.1 && (right - 13.0).abs() < 0.1,
                "{word}: {left} {right}"
            );
        }
    }
}

/// The margin is kept by what stands before the staves, too: the brackets of a section whose halves have a staff
/// each in some lines.
#[test]
fn brackets_of_a_divided_section_keep_out_of_the_margin() {
    let text = format!(
        "piece \"Sluice\" {{ }}\nform {{ 1 metre 4/4, key C major\n 120 end\n }}\nvoice one {{ {} }}\nvoice two {{ {} }}\n\
         ensemble few {{ era 1885\n viola 4 players divisi\n }}\nscoring all for few {{\n viola.1 plays one as melody\n \
         viola.2 plays two as harmony\n}}\n",
        bars(120, "1/8 C4 D4 E4 F4 G4 F4 E4 D4"),
        bars(120, "1/4 A4 1/8 G4 E4 D4 C4 B3 G4"),
    );
    let pages = part_of(&text, &Setup::default()).pages;
    assert!(pages.len() > 1, "{} pages", pages.len());
    for page in &pages {
        let edges: Vec<f64> =
            of(page, Kind::Bracket).iter().map(|mark| mark.bounds().x0 * page.space).collect();
        assert!(!edges.is_empty() && edges.iter().all(|edge| *edge >= 12.7), "{edges:?}");
    }
}

/// That curves keep off the lines of the staff is from Ross, slurs.
#[test]
fn no_slur_lies_along_a_line_of_the_staff() {
    use kurbo::ParamCurve;
    // Cues have their slurs above, and so within the staff where they lie low.
    for first in ["C4", "D4", "E4", "F4", "G4"] {
        for last in ["C4", "D4", "E4", "F4", "G4", "A4"] {
            let pair = |bar: i32| format!("{bar}: 1/2 {{{first} D4 | {}: {last}}} D4 | ", bar + 1);
            let one: String = (1..=20).step_by(2).map(pair).collect();
            let text = format!(
                "{OBOES}voice one {{ {one} }}\nvoice two {{ 1: rest 18 | 19: 1/1 C4 | 20: C4 | }}\n\
                 scoring all for few {{\n oboe.1 plays one as melody\n oboe.2 plays two as harmony\n \
                 bassoon plays one 8vb as bass\n}}\n"
            );
            let page = &part_with_cues(&text, 1, &Setup::default()).pages[0];
            assert!(!of(page, Kind::Slur).is_empty());
            let lines: Vec<f64> =
                of(page, Kind::StaffLine).iter().map(|mark| mark.bounds().center().y).collect();
            for slur in of(page, Kind::Slur) {
                let Shape::Path(path) = &slur.shape else { panic!("a curve is a path") };
                let curves: Vec<_> = path.segments().collect();
                let (outer, inner) = (curves[0], curves[2]);
                let middle = |k: i32| {
                    let t = f64::from(k) / 40.0;
                    outer.eval(t).midpoint(inner.eval(1.0 - t))
                };
                let along = |line: &f64| {
                    let near = (0..40).filter(|k| (middle(*k).y - line).abs() < 0.17);
                    near.map(|k| middle(k + 1).x - middle(k).x).sum::<f64>()
                };
                let most = lines.iter().map(along).fold(0.0, f64::max);
                let allowed = (0.22 * slur.bounds().width()).max(2.0) + 0.2;
                assert!(most < allowed, "{first} to {last}: {most} of {allowed}");
            }
        }
    }
}

//! What keeps clear of what: curves of accidentals and flags, dynamics of figures, words of what they do not
//! belong to.

use crate::glyphs::Glyph;
use crate::page::{Kind, Shape};

use super::page_tests::{bars, slurs};
use super::tests::{OBOES, of, part, part_in, part_of, part_with_cues, score, texts};
use crate::paper::Setup;

/// The points of a drawn curve.
fn outline(mark: &crate::page::Mark) -> Vec<kurbo::Point> {
    use kurbo::ParamCurve;
    let Shape::Path(path) = &mark.shape else { panic!("a curve is a path") };
    let parts: Vec<kurbo::PathSeg> = path.segments().collect();
    parts.iter().flat_map(|part| (0..=20).map(|k| part.eval(f64::from(k) / 20.0))).collect()
}

#[test]
fn a_slur_from_a_grace_note_keeps_clear_of_the_accidental_behind_it() {
    let form = "1 metre 4/4, key Eb major, tempo 1/4 at 96\n 9 end";
    for pair in ["C6) B5", "C5) B4", "A5) G#5", "F4) E4", "C6) F#5", "B4) F#5", "D5) Gb4"] {
        let page = &part(form, &bars(9, &format!("1/4 grace(1/8 {pair} D5 E5 D5"))).pages[0];
        let signs = of(page, Kind::Accidental);
        let signs: Vec<kurbo::Rect> = signs.iter().map(|sign| sign.bounds()).collect();
        let slurs = of(page, Kind::Slur);
        assert!(slurs.len() == 9 && !signs.is_empty(), "{pair}: {} slurs", slurs.len());
        for point in slurs.into_iter().flat_map(outline) {
            assert!(!signs.iter().any(|sign| sign.contains(point)), "{pair}: {point:?} in a sign");
        }
    }
}

#[test]
fn a_short_slur_is_an_arc_between_its_ends_and_no_hook() {
    for count in 6..=11 {
        let form = format!("1 metre 4/4, key C major, tempo 1/4 at 96\n {count} end");
        let setup = Setup { bare: true, ..Setup::default() };
        for pair in ["A4 B4", "G4 B4", "B4 G4", "E4 C5", "C5 A4", "G5 C5"] {
            let tune = bars(count, &format!("1/4 {{{pair}}} 1/2 B4"));
            let page = &part_in(&form, &tune, &setup).pages[0];
            let slurs = of(page, Kind::Slur);
            assert_eq!(slurs.len(), count);
            for slur in slurs {
                let points = outline(slur);
                // The outline goes out along one side and back along the other.
                let (begin, end) = (points[0], points[20]);
                let over = points.iter().map(|at| at.x - end.x).fold(f64::MIN, f64::max);
                let before = points.iter().map(|at| begin.x - at.x).fold(f64::MIN, f64::max);
                assert!(over < 0.1 && before < 0.1, "{count} {pair}: {over} {before}");
            }
        }
    }
}

#[test]
fn bars_under_a_tempo_share_the_room_that_it_needs() {
    let form =
        "1 metre 6/8, key C major, tempo \"Andante notturno\" 3/8 at 46\n 5 mark \"A\"\n 14 end";
    let page = &part(form, &bars(14, "3/4 C5")).pages[0];
    let of_first_line = |kind: Kind| {
        let all: Vec<kurbo::Rect> = of(page, kind).iter().map(|mark| mark.bounds()).collect();
        let top = all.iter().map(|it| it.y0).fold(f64::MAX, f64::min);
        let mut places: Vec<f64> =
            all.iter().filter(|it| it.y0 < top + 4.0).map(|it| it.x0).collect();
        places.sort_by(f64::total_cmp);
        places
    };
    let (notes, lines) = (of_first_line(Kind::Head), of_first_line(Kind::BarLine));
    let widths: Vec<f64> =
        notes.iter().zip(&lines).take(4).map(|(note, line)| line - note).collect();
    let (least, most) = widths.iter().fold((f64::MAX, 0.0_f64), |(a, b), w| (a.min(*w), b.max(*w)));
    assert!(widths.len() == 4 && most < 1.15 * least, "{widths:?}");
}

#[test]
fn a_dynamic_stands_beneath_the_figure_of_a_tuplet_and_not_beside_it() {
    let form = "1 metre 3/4, key C major, tempo 1/4 at 96\n 9 end";
    let page =
        &part(form, &bars(9, "[mf] 3:2(1/8 C5 D5 E5) [f] 3:2(1/8 C5 D5 E5) [mp] 1/4 E5")).pages[0];
    let figures = of(page, Kind::Tuplet);
    let letters = of(page, Kind::Dynamic);
    assert!(figures.len() > 3 && !letters.is_empty());
    for figure in figures.iter().map(|figure| figure.bounds()) {
        for letter in letters.iter().map(|letter| letter.bounds()) {
            let near = letter.x1 + 3.0 > figure.x0 && figure.x1 + 3.0 > letter.x0;
            if near && (letter.y0 - figure.y1).abs() < 6.0 {
                assert!(letter.y0 > figure.y1 + 0.3, "{letter:?} beside {figure:?}");
            }
        }
    }
}

#[test]
fn a_tie_of_one_of_two_voices_begins_behind_the_flag() {
    for (one, two) in [("1/4. E5 1/4. F5 1/4 E5", "1/1 C5"), ("1/1 G5", "1/4. C5 1/4. A4 1/4 G4")] {
        let text = format!(
            "{OBOES}voice one {{ {} }}\nvoice two {{ {} }}\nscoring all for few {{\n oboe.1 plays one as melody\n \
             oboe.2 plays two as harmony\n bassoon plays two 8vb as bass\n}}\n",
            bars(20, one),
            bars(20, two),
        );
        let page = &score(&text, true).pages[0];
        let flag = |mark: &&crate::page::Mark| {
            matches!(mark.shape, Shape::Glyph { glyph: Glyph::Flag8thUp | Glyph::Flag8thDown, .. })
        };
        let flags = page.marks.iter().filter(flag).map(crate::page::Mark::bounds);
        let flags: Vec<kurbo::Rect> = flags.collect();
        // The bassoon has a staff of its own.
        let near = |tie: &&crate::page::Mark| {
            let heights =
                flags.iter().map(|flag| (flag.center().y - tie.bounds().center().y).abs());
            heights.fold(f64::MAX, f64::min) < 4.0
        };
        let ties: Vec<_> = of(page, Kind::Tie).into_iter().filter(near).collect();
        assert!(flags.len() > 3 && ties.len() > 3, "{one} {two}: {} {}", flags.len(), ties.len());
        for point in ties.into_iter().flat_map(outline) {
            assert!(!flags.iter().any(|flag| flag.contains(point)), "{one} {two}: {point:?}");
        }
    }
}

#[test]
fn the_name_of_a_cue_stands_over_its_first_small_note() {
    let text = format!(
        "{OBOES}voice one {{ {} }}\nvoice two {{ 1: rest 18 | 19: 1/1 C4 | 20: C4 | }}\n\
         scoring all for few {{\n oboe.1 plays one as melody\n oboe.2 plays one as harmony\n \
         bassoon plays two as bass\n}}\n",
        bars(20, "grace(1/8 D5) 1/2 C5 1/4 E5 F5"),
    );
    let page = &part_with_cues(&text, 2, &Setup::default()).pages[0];
    let heads = of(page, Kind::Head).into_iter().map(|head| head.bounds().x0);
    let named = |mark: &&crate::page::Mark| matches!(&mark.shape, Shape::Text { run, .. } if run.text.starts_with("Ob."));
    let [name] = page.marks.iter().filter(named).collect::<Vec<_>>()[..] else {
        panic!("one cue has a name")
    };
    let (first, name) = (heads.fold(f64::MAX, f64::min), name.bounds());
    let edge = name.x0 - first;
    assert!(edge.abs() < 1.0, "{name:?} {edge} from the first small note");
}

#[test]
fn words_that_the_margin_would_push_off_their_rest_stand_in_more_lines() {
    for before in 4..24 {
        // One bar of rest, then the first mark.
        let form = format!(
            "1 metre 4/4, key C major, tempo 1/4 at 96\n {} mark \"A\"\n 40 mark \"B\"\n 50 mark \"C\"\n 60 end",
            before + 2
        );
        let tune = format!(
            "{}{}: rest {} | 59: 1/1 C5 | 60: C5 |",
            bars(before, "1/4 C5 D5 E5 D5"),
            before + 1,
            58 - before
        );
        let pages = part(&form, &tune);
        let page = &pages.pages[0];
        let words = |mark: &&crate::page::Mark| match &mark.shape {
            Shape::Text { run, .. } => run.text.starts_with("tacet"),
            _ => false,
        };
        let Some(words) = page.marks.iter().find(words).map(crate::page::Mark::bounds) else {
            panic!("nobody says how long the rest after bar {before} is");
        };
        let own = |mark: &&&crate::page::Mark| {
            let bounds = mark.bounds();
            let near = words.y0 - bounds.center().y;
            (0.0..12.0).contains(&near) && bounds.width() > 0.5
        };
        let heads = of(page, Kind::Head);
        let last = heads.iter().filter(own).map(|head| head.bounds().x0).fold(0.0, f64::max);
        assert!(words.x0 > last, "after bar {before}: {words:?} begins under a note at {last}");
    }
}

#[test]
fn a_bar_of_rest_stands_clear_of_the_dots_of_a_cue() {
    let mut seen = 0;
    for pitch in ["Bb3", "C4", "D4", "E4"] {
        let text = format!(
            "{OBOES}voice one {{ {} }}\nvoice two {{ 1: rest 18 | 19: 1/1 C5 | 20: C5 | }}\n\
             scoring all for few {{\n oboe.1 plays one as melody\n oboe.2 plays two as harmony\n \
             bassoon plays two 8vb as bass\n}}\n",
            bars(20, &format!("1/4 {pitch}[stacc] C5[stacc] {pitch}[stacc] rest")),
        );
        let page = &part_with_cues(&text, 1, &Setup::default()).pages[0];
        let dots = of(page, Kind::Articulation);
        let rests = of(page, Kind::Rest);
        for rest in rests.iter().map(|rest| rest.bounds()) {
            for dot in dots.iter().map(|dot| dot.bounds()) {
                let apart = dot.center() - rest.center();
                if apart.x.abs() < 6.0 && apart.y.abs() < 4.0 && rest.width() < 2.0 {
                    let clear = rest.y0 > dot.y1 + 0.2 || rest.y1 + 1.0 < dot.y0;
                    assert!(clear, "{pitch}: {rest:?} beside {dot:?}");
                    seen += 1;
                }
            }
        }
    }
    assert!(seen > 4, "{seen}");
}

/// A bass with figures, whose bars hold these notes under a chord of C.
pub(super) fn figured(form: &str, notes: &str, count: usize) -> crate::page::Pages {
    let text = format!(
        "piece \"Sluice\" {{ composer \"House copyist\" }}\nform {{ {form} }}\n\
         harmony {{ {} }}\nvoice low {{ {} }}\n\
         ensemble few {{ era 1770\n cello\n }}\nscoring all for few {{\n \
         cello plays low as bass, with figures\n}}\n",
        bars(count, "C"),
        bars(count, notes),
    );
    part_of(&text, &Setup::default())
}

#[test]
fn numbers_of_figures_stand_in_one_column_with_the_accidentals_before_it() {
    let text = "piece \"Sluice\" { composer \"House copyist\" }\nform { 1 metre 4/4, key C major\n 2 end }\n\
         harmony { 1: D7 | 2: C | }\nvoice low { 1: 1/1 A2 | 2: C3 | }\n\
         ensemble few { era 1770\n cello\n }\nscoring all for few {\n \
         cello plays low as bass, with figures\n}\n";
    let page = part_of(text, &Setup::default()).pages.remove(0);
    let left = |words| texts(&page, words)[0].bounds();
    let (six, four, three) = (left("♯6"), left("4"), left("3"));
    assert!(
        (six.x1 - four.x1).abs() < 0.25 && (six.x1 - three.x1).abs() < 0.25,
        "{six:?} {four:?}"
    );
    assert!(four.x0 > six.x0 + 0.4, "the sharp stands before the column: {six:?} {four:?}");
    let head = of(&page, Kind::Head)[0].bounds();
    assert!((four.x0 - head.x0).abs() < 0.3, "the numbers under the note: {four:?} {head:?}");
}

#[test]
fn a_dynamic_stands_over_the_row_of_figures_and_not_in_it() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 8 end";
    let page = &figured(form, "[f] 1/4 C3 E3 C3 G2", 8).pages[0];
    let (figures, letters) = (texts(page, "6"), of(page, Kind::Dynamic));
    assert!(figures.len() > 3 && !letters.is_empty(), "{} {}", figures.len(), letters.len());
    for letter in letters.iter().map(|letter| letter.bounds()) {
        for figure in figures.iter().map(|figure| figure.bounds()) {
            let away = figure.y0 - letter.y1;
            assert!(!(-4.0..0.3).contains(&away), "{letter:?} beside {figure:?}");
        }
    }
}

#[test]
fn the_next_line_keeps_clear_of_the_whole_row_of_figures() {
    let marks: String = (1..24).map(|n| format!(" {} mark \"M{n}\"\n", 8 * n + 1)).collect();
    let form = format!("1 metre 4/4, key C major, tempo 1/4 at 96\n{marks} 200 end");
    // Figures stand beside the places of marks, not over them.
    let page = &figured(&form, "1/2 C3 G2", 200).pages[0];
    let rows = texts(page, "4");
    assert!(rows.len() > 30, "{}", rows.len());
    for mark in of(page, Kind::Frame).iter().map(|mark| mark.bounds()) {
        let above = rows.iter().map(|row| row.bounds()).filter(|row| row.y0 < mark.center().y);
        let foot = above.map(|row| row.y1).fold(f64::MIN, f64::max);
        assert!(mark.y0 > foot + 0.8, "{mark:?} beside figures that end at {foot}");
    }
}

#[test]
fn an_order_does_not_run_over_the_end_of_a_section() {
    let mut beside = 0;
    for before in 3..16 {
        let text = format!(
            "piece \"Sluice\" {{ composer \"House copyist\" }}\n\
             form {{ 1 metre 3/4, key C major, tempo 1/4 at 96\n {} mark \"A\"\n {} end }}\n\
             voice call {{ {} {}: rest 9 | {}: 1/2. C5 | }}\n\
             ensemble few {{ era 1770\n horn crook Eb\n }}\nscoring all for few {{\n \
             horn plays call as melody\n horn takes crook C basso bar {}\n}}\n",
            before + 2,
            before + 10,
            bars(before, "1/4 C5 C5 C5"),
            before + 1,
            before + 10,
            before + 10,
        );
        let page = &part_of(&text, &Setup::default()).pages[0];
        let rests = of(page, Kind::Rest).into_iter().map(|mark| mark.bounds());
        let [rest] = rests.filter(|rest| rest.width() > 4.0).collect::<Vec<_>>()[..] else {
            panic!("eight bars of rest are one")
        };
        let order = |mark: &&crate::page::Mark| matches!(&mark.shape, Shape::Text { run, .. } if run.text.starts_with("change"));
        let order = page.marks.iter().find(order).expect("it is told").bounds();
        if order.x0 < rest.x0 && (0.0..10.0).contains(&(rest.y0 - order.y1)) {
            beside += 1;
            assert!(order.x1 < rest.x0, "after bar {before}: {order:?} over {rest:?}");
        }
    }
    assert!(beside > 3, "{beside}");
}

/// The page of a condensed score of two oboes and a bassoon, with what each oboe plays in its second to fourth bar.
fn shared_staff(one: &str, two: &str) -> crate::page::Page {
    let text = format!(
        "{OBOES}voice one {{ 1: 1/1 C5 | {one} 5: rest 16 | }}\nvoice two {{ 1: 1/1 A4 | {two} 5: rest 16 | }}\n\
         voice low {{ {} }}\nscoring all for few {{\n oboe.1 plays one as melody\n \
         oboe.2 plays two as harmony\n bassoon plays low as bass\n}}\n",
        bars(20, "1/8 C3 D3 E3 F3 C3 D3 E3 F3"),
    );
    let mut pages = score(&text, true).pages;
    pages.swap_remove(0)
}

#[test]
fn a_tie_into_bars_of_two_voices_lies_on_the_side_of_its_own() {
    let page = shared_staff("2: 1/1 F4 | 3: = | 4: F4 | ", "2: rest 1 | 3: 1/1 F4 | 4: = | ");
    let mut ties: Vec<_> = of(&page, Kind::Tie).iter().map(|tie| tie.bounds()).collect();
    ties.sort_by(|a, b| a.x0.total_cmp(&b.x0));
    let [first, second] = ties[..] else { panic!("{ties:?}") };
    assert!(first.y1 < second.y0, "that of oboe 1 {first:?}, that of oboe 2 {second:?}");
}

#[test]
fn a_whole_note_a_second_below_keeps_to_the_step_of_its_column() {
    let steps = |whole: &str| -> Vec<f64> {
        let one = "2: 1/8 B4 C5 D5 E5 F5 E5 D5 C5 | 3: rest 2 | ";
        let page = shared_staff(one, &format!("2: 1/1 {whole} | 3: rest 2 | "));
        let beams = of(&page, Kind::Stem);
        let stems = beams.iter().map(|stem| stem.bounds());
        let top = stems.clone().map(|stem| stem.y0).fold(f64::MAX, f64::min);
        let mut stems: Vec<f64> =
            stems.filter(|stem| stem.y0 < top + 6.0).map(|stem| stem.x0).collect();
        stems.sort_by(f64::total_cmp);
        stems.windows(2).map(|pair| pair[1] - pair[0]).collect()
    };
    let (near, far) = (steps("A4"), steps("F4"));
    assert_eq!((near.len(), far.len()), (7, 7), "{near:?} {far:?}");
    assert!(near[0] < far[0] + 1.4 && near[0] > far[0], "{near:?} {far:?}");
}

#[test]
fn bars_of_rest_under_a_cue_are_level_within_their_line_alone() {
    let below = |lines: Vec<usize>| -> Vec<f64> {
        let text = format!(
            "{OBOES}voice one {{ {} 17: 1/4 E5 F5 G5 F5 | 18: 1/4 C4 C4 E4 C4 | 19: 1/1 C5 | 20: C5 | }}\n\
             voice two {{ 1: rest 18 | 19: 1/1 C5 | 20: C5 | }}\n\
             scoring all for few {{\n oboe.1 plays one as melody\n oboe.2 plays two as harmony\n \
             bassoon plays two 8vb as bass\n}}\n",
            bars(16, "1/1 C5"),
        );
        let setup = Setup { lines, ..Setup::default() };
        let page = &part_with_cues(&text, 1, &setup).pages[0];
        let staves = of(page, Kind::StaffLine);
        let staves: Vec<f64> = staves.iter().map(|line| line.bounds().center().y).collect();
        let rests = of(page, Kind::Rest).into_iter().map(|rest| rest.bounds());
        let rests = rests.filter(|rest| rest.width() < 2.0 && rest.height() < 0.8);
        rests
            .map(|rest| {
                rest.y0 - staves.iter().copied().filter(|y| *y < rest.y0).fold(0.0, f64::max)
            })
            .collect()
    };
    let [one, other] = below(vec![])[..] else { panic!("{:?}", below(vec![])) };
    assert!((one - other).abs() < 0.01, "{one} {other} in one line");
    let [one, other] = below(vec![17])[..] else { panic!("{:?}", below(vec![17])) };
    assert!(one + 0.9 < other, "{one} {other} in two lines");
}

#[test]
fn a_hairpin_that_ends_with_its_bar_is_no_accent() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 16 end";
    let page = &part(form, &bars(16, "[f] 1/2 A4 1/4. A4 [mp cresc] 1/8 A4")).pages[0];
    let pins: Vec<f64> = of(page, Kind::Hairpin).iter().map(|pin| pin.bounds().width()).collect();
    assert!(pins.len() > 14, "{}", pins.len());
    assert!(pins.iter().all(|width| *width > 2.9), "{pins:?}");
}

#[test]
fn ties_of_a_cue_bend_up_as_its_slurs_do() {
    let text = format!(
        "{OBOES}voice one {{ {} 17: 1/4 E5 F5 G5 A5 | 18: = F5 G5 G5 | 19: 1/1 C5 | 20: C5 | }}\n\
         voice two {{ 1: rest 18 | 19: 1/1 C5 | 20: C5 | }}\n\
         scoring all for few {{\n oboe.1 plays one as melody\n oboe.2 plays two as harmony\n \
         bassoon plays two 8vb as bass\n}}\n",
        bars(16, "1/1 C5"),
    );
    let page = &part_with_cues(&text, 1, &Setup::default()).pages[0];
    let ties = of(page, Kind::Tie);
    assert!(!ties.is_empty());
    for tie in ties.into_iter().map(outline) {
        let (ends, top) = (tie[0].y, tie.iter().map(|point| point.y).fold(f64::MAX, f64::min));
        assert!(top < ends - 0.2, "{tie:?}");
    }
}

#[test]
fn words_for_the_left_hand_alone_stand_between_the_staves() {
    let text = format!(
        "piece \"Sluice\" {{ composer \"House copyist\" }}\n\
         form {{ 1 metre 4/4, key C major, tempo 1/4 at 96\n 20 end }}\n\
         voice low {{ {} }}\nensemble few {{ era 1885\n harp\n }}\nscoring all for few {{\n \
         harp plays low as bass, \"sonore\"\n}}\n",
        bars(20, "1/2 C3 D3"),
    );
    let page = &part_of(&text, &Setup::default()).pages[0];
    let lines = of(page, Kind::StaffLine);
    let lines: Vec<f64> = lines.iter().map(|line| line.bounds().center().y).collect();
    let words = texts(page, "sonore")[0].bounds();
    assert!(lines[4] < words.y0 && words.y1 < lines[5], "{words:?} {lines:?}");
}

#[test]
fn the_marks_of_a_cue_are_as_small_as_its_notes() {
    let text = format!(
        "{OBOES}voice one {{ {} 17: 1/4 E5[trill] F5[accent] 1/2 G5[trill] | 18: 1/4 G5 F5 G5 G5 | 19: 1/1 C5 | 20: C5 | }}\n\
         voice two {{ 1: rest 18 | 19: 1/1 C5 | 20: C5 | }}\n\
         scoring all for few {{\n oboe.1 plays one as melody\n oboe.2 plays two as harmony\n \
         bassoon plays two 8vb as bass\n}}\n",
        bars(16, "1/1 C5"),
    );
    let widths = |player: usize| -> Vec<f64> {
        let page = &part_with_cues(&text, player, &Setup::default()).pages[0];
        let marks = of(page, Kind::Articulation).into_iter();
        let mut widths: Vec<f64> = marks.map(|mark| mark.bounds().width()).collect();
        widths.sort_by(f64::total_cmp);
        widths
    };
    let (own, cue) = (widths(0), widths(1));
    assert!(own.len() > 2 && cue.len() > 2, "{own:?} {cue:?}");
    assert!(cue[cue.len() - 1] < 0.8 * own[own.len() - 1], "{own:?} {cue:?}");
}

#[test]
fn the_brackets_of_an_accidental_keep_clear_of_it_and_of_the_ledger_line() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 8 end";
    for (altered, plain) in [("Bb4", "B4"), ("Ab5", "A5"), ("C#6", "C6"), ("G#3", "G3")] {
        let tune: String = (1..=4)
            .map(|n| format!("{}: 1/1 {altered} | {}: {plain} | ", 2 * n - 1, 2 * n))
            .collect();
        let page = &part(form, &tune).pages[0];
        let mut signs: Vec<kurbo::Rect> =
            of(page, Kind::Accidental).iter().map(|sign| sign.bounds()).collect();
        signs.sort_by(|a, b| {
            (a.y0 / 20.0).round().total_cmp(&(b.y0 / 20.0).round()).then(a.x0.total_cmp(&b.x0))
        });
        // An accidental without brackets, then one between them.
        let [_, left, sign, right] = signs[..4] else { panic!("{signs:?}") };
        assert!(left.x1 < sign.x0 - 0.02 && sign.x1 < right.x0, "{altered}: {signs:?}");
        let ledgers = of(page, Kind::Ledger).into_iter().map(|line| line.bounds());
        let behind = ledgers.filter(|line| line.x1 > right.x0 && line.x0 < right.x1 + 3.0);
        let near = behind.filter(|line| (line.y0 - sign.center().y).abs() < 4.0);
        assert!(near.map(|line| line.x0).all(|x| right.x1 < x), "{altered}");
    }
}

#[test]
fn the_brackets_of_an_accidental_keep_clear_of_the_ledger_lines_of_a_chord() {
    for (altered, plain) in [("B3&Db4&F4", "B3&D4&F4"), ("F5&Gb5&B5", "F5&G5&B5")] {
        let text = format!(
            "piece \"Sluice\" {{ composer \"House copyist\" }}\n\
             form {{ 1 metre 4/4, key C major\n 2 end }}\n\
             voice tune {{ 1: 1/1 {altered} | 2: 1/2 {plain} {plain} | }}\n\
             ensemble few {{ era 1885\n vibraphone\n }}\n\
             scoring all for few {{\n vibraphone plays tune as melody\n}}\n"
        );
        let page = &part_of(&text, &Setup::default()).pages[0];
        let bracket = |mark: &&&crate::page::Mark| {
            matches!(mark.shape, Shape::Glyph { glyph: Glyph::AccidentalParensRight, .. })
        };
        let signs = of(page, Kind::Accidental);
        let [right] =
            signs.iter().filter(bracket).map(|sign| sign.bounds()).collect::<Vec<_>>()[..]
        else {
            panic!("{altered}: {signs:?}")
        };
        let ledgers = of(page, Kind::Ledger).into_iter().map(|line| line.bounds());
        let beside = ledgers.filter(|line| line.y1 > right.y0 && line.y0 < right.y1);
        let behind: Vec<f64> =
            beside.map(|line| line.x0).filter(|x| (x - right.x1).abs() < 3.0).collect();
        assert!(!behind.is_empty() && behind.iter().all(|x| right.x1 < *x), "{altered}");
        // The accidental itself stands within, with white on both sides.
        let bracket = |glyph: Glyph| {
            matches!(glyph, Glyph::AccidentalParensLeft | Glyph::AccidentalParensRight)
        };
        let inner = |mark: &&&crate::page::Mark| matches!(mark.shape, Shape::Glyph { glyph, .. } if !bracket(glyph));
        let inner = signs.iter().filter(inner).map(|sign| right.x0 - sign.bounds().x1);
        let white = inner.filter(|gap| (0.0..0.5).contains(gap)).fold(f64::MAX, f64::min);
        assert!((0.08..0.3).contains(&white), "{altered}: {white}");
    }
}

#[test]
fn the_sign_of_a_broken_chord_keeps_off_its_ledger_lines() {
    for chord in ["C4&E4&G4", "F5&A5&C6", "A3&E4&C6"] {
        let text = format!(
            "piece \"Sluice\" {{ composer \"House copyist\" }}\n\
             form {{ 1 metre 4/4, key C major\n 2 end }}\n\
             voice tune {{ 1: 1/1 {chord}[arpeggio] | 2: 1/2 {chord}[arpeggio] {chord} | }}\n\
             ensemble few {{ era 1885\n vibraphone\n }}\n\
             scoring all for few {{\n vibraphone plays tune as melody\n}}\n"
        );
        let page = &part_of(&text, &Setup::default()).pages[0];
        let wave = |mark: &&crate::page::Mark| {
            matches!(mark.shape, Shape::Glyph { glyph: Glyph::WiggleArpeggiatoUp, .. })
        };
        let waves: Vec<_> = page.marks.iter().filter(wave).map(|mark| mark.bounds()).collect();
        let ledgers: Vec<_> = of(page, Kind::Ledger).iter().map(|line| line.bounds()).collect();
        assert!(waves.len() > 3 && !ledgers.is_empty(), "{chord}");
        for wave in waves {
            let gaps = ledgers.iter().map(|line| line.x0 - wave.x1).filter(|gap| *gap > -1.0);
            let gap = gaps.fold(f64::MAX, f64::min);
            assert!(gap > 0.08, "{chord}: {gap}");
        }
    }
}

/// Common practice: where stems go both ways the slur lies above, and over the end of a stem that goes up.
#[test]
fn a_slur_between_unlike_stems_begins_or_ends_clear_over_the_tip_of_a_stem() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 24 end";
    for (pair, rises) in [("G4 B4", false), ("E4 C5", false), ("B4 G4", true), ("C5 A4", true)] {
        for count in [4, 12, 24] {
            let setup = Setup { lines: vec![count], ..Setup::default() };
            let tune = bars(24, &format!("1/4 {{{pair}}} 1/2 B4"));
            let page = &part_in(form, &tune, &setup).pages[0];
            let stems: Vec<_> = of(page, Kind::Stem).iter().map(|stem| stem.bounds()).collect();
            for (from, to) in slurs(page) {
                let tip = if rises { to } else { from };
                let near = |stem: &&kurbo::Rect| {
                    (stem.center().x - tip.x).abs() < 0.3
                        && stem.y1 > tip.y
                        && stem.y0 < tip.y + 4.0
                };
                let stem = stems.iter().find(near).expect("a stem under the slur");
                let air = stem.y0 - tip.y;
                assert!((0.4..1.2).contains(&air), "{pair} in {count} bars: {air}");
            }
        }
    }
}

#[test]
fn the_half_of_a_slur_is_not_held_up_by_the_accidental_of_its_last_note() {
    let form = "1 metre 6/8, key Eb major, tempo 3/8 at 46\n 4 end";
    let setup = Setup { lines: vec![2], ..Setup::default() };
    let begins = |last: &str| {
        let tune = format!("1: 3/4 D5 | 2: 3/8 D5 {{F5 | 3: = {last}}} | 4: 3/4 D5 |");
        let page = &part_in(form, &tune, &setup).pages[0];
        slurs(page)[1].0.y
    };
    let (plain, signed) = (begins("Eb5"), begins("E5"));
    assert!(plain - signed < 1.0, "{} higher", plain - signed);
}

#[test]
fn a_slur_over_a_tuplet_does_not_cross_its_bracket() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 4 end";
    for notes in ["{G4 F4 C5}", "{C5 F4 G4}", "F4 {G4 C5}", "{B4 E4 A4}"] {
        let tune = bars(4, &format!("3:2(1/4 {notes}) 1/2 B4"));
        let page = &part(form, &tune).pages[0];
        let line = |mark: &&crate::page::Mark| mark.bounds().width() > 1.0;
        let brackets: Vec<kurbo::Rect> =
            of(page, Kind::Tuplet).into_iter().filter(line).map(|mark| mark.bounds()).collect();
        let slurs = of(page, Kind::Slur);
        assert!(slurs.len() == 4 && brackets.len() >= 8, "{notes}: {brackets:?}");
        let crosses = |at: &kurbo::Point| {
            let meets = |bracket: &&kurbo::Rect| (bracket.x0..bracket.x1).contains(&at.x);
            let near = |bracket: &&kurbo::Rect| (bracket.center().y - at.y).abs() < 8.0;
            brackets.iter().filter(meets).find(near).map(|bracket| bracket.center().y - at.y)
        };
        for slur in slurs {
            let off: Vec<f64> = outline(slur).iter().filter_map(crosses).collect();
            assert!(
                off.iter().all(|off| *off > 0.2) || off.iter().all(|off| *off < 0.0),
                "{notes}"
            );
        }
    }
}

/// Of slurs over a tie and the note behind it none is much higher than others, whatever the line of the staff on
/// which the tie lies.
#[test]
fn a_slur_over_a_tie_is_no_hoop() {
    for (tied, last) in [("D5", "C5"), ("E5", "D5"), ("F5", "E5")] {
        let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 8 end";
        let pair = |bar: i32| {
            let behind = bar + 1;
            format!("{bar}: 1/2. C5 1/4 {{{tied} | {behind}: = 1/2 {last}}} 1/4 C5 | ")
        };
        let tune: String = (1..=8).step_by(2).map(pair).collect();
        let page = &part(form, &tune).pages[0];
        let slurs: Vec<_> = of(page, Kind::Slur).iter().map(|slur| slur.bounds()).collect();
        assert!(slurs.len() >= 4, "{tied}");
        for slur in slurs {
            let by_itself = super::measures::slur_height(slur.width());
            assert!(slur.height() < 2.0 * by_itself, "{tied}: {slur:?}");
        }
    }
}

//! Words and small signs over a staff: clear of what they do not belong to, and near to their own.

use ripieno_compiler::music::Time;
use ripieno_writers::edition::DirectionKind;

use crate::glyphs::Glyph;
use crate::page::{Kind, Mark, Page, Shape};
use crate::paper::Setup;

use super::canvas::Canvas;
use super::directions::{self, Said};
use super::page_tests::bars;
use super::tests::{OBOES, of, part, part_in, part_with_cues, score_sheet, texts};

/// Boxes of the words of a page that begin like that.
fn begin(page: &Page, words: &str) -> Vec<kurbo::Rect> {
    let said = |mark: &&Mark| matches!(&mark.shape, Shape::Text { run, .. } if run.text.starts_with(words));
    page.marks.iter().filter(said).map(Mark::bounds).collect()
}

#[test]
fn a_breath_stands_over_the_staff_clear_of_its_beam_and_of_the_bar_line() {
    let form = "1 metre 3/4, key C major, tempo 1/4 at 96\n 24 end";
    for last in ["B4", "E5", "A5"] {
        let page = &part(form, &bars(24, &format!("1/4 G4 A4 1/8 G4 {last}[breath]"))).pages[0];
        let comma =
            |mark: &&Mark| matches!(mark.shape, Shape::Glyph { glyph: Glyph::BreathMarkComma, .. });
        let commas: Vec<_> = page.marks.iter().filter(comma).map(Mark::bounds).collect();
        assert_eq!(commas.len(), 24);
        let others = [Kind::Beam, Kind::Stem, Kind::Head, Kind::BarLine];
        let lines = of(page, Kind::StaffLine).into_iter().map(|line| line.bounds().center().y);
        let lines: Vec<f64> = lines.collect();
        for comma in commas {
            let near = comma.inflate(0.33, 0.0);
            for other in page.marks.iter().filter(|mark| others.contains(&mark.kind)) {
                assert!(!near.overlaps(other.bounds()), "{last}: {comma:?} at {other:?}");
            }
            let below = lines.iter().filter(|line| **line > comma.y0 - 0.5);
            let top = below.copied().fold(f64::MAX, f64::min);
            assert!(comma.y1 < top - 0.2, "{last}: {comma:?} over the line at {top}");
        }
    }
}

#[test]
fn the_name_of_a_cue_is_not_read_with_a_tempo_before_it() {
    let mut near = 0;
    for long in 1..12 {
        let words = "m".repeat(long);
        let form = format!(
            "form {{ 1 metre 4/4, key C major, tempo 1/4 at 96\n 11 tempo \"{words}\" 1/4 at 60\n 21 end }}"
        );
        let text = format!(
            "{OBOES}voice one {{ {} }}\nvoice two {{ 1: rest 18 | 19: 1/1 C4 | 20: C4 | }}\n\
             scoring all for few {{\n oboe.1 plays one as melody\n oboe.2 plays one as harmony\n \
             bassoon plays two as bass\n}}\n",
            bars(20, "1/2 C5 1/4 E5 F5"),
        );
        let from = text.find("form {").expect("there is a form");
        let to = from + text[from..].find('}').expect("which ends") + 1;
        let text = format!("{}{form}{}", &text[..from], &text[to..]);
        let page = &part_with_cues(&text, 2, &Setup::default()).pages[0];
        let [tempo] = begin(page, "= 60)")[..] else { panic!("{long}: one tempo") };
        for name in begin(page, "Ob.") {
            if (-0.5..4.0).contains(&(name.x0 - tempo.x1)) && (tempo.y1 - name.y0).abs() < 4.0 {
                assert!(tempo.y1 < name.y0, "{long}: {name:?} beside {tempo:?}");
                near += 1;
            }
        }
    }
    assert!(near > 0, "{near}");
}

#[test]
fn letter_and_tempo_over_the_strings_begin_where_they_do_over_the_top_staff() {
    let text = format!(
        "piece \"Sluice\" {{ composer \"House copyist\" }}\n\
         form {{ 1 metre 4/4, key C major, tempo 1/4 at 96\n 5 mark \"A\", tempo \"Calmo\"\n 9 end }}\n\
         voice one {{ {} }}\n\
         ensemble few {{ era 1885\n flute, oboe, clarinet, bassoon, violin 2, viola, cello\n }}\n\
         scoring all for few {{\n flute plays one as melody\n oboe plays one as harmony\n \
         clarinet plays one as harmony\n bassoon plays one 8vb as bass\n violin.1 plays one as melody\n \
         violin.2 plays one as melody\n viola plays one as melody\n cello plays one 8vb as bass\n}}\n",
        bars(8, "1/4 C5 D5 E5 D5"),
    );
    let setup = Setup { lines: vec![4], ..Setup::default() };
    let pages = super::pages(&score_sheet(&text, false), &setup).pages;
    for words in ["A", "Calmo"] {
        let found: Vec<_> = pages.iter().flat_map(|page| texts(page, words)).collect();
        let [top, again] = found[..] else { panic!("{words} stands {} times", found.len()) };
        assert!((top.bounds().x0 - again.bounds().x0).abs() < 0.01, "{words}: {top:?} {again:?}");
    }
}

#[test]
fn words_begin_before_their_note_where_their_end_would_hold_them_off() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 9 end";
    let mut earlier = 0;
    for long in 4..30 {
        let words = "m".repeat(long);
        let tune = format!(
            "1: [\"{words}\"] 1/4 C5 C5 C5 C5 | {}",
            &bars(8, "1/4 C7 C7 C7 C7")["1: 1/4 C7 C7 C7 C7 | ".len()..]
        );
        let setup = Setup { lines: vec![5], ..Setup::default() };
        let page = &part_in(form, &tune, &setup).pages[0];
        let [said] = begin(page, &words)[..] else { continue };
        let first = of(page, Kind::Head)[0].bounds();
        let lifted = first.y0 - said.y1 > 5.0;
        assert!((-1.6..0.3).contains(&(said.x0 - first.x0)), "{long}: {said:?} over {first:?}");
        if first.x0 - said.x0 > 0.4 {
            earlier += 1;
            assert!(!lifted, "{long}: {said:?} over {first:?}");
        }
    }
    assert!(earlier > 0, "{earlier}");
}

#[test]
fn an_order_behind_a_fermata_keeps_clear_of_it() {
    let kind = DirectionKind::Change("change to D".into());
    for wide in 0..32 {
        let mut canvas = Canvas::new(80.0);
        canvas.glyph((Kind::Articulation, None), Glyph::FermataAbove, (50.0, -3.0), 1.0);
        let fermata = canvas.marks[0].bounds();
        let room = Some((48.0, 58.0 + f64::from(wide) / 4.0));
        let (left, at) = (53.0 + f64::from(wide) / 4.0, (0, Time::ZERO));
        let order = Said {
            kind: &kind,
            x: 50.0,
            left,
            clear: f64::MIN,
            room,
            at_end: true,
            at,
            above: true,
        };
        directions::words(&mut canvas, &[order], 80.0);
        assert_eq!(canvas.marks.len(), 3, "two lines");
        for line in &canvas.marks[1..] {
            let beside = fermata.inflate(0.7, 0.0).overlaps(line.bounds());
            assert!(!beside, "{wide}: {:?} at {fermata:?}", line.bounds());
        }
    }
}

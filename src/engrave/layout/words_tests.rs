//! Words and small signs over a staff: clear of what they do not belong to, and near to their own.

use ripieno_compiler::music::Time;
use ripieno_writers::edition::DirectionKind;

use crate::glyphs::Glyph;
use crate::page::{Kind, Mark, Page, Shape};
use crate::paper::Setup;
use crate::text::Face;

use super::canvas::Canvas;
use super::directions::{self, Said};
use super::orders::{self, Begins, Need};
use super::page_tests::bars;
use super::tests::{OBOES, of, part, part_in, part_of, part_with_cues, score_sheet, texts};

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
fn a_breath_after_a_long_note_stands_at_its_end() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 9 end";
    for long in ["1/1 B4[breath]", "1/2. B4[breath] 1/4 C5", "1/1 A4[breath]"] {
        let page = &part(form, &bars(9, long)).pages[0];
        let comma =
            |mark: &&Mark| matches!(mark.shape, Shape::Glyph { glyph: Glyph::BreathMarkComma, .. });
        let commas: Vec<_> = page.marks.iter().filter(comma).map(Mark::bounds).collect();
        assert_eq!(commas.len(), 9);
        let next = [Kind::Head, Kind::BarLine];
        let next: Vec<_> =
            page.marks.iter().filter(|mark| next.contains(&mark.kind)).map(Mark::bounds).collect();
        for comma in commas {
            let near = |mark: &&kurbo::Rect| (mark.center().y - comma.y1).abs() < 5.0;
            let behind = next.iter().filter(near).map(|mark| mark.x0 - comma.x1);
            let gap = behind.filter(|gap| *gap > 0.0).fold(f64::MAX, f64::min);
            assert!(gap < 2.0, "{long}: {gap} before what follows");
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
            early: f64::MAX,
            room,
            bar_end: 80.0,
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

#[test]
fn rests_share_in_the_room_for_an_order_over_them() {
    let need = |begins| Need { staff: 0, column: Some(3), width: 14.0, begins };
    // Three notes and a rest.
    let mut places = [1.0, 5.0, 9.0, 12.0];
    let end = orders::end([need(Begins::BehindNote(2))].iter(), &mut places, 15.0);
    assert!((end - (9.0 + orders::BEHIND_NOTE + 14.0)).abs() < 1e-9, "{end}");
    assert!(places[..3] == [1.0, 5.0, 9.0] && places[3] > 15.0 && places[3] < 18.0, "{places:?}");
    let end = orders::end([need(Begins::AtPlace)].iter(), &mut [1.0, 5.0, 9.0, 12.0], 15.0);
    assert!((end - 26.0).abs() < 1e-9, "{end}");
}

#[test]
fn words_that_send_elsewhere_stand_low_beside_the_number_of_a_rest() {
    let form = "1 metre 3/4, key D major, tempo 1/4 at 120\n 8 fine\n 16 da capo al fine, end";
    let page = &part(form, &format!("{}9: rest 8", bars(8, "1/4 D5 E5 D5"))).pages[0];
    let lines: Vec<f64> = of(page, Kind::StaffLine).iter().map(|m| m.bounds().y0).collect();
    for words in ["Fine", "D.C. al Fine"] {
        let [said] = texts(page, words)[..] else { panic!("{words}") };
        let said = said.bounds();
        let top = lines.iter().copied().filter(|y| *y > said.y0 + 1.0).fold(f64::MAX, f64::min);
        assert!(top - said.y1 < 1.6, "{words}: {said:?} over {top}");
        for figure in of(page, Kind::Rest).iter().map(|mark| mark.bounds()) {
            assert!(!figure.inflate(1.4, 0.0).overlaps(said), "{words}: {said:?} at {figure:?}");
        }
    }
}

#[test]
fn an_order_over_the_next_bar_has_air_to_its_notes() {
    let kind = DirectionKind::Change("in C basso".into());
    let mut canvas = Canvas::new(80.0);
    canvas.glyph((Kind::Head, None), Glyph::NoteheadWhole, (30.0, -2.5), 1.0);
    let head = canvas.marks[0].bounds();
    let order = |bar_end| Said {
        kind: &kind,
        x: 22.0,
        left: 21.4,
        clear: f64::MIN,
        early: f64::MAX,
        room: Some((0.5, 70.0)),
        bar_end,
        at_end: false,
        at: (0, Time::ZERO),
        above: true,
    };
    directions::words(&mut canvas, &[order(28.0)], 80.0);
    let words = canvas.marks[1].bounds();
    assert!(words.x1 > head.x0, "{words:?}");
    assert!(head.y0 - words.y1 > 0.95, "{words:?} over {head:?}");
}

#[test]
fn letters_of_a_line_share_a_height_that_is_not_far_above_it() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 3 mark \"A\"\n 5 mark \"B\"\n 7 end";
    let feet = |high: &str| -> [f64; 2] {
        let tune = format!("{}5: 1/1 {high} | 6: 1/1 C5 |", bars(4, "1/1 C5"));
        let page = &part(form, &tune).pages[0];
        ["A", "B"].map(|mark| texts(page, mark)[0].bounds().y1)
    };
    // Held up by seven spaces, but not farther than twice the height of the staff above it; and by more.
    let (near, far) = (feet("E7"), feet("C8"));
    assert!((near[0] - near[1]).abs() < 0.01, "{near:?}");
    assert!(far[0] - far[1] > 7.0, "{far:?}");
}

#[test]
fn a_letter_is_not_read_with_an_accent_beside_it() {
    let mut seen = 0;
    for note in ["G5", "A5", "B5", "C6", "D6", "E6"] {
        let text = format!(
            "{OBOES}voice one {{ {} }}\nscoring all for few {{\n oboe.1 plays one as melody\n \
             oboe.2 plays one as harmony\n bassoon plays one 8vb as bass\n}}\n",
            bars(19, &format!("1/4 {note}[accent] {note} {note} {note}")),
        );
        let text = text.replace("20 end", "5 mark \"I\"\n 20 end");
        for page in super::pages(&score_sheet(&text, false), &Setup::default()).pages {
            let accents = of(&page, Kind::Articulation);
            for frame in of(&page, Kind::Frame).iter().map(|frame| frame.bounds()) {
                let near = frame.inflate(0.9, 0.0);
                assert!(!accents.iter().any(|sign| near.overlaps(sign.bounds())), "{note}");
                seen += 1;
            }
        }
    }
    assert!(seen > 5, "{seen}");
}

#[test]
fn the_number_of_a_player_stands_before_the_stem_of_a_small_note() {
    let text = format!(
        "{OBOES}voice one {{ {} }}\nvoice two {{ {} 11: rest 9 }}\nscoring all for few {{\n \
         oboe.1 plays one as melody\n oboe.2 plays two as harmony\n bassoon plays one 8vb as bass\n}}\n",
        bars(19, "1/2 grace(1/8 B5) A5 1/2 G5"),
        bars(10, "1/2 C5 1/2 E5"),
    );
    let mut seen = 0;
    for page in super::pages(&score_sheet(&text, true), &Setup::default()).pages {
        let stems = of(&page, Kind::Stem).into_iter().map(Mark::bounds);
        let stems: Vec<kurbo::Rect> = stems.filter(|stem| stem.height() < 2.9).collect();
        let lines = of(&page, Kind::BarLine).into_iter().map(Mark::bounds);
        let lines: Vec<kurbo::Rect> = lines.collect();
        for number in texts(&page, "1.").iter().map(|mark| mark.bounds()) {
            let near = |stem: &&kurbo::Rect| {
                (stem.center().y - number.center().y).abs() < 4.0 && stem.x0 > number.x0
            };
            let stem = stems.iter().filter(near).map(|stem| stem.x0).fold(f64::MAX, f64::min);
            assert!((0.0..2.0).contains(&(stem - number.x1)), "{number:?} before {stem}");
            let through = number.inflate(0.1, 6.0);
            assert!(!lines.iter().any(|line| through.overlaps(*line)), "{number:?}");
            seen += 1;
        }
    }
    assert!(seen > 0);
}

#[test]
fn the_hook_of_an_octave_line_keeps_clear_of_a_word_beyond_it() {
    let form = "1 metre 4/4, key C major, tempo \"Calmo\" 1/4 at 60\n 4 tempo \"rit.\"\n 6 end";
    let high = "1/8 B6 C7 D7 C7 B6 C7 D7 C7";
    let text = format!(
        "piece \"Sluice\" {{ composer \"House copyist\" }}\nform {{ {form} }}\n\
         voice tune {{ 1: 1/1 C5 | 2: {high} | 3: {high} | 4: 1/1 C5 | 5: C5 | 6: C5 | }}\n\
         ensemble few {{ era 1885\n violin-1\n }}\nscoring all for few {{\n violin-1 plays tune as melody\n}}\n"
    );
    let page = &part_of(&text, &Setup::default()).pages[0];
    let word = texts(page, "rit.")[0].bounds();
    let line = texts(page, "8va")[0].bounds();
    let hooks = of(page, Kind::Frame).into_iter().map(|mark| mark.bounds());
    let hooks: Vec<_> = hooks
        .filter(|mark| mark.x0 > line.x1 && mark.height() > mark.width() && mark.height() < 1.2)
        .collect();
    let [hook] = hooks[..] else { panic!("{hooks:?}") };
    assert!(hook.x1 + 0.8 < word.x0, "{hook:?} before {word:?}");
}

/// Our heuristic: 6.5 points, whatever the size of the staves.
#[test]
fn numbers_of_bars_can_be_read_in_a_score_of_small_staves() {
    let text = super::tests::many_oboes(24, "1/4 A4 C5 E5 1/8 D5 C5");
    let pages = super::pages(&score_sheet(&text, false), &Setup::default()).pages;
    let mut seen = 0;
    for page in &pages[1..] {
        assert!(page.space < 1.2, "small staves: {} mm a space", page.space);
        for mark in of(page, Kind::Text) {
            let Shape::Text { run, .. } = &mark.shape else { continue };
            if run.face == Face::Italic && run.text.parse::<u32>().is_ok() {
                let points = run.size * page.space / 25.4 * 72.0;
                assert!(points > 6.4, "{} is {points} points high", run.text);
                seen += 1;
            }
        }
    }
    assert!(seen > 1, "{seen} numbers");
}

#[test]
fn words_over_a_staff_keep_off_its_upper_line_whatever_their_letters() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 4 end";
    for words in ["sonore", "espressivo"] {
        let source = format!(
            "piece \"Sluice\" {{ composer \"House copyist\" }}\nform {{ {form} }}\nvoice tune {{ {} }}\n\
             ensemble few {{ era 1885\n flute\n }}\nscoring all for few {{\n flute plays tune as melody, \"{words}\"\n}}\n",
            bars(4, "1/4 C5 A4 C5 A4"),
        );
        let page = &part_of(&source, &Setup::default()).pages[0];
        let said = page.marks.iter().find_map(|mark| match &mark.shape {
            Shape::Text { at, run } if run.text == words => Some(at.y),
            _ => None,
        });
        let base = said.expect("the words");
        let lines = of(page, Kind::StaffLine).into_iter().map(|mark| mark.bounds().center().y);
        let top = lines.fold(f64::MAX, f64::min);
        assert!(top - base > 0.75, "{words}: {} over the line", top - base);
    }
}

#[test]
fn a_line_of_octaves_ends_with_the_last_note_under_it() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 60\n 6 end";
    let high = "1/4 B6 C7 D7 1/4 C#5";
    let text = format!(
        "piece \"Sluice\" {{ composer \"House copyist\" }}\nform {{ {form} }}\n\
         voice tune {{ 1: 1/1 C5 | 2: {high} | 3: 1/1 C5 | 4: 1/1 C5 | 5: C5 | }}\n\
         ensemble few {{ era 1885\n violin-1\n }}\nscoring all for few {{\n violin-1 plays tune as melody\n}}\n"
    );
    let page = &part_of(&text, &Setup::default()).pages[0];
    let line = texts(page, "8va")[0].bounds();
    let hooks = of(page, Kind::Frame).into_iter().map(|mark| mark.bounds());
    let mut hooks = hooks
        .filter(|mark| mark.x0 > line.x1 && mark.height() > mark.width() && mark.height() < 1.2);
    let hook = hooks.next().expect("the line has a hook");
    let heads: Vec<_> = of(page, Kind::Head).into_iter().map(|mark| mark.bounds()).collect();
    let last = heads.iter().filter(|head| head.x0 < hook.x1).map(|head| head.x1);
    let last = last.fold(f64::MIN, f64::max);
    let sharp = of(page, Kind::Accidental)[0].bounds();
    assert!((0.0..0.5).contains(&(hook.x0 - last)), "{hook:?} behind {last}");
    assert!(hook.x1 + 0.3 < sharp.x0, "{hook:?} before {sharp:?}");
}

#[test]
fn a_plus_sign_of_a_metre_stands_clear_of_its_figures() {
    let page = &part("1 metre 2+2+3/8, key C major\n 9 end", &bars(8, "1/2 C5 3/8 D5")).pages[0];
    let mut row: Vec<_> = of(page, Kind::Metre).into_iter().map(|mark| mark.bounds()).collect();
    let top = row.iter().map(|figure| figure.center().y).fold(f64::MAX, f64::min);
    row.retain(|figure| figure.center().y < top + 0.5);
    row.sort_by(|a, b| a.x0.total_cmp(&b.x0));
    assert_eq!(row.len(), 5);
    assert!(row.windows(2).all(|pair| pair[1].x0 - pair[0].x1 > 0.2), "{row:?}");
}

#[test]
fn words_that_send_back_stand_on_the_line_of_the_tempo_behind_them_and_over_their_own_bar() {
    let form = "1 metre 4/4, key A major, tempo 1/4 at 60\n 1 segno\n 4 to coda\n 5..8 repeat\n 8 ending 1\n \
                9 ending 2, dal segno al coda\n \
                10 coda, key E major, metre cut, tempo \"Più mosso\" 1/2 at 132\n 17 end";
    let page = &part(form, &bars(16, "1/1 C5")).pages[0];
    let at = |words: &str| match &texts(page, words)[0].shape {
        Shape::Text { at, .. } => *at,
        _ => panic!("words"),
    };
    let (jump, tempo) = (texts(page, "D.S. al Coda")[0].bounds(), texts(page, "Più mosso")[0]);
    assert!((at("D.S. al Coda").y - at("Più mosso").y).abs() < 1e-6, "on one base line");
    assert!(tempo.bounds().x0 - jump.x1 > 2.5, "{jump:?} before {tempo:?}");
    let second =
        texts(page, "2.").first().map_or_else(|| texts(page, "2")[0].bounds(), |it| it.bounds());
    assert!(jump.x0 > second.x0 - 1.0, "{jump:?} over the ending before {second:?}");
    let coda = |mark: &&Mark| matches!(mark.shape, Shape::Glyph { glyph: Glyph::Coda, .. });
    let codas: Vec<_> = page.marks.iter().filter(coda).map(Mark::bounds).collect();
    let coda = *codas.iter().max_by(|a, b| a.y0.total_cmp(&b.y0)).expect("there is a coda");
    let lines = of(page, Kind::BarLine).into_iter().map(|mark| mark.bounds());
    let before = lines
        .filter(|line| line.y0 > coda.y1 && line.y0 < coda.y1 + 6.0 && line.x1 < coda.center().x);
    let before = before.map(|line| line.x1).fold(f64::MIN, f64::max);
    assert!(coda.x0 - before < 1.0, "{coda:?} behind the bar line at {before}");
}

#[test]
fn to_coda_has_the_sign_of_the_coda_behind_it_within_its_bar() {
    let form =
        "1 metre 4/4, key C major\n 1 segno\n 2 to coda\n 4 dal segno al coda\n 5 coda\n 8 end";
    let page = &part(form, &bars(8, "1/4 C6 D6 E6 G6")).pages[0];
    let words = texts(page, "To Coda")[0].bounds();
    let coda = |mark: &&Mark| matches!(mark.shape, Shape::Glyph { glyph: Glyph::Coda, .. });
    let codas: Vec<_> = page.marks.iter().filter(coda).map(Mark::bounds).collect();
    assert_eq!(codas.len(), 2, "one behind the words, one over the coda");
    let sign = codas.iter().find(|sign| (sign.center().y - words.center().y).abs() < 0.5);
    let sign = sign.expect("one on the line of the words");
    assert!((0.2..1.0).contains(&(sign.x0 - words.x1)), "{sign:?} behind {words:?}");
    let lines = of(page, Kind::BarLine).into_iter().map(|mark| mark.bounds());
    let ends = lines.filter(|line| line.y0 > sign.y1 && line.y0 < sign.y1 + 6.0);
    assert!(ends.into_iter().any(|line| (0.0..1.5).contains(&(line.x0 - sign.x1))), "{sign:?}");
    let heads = of(page, Kind::Head).into_iter().map(|mark| mark.bounds());
    assert!(
        heads.into_iter().all(|head| head.intersect(*sign).area() <= 0.0),
        "clear of the notes"
    );
}

#[test]
fn when_an_order_holds_stands_over_it_in_a_line_of_its_own() {
    let lines =
        |room| orders::lines("last time: change to G", room).into_iter().map(|run| run.text);
    assert!(lines(0.0).eq(["last time:", "change", "to G"]));
    assert!(lines(12.0).eq(["last time:", "change to G"]));
    assert!(lines(40.0).eq(["last time: change to G"]));
}

#[test]
fn lines_of_orders_stand_at_one_distance_whatever_their_letters_are() {
    let distances = ["last time: change to G", "change to D", "take Piccolo"].map(|words| {
        let mut canvas = Canvas::new(80.0);
        let kind = DirectionKind::Change(words.into());
        let order = Said {
            kind: &kind,
            x: 22.0,
            left: 21.4,
            clear: f64::MIN,
            early: f64::MAX,
            room: Some((0.5, 26.0)),
            bar_end: 26.0,
            at_end: false,
            at: (0, Time::ZERO),
            above: true,
        };
        directions::words(&mut canvas, &[order], 80.0);
        let bases = canvas.marks.iter().filter_map(|mark| match &mark.shape {
            Shape::Text { at, .. } => Some(at.y),
            _ => None,
        });
        let bases: Vec<f64> = bases.collect();
        assert!(bases.len() > 1, "{words}");
        bases.windows(2).map(|pair| pair[0] - pair[1]).collect::<Vec<f64>>()
    });
    assert!(
        distances.iter().flatten().all(|far| (far - orders::LINE).abs() < 1e-9),
        "{distances:?}"
    );
}

#[test]
fn notes_before_a_rest_share_in_the_room_for_an_order_that_asks_for_little() {
    let need = Need { staff: 0, column: Some(3), width: 6.0, begins: Begins::BehindNote(2) };
    let mut places = [1.0, 4.0, 7.0, 10.0];
    let end = orders::end([need].iter(), &mut places, 13.0);
    assert!(end - (places[2] + orders::BEHIND_NOTE) > 6.0 - 1e-9, "{end} behind {places:?}");
    let step = places[1] - places[0];
    assert!(step > 3.5 && places.windows(2).all(|two| (two[1] - two[0] - step).abs() < 1e-9));
}

#[test]
fn an_order_begins_a_little_earlier_rather_than_in_two_lines() {
    let lines = |early: f64| {
        let kind = DirectionKind::Change("in C basso".into());
        let whole = orders::lines("in C basso", 80.0)[0].width;
        let mut canvas = Canvas::new(80.0);
        let left = 41.5 - whole;
        let order = Said {
            kind: &kind,
            x: left + 0.6,
            left,
            clear: f64::MIN,
            early: left - early,
            room: Some((0.5, 40.0)),
            bar_end: 40.4,
            at_end: false,
            at: (0, Time::ZERO),
            above: true,
        };
        directions::words(&mut canvas, &[order], 80.0);
        canvas.marks.len()
    };
    assert_eq!([lines(2.0), lines(1.0)], [1, 2]);
}

#[test]
fn an_order_at_the_end_of_a_short_line_has_the_room_behind_it() {
    let mut seen = 0;
    for (count, before) in (10..14).zip(9..) {
        let setup = Setup { lines: vec![before], ..Setup::default() };
        let text = format!(
            "piece \"Sluice\" {{ composer \"House copyist\" }}\n\
             form {{ 1 metre 3/4, key C major, tempo 1/4 at 96\n 3 fine\n {count} da capo al fine, end }}\n\
             voice call {{ {} {count}: 1/2 C5 1/4 rest | }}\n\
             ensemble few {{ era 1770\n horn crook Eb\n }}\nscoring all for few {{\n \
             horn plays call as melody\n horn takes crook C basso bar 5\n}}\n",
            bars(count - 1, "1/4 C5 C5 C5").replace("4: 1/4 C5 C5 C5", "4: rest"),
        );
        let page = &part_of(&text, &setup).pages[0];
        let lines: Vec<f64> =
            of(page, Kind::StaffLine).iter().map(|line| line.bounds().x1).collect();
        let (first, last) = (lines[0], lines[lines.len() - 1]);
        if last < first - 20.0 {
            let orders = begin(page, "change to E");
            let own = orders.iter().filter(|order| order.x1 > last - 8.0);
            seen += own.clone().count();
            assert!(own.clone().all(|order| order.x0 < last), "{own:?} behind {last}");
        }
    }
    assert!(seen > 1, "{seen}");
}

#[test]
fn the_accidental_of_a_trill_is_of_its_sign_and_moves_with_it() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 1 end";
    let page = part(form, "1: 1/4 E5[trill F#] G5[turn Ab] 1/2 C5 |").pages.remove(0);
    assert!(of(&page, Kind::Accidental).is_empty());
    assert_eq!(of(&page, Kind::Articulation).len(), 4);
}

//! What stands beside its column, or beside that of another voice: small notes of both, seconds, rests.

use kurbo::Rect;

use super::chord::half_stroke;
use super::page_tests::bars;
use super::spacing::{Line, TIGHTEST, bar_spaces, place_line};
use super::tests::{OBOES, of, part_of, score, score_sheet, texts};
use crate::page::{Kind, Mark, Page};
use crate::paper::Setup;

/// A condensed score of two oboes at levels of their own, and so with stems of their own; every bar alike.
fn oboes(one: &str, two: &str) -> Page {
    let text = format!(
        "{OBOES}voice one {{ {} }}\nvoice two {{ {} }}\nscoring all for few {{\n oboe.1 plays one as melody, at f\n \
         oboe.2 plays two as harmony, at p\n bassoon rests\n}}\n",
        bars(20, one),
        bars(20, two),
    );
    score(&text, true).pages[0].clone()
}

fn boxes(page: &Page, kind: Kind) -> Vec<Rect> {
    of(page, kind).into_iter().map(Mark::bounds).collect()
}

/// Those of one kind that lie on heads.
fn over_heads(page: &Page, kind: Kind) -> Vec<Rect> {
    let heads = boxes(page, Kind::Head);
    let signs = boxes(page, kind);
    assert!(signs.len() > 5, "{} of {}", signs.len(), kind.name());
    let over = |sign: &Rect| heads.iter().any(|head| head.intersect(*sign).area() > 0.02);
    signs.into_iter().filter(over).collect()
}

#[test]
fn small_notes_of_two_voices_keep_clear_of_one_another_where_the_upper_note_alone_has_a_sign() {
    let tune = "1/1 grace(1/16 C#5) Ab4";
    let page = oboes(tune, tune);
    let over = over_heads(&page, Kind::Accidental);
    assert!(over.is_empty(), "{over:?}");
}

#[test]
fn a_rest_keeps_clear_of_a_head_of_the_other_voice_struck_just_before_it() {
    let upper = "5:4( 1/16 A5 A5 A5 rest A5 ) 1/4 A5 1/2 A5";
    let lower = "1/8 F5 1/64 F5 F5 3/32 F5 1/4 F5 1/2 F5";
    let page = oboes(upper, lower);
    let over = over_heads(&page, Kind::Rest);
    assert!(over.is_empty(), "{over:?}");
}

/// A player would read them as they stand.
#[test]
fn an_octave_line_goes_over_the_small_notes_and_seconds_that_it_moves_and_no_others() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 60\n 3 end";
    let high = "1/8 { grace(1/8 A6 B6) C7 D7 C7 D7 C7 D7 C7&D7 C7&D7 }";
    let within = |begin: &str, end: &str| {
        let text = format!(
            "piece \"Sluice\" {{ composer \"House copyist\" }}\nform {{ {form} }}\n\
             voice tune {{ 1: 1/1 C5 | 2: {begin} | 3: {end} | }}\n\
             ensemble few {{ era 1885\n violin-1\n }}\nscoring all for few {{\n violin-1 plays tune as melody\n}}\n"
        );
        let page = &part_of(&text, &Setup::default()).pages[0];
        let word = texts(page, "8va")[0].bounds();
        let level = |mark: &&Mark| mark.bounds().height() < 0.5;
        let dashes = of(page, Kind::Frame).into_iter().filter(level).map(Mark::bounds);
        let end = dashes.map(|dash| dash.x1).fold(word.x1, f64::max);
        let heads = boxes(page, Kind::Head);
        let middle = |head: &Rect| head.center().x;
        heads.iter().filter(|head| (word.x0 - 0.1..end).contains(&middle(head))).count()
    };
    let low = "1/1 C5";
    assert_eq!(within(high, low), 12, "from the first small note");
    assert_eq!(within(high, "1/8 C7 D7 C7 D7 1/2 grace(1/8 C5 D5) E5"), 16, "to before others");
    assert_eq!(within(high, "1/8 C7 D7 C7 D7 1/2 C5&D5&E5&F5&G5"), 16, "to before seconds");
    let low = "1/8 C7&D7 D7 C7 D7 C7 D7 C7 D7";
    assert_eq!(within(low, "1/1 C5"), 9, "from seconds");
}

#[test]
fn strokes_of_a_tremolo_stand_clear_of_the_bar_line_behind_them() {
    let text = |mark: &str| {
        let bar = format!("1/2. D4{mark} 1/4 E4{mark}");
        format!(
            "{OBOES}voice one {{ {} }}\nscoring all for few {{\n oboe.1 plays one as melody\n oboe.2 rests\n bassoon rests\n}}\n",
            bars(20, &bar)
        )
    };
    // From the last note to the bar line of a line that is as full as can be.
    let behind = |mark: &str| {
        let sheet = score_sheet(&text(mark), false);
        let spaces = bar_spaces(&sheet);
        let (places, width) = spaces[1].place(TIGHTEST, &spaces[1].usual);
        let last = spaces[1].chords[0].last().expect("a note");
        (width - spaces[1].line - places[1], last.stem_x())
    };
    let ((plain, stem), (struck, _)) = (behind(""), behind("[tremolo 1/32]"));
    assert!(plain < stem + half_stroke() + 0.3, "{plain}: nothing holds it off");
    assert!(struck > stem + half_stroke() + 0.8, "{struck} from a stem at {stem}");
}

#[test]
fn a_crook_told_over_the_rest_of_a_pick_up_is_not_broken_for_the_bar_after_it() {
    let text = format!(
        "piece \"Sluice\" {{ composer \"House copyist\" }}\nform {{ 0 metre 3/4, key C major, pick-up 1/4, \
         tempo 1/4 at 96\n 12 end }}\nvoice call {{ 0: rest | {} }}\nensemble few {{ era 1770\n horn crook D\n }}\n\
         scoring all for few {{\n horn plays call bars 0..6, 10..12 as melody\n horn takes crook E bar 8\n}}\n",
        bars(12, "1/2. D4"),
    );
    let page = part_of(&text, &Setup::default()).pages.remove(0);
    assert_eq!(texts(&page, "in D").len(), 1);
}

/// Evening out the quarters takes room from what is shorter: in a line that has enough, not from a lone sixteenth.
#[test]
fn a_lone_sixteenth_keeps_its_room_where_longer_notes_have_more_than_theirs() {
    let text = format!(
        "{OBOES}voice one {{ {} }}\nvoice two {{ {} }}\nscoring all for few {{\n oboe.1 plays one as melody\n \
         oboe.2 plays two as harmony\n bassoon rests\n}}\n",
        bars(20, "1/4 C5 1/8. C5 1/16 D5 1/4 E5 G5"),
        bars(20, "1/4 C5 C5 C5 G4")
            .replace("8: 1/4 C5 C5 C5", "8: 1/4 C5 grace(1/16 D5 E5 D5) C5 C5"),
    );
    let sheet = score_sheet(&text, false);
    let spaces = bar_spaces(&sheet);
    let shown = Line { spaces: &spaces, shown: &spaces[4].usual };
    let natural: f64 = (4..12).map(|bar| spaces[bar].natural).sum();
    let lead = spaces[4].start.width();
    let line = |width: f64| place_line(shown, 4..12, (0.0, width), false);
    let (placed, stretch) = line(lead + 1.02 * natural);
    assert!((1.0..1.05).contains(&stretch), "{stretch}");
    for bar in &placed {
        let steps: Vec<f64> = bar.columns.windows(2).map(|pair| pair[1] - pair[0]).collect();
        assert!(steps[0] > 3.5, "a quarter has more than its room: {steps:?}");
        assert!(steps[2] > 1.74, "a sixteenth has its room: {steps:?}");
    }
}

/// In a full line the triplets follow the one whose accidentals need more, but not past the quarters behind them.
#[test]
fn quarters_stay_wider_than_eighths_of_a_triplet_that_are_made_even() {
    let triplets = "3:2(1/8 C5 D5 E5) 1/4 F5 G5 A5";
    let text = format!(
        "{OBOES}voice one {{ {} }}\nscoring all for few {{\n oboe.1 plays one as melody\n oboe.2 rests\n \
         bassoon rests\n}}\n",
        bars(20, triplets).replace("8: 3:2(1/8 C5 D5 E5)", "8: 3:2(1/8 C#5 D#5 E#5)"),
    );
    let sheet = score_sheet(&text, false);
    let spaces = bar_spaces(&sheet);
    let shown = Line { spaces: &spaces, shown: &spaces[4].usual };
    let natural: f64 = (4..12).map(|bar| spaces[bar].natural).sum();
    let lead = spaces[4].start.width();
    let (placed, _) = place_line(shown, 4..12, (0.0, lead + 0.75 * natural), false);
    // Without the bar of the sharps and the one that takes them back.
    for bar in placed.iter().filter(|bar| !(7..9).contains(&bar.bar)) {
        let steps: Vec<f64> = bar.columns.windows(2).map(|pair| pair[1] - pair[0]).collect();
        assert!(steps[3] > 1.15 * steps[1], "a quarter beside the eighth of a triplet: {steps:?}");
    }
}

/// The heads of the second bar of two oboes on one staff, and its dots, from left to right.
fn heads_and_dots(one: &str, two: &str) -> (Vec<Rect>, Vec<Rect>) {
    let page = oboes(one, two);
    let first = |kind| {
        let mut all = boxes(&page, kind);
        let top = all.iter().map(|sign| sign.y0).fold(f64::MAX, f64::min);
        all.retain(|sign| sign.y0 < top + 4.0);
        all.sort_by(|a, b| a.x0.total_cmp(&b.x0));
        all
    };
    (first(Kind::Head), first(Kind::Dot))
}

#[test]
fn at_a_unison_the_dot_follows_the_dotted_head() {
    let page = oboes("1/4. A4 1/8 A5 1/2 A5", "1/8 A4 F4 F4 F4 1/2 F4");
    let heads = boxes(&page, Kind::Head);
    let top = heads.iter().map(|head| head.y0).fold(f64::MAX, f64::min);
    let leftmost = |kind| {
        let mut all = boxes(&page, kind);
        all.retain(|sign| (sign.center().y - top).abs() < 8.0);
        all.sort_by(|a, b| a.x0.total_cmp(&b.x0));
        all
    };
    let (heads, stems, dots) = (leftmost(Kind::Head), leftmost(Kind::Stem), leftmost(Kind::Dot));
    let (lower, upper) = (heads[0], heads[1]);
    assert!((lower.y0 - upper.y0).abs() < 0.01 && upper.x0 > lower.x1, "{lower:?} {upper:?}");
    // The stem down is on the left of the two, the stem up on the right, beside the dot.
    assert!(stems[0].y1 > lower.y1 + 1.0 && stems[0].x0 < lower.center().x, "{stems:?}");
    assert!(stems[1].y0 < upper.y0 - 1.0 && stems[1].x0 > upper.center().x, "{stems:?}");
    assert!(dots[0].x0 > upper.x1 && dots[0].x0 < upper.x1 + 1.0, "{dots:?} {upper:?}");
}

#[test]
fn the_dots_of_a_second_stand_in_one_column() {
    let (_, dots) = heads_and_dots("1/4. B4 1/8 A5 1/2 A5", "1/4. A4 1/8 F4 1/2 F4");
    assert!((dots[0].x0 - dots[1].x0).abs() < 0.05, "{dots:?}");
}

#[test]
fn a_marcato_of_the_lower_of_two_stands_under_the_staff() {
    let page = oboes("1/1 A5[marcato]", "1/1 F4[marcato]");
    let heads = boxes(&page, Kind::Head);
    let below = boxes(&page, Kind::Articulation).into_iter().filter(|sign| {
        let near = |head: &&Rect| (head.center().x - sign.center().x).abs() < 1.0;
        heads.iter().filter(near).any(|head| (0.0..6.0).contains(&(sign.y0 - head.y1)))
    });
    assert_eq!(below.count(), 20);
}

/// Our heuristic: without stems strokes over a head that both had would be both's.
#[test]
fn whole_notes_of_which_one_is_a_tremolo_have_a_head_each() {
    let (both, _) = heads_and_dots("1/1 A4[tremolo]", "1/1 A4[tremolo]");
    let (one, _) = heads_and_dots("1/1 A4[tremolo]", "1/1 A4");
    assert!(both[1].x0 > both[0].x1 + 2.0 || both[1].x0 - both[0].x0 < 0.01, "{both:?}");
    assert!((one[0].y0 - one[1].y0).abs() < 0.01, "{one:?}");
    assert!((0.0..2.0).contains(&(one[1].x0 - one[0].x1)), "{one:?}");
}

/// A drum has one line: beside it there is none that a dot would have to keep off.
#[test]
fn on_one_line_dots_and_lines_of_heads_stand_a_space_from_it() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 20 end";
    for mark in ["stacc", "tenuto"] {
        let text = format!(
            "piece \"Sluice\" {{ composer \"House copyist\" }}\nform {{ {form} }}\nvoice beat {{ {} }}\n\
             ensemble few {{ era 1885\n side-drum\n }}\nscoring all for few {{\n side-drum plays beat as rhythm\n}}\n",
            bars(20, &format!("1/4 x[{mark}] x x x")),
        );
        let page = &part_of(&text, &Setup::default()).pages[0];
        let lines = boxes(page, Kind::StaffLine);
        let signs = boxes(page, Kind::Articulation);
        assert_eq!(signs.len(), 20);
        for sign in signs {
            let away = lines.iter().map(|line| (sign.center().y - line.center().y).abs());
            let away = away.fold(f64::INFINITY, f64::min);
            assert!((away - 1.0).abs() < 0.1, "{mark}: {away}");
        }
    }
}

#[test]
fn the_accent_of_a_note_of_two_voices_stands_outside_the_slur_of_its_small_note() {
    let upper = "1/4 crushed(1/8 F5) G5[accent] E5 crushed(1/8 F5) G5[accent] E5";
    let lower = "1/4 E5 crushed(1/8 A4) G4[accent] E5 C5";
    let page = oboes(upper, lower);
    let accents = boxes(&page, Kind::Articulation);
    let (mut over, mut under) = (0, 0);
    for slur in boxes(&page, Kind::Slur) {
        let near = |accent: &&Rect| {
            let apart = (accent.center() - slur.center()).hypot();
            apart < 4.0 && accent.x0 < slur.x1 && accent.x1 > slur.x0
        };
        let accent = accents.iter().find(near);
        let accent = accent.unwrap_or_else(|| panic!("no accent at {slur:?}"));
        over += usize::from(accent.center().y < slur.y0);
        under += usize::from(accent.center().y > slur.y1);
        assert!(slur.height() < 1.6, "{slur:?}");
    }
    assert!(over >= 20 && under >= 10 && over == 2 * under, "{over} over, {under} under");
}

/// Two oboes that cross are printed on a staff each: what they would need on one is no business of the line.
#[test]
fn a_line_in_which_a_pair_parts_is_spaced_by_the_staves_that_it_has() {
    let text = format!(
        "{OBOES}voice one {{ {} }}\nvoice two {{ {} }}\nscoring all for few {{\n oboe.1 plays one as melody\n \
         oboe.2 plays two as harmony\n bassoon rests\n}}\n",
        bars(20, "1/4 C5 1/8 F5 F5 1/4 D5 F5"),
        bars(20, "1/4 D5 1/8 A4 A4 1/4 B4 G5"),
    );
    let page = score(&text, true).pages.remove(0);
    let mut heads = boxes(&page, Kind::Head);
    let top = heads[0].y0;
    heads.retain(|head| (head.y0 - top).abs() < 4.0);
    assert_eq!((heads.len() % 5, heads.len() > 10), (0, true));
    for bar in heads.chunks_exact(5) {
        let steps: Vec<f64> = bar.windows(2).map(|pair| pair[1].x0 - pair[0].x0).collect();
        assert!((steps[0] - steps[3]).abs() < 0.05, "a quarter and a quarter: {steps:?}");
    }
}

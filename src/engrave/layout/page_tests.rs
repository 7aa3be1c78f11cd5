//! How lines share a page, and what stands over them.

use crate::glyphs::Glyph;
use crate::page::{Kind, Page, Shape};
use crate::paper::Setup;

use super::tests::{OBOES, of, part, part_in, part_of, score, score_sheet, texts};

/// Middles of the staves of a page of one player.
pub(super) fn middles(page: &Page) -> Vec<f64> {
    let lines: Vec<f64> =
        of(page, Kind::StaffLine).iter().map(|mark| mark.bounds().center().y).collect();
    lines.chunks(5).map(|five| five[2]).collect()
}

pub(super) fn bars(count: usize, bar: &str) -> String {
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
fn lines_are_broken_between_slurs_where_that_costs_little() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 41 end";
    let bar = |n: usize| if n % 2 == 1 { "1/2 {C5 D5" } else { "1/2 E5 D5}" };
    for begins in [1, 2] {
        let slurred = |n: usize| {
            if (begins..begins + 40).contains(&n) { bar(n + 1 - begins) } else { "1/2 C5 D5" }
        };
        let notes: String = (1..=41).map(|n| format!("{n}: {} | ", slurred(n))).collect();
        let page = &part(form, &notes).pages[0];
        assert!(middles(page).len() > 5, "{}", middles(page).len());
        // A slur that is torn is drawn in two halves.
        assert_eq!(of(page, Kind::Slur).len(), 20, "slurs from bar {begins}");
    }
}

#[test]
fn lines_are_broken_between_ties_where_that_costs_little() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 41 end";
    for begins in [1, 2] {
        let tied = |n: usize| (begins..begins + 40).contains(&n) && (n - begins) % 2 == 1;
        let bar = |n: usize| if tied(n) { "1/2 = D5" } else { "1/2 D5 C5" };
        let notes: String = (1..=41).map(|n| format!("{n}: {} | ", bar(n))).collect();
        let page = &part(form, &notes).pages[0];
        assert!(middles(page).len() > 5, "{}", middles(page).len());
        // A tie that is torn is drawn in two halves.
        assert_eq!(of(page, Kind::Tie).len(), 20, "ties from bar {begins}");
    }
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

/// The box of words that stand once on a page.
fn said(page: &Page, words: &str) -> kurbo::Rect {
    match texts(page, words)[..] {
        [mark] => mark.bounds(),
        ref other => panic!("{words}: {other:?}"),
    }
}

#[test]
fn words_of_jumps_end_with_their_bar_and_the_next_mark_begins_behind_it() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96, repeat\n 2 fine, end repeat\n 3 mark \"Trio\"\n \
                10 da capo al fine, end";
    let page = &part(form, "1: 1/1 C5 | 2: D5 | 3: rest 8 |").pages[0];
    let (fine, mark, jump) = (said(page, "Fine"), said(page, "Trio"), said(page, "D.C. al Fine"));
    assert!(fine.x1 + 1.0 < mark.x0 - 0.5, "{fine:?} beside {mark:?}");
    let number = |mark: &&&crate::page::Mark| {
        matches!(mark.shape, Shape::Glyph { glyph: Glyph::TimeSig8, .. })
    };
    let [number] = of(page, Kind::Rest).iter().filter(number).copied().collect::<Vec<_>>()[..]
    else {
        panic!("one rest has the number 8")
    };
    assert!(number.bounds().x1 < jump.x0 - 0.3, "{jump:?} over {number:?}");
}

#[test]
fn tempos_that_follow_one_another_are_not_read_as_one() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 3 tempo \"Calmo\" 1/4 at 44\n 5 tempo \"calando\" 1/4 at 40\n \
                9 end";
    let page = &part(form, "1: 1/1 C5 | 2: D5 | 3: rest 2 | 5: rest 5 |").pages[0];
    let (first, next) = (said(page, "= 44)"), said(page, "calando"));
    let level = (first.center().y - next.center().y).abs() < 1.5;
    assert!(level && next.x0 - first.x1 > 2.5, "{first:?} {next:?}");
}

#[test]
fn a_rest_gives_room_for_a_tempo_in_one_line() {
    let form =
        "1 metre 4/4, key C major, tempo \"Andante con moto\" 1/4 at 80\n 9 mark \"A\"\n 20 end";
    let bars: String = (9..=20).map(|n| format!("{n}: 1/4 C5 D5 E5 D5 | ")).collect();
    let page = &part(form, &format!("1: rest 8 | {bars}")).pages[0];
    let (words, counted) = (said(page, "Andante con moto"), said(page, "= 80)"));
    assert!((words.center().y - counted.center().y).abs() < 1.5, "{words:?} {counted:?}");
}

/// The curves of a page with where they begin and end.
pub(super) fn slurs(page: &Page) -> Vec<(kurbo::Point, kurbo::Point)> {
    let ends = |mark: &&crate::page::Mark| {
        let Shape::Path(path) = &mark.shape else { return None };
        match path.elements() {
            [kurbo::PathEl::MoveTo(from), kurbo::PathEl::CurveTo(_, _, to), ..] => {
                Some((*from, *to))
            }
            _ => None,
        }
    };
    of(page, Kind::Slur).iter().filter_map(ends).collect()
}

#[test]
fn a_slur_that_goes_on_in_the_next_line_does_not_come_down_before() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 4 end";
    let setup = Setup { lines: vec![2], ..Setup::default() };
    let tune = "1: 1/4 D5 D5 {D5 D5 | 2: D5 D5 D5 D5 | 3: D5 D5} D5 D5 | 4: 1/1 D5 |";
    let page = &part_in(form, tune, &setup).pages[0];
    let [first, second] = slurs(page)[..] else { panic!("two halves") };
    assert!(first.1.y < first.0.y - 0.7, "it ends as it began: {first:?}");
    assert!(second.0.y < second.1.y - 0.7, "it begins as it ends: {second:?}");
}

#[test]
fn a_half_of_a_slur_at_the_edge_of_a_line_bends_one_way() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 4 end";
    let setup = Setup { lines: vec![2], ..Setup::default() };
    for tune in ["D5 {E5", "{D5 G5", "{A5 D5", "D5 {C6"] {
        let tune = format!("1: 1/2 D5 D5 | 2: 1/2 {tune} | 3: G5 D5}} | 4: 1/1 D5 |");
        let page = &part_in(form, &tune, &setup).pages[0];
        for slur in of(page, Kind::Slur) {
            let Shape::Path(path) = &slur.shape else { panic!("a slur is a path") };
            let curves = path.segments().filter_map(|one| match one {
                kurbo::PathSeg::Cubic(curve) => Some(curve),
                _ => None,
            });
            for curve in curves {
                let turns = curve.inflections();
                assert!(turns.is_empty(), "{tune}: {curve:?} {turns:?}");
            }
        }
    }
}

#[test]
fn a_hairpin_that_comes_from_the_line_before_opens_to_be_seen() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 12 end";
    let text = format!(
        "piece \"Sluice\" {{ composer \"House copyist\" }}\nform {{ {form} }}\n\
         dynamics {{ 1 p\n 2..7 cresc\n 8 f }}\nvoice tune {{ {} }}\n\
         ensemble few {{ era 1885\n flute\n }}\nscoring all for few {{\n flute plays tune as melody\n}}\n",
        bars(12, "1/4 C5 D5 E5 D5")
    );
    let page = &part_of(&text, &Setup { lines: vec![3], ..Default::default() }).pages[0];
    let lines: Vec<(kurbo::Point, kurbo::Point)> = of(page, Kind::Hairpin)
        .iter()
        .filter_map(|mark| match mark.shape {
            Shape::Line { from, to, .. } => Some((from, to)),
            _ => None,
        })
        .collect();
    let [.., upper, lower] = lines[..] else { panic!("{lines:?}") };
    assert!(lines.len() == 4, "{lines:?}");
    let (begins, ends) = (lower.0.y - upper.0.y, lower.1.y - upper.1.y);
    // A third to half open is common practice.
    assert!((1.0 / 3.0..0.5).contains(&(begins / ends)), "from {begins} to {ends}");
}

#[test]
fn marks_and_tempos_of_a_line_stand_at_one_height() {
    let form = "1 metre 4/4, key C major, tempo \"Andante\" 1/4 at 96\n 2 mark \"A\"\n 3 mark \"B\"\n 4 end";
    let page = &part(form, "1: 1/1 C5 | 2: 1/4 C6 E6 C6 C5 | 3: 1/1 D5 | 4: D5 |").pages[0];
    let (tempo, a, b) = (said(page, "Andante"), said(page, "A"), said(page, "B"));
    assert!((a.y1 - b.y1).abs() < 0.1 && (tempo.y1 - a.y1).abs() < 1.5, "{tempo:?} {a:?} {b:?}");
}

#[test]
fn unlike_heads_of_two_voices_on_one_place_keep_apart() {
    let text = format!(
        "{OBOES}voice one {{ {} }}\nvoice two {{ {} }}\nscoring all for few {{\n oboe.1 plays one as melody\n \
         oboe.2 plays two as harmony\n bassoon plays two 8vb as bass\n}}\n",
        bars(20, "1/4 E5 F5 G5 A5"),
        bars(20, "1/2 E5 C5"),
    );
    let page = &score(&text, true).pages[0];
    let heads: Vec<kurbo::Rect> = of(page, Kind::Head).iter().map(|mark| mark.bounds()).collect();
    let gap = |a: &kurbo::Rect, b: &kurbo::Rect| {
        let level = (a.center().y - b.center().y).abs() < 0.1;
        (level && a.x0 < b.x0 && b.x0 - a.x0 < 2.0).then_some(b.x0 - a.x1)
    };
    let gaps: Vec<f64> =
        heads.iter().flat_map(|a| heads.iter().filter_map(move |b| gap(a, b))).collect();
    assert!(gaps.len() > 10 && gaps.iter().all(|gap| *gap > 0.15), "{gaps:?}");
}

#[test]
fn notes_of_one_length_stand_at_one_distance_though_something_short_stands_beside_one() {
    let text = format!(
        "{OBOES}voice one {{ {} }}\nvoice two {{ {} }}\nscoring all for few {{\n oboe.1 plays one as melody\n \
         oboe.2 plays two as harmony\n bassoon plays two 8vb as bass\n}}\n",
        bars(20, "3/8 E5 1/8 F5 1/4 G5 A5"),
        bars(20, "1/4 C5 D5 E5 F5"),
    );
    let page = &score(&text, false).pages[0];
    let staves: Vec<f64> = middles(page);
    let near = |mark: &&&crate::page::Mark| (mark.bounds().center().y - staves[2]).abs() < 4.0;
    let heads: Vec<f64> =
        of(page, Kind::Head).iter().filter(near).map(|mark| mark.bounds().x0).collect();
    let steps =
        heads.chunks_exact(4).map(|bar| [bar[1] - bar[0], bar[2] - bar[1], bar[3] - bar[2]]);
    let uneven = |steps: [f64; 3]| {
        steps.iter().copied().fold(0.0, f64::max) / steps.iter().copied().fold(f64::MAX, f64::min)
    };
    let worst = steps.clone().map(uneven).fold(0.0, f64::max);
    assert!(steps.clone().count() > 3 && worst < 1.1, "{worst}: {:?}", steps.collect::<Vec<_>>());
}

#[test]
fn one_fermata_holds_two_voices_on_a_staff_that_end_alike() {
    let fermatas = |second: &str| -> usize {
        let text = format!(
            "{OBOES}voice one {{ {} }}\nvoice two {{ {} }}\nscoring all for few {{\n oboe.1 plays one as melody\n \
             oboe.2 plays two as harmony\n bassoon plays two 8vb as bass\n}}\n",
            bars(20, "1/4 E5 F5 1/2 G5[fermata]"),
            bars(20, second),
        );
        let pages = score(&text, true);
        let signs = pages.pages.iter().flat_map(|page| of(page, Kind::Articulation));
        let signs = signs.filter(|mark| {
            matches!(
                mark.shape,
                Shape::Glyph { glyph: Glyph::FermataAbove | Glyph::FermataBelow, .. }
            )
        });
        signs.count()
    };
    // One over the oboes, one over the bassoon.
    assert_eq!(fermatas("1/2 C5 B4[fermata]"), 40);
    // Held from another time on, each has his own.
    assert_eq!(fermatas("1/4 C5 B4 A4 B4[fermata]"), 60);
}

#[test]
fn words_of_loudness_stand_beside_their_dynamic_under_the_staff() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 5 end";
    let page =
        &part(form, "1: [mf \"crescendo\"] 1/1 C5 | 2: D5 | 3: [\"dolce\"] D5 | 4: D5 |").pages[0];
    let middle = middles(page)[0];
    let (grows, how) = (said(page, "crescendo"), said(page, "dolce"));
    let letters = of(page, Kind::Dynamic);
    let last = letters.iter().map(|mark| mark.bounds().x1).fold(0.0, f64::max);
    assert!(grows.y0 > middle + 2.0 && how.y1 < middle - 2.0, "{grows:?} {how:?}");
    assert!(grows.x0 > last && grows.x0 < last + 2.0, "{grows:?} behind {last}");
    assert!(letters.iter().any(|mark| mark.bounds().y1 > grows.y0), "on one line");
}

#[test]
fn a_tie_at_the_end_of_a_line_begins_behind_the_dot_of_its_note() {
    // Lines of many bars, from mark to mark.
    let edges: usize = (10..18)
        .map(|line| {
            let marks = [line + 1, 2 * line + 1];
            let form = format!(
                "1 metre 6/8, key Eb major, tempo 1/4. at 60\n {} mark \"A\"\n {} mark \"B\"\n {} end",
                marks[0],
                marks[1],
                3 * line + 1
            );
            let tune = bars(3 * line, "1/4. = F5").replacen("= F5", "A4 F5", 1);
            let pages = part(&form, &tune);
            pages.pages.iter().map(ties_behind_dots).sum::<usize>()
        })
        .sum();
    assert!(edges > 16, "{edges} ties at the edge");
}

/// How many ties reach the right edge of a page; each must begin behind the dots of its line.
fn ties_behind_dots(page: &Page) -> usize {
    let lines = of(page, Kind::StaffLine);
    let right = lines.iter().map(|line| line.bounds().x1).fold(0.0, f64::max);
    let dots = of(page, Kind::Dot);
    let ties = of(page, Kind::Tie).into_iter().map(|tie| tie.bounds());
    let edges: Vec<kurbo::Rect> = ties.filter(|tie| right - tie.x1 < 1.0).collect();
    for tie in &edges {
        let level = |dot: &kurbo::Rect| (dot.center().y - tie.center().y).abs() < 2.0;
        let dots = dots.iter().map(|dot| dot.bounds()).filter(level);
        let dot = dots.map(|dot| dot.x1).fold(0.0, f64::max);
        assert!(tie.x0 > dot, "{tie:?} over the dot that ends at {dot}");
    }
    edges.len()
}

/// Gould, Behind Bars, 2011, grace notes, from memory.
#[test]
fn the_slur_of_small_notes_of_an_upper_voice_lies_over_both_and_of_a_lower_under_both() {
    let text = format!(
        "{OBOES}voice one {{ {} }}\nvoice two {{ {} }}\nvoice three {{ {} }}\nscoring all for few {{\n oboe.1 plays one as melody\n \
         oboe.2 plays two as harmony\n bassoon plays three as bass\n}}\n",
        bars(20, "1/4 grace(1/16 C#5 D) E5 1/2 crushed(1/8 A4) C#5 1/4 E5"),
        bars(20, "1/2 C5 crushed(1/8 G4) A4"),
        bars(20, "1/1 A2"),
    );
    let page = &score(&text, true).pages[0];
    let heads = of(page, Kind::Head).into_iter().map(|head| head.bounds());
    let heads: Vec<kurbo::Rect> = heads.collect();
    let (mut over, mut under) = (0, 0);
    for slur in of(page, Kind::Slur).into_iter().map(|slur| slur.bounds()) {
        let along = |head: &&kurbo::Rect| {
            (head.center().y - slur.center().y).abs() < 6.0
                && head.x1 > slur.x0 - 0.5
                && head.x0 < slur.x1 + 0.5
        };
        let along: Vec<&kurbo::Rect> = heads.iter().filter(along).collect();
        let (above, below) = (
            along.iter().all(|head| head.y0 > slur.y1),
            along.iter().all(|head| head.y1 < slur.y0),
        );
        assert!(above || below, "{slur:?} among heads");
        over += usize::from(above);
        under += usize::from(below);
    }
    assert!(under > 4 && over > under, "{over} over, {under} under");
}

#[test]
fn a_bar_of_a_score_is_wide_enough_for_its_dynamic() {
    use ripieno_compiler::music::Time;
    let text = |said: &str| {
        format!(
            "{OBOES}voice one {{ {} }}\nscoring all for few {{\n oboe.1 plays one as melody\n \
             oboe.2 plays one as harmony\n bassoon plays one 8vb as bass\n}}\n",
            bars(19, "1/1 A4").replacen("1: ", &format!("1: {said} "), 1),
        )
    };
    let room = |said: &str| -> f64 {
        let sheet = score_sheet(&text(said), false);
        let needs = super::orders::needs(&sheet, 0, &[Time::ZERO]);
        needs.iter().map(|need| need.width).fold(0.0, f64::max)
    };
    // From the edge of a head to the bar line: half of "mp", and half of the head.
    assert!(room("[mp]") > 2.2 && room("[ppp]") > room("[mp]") && room("") < 0.1);
}

#[test]
fn few_lines_of_a_part_are_not_pulled_apart_over_a_page() {
    // Turned after each eight bars, so that there is nothing to fill the pages with.
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 24 end";
    let setup = Setup { turns: vec![9, 17], ..Setup::default() };
    let pages = part_in(form, &bars(24, "1/8 C5 D5 E5 F5 E5 D5 C5 D5"), &setup).pages;
    assert!(pages.len() > 2, "{}", pages.len());
    for page in &pages {
        let middles = middles(page);
        assert!(middles.len() > 1, "{middles:?}");
        let apart = middles.windows(2).map(|pair| pair[1] - pair[0] - 4.0).fold(0.0, f64::max);
        assert!(apart < 18.1, "{middles:?}");
    }
}

/// The two ends of each line of some kind on a page.
fn ends_of(page: &Page, kind: Kind) -> Vec<(kurbo::Point, kurbo::Point)> {
    let lines = of(page, kind).into_iter().filter_map(|mark| match mark.shape {
        Shape::Line { from, to, .. } => Some((from, to)),
        _ => None,
    });
    lines.collect()
}

#[test]
fn a_flag_has_a_stem_long_enough_for_it() {
    let text = format!(
        "{OBOES}voice one {{ {} }}\nvoice two {{ {} }}\nscoring all for few {{\n oboe.1 plays one as melody\n \
         oboe.2 plays two as harmony\n bassoon plays two 8vb as bass\n}}\n",
        bars(20, "1/1 E5"),
        bars(20, "1/8 C4 1/8 rest C4 rest 1/2 D4"),
    );
    let page = &score(&text, true).pages[0];
    let stems = ends_of(page, Kind::Stem);
    let flags: Vec<kurbo::Rect> = of(page, Kind::Flag).iter().map(|mark| mark.bounds()).collect();
    let flagged = |(from, _): &&(kurbo::Point, kurbo::Point)| {
        flags.iter().any(|flag| (flag.x0 - from.x).abs() < 0.3)
    };
    let lengths: Vec<f64> =
        stems.iter().filter(flagged).map(|(from, to)| (to.y - from.y).abs()).collect();
    assert!(lengths.len() > 20 && lengths.iter().all(|length| *length > 3.0), "{lengths:?}");
}

#[test]
fn a_hairpin_ends_before_both_strokes_of_a_double_bar_line() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 4 key G major\n 8 key C major\n 12 end";
    let text = format!(
        "piece \"Sluice\" {{ composer \"House copyist\" }}\nform {{ {form} }}\n\
         dynamics {{ 1 p\n 2..3 cresc\n 4 f\n 6..7 dim\n 8 p }}\nvoice tune {{ {} }}\n\
         ensemble few {{ era 1885\n flute\n }}\nscoring all for few {{\n flute plays tune as melody\n}}\n",
        bars(12, "1/4 C5 D5 E5 D5")
    );
    for lines in [vec![], vec![4]] {
        let page = &part_of(&text, &Setup { lines, ..Default::default() }).pages[0];
        let strokes = ends_of(page, Kind::BarLine);
        let pins = ends_of(page, Kind::Hairpin);
        assert_eq!(pins.len(), 4);
        for (from, to) in pins {
            let right = from.x.max(to.x);
            let below = |stroke: f64| (0.0..14.0).contains(&(to.y - stroke));
            let crossed = strokes.iter().find(|(top, foot)| {
                below(top.y.min(foot.y)) && top.x > from.x.min(to.x) && (top.x - right).abs() < 0.25
            });
            assert_eq!(crossed, None, "{from:?} {to:?}");
        }
    }
}

#[test]
fn a_slur_from_a_stem_comes_down_to_the_head_behind_it_in_a_narrow_bar() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 24 end";
    let bar = |n: usize| format!("{n}: 1/4 {{G4 B4}} 1/2 B4 | ");
    let tune: String = (1..=24).map(bar).collect();
    let page = &part_in(form, &tune, &Setup { lines: vec![24], ..Setup::default() }).pages[0];
    let heads: Vec<kurbo::Rect> = of(page, Kind::Head).iter().map(|mark| mark.bounds()).collect();
    let slurs = slurs(page);
    assert_eq!(slurs.len(), 24);
    for (_, end) in slurs {
        let there = heads.iter().filter(|head| (head.x0..head.x1).contains(&end.x));
        let off: Vec<f64> = there.map(|head| head.y0 - end.y).collect();
        assert!(off.iter().any(|off| (0.0..1.0).contains(off)), "{off:?}");
    }
}

#[test]
fn a_small_note_before_an_accent_leaves_it_at_its_head() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 4 end";
    let accent = |before: &str| {
        let tune = format!("1: 1/4 E5 {before}G5[accent] E5 G5 | 2: 1/1 D5 | 3: D5 | 4: D5 |");
        let page = &part(form, &tune).pages[0];
        of(page, Kind::Articulation)[0].bounds().y1
    };
    assert!((accent("") - accent("crushed(1/8 F5) ")).abs() < 0.2);
}

/// Twenty bars alike for three players.
pub(super) fn three_with(bar: &str) -> String {
    format!(
        "{OBOES}voice one {{ {} }}\nscoring all for few {{\n oboe.1 plays one as melody\n \
         oboe.2 plays one as harmony\n bassoon plays one 8vb as bass\n}}\n",
        bars(20, bar),
    )
}

#[test]
fn strokes_part_systems_of_one_movement_and_not_two_movements() {
    let text = three_with("1/1 C5");
    let strokes = |sheet: &crate::sheet::Sheet, setup: &Setup| {
        let page = super::pages(sheet, setup).pages.remove(0);
        let slants = |mark: &&&crate::page::Mark| matches!(mark.shape, Shape::Line { from, to, .. } if (from.y - to.y).abs() > 0.5 && (from.x - to.x).abs() > 0.5);
        of(&page, Kind::Bracket).iter().filter(slants).count()
    };
    let setup = Setup { lines: vec![8, 15], ..Setup::default() };
    let mut sheet = score_sheet(&text, false);
    assert_eq!(strokes(&sheet, &setup), 4);
    let heading = crate::sheet::Heading { words: "II. Air".into(), tacet: false };
    sheet.bars[14].headings.push(heading);
    // In one line more.
    assert_eq!(strokes(&sheet, &setup), 4);
}

#[test]
fn the_staves_of_a_single_system_are_not_torn_apart_over_its_page() {
    let text = three_with("1/2 A4 C5");
    let setup = Setup { turns: vec![5], ..Setup::default() };
    let page = &super::pages(&score_sheet(&text, false), &setup).pages[0];
    let middles = middles(page);
    assert_eq!(middles.len(), 3, "one system");
    let apart = middles.windows(2).map(|pair| pair[1] - pair[0]).fold(0.0, f64::max);
    // Nor left close together over an empty foot.
    assert!((15.0..18.0).contains(&apart), "{middles:?}");
}

#[test]
fn a_page_behind_which_the_music_goes_on_is_filled() {
    // Five lines, each of which begins at a mark, so that they are not broken into more.
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 9 mark \"A\"\n 17 mark \"B\"\n 25 mark \"C\"\n \
                33 mark \"D\"\n 41 mark \"E\"\n 49 mark \"F\"\n 57 mark \"G\"\n 65 mark \"H\"\n 73 mark \"I\"\n 80 end";
    let setup = Setup { turns: vec![41], ..Setup::default() };
    let pages = part_in(form, &bars(80, "1/2. C5 1/4 D5"), &setup).pages;
    let [first, last] = &pages[..] else { panic!("{}", pages.len()) };
    let foot = |page: &Page| page.size.1 / page.space - middles(page).last().unwrap();
    let lines = (middles(first).len(), middles(last).len());
    assert_eq!(lines, (5, 5));
    assert!(foot(first) < 20.0, "{} of {:?}", foot(first), middles(first));
}

#[test]
fn systems_of_a_score_stand_clearly_farther_apart_than_their_staves() {
    let text = three_with("1/2 A4 C5");
    let setup = Setup { lines: vec![5, 9, 13, 17], ..Setup::default() };
    let page = &super::pages(&score_sheet(&text, false), &setup).pages[0];
    let middles = middles(page);
    let apart: Vec<f64> = middles.windows(2).map(|pair| pair[1] - pair[0] - 4.0).collect();
    let between = apart.iter().skip(2).step_by(3).copied().fold(f64::MAX, f64::min);
    let within = apart.chunks(3).flat_map(|gaps| gaps.iter().take(2));
    let mean = within.clone().sum::<f64>() / within.count() as f64;
    assert!(apart.len() > 6 && between > 1.5 * mean, "{between} and {mean}: {apart:?}");
}

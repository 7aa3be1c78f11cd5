//! Pages from a few lines of text, measured.

use ripieno_compiler::arrange::arrange;
use ripieno_compiler::diagnostics::Sources;
use ripieno_compiler::narrow::Narrow;
use ripieno_compiler::resolve::{NoFiles, resolve};
use ripieno_writers::edition;
use ripieno_writers::notate::notate;

use super::measures::{BEAM, STEM_LENGTH};
use super::pages;
use crate::draw::{pdf, svg};
use crate::glyphs::Glyph;
use crate::page::{Kind, Mark, Page, Pages, Shape};
use crate::paper::Setup;
use crate::reading;
use crate::sheet::Sheet;

/// The pages of the first player of a scoring.
pub(super) fn part(form: &str, tune: &str) -> Pages {
    part_in(form, tune, &Setup::default())
}

pub(super) fn part_in(form: &str, tune: &str, setup: &Setup) -> Pages {
    part_of(&source_of(form, tune), setup)
}

/// A source in which a flute plays that tune.
fn source_of(form: &str, tune: &str) -> String {
    format!(
        "piece \"Sluice\" {{ composer \"House copyist\" }}\nform {{ {form} }}\nvoice tune {{ {tune} }}\n\
         ensemble few {{ era 1885\n flute\n }}\nscoring all for few {{\n flute plays tune as melody\n}}\n"
    )
}

/// The pages of the first player of the only scoring of a source.
pub(super) fn part_of(text: &str, setup: &Setup) -> Pages {
    pages(&sheet_of(text, setup), setup)
}

/// The sheet of the first player of the only scoring of a source.
fn sheet_of(text: &str, setup: &Setup) -> Sheet {
    let mut sources = Sources::new();
    let root = sources.add("sluice", text);
    let (piece, found) = resolve(&mut sources, root, &mut NoFiles);
    assert!(piece.scorings.len() == 1, "{found:?}");
    let score = notate(&arrange(&piece, &piece.scorings[0]));
    reading::sheet_for(&edition::part(&score, 0), setup)
}

/// The pages of a player of the only scoring of a source, with cues after eight bars of rest.
pub(super) fn part_with_cues(text: &str, player: usize, setup: &Setup) -> Pages {
    pages(&sheet_with_cues(text, player, setup), setup)
}

/// The sheet of a player of the only scoring of a source, with cues after eight bars of rest.
pub(super) fn sheet_with_cues(text: &str, player: usize, setup: &Setup) -> Sheet {
    let mut sources = Sources::new();
    let root = sources.add("sluice", text);
    let (piece, found) = resolve(&mut sources, root, &mut NoFiles);
    assert!(piece.scorings.len() == 1, "{found:?}");
    let arrangement = arrange(&piece, &piece.scorings[0]);
    let score = notate(&arrangement);
    let cueing = edition::Cueing { after_bars: 8 };
    let edition = edition::part_with_cues(&arrangement, &score, player, cueing);
    reading::sheet_for(&edition, setup)
}

pub(super) fn of(page: &Page, kind: Kind) -> Vec<&Mark> {
    page.marks.iter().filter(|mark| mark.kind == kind).collect()
}

fn heights(page: &Page, kind: Kind) -> Vec<f64> {
    of(page, kind).iter().map(|mark| mark.bounds().height()).collect()
}

/// Places of heads in steps above the middle line of the only staff.
fn places(page: &Page) -> Vec<i32> {
    let lines: Vec<f64> =
        of(page, Kind::StaffLine).iter().map(|mark| mark.bounds().center().y).collect();
    let middle = lines[2];
    let mut heads: Vec<(f64, f64)> = of(page, Kind::Head)
        .iter()
        .map(|mark| match mark.shape {
            Shape::Glyph { at, .. } => (at.x, at.y),
            _ => unreachable!("heads are signs"),
        })
        .collect();
    heads.sort_by(|a, b| a.0.total_cmp(&b.0));
    heads.iter().map(|(_, y)| (2.0 * (middle - y)).round().narrow::<i32>()).collect()
}

const FOUR: &str = "1 metre 4/4, key C major, tempo 1/4 at 96\n 2 end";

#[test]
fn each_note_is_drawn_once_at_the_place_of_its_pitch() {
    let pages = part(FOUR, "1: 1/4 C5 D5 E5 F5 | 2: 1/2 B4 C6 |");
    assert_eq!(places(&pages.pages[0]), [1, 2, 3, 4, 0, 8]);
}

#[test]
fn a_tie_into_the_next_line_has_its_accidental_again() {
    let accidentals = |key: &str, lines: Vec<usize>| {
        let form = format!("1 metre 3/4, key {key}, tempo 1/4 at 96\n 3 end");
        let setup = Setup { lines, ..Setup::default() };
        let pages = part_in(&form, "1: 1/2. A5 | 2: 1/2 A5 1/4 F#5 | 3: 1/2. = |", &setup);
        let mut signs = of(&pages.pages[0], Kind::Accidental);
        signs.sort_by(|a, b| a.bounds().y0.total_cmp(&b.bounds().y0));
        let heads = of(&pages.pages[0], Kind::Head).into_iter().map(|head| head.bounds().x0);
        let leftmost = heads.fold(f64::MAX, f64::min);
        (signs.len(), signs.iter().filter(|sign| sign.bounds().x0 < leftmost + 4.0).count())
    };
    assert_eq!(accidentals("F major", vec![]), (1, 0), "in one line");
    assert_eq!(accidentals("F major", vec![2]), (2, 1));
    assert_eq!(accidentals("D major", vec![2]), (0, 0), "the signature says it");
}

#[test]
fn an_order_stands_clear_of_the_last_note() {
    // Behind it, in the rest, and no farther left at the end of the line.
    let text = "piece \"Sluice\" { composer \"House copyist\" }\n\
        form { 1 metre 3/4, key C major, tempo 1/4 at 96\n 4 end }\n\
        voice call { 1: 1/2. C5 | 2: 1/4 C5 1/4 C5 1/4 rest | 3: 1/2. A4 | 4: A4 | }\n\
        ensemble few { era 1770\n horn crook Eb\n }\nscoring all for few {\n \
        horn plays call as melody\n horn takes crook C basso bar 3\n}\n";
    let mut sources = Sources::new();
    let root = sources.add("sluice", text);
    let (piece, _) = resolve(&mut sources, root, &mut NoFiles);
    let score = notate(&arrange(&piece, &piece.scorings[0]));
    let setup = Setup { lines: vec![2], ..Setup::default() };
    let pages = pages(&reading::sheet_for(&edition::part(&score, 0), &setup), &setup);
    let page = &pages.pages[0];
    let words = |mark: &&Mark| match &mark.shape {
        Shape::Text { run, .. } => run.text.contains("change to"),
        _ => false,
    };
    let order = page.marks.iter().find(words).expect("it is told").bounds();
    let middle = of(page, Kind::StaffLine)[2].bounds().center().y;
    let first_line = of(page, Kind::Head).into_iter().map(|head| head.bounds());
    let last = first_line.filter(|head| (head.center().y - middle).abs() < 8.0);
    let last = last.map(|head| head.x1).fold(f64::MIN, f64::max);
    assert!(order.x0 > last, "{order:?} begins behind the last head, which ends at {last}");
}

/// Ross, stems; Gould, chapter 1, both from memory: an octave, to the middle line from beyond it.
#[test]
fn a_stem_is_an_octave_long() {
    let pages = part(FOUR, "1: 1/4 C5 D5 E5 F5 | 2: 1/2 A4 D6 |");
    let stems = heights(&pages.pages[0], Kind::Stem);
    // From the side of the head, a little within it.
    assert!(stems[..5].iter().all(|stem| (stem + 0.16 - STEM_LENGTH).abs() < 0.2), "{stems:?}");
    assert!(
        stems[5] >= 4.3,
        "a stem from the second ledger line reaches the middle line: {stems:?}"
    );
}

/// Ross, beams: half a space thick, never steeper than a space and a quarter from end to end.
#[test]
fn beams_are_half_a_space_thick_and_flat() {
    let pages = part(FOUR, "1: 1/8 C5 E5 G5 C6 C5 C5 C5 C5 | 2: 1/8 G5 F5 E5 D5 C5 B4 A4 G4 |");
    let beams = heights(&pages.pages[0], Kind::Beam);
    assert_eq!(beams.len(), 4);
    assert!(beams.iter().all(|height| (BEAM..BEAM + 1.26).contains(height)), "{beams:?}");
    assert!((beams[1] - BEAM).abs() < 1e-6, "equal notes have a level beam: {beams:?}");
}

#[test]
fn every_line_but_a_short_last_one_ends_at_the_margin() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 40 end";
    let bars: String = (1..=40).map(|bar| format!("{bar}: 1/4 C5 D5 E5 F5 | ")).collect();
    let pages = part(form, &bars);
    let mut ends: Vec<f64> =
        of(&pages.pages[0], Kind::StaffLine).iter().map(|mark| mark.bounds().x1).collect();
    ends.truncate(ends.len() - 5);
    assert!(ends.len() > 20);
    assert!(ends.iter().all(|end| (end - ends[0]).abs() < 0.01), "{ends:?}");
}

/// Common practice that a last line may stay short; from half a line on it is our heuristic that it may not.
#[test]
fn a_last_line_of_more_than_half_a_line_ends_at_the_margin() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 24 end";
    let bars: String = (1..=24).map(|bar| format!("{bar}: 1/4 C5 D5 E5 F5 | ")).collect();
    let (mut short, mut full) = (0, 0);
    for begins in [18, 19, 20, 21, 22, 23] {
        let setup = Setup { lines: vec![6, 12, begins], ..Setup::default() };
        let lines = part_in(form, &bars, &setup);
        let lines: Vec<_> =
            of(&lines.pages[0], Kind::StaffLine).iter().map(|line| line.bounds()).collect();
        let margin = lines.iter().map(|line| line.x1).fold(f64::MIN, f64::max);
        let last = lines[lines.len() - 1];
        if last.x1 > margin - 0.01 {
            full += 1;
        } else {
            assert!(last.width() < 0.5 * (margin - last.x0), "from bar {begins}: {last:?}");
            short += 1;
        }
    }
    assert!(short > 0 && full > 1, "{short} short, {full} full");
}

#[test]
fn a_page_is_turned_in_a_rest() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 60\n 300 end";
    let note = |bar: usize| {
        if (bar / 2).is_multiple_of(29) {
            format!("{bar}: rest | ")
        } else {
            format!("{bar}: 1/8 C5 D5 E5 F5 E5 D5 C5 D5 | ")
        }
    };
    let bars: String = (1..=300).map(note).collect();
    let pages = part(form, &bars);
    assert!(pages.pages.len() > 2, "{} pages", pages.pages.len());
    assert!(!pages.turns.is_empty());
    assert!(pages.turns.iter().all(|turn| turn.seconds > 3.0), "{:?}", pages.turns);
}

/// What stands at the foot of pages that are turned: "V.S." where there is no rest, "time" where it begins only
/// on the next page, nothing where the page ends with it.
#[test]
fn a_page_says_at_its_foot_how_it_is_turned() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 60\n 90 end";
    let setup = Setup { turns: vec![30, 60], ..Setup::default() };
    let said = |rests: [usize; 2]| {
        let bar = |bar: usize| match rests.contains(&bar) {
            true => format!("{bar}: rest | "),
            false => format!("{bar}: 1/8 C5 D5 E5 F5 E5 D5 C5 D5 | "),
        };
        let tune: String = (1..=90).map(bar).collect();
        let pages = part_in(form, &tune, &setup);
        assert_eq!((pages.first_bars, pages.turns.len()), (vec![0, 30, 60], 1));
        ["V.S.", "time"]
            .map(|word| -> usize { pages.pages.iter().map(|page| texts(page, word).len()).sum() })
    };
    assert_eq!(said([10, 80]), [1, 0]);
    assert_eq!(said([31, 61]), [0, 1]);
    assert_eq!(said([30, 60]), [0, 0]);
}

#[test]
fn the_same_music_gives_the_same_bytes() {
    let twice = [(); 2].map(|()| {
        part(FOUR, "1: 1/4 {C5 D5} E5[trill] F5 | 2: [mf, cresc] 1/2 A4 [f] D6[fermata] |")
    });
    let documents = twice.each_ref().map(pdf::document);
    assert!(documents[0].starts_with(b"%PDF-") && documents[0] == documents[1]);
    assert_eq!(svg::page(&twice[0].pages[0]), svg::page(&twice[1].pages[0]));
}

#[test]
fn every_head_knows_its_note() {
    let pages = part(FOUR, "1: 1/4 C5 D5 E5 F5 | 2: 1/2 B4 C6 |");
    let heads = of(&pages.pages[0], Kind::Head);
    assert!(heads.iter().all(|head| head.origin.is_some_and(|origin| origin.source.is_some())));
}

#[test]
fn who_has_nothing_to_play_has_a_page_that_says_so() {
    let pages = part(FOUR, "1: rest 2 |");
    let says = |mark: &Mark| matches!(&mark.shape, Shape::Text { run, .. } if run.text == "Tacet");
    assert_eq!(pages.pages.len(), 1);
    assert!(pages.pages[0].marks.iter().any(says));
}

/// Of heads on one another, two of which are a second or less apart, there are none.
fn crowded(page: &Page) -> usize {
    let heads: Vec<_> = of(page, Kind::Head).iter().map(|mark| mark.bounds()).collect();
    let pairs = (0..heads.len()).flat_map(|a| (a + 1..heads.len()).map(move |b| (a, b)));
    pairs.filter(|&(a, b)| heads[a].intersect(heads[b]).area() > 0.4).count()
}

#[test]
fn heads_of_clusters_stand_beside_one_another() {
    for chord in ["G5&A5&B5&Bb5", "C5&D5&E5&F5&G5", "E4&Eb4&E#4", "B4&C5&Cb5&D5"] {
        let pages =
            part(FOUR, &format!("1: 1/4 {chord} {chord} 1/8 {chord} {chord} {chord} {chord} |"));
        assert_eq!(crowded(&pages.pages[0]), 0, "{chord}");
    }
}

#[test]
fn a_bar_that_is_longer_than_a_line_goes_on_in_the_next() {
    let form = "1 metre 32/4, key C major, tempo 1/4 at 96\n 1 end";
    let notes = "C5 D5 E5 F5 E5 D5 C5 D5 ".repeat(16);
    let pages = part(form, &format!("1: 1/16 {{{}}} |", notes.trim()));
    let page = &pages.pages[0];
    assert_eq!(of(page, Kind::Head).len(), 128);
    assert_eq!(crowded(page), 0);
    let lines = of(page, Kind::StaffLine).len() / 5;
    assert!(lines > 2, "{lines} lines");
    // The slur goes on from line to line, no beam over the end of one, and one bar line ends the bar.
    assert_eq!(of(page, Kind::Slur).len(), lines);
    let strokes = of(page, Kind::BarLine);
    assert_eq!(strokes.len(), 2, "the thin and the thick stroke at the end");
    let right = of(page, Kind::StaffLine)[0].bounds().x1;
    assert!(of(page, Kind::Beam).iter().all(|beam| beam.bounds().x1 < right));
    let says = |words: &str| {
        let is = |mark: &&Mark| matches!(&mark.shape, Shape::Text { run, .. } if run.text == words);
        page.marks.iter().filter(is).count()
    };
    assert_eq!(says("(1)"), lines - 1);
}

pub(super) fn texts<'a>(page: &'a Page, words: &str) -> Vec<&'a Mark> {
    let is = |mark: &&Mark| matches!(&mark.shape, Shape::Text { run, .. } if run.text == words);
    page.marks.iter().filter(is).collect()
}

/// The pages of the whole score of a source, condensed or not.
pub(super) fn score(text: &str, condensed: bool) -> Pages {
    pages(&score_sheet(text, condensed), &Setup::default())
}

/// The sheet of the score of the only scoring of a source.
pub(super) fn score_sheet(text: &str, condensed: bool) -> Sheet {
    let mut sources = Sources::new();
    let root = sources.add("sluice", text);
    let (piece, found) = resolve(&mut sources, root, &mut NoFiles);
    assert!(piece.scorings.len() == 1, "{found:?}");
    let score = notate(&arrange(&piece, &piece.scorings[0]));
    let edition =
        if condensed { edition::condensed_score(&score) } else { edition::full_score(&score) };
    reading::sheet(&edition)
}

#[test]
fn lines_begin_at_rehearsal_marks_and_repeats() {
    // Eight bars and a half would fill a line.
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 9 mark \"A\"\n 18 mark \"B\"\n 26 end";
    let bars: String = (1..=26).map(|bar| format!("{bar}: 1/2 C5 D5 | ")).collect();
    let page = &part(form, &bars).pages[0];
    for mark in ["A", "B"] {
        let mark = texts(page, mark)[0].bounds();
        let left = of(page, Kind::StaffLine)[0].bounds().x0;
        // Beside the number of the bar.
        assert!(mark.x0 - left < 4.0, "{mark:?} within a line that begins at {left}");
    }
}

#[test]
fn pages_are_equally_full() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 130 end";
    let bars: String =
        (1..=130).map(|bar| format!("{bar}: 1/8 C5 D5 E5 F5 E5 D5 C5 D5 | ")).collect();
    let pages = part(form, &bars).pages;
    let lines: Vec<usize> = pages.iter().map(|page| of(page, Kind::StaffLine).len() / 5).collect();
    assert!(lines.len() > 1, "{lines:?}");
    let (most, least) = (lines.iter().max().unwrap(), lines.iter().min().unwrap());
    assert!(most - least <= 3, "{lines:?}");
}

#[test]
fn a_tempo_stands_beside_the_mark_over_its_bar_line() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 3 mark \"B\", tempo \"Calmo\" 1/4 at 60\n 4 end";
    let bars: String = (1..=4).map(|bar| format!("{bar}: 1/4 C5 D5 E5 D5 | ")).collect();
    let page = &part(form, &bars).pages[0];
    let place = |words: &str| match &texts(page, words)[..] {
        [Mark { shape: Shape::Text { at, run }, .. }] => (at.x, at.x + run.width, at.y),
        other => panic!("{words}: {other:?}"),
    };
    let (mark, tempo) = (place("B"), place("Calmo"));
    assert!(mark.1 < tempo.0 && tempo.0 < mark.1 + 3.0, "{mark:?} {tempo:?}");
    assert!((mark.2 - tempo.2).abs() < 1.5, "{mark:?} {tempo:?}");
}

/// Left edges of the heads of the first line, in their order.
fn first_line(page: &Page) -> Vec<f64> {
    let first = of(page, Kind::StaffLine)[4].bounds().y1 + 3.0;
    let heads = of(page, Kind::Head).into_iter().map(Mark::bounds);
    let mut line: Vec<f64> = heads.filter(|head| head.y0 < first).map(|head| head.x0).collect();
    line.sort_by(f64::total_cmp);
    line
}

/// One bar has notes on ledger lines, which need more room: the sixteenths of its neighbours have it too.
#[test]
fn notes_of_one_length_stand_at_one_distance_in_all_bars_of_a_line() {
    let form = "1 metre 7/8, key C major, tempo 1/4 at 96\n 3 end";
    let high = "1/16 D5 F5 G5 A5 B5 A5 G5 F5 D5 F5 G5 A5 B5 A5";
    let low = "1/16 C5 D5 E5 F5 C5 D5 E5 F5 C5 D5 E5 F5 C5 D5";
    let pages = part(form, &format!("1: {low} | {high} | {low} |"));
    let line = first_line(&pages.pages[0]);
    let inner = line.chunks(14).map(|bar| bar[13] - bar[0]).collect::<Vec<_>>();
    assert_eq!(inner.len(), 3);
    assert!(inner[1] / inner[0].min(inner[2]) < 1.06, "{inner:?}");
}

#[test]
fn sixteenths_keep_clear_of_the_head_before_in_a_full_line() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 8 end";
    let bars: String = (1..=8)
        .map(|bar| format!("{bar}: 1/8. C5 1/16 D5 1/4 E5 1/8. C5 1/16 D5 1/4 E5 | "))
        .collect();
    let line = first_line(&part(form, &bars).pages[0]);
    assert!(line.len() > 6);
    let gaps: Vec<f64> = line.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let head = Glyph::NoteheadBlack.width();
    assert!(gaps.iter().all(|gap| *gap >= head + 0.35), "{gaps:?}");
}

/// Where a line is full, runs of sixteenths give way with what is longer: else its bars would be of unlike
/// density.
#[test]
fn in_a_full_line_quarters_are_not_squeezed_alone() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 4 end";
    let run = "1/16 ".to_owned() + &"C5 D5 E5 F5 ".repeat(4);
    let text = format!("1: {run} | {run} | {run} | 1/4 C5 D5 E5 F5 |");
    let sheet = sheet_of(&source_of(form, &text), &Setup::default());
    let spaces = super::spacing::bar_spaces(&sheet);
    let least = |bar: usize| spaces[bar].width(super::spacing::TIGHTEST);
    let natural = |bar: usize| spaces[bar].width(1.0);
    assert!(least(0) / natural(0) < 0.9, "{} of {}", least(0), natural(0));
    assert!(least(3) / natural(3) > 0.65, "{} of {}", least(3), natural(3));
    // The lines of a part are not chosen by that: it would tear cues for the sake of a bar more.
    assert!(spaces[0].least > 0.97 * natural(0), "{} of {}", spaces[0].least, natural(0));
}

pub(super) const OBOES: &str = "piece \"Sluice\" { composer \"House copyist\" }\n\
    form { 1 metre 4/4, key C major, tempo 1/4 at 96\n 20 end }\n\
    ensemble few { era 1885\n oboe 2, bassoon\n }\n";

#[test]
fn a_pair_that_crosses_has_two_staves_in_that_system_alone() {
    let bars = |odd: &str, at: usize, there: &str| -> String {
        let bar = |bar: usize| format!("{bar}: {} | ", if bar == at { there } else { odd });
        (1..=20).map(bar).collect()
    };
    let source = |at: usize| {
        format!(
            "{OBOES}voice one {{ {} }}\nvoice two {{ {} }}\nscoring all for few {{\n\
             oboe.1 plays one as melody\n oboe.2 plays two as harmony\n bassoon plays two 8vb as bass\n}}\n",
            bars("1/4 C5 D5 E5 F5", at, "1/4 C5 D5 C5 D5"),
            bars("1/4 A4 B4 C5 D5", at, "1/4 A4 B4 E5 F5"),
        )
    };
    let staves = |pages: &Pages| -> usize {
        pages.pages.iter().map(|page| of(page, Kind::StaffLine).len() / 5).sum()
    };
    let (plain, crossed) = (score(&source(99), true), score(&source(20), true));
    let systems = staves(&plain) / 2;
    assert!(systems > 1, "{systems} systems");
    assert_eq!(staves(&crossed), staves(&plain) + 1);
    let named =
        |words: &str| -> usize { crossed.pages.iter().map(|page| texts(page, words).len()).sum() };
    assert_eq!((named("Ob. 1"), named("Ob. 2"), named("Ob. 1, 2")), (1, 1, systems - 2));
}

#[test]
fn an_order_keeps_within_its_bar_and_no_bar_line_strikes_words_through() {
    let source = format!(
        "{}voice one {{ {} }}\nscoring all for few {{\n horn plays one as melody\n\
         horn takes crook D\n horn takes crook \"Bb basso\" bars 4\n violin-1 plays one as melody\n\
         violin-2 plays one as melody\n viola plays one as melody, \"with a great deal of warmth\"\n}}\n",
        OBOES
            .replace("1885", "1770")
            .replace("oboe 2, bassoon", "horn 2, violin-1 6, violin-2 6, viola"),
        (1..=20).map(|bar| format!("{bar}: 1/2 D5 rest | ")).collect::<String>(),
    );
    let pages = score(&source, false);
    let page = &pages.pages[0];
    let words: Vec<_> = of(page, Kind::Text)
        .into_iter()
        .filter(|mark| matches!(&mark.shape, Shape::Text { .. }))
        .map(|mark| mark.bounds())
        .collect();
    assert!(words.len() > 8);
    for line in of(page, Kind::BarLine) {
        let line = line.bounds();
        let struck = words.iter().find(|word| word.intersect(line).area() > 1e-6);
        assert!(struck.is_none(), "{line:?} through {struck:?}");
    }
}

#[test]
fn each_system_says_again_who_plays() {
    let bars: String = (1..=20).map(|bar| format!("{bar}: 1/4 C5 D5 E5 F5 | ")).collect();
    let source = format!(
        "{OBOES}voice one {{ {bars} }}\nscoring all for few {{\n\
         oboe.2 plays one as melody\n bassoon plays one 8vb as bass\n}}\n",
    );
    let pages = score(&source, true);
    let count =
        |words: &str| -> usize { pages.pages.iter().map(|page| texts(page, words).len()).sum() };
    let systems = count("Bn.") + 1;
    assert!(systems > 1);
    assert_eq!(count("2."), systems);
}

#[test]
fn what_is_said_first_stands_uppermost() {
    let text = "piece \"Sluice\" { composer \"House copyist\" }\n\
                form { 1 metre 4/4, key C major\n 2 end }\n\
                voice tune { 1: [\"dolce\"] 1/1 C5 | 2: D5 | }\n\
                ensemble few { era 1885\n flute\n }\n\
                scoring all for few {\n flute plays tune as melody, solo\n}\n";
    let page = &score(text, false).pages[0];
    let top = |words: &str| texts(page, words)[0].bounds().y0;
    assert!(top("solo") < top("dolce"));
}

#[test]
fn an_ending_is_not_torn() {
    let form = "1 metre 4/4, key C major, tempo 1/4 at 96\n 1..9 repeat\n 8..9 ending 1\n 10..11 ending 2\n 24 end";
    for length in ["C5 D5 E5 F5", "C5 D5 E5 F5 C5 D5 E5 F5"] {
        let value = if length.len() > 12 { "1/8" } else { "1/4" };
        let bars: String = (1..=24).map(|bar| format!("{bar}: {value} {length} | ")).collect();
        let page = &part(form, &bars).pages[0];
        // Each bracket is one line with its hook, and that of the first ends with another.
        assert_eq!(of(page, Kind::Frame).len(), 5, "{value}");
    }
}

#[test]
fn signs_of_a_chord_over_both_staves_keep_clear_of_one_another() {
    let text = "piece \"Sluice\" { composer \"House copyist\" }\n\
                form { 1 metre 4/4, key C major\n 2 end }\n\
                voice tune { 1: [mf] 1/1 C3&G3&E4&C5&G5&C6[arpeggio, fermata] | 2: [pp] C3&G3&E5&C6&G6 | }\n\
                ensemble few { era 1885\n harp\n }\n\
                scoring all for few {\n harp plays tune as melody\n}\n";
    let page = &score(text, false).pages[0];
    let wave = |mark: &&Mark| matches!(&mark.shape, Shape::Glyph { glyph, .. } if *glyph == Glyph::WiggleArpeggiatoUp);
    let waves: Vec<_> = page.marks.iter().filter(wave).map(Mark::bounds).collect();
    assert!(waves.len() > 4);
    let held: Vec<_> =
        of(page, Kind::Articulation).into_iter().filter(|mark| !wave(mark)).collect();
    assert_eq!(held.len(), 2, "a fermata on each staff");
    for sign in &held {
        let meets = |wave: &&kurbo::Rect| wave.intersect(sign.bounds()).area() > 1e-6;
        assert!(!waves.iter().any(|wave| meets(&wave)), "{sign:?}");
    }
    let lines: Vec<_> = of(page, Kind::BarLine).into_iter().map(Mark::bounds).collect();
    for dynamic in of(page, Kind::Dynamic) {
        assert!(lines.iter().all(|line| line.intersect(dynamic.bounds()).area() < 1e-6));
    }
}

#[test]
fn a_crook_stands_by_the_name_of_its_part() {
    let text = OBOES.replace("1885", "1770").replace("oboe 2, bassoon", "horn crook D").replace(
        "form",
        "voice one { 1: rest 19 | 20: 1/1 D5 | }\nscoring all for few {\n horn plays one as melody\n}\nform",
    );
    let page = &part_of(&text, &Setup::default()).pages[0];
    let place = |words: &str| texts(page, words)[0].bounds().center().y;
    assert!(place("Horn") < place("in D") && place("in D") < place("all"));
}

/// A source of 45 bars alike for so many players, each on a staff of their own.
pub(super) fn many_oboes(players: usize, bar: &str) -> String {
    format!(
        "piece \"Sluice\" {{ composer \"House copyist\" }}\n\
         form {{ 1 metre 4/4, key C major, tempo 1/4 at 96\n 45 end }}\n\
         ensemble few {{ era 1885\n oboe {players}\n }}\nvoice one {{ {} }}\nscoring all for few {{\n {}}}\n",
        super::page_tests::bars(45, bar),
        (1..=players).map(|n| format!(" oboe.{n} plays one as melody\n")).collect::<String>(),
    )
}

#[test]
fn systems_that_crowd_one_another_have_slightly_smaller_staves() {
    let players = 6;
    let text = many_oboes(players, "1/4 A4 C5 E5 1/8 D5 C5");
    // With staves as large as the paper has them, three systems of both last pages crowd one another, 7.3 spaces apart.
    let pages = pages(&score_sheet(&text, false), &Setup::default()).pages;
    assert_eq!(pages.len(), 2);
    for page in &pages {
        let lines: Vec<f64> =
            of(page, Kind::StaffLine).iter().map(|line| line.bounds().y0).collect();
        let mut staves: Vec<f64> = lines.chunks(5).map(|staff| staff[2]).collect();
        staves.sort_by(f64::total_cmp);
        let apart = staves.windows(2).map(|pair| pair[1] - pair[0] - 4.0);
        let between = apart.skip(players - 1).step_by(players).fold(f64::MAX, f64::min);
        assert!(between > 7.5, "{between}: {staves:?}");
    }
}

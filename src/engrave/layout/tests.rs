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
use crate::page::{Kind, Mark, Page, Pages, Shape};
use crate::paper::Setup;
use crate::reading;

/// The pages of the first player of a scoring.
fn part(form: &str, tune: &str) -> Pages {
    let text = format!(
        "piece \"Sluice\" {{ composer \"House copyist\" }}\nform {{ {form} }}\nvoice tune {{ {tune} }}\n\
         ensemble few {{ era 1885\n flute\n }}\nscoring all for few {{\n flute plays tune as melody\n}}\n"
    );
    let mut sources = Sources::new();
    let root = sources.add("sluice", &text);
    let (piece, found) = resolve(&mut sources, root, &mut NoFiles);
    assert!(piece.scorings.len() == 1, "{found:?}");
    let score = notate(&arrange(&piece, &piece.scorings[0]));
    pages(&reading::sheet(&edition::part(&score, 0)), &Setup::default())
}

fn of(page: &Page, kind: Kind) -> Vec<&Mark> {
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

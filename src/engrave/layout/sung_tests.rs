//! Words of singers: hyphens, lines and ties.

use ripieno_compiler::diagnostics::Span;
use ripieno_compiler::resolve::{self, NudgedSign};

use crate::glyphs::Glyph;
use crate::page::{Kind, Mark, Page, Shape};
use crate::paper::{Nudge, Setup};

use super::page_tests::bars;
use super::tests::{of, part_of, texts};

/// The page of a soprano who sings 24 bars of that tune to those words, in a metre of six quarters.
fn sung(tune: &str, words: &str) -> Page {
    sung_with(tune, words, &Setup::default())
}

fn sung_with(tune: &str, words: &str, setup: &Setup) -> Page {
    let text = format!(
        "piece \"Sluice\" {{ composer \"House copyist\" }}\nform {{ 1 metre 6/4, key C major\n 25 end }}\n\
         voice tune {{ {} }}\nlyrics for tune {{ {} }}\nensemble few {{ era 1885\n soprano\n }}\n\
         scoring all for few {{\n soprano plays tune as melody\n}}\n",
        bars(24, tune),
        bars(24, words),
    );
    part_of(&text, setup).pages.remove(0)
}

/// Boxes of the hyphens of a page, or of its lines under what is held.
fn strokes(page: &Page, thick: f64) -> Vec<kurbo::Rect> {
    let is = |mark: &&&Mark| matches!(mark.shape, Shape::Line { width, .. } if (width - thick).abs() < 1e-9);
    of(page, Kind::Text).iter().filter(is).map(|mark| mark.bounds()).collect()
}

const HYPHEN: f64 = 0.16;
const HELD: f64 = 0.13;

/// Six quarters; the second syllable of a word follows on a note that the first is held to.
const TUNE: &str = "{1/4. F5 1/8 E5} 1/4 D5 {1/4. C5 1/8 D5} 1/4 E5";

#[test]
fn a_word_is_never_read_as_two_for_want_of_a_hyphen() {
    let page = sung(TUNE, "wakes = on the+em- = pty");
    let hyphens = strokes(&page, HYPHEN);
    let (first, last) = (texts(&page, "the\u{A0}em"), texts(&page, "pty"));
    assert!(first.len() == 24 && last.len() == 24);
    for (first, last) in first.iter().zip(last) {
        let (first, last) = (first.bounds(), last.bounds());
        let within = |hyphen: &&kurbo::Rect| {
            hyphen.x0 > first.x1 && hyphen.x1 < last.x0 && (first.y0..first.y1).contains(&hyphen.y0)
        };
        assert_eq!(hyphens.iter().filter(within).count(), 1, "{first:?} {last:?}");
    }
}

#[test]
fn a_held_syllable_has_a_line_that_is_seen_as_one_or_none() {
    let lines = strokes(&sung(TUNE, "reeds = comes and+it = falls"), HELD);
    assert!(lines.len() < 48, "slurs show it");
    assert!(lines.iter().all(|line| line.width() > 1.8), "{lines:?}");
    let page = sung("1/4 D5 {1/2. E5 1/4 D5} 1/4 C5", "so ah, = long");
    let lines = strokes(&page, HELD);
    assert_eq!(lines.len(), 24);
    assert!(lines.iter().all(|line| line.width() > 1.8), "{lines:?}");
}

#[test]
fn what_is_sung_on_one_note_is_tied_and_can_be_found_as_it_is_spoken() {
    let page = sung(TUNE, "wakes = on thy+em- = pty");
    let words = texts(&page, "thy\u{A0}em");
    let is = |mark: &&&Mark| matches!(mark.shape, Shape::Path(_));
    let ties: Vec<_> = of(&page, Kind::Text).iter().filter(is).map(|mark| mark.bounds()).collect();
    assert_eq!(ties.len(), words.len());
    let below = texts(&page, "wakes");
    for ((tie, word), plain) in ties.iter().zip(words).zip(below) {
        let (word, plain) = (word.bounds(), plain.bounds());
        assert!(word.x0 < tie.x0 && tie.x1 < word.x1 && tie.width() < word.width(), "{tie:?}");
        assert!(tie.y0 > plain.y1 && tie.y0 < plain.y1 + 1.0, "{tie:?} below {plain:?}");
    }
}

#[test]
fn hyphens_of_a_word_that_is_held_for_long_are_repeated() {
    let page = sung("{1/8 D5 E5 F5 G5 A5 G5 F5 E5 D5 C5} 1/4 E5", "long- = = = = = = = = = ing");
    let hyphens = strokes(&page, HYPHEN);
    let (first, last) = (texts(&page, "long"), texts(&page, "ing"));
    let mut far = 0;
    for (first, last) in first.iter().zip(last) {
        let (first, last) = (first.bounds(), last.bounds());
        let row = |hyphen: &&kurbo::Rect| (first.y0..first.y1).contains(&hyphen.y0);
        let within = |hyphen: &&kurbo::Rect| hyphen.x0 > first.x1 && hyphen.x1 < last.x0;
        let edges = hyphens.iter().filter(row).filter(within).map(|hyphen| hyphen.center().x);
        let mut edges: Vec<f64> = edges.chain([first.x1, last.x0]).collect();
        edges.sort_by(f64::total_cmp);
        far += usize::from(edges.len() > 3);
        assert!(edges.windows(2).all(|pair| pair[1] - pair[0] < 21.0), "{edges:?}");
    }
    assert!(far > 5, "{far}");
}

/// Gould, Behind Bars, 2011, "Vocal music", from memory.
#[test]
fn tenors_have_a_small_eight_below_their_clef() {
    let voice = |singer: &str, pitch: &str| {
        let text = format!(
            "piece \"Sluice\" {{ composer \"House copyist\" }}\nform {{ 1 metre 4/4, key C major\n 1 end }}\n\
             voice tune {{ 1: 1/1 {pitch} | }}\nensemble few {{ era 1885\n {singer}\n }}\n\
             scoring all for few {{\n {singer} plays tune as melody\n}}\n"
        );
        let page = part_of(&text, &Setup::default()).pages.remove(0);
        let sign = |kind| match of(&page, kind)[0].shape {
            Shape::Glyph { glyph, at, .. } => (glyph, at.y),
            ref other => panic!("{other:?}"),
        };
        let (clef, origin) = sign(Kind::Clef);
        (clef, sign(Kind::Head).1 - origin)
    };
    let (soprano, high) = voice("soprano", "C5");
    let (tenor, low) = voice("tenor", "C4");
    assert_eq!((soprano, tenor), (Glyph::GClef, Glyph::GClef8vb));
    assert!((high - low).abs() < 1e-9, "{high} and {low}");
}

/// Gould, Behind Bars, 2011, chapter Vocal Music, from memory.
#[test]
fn the_bracket_of_a_tuplet_stands_above_a_staff_with_words_to_its_notes() {
    // Stems go down.
    let page = sung("3:2(1/4 C5 D5 C5) 1/1 C5", "turn the mill wheel");
    let brackets = of(&page, Kind::Tuplet).into_iter().map(Mark::bounds);
    let heads: Vec<kurbo::Rect> = of(&page, Kind::Head).into_iter().map(Mark::bounds).collect();
    let mut seen = 0;
    for bracket in brackets {
        let nearest = heads.iter().map(|head| head.center().y - bracket.center().y);
        let nearest = nearest.min_by(|a, b| a.abs().total_cmp(&b.abs())).unwrap();
        assert!(nearest > 0.0, "{bracket:?} below its notes");
        seen += 1;
    }
    assert!(seen >= 24, "{seen}");
}

#[test]
fn words_and_syllables_of_one_beat_are_nudged_by_their_own_names() {
    let page = |sign: Option<NudgedSign>| {
        let nudge = |sign: NudgedSign| Nudge {
            what: resolve::Nudge { sign, of: None, bar: 0, beat: Some(1.0), right: 1.0, up: -2.0 },
            players: None,
            line: Span::default(),
        };
        let setup = Setup { nudges: sign.map(nudge).into_iter().collect(), ..Setup::default() };
        sung_with("[\"dolce\"] 1/1. F5", "reeds", &setup)
    };
    let places = |page: &Page, text: &str| -> Vec<(f64, f64)> {
        let boxes = texts(page, text).into_iter().map(Mark::bounds);
        boxes.map(|bounds| (bounds.x0, bounds.y0)).collect()
    };
    let before = page(None);
    for (sign, moves, stays) in
        [(NudgedSign::Words, "dolce", "reeds"), (NudgedSign::Syllable, "reeds", "dolce")]
    {
        let after = page(Some(sign));
        let (old, new) = (places(&before, moves)[0], places(&after, moves)[0]);
        assert!(
            (new.0 - old.0 - 1.0).abs() < 1e-9 && (new.1 - old.1 - 2.0).abs() < 1e-9,
            "{moves}"
        );
        assert_eq!(places(&before, stays)[0], places(&after, stays)[0], "{stays}");
    }
}

/// From the tails of the letters, which an *f* has as a *p* has.
#[test]
fn dynamics_above_a_staff_stand_half_a_space_over_it() {
    for dynamic in ["f", "mf", "p"] {
        let page = sung(&format!("[{dynamic}] 1/1. A4"), "falls");
        let letters = of(&page, Kind::Dynamic).iter().map(|sign| sign.bounds()).collect::<Vec<_>>();
        let top = of(&page, Kind::StaffLine)[0].bounds().y0;
        let foot = letters[..dynamic.len()].iter().map(|sign| sign.y1).fold(f64::MIN, f64::max);
        assert!((0.4..0.7).contains(&(top - foot)), "{dynamic}: {}", top - foot);
    }
}

//! Words of singers.

use kurbo::BezPath;
use ripieno_writers::notate::Syllable;

use super::super::canvas::Canvas;
use super::super::chord::{BETWEEN_SYLLABLES, LYRIC, verse};
use super::super::notes::Placed;
use crate::page::{Kind, Origin};
use crate::text::{Face, Run, shape};

/// Length of a hyphen, and the least room between two syllables of a word in which one stands: there it may be
/// shorter. Without one, a word would be read as two. Our heuristic.
const HYPHEN: f64 = 0.7;
const LEAST_HYPHENED: f64 = 0.9;

/// Room for one hyphen between two syllables that are far apart: so often it stands again, that a word that is held is
/// not read as two. That it is repeated is common practice; the distance is our heuristic.
const PER_HYPHEN: f64 = 20.0;

/// The shortest line under notes that hold a syllable, and its distance from the next one: a shorter line looks
/// like a dash between two words and is left out, since a slur or a beam shows what is held (common practice; the
/// figures are our heuristic).
const LEAST_HELD: f64 = 1.8;
const BEFORE_NEXT: f64 = 0.4;

/// Syllables under their notes, hyphens between those of a word, lines under notes that hold one.
pub(in crate::layout) fn lyrics(canvas: &mut Canvas, notes: &[Placed], end: f64) {
    let verses = notes.iter().filter_map(|note| note.chord.note());
    let most =
        verses.flat_map(|note| &note.lyrics).map(|syllable| syllable.verse).max().unwrap_or(0);
    for of_verse in 1..=most {
        let sung: Vec<(usize, &Syllable)> = notes
            .iter()
            .enumerate()
            .filter_map(|(n, note)| {
                let mut lyrics = note.chord.note()?.lyrics.iter();
                lyrics.find(|syllable| syllable.verse == of_verse).map(|syllable| (n, syllable))
            })
            .collect();
        let (Some(first), Some(last)) = (sung.first(), sung.last()) else { continue };
        let (x0, x1) = (notes[first.0].x - 1.0, notes[last.0].x + 2.0);
        let y = canvas.sky.bottom(x0, x1).max(2.4) + 0.5 + LYRIC * 0.72;
        let mut spans: Vec<(f64, f64)> = Vec::new();
        let mut hyphened = false;
        for (n, syllable) in &sung {
            let run = shape(&syllable.text, Face::Roman, LYRIC);
            let begins = |syllable: &Syllable, width: f64| {
                // A syllable that is held begins with its note.
                let centred = notes[*n].x + 0.6 - width / 2.0;
                if syllable.melisma { notes[*n].x } else { centred }
            };
            let x = begins(syllable, run.width);
            let number = notes[*n].chord.note().is_some_and(|note| note.verses_numbered);
            let number = number.then(|| verse(syllable.verse));
            let before = number.as_ref().map_or(0.0, |number| number.width);
            let between = if hyphened { LEAST_HYPHENED } else { BETWEEN_SYLLABLES };
            hyphened = syllable.goes_on;
            let x = spans.last().map_or(x, |last| x.max(last.1 + between + before));
            spans.push((x, x + run.width));
            if let Some(number) = number {
                // Numbers stand under one another, before the longest syllable.
                let all = notes[*n].chord.note().map(|note| note.lyrics.as_slice());
                let widths = all
                    .unwrap_or_default()
                    .iter()
                    .map(|other| begins(other, shape(&other.text, Face::Roman, LYRIC).width));
                let left = widths.fold(x, f64::min);
                let origin = Some(notes[*n].chord.origin());
                canvas.text(Kind::Text, origin, number, (left - before, y));
            }
            let origin = Some(notes[*n].chord.origin());
            ties(canvas, origin, &run, (x, y));
            canvas.text(Kind::Text, origin, run, (x, y));
        }
        for (k, (n, syllable)) in sung.iter().enumerate() {
            let from = spans[k].1;
            let next = spans.get(k + 1).map(|span| span.0);
            let what = (Kind::Text, Some(notes[*n].chord.origin()));
            if syllable.goes_on {
                let to = next.unwrap_or(end);
                if to - from > LEAST_HYPHENED - 0.01 {
                    let half = HYPHEN.min(to - from - 0.3) / 2.0;
                    let each = (to - from) / ((to - from) / PER_HYPHEN).ceil();
                    let mut middle = from + each / 2.0;
                    while middle < to {
                        canvas.line(
                            what,
                            (middle - half, y - 0.62),
                            (middle + half, y - 0.62),
                            0.16,
                        );
                        middle += each;
                    }
                }
            } else if syllable.melisma {
                // To the last note before the next syllable.
                let until = sung.get(k + 1).map_or(notes.len(), |(next, _)| *next);
                let held = notes[*n..until].iter().rev().find(|note| note.chord.note().is_some());
                let to = held
                    .map_or(end, |note| note.x + 1.2)
                    .min(next.map_or(end, |next| next - BEFORE_NEXT));
                let from = from + 0.2;
                if to - from > LEAST_HELD {
                    canvas.line(what, (from, y), (to, y), 0.13);
                }
            }
        }
    }
}

/// How far a tie reaches under the letters on both sides of the blank, how far below their line or their tails it
/// begins, and how deep and thick it is.
const UNDER_LETTERS: f64 = 0.5;
const BELOW: f64 = 0.22;
const DEEP: f64 = 0.5;
const THICK: f64 = 0.17;

/// Ties under the blanks within a syllable: what it parts is sung on one note (common practice).
fn ties(canvas: &mut Canvas, origin: Option<Origin>, run: &Run, (x, y): (f64, f64)) {
    for (n, blank) in run.letters.iter().enumerate() {
        if !run.text[blank.from..].starts_with('\u{A0}') {
            continue;
        }
        let ends = run.letters.get(n + 1).map_or(run.width, |next| next.x);
        let (x0, x1) = (x + blank.x - UNDER_LETTERS, x + ends + UNDER_LETTERS);
        let beside = [n.checked_sub(1), Some(n + 1)];
        let tails = beside.into_iter().flatten().filter_map(|n| run.letters.get(n));
        let tail = tails.clone().any(|letter| run.text[letter.from..].starts_with(TAILS));
        let y = y + BELOW + if tail { 0.22 * run.size } else { 0.0 };
        let (a, b) = (x0 + (x1 - x0) * 0.25, x1 - (x1 - x0) * 0.25);
        // A curve reaches three quarters of the way to the points that draw it.
        let deep = DEEP / 0.75;
        let mut path = BezPath::new();
        path.move_to((x0, y));
        path.curve_to((a, y + deep), (b, y + deep), (x1, y));
        path.curve_to((b, y + deep - THICK / 0.75), (a, y + deep - THICK / 0.75), (x0, y));
        path.close_path();
        canvas.path(Kind::Text, origin, path);
    }
}

/// Letters that reach below their line.
const TAILS: [char; 8] = ['g', 'j', 'p', 'q', 'y', 'Q', ',', ';'];

//! Accidentals beside the heads of a column.

use kurbo::Rect;

use super::{Chord, Head, accidental_sign};
use crate::glyphs::Glyph;
use crate::layout::measures::{ACCIDENTAL_GAP, LEDGER_REACH};
use ripieno_compiler::music::Letter;
use ripieno_compiler::narrow::Narrow;

/// Room of a parenthesis beside an accidental, and how far it stands from that at its nearest: nearer, a small
/// staff has no white between the two. Our heuristic.
pub(in crate::layout) const PARENTHESIS: f64 = 0.65;
pub(in crate::layout) const IN_PARENTHESES: f64 = 0.1;

/// Air before an accidental and before a parenthesis beside the least between two notes: near to what
/// stands before it a sign would be read with that. Our heuristic.
const BEFORE_ACCIDENTAL: f64 = 0.12;
const BEFORE_PARENTHESIS: f64 = 0.4;

/// Air between a parenthesis and a ledger line of its column: the two would run into one another. Our heuristic.
const FROM_LEDGER: f64 = 0.1;

/// Accidentals go from the outside to the inside, each as near to the heads as it can be without
/// touching another (Gould, chapter 3), those of two voices at one time together. Voices are given as
/// heads, how far these stand beside the column, and their size; gives back how far all reach to the
/// left of the column.
pub(in crate::layout) fn lay_accidentals(voices: &mut [(&mut Vec<Head>, f64, f64)]) -> f64 {
    let mut boxes: Vec<Rect> = Vec::new();
    let mut ledgers: Vec<Rect> = Vec::new();
    let mut signed: Vec<(usize, usize)> = Vec::new();
    for (voice, (heads, shift, scale)) in voices.iter().enumerate() {
        for (n, head) in heads.iter().enumerate() {
            let (x, y) = (head.x + shift, -f64::from(head.place) / 2.0);
            let width = head.glyph.width() * scale;
            boxes.push(Rect::new(x, y - 0.5 * scale, x + width, y + 0.5 * scale));
            let reach = LEDGER_REACH * scale;
            ledgers.extend(
                ledger_lines(head.place).map(|y| Rect::new(x - reach, y, x + width + reach, y)),
            );
            if head.accidental.is_some() {
                signed.push((voice, n));
            }
        }
    }
    signed.sort_by_key(|&(voice, n)| voices[voice].0[n].place);
    let mut order = Vec::with_capacity(signed.len());
    let (mut low, mut high) = (0, signed.len());
    while low < high {
        high -= 1;
        order.push(signed[high]);
        if low < high {
            order.push(signed[low]);
            low += 1;
        }
    }
    let mut reach: f64 = 0.0;
    for (voice, n) in order {
        let (heads, shift, scale) = &mut voices[voice];
        let (shift, scale) = (*shift, *scale);
        let head = &mut heads[n];
        let Some((sign, _)) = head.accidental else { continue };
        let bounds = sign.bounds();
        let y = -f64::from(head.place) / 2.0;
        let (top, bottom) = (y - bounds.y1 * scale, y - bounds.y0 * scale);
        let parentheses = if head.courtesy { 2.0 * PARENTHESIS } else { 0.0 };
        let width = (bounds.x1 + parentheses) * scale;
        let brackets = Glyph::AccidentalParensLeft.bounds();
        let beside =
            |line: &&Rect| head.courtesy && (line.y0 - y).abs() < brackets.y1 * scale + FROM_LEDGER;
        let ledgers = ledgers.iter().filter(beside);
        let mut x = -ACCIDENTAL_GAP - width;
        loop {
            let overlap = boxes
                .iter()
                .filter(|b| b.y0 < bottom - 0.05 && b.y1 > top + 0.05)
                .filter(|b| b.x0 < x + width + 0.1 && b.x1 > x)
                .map(|b| b.x0)
                .fold(f64::INFINITY, f64::min);
            let line = ledgers
                .clone()
                .filter(|line| line.x0 < x + width + FROM_LEDGER - 1e-6 && line.x1 > x)
                .map(|line| line.x0)
                .fold(f64::INFINITY, f64::min);
            if overlap.is_infinite() && line.is_infinite() {
                break;
            }
            x = (overlap - 0.14).min(line - FROM_LEDGER) - width;
        }
        boxes.push(Rect::new(x, top, x + width, bottom));
        head.accidental = Some((sign, x + parentheses / 2.0 * scale - shift));
        let air = if head.courtesy { BEFORE_PARENTHESIS } else { BEFORE_ACCIDENTAL };
        reach = reach.max(air * scale - x);
    }
    reach
}

/// The heights of the ledger lines of a head.
fn ledger_lines(place: i32) -> impl Iterator<Item = f64> {
    let lines = 3..=place.abs() / 2;
    lines.map(move |line| f64::from(-line * place.signum()))
}

/// The accidental of a head that is tied from the note before, where the signature of so many fifths does
/// not give it and it does not stand there anyway.
pub(in crate::layout) fn restated(chord: &Chord, head: &Head, fifths: i32) -> Option<Glyph> {
    let note = chord.note()?;
    let pitch = note.heads.get(usize::from(head.index))?.pitch;
    if !note.tie_from || head.accidental.is_some() || pitch.alter == alter(fifths, pitch.letter) {
        return None;
    }
    Some(accidental_sign(pitch.alter))
}

/// What a signature of so many fifths makes of a letter: the sharps come in the order F C G D A E B, the
/// flats against it.
pub(in crate::layout) fn alter(fifths: i32, letter: Letter) -> i8 {
    const ORDER: [Letter; 7] =
        [Letter::F, Letter::C, Letter::G, Letter::D, Letter::A, Letter::E, Letter::B];
    let place = ORDER.iter().position(|other| *other == letter).unwrap_or_default();
    (fifths + 6 - place.narrow::<i32>()).div_euclid(7).narrow::<i8>()
}

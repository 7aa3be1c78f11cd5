//! Accidentals beside the heads of a column.

use kurbo::Rect;

use super::{Chord, Head, accidental_sign};
use crate::glyphs::Glyph;
use crate::layout::canvas::Canvas;
use crate::layout::measures::{
    ACCIDENTAL_GAP, LEDGER_AIR, LEDGER_LEAST, LEDGER_LINE, LEDGER_REACH,
};
use crate::page::{Kind, Shape};
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

/// How much of the air before an accidental a ledger line behind it may take. Our heuristic.
const FOR_LEDGER: f64 = 0.1;

/// Air between a parenthesis and a ledger line of its column: the two would run into one another. Our heuristic.
const FROM_LEDGER: f64 = 0.1;

/// Accidentals go from the outside to the inside, each as near to the heads as it can be without touching another
/// (Gould, chapter 3) or a ledger line, which is shortened beside them; those of two voices at one time together. Voices
/// are given as heads, how far these stand beside the column, and their size; gives back how far all reach to the left
/// of the column.
pub(in crate::layout) fn lay_accidentals(voices: &mut [(&mut Vec<Head>, f64, f64)]) -> f64 {
    let reach = lay(voices, false);
    // For what is left of a ledger line they take of the air before them, not of the line.
    reach.max(lay(voices, true) - FOR_LEDGER)
}

/// The same, with or without an eye to ledger lines beside signs that stand in no parentheses.
fn lay(voices: &mut [(&mut Vec<Head>, f64, f64)], from_ledgers: bool) -> f64 {
    let mut boxes: Vec<Rect> = Vec::new();
    let mut ledgers: Vec<(Rect, f64)> = Vec::new();
    let mut signed: Vec<(usize, usize)> = Vec::new();
    for (voice, (heads, shift, scale)) in voices.iter().enumerate() {
        for (n, head) in heads.iter().enumerate() {
            let (x, y) = (head.x + shift, -f64::from(head.place) / 2.0);
            let width = head.glyph.width() * scale;
            boxes.push(Rect::new(x, y - 0.5 * scale, x + width, y + 0.5 * scale));
            let reach = LEDGER_REACH * scale;
            ledgers.extend(
                ledger_lines(head.place)
                    .map(|y| (Rect::new(x - reach, y, x + width + reach, y), *scale)),
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
        // Where each ledger line beside it begins at the farthest, how far it reaches, and the edge that it has
        // to the line.
        let lines: Vec<(f64, f64, f64)> = ledgers
            .iter()
            .filter_map(|&(line, line_scale)| {
                let (begins, edge) = if head.courtesy {
                    let near = (line.y0 - y).abs() < brackets.y1 * scale + FROM_LEDGER;
                    (line.x0 - FROM_LEDGER, near.then_some(width)?)
                } else if !from_ledgers {
                    return None;
                } else {
                    let least = (LEDGER_REACH - LEDGER_LEAST) * line_scale;
                    (line.x0 + least - LEDGER_AIR, edge_beside(sign, line.y0 - y, scale)?)
                };
                Some((begins, line.x1, edge))
            })
            .collect();
        let mut x = -ACCIDENTAL_GAP - width;
        loop {
            let overlap = boxes
                .iter()
                .filter(|b| b.y0 < bottom - 0.05 && b.y1 > top + 0.05)
                .filter(|b| b.x0 < x + width + 0.1 && b.x1 > x)
                .map(|b| b.x0)
                .fold(f64::INFINITY, f64::min);
            let line = lines
                .iter()
                .filter(|(begins, ends, edge)| *begins < x + edge - 1e-6 && *ends > x)
                .map(|(begins, _, edge)| begins - edge)
                .fold(f64::INFINITY, f64::min);
            if overlap.is_infinite() && line.is_infinite() {
                break;
            }
            x = (overlap - 0.14 - width).min(line);
        }
        boxes.push(Rect::new(x, top, x + width, bottom));
        head.accidental = Some((sign, x + parentheses / 2.0 * scale - shift));
        let air = if head.courtesy { BEFORE_PARENTHESIS } else { BEFORE_ACCIDENTAL };
        reach = reach.max(air * scale - x);
    }
    reach
}

/// How far an accidental of a size reaches to the right beside a ledger line so far below its own place.
fn edge_beside(sign: Glyph, below: f64, scale: f64) -> Option<f64> {
    let near = LEDGER_LINE / 2.0 + LEDGER_AIR;
    let edge = sign.right_between((-below - near) / scale, (-below + near) / scale)?;
    Some(edge * scale)
}

/// From a head to an accidental that is drawn before it alone, with room for what is left of a ledger line between
/// both.
pub(in crate::layout) fn gap_before(chord: &Chord) -> f64 {
    let outside = chord.heads().iter().any(|head| head.place.abs() >= 6);
    if outside { LEDGER_LEAST * chord.scale + LEDGER_AIR } else { 0.2 }
}

/// Ledger lines are shortened on their left where accidentals stand beside them.
pub(in crate::layout) fn shorten_ledgers(canvas: &mut Canvas) {
    let signs: Vec<_> = canvas
        .marks
        .iter()
        .filter(|mark| mark.kind == Kind::Accidental)
        .filter_map(|mark| match mark.shape {
            Shape::Glyph { glyph, at, scale } => Some((glyph, at, scale)),
            _ => None,
        })
        .collect();
    for mark in canvas.marks.iter_mut().filter(|mark| mark.kind == Kind::Ledger) {
        let Shape::Line { from, .. } = &mut mark.shape else { continue };
        let near =
            signs.iter().filter(|(_, at, _)| (from.x - 3.0..from.x + LEDGER_REACH).contains(&at.x));
        let edges = near.filter_map(|&(sign, at, scale)| {
            Some((at.x + edge_beside(sign, from.y - at.y, scale)? + LEDGER_AIR, scale))
        });
        // Never up to the head.
        let most =
            |(edge, scale): (f64, f64)| edge.min(from.x + (LEDGER_REACH - LEDGER_LEAST) * scale);
        from.x = edges.map(most).fold(from.x, f64::max);
    }
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

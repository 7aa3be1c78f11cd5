//! What hangs on notes: articulations, ornaments, bowings, fermatas, and the numbers and brackets of
//! tuplets.

use kurbo::Rect;
use ripieno_compiler::resolve::Mark;
use ripieno_writers::notate::ElementKind;

use super::canvas::Canvas;
use super::chord::Look;
use super::measures::{ABOVE, THIN_LINE};
use super::notes::Placed;
use crate::glyphs::Glyph;
use crate::page::{Kind, Origin};
use crate::sheet::Side;
use crate::text::{Face, shape};

/// Marks that stand on the side of the head, the nearest first; within the staff in a space.
const NEAR: [Mark; 2] = [Mark::Staccato, Mark::Tenuto];
/// Marks that stand outside the staff on the side of the head.
pub(super) const OUTSIDE: [Mark; 3] = [Mark::Staccatissimo, Mark::Accent, Mark::Marcato];
/// Marks over the staff, the lowest first.
const OVER: [Mark; 9] = [
    Mark::Harmonic,
    Mark::Stopped,
    Mark::Open,
    Mark::UpBow,
    Mark::DownBow,
    Mark::Mordent,
    Mark::Turn,
    Mark::Trill,
    Mark::Fermata,
];

/// Steps above the middle line of the lowest head of a cue's note whose accent stands over it. Our heuristic.
const HIGH_CUE: i32 = 2;

/// Articulations, which lie within slurs. `voices` are all of the staff.
pub(super) fn articulations(canvas: &mut Canvas, notes: &[Placed], voices: &[Vec<Placed>]) {
    for note in notes {
        let Some(written) = note.chord.note() else { continue };
        if written.marks.is_empty() {
            continue;
        }
        // Under a cue stand only rests: its marks stay at its heads, unless a rest stands right under them, whose
        // mark it would seem.
        let under =
            |side: &Side| !note.chord.event.element.cue || is_over_rest(note, *side, voices);
        let above = match note.chord.side.filter(under) {
            Some(side) => side == Side::Upper,
            None => !(note.chord.is_stemmed() && note.chord.is_up()),
        };
        let (origin, size) = (Some(note.chord.origin()), size(note));
        let (low, high) = note.chord.span();
        let mut place = if above { high } else { low };
        let step = if above { 1 } else { -1 };
        // The outermost line, in steps from the middle: beside a single one there is nothing but air.
        let outer = i32::from(note.lines.saturating_sub(1));
        let at_stem = note.chord.is_stemmed() && note.chord.is_up() == above;
        for mark in NEAR {
            if !written.marks.has(mark) {
                continue;
            }
            if at_stem {
                // Beyond the stem: a dot over it, a line over the head (Gould, chapter 4, from memory).
                let (glyph, middle) = match mark {
                    Mark::Tenuto => (Glyph::ArticTenutoAbove, note.middle()),
                    _ => (Glyph::ArticStaccatoAbove, note.stem_x()),
                };
                let sign = (glyph, size);
                stack(canvas, (Kind::Articulation, origin), sign, middle, above, (0.4, 0.0));
                continue;
            }
            // The next free space; outside the staff one space away.
            place += 2 * step;
            // On a ledger line of its note it would be overlooked as on one of the staff.
            if place % 2 == 0 && (low.min(-outer)..=high.max(outer)).contains(&place) {
                place += step;
            }
            let y = -f64::from(place) / 2.0;
            let (glyph, half) = match mark {
                Mark::Tenuto => (Glyph::ArticTenutoAbove, 0.085),
                _ => (Glyph::ArticStaccatoAbove, 0.2),
            };
            let x = note.middle() - scaled(glyph, size).center().x;
            canvas.glyph((Kind::Articulation, origin), glyph, (x, y + half * size), size);
        }
        for mark in OUTSIDE {
            if !written.marks.has(mark) {
                continue;
            }
            // A marcato stands over the staff, but under it where another voice is over its own (common practice).
            let marcato = mark == Mark::Marcato && note.chord.side.is_none_or(|side| !under(&side));
            // Under the staff the accent of a cue's high note would seem that of the rest there. Our heuristic.
            let high_cue = mark == Mark::Accent && note.chord.event.element.cue && low >= HIGH_CUE;
            let over = above || marcato || high_cue;
            let glyph = match (mark, over) {
                (Mark::Staccatissimo, true) => Glyph::ArticStaccatissimoAbove,
                (Mark::Staccatissimo, false) => Glyph::ArticStaccatissimoBelow,
                (Mark::Accent, _) => Glyph::ArticAccentAbove,
                (_, true) => Glyph::ArticMarcatoAbove,
                (_, false) => Glyph::ArticMarcatoBelow,
            };
            let least = if mark == Mark::Staccatissimo { 0.0 } else { 2.0 };
            // An accent is wider than its head and would touch the accidental before that.
            let signed = note.chord.heads().iter().any(|head| head.accidental.is_some());
            // A small note before it is farther away than the steps of the edge make it seem. Our heuristic.
            let before = match (glyph, signed) {
                (Glyph::ArticAccentAbove, true) => 0.35,
                (Glyph::ArticAccentAbove, false) if !note.chord.graces.is_empty() => -0.15,
                _ => 0.1,
            };
            let what = (Kind::Articulation, origin);
            stack_behind(canvas, what, (glyph, size), note.middle(), over, (0.3, least, before));
        }
    }
}

/// Puts a sign on the edge of what stands there, at least so far from the middle line.
fn stack(
    canvas: &mut Canvas,
    what: (Kind, Option<Origin>),
    (glyph, size): (Glyph, f64),
    middle: f64,
    above: bool,
    (air, least): (f64, f64),
) {
    stack_behind(canvas, what, (glyph, size), middle, above, (air, least, 0.1));
}

/// The same, with more air to what stands before it.
fn stack_behind(
    canvas: &mut Canvas,
    what: (Kind, Option<Origin>),
    (glyph, size): (Glyph, f64),
    middle: f64,
    above: bool,
    (air, least, before): (f64, f64, f64),
) {
    let bounds = scaled(glyph, size);
    let x = middle - bounds.center().x;
    let (x0, x1) = (x + bounds.x0 - before, x + bounds.x1 + 0.1);
    let y = if above {
        let edge = canvas.sky.top(x0, x1).min(-least);
        edge - air + bounds.y0
    } else {
        let edge = canvas.sky.bottom(x0, x1).max(least);
        edge + air + bounds.y1
    };
    canvas.glyph(what, glyph, (x, y), size);
}

/// The size of a note's marks: those of a cue are as small as its notes (common practice).
fn size(note: &Placed) -> f64 {
    if note.chord.event.element.cue { note.chord.scale } else { 1.0 }
}

/// The box of a sign in some size.
fn scaled(glyph: Glyph, size: f64) -> Rect {
    let bounds = glyph.bounds();
    Rect::new(bounds.x0 * size, bounds.y0 * size, bounds.x1 * size, bounds.y1 * size)
}

/// Does a rest that is no bar of rest stand under a note of the upper voice, and begin with it?
fn is_over_rest(note: &Placed, side: Side, voices: &[Vec<Placed>]) -> bool {
    let begins = |other: &Placed| (other.bar, other.chord.event.element.at);
    side == Side::Upper
        && voices.iter().flatten().any(|other| {
            other.chord.side == Some(Side::Lower)
                && matches!(other.chord.look, Look::Rest { whole_bar: false, .. })
                && begins(other) == begins(note)
        })
}

/// Has a note or rest a fermata of its own under that of the upper voice on its staff, which begins and ends with it?
/// One sign over the staff holds both; two are needed only where the voices are held for unlike notes. Common
/// practice.
fn is_held_above(note: &Placed, voices: &[Vec<Placed>]) -> bool {
    let held = |note: &Placed| match &note.chord.event.element.kind {
        ElementKind::Rest { fermata } | ElementKind::BarRest { fermata } => *fermata,
        ElementKind::Note(written) => written.marks.has(Mark::Fermata),
    };
    let span =
        |note: &Placed| (note.bar, note.chord.event.element.at, note.chord.event.element.length);
    note.chord.side == Some(Side::Lower)
        && voices.iter().flatten().any(|other| {
            other.chord.side == Some(Side::Upper) && held(other) && span(other) == span(note)
        })
}

/// Ornaments, bowings and fermatas, which lie outside slurs; and breaths. `voices` are all of the staff.
pub(super) fn ornaments(
    canvas: &mut Canvas,
    notes: &[Placed],
    voices: &[Vec<Placed>],
    trill_ends: &dyn Fn(usize) -> f64,
) {
    for (n, note) in notes.iter().enumerate() {
        let (origin, size) = (Some(note.chord.origin()), size(note));
        let fermata = matches!(
            note.chord.event.element.kind,
            ElementKind::Rest { fermata: true } | ElementKind::BarRest { fermata: true }
        );
        if fermata && !is_held_above(note, voices) {
            // Of the lower voice it stands under the staff, at its rest.
            let over = note.chord.side != Some(Side::Lower);
            let glyph = if over { Glyph::FermataAbove } else { Glyph::FermataBelow };
            let sign = (glyph, size);
            stack(canvas, (Kind::Articulation, origin), sign, note.middle(), over, (0.5, 2.0));
        }
        let Some(written) = note.chord.note() else { continue };
        for mark in OVER {
            if !written.marks.has(mark) {
                continue;
            }
            let glyph = match mark {
                Mark::Harmonic => Glyph::StringsHarmonic,
                Mark::Stopped => Glyph::BrassMuteClosed,
                Mark::Open => Glyph::BrassMuteOpen,
                Mark::UpBow => Glyph::StringsUpBow,
                Mark::DownBow => Glyph::StringsDownBow,
                Mark::Mordent => Glyph::OrnamentMordent,
                Mark::Turn => Glyph::OrnamentTurn,
                Mark::Trill => Glyph::OrnamentTrill,
                _ => Glyph::FermataAbove,
            };
            if mark == Mark::Trill {
                trill(canvas, note, trill_ends(n), note.chord.side != Some(Side::Lower));
                continue;
            }
            if mark == Mark::Fermata && is_held_above(note, voices) {
                continue;
            }
            // The sign of a chord broken over both staves goes through what is above the lower one.
            let over = note.chord.side != Some(Side::Lower) && !note.chord.under_spread;
            let glyph = if over || mark != Mark::Fermata { glyph } else { Glyph::FermataBelow };
            let sign = (glyph, size);
            stack(canvas, (Kind::Articulation, origin), sign, note.middle(), over, (ABOVE, 2.0));
            let ornament = matches!(mark, Mark::Mordent | Mark::Turn);
            if let Some(alter) = written.ornament_accidental.filter(|_| ornament) {
                let below = mark == Mark::Mordent && over;
                let sign = super::chord::accidental_sign(alter);
                let sign = (sign, SMALL_SIGN * size);
                small_sign(
                    canvas,
                    (Kind::Articulation, origin),
                    sign,
                    note.middle(),
                    over && !below,
                );
            }
        }
        if written.marks.has(Mark::Breath) {
            let from = note.x + note.chord.right - super::chord::BREATH;
            breath(canvas, origin, (from, trill_ends(n)), note.chord.side != Some(Side::Lower));
        }
    }
}

/// How far a breath stands before what follows its note at most, and how much air it has above the lines of the
/// staff and beside what rises over them. Our heuristic; that it stands over the staff, where its note ends, is
/// common practice: behind the head of a long note it would cut that short.
const FAR_BREATH: f64 = 1.1;
const OVER_STAFF: f64 = 0.25;
const BESIDE_BREATH: f64 = 0.35;

/// The comma of a breath, before what follows a note: midway between the two where they are near to one another.
/// That of a lower voice stands under the staff.
fn breath(canvas: &mut Canvas, origin: Option<Origin>, (from, to): (f64, f64), above: bool) {
    let bounds = Glyph::BreathMarkComma.bounds();
    let room = to - from - bounds.width();
    let left = from + (room / 2.0).max(room - FAR_BREATH).max(BESIDE_BREATH);
    let beside = (left - BESIDE_BREATH, left + bounds.width() + BESIDE_BREATH);
    let y = match above {
        true => canvas.sky.top(beside.0, beside.1).min(-2.0) - OVER_STAFF + bounds.y0,
        false => canvas.sky.bottom(beside.0, beside.1).max(2.0) + OVER_STAFF + bounds.y1,
    };
    let at = (left - bounds.x0, y);
    canvas.glyph((Kind::Articulation, origin), Glyph::BreathMarkComma, at, 1.0);
}

/// Size of an accidental at an ornament.
const SMALL_SIGN: f64 = 0.62;

/// An accidental over or under an ornament.
fn small_sign(
    canvas: &mut Canvas,
    what: (Kind, Option<Origin>),
    (sign, size): (Glyph, f64),
    middle: f64,
    over: bool,
) {
    let bounds = scaled(sign, size);
    let x = middle - bounds.center().x;
    let (x0, x1) = (x, x + bounds.x1);
    let y = if over {
        canvas.sky.top(x0, x1) - 0.25 + bounds.y0
    } else {
        canvas.sky.bottom(x0, x1) + 0.25 + bounds.y1
    };
    canvas.glyph(what, sign, (x, y), size);
}

/// From the beginning of the sign of a trill to the end of the shortest wavy line behind it.
const LEAST_WAVE: f64 = 3.6;
/// So much room has a note whose trill has a wavy line.
pub(super) const WAVED: f64 = 4.9;

/// Has the trill of a note a wavy line? Where it is longer than a quarter, or tied on, in parts and scores
/// alike. Our heuristic.
pub(super) fn is_waved(chord: &super::chord::Chord) -> bool {
    let long = chord.event.element.length.to_f64() > 0.25;
    chord.note().is_some_and(|note| note.marks.has(Mark::Trill) && (long || note.tie_to))
}

/// The sign of a trill, with a wavy line where the note is long. That of a lower voice stands under the staff.
fn trill(canvas: &mut Canvas, note: &Placed, end: f64, above: bool) {
    let size = size(note);
    let mut bounds = scaled(Glyph::OrnamentTrill, size);
    let x = note.x - 0.1;
    let waved = is_waved(note.chord) && end - x > LEAST_WAVE * size;
    let neighbour = note.chord.note().and_then(|note| note.ornament_accidental);
    let neighbour = neighbour.map(super::chord::accidental_sign);
    let signed = neighbour.map_or(0.0, |sign| (0.2 + sign.width() * SMALL_SIGN) * size);
    // With an accidental it begins farther left where the line ends behind its note.
    let x = if signed > 0.0 && !waved { x.min(end - bounds.x1 - signed).max(x - 1.6) } else { x };
    let to = if waved { end - 0.6 } else { x + bounds.x1 + signed };
    let y = match above {
        true => canvas.sky.top(x, to).min(-2.0) - ABOVE,
        false => canvas.sky.bottom(x, to).max(2.0) + ABOVE + bounds.y1,
    };
    let origin = Some(note.chord.origin());
    canvas.glyph((Kind::Articulation, origin), Glyph::OrnamentTrill, (x, y), size);
    if let Some(sign) = neighbour {
        let at = (x + bounds.x1 + 0.2 * size, y - 0.75 * size);
        canvas.glyph((Kind::Articulation, origin), sign, at, SMALL_SIGN * size);
        bounds.x1 += signed;
    }
    if waved {
        wave(canvas, note, (x + bounds.x1 + 0.25 * size, to), y);
    }
}

/// The wavy line of a trill from and to some place, at the height of its sign.
fn wave(canvas: &mut Canvas, note: &Placed, (from, to): (f64, f64), y: f64) {
    let (origin, size) = (Some(note.chord.origin()), size(note));
    let mut at = from;
    while at + 0.9 * size < to {
        let place = (at, y - 0.65 * size);
        canvas.glyph((Kind::Articulation, origin), Glyph::WiggleTrill, place, size);
        at += 0.97 * size;
    }
}

/// The wavy line of a trill that began on the line before: from the note that is tied to its end, but at least once.
pub(super) fn trill_goes_on(canvas: &mut Canvas, note: &Placed, end: f64) {
    let x = note.x - 0.5;
    let to = (end - 0.6).max(x + size(note));
    let y = match note.chord.side != Some(Side::Lower) {
        true => canvas.sky.top(x, to).min(-2.0) - ABOVE,
        false => {
            canvas.sky.bottom(x, to).max(2.0) + ABOVE + scaled(Glyph::OrnamentTrill, size(note)).y1
        }
    };
    wave(canvas, note, (x, to), y);
}

/// Numbers of tuplets, with a bracket where no beam shows which notes belong together. Over notes that are `sung` the
/// bracket stands above, as dynamics do, clear of their words (Gould, Behind Bars, 2011, chapter Vocal Music, from
/// memory).
pub(super) fn tuplets(canvas: &mut Canvas, notes: &[Placed], sung: bool) {
    let mut first = None;
    for (n, note) in notes.iter().enumerate() {
        let Some(tuplet) = note.chord.event.element.tuplet else {
            first = None;
            continue;
        };
        if tuplet.starts {
            first = Some(n);
        }
        if tuplet.ends
            && let Some(from) = first.take()
        {
            draw_tuplet(canvas, &notes[from..=n], (tuplet.actual, tuplet.normal), sung);
        }
    }
}

fn draw_tuplet(canvas: &mut Canvas, notes: &[Placed], (actual, normal): (u8, u8), sung: bool) {
    use ripieno_writers::notate::Beam;
    let (Some(first), Some(last)) = (notes.first(), notes.last()) else { return };
    let ups = notes.iter().filter(|note| note.chord.is_stemmed() && note.chord.is_up()).count();
    let side = first.chord.side;
    let downs = notes.iter().filter(|note| note.chord.is_stemmed() && !note.chord.is_up()).count();
    let beam = |note: &Placed| note.chord.event.element.beams.first().copied();
    let shown = beam(first) == Some(Beam::Begins)
        && beam(last) == Some(Beam::Ends)
        && notes.iter().all(|note| note.chord.is_beamed())
        && (ups == 0 || downs == 0);
    let above = match side {
        Some(side) => side == Side::Upper,
        None => ups >= downs || sung && !shown,
    };
    let side = if above { -1.0 } else { 1.0 };
    let said = match (actual, normal) {
        (3, 2) | (5..=7, 4) | (2, 3) | (4, 3) => actual.to_string(),
        _ => format!("{actual}:{normal}"),
    };
    let run = shape(&said, Face::BoldItalic, 2.0);
    let origin = Some(first.chord.origin());
    let (x0, x1) = if shown {
        (first.stem_x(), last.stem_x())
    } else {
        let end = match &last.chord.look {
            Look::Note { .. } => last.x + 1.2,
            Look::Rest { glyph, .. } => last.x + glyph.width(),
        };
        (first.x - 0.1, end + 0.1)
    };
    let middle = f64::midpoint(x0, x1);
    let rise = run.rise() * 0.92;
    // Another number beside the figure would be read with it.
    let beside = |canvas: &mut Canvas, y: f64| {
        let half = run.width / 2.0 + 0.7;
        canvas.sky.add((middle - half, middle + half), (y - rise, y));
        let half = run.width / 2.0;
        canvas.figures.push(Rect::new(middle - half, y - rise, middle + half, y));
    };
    if shown {
        let (from, to) = (middle - run.width / 2.0 - 0.1, middle + run.width / 2.0 + 0.1);
        let y = if above {
            canvas.sky.top(from, to) - 0.35
        } else {
            canvas.sky.bottom(from, to) + 0.35 + rise
        };
        let x = middle - run.width / 2.0;
        beside(canvas, y);
        canvas.text(Kind::Tuplet, origin, run, (x, y));
        return;
    }
    // The figure stands half below its line, and keeps clear of what is under it all the same.
    let (from, to) = (middle - run.width / 2.0 - 0.1, middle + run.width / 2.0 + 0.1);
    let half = rise / 2.0 + 0.12;
    let y = if above {
        (canvas.sky.top(x0, x1).min(-2.2) - 0.55).min(canvas.sky.top(from, to) - half)
    } else {
        (canvas.sky.bottom(x0, x1).max(2.2) + 0.55).max(canvas.sky.bottom(from, to) + half)
    };
    let hook = y - side * 0.55;
    let gap = run.width / 2.0 + 0.35;
    canvas.brackets.push(Rect::new(x0, y, x1, y));
    let what = (Kind::Tuplet, origin);
    canvas.line(what, (x0, hook), (x0, y), THIN_LINE);
    canvas.line(what, (x0, y), (middle - gap, y), THIN_LINE);
    canvas.line(what, (middle + gap, y), (x1, y), THIN_LINE);
    canvas.line(what, (x1, y), (x1, hook), THIN_LINE);
    let x = middle - run.width / 2.0;
    beside(canvas, y + rise / 2.0);
    canvas.text(Kind::Tuplet, origin, run, (x, y + rise / 2.0));
}

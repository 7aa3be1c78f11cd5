//! What stands at one time on one staff, or on both staves of a player: two voices keep clear of one
//! another, chords that are broken together have one sign.

use ripieno_compiler::narrow::Narrow;

use super::chord::{Chord, Head, Look, lay_accidentals};
use super::measures::{DOT_GAP, STEM};
use super::notes::Placed;
use crate::glyphs::Glyph;
use crate::sheet::Side;

/// Where notes of two voices would lie on one another, the lower voice stands to the right (Gould,
/// chapter 1, from memory); accidentals and dots of both keep clear of all heads, rests of the notes.
pub(super) fn part_voices<'a>(upper: &mut [Chord<'a>], lower: &mut [Chord<'a>]) {
    let mut n = 0;
    for chord in lower.iter_mut() {
        while n < upper.len() && upper[n].at() < chord.at() {
            n += 1;
        }
        if let Some(other) = upper.get_mut(n).filter(|other| other.at() == chord.at()) {
            part(other, chord);
        }
    }
    for chord in upper.iter_mut() {
        part_rest(chord, lower);
    }
    for chord in lower.iter_mut() {
        part_rest(chord, upper);
    }
    part_rests(upper, lower);
    level_rests(upper, lower, Side::Upper);
    level_rests(lower, upper, Side::Lower);
    share_rests(upper, lower);
}

/// A player's rest under one of a cue, which is smaller, keeps clear of it: on a staff of few lines it would run
/// into it.
fn part_rests(upper: &[Chord], lower: &mut [Chord]) {
    for rest in lower {
        let at = rest.at();
        let above = upper.iter().find(|cue| cue.event.element.cue && cue.at() == at);
        let Some(Chord { look: Look::Rest { glyph: small, y: top, .. }, scale, .. }) = above else {
            continue;
        };
        let Look::Rest { glyph, y, whole_bar: false } = &mut rest.look else { continue };
        let least = top + small.bounds().y1 * scale + CLEAR_REST - glyph.bounds().y0;
        lower_rest(y, &mut rest.dots, (least - *y).max(0.0).ceil());
    }
}

/// Air between the rest of a cue and that of the player under it, in staff spaces. Our heuristic.
const CLEAR_REST: f64 = 0.2;

/// Moves a rest down by whole spaces, so that it stands to the lines as before, with its dots.
fn lower_rest(y: &mut f64, dots: &mut [(f64, i32)], by: f64) {
    *y += by;
    let steps = (2.0 * by).narrow::<i32>();
    dots.iter_mut().for_each(|dot| dot.1 -= steps);
}

/// Rests of one voice that follow one another stand at one height, that of the farthest from the other voice
/// (common practice), but for those that stand for both voices.
fn level_rests(voice: &mut [Chord], others: &[Chord], side: Side) {
    let shared = |chord: &Chord| others.iter().any(|other| are_one_rest(chord, other));
    let height = |chord: &Chord| match chord.look {
        Look::Rest { y, glyph, whole_bar: false } if glyph != Glyph::RestWhole => {
            (!shared(chord)).then_some(y)
        }
        _ => None,
    };
    for run in voice.chunk_by_mut(|a, b| height(a).is_some() && height(b).is_some()) {
        let farther = if side == Side::Upper { f64::min } else { f64::max };
        let Some(level) = run.iter().filter_map(height).reduce(farther) else { continue };
        for rest in run {
            if let Look::Rest { y, .. } = &mut rest.look {
                let by = level - *y;
                lower_rest(y, &mut rest.dots, by);
            }
        }
    }
}

/// Do two voices rest as long, from the same time on?
fn are_one_rest(one: &Chord, other: &Chord) -> bool {
    [one, other].iter().all(|chord| matches!(chord.look, Look::Rest { .. }))
        && other.at() == one.at()
        && other.event.element.value == one.event.element.value
        && other.event.element.length == one.event.element.length
        && (other.scale - one.scale).abs() < 1e-9
}

/// Where both voices rest as long, one rest stands for both, in the middle (Gould, chapter 1, from
/// memory).
fn share_rests(upper: &mut [Chord], lower: &mut [Chord]) {
    for one in upper.iter_mut().filter(|chord| matches!(chord.look, Look::Rest { .. })) {
        let Some(other) = lower.iter_mut().find(|other| are_one_rest(one, other)) else { continue };
        let (Look::Rest { y: above, .. }, Look::Rest { y: below, .. }) =
            (&mut one.look, &mut other.look)
        else {
            continue;
        };
        // Each stands two spaces from the middle, or farther.
        let (to, steps) = (f64::midpoint(*above, *below), (*below - *above).narrow::<i32>());
        let to = if steps == 4 { to } else { to.round() };
        let (up, down) = (to - *above, *below - to);
        (*above, *below) = (to, to);
        one.dots.iter_mut().for_each(|dot| dot.1 -= (2.0 * up).narrow::<i32>());
        other.dots.iter_mut().for_each(|dot| dot.1 += (2.0 * down).narrow::<i32>());
    }
}

/// Air between heads of two voices on one place that differ, whose stems would else make one upright, and
/// between a head and a whole note on its place or across it, which no stem parts from it; beside a note a second
/// above, the whole note is as near as those. Our heuristic.
const UNLIKE: f64 = 0.6;
const STEMLESS: f64 = 0.9;

/// Air before a dotted head of the upper voice that stands to the right of an undotted one on its place: both stems
/// are outside, the one down on the left, the other up on the right. Our heuristic.
const BESIDE_UNLIKE: f64 = 0.2;

/// Air behind a head that stands beside its column, more than behind others.
const BESIDE: f64 = 0.7;

fn part<'a>(upper: &mut Chord<'a>, lower: &mut Chord<'a>) {
    // Without stems nothing says whose the strokes of a tremolo are.
    let tremolo = |chord: &Chord| chord.note().map_or(0, |note| note.tremolo);
    let stemless = upper.event.element.value.log2 <= 0;
    let stroked_alike = !stemless || tremolo(upper) == tremolo(lower);
    let (Look::Note { heads: above, .. }, Look::Note { heads: below, .. }) =
        (&mut upper.look, &mut lower.look)
    else {
        return;
    };
    let width = |head: &Head, scale: f64| head.glyph.width() * scale;
    let (lowest, highest) = (above[0].place, below[below.len() - 1].place);
    let shared = lowest == highest
        && stroked_alike
        && above[0].glyph == below[0].glyph
        && upper.event.element.value.dots == lower.event.element.value.dots
        && (upper.scale - lower.scale).abs() < 1e-9
        && above.iter().chain(below.iter()).all(|head| head.x == 0.0);
    let mut shift: f64 = 0.0;
    let crossed = highest > lowest + 1;
    // Beside an undotted head on its place a dot follows its own head only where that stands to the right (Gould,
    // chapter 1, from memory).
    let dotted = (upper.event.element.value.dots > 0, lower.event.element.value.dots > 0);
    let alone = upper.graces.is_empty() && upper.clef.is_none() && upper.spread.is_none();
    let turned = lowest == highest && dotted == (true, false) && alone;
    if !shared {
        let stemless = lower.event.element.value.log2 <= 0;
        let second = lowest == highest + 1;
        let air = match (stemless, lowest == highest, crossed) {
            _ if turned => BESIDE_UNLIKE,
            (true, _, _) if !second => STEMLESS,
            (true, _, _) | (false, true, _) => UNLIKE,
            (false, false, true) => 0.12,
            (false, false, false) => 0.0,
        };
        let (stays, moves) =
            if turned { (&below[..], &above[..]) } else { (&above[..], &below[..]) };
        let (scale, moved_scale) =
            if turned { (lower.scale, upper.scale) } else { (upper.scale, lower.scale) };
        loop {
            let mut to = shift;
            for a in stays {
                for b in moves.iter().filter(|b| (a.place - b.place).abs() <= 1) {
                    let (left, right) = (a.x, a.x + width(a, scale));
                    let at = b.x + shift;
                    if at < right - STEM && at + width(b, moved_scale) > left + STEM {
                        to = to.max(right - STEM + air - b.x);
                    }
                }
            }
            if to <= shift + 1e-9 {
                break;
            }
            shift = to;
        }
        // Stems of voices that cross would lie on one another.
        if crossed && shift == 0.0 {
            shift = width(&above[0], upper.scale) + 0.1;
        }
    }
    // A head beside its column needs more air, or it seems to belong to the next one.
    let room = if shift > 0.0 { shift + BESIDE } else { 0.0 };
    if turned {
        (upper.shift, upper.right) = (shift, upper.right + room);
    } else {
        (lower.shift, lower.right) = (shift, lower.right + room);
    }
    let near = lowest - highest < 8;
    let signed = |heads: &[Head]| heads.iter().any(|head| head.accidental.is_some());
    if near && (signed(above) || signed(below)) && (shift > 0.0 || signed(above) && signed(below)) {
        let (a, b) = (upper.scale, lower.scale);
        let own = (upper.shift, lower.shift);
        // A head that both share has one accidental.
        if shared
            && above[0].accidental.is_some()
            && above[0].courtesy == below[below.len() - 1].courtesy
        {
            let last = below.len() - 1;
            below[last].accidental = None;
        }
        let reach = lay_accidentals(&mut [(above, own.0, a), (below, own.1, b)]);
        upper.reach_left(reach);
        lower.reach_left(reach);
    }
    // Nor two dots.
    if shared {
        lower.dots.clear();
    }
    // Dots stand behind all heads that lie beside them, and behind that of a second, over or under which they would be.
    let seconds = i32::from(lowest == highest + 1);
    let behind = |dots: &[(f64, i32)], heads: &[Head], shift: f64, scale: f64| -> f64 {
        let Some(first) = dots.iter().map(|dot| dot.0).reduce(f64::min) else { return 0.0 };
        let beside = heads
            .iter()
            .filter(|head| dots.iter().any(|dot| (dot.1 - head.place).abs() <= 1 + seconds))
            .map(|head| head.x + shift + width(head, scale));
        beside.fold(0.0, |by: f64, edge| by.max(edge + DOT_GAP - first))
    };
    let heads = |chord: &Chord<'a>| chord.heads().to_vec();
    let (above, below) = (heads(upper), heads(lower));
    let apart = lower.shift - upper.shift;
    let by = behind(&upper.dots, &below, apart, lower.scale);
    upper.dots.iter_mut().for_each(|dot| dot.0 += by);
    upper.right += by;
    let by = behind(&lower.dots, &above, -apart, upper.scale);
    lower.dots.iter_mut().for_each(|dot| dot.0 += by);
    lower.right += by;
    // Grace notes of both stand side by side where they would touch.
    let graces = |chord: &Chord<'a>| {
        let spans = chord.graces.iter().map(|(_, grace)| grace.span());
        spans.reduce(|all, one| (all.0.min(one.0), all.1.max(one.1)))
    };
    if let (Some(a), Some(b)) = (graces(upper), graces(lower))
        && a.0 - b.1 < 6
    {
        // Up to the left edge of what stands before the upper note.
        let room = (upper.left - lower.signed).max(0.0);
        lower.graces.iter_mut().for_each(|(x, _)| *x -= room);
        lower.left += room;
    }
}

/// Chords of two staves of a player that are broken together have one sign, at one place.
pub(super) fn join_spreads<'a>(upper: &mut [Chord<'a>], lower: &mut [Chord<'a>]) {
    for chord in upper.iter_mut().filter(|chord| chord.spread.is_some()) {
        let at = chord.at();
        let Some(other) = lower.iter_mut().find(|one| one.at() == at && one.spread.is_some())
        else {
            continue;
        };
        // From the columns of both.
        let own = |chord: &Chord| chord.spread.map_or(0.0, |x| x + chord.shift);
        let x = own(chord).min(own(other));
        other.under_spread = true;
        for one in [chord, other] {
            let by = own(one) - x;
            one.spread = Some(x - one.shift);
            one.left += by;
            one.joined = true;
            one.graces.iter_mut().for_each(|(at, _)| *at -= by);
        }
    }
}

/// Where the bars of rest of a player stand under a cue, in staff spaces from the middle line.
const UNDER_CUE: f64 = 3.0;

/// A rest gives way to notes of the other voice that stand in its column.
fn part_rest(rest: &mut Chord, others: &[Chord]) {
    let Some(side) = rest.side else { return };
    let at = rest.at();
    let Look::Rest { glyph, y, whole_bar } = &mut rest.look else { return };
    let spans =
        others.iter().filter(|other| *whole_bar || other.at() == at).map(Chord::marked_band);
    let Some((low, high)) = spans.flatten().reduce(|a, b| (a.0.min(b.0), a.1.max(b.1))) else {
        return;
    };
    let bounds = glyph.bounds();
    // Under a cue a player's bars of rest stand at one height, below the staff.
    if *whole_bar && side == Side::Lower && others.iter().any(|other| other.event.element.cue) {
        *y = (*y).max(UNDER_CUE);
    }
    let moved = match side {
        Side::Upper => (-f64::from(high) / 2.0 + bounds.y0 - 0.2).min(*y),
        Side::Lower => (-f64::from(low) / 2.0 + bounds.y1 + 0.2).max(*y),
    };
    // By whole spaces, so that it stands to the lines as before.
    let by = (moved - *y).abs().ceil() * if side == Side::Upper { -1.0 } else { 1.0 };
    lower_rest(y, &mut rest.dots, by);
}

/// Brings the bars of rest of a line that follow one another under a cue to one height, that of the lowest.
pub(super) fn level_cue_rests(cues: &[Placed], rests: &mut [Placed]) {
    let height = |rest: &Placed| match rest.chord.look {
        Look::Rest { y, whole_bar: true, .. } => {
            let is_over = |note: &&Placed| note.bar == rest.bar;
            cues.iter().filter(is_over).any(|note| note.chord.event.element.cue).then_some(y)
        }
        _ => None,
    };
    let together =
        |a: &Placed, b: &Placed| b.bar == a.bar + 1 && height(a).is_some() && height(b).is_some();
    for run in rests.chunk_by_mut(together) {
        let Some(lowest) = run.iter().filter_map(height).reduce(f64::max) else { continue };
        for rest in run {
            rest.lowered = height(rest).map_or(0.0, |y| lowest - y);
        }
    }
}

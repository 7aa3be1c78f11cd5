//! Ties and slurs: curves that taper to their ends.

use kurbo::{BezPath, CubicBez, ParamCurve, Point, Rect, Vec2};

use super::canvas::{Canvas, glyph_box};
use super::chord::{FLAG, Head, gap_before, restated, tied_behind_flag};
use super::measures::{SLUR_END, SLUR_MIDDLE, STAFF_LINE, slur_height, tie_height};
use super::notes::Placed;
use crate::page::{Kind, Origin};
use crate::sheet::Side;

/// A curve from point to point that rises so far (up where `up`), thick in its middle.
fn curve(from: Point, to: Point, height: f64, up: bool, blunt: f64) -> (CubicBez, BezPath) {
    let way = to - from;
    let length = way.hypot().max(0.01);
    let along = way / length;
    let mut across = Vec2::new(along.y, -along.x);
    if (across.y < 0.0) != up {
        across = -across;
    }
    let control = across * (height / 0.75);
    let spine = CubicBez::new(
        from,
        from + along * (length * blunt) + control,
        to - along * (length * blunt) + control,
        to,
    );
    (spine, swelling(spine, across))
}

/// The outline of a curve that swells from its ends to its middle, across its way.
fn swelling(spine: CubicBez, across: Vec2) -> BezPath {
    let thick = across * ((SLUR_MIDDLE - SLUR_END) / 2.0 / 0.75);
    let end = across * (SLUR_END / 2.0);
    let mut path = BezPath::new();
    path.move_to(spine.p0 + end);
    path.curve_to(spine.p1 + thick + end, spine.p2 + thick + end, spine.p3 + end);
    path.line_to(spine.p3 - end);
    path.curve_to(spine.p2 - thick - end, spine.p1 - thick - end, spine.p0 - end);
    path.close_path();
    path
}

/// The outline of a curve, wherever it goes.
pub(super) fn outline(spine: CubicBez) -> BezPath {
    let way = spine.p3 - spine.p0;
    let along = way / way.hypot().max(0.01);
    swelling(spine, Vec2::new(along.y, -along.x))
}

/// How far along a half of a slur its curve is bent: it leaves its note steeply, and is level at the edge.
/// Our heuristic, as what follows.
const HALF_BENDS: (f64, f64) = (0.2, 0.55);
/// How much of its rise is behind it at the first bend.
const HALF_RISEN: f64 = 0.7;

/// A half of a slur that is broken at the edge of a line: from its note out to the edge it only rises, ever
/// less, and so never bends twice.
fn half(note: Point, edge: Point) -> CubicBez {
    let way = edge - note;
    CubicBez::new(
        note,
        note + Vec2::new(way.x * HALF_BENDS.0, way.y * HALF_RISEN),
        Point::new(note.x + way.x * HALF_BENDS.1, edge.y),
        edge,
    )
}

/// Draws the ties between notes of a line. Where a tie goes on to the next line it ends at `end`;
/// one that comes from the line before begins at `begin`, and the note at its end has its accidental
/// again, which is otherwise on another line: in a signature of so many fifths. So has one that is tied
/// from before another ending. (Common practice.)
pub(super) fn ties(canvas: &mut Canvas, notes: &[Placed], (begin, end): (f64, f64), key: i32) {
    let sounding: Vec<&Placed> = notes.iter().filter(|note| note.chord.note().is_some()).collect();
    for (n, note) in sounding.iter().enumerate() {
        let Some(written) = note.chord.note() else { continue };
        let before = n.checked_sub(1).and_then(|before| sounding[before].chord.note());
        if written.tie_from && before.is_none_or(|before| !before.tie_to || before.tie_parts) {
            let edge = state_again(canvas, note, key);
            for head in note.chord.heads() {
                let up = tie_up(note, head.place);
                let x = edge.min(note.x + head.x);
                let from = if n == 0 { begin.min(x - 1.4) } else { x - 1.4 };
                tie(canvas, note, (from, x - 0.1), head, up);
            }
        }
        if !written.tie_to || written.tie_parts {
            continue;
        }
        let next = sounding.get(n + 1);
        // Before a bar in which two share the staff it lies where the tie of this one lies there.
        let side = next.and_then(|next| next.chord.side).filter(|_| note.chord.side.is_none());
        for head in note.chord.heads() {
            let up = side.map_or_else(|| tie_up(note, head.place), |side| side == Side::Upper);
            let from = note.x + head.x + head.glyph.width() + 0.1;
            let from = note
                .chord
                .dots
                .iter()
                .fold(from, |from, dot| from.max(note.x + dot.0 + BEHIND_DOT));
            let behind = note.stem_x() + FLAG * note.chord.scale + 0.1;
            let from = if tied_behind_flag(note.chord) { from.max(behind) } else { from };
            let to = match next {
                Some(next) => {
                    let same = next.chord.heads().iter().find(|other| other.place == head.place);
                    let Some(same) = same else { continue };
                    next.x + same.x - 0.1
                }
                None => end,
            };
            tie(canvas, note, (from, to), head, up);
        }
    }
}

/// Draws the accidentals of a note at the beginning of a line to which it is tied from the one before, and
/// gives their left edge, or that of the note.
fn state_again(canvas: &mut Canvas, note: &Placed, key: i32) -> f64 {
    let scale = note.chord.scale;
    let heads = note.chord.heads();
    let signs = heads.iter().filter_map(|head| Some(head.accidental?.1));
    let left = heads.iter().map(|head| head.x).chain(signs).fold(f64::MAX, f64::min);
    let mut edge = note.x + left;
    let begin = edge;
    let gap = gap_before(note.chord);
    let mut before: Option<(i32, f64)> = None;
    for (head, sign) in
        heads.iter().filter_map(|head| Some((head, restated(note.chord, head, key)?)))
    {
        // Nearer than a sixth they stand side by side.
        let right = before.filter(|(place, _)| (head.place - place).abs() < 6);
        let right = right.map_or(begin - gap, |(_, x)| x - 0.2);
        let x = right - sign.width() * scale;
        let origin = Origin { head: head.index, ..note.chord.origin() };
        let at = (x, -f64::from(head.place) / 2.0);
        canvas.glyph((Kind::Accidental, Some(origin)), sign, at, scale);
        before = Some((head.place, x));
        edge = edge.min(x - 0.1);
    }
    edge
}

/// A tie bends away from the stem; in a chord the upper half bends up (Gould, chapter 2).
fn tie_up(note: &Placed, place: i32) -> bool {
    let (low, high) = note.chord.span();
    if let Some(side) = note.chord.side {
        return side == Side::Upper;
    }
    if low == high {
        return if note.chord.is_stemmed() { !note.chord.is_up() } else { place >= 0 };
    }
    2 * place > low + high || (2 * place == low + high && !note.chord.is_up())
}

/// How far behind the left edge of a dot a tie begins, which may lie at its height. Our heuristic.
const BEHIND_DOT: f64 = 0.6;

/// A tie shorter than this is easily missed, in staff spaces (our heuristic); but behind the dots of its note,
/// over which it would be read as a fermata, it is no longer than so.
const SHORTEST_TIE: f64 = 1.7;
const SHORTEST_BEHIND_DOTS: f64 = 1.0;

fn tie(canvas: &mut Canvas, note: &Placed, (from, to): (f64, f64), head: &Head, up: bool) {
    let side = if up { -1.0 } else { 1.0 };
    // Where there is no room between two heads, or up to the end of the line, it begins over the
    // middle of its head, so that it is long enough to be seen.
    let behind = !note.chord.dots.is_empty() || tied_behind_flag(note.chord);
    let least = if behind { SHORTEST_BEHIND_DOTS } else { SHORTEST_TIE };
    let tight = to - from < least && to > note.middle() + 0.3;
    let (from, off) = if tight {
        ((to - SHORTEST_TIE).max(note.middle()).min(from), 0.68 * note.chord.scale)
    } else {
        (from, 0.38)
    };
    if to - from < 0.3 {
        return;
    }
    let middle = -f64::from(head.place) / 2.0;
    let height = tie_height(to - from);
    let crown = middle + side * (off + height);
    let more = off_line(crown, (side, height), to - from, note.lines);
    // The ends take their share, so that the tie keeps its shape.
    let y = middle + side * (off + more * ENDS_MOVE);
    let height = height + more * (1.0 - ENDS_MOVE);
    let (_, path) = curve(Point::new(from, y), Point::new(to, y), height, up, 0.24);
    let origin = Origin { head: head.index, ..note.chord.origin() };
    canvas.path(Kind::Tie, Some(origin), path);
}

/// White between the crown of a tie and a line of the staff, for each space of its length and at most: a longer
/// one lies along the line for longer. Our heuristic; that ties keep off the lines is common practice.
const TIE_OFF_LINE: (f64, f64) = (0.025, 0.2);
/// How low a tie is pressed at most for that, and which part of what it is moved by its ends move.
const FLATTEST_TIE: f64 = 0.28;
const ENDS_MOVE: f64 = 0.3;

/// By how much a tie rises more than it would (or less, where it is below 0), so that its crown lies between lines
/// of the staff, which has so many, or outside it: as little as can be.
fn off_line(crown: f64, (side, height): (f64, f64), length: f64, lines: u8) -> f64 {
    let white = (TIE_OFF_LINE.0 * length).min(TIE_OFF_LINE.1);
    let off = (SLUR_MIDDLE + STAFF_LINE) / 2.0 + white;
    let line = crown.round();
    let outermost = f64::from(lines.saturating_sub(1)) / 2.0;
    if line.abs() > outermost || (crown - line).abs() >= off {
        return 0.0;
    }
    // Beyond the line, or short of it.
    let (over, under) = ((line - crown) * side + off, (line - crown) * side - off);
    let lowest = (FLATTEST_TIE - height) / (1.0 - ENDS_MOVE);
    if under >= lowest && -under < over { under } else { over }
}

/// Where a slur begins and ends: notes of the line, or its edges.
#[derive(Clone, Copy, Debug)]
pub(super) struct Reach {
    /// Place of the first note of the line under it, among the given ones, and of the last.
    pub first: usize,
    pub last: usize,
    /// Where it comes in from the line before, or goes out to the next.
    pub begin: Option<f64>,
    pub end: Option<f64>,
    pub above: bool,
}

/// Draws a slur over notes of a line.
pub(super) fn slur_over(canvas: &mut Canvas, notes: &[Placed], reach: Reach) {
    let under: Vec<&Placed> =
        notes[reach.first..=reach.last].iter().filter(|note| note.chord.note().is_some()).collect();
    let is_grace = |note: &Placed| note.chord.note().is_some_and(|note| note.grace.is_some());
    if let [graces @ .., last] = &under[..]
        && !graces.is_empty()
        && graces.iter().all(|note| is_grace(note) && note.chord.is_up())
        && !is_grace(last)
        && !reach.above
        && (reach.begin, reach.end) == (None, None)
    {
        grace_slur(canvas, graces, last);
        return;
    }
    slur(canvas, &under, (reach.begin, reach.end), reach.above);
}

/// A slur from small notes to the one they belong to lies below their heads and ends at its head,
/// wherever the stem of that goes (Gould, chapter 5, from memory).
fn grace_slur(canvas: &mut Canvas, graces: &[&Placed], last: &Placed) {
    let foot = |note: &Placed| -f64::from(note.chord.span().0) / 2.0 + 0.5 * note.chord.scale;
    let stemmed_down = last.chord.is_stemmed() && !last.chord.is_up();
    // Under its head may stand that of the lower voice: the slur would seem to lead to it.
    let beside = stemmed_down || last.chord.side == Some(Side::Upper);
    let from = Point::new(graces[0].middle(), foot(graces[0]) + 0.2);
    let to = if beside {
        Point::new(last.x - 0.15, foot(last) - 0.2)
    } else {
        Point::new(last.x + 0.25, foot(last) + 0.15)
    };
    // As deep as the heads between need, measured from the straight way; a steep way stays straight.
    let bent = |(to, more): (Point, f64)| {
        let straight = |x: f64| from.y + (to.y - from.y) * (x - from.x) / (to.x - from.x).max(0.1);
        let between = graces[1..].iter().map(|note| foot(note) + 0.45 - straight(note.middle()));
        let deep = between.fold(0.0, f64::max).min(0.3 * (to - from).hypot());
        let height = slur_height(to.x - from.x).min(0.3 * (to - from).hypot()).max(deep);
        curve(from, to, height + more, false, 0.22)
    };
    // An accidental of the note lies in the way: the slur ends below it, or before it.
    let signs = signs_of(last);
    let lowest = signs.iter().map(|sign| sign.y1).fold(to.y, f64::max);
    let left = signs.iter().map(|sign| sign.x0).fold(to.x, f64::min);
    let below = Point::new(to.x, lowest + SIGN_AIR + 0.1);
    let under = last.chord.side != Some(Side::Upper) && below.y - to.y < DEEPEST;
    let before = Point::new((left - SIGN_AIR - 0.05).max(from.x + 0.8), to.y.max(from.y));
    let deeper = [0.0, 0.2, 0.4].into_iter().filter(|_| under);
    let ways = [(to, 0.0)].into_iter().chain(deeper.map(|more| (below, more)));
    let clear = |spine: &CubicBez| {
        let points = (0..=24).map(|k| spine.eval(f64::from(k) / 24.0));
        let near = |at: Point, sign: &Rect| sign.inflate(SIGN_AIR, SIGN_AIR).contains(at);
        !points.into_iter().any(|at| signs.iter().any(|sign| near(at, sign)))
    };
    let way = ways.map(bent).find(|(spine, _)| clear(spine));
    let (_, path) = way.unwrap_or_else(|| bent((before, 0.0)));
    canvas.path(Kind::Slur, Some(graces[0].chord.origin()), path);
}

/// Air between a small note's slur and an accidental, and how far below its usual end the slur may end for
/// one. Our heuristic.
const SIGN_AIR: f64 = 0.15;
const DEEPEST: f64 = 1.4;

/// The boxes of the accidentals of a note.
fn signs_of(note: &Placed) -> Vec<Rect> {
    let heads = note.chord.heads().iter();
    let sign = |head: &Head| {
        let (sign, x) = head.accidental?;
        let at = (note.x + x, -f64::from(head.place) / 2.0);
        Some(glyph_box(sign, at, note.chord.scale))
    };
    heads.filter_map(sign).collect()
}

/// How high a slur may rise over a span before its ends move outwards instead: a short one over the
/// number of a tuplet would bend like a horseshoe, a long one over a tie like a hoop beside its like. Our heuristic.
fn steepest(span: f64) -> f64 {
    let long = ((span - 4.0) / 10.0).clamp(0.0, 1.0);
    slur_height(span) * (1.25 + 0.25 * long) + 0.1
}

/// A half of a slur that is broken at the edge of a line ends so much of the height of a whole one farther
/// out there. Our heuristic.
const HALF_LIFT: f64 = 0.8;

/// Over its length such a half rises by so much at most, so that one over a single note is an arc that
/// comes down to it and no hook. Our heuristic.
const HALF_CLIMB: f64 = 0.3;

/// How far a slur ends from its last note at most for the accidental of that, in staff spaces, before all of
/// it bends more. Our heuristic.
const ASIDE: f64 = 1.0;

/// The steeper a slur climbs, the farther from its ends it is bent, so that it stays an arc: by so much of its
/// length for each space that it climbs over one. Our heuristic.
const STEEP_BLUNT: f64 = 0.16;
/// Up to this part of its length: beyond the middle its two ends would cross.
const BLUNTEST: f64 = 0.48;
/// How steeply, in degrees, a slur comes down to its higher note at most before anything lies in its way: an end
/// that falls straight down is a hook. Our heuristic.
const STEEPEST_END: f64 = 75.0;

/// How high a slur over a span may rise that climbs so many spaces over one and is bent at that part of it.
fn arched(span: f64, steep: f64, blunt: f64) -> f64 {
    let end = (STEEPEST_END.to_radians() - steep.atan()).max(0.3);
    0.75 * blunt * span * end.tan()
}

/// So near to its ends a slur is not kept off what stands there: the stem beside which it begins or ends is none
/// that it goes over. Our heuristic.
const BESIDE_STEM: f64 = 0.4;

/// How long the half before a first note is at least; it begins behind the signature (common practice), where room
/// is left for it.
const SHORTEST_HALF: f64 = SHORTEST_TIE;

/// A slur between stems that go both ways stands so far from the tip of the one on its side, and any slur so far from
/// the middle of a stem over which it begins or ends. Our heuristic; that it lies over the end of the stem is common
/// practice.
const OVER_TIP: f64 = 0.5;
const BESIDE_TIP: f64 = 0.1;

/// How steeply a slur may climb for each space of its length: one from the tip of a stem comes down to a head beside it
/// only as near as it can and be an arc. Our heuristic.
const CLIMB: f64 = 0.5;

/// A slur may lie along a line of the staff for so many spaces, or for this part of its length; else it goes out by
/// one of these. That curves keep off the lines is from Ross, slurs; the figures are our heuristic.
const ALONG: (f64, f64) = (2.0, 0.22);
const OFF_LINE: [f64; 6] = [0.0, 0.12, 0.24, 0.36, 0.48, 0.6];

/// How far a curve lies along one line of the staff, so near to its middle that the two run into one, in staff
/// spaces.
fn along_line(spine: &CubicBez) -> f64 {
    let near = (SLUR_MIDDLE + STAFF_LINE) / 2.0;
    let points: Vec<Point> = (0..=48).map(|k| spine.eval(f64::from(k) / 48.0)).collect();
    let along = |line: i32| {
        let pairs =
            points.windows(2).map(|pair| (pair[0].midpoint(pair[1]), pair[1].x - pair[0].x));
        pairs.filter(|(at, _)| (at.y - f64::from(line)).abs() < near).map(|(_, x)| x).sum::<f64>()
    };
    (-2..=2).map(along).fold(0.0, f64::max)
}

/// Do the stems of the ends of a slur go both ways?
fn are_unlike(first: &Placed, last: &Placed) -> bool {
    let (first, last) = (first.chord, last.chord);
    first.is_stemmed() && last.is_stemmed() && first.is_up() != last.is_up()
}

/// One slur over some notes, from its place on the first (or from `begin`) to its place on the last
/// (or to `end`), above or below.
fn slur(
    canvas: &mut Canvas,
    notes: &[&Placed],
    (begin, end): (Option<f64>, Option<f64>),
    up: bool,
) {
    let (Some(first), Some(last)) = (notes.first(), notes.last()) else { return };
    let side = if up { -1.0 } else { 1.0 };
    let air = 0.32;
    let unlike = begin.is_none() && end.is_none() && are_unlike(first, last);
    // Not the lines of the staff: within it an end stands at its head all the same.
    let edge = |canvas: &Canvas, x0: f64, x1: f64| {
        let (top, bottom) = canvas.sky.within_staff(x0, x1);
        if up { top } else { bottom }
    };
    let anchor = |canvas: &Canvas, note: &Placed, starts: bool| -> Point {
        let stem_side = note.chord.is_stemmed() && note.chord.is_up() == up;
        let (top, bottom) = note.reach();
        let mut x = note.middle();
        let own = if up { top } else { bottom };
        let mut y = own;
        if stem_side {
            x = note.stem_x() + if starts { BESIDE_TIP } else { -BESIDE_TIP };
        }
        // Over what hangs on the note: dots, lines, accents.
        let half = if stem_side { 0.3 } else { 0.5 };
        let hung = edge(canvas, x - half, x + half);
        if hung.is_finite() && (hung - own).abs() < 3.0 && (hung - own) * side > 0.0 {
            y = hung;
        }
        // Over the bracket of its tuplet, however far that is from its head: it would cross it.
        let over = canvas.brackets.iter().filter(|bracket| bracket.x0 < x && x < bracket.x1);
        let over = over.map(|bracket| bracket.y0).filter(|line| (line - y) * side > 0.0);
        y = over.map(|line| line * side).fold(y * side, f64::max) * side;
        let tip = unlike && stem_side && !note.chord.is_beamed() && (y - own).abs() < 0.1;
        let air = if tip { OVER_TIP * note.chord.scale } else { air };
        Point::new(x, y + side * air)
    };
    let mut p0 = anchor(canvas, first, true);
    let mut p3 = anchor(canvas, last, false);
    // What goes over the edge of a line goes over what stands there: a tie that does so too.
    let beyond = |canvas: &Canvas, y: f64, x0: f64, x1: f64| {
        let there = edge(canvas, x0.min(x1 - 0.3), x1);
        let near = there.is_finite() && (there - y).abs() < 4.0;
        let out = there + side * (air + 0.3);
        if near && (out - y) * side > 0.0 { out } else { y }
    };
    if begin.is_some() && notes.len() == 1 {
        p0.y = p3.y;
    }
    if let Some(begin) = begin {
        let x = begin.min(p3.x - SHORTEST_HALF);
        p0 = Point::new(x, beyond(canvas, p0.y, x, first.x - 0.1));
    }
    if let Some(end) = end {
        let from = last.x + last.chord.right;
        p3 = Point::new(end, beyond(canvas, p3.y, from.max(end - 3.0), end));
    }
    if p3.x - p0.x < 0.8 {
        p3.x = p0.x + 0.8;
    }
    // A slur does not climb as steeply as the notes do.
    let most = (p3.x - p0.x) * CLIMB;
    let climb = p3.y - p0.y;
    if climb.abs() > most {
        // The end that lies nearer to the staff moves outwards.
        let near = if climb * side > 0.0 { &mut p0 } else { &mut p3 };
        near.y += side * (climb.abs() - most).min(4.0);
    }
    let span = p3.x - p0.x;
    let is_half = begin.is_some() != end.is_some();
    let steep = (p3.y - p0.y).abs() / span.max(0.1);
    let blunt = if span < 4.0 { 0.22 } else { 0.2_f64.min(3.2 / span).max(0.1) };
    let blunt = if is_half { blunt } else { (blunt + STEEP_BLUNT * steep).min(BLUNTEST) };
    let mut height = slur_height(span).min(span * 0.35);
    if !is_half {
        height = height.min(arched(span, steep, blunt));
    }
    // At the edge of a line it has not come down, or it would seem to end there, and to begin again.
    let lift = slur_height(2.0 * span).min(span * HALF_CLIMB) * HALF_LIFT;
    match (begin, end) {
        (Some(_), None) => p0.y = side * (p0.y * side).max(p3.y * side + lift),
        (None, Some(_)) => p3.y = side * (p3.y * side).max(p0.y * side + lift),
        _ => {}
    }
    let drawn = |p0: Point, p3: Point, height: f64| -> (CubicBez, BezPath) {
        if !is_half {
            return curve(p0, p3, height, up, blunt);
        }
        let spine = if begin.is_some() {
            let CubicBez { p0, p1, p2, p3 } = half(p3, p0);
            CubicBez::new(p3, p2, p1, p0)
        } else {
            half(p0, p3)
        };
        (spine, swelling(spine, Vec2::new(0.0, side)))
    };
    let origin = Some(first.chord.origin());
    let mut aside = 0.0;
    for _ in 0..24 {
        let (spine, _) = drawn(p0, p3, height);
        let mut lack: f64 = 0.0;
        let mut lack_ends: (f64, f64) = (0.0, 0.0);
        let mut sign_lack: f64 = 0.0;
        for k in 1..24 {
            let t = f64::from(k) / 24.0;
            let at = spine.eval(t);
            let from = (first.x + 0.9).max(p0.x + BESIDE_STEM);
            let to = (last.x - 0.1).min(p3.x - BESIDE_STEM);
            if at.x < from && begin.is_none() || at.x > to && end.is_none() {
                continue;
            }
            let need = edge(canvas, at.x - 0.12, at.x + 0.12);
            if !need.is_finite() {
                continue;
            }
            let miss = (at.y - (need + side * 0.3)) * -side;
            if miss > 0.0 {
                let lift = 3.0 * t * (1.0 - t);
                // The accidental of its last note is no reason to bend all of it.
                let signed = end.is_none() && at.x > last.x - last.chord.signed - 0.2;
                if signed && aside < ASIDE {
                    sign_lack = sign_lack.max(miss);
                    continue;
                }
                lack = lack.max(miss / lift.max(0.25));
                if t < 0.25 {
                    lack_ends.0 = lack_ends.0.max(miss);
                }
                if t > 0.75 {
                    lack_ends.1 = lack_ends.1.max(miss);
                }
            }
        }
        if lack <= 0.02 && sign_lack <= 0.02 {
            break;
        }
        let limit = steepest(span);
        let by = if lack <= 0.02 {
            (0.0, sign_lack * 0.6)
        } else if is_half {
            // Its end at the edge goes out, and with it what lies before; that at the note stays there.
            let more = |broken: bool, there: f64| if broken { lack * 0.6 } else { there * 0.35 };
            (more(begin.is_some(), lack_ends.0), more(end.is_some(), lack_ends.1))
        } else if height < limit {
            height = (height + lack * 0.8).min(limit);
            (lack_ends.0 * 0.35, lack_ends.1 * 0.35)
        } else {
            ((lack * 0.5).max(lack_ends.0 * 0.5), (lack * 0.5).max(lack_ends.1 * 0.5))
        };
        p0.y += side * by.0;
        p3.y += side * by.1;
        aside += by.1;
        if begin.is_some() && end.is_none() {
            p0.y = side * (p0.y * side).max(p3.y * side + lift);
        }
    }
    // Its back does not lie along a line of the staff: it goes out as little as brings it off.
    let shifted = |by: f64| -> (Point, Point, f64) {
        let out = |point: Point, broken: bool| {
            Point::new(point.x, point.y + if broken { side * by } else { 0.0 })
        };
        match is_half {
            true => (out(p0, begin.is_some()), out(p3, end.is_some()), height),
            false => (p0, p3, height + by),
        }
    };
    let along = |by: f64| {
        let (p0, p3, height) = shifted(by);
        along_line(&drawn(p0, p3, height).0)
    };
    let by = OFF_LINE.into_iter().find(|by| along(*by) < ALONG.0.max(ALONG.1 * span));
    let (p0, p3, height) = shifted(by.unwrap_or(0.0));
    let (spine, path) = drawn(p0, p3, height);
    for k in 0..24 {
        let (a, b) = (spine.eval(f64::from(k) / 24.0), spine.eval(f64::from(k + 1) / 24.0));
        canvas.sky.add_line((a.x, a.y + side * 0.12), (b.x, b.y + side * 0.12));
    }
    canvas.put(Kind::Slur, origin, crate::page::Shape::Path(path));
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Gould, chapter 2, from memory: a slur over a few notes is an arc, never a half circle.
    #[test]
    fn no_slur_rises_as_high_as_half_its_length() {
        for span in 4..60 {
            let span = f64::from(span);
            assert!(steepest(span) < span / 2.0 && steepest(span) > slur_height(span), "{span}");
        }
    }
}

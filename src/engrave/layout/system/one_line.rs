//! Dynamics and hairpins of one phrase on one line, where the staves of a score leave room for that.

use std::ops::Range;

use super::super::canvas::Loud;
use super::super::skyline::Skyline;
use super::between::under;
use super::{MOST, NEARER, System, below_staff};
use crate::layout::directions::{ONE_LEVEL_WITH_ROOM, ONE_PHRASE, TOGETHER};
use crate::layout::stand::shared;
use crate::sheet::Sheet;

/// By how much what was lowered stands nearer to its own staff than to the next one, at the least. Our heuristic; that
/// what belongs to one phrase stands on one line is common practice (Gould, Behind Bars, 2011, from memory).
const STILL_NEARER: f64 = 0.25;

/// How much farther than others a staff may lie below the one above it so that what that says stands on one line; by
/// how much the others may come nearer for it; and what steps must cost at the least that are spared so, which is what
/// one of a staff space and a little costs. Our heuristic.
const GIVEN: f64 = 1.0;
const TAKEN: f64 = 0.15;
const SPARED: f64 = 1.8;

/// Room too little by less than this is room enough, in staff spaces.
const HARDLY: f64 = 1e-3;

/// A dynamic below a staff: how far its foot is from what is below it, and how far it may go down at most for what
/// else of its own staff stands there.
struct Hung<'a> {
    loud: &'a Loud,
    next: f64,
    most: f64,
}

/// What stands on one line below a staff in any case.
struct Piece<'a> {
    all: Vec<Hung<'a>>,
    line: f64,
    /// How far behind the piece before it begins, if it goes on with the same phrase.
    behind: Option<f64>,
}

impl Piece<'_> {
    /// How much more room it needs so that it can stand on a lower line.
    fn lacks(&self, line: f64) -> f64 {
        let by = line - self.line;
        if by <= 0.0 {
            return f64::MIN;
        }
        let lack = |hung: &Hung| {
            let needs = (hung.loud.away + by).clamp(0.0, MOST) + STILL_NEARER;
            if by > hung.most { f64::MAX } else { needs - (hung.next - by) }
        };
        self.all.iter().map(lack).fold(f64::MIN, f64::max)
    }

    /// What it costs if it stands so much higher or lower than the piece before it: the nearer, the more it is seen.
    fn step(&self, by: f64) -> f64 {
        let seen = self.behind.map_or(0.0, |behind| 2.0 - behind / ONE_PHRASE);
        if by.abs() < HARDLY { 0.0 } else { (by.abs() + STEP) * seen }
    }
}

/// Pieces that stand on one line, by their numbers.
#[derive(Clone)]
struct Level {
    pieces: Range<usize>,
    line: f64,
    /// What the steps up to here cost, and the level before.
    cost: f64,
    before: Option<usize>,
}

/// What a step costs however small it is, in staff spaces of its height: one is better than two of half the height.
/// And what costs less than any: that a piece goes down, by each staff space.
const STEP: f64 = 0.5;
const DOWN: f64 = 0.01;

/// Which pieces stand on one line, so that the steps between them are the least and fall where they are least seen,
/// if each had so much more room; and what these cost.
fn levels(pieces: &[Piece], more: f64) -> (Vec<Level>, f64) {
    let mut all: Vec<Level> = Vec::new();
    for from in 0..pieces.len() {
        let ended = 0..all.len();
        let (mut top, mut line) = (pieces[from].line, pieces[from].line);
        for to in from..pieces.len() {
            let piece = &pieces[to];
            (top, line) = (top.min(piece.line), line.max(piece.line));
            let joined = &pieces[from..=to];
            if to > from && piece.behind.is_none()
                || line - top > ONE_LEVEL_WITH_ROOM
                || joined.iter().any(|piece| piece.lacks(line) > more)
            {
                break;
            }
            let down: f64 = joined.iter().map(|piece| line - piece.line).sum();
            let step = |before: &Level| pieces[from].step(before.line - line);
            let costs = ended
                .clone()
                .filter(|&before| all[before].pieces.end == from)
                .map(|before| (all[before].cost + step(&all[before]), Some(before)));
            let first = (from == 0).then_some((0.0, None));
            let best = costs.chain(first).min_by(|a, b| a.0.total_cmp(&b.0));
            let Some((cost, before)) = best else { continue };
            let pieces = from..to + 1;
            all.push(Level { pieces, line, cost: cost + DOWN * down, before });
        }
    }
    let ends = all.iter().filter(|level| level.pieces.end == pieces.len());
    let mut last = ends.min_by(|a, b| a.cost.total_cmp(&b.cost)).cloned();
    let cost = last.as_ref().map_or(0.0, |last| last.cost);
    let mut found = Vec::new();
    while let Some(level) = last {
        last = level.before.map(|before| all[before].clone());
        found.push(level);
    }
    (found, cost)
}

impl System {
    /// Lowers dynamics and hairpins below the staves to the line of their lower neighbours in the same phrase, as
    /// soon as it is known how far the staves are apart and what is below the system: where all of them stay nearer
    /// to their own staff than to the next one, and meet nothing. No staff moves for it.
    pub(super) fn level_dynamics(&mut self, sheet: &Sheet, floor: &Skyline) {
        for row in 0..self.shown.len() {
            let pieces = self.pieces(sheet, row, floor);
            let mut lowered: Vec<(Range<usize>, f64)> = Vec::new();
            for level in levels(&pieces, HARDLY).0 {
                for piece in &pieces[level.pieces] {
                    let by = level.line - piece.line;
                    lowered.extend(piece.all.iter().map(|hung| (hung.loud.marks.clone(), by)));
                }
            }
            let marks = &mut self.canvases[row].marks;
            for (own, by) in lowered.into_iter().filter(|(_, by)| *by > 0.0) {
                for mark in &mut marks[own] {
                    *mark = mark.clone().moved(0.0, by);
                }
            }
        }
    }

    /// The pieces of what can be lowered below a staff.
    fn pieces(&self, sheet: &Sheet, row: usize, floor: &Skyline) -> Vec<Piece<'_>> {
        let part = |row: usize| self.shown.get(row).map(|&staff| sheet.staves[staff].part);
        // What stands between the staves of a player was centred there, and figures are read with their row.
        if part(row) == part(row + 1) || !self.canvases[row].stacks.is_empty() {
            return Vec::new();
        }
        let loud: Vec<&Loud> = below_staff(&self.canvases[row]).collect();
        let staff = &sheet.staves[self.shown[row]];
        let behind = |a: &Loud, b: &Loud| {
            let rests = (a.bar..b.bar).any(|bar| staff.bars[bar].is_silent());
            let behind = b.bounds.x0 - a.bounds.x1;
            (behind < ONE_PHRASE && !rests).then_some(behind)
        };
        let joined = |a: &&Loud, b: &&Loud| {
            let level = a.line.total_cmp(&b.line).is_eq();
            level && (a.bar == b.bar || behind(a, b).is_some_and(|behind| behind < TOGETHER))
        };
        let (next, gap) = match self.canvases.get(row + 1) {
            Some(next) => (&next.sky, self.ys[row + 1] - self.ys[row]),
            None => (floor, -self.ys[row]),
        };
        let hung = |loud: &&'_ Loud| {
            let (bounds, foot) = (loud.bounds, loud.bounds.y1);
            let words = under(&self.canvases[row], loud).fold(f64::MAX, f64::min);
            let next = gap + next.top(bounds.x0 - 0.4, bounds.x1 + 0.4) - foot;
            let most = if loud.by_hand { 0.0 } else { words - foot - NEARER };
            (next, most)
        };
        let mut pieces: Vec<Piece> = Vec::new();
        let mut last: Option<&Loud> = None;
        for stretch in loud.chunk_by(joined) {
            let all = stretch.iter().map(|&loud| {
                let (next, most) = hung(&loud);
                Hung { loud, next, most }
            });
            let behind = last.and_then(|last| behind(last, stretch[0]));
            pieces.push(Piece { all: all.collect(), line: stretch[0].line, behind });
            last = stretch.last().copied();
        }
        pieces
    }

    /// By how much the gap below a staff must be opened so that the phrase over it keeps the line that it has where
    /// this is opened by so much, though others take of that; or so that it comes on one line that it has not there.
    pub(in crate::layout) fn wish(&self, sheet: &Sheet, row: usize, by: f64) -> Option<f64> {
        wish(&self.pieces(sheet, row, &self.empty_sky()), by)
    }
}

/// By how much each gap is opened of which some lack so much and some wish for more than they have without that; the
/// least wishes first, and those alone that take little from the others.
pub(in crate::layout) fn granted(
    mut lacks: Vec<f64>,
    by: f64,
    wish: impl Fn(usize, f64) -> Option<f64>,
) -> Vec<f64> {
    let without = shared(&lacks, by);
    let wished = |(row, &given): (usize, &f64)| Some((row, wish(row, given)?));
    let mut wishes: Vec<(usize, f64)> = without.iter().enumerate().filter_map(wished).collect();
    wishes.sort_by(|a, b| a.1.total_cmp(&b.1));
    let mut given = without.clone();
    for (row, wish) in wishes {
        let own = std::mem::replace(&mut lacks[row], wish);
        let more = shared(&lacks, by);
        let mut all = more.iter().zip(&lacks).zip(&without);
        if all.all(|((given, lack), without)| given + HARDLY >= lack.max(without - TAKEN)) {
            given = more;
        } else {
            lacks[row] = own;
        }
    }
    given
}

/// The same, of the pieces over it.
fn wish(pieces: &[Piece], by: f64) -> Option<f64> {
    let (least, most) = (by - TAKEN, by + GIVEN);
    let (now, best) = (levels(pieces, by).1, levels(pieces, most).1);
    let aim = if now - best < SPARED { now } else { best };
    if levels(pieces, least).1 <= aim {
        return None;
    }
    let (mut low, mut high) = (least, most);
    for _ in 0..20 {
        let middle = f64::midpoint(low, high);
        if levels(pieces, middle).1 > aim { low = middle } else { high = middle }
    }
    Some(high)
}

#[cfg(test)]
mod tests {
    use kurbo::Rect;

    use super::super::super::canvas::Loud;
    use super::{Hung, Piece, granted, levels, wish};

    /// A dynamic half a space below its note.
    fn loud() -> Loud {
        let bounds = Rect::new(0.0, 3.0, 2.0, 4.0);
        Loud { bounds, away: 0.5, marks: 0..0, bar: 0, line: 4.0, by_hand: false }
    }

    fn piece(loud: &Loud, line: f64, next: f64, behind: Option<f64>) -> Piece<'_> {
        Piece { all: vec![Hung { loud, next, most: f64::MAX }], line, behind }
    }

    /// Where each line of a phrase ends.
    fn lines(pieces: &[Piece]) -> Vec<(usize, f64)> {
        let mut lines: Vec<_> = levels(pieces, 0.0).0;
        lines.sort_by_key(|level| level.pieces.end);
        lines.into_iter().map(|level| (level.pieces.end, level.line)).collect()
    }

    #[test]
    fn where_a_phrase_has_no_room_on_one_line_it_steps_where_that_is_least_seen() {
        let loud = loud();
        let phrase = |first: f64, near: (f64, f64)| {
            lines(&[
                piece(&loud, 4.0, first, None),
                piece(&loud, 4.0, 6.0, Some(near.0)),
                piece(&loud, 5.2, 3.0, Some(near.1)),
            ])
        };
        assert_eq!(phrase(6.0, (20.0, 8.0)), [(3, 5.2)], "all have room");
        assert_eq!(
            phrase(1.5, (20.0, 8.0)),
            [(1, 4.0), (3, 5.2)],
            "the second goes with the third"
        );
        assert_eq!(phrase(1.5, (8.0, 20.0)), [(2, 4.0), (3, 5.2)], "the second stays by the first");
    }

    #[test]
    fn one_step_is_better_than_two_of_half_the_height() {
        let loud = loud();
        let phrase = [
            piece(&loud, 3.9, 0.5, None),
            piece(&loud, 4.5, 6.0, Some(12.0)),
            piece(&loud, 5.2, 3.0, Some(12.0)),
        ];
        assert_eq!(lines(&phrase), [(1, 3.9), (3, 5.2)]);
    }

    #[test]
    fn a_gap_is_opened_for_a_phrase_that_lacks_a_little_room_on_one_line() {
        let loud = loud();
        // It would be 1.7 spaces from its note and must be a quarter more from what is below.
        let of = |step: f64, room: f64| {
            wish(&[piece(&loud, 4.0, room, None), piece(&loud, 4.0 + step, 9.0, Some(10.0))], 1.0)
        };
        let more = of(1.2, 1.95 + 1.2 - 1.4).unwrap();
        assert!((more - 1.4).abs() < 0.01, "{more}");
        assert_eq!(of(1.2, 1.95 + 1.2 - 2.4), None, "it would be too much");
        assert_eq!(of(1.2, 1.95 + 1.2 - 0.5), None, "it has the room");
        assert_eq!(of(0.6, 1.35 + 0.6 - 1.4), None, "so low a step is not worth it");
    }

    #[test]
    fn a_gap_is_opened_for_a_phrase_if_that_takes_little_from_the_others() {
        let wish = |wished: f64| move |row: usize, _: f64| (row == 1).then_some(wished);
        let given = granted(vec![0.0; 9], 1.0, wish(1.8));
        assert!((given[1] - 1.8).abs() < 1e-6 && (given[0] - 0.9).abs() < 1e-6, "{given:?}");
        let few = granted(vec![0.0; 3], 1.0, wish(1.8));
        assert!(few.iter().all(|given| (given - 1.0).abs() < 1e-6), "{few:?}");
        let full = granted(vec![0.0; 9], 0.05, wish(0.8));
        assert!(full.iter().all(|given| (given - 0.05).abs() < 1e-6), "{full:?}");
    }
}

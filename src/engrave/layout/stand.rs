//! Where the systems of a page stand: what is left of its height goes between them, and in a score
//! between staves too.

use super::measures::{HEADING_GAP, SYSTEM_GAP};
use super::skyline::Skyline;
use super::system::{System, granted};
use crate::sheet::Sheet;

/// By how much systems of a score may stand farther apart than they need, so that a page is filled.
const MOST_APART: f64 = 14.0;
/// From line to line, the farthest that systems of an only page are set apart: a page of few lines has
/// its room below them. Our heuristic.
const ONLY_APART: f64 = 14.0;
/// From line to line, the farthest that lines of any page of a part are set apart: farther, and the eye loses the
/// next one; the room stays below them. Our heuristic.
const FARTHEST: f64 = 18.0;
/// The same for a page behind which the music goes on, where they fill it with that: one that stops short would
/// look like the last. Our heuristic.
const FILLED: f64 = 26.0;
/// A page of which no more than this would be left is filled all the same, by several systems or, as far as its
/// staves are not torn apart, by a single one. Our heuristic.
const NEARLY: f64 = 0.14;
const NEARLY_ALONE: f64 = 0.25;
/// How much wider than the one before a last page is spread at most: its gaps between systems in
/// proportion, those between staves by so much. Our heuristic.
const LAST: (f64, f64) = (1.3, 1.0);
/// How far the staves of the only system of a last page may be set apart, whatever the page before has. Our
/// heuristic.
const LAST_ALONE: f64 = 4.5;
/// By how much the gaps between staves grow at most, and on an only page: farther, and the eye no longer takes
/// them for one system; the foot of the page stays free. Our heuristic.
const MOST_OPEN: (f64, f64) = (5.0, 3.0);
/// By how much they grow at most so that systems fill a page behind which the music goes on, and a single one its
/// own; and where a single one does not, but others follow on the next page. Our heuristic.
const FILLING: (f64, f64) = (8.0, 9.0);
const ALONE: f64 = 7.0;
/// How much wider the gap between systems of a score is than the one between their staves, where there is
/// room for it: the eye must find the system before it finds the staff. Our heuristic.
const APART: f64 = 1.6;
/// From which gap on two staves do not look pressed beside others, from line to line and in proportion to the widest
/// of their page: narrower ones are opened first. Our heuristic.
const EASED: (f64, f64) = (6.0, 0.4);
/// Where it is hardly wider than the widest one between staves, the first of these times as wide, it becomes the
/// second. Our heuristic.
const WIDER: (f64, f64) = (1.05, 1.12);
/// The gap between systems of a score below which they crowd one another: from line to line, and in proportion to
/// the one between their staves. Our heuristic.
const NEAR: (f64, f64) = (8.5, 1.2);
/// The heading of a movement stands with its music, not midway: so much of the gap before it is its own, in a part
/// and in a score, whose systems stand farther apart anyway.
const HEADED: (f64, f64) = (11.0, 6.0);
/// What is less than that is not missed at the foot of a page.
const CRUMB: f64 = 0.1;
/// Air between the lowest of one system and the uppermost of the next, in staff spaces.
const AIR: f64 = 1.6;
/// The same between lines of a part, where the page has room for it. Our heuristic.
const CLEAR_OF_ABOVE: f64 = 2.8;

/// How far apart staves and systems of a page were set.
#[derive(Clone, Copy, Default, Debug)]
pub(super) struct Spread {
    /// What was added between staves.
    open: f64,
    /// From line to line between systems.
    even: f64,
    /// Are systems of a score hardly farther apart than their staves?
    pub crowded: bool,
    /// What is left of a page of a score behind which the music goes on, while staves and systems stand as far
    /// apart as reads well.
    pub spare: f64,
}

/// What page it is.
#[derive(Clone, Copy, Debug)]
pub(super) struct Close {
    /// Is it the last one?
    pub last: bool,
    pub score: bool,
    /// How the page before was spread.
    pub before: Option<Spread>,
}

/// Where the systems of a page stand, between the upper and the lower end of their room, how much of it
/// they leave while they stand as near as they can, less than nothing where they do not fit, and how far
/// apart they were set. A last page is set little wider than the one before.
pub(super) fn stand(
    systems: &mut [System],
    sheet: &Sheet,
    (from, to): (f64, f64),
    close: Close,
) -> (Vec<f64>, f64, Spread) {
    let (ys, end) = close_together(systems, from);
    let left = to - end;
    if left <= 0.0 {
        return (
            ys,
            left,
            Spread { crowded: close.score && systems.len() > 1, ..Spread::default() },
        );
    }
    let nearly = |left: f64| left < (to - from) * NEARLY;
    let open = opened(systems, &ys, left, close);
    let staves: usize = systems.iter().map(System::gaps).sum();
    let rest = left - open * staves as f64;
    let alone = systems.len() == 1 && staves > 0;
    let filling = left / staves.max(1) as f64;
    let fills = rest < (to - from) * NEARLY_ALONE && filling <= FILLING.1;
    // What systems do not take goes between their staves, so that the page is filled.
    let goes_on = close.score && !close.last && staves > 0;
    let spare = if alone {
        left - ALONE * staves as f64
    } else {
        rest - MOST_APART * (systems.len() - 1) as f64
    };
    let spare = if goes_on && !(alone && fills) && spare > CRUMB { spare } else { 0.0 };
    let open = match alone {
        true if fills => filling,
        true if !close.last => filling.min(ALONE),
        _ => (open + spare / staves.max(1) as f64).min(FILLING.0.max(open)),
    };
    let all = given_to_phrases(systems, sheet, open);
    let mut given = &all[..];
    for system in systems.iter_mut() {
        let (own, others) = given.split_at(system.gaps());
        system.open(own);
        given = others;
    }
    let (mut ys, end) = close_together(systems, from);
    let rest = (to - end).max(0.0);
    let most = match close.before {
        Some(before) if close.last => before.even * LAST.0,
        None if close.last => ONLY_APART,
        _ => f64::INFINITY,
    };
    let most = if close.score { most } else { most.min(FARTHEST) };
    let gaps = gaps(systems, &ys, close.score);
    let more = if close.score { MOST_APART } else { f64::INFINITY };
    let full = level(&gaps, rest, more);
    let mut even = full.min(most);
    let grown: f64 = gaps.iter().map(|gap| grow(*gap, even, more)).sum();
    if nearly(rest - grown) || !close.last && full <= FILLED {
        even = full;
    }
    if close.score {
        even = even.max(full.min(widest(systems, 0.0) * WIDER.1));
    }
    let within = mean_gap(systems);
    let mut crowded = false;
    let mut down = 0.0;
    let mut grown: Vec<f64> = gaps.iter().map(|gap| grow(*gap, even, more)).collect();
    if !close.score {
        let free = rest - grown.iter().sum::<f64>();
        clear_of_lines_above(&mut grown, &airs(systems, &ys), free);
    }
    for (n, (gap, grown)) in gaps.iter().zip(grown).enumerate() {
        crowded |= close.score && gap + grown < NEAR.0.max(NEAR.1 * within);
        down += grown;
        ys[n + 1] += down;
    }
    let least = gaps.iter().copied().reduce(f64::min).unwrap_or(0.0);
    (ys, left, Spread { open, even: even.max(least), crowded, spare })
}

/// Adds air between lines of a part of which much hangs down or rises, as far as the page has room that it does not
/// need: a tempo or an order near the rests of the line above would be read with them.
pub(super) fn clear_of_lines_above(grown: &mut [f64], airs: &[f64], free: f64) {
    let lack = |grown: f64, air: f64| (CLEAR_OF_ABOVE - air - grown).max(0.0);
    let all: f64 = grown.iter().zip(airs).map(|(grown, air)| lack(*grown, *air)).sum();
    if all > 0.0 && free > 0.0 {
        let part = (free / all).min(1.0);
        grown.iter_mut().zip(airs).for_each(|(grown, air)| *grown += lack(*grown, *air) * part);
    }
}

/// Air between each system and the next where they stand.
fn airs(systems: &[System], ys: &[f64]) -> Vec<f64> {
    let skies: Vec<Skyline> = systems.iter().map(System::sky).collect();
    let pairs = skies.windows(2).zip(ys.windows(2));
    pairs.map(|(sky, y)| y[1] - y[0] - sky[0].clearance(&sky[1], 0.0)).collect()
}

/// What is added between the staves of a page, so that systems can stand farther apart than these.
fn opened(systems: &[System], ys: &[f64], left: f64, close: Close) -> f64 {
    let staves: usize = systems.iter().map(System::gaps).sum();
    if staves == 0 {
        return 0.0;
    }
    let between = gaps(systems, ys, close.score);
    let most = match close.before {
        Some(before) if close.last && between.is_empty() => (before.open + LAST.1).max(LAST_ALONE),
        Some(before) if close.last => before.open + LAST.1,
        None if close.last => MOST_OPEN.1,
        // What systems have beyond their due is better within them.
        _ if close.score && !close.last && !between.is_empty() => FILLING.0,
        _ => MOST_OPEN.0,
    };
    let within = mean_gap(systems);
    let apart = if close.score { APART } else { 1.0 };
    let first: f64 = between.iter().map(|gap| (apart * within - gap).max(0.0)).sum();
    let open = (left - first).max(0.0) / (staves as f64 + apart * between.len() as f64);
    let open = open.min(most);
    let needs = |open: f64, wider: f64| {
        let least = widest(systems, open) * wider;
        let lacks = between.iter().map(|gap| grow(*gap, least, MOST_APART));
        open * staves as f64 + lacks.sum::<f64>()
    };
    if !close.score || needs(open, WIDER.0) <= left {
        return open;
    }
    // The figures of a bass keep what they need to stand nearer to it than to the staff below.
    let mut pairs = systems.iter().flat_map(|one| one.for_figures().zip(one.between_staves()));
    let figured = pairs.any(|(wanted, gap)| wanted - gap > CRUMB);
    let floor = if figured { lacks(systems).iter().sum::<f64>() / staves as f64 } else { 0.0 };
    let (mut low, mut high) = (floor.min(open), open);
    for _ in 0..40 {
        let middle = f64::midpoint(low, high);
        if needs(middle, WIDER.1) <= left { low = middle } else { high = middle }
    }
    low
}

/// By how much each gap between staves of a page is opened, system by system, if all are by so much in the mean.
fn given(systems: &[System], open: f64) -> Vec<f64> {
    shared(&lacks(systems), open)
}

/// The same, with what brings phrases of dynamics on one line.
fn given_to_phrases(systems: &[System], sheet: &Sheet, open: f64) -> Vec<f64> {
    let rows = |system| (0..System::gaps(system)).map(move |row| (system, row));
    let gaps: Vec<(&System, usize)> = systems.iter().flat_map(rows).collect();
    granted(lacks(systems), open, |gap, by| gaps[gap].0.wish(sheet, gaps[gap].1, by))
}

/// How much each gap between staves of a page should be opened before others are, system by system.
fn lacks(systems: &[System]) -> Vec<f64> {
    let widest = systems.iter().flat_map(System::for_figures).fold(0.0, f64::max);
    let eased = EASED.0.min(widest * EASED.1);
    systems.iter().flat_map(|system| system.lacks(eased)).collect()
}

/// By how much each gap is opened of which some lack so much, if all are opened by `by` in the mean: none less
/// than the others, but for those that lack more.
pub(super) fn shared(lacks: &[f64], by: f64) -> Vec<f64> {
    let room = by * lacks.len() as f64;
    let all: f64 = lacks.iter().sum();
    if all >= room {
        return lacks.iter().map(|lack| if all > 0.0 { lack * room / all } else { 0.0 }).collect();
    }
    let (mut low, mut high) = (0.0, by);
    for _ in 0..40 {
        let middle = f64::midpoint(low, high);
        let needs: f64 = lacks.iter().map(|lack| lack.max(middle)).sum();
        if needs <= room { low = middle } else { high = middle }
    }
    lacks.iter().map(|lack| lack.max(low)).collect()
}

/// The widest gap between staves of a page that are opened by so much in the mean.
fn widest(systems: &[System], open: f64) -> f64 {
    let gaps = systems.iter().flat_map(System::between_staves);
    gaps.zip(given(systems, open)).map(|(gap, given)| gap + given).fold(0.0, f64::max)
}

/// The mean gap between staves of these systems.
fn mean_gap(systems: &[System]) -> f64 {
    systems.iter().map(System::mean_gap).sum::<f64>() / systems.len() as f64
}

/// From the lowest line of each system to the uppermost of the next, less what a heading has of it.
fn gaps(systems: &[System], ys: &[f64], score: bool) -> Vec<f64> {
    let head = if score { HEADED.1 } else { HEADED.0 };
    let gap = |n: usize| {
        let headed = if systems[n].headed { head } else { 0.0 };
        ys[n] - 2.0 - ys[n - 1] - systems[n - 1].last_line() - headed
    };
    (1..systems.len()).map(gap).collect()
}

/// By how much a gap grows where all come to be as wide as that, and none grows by more than `most`.
fn grow(gap: f64, even: f64, most: f64) -> f64 {
    (even - gap).clamp(0.0, most)
}

/// How wide gaps become when what is left goes to the narrowest first, so that lines come to stand at
/// even distances as far as what hangs on them allows; none grows by more than `most`.
fn level(gaps: &[f64], left: f64, most: f64) -> f64 {
    let Some(least) = gaps.iter().copied().reduce(f64::min) else { return 0.0 };
    let widest = gaps.iter().copied().fold(least, f64::max);
    let (mut low, mut high) = (least, widest + left.min(most));
    for _ in 0..40 {
        let middle = f64::midpoint(low, high);
        let grown: f64 = gaps.iter().map(|gap| grow(*gap, middle, most)).sum();
        if grown < left { low = middle } else { high = middle }
    }
    low
}

/// Systems as near to one another as they can be, and where the last one ends.
fn close_together(systems: &[System], from: f64) -> (Vec<f64>, f64) {
    let skies: Vec<Skyline> = systems.iter().map(System::sky).collect();
    let mut ys: Vec<f64> = Vec::with_capacity(systems.len());
    for (n, sky) in skies.iter().enumerate() {
        let y = match n.checked_sub(1) {
            None => from + (-sky.extent().0).max(2.0),
            Some(above) => {
                let air = if systems[n].headed { HEADING_GAP } else { AIR };
                let clear = skies[above].clearance(sky, air);
                let last = systems[above].last_line();
                let least = (last + SYSTEM_GAP + 2.0).max(last + systems[n].framed());
                ys[above] + least.max(clear)
            }
        };
        ys.push(y);
    }
    let end = skies.last().zip(ys.last()).map_or(from, |(sky, y)| y + sky.extent().1);
    (ys, end)
}

/// The upper edge of what is below each system of a page, counted from the middle line of its uppermost staff; below
/// the last one is nothing.
pub(super) fn floors(systems: &[System], ys: &[f64]) -> Vec<Skyline> {
    let below = |(n, system): (usize, &System)| {
        let mut floor = system.empty_sky();
        if let Some(next) = systems.get(n + 1) {
            floor.take(&next.sky(), ys[n + 1] - ys[n]);
        }
        floor
    };
    systems.iter().enumerate().map(below).collect()
}

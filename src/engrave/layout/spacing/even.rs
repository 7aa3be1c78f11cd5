//! Notes of one length within a line stand at one distance: what one of them needs more than the ideal
//! room, because something short stands beside it, the others are given too as far as the line has it.

use std::ops::Range;

use ripieno_compiler::music::Time;

use super::line::{Line, filling};
use super::{BarSpace, is_bar_rest};

/// Of two notes of one length the one beside which shorter ones stand has more ideal room. Up to the first
/// of these ratios they are to have the same all the same, since one short note is hardly seen as a
/// passage; from the second on each has its own. Our heuristic.
const ALIKE: (f64, f64) = (1.25, 1.4);

/// Up to so many times the usual width of their length steps follow the widest: one accidental in brackets
/// or displaced head has room by itself and pulls no bar apart. Our heuristic.
const MOST_WIDER: f64 = 1.2;

/// How much of the ideal room all bars of a line give for it at most. Our heuristic.
const GIVEN: f64 = 0.14;

/// How much of what a longer note has more than a shorter one by the ideal it keeps at the least when shorter ones
/// are given room: a quarter no wider than the eighth of a triplet is read as one. Our heuristic.
const KEPT: f64 = 0.3;

/// From the head of a note to the next of its voice, as columns: the bar line is the one behind the last.
type Step = (usize, usize);

/// Steps of one length within a bar, the shortest first; only what has several is of concern.
pub(super) fn steps(space: &BarSpace, length: Time) -> Vec<(Time, Vec<Step>)> {
    let end = space.columns.len();
    let mut all: Vec<(Time, Step)> = Vec::new();
    for (chords, columns) in space.chords.iter().zip(&space.column_of) {
        for (n, chord) in chords.iter().enumerate().filter(|(_, chord)| !is_bar_rest(chord)) {
            let next = chords.get(n + 1).map_or(length, super::Chord::at);
            let to = columns.get(n + 1).copied().unwrap_or(end);
            if columns[n] < to && to <= end {
                all.push((next - chord.at(), (columns[n], to)));
            }
        }
    }
    all.sort_unstable();
    all.dedup();
    let groups = all.chunk_by(|a, b| a.0 == b.0).filter(|group| group.len() > 1);
    groups.map(|group| (group[0].0, group.iter().map(|(_, step)| *step).collect())).collect()
}

/// How many times as wide as another a step may be whose ideal room is so many times that of the other.
fn owed(ratio: f64) -> f64 {
    let (alike, own) = ALIKE;
    1.0 + (ratio - 1.0).max(0.0) * ((ratio - alike) / (own - alike)).clamp(0.0, 1.0)
}

/// The width in the middle of those of some steps.
fn usual(group: &[Step], width: impl Fn(Step) -> f64) -> f64 {
    let mut all: Vec<f64> = group.iter().map(|step| width(*step)).collect();
    all.sort_by(f64::total_cmp);
    all[(all.len() - 1) / 2]
}

/// How wide the widest step of a length is, as far as others follow it, and its ideal room.
type Widest = (Time, f64, f64);

fn width(places: &[f64], step: Step) -> f64 {
    places[step.1] - places[step.0]
}

fn ideal(space: &BarSpace, step: Step) -> f64 {
    space.columns[step.0..step.1].iter().map(|(_, ideal)| *ideal).sum()
}

/// The widest step of each length of a bar whose last place is the bar line.
fn widest(space: &BarSpace, places: &[f64]) -> Vec<Widest> {
    let last = places.len() - 1;
    let of = |(length, group): &(Time, Vec<Step>)| {
        // What stands before the bar line is no measure for the others.
        let inner = group.iter().filter(|step| step.1 < last);
        let widest = inner.max_by(|a, b| width(places, **a).total_cmp(&width(places, **b)))?;
        let usual = MOST_WIDER * usual(group, |step| width(places, step));
        Some((*length, width(places, *widest).min(usual), ideal(space, *widest)))
    };
    space.even.iter().filter_map(of).collect()
}

/// Widens steps of a bar towards the widest of their length by that share of the lack, in places whose last
/// one is the bar line.
fn widen(space: &BarSpace, places: &mut [f64], (share, all): (f64, &[Widest])) {
    for (length, group) in &space.even {
        for &step in group {
            let own = width(places, step);
            let ideal = ideal(space, step);
            let of = |(_, most, widest): &Widest| most / owed(widest / ideal);
            let like = all.iter().filter(|widest| widest.0 == *length);
            let lack = like.map(of).fold(own, f64::max) - own;
            if lack <= 1e-6 || own <= 0.0 {
                continue;
            }
            let (from, wider) = (places[step.0], 1.0 + share * lack / own);
            for place in &mut places[step.0 + 1..step.1] {
                *place = from + (*place - from) * wider;
            }
            places[step.1..].iter_mut().for_each(|place| *place += share * lack);
        }
    }
}

/// Is there anything to even out in a bar whose places are these?
fn is_uneven(space: &BarSpace, places: &[f64]) -> bool {
    !space.even.is_empty() && places.len() == space.columns.len()
}

/// The columns of the bars of a line and their widths, evened out by that share; in a roomy one nothing of it
/// is taken from lone short notes.
fn evened(
    line: Line,
    bars: Range<usize>,
    (stretch, share, roomy): (f64, f64, bool),
) -> Vec<(Vec<f64>, f64)> {
    let of = |bar: usize| match roomy {
        true => line.spaces[bar].place_roomy(stretch, line.shown),
        false => line.spaces[bar].place(stretch, line.shown),
    };
    let mut all: Vec<(Vec<f64>, f64)> = bars.clone().map(of).collect();
    if share == 0.0 {
        return all;
    }
    let end = |space: &BarSpace, width: f64| width - space.line - space.tail + 0.35;
    let mut most: Vec<Widest> = Vec::new();
    for (bar, (places, width)) in bars.clone().zip(&mut all) {
        let space = &line.spaces[bar];
        if is_uneven(space, places) {
            places.push(end(space, *width));
            most.extend(widest(space, places));
            places.pop();
        }
    }
    for (bar, (places, width)) in bars.zip(&mut all) {
        let space = &line.spaces[bar];
        if is_uneven(space, places) {
            let before = end(space, *width);
            places.push(before);
            widen(space, places, (share, &most));
            *width += places.pop().unwrap_or(before) - before;
        }
    }
    all
}

/// By how much the steps of some length lack what they should keep before those of a shorter one, 0 or more: of
/// the widths in the middle of each length in the line, as a part of the shorter one.
fn inverted(line: Line, bars: Range<usize>, all: &[(Vec<f64>, f64)]) -> f64 {
    let mut lengths: Vec<(Time, f64, f64)> = Vec::new();
    for (bar, (places, _)) in bars.zip(all) {
        let space = &line.spaces[bar];
        for (length, group) in &space.even {
            let inner = group.iter().filter(|step| step.1 < places.len());
            lengths.extend(inner.map(|step| (*length, width(places, *step), ideal(space, *step))));
        }
    }
    lengths.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let middles: Vec<(f64, f64)> = lengths
        .chunk_by(|a, b| a.0 == b.0)
        .map(|one| (one[(one.len() - 1) / 2].1, one[(one.len() - 1) / 2].2))
        .collect();
    let lack = |pair: &[(f64, f64)]| {
        let kept = 1.0 + KEPT * (pair[1].1 / pair[0].1 - 1.0).max(0.0);
        kept - pair[1].0 / pair[0].0
    };
    middles.windows(2).map(lack).fold(0.0, f64::max)
}

/// The bars of a line at the stretch at which they fill the room, evened out as far as that leaves them
/// most of the ideal room that they would have otherwise: for each its columns and its width.
pub(super) fn bars(
    line: Line,
    bars: Range<usize>,
    (stretch, room): (f64, f64),
) -> Vec<(Vec<f64>, f64)> {
    let roomy = stretch >= 1.0;
    let need = |stretch: f64, share: f64| -> f64 {
        evened(line, bars.clone(), (stretch, share, roomy)).iter().map(|(_, width)| width).sum()
    };
    let tightest = stretch * (1.0 - GIVEN);
    let halve = |(mut low, mut high): (f64, f64), times: u8, fits: &dyn Fn(f64) -> bool| {
        for _ in 0..times {
            let middle = f64::midpoint(low, high);
            if fits(middle) { low = middle } else { high = middle }
        }
        low
    };
    let uneven = bars.clone().any(|bar| !line.spaces[bar].even.is_empty());
    let plain = stretch;
    let (stretch, share) = if !uneven || need(stretch, 1.0) <= room {
        (stretch, if uneven { 1.0 } else { 0.0 })
    } else if need(tightest, 1.0) <= room {
        (halve((tightest, stretch), 12, &|stretch| need(stretch, 1.0) < room), 1.0)
    } else {
        (tightest, halve((0.0, 1.0), 12, &|share| need(tightest, share) < room))
    };
    let set = |stretch: f64, share: f64| evened(line, bars.clone(), (stretch, share, roomy));
    let lack = |all: &[(Vec<f64>, f64)]| inverted(line, bars.clone(), all);
    let evened = set(stretch, share);
    if share == 0.0 || lack(&evened) == 0.0 {
        return evened;
    }
    // Less of it, so far as longer notes stay wider than shorter ones; the room that is left is everybody's.
    let usual = lack(&set(plain, 0.0));
    let fill = |share: f64| filling(&|stretch| need(stretch, share), room);
    let share = halve((0.0, share), 5, &|share| lack(&set(fill(share), share)) <= usual);
    set(fill(share), share)
}

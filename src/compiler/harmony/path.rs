//! The cheapest way through all beats, and how much cheaper it is than the others.

use super::costs::{self, CANDIDATES, Candidate, Costs, QUALITIES, Way};
use super::evidence::Slot;
use super::stretches::Evidence;
use crate::narrow::Narrow;

/// What the search found for a slot.
pub(super) struct Beat {
    pub(super) candidate: Candidate,
    /// How sure the root is, 0 to 1.
    pub(super) certainty: f64,
}

/// Costs are turned into shares of certainty on this scale (our heuristic).
const DOUBT: f64 = 0.5;

/// The chord of every slot on the cheapest way.
pub(super) fn cheapest(evidence: &Evidence) -> Vec<Beat> {
    let Some(last) = evidence.len().checked_sub(1) else { return Vec::new() };
    // Cheapest cost up to and with each slot, kept where a stretch begins …
    let mut costs = [0.0; CANDIDATES];
    let mut begins = Vec::with_capacity(evidence.stretches());
    for stretch in 0..evidence.stretches() {
        let (first, slots) = evidence.stretch(stretch);
        for (slot, index) in slots.iter().zip(first..) {
            costs = match index {
                0 => costs::of_slot(slot, last == 0),
                _ => onward(&costs, slot, index == last).0,
            };
            if index == first {
                begins.push(costs);
            }
        }
    }
    // … and back again, stretch by stretch, with the cheapest cost from behind each slot to the
    // end.
    let mut backward = [0.0; CANDIDATES];
    let mut state = least(&costs).0;
    let mut beats = Vec::with_capacity(evidence.len());
    let (mut forward, mut from) = (Vec::new(), Vec::new());
    // The first slot of the stretch behind.
    let mut behind = None;
    for (stretch, begin) in begins.iter().enumerate().rev() {
        let (first, slots) = evidence.stretch(stretch);
        forward.clear();
        from.clear();
        let mut costs = *begin;
        // Where each came from stands with the slot before it.
        for (slot, index) in slots.iter().chain(&behind).zip(first..).skip(1) {
            forward.push(costs);
            let (reached, origins) = onward(&costs, slot, index == last);
            from.push(origins);
            costs = reached;
        }
        if behind.is_none() {
            forward.push(costs);
        }
        for (place, slot) in slots.iter().enumerate().rev() {
            let index = first + place;
            if index < last {
                state = usize::from(from[place][state]);
            }
            let certainty = certainty(&forward[place], &backward, state / QUALITIES);
            beats.push(Beat { candidate: costs::candidate(state), certainty });
            add(&mut backward, slot, index == last);
            backward = step(&backward, &Way::to(slot), true).0;
        }
        behind = slots.into_iter().next();
    }
    beats.reverse();
    beats
}

/// The costs up to and with a slot, from those up to the one before, and where each came from.
fn onward(before: &Costs, slot: &Slot, ends: bool) -> (Costs, [u8; CANDIDATES]) {
    let (mut costs, origins) = step(before, &Way::to(slot), false);
    add(&mut costs, slot, ends);
    (costs, origins)
}

fn add(costs: &mut Costs, slot: &Slot, ends: bool) {
    for (cost, fit) in costs.iter_mut().zip(costs::of_slot(slot, ends)) {
        *cost += fit;
    }
}

/// One step of the search: what reaching each candidate costs from the costs of all, and from
/// which one. Backwards, the way of the root is read the other way round.
///
/// Only the cheapest candidate of each root need be looked at, because all of one root cost the
/// same to leave.
fn step(costs: &Costs, way: &Way, backwards: bool) -> (Costs, [u8; CANDIDATES]) {
    let mut best = [(0usize, 0.0f32); 12];
    for (root, best) in best.iter_mut().enumerate() {
        let of_root = &costs[root * QUALITIES..(root + 1) * QUALITIES];
        let (place, cost) = least(of_root);
        *best = (root * QUALITIES + place, cost);
    }
    let mut reached = *costs;
    let mut origins: [u8; CANDIDATES] = std::array::from_fn(|index| index.narrow::<u8>());
    for root in 0..12 {
        let (mut origin, mut cheapest) = (best[root].0, best[root].1 + way.same_root);
        for (other, (candidate, cost)) in best.iter().enumerate() {
            if other == root {
                continue;
            }
            let (from, to) = if backwards { (root, other) } else { (other, root) };
            let cost = cost + way.roots[from][to];
            if cost < cheapest {
                (origin, cheapest) = (*candidate, cost);
            }
        }
        for index in root * QUALITIES..(root + 1) * QUALITIES {
            if cheapest < reached[index] {
                reached[index] = cheapest;
                origins[index] = origin.narrow::<u8>();
            }
        }
    }
    (reached, origins)
}

fn least(costs: &[f32]) -> (usize, f32) {
    let mut least = (0, f32::INFINITY);
    for (index, &cost) in costs.iter().enumerate() {
        if cost < least.1 {
            least = (index, cost);
        }
    }
    least
}

/// How much of the likelihood of all roots falls to one.
fn certainty(forward: &Costs, backward: &Costs, root: usize) -> f64 {
    let mut through = [0.0f64; 12];
    for (of, through) in through.iter_mut().enumerate() {
        let all = of * QUALITIES..(of + 1) * QUALITIES;
        *through = all
            .map(|index| f64::from(forward[index]) + f64::from(backward[index]))
            .fold(f64::INFINITY, f64::min);
    }
    let sum: f64 = through.iter().map(|cost| (-(cost - through[root]) / DOUBT).exp()).sum();
    1.0 / sum
}

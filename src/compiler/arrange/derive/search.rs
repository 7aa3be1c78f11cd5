//! The cheapest way through a row of choices, by dynamic programming.

/// One of the things that can be done at a stage, with what it costs by itself.
#[derive(Clone, Debug)]
pub(super) struct Choice<S> {
    pub(super) state: S,
    pub(super) cost: u32,
}

/// The cheapest way: its cost and the index of the choice at each stage. `step` is the cost of
/// going from a choice to one of the next stage (its index is the first argument), `None` where
/// that is forbidden; it may give `None` too for all that costs more than its last argument. `None` if there is no way at all; of equal ways the one found first.
pub(super) fn cheapest<S>(
    stages: &[Vec<Choice<S>>],
    step: impl Fn(usize, &S, &S, u32) -> Option<u32>,
) -> Option<(u32, Vec<usize>)> {
    cheapest_within(stages, u32::MAX, step)
}

/// The same, for those who know a way of cost `limit`: what cannot become cheaper is not followed.
pub(super) fn cheapest_within<S>(
    stages: &[Vec<Choice<S>>],
    limit: u32,
    step: impl Fn(usize, &S, &S, u32) -> Option<u32>,
) -> Option<(u32, Vec<usize>)> {
    let first = stages.first()?;
    // What the stages after each cost at least.
    let mut still = vec![0u32; stages.len()];
    for stage in (0..stages.len() - 1).rev() {
        let least = stages[stage + 1].iter().map(|choice| choice.cost).min().unwrap_or(0);
        still[stage] = still[stage + 1].saturating_add(least);
    }
    // Per stage and choice: the choice before.
    let mut back: Vec<Vec<usize>> = Vec::with_capacity(stages.len());
    let mut reached: Vec<(u32, usize)> =
        first.iter().enumerate().map(|(index, choice)| (choice.cost, index)).collect();
    reached.sort_unstable();
    for (stage, choices) in stages.iter().enumerate().skip(1) {
        let before = &stages[stage - 1];
        let mut from = vec![usize::MAX; choices.len()];
        let mut next = Vec::with_capacity(choices.len());
        for (index, choice) in choices.iter().enumerate() {
            let ahead = choice.cost.saturating_add(still[stage]);
            let mut best = u32::MAX;
            for &(cost, previous) in &reached {
                // They come cheapest first and no step is cheaper than nothing.
                if cost >= best || cost.saturating_add(ahead) > limit {
                    break;
                }
                let Some(way) = step(stage, &before[previous].state, &choice.state, best - cost)
                else {
                    continue;
                };
                let total = cost.saturating_add(way);
                if total < best {
                    best = total;
                    from[index] = previous;
                }
            }
            if best < u32::MAX && best.saturating_add(ahead) <= limit {
                next.push((best.saturating_add(choice.cost), index));
            }
        }
        next.sort_unstable();
        reached = next;
        back.push(from);
    }
    let &(cost, mut index) = reached.first()?;
    let mut way = vec![index];
    for from in back.iter().rev() {
        index = from[index];
        way.push(index);
    }
    way.reverse();
    Some((cost, way))
}

/// After so many stages it is looked how far back all ways are one.
const SETTLES: usize = 64;

/// The states on the cheapest way through stages that are given one by one: what all ways have in
/// common is settled, and forgotten but for its states. Otherwise as [`cheapest`].
pub(super) fn cheapest_on_the_way<S: Copy>(
    mut stages: impl Iterator<Item = Vec<Choice<S>>>,
    step: impl Fn(usize, &S, &S) -> u32,
) -> Option<Vec<S>> {
    let first = stages.next()?;
    let mut reached: Vec<(u32, u32)> =
        (0..).zip(&first).map(|(index, choice)| (choice.cost, index)).collect();
    reached.sort_unstable();
    let mut way = Way { settled: Vec::new(), open: vec![(first, Vec::new())] };
    for (stage, choices) in (1..).zip(stages) {
        let before = way.open.last().map_or(&[][..], |(choices, _)| choices);
        let mut from = vec![0; choices.len()];
        let mut next = Vec::with_capacity(choices.len());
        for (index, choice) in (0..).zip(&choices) {
            let mut best = u32::MAX;
            for &(cost, previous) in &reached {
                // They come cheapest first and no step is cheaper than nothing.
                if cost >= best {
                    break;
                }
                let way = step(stage, &before[previous as usize].state, &choice.state);
                let total = cost.saturating_add(way);
                if total < best {
                    best = total;
                    from[index as usize] = previous;
                }
            }
            if best < u32::MAX {
                next.push((best.saturating_add(choice.cost), index));
            }
        }
        next.sort_unstable();
        reached = next;
        way.open.push((choices, from));
        if way.open.len() > SETTLES {
            way.settle(&reached);
        }
    }
    let &(_, last) = reached.first()?;
    way.settle_to(way.open.len() - 1, last);
    Some(way.settled)
}

/// What is known of the cheapest way.
struct Way<S> {
    settled: Vec<S>,
    /// The stages behind that, and for each of their choices the one before.
    open: Vec<(Vec<Choice<S>>, Vec<u32>)>,
}

impl<S: Copy> Way<S> {
    /// Settles what all ways to what was reached have in common.
    fn settle(&mut self, reached: &[(u32, u32)]) {
        let mut alive: Vec<u32> = reached.iter().map(|(_, index)| *index).collect();
        for stage in (1..self.open.len()).rev() {
            alive.iter_mut().for_each(|index| *index = self.open[stage].1[*index as usize]);
            alive.sort_unstable();
            alive.dedup();
            if let [one] = alive[..] {
                return self.settle_to(stage - 1, one);
            }
        }
    }

    /// Settles the way to a choice of an open stage.
    fn settle_to(&mut self, stage: usize, mut index: u32) {
        let from = self.settled.len();
        for (at, (choices, back)) in self.open.drain(..=stage).enumerate().rev() {
            self.settled.push(choices[index as usize].state);
            if at > 0 {
                index = back[index as usize];
            }
        }
        self.settled[from..].reverse();
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn stage(costs: &[u32]) -> Vec<Choice<i32>> {
        costs.iter().zip(0..).map(|(&cost, state)| Choice { state, cost }).collect()
    }

    #[test]
    fn a_dear_beginning_may_be_the_cheapest_way() {
        let stages = [stage(&[0, 3]), stage(&[9, 0]), stage(&[9, 0])];
        let step = |_: usize, from: &i32, to: &i32, _: u32| Some(if from == to { 0 } else { 5 });
        assert_eq!(cheapest(&stages, step), Some((3, vec![1, 1, 1])));
    }

    proptest! {
        #[test]
        fn the_way_is_the_same_where_stages_come_one_by_one(
            costs in proptest::collection::vec(proptest::collection::vec(0..9_u32, 1..5), 1..400),
            tied in 0..4_u32,
        ) {
            let stages: Vec<Vec<Choice<i32>>> = costs.iter().map(|costs| stage(costs)).collect();
            let step = |_: usize, from: &i32, to: &i32| from.abs_diff(*to) * tied;
            let (_, way) = cheapest(&stages, |at, a, b, _| Some(step(at, a, b))).unwrap();
            let states: Vec<i32> = way.iter().zip(&stages).map(|(&at, all)| all[at].state).collect();
            prop_assert_eq!(cheapest_on_the_way(stages.into_iter(), step), Some(states));
        }
    }

    #[test]
    fn a_forbidden_step_is_never_taken() {
        let stages = [stage(&[0]), stage(&[0])];
        assert_eq!(cheapest(&stages, |_, _, _, _| None), None);
        assert_eq!(cheapest::<i32>(&[], |_, _, _, _| Some(0)), None);
    }
}

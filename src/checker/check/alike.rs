//! Players of a line who have the very same part: what a rule finds for one of them it finds for all.

use std::any::{Any, TypeId};
use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use super::Rule;
use crate::arrange::Part;

/// Which players have the same part, and what was found for them in this run.
pub(super) struct Alike {
    /// For each player the first one who has the same part, if several have it.
    first: Vec<Option<usize>>,
    /// What was found, and how many of them have not asked for it yet.
    found: Mutex<HashMap<Key, Waiting>>,
}

/// How many players have not asked for it yet, and what was found.
type Waiting = (usize, Box<dyn Any + Send>);

/// Rule, player, what is looked at, and what is found there.
type Key = (&'static str, usize, Of, TypeId);

/// What of a player a rule looks at.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub(super) enum Of {
    /// His notes on the instrument that he has in hand after so many others, one by one.
    Notes(usize),
    /// The same as they go on.
    Stretch(usize),
    /// The whole part.
    Part,
    /// What it comes to.
    Sum,
}

impl Alike {
    pub(super) fn new(parts: &[Arc<Part>]) -> Alike {
        let mut first = vec![None; parts.len()];
        for player in 0..parts.len() {
            let same = |other: &usize| {
                first[*other].is_none_or(|first| first == *other)
                    && are_alike(&parts[*other], &parts[player])
            };
            // Players of a line stand together.
            let line =
                |other: &usize| parts[*other].player.line_name == parts[player].player.line_name;
            if let Some(other) = (0..player).rev().take_while(line).find(same) {
                (first[other], first[player]) = (Some(other), Some(other));
            }
        }
        Alike { first, found: Mutex::default() }
    }

    /// What was found for a player with the same part, or else what `find` finds.
    pub(super) fn found<T: Clone + Send + 'static>(
        &self,
        rule: &Rule,
        player: usize,
        of: Of,
        find: impl FnOnce() -> T,
    ) -> T {
        let Some(first) = self.first[player] else { return find() };
        let key = (rule.code, first, of, TypeId::of::<T>());
        // A rule that broke off left whole what others found.
        let known = || self.found.lock().unwrap_or_else(PoisonError::into_inner);
        let mut waiting = known();
        if let Some((left, found)) = waiting.get_mut(&key)
            && let Some(found) = found.downcast_ref::<T>().cloned()
        {
            *left = left.saturating_sub(1);
            if *left == 0 {
                waiting.remove(&key);
            }
            return found;
        }
        drop(waiting);
        let found = find();
        let others = self.first.iter().filter(|other| **other == Some(first)).count() - 1;
        known().insert(key, (others, Box::new(found.clone())));
        found
    }
}

/// Have two players of a line the same part, but for their numbers?
fn are_alike(one: &Part, two: &Part) -> bool {
    let in_hand = one.instruments.iter().zip(&two.instruments);
    let tuned = one.tunings.iter().zip(&two.tunings);
    one.notes.are_shared(&two.notes)
        && one.player.line_name == two.player.line_name
        && one.player.span == two.player.span
        && one.player.count == two.player.count
        && one.claims == two.claims
        && one.instruments.len() == two.instruments.len()
        && in_hand.into_iter().all(|(a, b)| a.0 == b.0 && std::ptr::eq(a.1, b.1))
        && one.tunings.len() == two.tunings.len()
        && tuned.into_iter().all(|(a, b)| a.0 == b.0 && std::ptr::eq(a.1, b.1))
        && one.drums == two.drums
        && one.takes == two.takes
        && one.tuplets == two.tuplets
        && one.rests == two.rests
        && one.directions == two.directions
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::arrange::arrange;
    use crate::check::RULES;
    use crate::diagnostics::Sources;
    use crate::resolve::{NoFiles, resolve};

    #[test]
    fn who_has_the_same_part_on_the_same_line_is_asked_once() {
        let mut sources = Sources::new();
        let root = sources.add(
            "ferry.ripieno",
            "piece \"Ferry\" { }
             form { 1 metre 2/4, key C major
               2 end }
             voice tune { 1: 1/4 C5 D5 | 2: E5 F5 | }
             ensemble few { era 1885
               flute 3, oboe 2 }
             scoring few for few {
               flute.1, flute.2, flute.3 plays tune bars 1 as melody
               flute.1, flute.3 plays tune bars 2 as melody
               flute.2 plays tune bars 2 as harmony
               oboe plays tune as melody
             }",
        );
        let (piece, _) = resolve(&mut sources, root, &mut NoFiles);
        let arrangement = arrange(&piece, &piece.scorings[0]);
        let alike = Alike::new(&arrangement.parts);
        assert_eq!(alike.first, [Some(0), None, Some(0), Some(3), Some(3)]);
        let rule = &RULES[0];
        let ask = |player, of, answer: u32| alike.found(rule, player, of, || answer);
        assert_eq!(ask(2, Of::Part, 1), 1);
        assert_eq!(ask(0, Of::Part, 2), 1);
        assert_eq!(ask(1, Of::Part, 3), 3);
        assert_eq!(ask(0, Of::Sum, 4), 4);
        assert_eq!(ask(4, Of::Part, 5), 5);
    }
}

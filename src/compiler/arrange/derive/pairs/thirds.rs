//! A third player between or below a pair of his kind.

use std::rc::Rc;

use smallvec::SmallVec;

use super::{Pair, Point, REST};
use crate::arrange::derive::search::{Choice, cheapest};
use crate::arrange::derive::sustain::Wants;
use crate::music::Pitch;
use crate::narrow::Narrow;

/// Three players' notes, from the highest down: those of the pair and a third one, between them or
/// below, that the chord lacks if there is one. Who has what goes by height, as far as each has the
/// note. `notes` are what the players have at each point.
///
/// (Three trumpets are written in three parts from the top down: common practice. The weights are
/// our heuristic.)
pub(super) fn with_a_third(
    points: &[Point],
    pairs: &[Pair],
    notes: &[[Vec<Pitch>; 3]],
    wants: &[Option<Rc<Wants>>],
) -> Vec<[i16; 3]> {
    let stages: Vec<Vec<Choice<i16>>> = pairs
        .iter()
        .zip(notes)
        .zip(wants)
        .map(|((pair, notes), wants)| stage(*pair, &notes[2], wants.as_deref()))
        .collect();
    let way = cheapest(&stages, |to, &a, &b, _| {
        if a == REST || b == REST {
            return Some(if points[to].joined && a != b { 12 } else { 0 });
        }
        let unresolved = match (&wants[to - 1], &wants[to]) {
            (Some(from), Some(next)) if points[to].joined => {
                from.unresolved(a, b, next, false) + from.leap(a, b, next)
            }
            _ => 0,
        };
        Some(u32::from((a - b).unsigned_abs()) / 2 + unresolved)
    });
    let Some((_, way)) = way else { return Vec::new() };
    pairs
        .iter()
        .zip(way.iter().zip(&stages))
        .zip(notes)
        .map(|((&[first, second], (&at, stage)), notes)| {
            by_height([first, second, stage[at].state], notes)
        })
        .collect()
}

fn stage(pair: Pair, own: &[Pitch], wants: Option<&Wants>) -> Vec<Choice<i16>> {
    let sounding: SmallVec<[i16; 2]> = pair.into_iter().filter(|&note| note != REST).collect();
    let silence = if own.is_empty() || sounding.is_empty() { 0 } else { SILENT };
    let mut choices = vec![Choice { state: REST, cost: silence }];
    let Some(wants) = wants.filter(|_| !sounding.is_empty()) else { return choices };
    for pitch in own {
        let height = pitch.midi().narrow::<i16>();
        let same = |note: &&i16| (**note - height) % 12 == 0;
        if sounding.iter().max().is_some_and(|&top| height > top) {
            continue;
        }
        let doubles = sounding.iter().any(|note| same(&note));
        if doubles && wants.tender(height) {
            continue;
        }
        let mut cost = match (doubles, sounding.contains(&height)) {
            (false, _) => 0,
            (true, false) => DOUBLED,
            (true, true) => UNISON,
        };
        // The root and the fifth are doubled before the third.
        cost += if doubles && !wants.firm(height) { 8 } else { 0 };
        let low = sounding.iter().min().copied().unwrap_or(height);
        let gap = i32::from(low - height).max(0).unsigned_abs();
        cost += gap.saturating_sub(7) * 2;
        let nearest = sounding.iter().map(|note| (note - height).unsigned_abs()).min();
        cost += if nearest.is_some_and(|way| (1..=2).contains(&way)) { RUBS } else { 0 };
        choices.push(Choice { state: height, cost });
    }
    choices
}

/// What it costs that the third player rests though he has a note of the chord.
const SILENT: u32 = 60;
/// What it costs to double a note of the pair in an octave, or at the unison.
const DOUBLED: u32 = 14;
const UNISON: u32 = 34;
/// What it costs to stand a second from one of the pair.
const RUBS: u32 = 12;

/// The notes from the highest down, if each player has what falls to him.
fn by_height(heights: [i16; 3], notes: &[Vec<Pitch>; 3]) -> [i16; 3] {
    let mut sorted = heights;
    // Whoever rests is the last.
    sorted.sort_unstable_by(|a, b| b.cmp(a));
    let has = |place: usize| {
        let height = i32::from(sorted[place]);
        sorted[place] == REST || notes[place].iter().any(|note| note.midi() == height)
    };
    if (0..3).all(has) { sorted } else { heights }
}

//! Staves of another size, where a score fills its pages better with them or begins its systems where the
//! music does.

use super::{Attempt, LOOSE, Layout};
use crate::layout::music::Music;
use crate::layout::size_for;
use crate::layout::survey::Surveyed;
use crate::page::Draw;
use crate::paper::Setup;

/// The part of a page of a score that may be left over before staves of another size are tried, which
/// sizes these are, how small they may become, in millimetres, and how much emptier than before pages
/// must be for it. Our heuristic.
const LOOSE_SCORE: f64 = 0.3;
const SMALLER: [f64; 4] = [0.94, 0.88, 0.82, 0.76];
const SMALLEST: f64 = 4.8;
pub(super) const WORTH: f64 = 0.08;
/// Up to how many pages a score is tried with smaller staves for the sake of where its systems begin, and
/// with which ones. Our heuristic.
pub(super) const SHORT: usize = 12;
const SLIGHTLY_SMALLER: [f64; 3] = [0.97, 0.94, 0.9];
const SLIGHTLY: f64 = 0.88;

/// A short score tried with slightly smaller staves as long as it is to be better: of those that have no more pages,
/// and no emptier ones, the last that is better than what stood before.
fn slightly_smaller<D: Draw>(
    mut best: Attempt<D>,
    (music, surveyed): (&mut Music, &[Surveyed]),
    (setup, height): (&Setup, f64),
    new: &impl Fn() -> D,
    (wants, is_better): (impl Fn(&Attempt<D>) -> bool, impl Fn(&Attempt<D>, &Attempt<D>) -> bool),
) -> Attempt<D> {
    for factor in SLIGHTLY_SMALLER {
        let height = height * factor;
        if height < SMALLEST || !wants(&best) {
            break;
        }
        let layout = Layout::new(music.sheet(), setup, surveyed, height / 4.0);
        if let Some(smaller) = layout.best(music, new)
            && is_better(&smaller, &best)
            && smaller.pages.first_bars.len() <= best.pages.first_bars.len()
            && smaller.loose < best.loose + WORTH
        {
            best = smaller;
        }
    }
    best
}

/// A score whose pages stay empty with staves of one size is tried with smaller ones, of which one
/// system more fits on a page, and where none does with larger ones.
pub(super) fn other_size<D: Draw>(
    mut best: Attempt<D>,
    (music, surveyed): (&mut Music, &[Surveyed]),
    (setup, height): (&Setup, f64),
    new: &impl Fn() -> D,
) -> Attempt<D> {
    if best.torn > 0 && best.pages.first_bars.len() <= SHORT {
        // With them systems perhaps begin at a repeat, a double bar or a rehearsal mark, not a bar or two beside it.
        let seams = |one: &Attempt<D>| one.torn > 0;
        let fewer = |smaller: &Attempt<D>, best: &Attempt<D>| smaller.torn < best.torn;
        best = slightly_smaller(best, (music, surveyed), (setup, height), new, (seams, fewer));
    }
    if best.crowded > 0 && best.loose < LOOSE && best.pages.first_bars.len() <= SHORT {
        // With them systems that crowd one another have room; a mark within a system is no high price for it.
        let crowd = |one: &Attempt<D>| one.crowded > 0;
        let apart = |smaller: &Attempt<D>, best: &Attempt<D>| {
            smaller.crowded < best.crowded
                && smaller.torn <= best.torn
                && smaller.seams + smaller.crowded <= best.seams + best.crowded
        };
        return slightly_smaller(best, (music, surveyed), (setup, height), new, (crowd, apart));
    }
    let single = |one: &Attempt<D>| one.systems == one.pages.first_bars.len();
    let few = best.systems < 3 * best.pages.first_bars.len();
    // With little to gain staves do not become much smaller, and only for the sake of a page.
    let little = best.loose < LOOSE_SCORE;
    let short = best.pages.first_bars.len() <= SHORT;
    if best.loose < LOOSE || little && !short || !few || single(&best) && best.systems == 1 {
        return best;
    }
    let with = |height: f64, music: &mut Music| {
        Layout::new(music.sheet(), setup, surveyed, height / 4.0).best(music, new)
    };
    let least = if little { SLIGHTLY } else { 0.0 };
    for factor in SMALLER {
        if height * factor < SMALLEST || factor < least {
            break;
        }
        let Some(smaller) = with(height * factor, music) else { continue };
        let pages = |one: &Attempt<D>| one.pages.first_bars.len();
        let fewer = pages(&smaller) < pages(&best) && smaller.torn <= best.torn;
        if fewer && smaller.loose < best.loose
            || !little && smaller.loose < best.loose - WORTH && pages(&smaller) <= pages(&best)
        {
            best = smaller;
        }
        if best.loose < LOOSE {
            return best;
        }
    }
    if little {
        return best;
    }
    let large = size_for(music.sheet(), setup, 1.0);
    // Bars were divided for lines of more spaces.
    let fits = |layout: &Layout| {
        let (first, later) = layout.room.indents;
        let rooms = std::iter::once(first).chain(std::iter::repeat(later));
        let rooms = rooms.map(|indent| layout.room.width - indent);
        let mut needs = layout.widths.iter().map(|bar| bar.start.width() + bar.least).zip(rooms);
        needs.all(|(need, room)| need <= room)
    };
    let larger = (single(&best) && large > height)
        .then(|| Layout::new(music.sheet(), setup, surveyed, large / 4.0))
        .filter(fits)
        .and_then(|layout| layout.best(music, new));
    if let Some(larger) = larger.filter(|larger| larger.loose < best.loose) {
        best = larger;
    }
    best
}

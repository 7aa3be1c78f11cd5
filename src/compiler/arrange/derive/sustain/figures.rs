//! Figures of accompaniment: repeated notes, and chords broken by the metre.
//!
//! Source of the shapes: common practice. From which tempo on they go in halves or in quarters of
//! the beat is our heuristic.

use crate::arrange::derive::texture::beats_from;
use crate::music::Time;
use crate::narrow::Narrow;
use crate::resolve::{Clock, Form};

/// A beat of so many seconds is broken into four notes, a shorter one into two.
const SLOW_BEAT: f64 = 0.75;

/// Notes of a value from one time up to another, the last one cut.
pub(super) fn repeated(from: Time, to: Time, value: Time) -> Vec<(Time, Time)> {
    let mut all = Vec::new();
    let mut at = from;
    while at < to && value.is_positive() {
        all.push((at, (at + value).min(to)));
        at += value;
    }
    all
}

/// The notes of a chord one after the other: from when to when, and which one (from 0, in the order
/// in which the figure begins with them). A figure begins with the chord and with each group of
/// beats: three notes in a compound beat, four or two in a simple one; two simple beats of two make
/// one figure, and in a bar of three beats all three do.
pub(super) fn broken(
    clock: &Clock,
    form: &Form,
    from: Time,
    to: Time,
    notes: usize,
) -> Vec<(Time, Time, usize)> {
    let mut all = Vec::new();
    if notes == 0 {
        return all;
    }
    let starts = beats_from(form, from, to);
    let mut place = 0;
    // For each note the length of its figure by the metre, and its place in it.
    let mut places: Vec<(Time, Time, usize, usize)> = Vec::new();
    for (at, length) in starts {
        let bar = form.bar_at(at);
        let beat = bar.metre.beat();
        let parts = if bar.metre.is_compound() {
            3
        } else if clock.seconds_at(at + beat) - clock.seconds_at(at) >= SLOW_BEAT {
            4
        } else {
            2
        };
        let Some(unit) = beat.scaled(1, parts) else { continue };
        // How many notes a figure has before it begins anew.
        let figure = match (parts, bar.metre.beats()) {
            (2, 3) => 6,
            (2, _) => 4,
            (parts, _) => parts.narrow::<usize>(),
        };
        for (start, end) in repeated(at, at + length, unit) {
            if start == bar.start {
                place = 0;
            }
            places.push((start, end, figure, place % figure));
            place += 1;
        }
    }
    // A chord that changes cuts the last figure short: what is left of it still spans the chord.
    let figures: Vec<&[_]> = places.chunk_by(|_, (.., place)| *place != 0).collect();
    let (mut next, mut from) = (0, 0);
    while let Some(&figure) = figures.get(next) {
        next += 1;
        // Two notes that are left over in a bar make one figure with those before.
        let mut after = from + figure.len();
        if let Some(last) = figures.get(next)
            && last.len() < SHORTEST
            && last.len() < last[0].2
            && form.bar_at(last[0].0).start < last[0].0
        {
            after += last.len();
            next += 1;
        }
        let (whole, length) = (&places[from..after], figure[0].2);
        let length = if whole.len() > figure.len() { whole.len() } else { length };
        for (index, &(start, end, ..)) in whole.iter().enumerate() {
            all.push((start, end, turn(index, whole.len().min(length), notes)));
        }
        from = after;
    }
    all
}

/// Fewer notes than this are no figure of their own.
const SHORTEST: usize = 3;

/// Which note of a chord a place of a figure has: up through the chord, and down again where the
/// figure is longer than the chord.
fn turn(place: usize, figure: usize, notes: usize) -> usize {
    if notes == 1 {
        return 0;
    }
    let way = 2 * (notes - 1);
    let step = place % way;
    let up = if step < notes { step } else { way - step };
    // A short figure over many notes takes the lowest and the highest of them.
    if figure < notes && place + 1 == figure { notes - 1 } else { up }
}

#[cfg(test)]
mod tests {
    use super::turn;

    #[test]
    fn figures_go_up_and_down_through_the_chord() {
        let figure = |count, notes| (0..count).map(|p| turn(p, count, notes)).collect::<Vec<_>>();
        assert_eq!(figure(6, 4), [0, 1, 2, 3, 2, 1]);
        assert_eq!(figure(4, 4), [0, 1, 2, 3]);
        assert_eq!(figure(4, 2), [0, 1, 0, 1]);
        assert_eq!(figure(3, 2), [0, 1, 0]);
        assert_eq!(figure(3, 5), [0, 1, 4]);
    }
}

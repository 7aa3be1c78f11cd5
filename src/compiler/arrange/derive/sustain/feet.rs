//! What the pedals of a harp can set of a chord in time.

use smallvec::SmallVec;

use crate::instruments::{Feet, respelled};
use crate::music::Pitch;
use crate::resolve::Pitches;

/// Spells notes of a chord otherwise, where another string has the key and the foot has the time, and
/// leaves out what cannot be set; what is left out is given back, from the first to the last.
///
/// `order` tells for a number of notes when each sounds, in seconds, and which one it is. What a
/// harpist does so is common practice; that the spelling of the chord comes first is our heuristic.
pub(super) fn settle<Order>(
    feet: &mut Feet,
    pitches: &mut Pitches,
    order: impl Fn(usize) -> Order,
) -> SmallVec<[Pitch; 2]>
where
    Order: Iterator<Item = (f64, usize)>,
{
    let mut left_out = SmallVec::new();
    while let Some((reached, failing)) = fails(feet, pitches, &order) {
        let pitch = pitches[failing];
        let others = respelled(pitch).filter(|other| {
            let clashes = |own: &Pitch| own.letter == other.letter && own.alter != other.alter;
            !pitches.iter().any(clashes)
        });
        let better = others
            .map(|other| respelled_throughout(pitches, pitch, other))
            .find(|all| fails(feet, all, &order).is_none_or(|(further, _)| further > reached));
        match better {
            Some(all) => *pitches = all,
            None => {
                left_out.push(pitch);
                *pitches = without(pitches, failing);
            }
        }
    }
    for (at, note) in order(pitches.len()) {
        // All of them can be set.
        let _ = feet.play(pitches[note], at);
    }
    left_out
}

/// The chord with all octaves of a note under another letter.
fn respelled_throughout(pitches: &Pitches, pitch: Pitch, other: Pitch) -> Pitches {
    let octaves = |own: &Pitch| own.letter == pitch.letter && own.alter == pitch.alter;
    let spell = |own: &Pitch| match octaves(own) {
        true => other.octaves_up(own.octave - pitch.octave),
        false => *own,
    };
    pitches.iter().map(spell).collect()
}

/// The first note that cannot be set: how many sound before it, and which one it is.
fn fails<Order>(
    feet: &Feet,
    pitches: &Pitches,
    order: &impl Fn(usize) -> Order,
) -> Option<(usize, usize)>
where
    Order: Iterator<Item = (f64, usize)>,
{
    let mut trial = feet.clone();
    let mut notes = order(pitches.len()).enumerate();
    notes.find_map(|(place, (at, note))| {
        trial.play(pitches[note], at).is_err().then_some((place, note))
    })
}

/// The chord without one of its notes.
fn without(pitches: &Pitches, index: usize) -> Pitches {
    let others = pitches.iter().enumerate().filter(|(own, _)| *own != index);
    others.map(|(_, pitch)| *pitch).collect()
}

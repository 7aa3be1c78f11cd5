//! Tubas and double basses under a chord that stands still while its bass moves.

use super::Held;
use crate::arrange::derive::texture::{Texture, beats};
use crate::music::Pitch;
use crate::resolve::Form;

/// What a player of the ground holds while one chord stands: where the bass goes to another note of
/// the chord and stays for half a bar or more, he goes there with it, in unison or an octave
/// below; what it only touches on its way leaves him where he is. `notes` are those of the chord
/// that he may double, from the lowest up, and none is taken above `ceiling`, the lowest note that is held above
/// him. (Common practice: the bass instruments have the bass; the half bar is our heuristic.)
pub(super) fn with_the_bass(
    (form, texture): (&Form, &Texture),
    held: Held,
    notes: &[Pitch],
    ceiling: Option<i32>,
) -> Vec<Held> {
    let mut all = vec![held];
    let same_class = |a: Pitch, b: Pitch| (a.midi() - b.midi()) % 12 == 0;
    for (at, _) in beats(form, held.start, held.end).into_iter().filter(|(at, _)| *at > held.start)
    {
        let Some(low) = texture.bass_that_stays(form, at, held.end) else { continue };
        let last = all.len() - 1;
        let now = all[last].pitch;
        let half = form.bar_at(at).length.scaled(1, 2);
        if half.is_none_or(|half| held.end - at < half) {
            break;
        }
        if texture.struck_at(at, low) != Some(at) || same_class(low, now) {
            continue;
        }
        let highest = ceiling.map_or(low.midi(), |ceiling| low.midi().min(ceiling));
        let there = notes.iter().filter(|note| same_class(**note, low) && note.midi() <= highest);
        let Some(next) = there.min_by_key(|note| (note.midi() - now.midi()).abs()) else {
            continue;
        };
        all[last].end = at;
        all.push(Held { start: at, pitch: *next, end: held.end, ..held });
    }
    all
}

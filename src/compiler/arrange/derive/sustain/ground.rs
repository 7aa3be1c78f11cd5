//! Tubas, double basses and whoever else goes with the bass, under a chord that stands still while its
//! bass moves.

use super::{Held, cost};
use crate::arrange::derive::Sounding;
use crate::arrange::derive::texture::{Texture, beats};
use crate::music::{Pitch, Time};
use crate::narrow::Narrow;
use crate::resolve::Form;

/// The bass of a chord: what the voices say of it, and how low it is heard.
pub(super) struct Bass<'a> {
    pub(super) form: &'a Form,
    pub(super) texture: &'a Texture,
    /// What is written around those who hold notes: double basses are heard an octave below the voice.
    pub(super) around: &'a Sounding,
}

/// What a player of the ground holds while one chord stands: where the bass goes to another note of
/// the chord and stays for half a bar or more, or would make mud of what he holds, he goes there with
/// it, in unison or an octave below; what else it only touches on its way leaves him where he is.
/// `notes` are those of the chord that he may double, from the lowest up, and none is taken above
/// `ceiling`, the lowest note that is held above him. (Common practice: the bass instruments have the
/// bass; the half bar is our heuristic.)
pub(super) fn with_the_bass(
    bass: &Bass,
    held: Held,
    notes: &[Pitch],
    ceiling: Option<i32>,
) -> Vec<Held> {
    let mut all = vec![held];
    for (at, beat) in
        beats(bass.form, held.start, held.end).into_iter().filter(|(at, _)| *at > held.start)
    {
        let now = all[all.len() - 1].pitch;
        let Some(low) = bass.that_leads(at, beat, &all[all.len() - 1]) else { continue };
        let highest = ceiling.map_or(low.midi(), |ceiling| low.midi().min(ceiling));
        let there = notes.iter().filter(|note| same_class(**note, low) && note.midi() <= highest);
        let Some(next) = there.min_by_key(|note| (note.midi() - now.midi()).abs()) else {
            continue;
        };
        let last = all.len() - 1;
        all[last].end = at;
        all.push(Held { start: at, pitch: *next, end: held.end, ..held });
    }
    all
}

impl Bass<'_> {
    /// The bass that is struck at a time, if whoever holds something goes there with it.
    fn that_leads(&self, at: Time, beat: Time, held: &Held) -> Option<Pitch> {
        let Bass { form, texture, .. } = self;
        let half = form.bar_at(at).length.scaled(1, 2)?;
        let stays =
            || texture.bass_that_stays(form, at, held.end).filter(|_| held.end - at >= half);
        let low = match self.blurs(at, held.pitch) {
            true => texture.outer(at).filter(|_| texture.has_bass(at)).map(|outer| outer.low),
            false => stays(),
        }?;
        let struck = texture.struck_at(at, low) == Some(at) && texture.lasts(at, low, beat);
        (struck && !same_class(low, held.pitch)).then_some(low)
    }

    /// Is a note too close, so low down, to the lowest that is heard at a time?
    fn blurs(&self, at: Time, held: Pitch) -> bool {
        let players = self.around.around.iter().chain(&self.around.leading);
        let around = players.filter_map(|(_, notes)| {
            let note = notes.get(notes.partition_point(|note| note.end() <= at))?;
            note.sound().pitches().first().filter(|_| note.start() <= at).copied()
        });
        let low = around.chain(self.texture.outer(at).map(|outer| outer.low)).min();
        let [low, held] = [low.unwrap_or(held), held].map(|pitch| pitch.midi().narrow::<i16>());
        cost::muddy(low.min(held), low.max(held))
    }
}

fn same_class(a: Pitch, b: Pitch) -> bool {
    (a.midi() - b.midi()) % 12 == 0
}

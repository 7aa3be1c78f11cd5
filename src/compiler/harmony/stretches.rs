//! The evidence of a whole piece, laid out stretch by stretch.
//!
//! What is known of a slot takes some hundred bytes, and a source says a beat in five. So slots are
//! laid out for some bars at a time, and again for each who goes through them; what only the whole
//! piece tells of a slot is found once and stays.

use super::evidence::{FULL_TEXTURE, Laid, Slot, Texture, lay_out};
use crate::music::Time;
use crate::narrow::Narrow;
use crate::resolve::Piece;
use smallvec::SmallVec;

/// So many slots take less room than what else is kept of a piece.
const STRETCH: usize = 64;

/// The beats of a piece with what sounds in them.
pub(super) struct Evidence<'p> {
    piece: &'p Piece,
    /// So many slots are laid out at once, or a few more: bars stay whole.
    least: usize,
    stretches: Vec<Stretch>,
    /// Of each slot what other ones tell of it.
    around: Vec<Around>,
    /// How many voices sound together in most of the piece.
    whole: Texture,
}

/// Bars that are laid out together.
struct Stretch {
    /// Index of the first slot.
    first: usize,
    /// Index of the first bar.
    bar: usize,
    /// Of each voice the index of the first note that may sound in it.
    notes: Box<[usize]>,
}

/// What other slots tell of one.
#[derive(Default)]
struct Around {
    /// The height of the bass.
    bass: Option<i16>,
    /// By how many semitones the bass has come here and goes on, as in the slot.
    reached: i8,
    left: i8,
    /// Does the tune rest on a note, or pause after it?
    goal: bool,
}

impl Evidence<'_> {
    /// Goes through a piece once.
    pub(super) fn of(piece: &Piece) -> Evidence<'_> {
        Evidence::by(piece, STRETCH)
    }

    fn by(piece: &Piece, least: usize) -> Evidence<'_> {
        let mut evidence = Evidence {
            piece,
            least,
            stretches: Vec::new(),
            around: Vec::with_capacity(piece.form.bars.len()),
            whole: Texture::Silent,
        };
        let (mut bar, mut notes) = (0, vec![0; piece.voices.len()].into_boxed_slice());
        let (mut sounding, mut heard) = (0.0f32, 0.0f32);
        let mut before = None;
        while bar < piece.form.bars.len() {
            let laid = lay_out(piece, bar, &notes, least);
            evidence.stretches.push(Stretch { first: evidence.around.len(), bar, notes });
            for slot in &laid.slots {
                if slot.texture != Texture::Silent {
                    (sounding, heard) = (sounding + slot.total.min(FULL_TEXTURE), heard + 1.0);
                }
                evidence.hear(slot, before);
                before = slot.top.as_ref().map(|top| top.length);
            }
            Laid { after: bar, notes, .. } = laid;
        }
        evidence.pause(before.is_some());
        if heard > 0.0 {
            evidence.whole = Texture::of(sounding / heard);
        }
        steps_of_bass(&mut evidence.around);
        evidence
    }

    /// Notes what the slots around tell of one, where the tune of the slot before has a note of such
    /// a length. It rests on a note for two slots and more, longer than the note before; or where it
    /// is silent afterwards.
    fn hear(&mut self, slot: &Slot, before: Option<Time>) {
        let goal = slot.top.as_ref().is_some_and(|top| {
            let longer = before.is_none_or(|before| before < top.length);
            top.length >= slot.length * 2 && !top.held && longer
        });
        if slot.top.is_none() {
            self.pause(before.is_some());
        }
        let bass = slot.bass.as_ref().map(|bass| bass.height.narrow::<i16>());
        self.around.push(Around { bass, goal, ..Around::default() });
    }

    /// The tune is silent after the last slot.
    fn pause(&mut self, sounds: bool) {
        if let Some(last) = self.around.last_mut() {
            last.goal |= sounds;
        }
    }

    /// Does nothing sound?
    pub(super) fn is_silent(&self) -> bool {
        self.whole == Texture::Silent
    }

    /// How many slots there are.
    pub(super) fn len(&self) -> usize {
        self.around.len()
    }

    /// How many stretches there are.
    pub(super) fn stretches(&self) -> usize {
        self.stretches.len()
    }

    /// The slots of a stretch, and the index of the first of them.
    pub(super) fn stretch(&self, stretch: usize) -> (usize, Vec<Slot>) {
        let Stretch { first, bar, notes } = &self.stretches[stretch];
        let mut slots = lay_out(self.piece, *bar, notes, self.least).slots;
        for (slot, around) in slots.iter_mut().zip(&self.around[*first..]) {
            slot.goal = around.goal;
            if let Some(bass) = &mut slot.bass {
                (bass.reached, bass.left) = (around.reached, around.left);
            }
            // A voice alone for a while says less of its chords than a piece for one voice, which is
            // made so that it says them.
            if slot.texture != self.whole && slot.texture != Texture::Silent {
                slot.texture = Texture::More;
            }
            if slot.texture == Texture::More {
                slot.heard = SmallVec::new();
            }
        }
        (*first, slots)
    }
}

/// Tells each bass how it has come and how it goes on, note by note.
fn steps_of_bass(around: &mut [Around]) {
    fn tell<'s>(
        slots: impl Iterator<Item = &'s mut Around>,
        mut each: impl FnMut(&mut Around, i16),
    ) {
        let (mut now, mut step) = (None, 0);
        for slot in slots {
            let Some(height) = slot.bass else { continue };
            if let Some(other) = now.filter(|other| *other != height) {
                step = height - other;
            }
            now = Some(height);
            each(slot, step);
        }
    }
    tell(around.iter_mut(), |slot, step| slot.reached = step.narrow::<i8>());
    tell(around.iter_mut().rev(), |slot, step| slot.left = (-step).narrow::<i8>());
}

#[cfg(test)]
mod tests {
    use super::super::path::cheapest;
    use super::super::tests::piece;
    use super::*;

    #[test]
    fn a_piece_in_short_stretches_is_heard_as_one_in_long_ones() {
        let bars = |notes: &[&str]| -> String {
            let all = (0..60).map(|bar| format!("{}: {} |\n", bar + 1, notes[bar % notes.len()]));
            all.collect()
        };
        let held = ["1/4 D5 F# A B", "1/2 A 1/4 G =", "1/4 = = F# E", "= = = =", "rest"];
        let bass =
            ["1/2 D3 C#", "1/2. B2 1/4 A", "= G F# E", "1/1 A2", "rest", "1/4 D3 rest C# B2"];
        let voices = [
            format!("voice upper {{\n{}}}", bars(&held)),
            format!("voice lower {{\n{}}}", bars(&bass)),
            format!("voice middle {{\n{}}}", bars(&["1/1 F#4", "1/8 G E G E 1/2 G", "1/1 E"])),
        ];
        for count in 1..=voices.len() {
            let form = "1 metre 4/4, key D major\n60 end";
            let piece = piece(form, &voices[..count].join("\n"));
            let heard = |least: usize| -> Vec<_> {
                let evidence = Evidence::by(&piece, least);
                let beats = cheapest(&evidence);
                beats.iter().map(|beat| (beat.candidate, beat.certainty.to_bits())).collect()
            };
            let whole = heard(1000);
            assert_eq!(whole.len(), 240);
            assert!(whole.windows(2).any(|pair| pair[0] != pair[1]));
            for least in [1, 5, STRETCH] {
                assert_eq!(heard(least), whole, "{count} voices, {least} slots at once");
            }
        }
    }
}

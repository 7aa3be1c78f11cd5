//! Which techniques an instrument has.

use super::{Notes, PackedNote};
use crate::instruments::{Family, Instrument, Loudness};
use crate::resolve::{Mark, Technique};

/// Can the instrument be plucked or bowed, muted, and the like? Bows are for bowed strings; mutes
/// for strings, brass and drums (common practice).
#[must_use]
pub fn has_technique(instrument: &Instrument, technique: Technique) -> bool {
    match technique {
        Technique::Pizzicato | Technique::Arco => bowed(instrument),
        Technique::Muted | Technique::Unmuted => {
            matches!(instrument.family, Family::Strings | Family::Brass | Family::Percussion)
        }
    }
}

/// Does a mark mean anything on the instrument? Bows go up and down on bowed strings, the hand
/// stops horns, harmonics are those of strings and harp, and only who sounds several notes at once
/// can spread a chord (common practice).
#[must_use]
pub fn has_mark(instrument: &Instrument, mark: Mark) -> bool {
    match mark {
        Mark::UpBow | Mark::DownBow => bowed(instrument),
        Mark::Stopped => instrument.loudness == Loudness::Horn,
        Mark::Open => bowed(instrument) || instrument.family == Family::Brass,
        Mark::Harmonic => bowed(instrument) || instrument.family == Family::Harp,
        Mark::Arpeggio => instrument.voices > 1,
        _ => true,
    }
}

/// Leaves out the marks of a voice, which many may play, that mean nothing on the instrument.
pub(super) fn leave_out(notes: &mut Notes, instrument: &Instrument) {
    let means_nothing = |mark: &Mark| !has_mark(instrument, *mark);
    let nothing = |note: &PackedNote| note.attached().marks.iter().any(|mark| means_nothing(&mark));
    let Some(first) = notes.iter().position(nothing) else { return };
    for note in notes[first..].iter_mut().filter(|note| nothing(note)) {
        note.change(|note| {
            while let Some(mark) = note.attached.marks.iter().find(means_nothing) {
                note.attached.marks.remove(mark);
            }
        });
    }
}

fn bowed(instrument: &Instrument) -> bool {
    !instrument.open_strings.is_empty()
}

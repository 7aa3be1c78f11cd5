//! From what is printed to what sounds: how players play their notes.
//!
//! [`notate`](crate::notate) says what stands on paper; [`perform`] says what is heard of it, and
//! [`render::midi`](crate::render::midi) writes that down. Nothing here knows a file format.
//!
//! - Repeats are played out. A note that is held beyond the bar from which the music jumps is cut
//!   there; a note that is held into the bar to which it jumps is struck anew for its rest.
//! - Time is that of the paper: fermatas and words such as "rit." bend the tempo (see `tempo`).
//! - Dots, wedges and breaths shorten a note where they are printed (see `lengths`); an arpeggio is
//!   spread from the lowest note up, beginning on the beat. Trills, turns and mordents are played out (see `ornaments`), and so is tremolo:
//!   program 45 of General MIDI, Tremolo Strings, would tremble within each stroke. Pizzicato has
//!   program 46, a muted trumpet 60; there are no muted strings or horns (see `programs`).
//! - Grace notes sound just before the beat, in the rest before it or at the end of the note before
//!   it; where neither has room (at the very beginning), they take their time from their note.
//! - The movements of a piece follow one another after a pause (see `joined`).
//! - Loudness is the velocity of the notes (see `loudness`); a note held under a hairpin grows or
//!   fades by expression (see `swell`); volume and pan set the players beside each other (see
//!   `seating`).

mod joined;
mod lengths;
mod loudness;
mod notes;
mod ornaments;
mod programs;
pub(crate) mod seating;
mod strokes;
pub(crate) mod swell;
mod syllables;
mod tempo;
mod timeline;

use crate::arrange::Arrangement;
use crate::music::Time;
use crate::notate::Score;

pub use notes::KeyStroke;
pub use tempo::TempoMap;
pub use timeline::{Segment, Timeline};

/// What sounds of an arrangement.
#[derive(Clone, Debug)]
pub struct Performance {
    /// The bars in the order in which they are played.
    pub timeline: Timeline,
    /// How fast they go.
    pub tempos: TempoMap,
    /// What each player sounds, in the order of the parts.
    pub players: Vec<Played>,
}

/// What one player sounds.
#[derive(Clone, Debug)]
pub struct Played {
    /// Keys as they are struck, in order of time; those of one key do not overlap.
    pub strokes: Vec<KeyStroke>,
    /// Changes of sound: played time and program of General MIDI, counted from 0; none for players
    /// of nothing but unpitched percussion.
    pub programs: Vec<(Time, u8)>,
    /// Changes of expression: played time and value, from 1 to 127. The first stands at the
    /// beginning.
    pub swells: Vec<(Time, u8)>,
    /// What is sung: played time, and a syllable with the hyphen or the blank after it.
    pub syllables: Vec<(Time, String)>,
    /// How loud he is beside the others, from 1 to 127.
    pub volume: u8,
    /// Where he sits, from 0 (left) to 127.
    pub pan: u8,
}

/// Plays an arrangement; `notated` is what its players read.
#[must_use]
pub fn perform(arrangement: &Arrangement, notated: &Score) -> Performance {
    let mut performance = stage(arrangement);
    let players = 0..arrangement.parts.len();
    performance.players =
        players.map(|player| played(arrangement, &performance, notated, player)).collect();
    performance
}

/// What all players go by, before anybody has played: order of the bars and tempos.
#[must_use]
pub fn stage(arrangement: &Arrangement) -> Performance {
    if !arrangement.movements.is_empty() {
        return joined::stage(arrangement);
    }
    let timeline = Timeline::new(&arrangement.piece.form);
    Performance { players: Vec::new(), tempos: TempoMap::new(arrangement), timeline }
}

/// What one player sounds; `stage` is that of the arrangement, and `notated` has what he reads.
///
/// # Panics
/// If the arrangement has no such player.
#[must_use]
pub fn played(
    arrangement: &Arrangement,
    stage: &Performance,
    notated: &Score,
    player: usize,
) -> Played {
    if !arrangement.movements.is_empty() {
        return joined::played(arrangement, player);
    }
    let (part, timeline) = (&arrangement.parts[player], &stage.timeline);
    let (form, staff) = (&arrangement.piece.form, notated.staff_of(player));
    let setting = notes::Setting { form, frame: &notated.frame, era: arrangement.era, timeline };
    Played {
        strokes: notes::of_part(setting, part, staff),
        programs: programs::programs(part, timeline),
        swells: swell::swells(part, timeline),
        syllables: syllables::syllables(staff, &notated.frame, timeline),
        volume: seating::volume(part),
        pan: seating::pan(part),
    }
}

//! Who plays the notes of the source voices in a scoring, and which are played by nobody.

use std::sync::Arc;

use smallvec::SmallVec;

use super::{Arrangement, SoundingNote};
use crate::music::Time;
use crate::resolve::{Note, Role, Sound, Verb, Voice};

/// Who plays the notes of one voice.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct VoiceCoverage {
    /// Index of the voice in the piece.
    pub voice: usize,
    /// What it is for: the weightiest role in which this scoring plays it, or any other of the
    /// piece where this one does not; `None` where none plays it.
    pub role: Option<Role>,
    /// Does a line of this scoring, or of one that it keeps, play it?
    pub played: bool,
    /// For each note of the voice who plays it, as indices of parts in score order: those whose
    /// notes come from it, and those who begin a note of the same name with it, in any octave, or
    /// have such a note as a tremolo all the while.
    pub notes: Vec<Players>,
}

/// Players by their indices.
pub type Players = SmallVec<[usize; 2]>;

/// Who plays the voices, voice by voice.
#[must_use]
pub fn coverage(arrangement: &Arrangement) -> Vec<VoiceCoverage> {
    let voices = arrangement.piece.voices.iter().enumerate();
    voices
        .map(|(voice, found)| {
            let (role, played) = role(arrangement, voice);
            let mut notes = vec![Players::new(); found.music.notes.len()];
            fill(arrangement, &found.music.notes, &mut notes);
            VoiceCoverage { voice, role, played, notes }
        })
        .collect()
}

/// The same with what an earlier run found, each with its voice: only what lies between two times
/// may sound otherwise than then, for as many parts.
#[must_use]
pub fn coverage_again(
    arrangement: &Arrangement,
    before: &[(Arc<Voice>, Arc<VoiceCoverage>)],
    window: Option<(Time, Time)>,
) -> Vec<Arc<VoiceCoverage>> {
    let again = |(voice, found): (usize, &Arc<Voice>)| {
        let notes = &found.music.notes;
        let (role, played) = role(arrangement, voice);
        let known = before.get(voice).filter(|(old, _)| Arc::ptr_eq(old, found));
        let Some((_, known)) = known else {
            let mut players = vec![Players::new(); notes.len()];
            fill(arrangement, notes, &mut players);
            return Arc::new(VoiceCoverage { voice, role, played, notes: players });
        };
        let mut known = Arc::clone(known);
        if (known.role, known.played) != (role, played) {
            let known = Arc::make_mut(&mut known);
            (known.role, known.played) = (role, played);
        }
        if let Some((from, to)) = window {
            let first = notes.partition_point(|note| note.start + note.length <= from);
            let after = notes.partition_point(|note| note.start < to).max(first);
            if first < after {
                let players = &mut Arc::make_mut(&mut known).notes[first..after];
                players.iter_mut().for_each(Players::clear);
                fill(arrangement, &notes[first..after], players);
            }
        }
        known
    };
    arrangement.piece.voices.iter().enumerate().map(again).collect()
}

/// Adds to each of some notes of a voice, which follow one another, who plays it.
fn fill(arrangement: &Arrangement, notes: &[Note], players: &mut [Players]) {
    let Some(begins) = notes.first().map(|note| note.start) else { return };
    for (index, part) in arrangement.parts.iter().enumerate() {
        let mut first = part.notes.partition_point(|own| own.end() <= begins);
        for (note, players) in notes.iter().zip(&mut *players) {
            while part.notes.get(first).is_some_and(|own| own.end() <= note.start) {
                first += 1;
            }
            let end = note.start + note.length;
            let mut there = part.notes[first..].iter().take_while(|own| own.start < end);
            if there.any(|own| plays(own, note)) {
                players.push(index);
            }
        }
    }
}

/// Is a note that sounds while one of a voice does that one: does it come from it, or begin with it
/// (or tremble through it) and have its name?
fn plays(own: &SoundingNote, note: &Note) -> bool {
    own.source == note.span
        || ((own.start == note.start || trembles(own, note))
            && match (&own.sound, &note.sound) {
                (Sound::Stroke, Sound::Stroke) => true,
                (Sound::Pitches(own), Sound::Pitches(wanted)) => wanted
                    .iter()
                    .any(|wanted| own.iter().any(|own| (own.midi() - wanted.midi()) % 12 == 0)),
                _ => false,
            })
}

/// Is a note a tremolo that lasts as long as one of a voice, or longer? It is struck anew all the time.
fn trembles(own: &SoundingNote, note: &Note) -> bool {
    own.attached.tremolo > 0 && own.start <= note.start && note.start + note.length <= own.end()
}

/// The weightiest role in which a voice is played, and whether this scoring plays it.
fn role(arrangement: &Arrangement, voice: usize) -> (Option<Role>, bool) {
    let piece = &arrangement.piece;
    let plays = |verb: &Verb| matches!(verb, Verb::Plays { voice: played, .. } | Verb::Realises { voice: played } if *played == voice);
    let own = piece.layers(&arrangement.scoring);
    let own = own.iter().flat_map(|scoring| &scoring.lines).filter(|line| plays(&line.verb));
    // Roles stand in the order of their weight.
    let own = own.map(|line| line.role.unwrap_or(Role::Harmony)).min();
    let all = piece.scorings.iter().flat_map(|scoring| &scoring.lines);
    let all = all.filter(|line| plays(&line.verb)).filter_map(|line| line.role).min();
    (own.or(all), own.is_some())
}

//! Who plays the notes of the source voices in a scoring, and which are played by nobody.

use std::collections::HashMap;

use super::{Arrangement, Part};
use crate::diagnostics::Span;
use crate::resolve::{Note, Role, Sound, Verb};

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
    /// notes come from it, and those who begin a note of the same name with it, in any octave.
    pub notes: Vec<Vec<usize>>,
}

/// Who plays the voices, voice by voice.
#[must_use]
pub fn coverage(arrangement: &Arrangement) -> Vec<VoiceCoverage> {
    let mut by_source: HashMap<Span, Vec<usize>> = HashMap::new();
    for (index, part) in arrangement.parts.iter().enumerate() {
        for note in &part.notes {
            let players = by_source.entry(note.source).or_default();
            if players.last() != Some(&index) {
                players.push(index);
            }
        }
    }
    let voices = arrangement.piece.voices.iter().enumerate();
    voices
        .map(|(voice, found)| {
            let (role, played) = role(arrangement, voice);
            let notes = found
                .music
                .notes
                .iter()
                .map(|note| {
                    let from_it = by_source.get(&note.span).map_or(&[][..], |players| players);
                    let parts = arrangement.parts.iter().enumerate();
                    parts
                        .filter(|(index, part)| sounds(part, note, from_it.contains(index)))
                        .map(|(index, _)| index)
                        .collect()
                })
                .collect();
            VoiceCoverage { voice, role, played, notes }
        })
        .collect()
}

/// Does a part play a note of a voice: one that comes from it and sounds then, or one that begins
/// with it and has its name?
fn sounds(part: &Part, note: &Note, from_it: bool) -> bool {
    let first = part.notes.partition_point(|own| own.end() <= note.start);
    let mut there =
        part.notes[first..].iter().take_while(|own| own.start < note.start + note.length);
    there.any(|own| {
        (from_it && own.source == note.span)
            || (own.start == note.start
                && match (&own.sound, &note.sound) {
                    (Sound::Stroke, Sound::Stroke) => true,
                    (Sound::Pitches(own), Sound::Pitches(wanted)) => wanted
                        .iter()
                        .any(|wanted| own.iter().any(|own| (own.midi() - wanted.midi()) % 12 == 0)),
                    _ => false,
                })
    })
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

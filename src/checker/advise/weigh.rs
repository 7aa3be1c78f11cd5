//! How much each moment of the harmony weighs.

use crate::harmony::harmony_of;
use crate::music::{Chord, Key};
use crate::resolve::Piece;

/// A chord with its share of the piece.
pub(super) struct Weighed {
    pub(super) chord: Chord,
    /// Its share of all weight; the shares of a piece add up to 1.
    pub(super) share: f64,
}

/// How much more a chord counts that is a pillar of the piece: tonic or dominant of its first key.
/// There the brass and the drums must not fail; what lies between, others can have (our heuristic).
const PILLAR: f64 = 2.0;

/// The chords of a piece, each weighed by how long it holds, where in the bar it begins, and
/// whether it is a pillar of the piece.
///
/// `emphasis` is what the weight of a place in the metre (3 the first beat to 0 between the beats)
/// adds to each whole note of duration.
pub(super) fn chords(piece: &Piece, emphasis: f64) -> Vec<Weighed> {
    let home = piece.form.bars.first().map_or(Key::C_MAJOR, |bar| bar.key);
    let mut weighed: Vec<Weighed> = harmony_of(piece)
        .iter()
        .map(|event| {
            let weight = piece.form.weight(event.start);
            let pillar = if is_pillar(&event.chord, home) { PILLAR } else { 1.0 };
            let share = pillar * event.length.to_f64() * (1.0 + emphasis * f64::from(weight));
            Weighed { chord: event.chord, share }
        })
        .collect();
    let sum: f64 = weighed.iter().map(|chord| chord.share).sum();
    if sum > 0.0 {
        weighed.iter_mut().for_each(|chord| chord.share /= sum);
    }
    weighed
}

/// The tonic, or a chord on the fifth degree that leads to it.
fn is_pillar(chord: &Chord, home: Key) -> bool {
    let degree = (chord.root.class() - home.tonic.class()).rem_euclid(12);
    degree == 0 || (degree == 7 && chord.has_class(home.leading_note().class()))
}

/// Share of the harmony that falls to each pitch class.
pub(super) fn classes(chords: &[Weighed]) -> [f64; 12] {
    let mut shares = [0.0; 12];
    for weighed in chords {
        let members = weighed.chord.members();
        for member in &members {
            shares[member.class() as usize] += weighed.share / members.len() as f64;
        }
    }
    shares
}

/// The chords that weigh most, without their basses, each once.
pub(super) fn main_chords(chords: &[Weighed], count: usize) -> Vec<Chord> {
    let mut sums: Vec<(Chord, f64)> = Vec::new();
    for weighed in chords {
        let chord = Chord { bass: None, ..weighed.chord };
        match sums.iter_mut().find(|(known, _)| *known == chord) {
            Some((_, share)) => *share += weighed.share,
            None => sums.push((chord, weighed.share)),
        }
    }
    sums.sort_by(|a, b| b.1.total_cmp(&a.1));
    sums.into_iter().take(count).map(|(chord, _)| chord).collect()
}

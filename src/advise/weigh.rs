//! How much each moment of the harmony weighs.

use crate::harmony::harmony_of;
use crate::music::Chord;
use crate::resolve::Piece;

/// A chord with its share of the piece.
pub(super) struct Weighed {
    pub(super) chord: Chord,
    /// Its share of all weight; the shares of a piece add up to 1.
    pub(super) share: f64,
}

/// The chords of a piece, each weighed by how long it holds and where in the bar it begins.
///
/// `emphasis` is what the weight of a place in the metre (3 the first beat to 0 between the beats)
/// adds to each whole note of duration.
pub(super) fn chords(piece: &Piece, emphasis: f64) -> Vec<Weighed> {
    let mut weighed: Vec<Weighed> = harmony_of(piece)
        .iter()
        .map(|event| {
            let bar = piece.form.bar_at(event.start);
            let weight = bar.metre.weight(event.start - bar.start);
            let share = event.length.to_f64() * (1.0 + emphasis * f64::from(weight));
            Weighed { chord: event.chord, share }
        })
        .collect();
    let sum: f64 = weighed.iter().map(|chord| chord.share).sum();
    if sum > 0.0 {
        weighed.iter_mut().for_each(|chord| chord.share /= sum);
    }
    weighed
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

//! Finds keys in the notes.
//!
//! How long each tone sounds is held against the profile of each key (the method of Carol
//! Krumhansl, Cognitive Foundations of Musical Pitch, 1990, ch. 4, with the profiles of David
//! Temperley, "What's Key for Key?", Music Perception 17, 1999; both from memory). The figure is
//! the correlation of the two: 1 where they agree wholly.

use crate::music::{Key, Mode, PitchName};

const MAJOR: [f64; 12] = [5.0, 2.0, 3.5, 2.0, 4.5, 4.0, 2.0, 4.5, 2.0, 3.5, 1.5, 4.0];
const MINOR: [f64; 12] = [5.0, 2.0, 3.5, 4.5, 2.0, 4.0, 2.0, 4.5, 3.5, 2.0, 1.5, 4.0];

/// How long each of the twelve tones, from C up, sounds in all.
pub(super) type Weights = [f64; 12];

/// How well the tones fit a key: 1 wholly, 0 not at all.
pub(super) fn fit(weights: &Weights, key: Key) -> f64 {
    let profile = match key.mode {
        Mode::Major => &MAJOR,
        Mode::Minor => &MINOR,
    };
    let tonic = key.tonic.class() as usize;
    let of_tone = |tone: usize| profile[(12 + tone - tonic) % 12];
    let mean_weight = weights.iter().sum::<f64>() / 12.0;
    let mean_profile = profile.iter().sum::<f64>() / 12.0;
    let (mut both, mut one, mut two) = (0.0, 0.0, 0.0);
    for (tone, weight) in weights.iter().enumerate() {
        let (w, p) = (weight - mean_weight, of_tone(tone) - mean_profile);
        both += w * p;
        one += w * w;
        two += p * p;
    }
    if one <= 0.0 { 0.0 } else { both / (one * two).sqrt() }
}

/// The key that the tones fit best, with how much better than the next: 0 if others fit as well.
/// `last` is the last note of the bass, which is mostly the tonic (common practice).
pub(super) fn find(weights: &Weights, last: Option<u8>) -> (Key, f64) {
    let mut fits: Vec<(f64, Key)> = Vec::new();
    for fifths in -6..=6 {
        for mode in [Mode::Major, Mode::Minor] {
            let above = if mode == Mode::Minor { 3 } else { 0 };
            let tonic = PitchName::from_fifths(fifths + above);
            let Some(key) = tonic.and_then(|tonic| Key::new(tonic, mode)) else { continue };
            // Six sharps and six flats sound alike; the flats stand for both.
            if fifths == 6 {
                continue;
            }
            let is_last = last.is_some_and(|last| i32::from(last) % 12 == key.tonic.class());
            // Our heuristic: the last bass note weighs as much as a tenth of full agreement.
            fits.push((fit(weights, key) + if is_last { 0.1 } else { 0.0 }, key));
        }
    }
    fits.sort_by(|one, two| two.0.total_cmp(&one.0));
    (fits[0].1, fits[0].0 - fits[1].0)
}

/// Of the two keys of a signature the one that the tones fit better, and by how much.
pub(super) fn mode(weights: &Weights, fifths: i32, last: Option<u8>) -> (Key, f64) {
    let key = |major| super::frame::key_of(fifths, major);
    let value = |key: Key| {
        let is_last = last.is_some_and(|last| i32::from(last) % 12 == key.tonic.class());
        fit(weights, key) + if is_last { 0.1 } else { 0.0 }
    };
    let (major, minor) = (key(true), key(false));
    let better = value(major) - value(minor);
    if better >= 0.0 { (major, better) } else { (minor, -better) }
}

/// How sure a key is, in words, by how much better it fits than the next (our scale).
pub(super) fn how_sure(better: f64) -> &'static str {
    match better {
        b if b >= 0.15 => "sure",
        b if b >= 0.05 => "likely",
        _ => "in doubt",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn weights(tones: &[usize]) -> Weights {
        let mut weights = [0.0; 12];
        tones.iter().for_each(|tone| weights[*tone] += 1.0);
        weights
    }

    #[test]
    fn a_scale_is_in_its_key() {
        let d_major = weights(&[2, 2, 2, 4, 6, 6, 7, 9, 9, 11, 1]);
        assert_eq!(find(&d_major, Some(38)).0.to_string(), "D major");
        let c_minor = weights(&[0, 0, 0, 2, 3, 3, 5, 7, 7, 8, 11]);
        assert_eq!(find(&c_minor, Some(36)).0.to_string(), "C minor");
    }

    #[test]
    fn the_mode_of_a_signature_goes_by_the_notes() {
        let a_minor = weights(&[9, 9, 9, 0, 0, 4, 4, 8, 2, 11]);
        assert_eq!(mode(&a_minor, 0, Some(45)).0.to_string(), "A minor");
        let c_major = weights(&[0, 0, 0, 4, 4, 7, 7, 11, 2, 5]);
        assert_eq!(mode(&c_major, 0, Some(36)).0.to_string(), "C major");
    }

    #[test]
    fn silence_is_in_no_key_for_sure() {
        let (_, better) = find(&[0.0; 12], None);
        assert!(better < 0.05);
        assert_eq!(how_sure(better), "in doubt");
    }
}

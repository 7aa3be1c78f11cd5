//! What is said of an instrument's key: "in D", "in B♭ basso"; of drums: "in D, A".

use crate::arrange::Part;
use crate::music::{Letter, Pitch, PitchName, Time};

/// The key, crook or notes of drums at a time, as it is printed at the head of a part. Nothing is
/// said where there is nothing to choose: an instrument in C, or one that always stands in its
/// octave.
pub(super) fn key_at(part: &Part, time: Time) -> Option<String> {
    if let Some(drums) = drums_at(part, time) {
        let notes: Vec<String> = drums.iter().map(|drum| shown(&drum.name().to_string())).collect();
        return Some(format!("in {}", notes.join(", ")));
    }
    if let Some(tuning) = part.tuning_at(time) {
        return Some(format!("in {}", shown(&tuning.name)));
    }
    let sounds = PitchName::new(Letter::C, 0).transposed(part.transposition_at(time))?;
    let in_c = sounds == PitchName::new(Letter::C, 0);
    (!in_c).then(|| format!("in {}", shown(&sounds.to_string())))
}

/// What is said where the player takes another key, crook or tuning between the beginnings of two
/// bars.
pub(super) fn change_of_key(part: &Part, now: Time, before: Time) -> Option<String> {
    if part.tunings.len() < 2 && part.drums.len() < 2 {
        return None;
    }
    let same_tuning = part.tuning_at(now) == part.tuning_at(before);
    if same_tuning && drums_at(part, now) == drums_at(part, before) {
        return None;
    }
    key_at(part, now)
}

fn drums_at<'a>(part: &'a Part, time: Time) -> Option<&'a [Pitch]> {
    let after = part.drums.partition_point(|(from, _)| *from <= time);
    let drums = match part.drums.get(after.saturating_sub(1)) {
        Some((_, drums)) => drums,
        None => &part.player.drums,
    };
    (!drums.is_empty()).then_some(drums)
}

/// A key's name with the printed flat and sharp.
fn shown(name: &str) -> String {
    let mut characters = name.chars();
    let letter = characters.next().map(String::from).unwrap_or_default();
    let rest = characters.as_str();
    match rest.chars().next() {
        Some('b') => format!("{letter}♭{}", &rest[1..]),
        Some('#') => format!("{letter}♯{}", &rest[1..]),
        _ => name.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn flats_and_sharps_are_printed_as_signs() {
        assert_eq!(shown("Bb basso"), "B♭ basso");
        assert_eq!(shown("F#"), "F♯");
        assert_eq!(shown("D"), "D");
        assert_eq!(shown(""), "");
    }
}

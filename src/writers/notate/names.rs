//! What is said of an instrument's key: "in D", "in B♭ basso"; of drums: "in D, A", "D to C".

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

/// What is said where the player takes another key or crook ("in F") or tunes drums anew ("D to
/// C") between the beginnings of two bars.
pub(super) fn change_of_key(part: &Part, now: Time, before: Time) -> Option<String> {
    if part.tunings.len() < 2 && part.drums.len() < 2 {
        return None;
    }
    // What another instrument stands in is said with its name.
    if !std::ptr::eq(part.instrument_at(now), part.instrument_at(before)) {
        return None;
    }
    let same_tuning = part.tuning_at(now) == part.tuning_at(before);
    let (drums, other) = (drums_at(part, before), drums_at(part, now));
    if same_tuning && drums == other {
        return None;
    }
    if let (Some(drums), Some(other)) = (drums, other) {
        let changes = part.instrument_at(now).retuned(drums, other);
        let words: Vec<String> = changes.into_iter().map(change_of_drum).collect();
        // Where a drum joins or leaves, all notes are told.
        if !words.is_empty() && drums.len() == other.len() {
            return Some(words.join(", "));
        }
    }
    key_at(part, now)
}

/// What the player is told of the other instruments that he takes, in order of time: "take
/// Piccolo" where he has put the one before down, and the name at the first note of the new one
/// (or where it is taken, if he has no more notes). Common practice.
pub(super) fn instruments_taken(part: &Part) -> Vec<Taken> {
    let mut told = Vec::new();
    for pair in part.instruments.windows(2) {
        let [(_, before), (at, taken)] = pair else { continue };
        if std::ptr::eq(*before, *taken) {
            continue;
        }
        let name = match key_at(part, *at).filter(|_| part.tuning_at(*at).is_some()) {
            Some(key) => format!("{} {key}", taken.name),
            None => taken.name.clone(),
        };
        let next = part.notes.partition_point(|note| note.start < *at);
        let free = next.checked_sub(1).map_or(Time::ZERO, |last| part.notes[last].end());
        let enters = part.notes.get(next).map_or(*at, |note| note.start);
        if free < enters {
            told.push(Taken { at: *at, told: free, words: format!("take {name}") });
        }
        told.push(Taken { at: *at, told: enters, words: name });
    }
    told
}

/// What is said of another instrument that a player takes.
pub(super) struct Taken {
    /// From when on he has it.
    pub(super) at: Time,
    /// Where he is told.
    pub(super) told: Time,
    /// What he is told.
    pub(super) words: String,
}

/// "D to C"; with octaves where the name alone would not say it.
fn change_of_drum((from, to): (Pitch, Pitch)) -> String {
    if from.name() == to.name() {
        return format!("{} to {}", shown(&from.to_string()), shown(&to.to_string()));
    }
    format!("{} to {}", shown(&from.name().to_string()), shown(&to.name().to_string()))
}

fn drums_at(part: &Part, time: Time) -> Option<&[Pitch]> {
    let after = part.drums.partition_point(|(from, _)| *from <= time);
    if part.instrument_at(time).drums.is_empty() {
        return None;
    }
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

    #[test]
    fn the_drum_that_changes_is_named() {
        let said =
            |from: &str, to: &str| change_of_drum((from.parse().unwrap(), to.parse().unwrap()));
        assert_eq!(said("D3", "C3"), "D to C");
        assert_eq!(said("Bb2", "A2"), "B♭ to A");
        assert_eq!(said("F2", "F3"), "F2 to F3");
    }

    #[test]
    fn a_part_says_which_drum_to_tune_where_it_is_tuned() {
        let text = "piece \"Ferry\" { composer \"House copyist\" }\n\
            form { 1 metre 4/4, key C major\n 4 end }\n\
            voice tune { 1: 1/1 D3 | 2: rest | 3: rest | 4: 1/1 C3 | }\n\
            ensemble few { era 1810\n timpani tuned G2, D3 }\n\
            scoring few for few {\n timpani plays tune as rhythm\n\
            timpani takes tuned G2, C3 bar 2\n timpani takes tuned G2, C3, F3 bar 4\n}\n";
        let mut sources = crate::diagnostics::Sources::new();
        let root = sources.add("ferry", text);
        let (piece, _) = crate::resolve::resolve(&mut sources, root, &mut crate::resolve::NoFiles);
        let arrangement = crate::arrange::arrange(&piece, &piece.scorings[0]);
        let part = &arrangement.parts[0];
        let bar = |index: usize| piece.form.bars[index].start;
        assert_eq!(key_at(part, Time::ZERO).unwrap(), "in G, D");
        assert_eq!(change_of_key(part, bar(1), bar(0)).unwrap(), "D to C");
        assert_eq!(change_of_key(part, bar(2), bar(1)), None);
        assert_eq!(change_of_key(part, bar(3), bar(2)).unwrap(), "in G, C, F");
    }
}

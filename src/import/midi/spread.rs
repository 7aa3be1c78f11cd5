//! Chords whose notes are struck one after the other from below and held together: arpeggios.

use super::file::Stroke;

/// Brings the notes of spread chords together on the first of them; gives back the number of its
/// chord for each. Notes belong to one where each begins at most a twelfth of a quarter after the
/// one below it, and they are let go as one (our heuristic). The notes stand in order of their
/// beginnings.
pub(super) fn gather(notes: &mut [Stroke], quarter: i64) -> Vec<Option<usize>> {
    let mut of_note = vec![None; notes.len()];
    let (mut first, mut chords) = (0, 0);
    while first < notes.len() {
        let follows = |pair: &[Stroke]| {
            let gap = pair[1].start - pair[0].start;
            (1..=(quarter / 12).max(1)).contains(&gap)
                && pair[1].key > pair[0].key
                && (pair[1].end - pair[0].end).abs() <= quarter / 16
                && pair[0].end - pair[1].start > gap
        };
        let more = notes[first..].windows(2).take_while(|pair| follows(pair)).count();
        // Nothing else may begin together with one of them: then it is something else.
        let alone = |index: usize| {
            let start = notes[index].start;
            let twin = |other: Option<&Stroke>| other.is_some_and(|other| other.start == start);
            !twin(index.checked_sub(1).and_then(|before| notes.get(before)))
                && !twin(notes.get(index + 1))
        };
        if more > 0 && (first..=first + more).all(alone) {
            let start = notes[first].start;
            for index in first..=first + more {
                notes[index].start = start;
                of_note[index] = Some(chords);
            }
            chords += 1;
        }
        first += more + 1;
    }
    of_note
}

#[cfg(test)]
mod tests {
    use super::*;

    fn strokes(notes: &[(i64, i64, u8)]) -> Vec<Stroke> {
        notes.iter().map(|&(start, end, key)| Stroke { start, end, key }).collect()
    }

    #[test]
    fn a_chord_that_is_struck_from_below_is_spread() {
        let mut notes = strokes(&[
            (0, 960, 48),
            (30, 960, 55),
            (60, 960, 64),
            (960, 1920, 50),
            (1000, 1100, 40),
        ]);
        assert_eq!(gather(&mut notes, 480), [Some(0), Some(0), Some(0), None, None]);
        assert_eq!(notes[2].start, 0);
    }

    #[test]
    fn a_run_a_grace_note_and_a_plain_chord_are_not() {
        for notes in [
            [(0, 30, 60), (30, 60, 62), (60, 90, 64)],
            [(0, 30, 60), (30, 960, 62), (960, 1000, 64)],
            [(0, 960, 60), (0, 960, 64), (30, 960, 67)],
            [(0, 960, 67), (30, 960, 64), (60, 960, 60)],
        ] {
            assert_eq!(gather(&mut strokes(&notes), 480), [None; 3], "{notes:?}");
        }
    }
}

//! Parts chords by register where they flow: two players on one staff, a choir in close score.
//!
//! A line that goes in chords of the same number of notes for the most part is as many lines
//! written together (our heuristic: four notes in five). Chords of keyboards stay chords.

use super::score::{Note, Part, PartLine};

/// Parts the flowing chords of a part; gives back how many lines more there are now.
pub(super) fn part(part: &mut Part) -> usize {
    if part.staves > 1 {
        return 0;
    }
    let before = part.lines.len();
    let lines = std::mem::take(&mut part.lines);
    part.lines = lines.into_iter().flat_map(parted).collect();
    part.lines.len() - before
}

fn parted(line: PartLine) -> Vec<PartLine> {
    let count = line.notes.len();
    let size = line.notes.iter().map(|note| note.pitches.len()).max().unwrap_or(0);
    let full = line.notes.iter().filter(|note| note.pitches.len() == size).count();
    let flows = (2..=4).contains(&size) && count >= 8 && full * 5 >= count * 4;
    if !flows {
        return vec![line];
    }
    (0..size).map(|place| one_of(&line, place)).collect()
}

/// The notes of one register, counted from the top. A note alone belongs to the highest.
fn one_of(line: &PartLine, place: usize) -> PartLine {
    let mut map: Vec<Option<usize>> = Vec::with_capacity(line.notes.len());
    let mut notes: Vec<Note> = Vec::new();
    for note in &line.notes {
        let from_top = note.pitches.len().checked_sub(place + 1);
        let pitch = from_top.and_then(|index| note.pitches.get(index));
        map.push(pitch.map(|pitch| {
            notes.push(Note {
                pitches: smallvec::smallvec![*pitch],
                slur_starts: false,
                slur_ends: false,
                graces: note.graces.clone().filter(|_| place == 0),
                ..note.clone()
            });
            notes.len() - 1
        }));
    }
    // A slur needs both its ends.
    let mut open: Option<usize> = None;
    for (index, note) in line.notes.iter().enumerate() {
        if note.slur_ends
            && let (Some(start), Some(end)) = (open.take(), map[index])
            && start < end
        {
            notes[start].slur_starts = true;
            notes[end].slur_ends = true;
        }
        if note.slur_starts {
            open = map[index];
        }
    }
    let mut line = PartLine { notes, ..line.clone() };
    if place > 0 {
        line.directions.retain(|d| !matches!(d.says, super::score::Says::Words(_)));
    }
    line
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::music::{Pitch, Time};

    fn chord(at: i64, pitches: &[&str]) -> Note {
        let mut pitches: super::super::score::Pitches =
            pitches.iter().map(|pitch| pitch.parse::<Pitch>().unwrap()).collect();
        pitches.sort_unstable();
        Note {
            start: Time::QUARTER * at,
            end: Time::QUARTER * (at + 1),
            pitches,
            marks: Default::default(),
            tremolo: 0,
            of_two: None,
            touch: None,
            slur_starts: at == 0,
            slur_ends: at == 1,
            graces: None,
            lyrics: None,
        }
    }

    #[test]
    fn thirds_that_flow_are_two_lines() {
        let mut notes: Vec<Note> = (0..9).map(|at| chord(at, &["C5", "E5"])).collect();
        notes.push(chord(9, &["G5"]));
        let mut of_one = Part { staves: 1, ..Part::default() };
        of_one.lines.push(PartLine { notes, ..PartLine::default() });
        assert_eq!(part(&mut of_one), 1);
        let counts: Vec<usize> = of_one.lines.iter().map(|line| line.notes.len()).collect();
        assert_eq!(counts, [10, 9]);
        assert!(of_one.lines[1].notes[0].slur_starts && of_one.lines[1].notes[1].slur_ends);
    }

    #[test]
    fn chords_here_and_there_stay_chords() {
        let mut notes: Vec<Note> = (0..9).map(|at| chord(at, &["C5"])).collect();
        notes.push(chord(9, &["C5", "G5"]));
        let mut of_one = Part { staves: 1, ..Part::default() };
        of_one.lines.push(PartLine { notes, ..PartLine::default() });
        assert_eq!(part(&mut of_one), 0);
    }
}

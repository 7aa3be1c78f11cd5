//! Lines from the notes of a part.

use super::super::loss::{Losses, NOWHERE};
use super::super::score::{Note, PartLine, Pitches};
use super::contigs::{self, Sounding};
use crate::music::{Pitch, Time};
use crate::resolve::{Mark, Marks};

/// More voices than this are chords, not lines (our heuristic).
const MOST_VOICES: usize = 5;
/// More lines than one part can mean.
const MOST_TOGETHER: usize = 32;

/// The voices of a part, the highest first; `spread` says which notes belong to a chord that is struck
/// from below.
pub(super) fn lines(
    notes: &[(Time, Time, u8)],
    spread: &[Option<usize>],
    pitches: &[Pitch],
    losses: &mut Losses,
) -> Vec<PartLine> {
    let mut single: Vec<(Sounding, Vec<usize>)> = Vec::with_capacity(notes.len());
    for (index, (start, end, key)) in notes.iter().enumerate() {
        let note = Sounding { start: *start, end: *end, key: i32::from(*key) };
        let own = spread[index];
        match single.last_mut() {
            // The notes of a spread chord stay together, and end as one.
            Some((chord, members)) if own.is_some() && spread[members[0]] == own => {
                chord.key = chord.key.max(note.key);
                members.push(index);
            }
            _ => single.push((note, vec![index])),
        }
    }
    let soundings = |units: &[(Sounding, Vec<usize>)]| -> Vec<Sounding> {
        units.iter().map(|(sounding, _)| *sounding).collect()
    };
    let together = soundings(&single);
    let units = chords(single.clone());
    // A hand at a keyboard has now one note, now a few that begin and end as one; voices sound on
    // all the time (our heuristic).
    let is_hand = contigs::together(&soundings(&units)) <= 2 && contigs::fullness(&together) < 0.5;
    let units = match contigs::together(&together) {
        most if most <= MOST_VOICES && !is_hand => single,
        _ => units,
    };
    let of_units = soundings(&units);
    // What is thicker than any part of a score goes where there is room.
    let (voices, count) = match contigs::together(&of_units) {
        most if most <= 4 * MOST_VOICES => contigs::separate(&of_units),
        most => (vec![0; units.len()], most.min(MOST_TOGETHER)),
    };
    let mut lines: Vec<Vec<Note>> = vec![Vec::new(); count.max(1)];
    for ((sounding, members), voice) in units.iter().zip(voices) {
        let mut of_note: Pitches = members.iter().map(|index| pitches[*index]).collect();
        of_note.sort_unstable();
        of_note.dedup();
        let mut marks = Marks::default();
        if members.iter().any(|index| spread[*index].is_some()) {
            marks.insert(Mark::Arpeggio);
        }
        let note = Note { marks, ..Note::plain(sounding.start, sounding.end, of_note) };
        // A voice sounds one note at a time: what still overlaps goes where there is room.
        let fits = |line: &Vec<Note>| line.last().is_none_or(|last| last.end <= note.start);
        let order = std::iter::once(voice).chain(0..lines.len());
        let place = order.into_iter().find(|index| lines.get(*index).is_some_and(fits));
        match place {
            Some(place) => lines[place].push(note),
            None if lines.len() < MOST_TOGETHER => lines.push(vec![note]),
            None => losses.left_out("notes on top of many others", None, NOWHERE),
        }
    }
    // The highest first, as scores have them.
    let mut lines: Vec<PartLine> = lines
        .into_iter()
        .rev()
        .filter(|notes| !notes.is_empty())
        .map(|notes| PartLine { staff: 1, notes, ..PartLine::default() })
        .collect();
    let height = |line: &PartLine| {
        let sum: i64 =
            line.notes.iter().filter_map(|n| n.pitches.first()).map(|p| i64::from(p.midi())).sum();
        std::cmp::Reverse(sum * 100 / line.notes.len().max(1) as i64)
    };
    lines.sort_by_key(height);
    lines
}

/// Notes that begin and end together as one.
fn chords(single: Vec<(Sounding, Vec<usize>)>) -> Vec<(Sounding, Vec<usize>)> {
    let mut units: Vec<(Sounding, Vec<usize>)> = Vec::new();
    let mut sorted = single;
    sorted.sort_by_key(|(note, _)| (note.start, note.end, note.key));
    for (note, members) in sorted {
        match units.last_mut() {
            Some((last, of_last)) if (last.start, last.end) == (note.start, note.end) => {
                last.key = last.key.max(note.key);
                of_last.extend(members);
            }
            _ => units.push((note, members)),
        }
    }
    units.sort_by_key(|(note, _)| (note.start, note.key));
    units
}

//! In which octave and in which clef a cue is read.

use std::ops::Range;

use crate::arrange::Part;
use crate::instruments::Clef;
use crate::music::Time;
use crate::narrow::Narrow;
use crate::notate::{ElementKind, stems};

use crate::edition::StaffBar;

/// What a note counts that the reader's instrument does not have, and that he does not read otherwise, in
/// ledger lines. Our heuristic.
const UNREAD: i32 = 2;

/// By how many octaves up a line is moved, and what reading it so costs, as much as so many ledger lines.
#[derive(Clone, Copy)]
pub(super) struct Register {
    pub(super) octaves: i8,
    pub(super) cost: i32,
}

/// A line is moved so that it needs the fewest ledger lines in a clef, and lies where the player reads, unless it is
/// to stand `as_it_is`. What sounds as it stands is worth a ledger line a note, and two octaves away two (our
/// heuristic).
pub(super) fn register(part: &Part, clef: Clef, at: Time, as_it_is: bool) -> Register {
    let middle = stems::middle_step(clef);
    let uses = &part.instrument_at(at).clefs;
    let reads = uses.iter().map(|clef| clef.low.step()).min()
        ..=uses.iter().map(|clef| clef.high.step()).max();
    let away = |octaves: i8| {
        let tops = part.notes.iter().filter_map(|note| note.sound().pitches().last());
        let steps = tops.map(|pitch| {
            let step = part.written(*pitch, at).step() + 7 * i32::from(octaves);
            let unread = if reads.contains(&Some(step)) { 0 } else { UNREAD };
            // Up to five steps from the middle line need no ledger line.
            unread + ((step - middle).abs() - 5).max(0)
        });
        steps.sum::<i32>()
    };
    let notes = part.notes.len().max(2).narrow::<i32>();
    let lost = |octaves: i8| if octaves == 0 { 0 } else { 1_i32 << octaves.abs() };
    let cost = |octaves: i8| away(octaves) + notes * lost(octaves);
    let choice: &[i8] = if as_it_is { &[0] } else { &[0, 1, -1, 2, -2, 3, -3] };
    let registers = choice.iter().map(|&octaves| Register { octaves, cost: cost(octaves) });
    registers.min_by_key(|register| register.cost).unwrap_or(Register { octaves: 0, cost: 0 })
}

/// The clef that a player needs for his entry, if it changes behind his rest.
pub(super) fn next_clef(bars: &[StaffBar], cue: &Range<usize>) -> Option<Clef> {
    let entry = &bars[cue.end];
    // Who takes another instrument there reads no clef of it before.
    let is_plain = |bar: &StaffBar| bar.clefs.is_empty() && bar.instrument.is_none();
    if entry.instrument.is_some() || !bars[cue.start + 1..cue.end].iter().all(is_plain) {
        return None;
    }
    let elements = entry.voices.iter().flat_map(|voice| voice.elements.iter());
    let notes = elements.filter(|element| matches!(element.kind, ElementKind::Note(_)));
    let first = notes.map(|note| note.at).min()?;
    entry.clefs.first().filter(|(at, _)| *at <= first).map(|(_, clef)| *clef)
}

/// Puts that clef before a cue which begins `at` a time of its first bar.
pub(super) fn change_before(bars: &mut [StaffBar], cue: &Range<usize>, at: Time) {
    let (_, clef) = bars[cue.end].clefs.remove(0);
    let first = &mut bars[cue.start].clefs;
    first.retain(|(time, _)| *time < at);
    first.push((at, clef));
}

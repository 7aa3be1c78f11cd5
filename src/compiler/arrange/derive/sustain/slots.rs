//! The passage cut into slots: a chord within a bar.

use std::cmp::Reverse;
use std::rc::Rc;

use super::Lasting;
use super::breath;
use super::seats::Seat;
use crate::arrange::derive::{Request, chord_index_at};
use crate::music::{Chord, Key, Time};
use crate::narrow::Narrow;
use crate::resolve::{Form, HarmonyEvent};

/// A chord within a bar, and which of the players have it.
pub(super) struct Slot {
    pub(super) start: Time,
    pub(super) end: Time,
    pub(super) chord: Chord,
    pub(super) key: Key,
    /// Index of the chord in the harmony.
    pub(super) event: u32,
    /// For each seat: does its line hold for it here? Slots side by side share it.
    pub(super) active: Rc<Vec<bool>>,
    /// Does it follow on the slot before without a gap?
    pub(super) joined: bool,
    /// Does it hold the last chord of a section?
    pub(super) ends: bool,
}

/// The slots of all bars that any of the lines has.
pub(super) fn slots(requests: &[Request], harmony: &[HarmonyEvent], seats: &[Seat]) -> Vec<Slot> {
    let Some(first) = requests.first() else { return Vec::new() };
    let form = &first.piece.form;
    let mut slots: Vec<Slot> = Vec::new();
    let mut borders: Vec<Time> = requests.iter().flat_map(Request::borders).collect();
    borders.sort_unstable();
    borders.dedup();
    let mut within = borders.iter().copied().peekable();
    let mut pieces: Vec<(usize, Time, Time)> = Vec::with_capacity(form.bars.len());
    for bar in 0..form.bars.len() {
        let (mut from, to) = first.bar_times(bar);
        while let Some(border) = within.next_if(|border| *border < to) {
            pieces.push((bar, from, border));
            from = border;
        }
        pieces.push((bar, from, to));
    }
    for (bar, from, to) in pieces {
        let place = &form.bars[bar];
        let active: Vec<bool> =
            seats.iter().map(|seat| requests[seat.line].claims(seat.player, from)).collect();
        if !active.contains(&true) {
            continue;
        }
        let active = shared(active, &slots);
        let begin = harmony.partition_point(|event| event.start + event.length <= from);
        let events = harmony.iter().enumerate().skip(begin);
        for (event, chord) in events.take_while(|(_, event)| event.start < to) {
            let start = chord.start.max(from);
            slots.push(Slot {
                start,
                end: (chord.start + chord.length).min(to),
                chord: chord.chord,
                key: chord.key,
                event: event.narrow::<u32>(),
                active: Rc::clone(&active),
                // From one ending nobody goes on into the next.
                joined: slots.last().is_some_and(|last| last.end == start)
                    && !(start == place.start && form.is_cut_off(bar)),
                ends: false,
            });
        }
    }
    mark_ends(form, &mut slots);
    slots.shrink_to_fit();
    slots
}

/// Who has a slot, as it is said of the slot before where it is the same.
fn shared(active: Vec<bool>, slots: &[Slot]) -> Rc<Vec<bool>> {
    match slots.last().filter(|last| *last.active == *active) {
        Some(last) => Rc::clone(&last.active),
        None => Rc::new(active),
    }
}

/// Marks the slots of the last chord before a mark, a double bar line, a repeat or the end.
fn mark_ends(form: &Form, slots: &mut [Slot]) {
    let mut last: Option<Chord> = None;
    for at in (0..slots.len()).rev() {
        let next = slots.get(at + 1).map(|next| next.start);
        if next.is_none_or(|next| next != slots[at].end || breath::divides(form, next)) {
            last = Some(slots[at].chord);
        }
        slots[at].ends = last == Some(slots[at].chord);
        last = last.filter(|_| slots[at].ends);
    }
}

/// The slots of the moments of several lines; those without a chord are left out. A line has a part
/// in its own moments.
pub(super) fn at_moments(asked: &[(&Request, Vec<Lasting>)], seats: &[Seat]) -> Vec<Slot> {
    let Some((first, _)) = asked.first() else { return Vec::new() };
    let mut moments: Vec<Lasting> =
        asked.iter().flat_map(|(_, moments)| moments).copied().collect();
    // What lasts longest stands for all that begin together.
    moments.sort_unstable_by_key(|&(start, end, ends)| (start, Reverse((ends, end))));
    moments.dedup_by_key(|(start, ..)| *start);
    let mut slots: Vec<Slot> = Vec::new();
    for (start, end, ends) in moments {
        let Some(event) = chord_index_at(first.harmony, start) else { continue };
        let chord = &first.harmony[event];
        let active = |seat: &Seat| {
            let (request, moments) = &asked[seat.line];
            moments.iter().any(|(at, ..)| *at == start) && request.claims(seat.player, start)
        };
        slots.push(Slot {
            start,
            end,
            chord: chord.chord,
            key: chord.key,
            event: event.narrow::<u32>(),
            active: shared(seats.iter().map(active).collect(), &slots),
            joined: slots.last().is_some_and(|last| last.end == start),
            ends,
        });
    }
    slots
}

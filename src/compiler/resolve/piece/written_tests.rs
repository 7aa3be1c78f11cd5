//! Packed notes are the notes that were packed.

use proptest::prelude::*;

use super::music::*;
use super::pitches::Pitches;
use super::strategies::{attached, pitch};
use super::written::WrittenNotes;
use crate::diagnostics::{FileId, ItemId, Span};
use crate::music::{Pitch, Time};

/// How far behind the end of the one before, how long, and where it stands: mostly as notes do.
fn note() -> impl Strategy<Value = (i64, i64, Note)> {
    let sound = prop_oneof![
        8 => pitch().prop_map(|pitch| Sound::Pitches(pitch.into())),
        2 => proptest::collection::vec(pitch(), 0..7)
            .prop_map(|all| Sound::Pitches(Pitches::from_slice(&all))),
        1 => Just(Sound::Stroke),
    ];
    let attached = prop_oneof![4 => Just(Attached::default()), 1 => attached()];
    let number = || prop_oneof![8 => 0..300_u32, 1 => any::<u32>()];
    let place = (0..3_u32, number(), number(), number(), proptest::bool::weighted(0.05));
    let span = place.prop_map(|(file, item, start, end, over)| {
        let span = Span::within(FileId(file), ItemId(item), start, end);
        if over { Span { last: ItemId(item / 2), ..span } } else { span }
    });
    let gap = prop_oneof![4 => Just(0_i64), 1 => 0..10_000_000_i64];
    let length = prop_oneof![4 => Just(1_i64 << 22), 1 => 0..1_i64 << 40];
    (gap, length, sound, attached, span).prop_map(|(gap, length, sound, attached, span)| {
        let (start, as_long) = (Time::ZERO, Time::of_grains(length));
        (gap, length, Note { start, length: as_long, sound, attached, span })
    })
}

fn notes() -> impl Strategy<Value = Vec<Note>> {
    proptest::collection::vec(note(), 0..300).prop_map(|notes| {
        let mut at = 0;
        let placed = notes.into_iter().map(|(gap, length, note)| {
            let start = Time::of_grains(at + gap);
            at += gap + length;
            Note { start, ..note }
        });
        placed.collect()
    })
}

proptest! {
    #[test]
    fn what_is_packed_comes_back(notes in notes(), index in 0..320_usize, time in 0..300_i64) {
        let packed = WrittenNotes::from(notes.clone());
        prop_assert_eq!(&packed.to_vec(), &notes);
        prop_assert_eq!(packed.len(), notes.len());
        prop_assert_eq!(packed.get(index), notes.get(index).cloned());
        prop_assert_eq!(packed.last(), notes.last().cloned());
        let from = notes.get(index..).unwrap_or_default();
        prop_assert!(packed.starting_with(index).eq(from.iter().cloned()));
        let times = [Time::of_grains(time << 22), packed.get(index).map_or(Time::MAX, |n| n.start)];
        for time in times {
            let begun = notes.partition_point(|note| note.start < time);
            prop_assert_eq!(packed.begun_before(time), begun);
        }
    }
}

#[test]
fn a_note_takes_few_bytes() {
    let note = |at: u32| Note {
        start: Time::EIGHTH * i64::from(at),
        length: Time::EIGHTH,
        sound: Sound::Pitches(Pitch::from_midi(60).into()),
        attached: Attached::default(),
        span: Span::within(FileId(0), ItemId(1 + at / 8), 10 + 3 * (at % 8), 11 + 3 * (at % 8)),
    };
    let packed: WrittenNotes = (0..1000).map(note).collect();
    assert!(packed.bytes() < 6000, "{}", packed.bytes());
}

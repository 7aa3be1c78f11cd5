//! A note that is unpacked is the one that was packed.

use proptest::prelude::*;

use super::SoundingNote;
use super::packed_note::{PackedNote, SoundRef};
use crate::diagnostics::{FileId, ItemId, Span};
use crate::music::Time;
use crate::resolve::strategies::{attached, pitch};
use crate::resolve::{Pitches, Role, Sound};

/// Mostly what fits into so many bits, and what does not.
fn number(bits: u32) -> impl Strategy<Value = u32> {
    prop_oneof![9 => 0..1_u32 << bits, 1 => any::<u32>()]
}

fn note() -> impl Strategy<Value = SoundingNote> {
    let grains = || prop_oneof![8 => 0..1_i64 << 32, 1 => 0..1_i64 << 48, 1 => any::<i64>()];
    let sound = prop_oneof![
        8 => pitch().prop_map(|pitch| Sound::Pitches(pitch.into())),
        1 => proptest::collection::vec(pitch(), 0..7)
            .prop_map(|all| Sound::Pitches(Pitches::from_slice(&all))),
        1 => Just(Sound::Stroke),
    ];
    let span = (number(8), number(24), number(24), number(16), number(8)).prop_map(
        |(file, first, last, start, bytes)| {
            let last = if last % 8 == 0 { last } else { first };
            let (file, first, last) = (FileId(file), ItemId(first), ItemId(last));
            Span { file, first, start, last, end: start.wrapping_add(bytes) }
        },
    );
    let role = (0..Role::WORDS.len()).prop_map(|index| Role::WORDS[index].0);
    (grains(), grains(), sound, attached(), role, any::<bool>(), span).prop_map(
        |(start, length, sound, attached, role, solo, source)| SoundingNote {
            start: Time::of_grains(start),
            length: Time::of_grains(length),
            sound,
            attached,
            role,
            solo,
            source,
        },
    )
}

proptest! {
    #[test]
    fn what_is_packed_comes_back(note in note()) {
        let mut packed = PackedNote::from(note.clone());
        prop_assert_eq!(&packed.unpacked(), &note);
        prop_assert_eq!(packed.start(), note.start);
        prop_assert_eq!(packed.length(), note.length);
        prop_assert_eq!(packed.sound(), SoundRef::from(&note.sound));
        prop_assert_eq!(packed.sound().pitches(), note.sound.pitches());
        prop_assert_eq!(packed.attached().to_owned(), note.attached.clone());
        prop_assert_eq!((packed.role(), packed.solo()), (note.role, note.solo));
        prop_assert_eq!(packed.source(), note.source);
        packed.change(|changed| changed.solo = !changed.solo);
        prop_assert!(packed != PackedNote::from(note.clone()));
        packed.change(|changed| changed.solo = !changed.solo);
        prop_assert_eq!(packed, PackedNote::from(note));
    }
}

//! Pitches and what hangs on notes, made up for property tests.

use proptest::prelude::*;

use super::{Attached, Graces, Mark, Marks, OfTwo};
use crate::music::{Letter, Pitch, Time, Touch};

/// Any pitch; its alteration is mostly one that is written.
pub(crate) fn pitch() -> impl Strategy<Value = Pitch> {
    let alter = prop_oneof![9 => -2..=2_i8, 1 => any::<i8>()];
    (0..7_usize, alter, any::<i8>()).prop_map(|(letter, alter, octave)| Pitch {
        letter: Letter::ALL[letter],
        alter,
        octave,
    })
}

/// What hangs on a note: mostly marks, slurs and strokes, seldom what is seldom.
pub(crate) fn attached() -> impl Strategy<Value = Attached> {
    let graces = (any::<bool>(), pitch()).prop_map(|(crushed, pitch)| {
        Box::new(Graces { crushed, notes: vec![(Time::EIGHTH, pitch.into())] })
    });
    let of_two = prop_oneof![Just(OfTwo::First), Just(OfTwo::Second)];
    let neighbour = pitch().prop_map(|pitch| pitch.name());
    (
        any::<[bool; 4]>(),
        prop_oneof![9 => 0..=4_u8, 1 => any::<u8>()],
        proptest::option::weighted(0.1, of_two),
        proptest::option::weighted(0.1, neighbour),
        proptest::option::weighted(0.1, proptest::sample::select(&Touch::ALL[..])),
        proptest::option::weighted(0.1, graces),
    )
        .prop_map(
            |([trill, open, slur_starts, slur_ends], tremolo, of_two, neighbour, touch, graces)| {
                let mut marks = Marks::NONE;
                [(trill, Mark::Trill), (open, Mark::Arpeggio)]
                    .iter()
                    .filter(|(has, _)| *has)
                    .for_each(|(_, mark)| marks.insert(*mark));
                Attached {
                    marks,
                    tremolo,
                    of_two,
                    slur_starts,
                    slur_ends,
                    neighbour,
                    touch,
                    graces,
                }
            },
        )
}

//! The solver against brute force, and what may never happen in a sustained passage.

use proptest::prelude::*;

use super::cost::{self, MOST, Row};
use super::solve::{Stage, step, way, with_voice};
use crate::arrange::arrange;
use crate::arrange::derive::tests::{
    arranged_piece, chord_symbols, has_note, melody, request, wind,
};
use crate::arrange::derive::texture::Texture;

/// The cheapest way of all, by trying every one.
fn brute_force(passage: &[Stage]) -> u32 {
    fn go(passage: &[Stage], at: usize, before: Option<&Row>, so_far: u32, best: &mut u32) {
        if so_far >= *best {
            return;
        }
        let Some(stage) = passage.get(at) else {
            *best = so_far;
            return;
        };
        for (cost, row) in stage.all_rows() {
            let way = match before {
                Some(before) => step(&passage[at - 1], stage, before, &row, u32::MAX),
                None => Some(0),
            };
            if let Some(way) = way {
                go(passage, at + 1, Some(&row), so_far + cost + way, best);
            }
        }
    }
    let mut best = u32::MAX;
    go(passage, 0, None, 0, &mut best);
    best
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn no_way_is_cheaper_than_the_one_found(
        chords in chord_symbols(1..=4),
        tune in melody(4),
        players in prop::sample::select(vec!["oboe 2", "horn 2 crook F", "trumpet 2 crook D", "viola", "alto-trombone, bass-trombone"]),
    ) {
        let piece = arranged_piece(&chords, &tune, 1810, players, "sustains");
        let arrangement = arrange(&piece, &piece.scorings[0]);
        let request = request(&piece, &arrangement);
        let passage = super::stages_of(&request);
        prop_assert_eq!(way(&passage).0, brute_force(&passage));
    }

    #[test]
    fn a_sustained_passage_has_no_faults(
        chords in chord_symbols(1..=24),
        tune in melody(24),
        (players, era) in wind(),
    ) {
        let piece = arranged_piece(&chords, &tune, era, players, "sustains");
        let arrangement = arrange(&piece, &piece.scorings[0]);
        let parts: Vec<_> = arrangement.parts.iter().filter(|p| !p.player.section).collect();
        let at = |part: usize, bar: usize| -> Option<i16> {
            let start = piece.form.bars[bar].start;
            let notes = &parts[part].notes;
            let note = notes.iter().find(|note| note.start <= start && note.end() > start)?;
            Some(note.sound.pitches()[0].midi() as i16)
        };
        for part in &parts {
            for note in &part.notes {
                prop_assert!(has_note(part, era, note.start, note.sound.pitches()[0]));
            }
        }
        let texture = Texture::new(&piece);
        for bar in 0..chords.len() {
            let row: Vec<(usize, i16)> =
                (0..parts.len()).filter_map(|p| Some((p, at(p, bar)?))).collect();
            let chord = piece.harmony[bar].chord;
            let leading = cost::leading_class(&chord, piece.form.bars[bar].key);
            let seventh = chord.quality.intervals().iter().position(|(steps, _)| *steps == 6);
            let seventh = seventh.map(|index| chord.members()[index + 1].class());
            for class in [leading, seventh].into_iter().flatten() {
                let mut heights: Vec<i16> = row
                    .iter()
                    .map(|(_, note)| *note)
                    .filter(|note| i32::from(note.rem_euclid(12)) == class)
                    .collect();
                // Those beyond the fourth share a leader's note.
                if parts.len() > MOST {
                    heights.dedup();
                }
                let count = heights.len();
                prop_assert!(count <= 1, "{class} is doubled in bar {}", bar + 1);
            }
            if bar == 0 {
                continue;
            }
            let outer = |bar: usize| {
                let start = piece.form.bars[bar].start;
                texture.outer(start).map(|o| (o.low.midi() as i16, o.high.midi() as i16))
            };
            for &(player, now) in &row {
                let Some(before) = at(player, bar - 1) else { continue };
                for &(other, other_now) in &row {
                    let Some(other_before) = at(other, bar - 1) else { continue };
                    prop_assert!(
                        other == player || !cost::parallel((before, now), (other_before, other_now)),
                        "parallels into bar {}", bar + 1
                    );
                }
                if let (Some(first), Some(then)) = (outer(bar - 1), outer(bar)) {
                    prop_assert!(!with_voice((before, now), (first.0, then.0)));
                    prop_assert!(!with_voice((before, now), (first.1, then.1)));
                }
            }
        }
        let again = arrange(&piece, &piece.scorings[0]);
        for (a, b) in arrangement.parts.iter().zip(&again.parts) {
            prop_assert_eq!(&a.notes, &b.notes);
        }
    }
}

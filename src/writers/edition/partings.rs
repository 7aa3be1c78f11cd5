//! Pairs that part: two players who share a staff of a condensed score while the first lies below the
//! second, or one plucks or is muted and the other is not. (Common practice: two staves while that
//! lasts.)

use crate::notate::{Element, ElementKind, Staff, StaffDirectionKind, StaffNote};
use crate::resolve::Technique;

use super::{Alone, Edition, Parting, cast, staves};

/// Adds what a pair looks like by itself, if its players part anywhere.
pub(super) fn add<'a>(
    edition: &mut Edition<'a>,
    pair: [&'a Staff; 2],
    (player, part): (usize, usize),
) {
    let differs = plays_otherwise(pair);
    let parted: Vec<bool> =
        (0..edition.bars.len()).map(|bar| differs[bar] || crosses(pair, bar)).collect();
    if !parted.contains(&true) {
        return;
    }
    let alone = |which: usize| {
        let staff = pair[which];
        let player = player + which;
        Alone {
            name: cast::name(staff),
            short: staff.abbreviation.clone(),
            player,
            staff: staves::own_staff(
                edition,
                &staff.measures,
                (staff.instrument, staff.key_name.as_deref()),
                (player, part),
            ),
        }
    };
    let alone = [alone(0), alone(1)];
    edition.partings.push(Parting { part, parted, alone });
}

/// In which bars do both sound, and pluck or are muted one without the other?
fn plays_otherwise(pair: [&Staff; 2]) -> Vec<bool> {
    let mut ways = [Way::default(); 2];
    let bars = pair[0].measures.iter().zip(&pair[1].measures);
    bars.map(|(first, second)| {
        let mut differs = false;
        let mut told: Vec<_> = [first, second]
            .iter()
            .enumerate()
            .flat_map(|(which, measure)| {
                measure.directions.iter().filter_map(move |said| match said.kind {
                    StaffDirectionKind::Technique(technique) => Some((said.at, which, technique)),
                    _ => None,
                })
            })
            .collect();
        told.sort_by_key(|(at, ..)| *at);
        // What is told to both at one time holds for both before they are compared.
        for at_once in told.chunk_by(|a, b| a.0 == b.0) {
            if at_once[0].0.is_positive() {
                differs |= ways[0] != ways[1];
            }
            at_once.iter().for_each(|(_, which, technique)| ways[*which].take(*technique));
        }
        differs |= ways[0] != ways[1];
        differs && [first, second].iter().all(|measure| notes(&measure.elements).next().is_some())
    })
    .collect()
}

/// How a player plays.
#[derive(Clone, Copy, PartialEq, Eq, Default)]
struct Way {
    plucked: bool,
    muted: bool,
}

impl Way {
    fn take(&mut self, technique: Technique) {
        match technique {
            Technique::Pizzicato => self.plucked = true,
            Technique::Arco => self.plucked = false,
            Technique::Muted => self.muted = true,
            Technique::Unmuted => self.muted = false,
        }
    }
}

/// Does the first lie below the second anywhere in a bar while both sound?
fn crosses(pair: [&Staff; 2], bar: usize) -> bool {
    let [first, second] = pair.map(|staff| &staff.measures[bar].elements[..]);
    let below = |(upper, a): (&Element, &StaffNote)| {
        notes(second).any(|(lower, b)| {
            let meet = upper.at < lower.at + lower.length && lower.at < upper.at + upper.length;
            let lowest = a.heads.iter().map(|head| head.pitch.step()).min();
            let highest = b.heads.iter().map(|head| head.pitch.step()).max();
            meet && lowest.zip(highest).is_some_and(|(lowest, highest)| lowest < highest)
        })
    };
    notes(first).any(below)
}

/// The notes among elements, without grace notes.
fn notes(elements: &[Element]) -> impl Iterator<Item = (&Element, &StaffNote)> {
    elements.iter().filter_map(|element| match &element.kind {
        ElementKind::Note(note) if note.grace.is_none() => Some((element, &**note)),
        _ => None,
    })
}

#[cfg(test)]
mod tests {
    use super::{StaffDirectionKind, Technique};
    use crate::edition::{condensed_score, condenses, full_score};
    use crate::music::Time;
    use crate::notate::testing::{Fixture, oboe};
    use crate::notate::{Origin, Score, StaffDirection};

    fn oboes(first: &str, second: &str) -> Score {
        let mut score = Fixture::new(&["2/4"; 3]).notes(first).part(oboe()).notes(second).score();
        for (staff, number) in score.staves.iter_mut().zip(1..) {
            staff.id = format!("oboe.{number}");
            staff.name = format!("Oboe {number}");
        }
        score
    }

    #[test]
    fn players_who_cross_have_staves_of_their_own_too() {
        let score = oboes(
            "0/1 1/2 E5, 1/2 1/4 D5, 3/4 1/4 G5, 1/1 1/4 C5",
            "0/1 1/2 C5, 1/2 1/4 F5, 3/4 1/4 E5, 5/4 1/4 E5",
        );
        let edition = condensed_score(&score);
        let [parting] = &edition.partings[..] else { panic!("{:?}", edition.partings) };
        assert_eq!(parting.parted, [false, true, false], "one after the other is no crossing");
        let names = [&parting.alone[0].name, &parting.alone[1].name];
        assert_eq!(names, ["Oboe 1", "Oboe 2"]);
        let own = full_score(&score);
        for (alone, staff) in parting.alone.iter().zip(&own.staves) {
            let voices = |bars: &[super::super::StaffBar]| -> Vec<usize> {
                bars.iter().map(|bar| bar.voices[0].elements.len()).collect()
            };
            assert_eq!(voices(&alone.staff.bars), voices(&staff.bars));
        }
    }

    #[test]
    fn players_of_whom_one_plucks_have_staves_of_their_own_while_both_sound() {
        let mut score = oboes("0/1 1/2 E5, 1/2 1/2 D5", "0/1 1/2 C5, 1/2 1/2 C5, 1/1 1/2 C5");
        let kind = StaffDirectionKind::Technique(Technique::Pizzicato);
        let said = StaffDirection { at: Time::ZERO, kind, origin: Origin::default() };
        score.staves[1].measures[1].directions.push(said.clone());
        let parted = |score: &Score| -> Vec<Vec<bool>> {
            condensed_score(score).partings.iter().map(|one| one.parted.clone()).collect()
        };
        assert_eq!(parted(&score), [[false, true, false]]);
        score.staves[0].measures[1].directions.push(said);
        assert!(parted(&score).is_empty(), "both pluck");
    }

    #[test]
    fn players_who_keep_their_order_have_none() {
        let score = oboes("0/1 1/2 E5, 1/2 1/2 E5", "0/1 1/2 C5, 1/2 1/2 E5");
        assert!(condensed_score(&score).partings.is_empty());
        assert!(condenses(&score));
    }
}

//! Pairs that part: two players who share a staff of a condensed score while the first lies below the
//! second, one plucks or is muted and the other is not, no clef suits both, or two voices or the rests of one
//! would stand among ledger lines. (Common practice: two staves while that lasts, and from the bar on in which one of
//! them runs into it.)

use crate::instruments::Clef;
use crate::notate::clefs::ledger_lines;
use crate::notate::{Element, ElementKind, Measure, Staff, StaffDirectionKind, StaffNote, stems};
use crate::resolve::Technique;

use super::divided::Divided;
use super::{Alone, Edition, Kind, Parting, cast, staves};

/// Adds what a pair looks like by itself, if its players part anywhere.
pub(super) fn add<'a>(
    edition: &mut Edition<'a>,
    pair: [&'a Staff; 2],
    (player, part): (usize, usize),
    divided: Option<&Divided>,
) {
    let differs = plays_otherwise(pair);
    let far = lie_far_apart(pair);
    let mut clef = Clef::Treble;
    let parted = (0..edition.bars.len()).map(|bar| {
        let clefs = pair.map(|staff| staff.measures[bar].clefs.iter());
        clef = clefs.into_iter().flatten().next_back().map_or(clef, |(_, clef)| *clef);
        differs[bar] || far[bar] || crosses(pair, bar) || is_thicket(pair, bar, clef)
    });
    let mut parted: Vec<bool> = parted.collect();
    for bar in 1..parted.len() {
        parted[bar - 1] |= parted[bar] && runs_ahead(pair, bar - 1);
    }
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
    let mut alone = [alone(0), alone(1)];
    if let Some(divided) = divided {
        let [upper, lower] = &mut alone;
        let bars = [&mut upper.staff.bars[..], &mut lower.staff.bars[..]];
        divided.say_alone(bars, matches!(edition.kind, Kind::Part(_)));
    }
    edition.partings.push(Parting { part, parted, alone });
}

/// In which bars do both sound, and pluck or are muted one without the other?
pub(super) fn plays_otherwise(pair: [&Staff; 2]) -> Vec<bool> {
    let mut ways = [Playing::default(); 2];
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
struct Playing {
    plucked: bool,
    muted: bool,
}

impl Playing {
    fn take(&mut self, technique: Technique) {
        match technique {
            Technique::Pizzicato => self.plucked = true,
            Technique::Arco => self.plucked = false,
            Technique::Muted => self.muted = true,
            Technique::Unmuted => self.muted = false,
        }
    }
}

/// Does the first lie below the second anywhere in a bar while both sound? The same chord lies nowhere
/// below itself.
fn crosses(pair: [&Staff; 2], bar: usize) -> bool {
    let [first, second] = pair.map(|staff| &staff.measures[bar].elements[..]);
    let below = |(upper, a): (&Element, &StaffNote)| {
        notes(second).any(|(lower, b)| {
            let meet = upper.at < lower.at + lower.length && lower.at < upper.at + upper.length;
            let lowest = a.heads.iter().map(|head| head.pitch.step()).min();
            let highest = b.heads.iter().map(|head| head.pitch.step()).max();
            let same = || a.heads.iter().map(|h| h.pitch).eq(b.heads.iter().map(|h| h.pitch));
            let below = lowest.zip(highest).is_some_and(|(lowest, highest)| lowest < highest);
            meet && below && !same()
        })
    };
    notes(first).any(below)
}

/// So many ledger lines are the most that two bear on one staff beyond those that each would need in a clef of his
/// own. Our heuristic.
const FAR: u32 = 3;

/// In which bars do both sound so far from each other that no clef suits both?
pub(super) fn lie_far_apart(pair: [&Staff; 2]) -> Vec<bool> {
    let mut instrument = pair[0].instrument;
    let bars = pair[0].measures.iter().zip(&pair[1].measures);
    bars.map(|(first, second)| {
        instrument = first.instrument.unwrap_or(instrument);
        let lines = |measure: &Measure, clef: Clef| {
            let heads = notes(&measure.elements).flat_map(|(_, note)| &note.heads);
            heads.map(|head| ledger_lines(head.pitch, clef)).max()
        };
        let clefs = || instrument.clefs.iter().map(|own| own.clef);
        let own = |measure| clefs().filter_map(|clef| lines(measure, clef)).min();
        let (Some(upper), Some(lower)) = (own(first), own(second)) else { return false };
        let both = clefs().filter_map(|clef| Some(lines(first, clef)? + lines(second, clef)?));
        both.min().is_some_and(|both| both > upper + lower + FAR)
    })
    .collect()
}

/// From the middle line to the second ledger line, in steps.
const HIGH: i32 = 8;

/// Do both sound in a bar in different rhythms, among ledger lines? So they do where the notes of the lower
/// one reach two ledger lines above the staff (or those of the upper one two below it): the stems of each
/// would go through the heads of the other. And so they do where those of the upper one need as many and he
/// has rests between them (or the lower one below the staff): the rests would stand among those lines. What
/// has the same rhythm stands on one stem. Our heuristic.
fn is_thicket(pair: [&Staff; 2], bar: usize, clef: Clef) -> bool {
    let middle = stems::middle_step(clef);
    let both = pair.map(|staff| &staff.measures[bar].elements[..]);
    if both.iter().any(|one| notes(one).next().is_none()) {
        return false;
    }
    let rhythm = |one: &[Element]| -> Vec<_> {
        let sounds = |one: &Element| matches!(one.kind, ElementKind::Note(_));
        one.iter().map(|one| (one.at, one.length, sounds(one))).collect()
    };
    let steps = |which: usize, side: i32| {
        let heads = notes(both[which]).flat_map(|(_, note)| &note.heads);
        heads.map(move |head| (head.pitch.step() - middle) * side)
    };
    let rests =
        |which: usize| both[which].iter().any(|one| matches!(one.kind, ElementKind::Rest { .. }));
    let far = |which: usize, side: i32| {
        let inner = 1 - which;
        rests(which) && steps(which, side).all(|step| step >= HIGH)
            || steps(inner, side).any(|step| step >= HIGH)
    };
    (far(0, 1) || far(1, -1)) && rhythm(both[0]) != rhythm(both[1])
}

/// So many notes of one player against a rest of the other make a run. Our heuristic.
const RUN: usize = 3;

/// Do both sound in a bar, and does one of them rest in it while the other runs? On a shared staff that
/// rest would stand among the heads of the run.
fn runs_ahead(pair: [&Staff; 2], bar: usize) -> bool {
    let both = pair.map(|staff| &staff.measures[bar].elements[..]);
    let against = |rest: &Element, other: &[Element]| {
        let within = |at| rest.at <= at && at < rest.at + rest.length;
        notes(other).filter(|(note, _)| within(note.at)).count() >= RUN
    };
    let rests = |which: usize| {
        let all = both[which].iter();
        all.filter(|one| matches!(one.kind, ElementKind::Rest { .. }))
            .any(|rest| against(rest, both[1 - which]))
    };
    both.iter().all(|one| notes(one).next().is_some()) && (rests(0) || rests(1))
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
    use super::{Clef, StaffDirectionKind, Technique};
    use crate::edition::{condensed_score, condenses, full_score};
    use crate::music::Time;
    use crate::notate::testing::{Fixture, cello, oboe};
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
    fn who_runs_into_a_passage_in_which_they_part_has_a_staff_from_that_bar_on() {
        let parted = |first: &str| -> Vec<Vec<bool>> {
            let second = "0/1 1/2 C5, 1/2 1/4 C5, 1/1 1/2 F5";
            let score = oboes(first, second);
            condensed_score(&score).partings.into_iter().map(|one| one.parted).collect()
        };
        let run = "0/1 1/2 C5, 1/2 1/4 C5, 3/4 1/16 D5, 13/16 1/16 E5, 7/8 1/16 F5, 15/16 1/16 G5";
        assert_eq!(parted(&format!("{run}, 1/1 1/2 C5")), [[false, true, true]]);
        assert!(parted(&format!("{run}, 1/1 1/2 F5")).is_empty(), "no passage follows");
        assert_eq!(parted("0/1 1/2 C5, 1/2 1/2 C5, 1/1 1/2 C5"), [[false, false, true]], "no run");
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
        let above = |score: &Score| -> Vec<bool> {
            let told = &condensed_score(score).staves[0].bars[1].directions;
            told.iter().map(|said| said.above).collect()
        };
        assert_eq!(above(&score), [false], "it stands with the notes of the second");
        score.staves[0].measures[1].directions.push(said);
        assert!(parted(&score).is_empty(), "both pluck");
    }

    #[test]
    fn rests_among_ledger_lines_have_a_staff_of_their_own() {
        let parted = |first: &str, second: &str| -> Vec<Vec<bool>> {
            let score = oboes(first, second);
            condensed_score(&score).partings.into_iter().map(|one| one.parted).collect()
        };
        let broken = "0/1 1/8 D6, 1/4 1/8 E6, 1/2 1/8 D5, 3/4 1/8 E5, 1/1 1/2 D6";
        let held = "0/1 1/2 G5, 1/2 1/2 G4, 1/1 1/2 G5";
        assert_eq!(parted(broken, held), [[true, false, false]]);
        // Alone, or in one rhythm, nothing is in the way.
        assert!(parted(broken, "1/2 1/2 G4").is_empty());
        assert!(parted(broken, "0/1 1/8 G5, 1/4 1/8 G5, 1/2 1/8 B4, 3/4 1/8 C5").is_empty());
        let deep = "0/1 1/8 A3, 1/4 1/8 B3, 1/2 1/2 C4";
        assert!(parted("0/1 1/2 G4, 1/2 1/2 G4", deep).is_empty(), "A3 is the second below");
        let deep = deep.replace("A3", "G3").replace("B3", "A3");
        assert_eq!(parted("0/1 1/2 G4, 1/2 1/2 G4", &deep), [[true, false, false]]);
    }

    #[test]
    fn two_rhythms_among_ledger_lines_have_staves_of_their_own() {
        let parted = |first: &str, second: &str| -> Vec<Vec<bool>> {
            let score = oboes(first, second);
            condensed_score(&score).partings.into_iter().map(|one| one.parted).collect()
        };
        let high = "0/1 1/2 E6, 1/2 1/2 G5";
        assert_eq!(parted(high, "0/1 1/4 C6, 1/4 1/4 D6, 1/2 1/2 E5"), [[true, false, false]]);
        assert!(parted(high, "0/1 1/4 B5, 1/4 1/4 A5, 1/2 1/2 E5").is_empty(), "one ledger line");
        assert!(parted(high, "0/1 1/2 C6, 1/2 1/2 E5").is_empty(), "on one stem");
    }

    #[test]
    fn halves_that_no_clef_suits_have_staves_of_their_own() {
        let cellos = |upper: &str, lower: &str| -> Score {
            let fixture = Fixture::new(&["2/4"; 3]).instrument(cello()).notes(upper);
            let mut score = fixture.part(cello()).notes(lower).score();
            for (staff, number) in score.staves.iter_mut().zip(1..) {
                staff.id = format!("cello.{number}");
            }
            score
        };
        let upper = "0/1 1/2 C4, 1/2 1/8 C5, 5/8 1/8 D5, 3/4 1/8 E5, 7/8 1/8 F5, 1/1 1/2 C4";
        let score = cellos(upper, "0/1 1/2 C3, 1/2 1/4 C2, 3/4 1/4 F2, 1/1 1/2 C3");
        let edition = condensed_score(&score);
        let [parting] = &edition.partings[..] else { panic!("{:?}", edition.partings) };
        assert_eq!(parting.parted, [false, true, false]);
        let clefs = |bars: &[super::super::StaffBar]| -> Vec<Clef> {
            bars.iter().flat_map(|bar| &bar.clefs).map(|(_, clef)| *clef).collect()
        };
        assert_eq!(clefs(&edition.staves[0].bars), [Clef::Bass], "the staff of both");
        assert_ne!(clefs(&parting.alone[0].staff.bars), [Clef::Bass]);
        assert_eq!(clefs(&parting.alone[1].staff.bars), [Clef::Bass]);
        let near = cellos(upper, "0/1 1/2 C3, 1/2 1/4 C4, 3/4 1/4 A3, 1/1 1/2 C3");
        assert!(condensed_score(&near).partings.is_empty());
    }

    #[test]
    fn players_who_keep_their_order_have_none() {
        let score = oboes("0/1 1/2 E5, 1/2 1/2 E5", "0/1 1/2 C5, 1/2 1/2 E5");
        assert!(condensed_score(&score).partings.is_empty());
        assert!(condenses(&score));
    }
}

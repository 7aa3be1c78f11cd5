//! What must hold of every staff, whatever the notes.

use crate::narrow::Narrow;
use proptest::prelude::*;

use super::testing::Fixture;
use super::{Beam, Element, ElementKind, FrameBar, Measure, Score};
use crate::music::{Letter, Pitch, Time};
use crate::resolve::Sound;

/// A step of a made-up line.
#[derive(Clone, Debug)]
enum Step {
    Rest(i64),
    /// Sixteenths, diatonic steps above C4, alteration.
    Note(i64, i32, i8),
    /// Ratio, unit as the part of a whole note, and for each unit whether a note begins, sounds
    /// on, or rests.
    Tuplet((u8, u8), i64, Vec<u8>),
}

fn step() -> impl Strategy<Value = Step> {
    prop_oneof![
        1 => (1_i64..24).prop_map(Step::Rest),
        4 => (1_i64..24, -7..14, -1_i8..2).prop_map(|(n, s, a)| Step::Note(n, s, a)),
        1 => (
            prop_oneof![Just((3, 2)), Just((5, 4)), Just((6, 4)), Just((7, 8)), Just((2, 3))],
            prop_oneof![Just(4_i64), Just(8), Just(16)],
            prop::collection::vec(0_u8..3, 8),
        )
            .prop_map(|(ratio, unit, units)| Step::Tuplet(ratio, unit, units)),
    ]
}

fn metres() -> impl Strategy<Value = Vec<&'static str>> {
    let metre = prop::sample::select(vec![
        "4/4", "3/4", "2/4", "6/8", "9/8", "12/8", "5/4", "7/8", "2/2", "3/8", "1/4", "6/4",
    ]);
    prop::collection::vec(metre, 1..12)
}

/// (start, length, pitch) of each note of the line, cut off at the end of the form.
type Notes = Vec<(Time, Time, Pitch)>;

fn line(metres: &[&str], steps: &[Step]) -> (Fixture, Notes) {
    let mut fixture = Fixture::new(metres);
    let end = fixture.form.end();
    let mut notes: Notes = Vec::new();
    let mut at = Time::ZERO;
    for step in steps {
        match step {
            Step::Rest(sixteenths) => at += Time::of(*sixteenths, 16),
            Step::Note(sixteenths, steps, alter) => {
                let length = Time::of(*sixteenths, 16);
                notes.push((at, length, pitch(*steps, *alter)));
                at += length;
            }
            Step::Tuplet((actual, normal), unit, units) => {
                let sounding = Time::of(i64::from(*normal), unit * i64::from(*actual));
                let length = sounding * i64::from(*actual);
                // The source is counted bar by bar, so that no tuplet crosses a bar line.
                let bar = fixture.form.bar_at(at);
                if at + length > bar.start + bar.length {
                    continue;
                }
                fixture = fixture.tuplet_at(at, length, (*actual, *normal));
                let last_end = at + length;
                for (index, kind) in (0..i64::from(*actual)).zip(units) {
                    let start = at + sounding * index;
                    match (kind, notes.last_mut()) {
                        (0, _) => notes.push((start, sounding, pitch(index.narrow::<i32>(), 0))),
                        (1, Some(note)) if note.0 + note.1 == start => note.1 += sounding,
                        _ => {}
                    }
                }
                at = last_end;
            }
        }
    }
    notes.retain(|(start, ..)| *start < end);
    for (start, length, pitch) in &notes {
        fixture = fixture.note(*start, *length, Sound::Pitches((*pitch).into()));
    }
    for (start, length, _) in &mut notes {
        *length = (*length).min(end - *start);
    }
    (fixture, notes)
}

fn pitch(steps: i32, alter: i8) -> Pitch {
    Pitch::new(Letter::from_step(steps), alter, 4 + steps.div_euclid(7).narrow::<i8>())
}

/// The notes of the staff with their ties joined.
fn rebuilt(score: &Score) -> Notes {
    let mut notes = Notes::new();
    let mut tied = false;
    for (measure, bar) in score.staves[0].measures.iter().zip(&score.frame) {
        for element in &measure.elements {
            let ElementKind::Note(note) = &element.kind else {
                assert!(!tied, "a tie leads to a rest");
                continue;
            };
            assert_eq!(note.tie_from, tied);
            tied = note.tie_to;
            match notes.last_mut() {
                Some(last) if note.tie_from => {
                    assert_eq!(last.2, note.heads[0].pitch);
                    last.1 += element.length;
                }
                _ => notes.push((bar.start + element.at, element.length, note.heads[0].pitch)),
            }
        }
    }
    assert!(!tied, "a tie leads beyond the end");
    notes
}

fn is_grace(element: &Element) -> bool {
    matches!(&element.kind, ElementKind::Note(note) if note.grace.is_some())
}

pub(super) fn assert_measures_are_full(measures: &[Measure], frame: &[FrameBar]) {
    for (measure, bar) in measures.iter().zip(frame) {
        let mut at = Time::ZERO;
        for element in &measure.elements {
            assert_eq!(element.at, at);
            at += element.length;
            if matches!(element.kind, ElementKind::BarRest { .. }) || is_grace(element) {
                continue;
            }
            let (actual, normal) = element.tuplet.map_or((1, 1), |t| (t.actual, t.normal));
            let printed = element.value.length().scaled(normal.into(), actual.into());
            assert_eq!(printed, Some(element.length), "the printed value is not the duration");
        }
        assert_eq!(at, bar.length);
    }
}

/// Every beam that begins goes on to its end, and no tuplet lies open.
pub(super) fn assert_groups_are_closed(measures: &[Measure]) {
    for measure in measures {
        let mut open = [false; 8];
        let mut in_tuplet = false;
        // Grace notes have beams of their own.
        for element in measure.elements.iter().filter(|element| !is_grace(element)) {
            assert!(element.beams.len() <= usize::from(element.value.flags()));
            for (beam, open) in element.beams.iter().zip(&mut open) {
                assert_eq!(*open, matches!(beam, Beam::Continues | Beam::Ends));
                *open = matches!(beam, Beam::Begins | Beam::Continues);
            }
            assert!(open[element.beams.len()..].iter().all(|open| !open));
            if let Some(tuplet) = element.tuplet {
                assert_eq!(tuplet.starts, !in_tuplet);
                in_tuplet = !tuplet.ends;
            } else {
                assert!(!in_tuplet);
            }
        }
        assert!(!in_tuplet && open == [false; 8]);
    }
}

proptest! {
    #[test]
    fn measures_are_full_and_ties_rebuild_the_durations(
        metres in metres(),
        steps in prop::collection::vec(step(), 0..24),
    ) {
        let (fixture, notes) = line(&metres, &steps);
        let score = fixture.score();
        assert_measures_are_full(&score.staves[0].measures, &score.frame);
        assert_groups_are_closed(&score.staves[0].measures);
        prop_assert_eq!(rebuilt(&score), notes);
    }
}

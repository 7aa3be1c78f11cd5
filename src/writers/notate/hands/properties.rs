//! What must hold of two staves, whatever the music.

use crate::narrow::Narrow;
use proptest::prelude::*;

use crate::music::{Letter, Pitch, Time};
use crate::notate::properties::{assert_groups_are_closed, assert_measures_are_full};
use crate::notate::testing::{Fixture, harp};
use crate::notate::{ElementKind, FrameBar, Measure, Staff};
use crate::resolve::Sound;

/// A step of made-up music: eighths, and diatonic steps above C4 of the notes that sound (none for
/// a rest); then how many grace notes it has.
type Step = (i64, Vec<i32>, usize);

fn step() -> impl Strategy<Value = Step> {
    let note = prop_oneof![
        4 => (-20_i32..28).prop_map(|step| vec![step]),
        2 => Just(Vec::new()),
        3 => prop::collection::vec(-20_i32..28, 2..8),
        3 => (-14_i32..14, prop::collection::vec(0_i32..9, 2..5))
            .prop_map(|(low, above)| above.iter().map(|step| low + step).collect()),
    ];
    (1_i64..8, note, prop_oneof![4 => Just(0_usize), 1 => 1_usize..4])
}

fn pitch(steps: i32) -> Pitch {
    Pitch::new(Letter::from_step(steps), 0, 4 + steps.div_euclid(7).narrow::<i8>())
}

/// Start, length and pitch of what sounds; grace notes are without length.
type Sounds = Vec<(Time, Time, Pitch)>;

/// Music of these steps, every so manieth step a triplet, with slurs over spans of notes.
fn music(
    metres: &[&str],
    steps: &[Step],
    triplets: usize,
    slurs: &[(usize, usize)],
) -> (Fixture, Sounds, Vec<(usize, usize)>) {
    let mut fixture = Fixture::new(metres).instrument(harp());
    let end = fixture.form.end();
    let mut sounds = Sounds::new();
    let mut at = Time::ZERO;
    let mut count = 0;
    for (index, (eighths, sounding, graces)) in steps.iter().enumerate() {
        let mut pitches: Vec<Pitch> = sounding.iter().copied().map(pitch).collect();
        pitches.sort_unstable();
        pitches.dedup();
        let bar = fixture.form.bar_at(at);
        let triplet = index % triplets == 0 && at + Time::QUARTER <= bar.start + bar.length;
        let (times, length) =
            if triplet { (3, Time::of(1, 12)) } else { (1, Time::of(*eighths, 8)) };
        if triplet {
            fixture = fixture.tuplet_at(at, Time::QUARTER, (3, 2));
        }
        for turn in 0..times {
            if at >= end {
                break;
            }
            // The notes of a triplet leap about.
            let moved = |pitch: &Pitch| pitch.octaves_up([0, 1, -1][turn]);
            let pitches: Vec<Pitch> = pitches.iter().map(moved).collect();
            if !pitches.is_empty() {
                let held = length.min(end - at);
                sounds.extend(pitches.iter().map(|pitch| (at, held, *pitch)));
                fixture =
                    fixture.note(at, length, Sound::Pitches(pitches.iter().copied().collect()));
                let names = vec![("1/16", "D5"); if turn == 0 { *graces } else { 0 }];
                if !names.is_empty() {
                    fixture = fixture.graces(count, &names);
                    sounds.extend(
                        names.iter().map(|(_, name)| (at, Time::ZERO, name.parse().unwrap())),
                    );
                }
                count += 1;
            }
            at += length;
        }
    }
    let mut slurred = Vec::new();
    let mut after = 0;
    for &(skipped, over) in slurs {
        let (first, last) = (after + skipped, after + skipped + over);
        if last < count {
            fixture = fixture.slur(first, last);
            slurred.push((first, last));
            after = last;
        }
    }
    sounds.sort_unstable();
    (fixture, sounds, slurred)
}

/// What a staff sounds, its ties joined.
fn sounds_of(measures: &[Measure], frame: &[FrameBar]) -> Sounds {
    let mut sounds = Sounds::new();
    // How many heads of the note before are tied on.
    let mut tied = 0;
    for (measure, bar) in measures.iter().zip(frame) {
        for element in &measure.elements {
            let ElementKind::Note(note) = &element.kind else {
                assert_eq!(tied, 0, "a tie leads to a rest");
                continue;
            };
            if note.grace.is_some() {
                assert_eq!(tied, 0);
            }
            assert_eq!(note.tie_from, tied > 0);
            if note.tie_from {
                assert_eq!(tied, note.heads.len());
                let first = sounds.len() - tied;
                for (sound, head) in sounds[first..].iter_mut().zip(&note.heads) {
                    assert_eq!(sound.2, head.pitch);
                    sound.1 += element.length;
                }
            } else {
                let start = bar.start + element.at;
                sounds.extend(note.heads.iter().map(|head| (start, element.length, head.pitch)));
            }
            tied = if note.tie_to { note.heads.len() } else { 0 };
        }
    }
    assert_eq!(tied, 0, "a tie leads beyond the end");
    sounds
}

/// Where slurs over both staves of a player begin and end.
fn slurs_across(staff: &Staff, frame: &[FrameBar]) -> Vec<(Time, Time)> {
    let mut ends = Vec::new();
    for measures in [&staff.measures, &staff.lower] {
        for (measure, bar) in measures.iter().zip(frame) {
            for element in &measure.elements {
                let at = bar.start + element.at;
                let ElementKind::Note(note) = &element.kind else { continue };
                ends.extend(note.slur_arrives.then(|| (at + element.length, false, at)));
                ends.extend(note.slur_leaves.then_some((at + element.length, true, at)));
            }
        }
    }
    ends.sort_unstable();
    let pairs = ends.chunks(2).map(|pair| match pair {
        [(_, true, from), (to, false, _)] => (*from, *to),
        _ => panic!("half a slur: {ends:?}"),
    });
    pairs.collect()
}

/// Where slurs begin and end on a staff.
fn slurs_of(measures: &[Measure], frame: &[FrameBar]) -> Vec<(Time, Time)> {
    let mut slurs = Vec::new();
    let mut open = None;
    for (measure, bar) in measures.iter().zip(frame) {
        for element in &measure.elements {
            let at = bar.start + element.at;
            let ElementKind::Note(note) = &element.kind else { continue };
            if note.slur_ends {
                slurs.push((open.take().expect("a slur that has begun"), at + element.length));
            }
            if note.slur_starts {
                assert_eq!(open.replace(at), None, "a slur within a slur");
            }
        }
    }
    assert_eq!(open, None, "a slur without an end");
    slurs
}

/// Single notes that follow each other nearer than an octave, the later one not on a beat, stand on one
/// staff.
fn assert_runs_keep_their_hand(wanted: &Sounds, staff: &Staff, frame: &[FrameBar]) {
    let struck: Sounds =
        wanted.iter().filter(|(_, length, _)| length.is_positive()).copied().collect();
    let chords: Vec<&[(Time, Time, Pitch)]> = struck.chunk_by(|a, b| a.0 == b.0).collect();
    let upper = sounds_of(&staff.measures, frame);
    for pair in chords.windows(2) {
        let ([before], [after]) = (pair[0], pair[1]) else { continue };
        let bar = &frame[frame.partition_point(|bar| bar.start <= after.0) - 1];
        let off_beat = (after.0 - bar.start) % bar.metre.beat() != Time::ZERO;
        let near = (before.2.midi() - after.2.midi()).abs() < 12;
        if off_beat && near && before.0 + before.1 == after.0 {
            assert_eq!(upper.contains(before), upper.contains(after), "{before:?}, {after:?}");
        }
    }
}

proptest! {
    #[test]
    fn two_staves_together_sound_what_the_player_sounds(
        metres in prop::collection::vec(
            prop::sample::select(vec!["4/4", "3/4", "6/8", "5/4", "2/2", "7/8"]), 1..8),
        steps in prop::collection::vec(step(), 0..32),
        triplets in 2_usize..9,
        slurs in prop::collection::vec((0_usize..4, 1_usize..6), 0..6),
    ) {
        let (fixture, wanted, slurred) = music(&metres, &steps, triplets, &slurs);
        let notes: Vec<(Time, Time)> =
            fixture.players[0].notes.iter().map(|note| (note.start, note.end())).collect();
        let score = fixture.score();
        let staff = &score.staves[0];
        assert_runs_keep_their_hand(&wanted, staff, &score.frame);
        let mut heard = Sounds::new();
        let mut slurs = Vec::new();
        for measures in [&staff.measures, &staff.lower] {
            prop_assert_eq!(measures.len(), score.frame.len());
            assert_measures_are_full(measures, &score.frame);
            assert_groups_are_closed(measures);
            heard.extend(sounds_of(measures, &score.frame));
            slurs.extend(slurs_of(measures, &score.frame));
        }
        slurs.extend(slurs_across(staff, &score.frame));
        heard.sort_unstable();
        prop_assert_eq!(heard, wanted);
        // A slur may begin on the last piece of a tied note on which another ends.
        let end = score.frame.last().map_or(Time::ZERO, |bar| bar.start + bar.length);
        for (first, last) in slurred {
            let from = notes[first].0..notes[first].1;
            let to = notes[last].1.min(end);
            prop_assert!(
                slurs.iter().any(|slur| from.contains(&slur.0) && slur.1 == to),
                "the slur from {first} to {last} is nowhere"
            );
        }
    }
}

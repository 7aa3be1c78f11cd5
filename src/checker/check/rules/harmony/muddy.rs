//! A low interval that turns to mud.
//!
//! # What it finds
//! Neighbouring notes that sound together for two fifths of a second or more, closer than the
//! table of low interval limits allows at that depth: a third below about C3, a second below
//! about E3, a fourth below A2, a sixth below F2. A bass that goes down to the fifth of its chord under a
//! root that is held meanwhile or struck with it, as in a dance, is left alone (our heuristic).
//!
//! # Why it matters
//! Low down the overtones of both notes rub against each other: one hears a growl instead of a
//! chord.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! voice low { 1: 1/1 C3 | 2: F2 | 3: C3 | 4: C3 | }
//! voice mid { 1: 1/1 C4 | 2: A2 | 3: C4 | 4: C4 | }
//! ensemble few { era 1885
//!   viola 4 players, cello 4 players, double-bass 2 players }
//! scoring few for few {
//!   cello plays mid as harmony
//!   double-bass plays low as bass
//!   viola rests
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! voice low { 1: 1/1 C3 | 2: F2 | 3: C3 | 4: C3 | }
//! voice mid { 1: 1/1 C4 | 2: C3 | 3: C4 | 4: C4 | }
//! ensemble few { era 1885
//!   viola 4 players, cello 4 players, double-bass 2 players }
//! scoring few for few {
//!   cello plays mid as harmony
//!   double-bass plays low as bass
//!   viola rests
//! }
//! ```
//!
//! # Source
//! Low interval limits as arrangers' tables print them, from memory; that minor thirds blur below
//! C3: Film Music Theory, after Lowell and Pullig, Arranging for Large Jazz Ensemble. Where two
//! tables differ, the lower figure is used here. The limits are not walls.

use crate::arrange::PackedNote;
use crate::check::context::Context;
use crate::check::slices::Sounding;
use crate::check::{Cause, Findings, Grounds, Rule, Scope, sharing};
use crate::diagnostics::Severity;
use crate::music::Pitch;
use crate::resolve::{HarmonyEvent, Role};

pub const RULE: Rule = Rule {
    code: "harmony/muddy",
    severity: Severity::Advice,
    scope: Scope::Moment(check),
    grounds: Grounds::Together,
    absence: false,
    cause: Cause::Source,
    text: include_str!("muddy.rs"),
};

/// Seconds up to which a note of a solo only passes. Our heuristic.
const PASSES: f64 = 1.0;

/// Lowest key number of the lower note at which an interval of 1 to 11 semitones is still clear.
const LOWEST: [i32; 11] = [
    52, // minor second E3
    51, // major second Eb3
    48, // minor third C3
    46, // major third Bb2 (B2 in the other table)
    45, // fourth A2 (Bb2)
    35, // tritone B1
    34, // fifth Bb1 (C#2)
    41, // minor sixth F2
    41, // major sixth F2
    41, // minor seventh F2
    41, // major seventh F2
];

/// Semitones of the interval, the pitch that can give way, the other note with its player.
type Mud = (i32, Pitch, (Pitch, Sounding));

fn check(cx: &Context, findings: &mut Findings) {
    let parts = &cx.arrangement.parts;
    let mut low: Vec<(Pitch, Sounding)> = Vec::new();
    let moments = cx.moments(&RULE, |slice, found: &mut Vec<((Sounding, i32, i32), Mud)>| {
        low.clear();
        for sounding in slice.sounding.iter().filter(|s| super::counts(cx, **s)) {
            let pitches = sounding.of(parts).sound().pitches().iter();
            low.extend(pitches.filter(|p| p.midi() < 64).map(|p| (*p, *sounding)));
        }
        if low.len() < 2 {
            return;
        }
        low.sort_by_key(|(pitch, _)| pitch.midi());
        let same: Vec<&[(Pitch, Sounding)]> =
            low.chunk_by(|(one, _), (two, _)| one.midi() == two.midi()).collect();
        for pair in same.windows(2) {
            let ((under, _), (over, _)) = (pair[0][0], pair[1][0]);
            let semitones = over.midi() - under.midi();
            if !(1..=11).contains(&semitones) || under.midi() >= LOWEST[(semitones - 1) as usize] {
                continue;
            }
            // A double stop is the player's own affair, and a tune that passes over the bass is
            // heard as a tune.
            let own = pair[0].iter().any(|(_, s)| pair[1].iter().any(|(_, t)| s == t));
            let passes = pair.iter().any(|notes| notes.iter().all(|(_, s)| passes(cx, *s)));
            if own || passes || steps_to_the_fifth(cx, pair[0], pair[1]) {
                continue;
            }
            // Whoever does not hold the bass can give way.
            let bass = pair[1].iter().any(|(_, s)| s.of(parts).role() == Role::Bass);
            let (giving, other) = if bass { (pair[0], pair[1][0]) } else { (pair[1], pair[0][0]) };
            for (pitch, sounding) in giving {
                let pair = (*sounding, pitch.midi(), other.0.midi());
                found.push((pair, (semitones, *pitch, other)));
            }
        }
    });
    let offences = super::lasting(cx, moments, cx.limit(&RULE), |(sounding, ..)| *sounding);
    let cause = |_, note: &PackedNote, (_, pitch, (other, by)): &Mud| {
        (sharing::cause(note, *pitch), Some(sharing::cause(by.of(parts), *other)))
    };
    for (passage, others) in sharing::causes(cx, &RULE, offences, cause) {
        let note = passage.first();
        let (semitones, pitch, (other, _)) = *passage.detail();
        let message = format!(
            "{}: {} in {}{} {} a {} with {other}, too close so low down.",
            passage.part.player.name,
            cx.both(passage.part, pitch, note),
            cx.form.place(note.start()),
            passage.and_more(),
            passage.verb("makes", "make"),
            NAMES[(semitones - 1) as usize],
        );
        let finding = cx.finding(&RULE, &passage, message).with_help(
            "Set the note an octave higher, or take the octave or the fifth of the bass.",
        );
        let finding = cx.with_allow_for(finding, &passage);
        findings.push_shared(cx, &passage, others, finding);
    }
}

/// Is it a short note of a solo or a tune?
fn passes(cx: &Context, sounding: Sounding) -> bool {
    let note = sounding.of(&cx.arrangement.parts);
    let (begin, end) = cx.times(sounding.player()).of(sounding.note());
    (note.solo() || note.role() == Role::Melody) && end - begin < PASSES
}

/// Does the bass only go down to the fifth of its chord, after it has begun, under a root that is held
/// meanwhile or struck with it, as in a dance? (Our heuristic.)
fn steps_to_the_fifth(cx: &Context, low: &[(Pitch, Sounding)], high: &[(Pitch, Sounding)]) -> bool {
    let parts = &cx.arrangement.parts;
    let (Some((under, bass)), Some((over, _))) = (low.first(), high.first()) else { return false };
    let start = bass.of(parts).start();
    let stands = |event: &HarmonyEvent| {
        let root = event.chord.root.class();
        over.midi().rem_euclid(12) == root
            && under.midi().rem_euclid(12) == (root + 7) % 12
            && event.start < start
    };
    low.iter().any(|(_, sounding)| sounding.of(parts).role() == Role::Bass)
        && high.iter().all(|(_, held)| held.of(parts).start() <= start)
        && super::event(cx, start).is_some_and(stands)
}

const NAMES: [&str; 11] = [
    "minor second",
    "major second",
    "minor third",
    "major third",
    "fourth",
    "tritone",
    "fifth",
    "minor sixth",
    "major sixth",
    "minor seventh",
    "major seventh",
];

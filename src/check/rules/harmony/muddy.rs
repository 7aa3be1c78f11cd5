//! A low interval that turns to mud.
//!
//! # What it finds
//! Neighbouring notes that sound together for two fifths of a second or more, closer than the
//! table of low interval limits allows at that depth: a third below about C3, a second below
//! about E3, a fourth below A2, a sixth below F2.
//!
//! # Why it matters
//! Low down the overtones of both notes rub against each other: one hears a growl instead of a
//! chord.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 = 96
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
//! # Mended
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 = 96
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
//! Low interval limits as printed in a music retailer's glossary, raised an octave (it calls
//! middle C "C3"); its minor third agrees with Film Music Theory, after Lowell and Pullig,
//! Arranging for Large Jazz Ensemble. Where another arranger's table is lower, the lower figure
//! stands here. The limits are not walls: arranging hand-out, ch. 10.

use crate::check::context::Context;
use crate::check::{Check, Findings, Rule};
use crate::diagnostics::Severity;
use crate::resolve::Role;

pub const RULE: Rule = Rule {
    code: "harmony/muddy",
    severity: Severity::Advice,
    text: include_str!("muddy.rs"),
    check: Check::Scoring(check),
};

/// Seconds from which it counts. Our heuristic.
const LONG: f64 = 0.4;

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

fn check(cx: &Context, findings: &mut Findings) {
    let parts = &cx.arrangement.parts;
    let mut offences: Vec<Vec<(usize, (i32, crate::music::Pitch))>> = vec![Vec::new(); parts.len()];
    let mut low: Vec<(crate::music::Pitch, crate::check::slices::Sounding)> = Vec::new();
    for slice in cx.slices().iter() {
        if cx.seconds_at(slice.end) - cx.seconds_at(slice.start) < LONG {
            continue;
        }
        low.clear();
        for sounding in slice.sounding.iter().filter(|s| super::counts(cx, **s)) {
            let pitches = sounding.of(parts).sound.pitches().iter();
            low.extend(pitches.filter(|p| p.midi() < 64).map(|p| (*p, *sounding)));
        }
        low.sort_by_key(|(pitch, _)| pitch.midi());
        for pair in low.windows(2) {
            let ((under, lower), (over, upper)) = (pair[0], pair[1]);
            let semitones = over.midi() - under.midi();
            if !(1..=11).contains(&semitones) || under.midi() >= LOWEST[(semitones - 1) as usize] {
                continue;
            }
            // Whoever does not hold the bass can give way.
            let giving = if upper.of(parts).role == Role::Bass { lower } else { upper };
            let own = &mut offences[usize::from(giving.player)];
            if own.last().is_none_or(|(last, _)| *last < giving.note as usize) {
                let other = if giving == upper { under } else { over };
                own.push((giving.note as usize, (semitones, other)));
            }
        }
    }
    for (player, offences) in offences.into_iter().enumerate() {
        for passage in cx.passages(&RULE, player, offences) {
            let note = passage.first();
            let (semitones, other) = *passage.detail();
            let message = format!(
                "{}: {} in {}{} {} a {} with {other}, too close so low down.",
                passage.part.player.name,
                super::both_pitches(cx, passage.part, note),
                cx.form.place(note.start),
                passage.and_more(),
                passage.verb("makes", "make"),
                NAMES[(semitones - 1) as usize],
            );
            let finding = cx.finding(&RULE, &passage, message).with_help(
                "Set the note an octave higher, or take the octave or the fifth of the bass.",
            );
            findings.push_line(cx, passage.line, cx.with_allow(finding, passage.line));
        }
    }
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

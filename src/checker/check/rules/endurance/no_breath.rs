//! No place to breathe.
//!
//! # What it finds
//! Wind players who sound on without a rest, a breath mark or a gap after a slur, a detached or a
//! longer note in which a breath can be snatched, for longer than one breath lasts at that dynamic
//! (half as long again where it is a single note). Two
//! players of one pair who play the same notes, and sections, breathe in turn and are exempt.
//!
//! # Why it matters
//! The player breathes anyway, in the middle of the phrase, or runs out of air before the end.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 60
//!   8 end }
//! voice tune { 1: 1/1 D5 | 2: = | 3: = | 4: = | 5: = | 6: = | 7: = | 8: D5 | }
//! ensemble few { era 1770
//!   oboe }
//! scoring few for few {
//!   oboe plays tune as harmony
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 60
//!   8 end }
//! voice tune { 1: 1/1 D5 | 2: = | 3: 3/4 = 1/4 rest | 4: 1/1 D5 | 5: = | 6: 3/4 = 1/4 rest | 7: 1/1 D5 | 8: D5 | }
//! ensemble few { era 1770
//!   oboe }
//! scoring few for few {
//!   oboe plays tune as harmony
//! }
//! ```
//!
//! # Source
//! That woodwind cannot hold very long passages: Rimsky-Korsakov, Principles of Orchestration,
//! tr. Agate, 1922, ch. I, without a number of seconds. The seconds are our heuristic, stated for
//! each instrument in the catalogue; the players know better.

use crate::arrange::PackedNote;
use crate::check::context::{Context, Stretch};
use crate::check::loudness::Degree;
use crate::check::{Cause, Findings, Grounds, Rule, Scope, sharing};
use crate::diagnostics::Severity;
use crate::music::{Letter, Pitch};
use crate::resolve::Mark;

pub const RULE: Rule = Rule {
    code: "endurance/no-breath",
    severity: Severity::Warning,
    scope: Scope::Player(check),
    grounds: Grounds::Loudness,
    absence: false,
    cause: Cause::Line,
    text: include_str!("no_breath.rs"),
};

/// Shortest silence in which one breathes, in seconds. Our heuristic.
const GAP: f64 = 0.15;
/// A note of this many seconds can lend some of its end to a snatched breath. Our heuristic.
const LENDS: f64 = 0.36;

/// The same where a slur ends on the note, or a dot shortens it. Our heuristic.
const LENDS_DETACHED: f64 = 0.25;

/// A single note between two breaths may last so many of them. Our heuristic.
const ONE_NOTE: f64 = 1.5;

/// Notes that follow one another without a breath, from the one at an index on: that behind the last,
/// seconds without a breath, and seconds that one lasts.
type Breathless = (usize, f64, f64);

fn check(cx: &Context, findings: &mut Findings) {
    let mut runs: Vec<Vec<(usize, Breathless)>> = vec![Vec::new(); cx.arrangement.parts.len()];
    let mut stretches = cx.stretches().peekable();
    for (player, part) in cx.parts() {
        let mut own: Vec<Stretch> = Vec::new();
        while let Some(stretch) = stretches.next_if(|stretch| stretch.player == player) {
            own.push(stretch);
        }
        if part.player.count == 1 {
            runs[player] = cx.offences_of_part(&RULE, player, || {
                let mut found = Vec::new();
                own.iter().for_each(|stretch| breathless(cx, stretch, &mut found));
                found
            });
        }
    }
    // Players of one line who have the same notes in octaves are told together.
    let cause = |player: usize, note: &PackedNote, (): &()| {
        let pitch = note.sound().pitches().last().copied().unwrap_or(Pitch::new(Letter::C, 0, 0));
        (sharing::cause(note, pitch), Some((cx.part(player).player.span, 0)))
    };
    // There may be very many notes: each is told by its index alone.
    let notes = |runs: &Vec<(usize, Breathless)>| {
        let mut all =
            Vec::with_capacity(runs.iter().map(|(first, (after, ..))| after - first).sum());
        all.extend(runs.iter().flat_map(|(first, (after, ..))| (*first..*after).map(|n| (n, ()))));
        all
    };
    for (passage, others) in sharing::causes(cx, &RULE, runs.iter().map(notes).collect(), cause) {
        let own = &runs[passage.player];
        let run = own.partition_point(|(first, _)| *first <= passage.offences[0].0);
        let Some((_, (_, seconds, carries))) = run.checked_sub(1).and_then(|run| own.get(run))
        else {
            continue;
        };
        let message = format!(
            "{} has no place to breathe for {seconds:.0} seconds from {} on ({}); one breath lasts about {carries:.0} here.",
            passage.part.player.name,
            cx.form.place(passage.first().start()),
            crate::check::words::bars(&passage.bars),
        );
        let finding = cx.finding(&RULE, &passage, message).with_help(
            "Put in a rest or a breath mark (`[breath]`), end a slur earlier, or let a second player take turns.",
        );
        let finding = cx.with_allow_for(finding, &passage);
        findings.push_shared(cx, &passage, others, finding);
    }
}

/// Finds the notes of a stretch in which nobody could breathe, and how long that lasts.
fn breathless(cx: &Context, stretch: &Stretch, found: &mut Vec<(usize, Breathless)>) {
    let Stretch { player, instrument, .. } = *stretch;
    let Some(breath) = &instrument.breath else { return };
    let times = cx.times(player);
    let mut first = stretch.range().start;
    let mut slurred = false;
    let least = carries(Degree::of(7), breath).min(carries(Degree::of(0), breath));
    let least = least * cx.limit(&RULE) / 100.0;
    for (index, note) in stretch.notes() {
        slurred = (slurred || note.attached().slur_starts) && !note.attached().slur_ends;
        let last = !stretch.goes_on(index + 1);
        let sounds = times.end(index) - times.begin(index);
        let short = note.attached().marks.has(Mark::Staccato)
            || note.attached().marks.has(Mark::Staccatissimo);
        let detached = note.attached().slur_ends || short;
        let lends = if detached { LENDS_DETACHED } else { LENDS };
        let joint = !slurred && sounds >= lends
            || note.attached().marks.has(Mark::Breath)
            || note.attached().marks.has(Mark::Fermata);
        let rest = !last && times.begin(index + 1) - times.end(index) >= GAP;
        if !(last || joint || rest) {
            continue;
        }
        let seconds = times.end(index) - times.begin(first);
        // However loud it is, a breath lasts as long as this.
        if seconds <= least {
            first = index + 1;
            continue;
        }
        let carries = carries(loudness(cx, player, first, index), breath);
        let carries = carries * cx.limit(&RULE) / 100.0;
        // Whoever breathes before and after a single note lets it go a little early.
        let carries_on = if first == index { ONE_NOTE * carries } else { carries };
        if seconds > carries_on && !super::shared(cx, player, first..=index) {
            found.push((first, (index + 1, seconds, carries)));
        }
        first = index + 1;
    }
}

/// How loud the notes from the first to the last are on the whole.
fn loudness(cx: &Context, player: usize, first: usize, last: usize) -> Degree {
    let notes = &cx.part(player).notes[first..=last];
    let degrees = notes.iter().map(|note| (cx.degree(player, note.start()), note.length()));
    Degree::mean(degrees).unwrap_or(Degree::USUAL)
}

/// Seconds that a breath lasts at a degree of loudness, between those of piano and forte.
fn carries(degree: Degree, breath: &crate::instruments::Breath) -> f64 {
    let (at_p, at_f) = (f64::from(breath.at_p), f64::from(breath.at_f));
    let louder = (degree.to_f64() - 2.0) / 3.0;
    (at_p + (at_f - at_p) * louder).max(at_f * 0.85).min(at_p * 1.3)
}

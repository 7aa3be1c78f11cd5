//! Quick wide leaps on an instrument that dislikes them.
//!
//! # What it finds
//! Leaps of an octave or more in a quarter of a second or less on the clarinets, the brass, the
//! contrabassoon and the double bass (our heuristic). Passages that are too fast as a whole are reported
//! as `agility/too-fast`.
//!
//! # Why it matters
//! The clarinet is poor at sudden octave leaps; brass players must find each note with the lip
//! and split the ones they jump to; the left hand of the bass travels nearly the length of an
//! arm.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 120
//!   4 end }
//! voice tune { 1: 1/1 D4 | 2: 1/8 D4 D5 D4 D5 1/2 D4 | 3: 1/1 D4 | 4: D4 | }
//! ensemble few { era 1810
//!   clarinet in Bb }
//! scoring few for few {
//!   clarinet plays tune as harmony
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 120
//!   4 end }
//! voice tune { 1: 1/1 D4 | 2: 1/8 D4 A4 D4 A4 1/2 D4 | 3: 1/1 D4 | 4: D4 | }
//! ensemble few { era 1810
//!   clarinet in Bb }
//! scoring few for few {
//!   clarinet plays tune as harmony
//! }
//! ```
//!
//! # Source
//! Clarinet: Rimsky-Korsakov, Principles of Orchestration, tr. Agate, 1922, ch. I; double bass:
//! Encyclopaedia Britannica, 11th edition, 1911, "Double Bass"; brass: common practice. The
//! figures are our heuristic.

use crate::arrange::Part;
use crate::check::context::{Context, Stretch};
use crate::check::{Cause, Findings, Grounds, Rule, Scope, words};
use crate::diagnostics::Severity;
use crate::music::Interval;

pub const RULE: Rule = Rule {
    code: "agility/leap",
    severity: Severity::Advice,
    scope: Scope::Player(check),
    grounds: Grounds::Notes,
    absence: false,
    cause: Cause::Line,
    text: include_str!("leap.rs"),
};

fn check(cx: &Context, findings: &mut Findings) {
    for stretch in cx.stretches() {
        let Stretch { player, part, instrument, .. } = stretch;
        let Some(leap) = &instrument.sudden_leap else { continue };
        let (wide, sudden) = (i32::from(leap.semitones), f64::from(leap.milliseconds) / 1000.0);
        let sudden = sudden * cx.limit(&RULE) / 100.0;
        let mut offences = cx.offences(&RULE, &stretch, 1, |range| {
            super::steps_within(part, cx.times(player), range)
                .filter(|(index, ..)| stretch.goes_on(*index))
                .filter(|(_, seconds, semitones)| semitones.abs() >= wide && *seconds < sudden)
                .map(|(index, _, semitones)| (index, semitones))
                .collect()
        });
        if offences.is_empty() {
            continue;
        }
        // Where the whole passage is too fast, that is the cause.
        let taxed = super::overtaxed_notes(cx, &stretch);
        offences.retain(|(index, _)| taxed.binary_search(index).is_err());
        for passage in cx.passages(&RULE, player, offences) {
            let note = passage.first();
            let message = format!(
                "{} {} {} {} at speed to {} in {}{}.",
                part.player.name,
                if words::is_plural(&part.player) { "leap" } else { "leaps" },
                interval(part, passage.offences[0].0),
                if *passage.detail() > 0 { "up" } else { "down" },
                note.sound().pitches().last().map_or(String::new(), |p| cx.both(part, *p, note)),
                cx.form.place(note.start()),
                passage.and_more(),
            );
            let finding = cx.finding(&RULE, &passage, message).with_help(
                "Keep the figure within an octave, share it between two players, or give it to flute, oboe, bassoon or violins.",
            );
            findings.push_line(cx, passage.line, cx.with_allow_for(finding, &passage));
        }
    }
}

/// The interval from the note before, in words.
fn interval(part: &Part, index: usize) -> String {
    let top = |index: usize| part.notes.get(index)?.sound().pitches().last().copied();
    let ends = index.checked_sub(1).and_then(top).zip(top(index));
    ends.map_or(String::new(), |(one, two)| {
        let interval = Interval::between(one.min(two), one.max(two));
        let octaves = interval.whole_octaves();
        let several = octaves > 1 && interval == Interval::octaves(octaves);
        if several { interval.to_string() } else { words::a(&interval.to_string()) }
    })
}

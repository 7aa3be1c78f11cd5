//! No rest for the lips.
//!
//! # What it finds
//! Brass players who go on for more than a minute without a rest of three seconds (our
//! heuristic), unless another player of their line plays the same notes.
//!
//! # Why it matters
//! Lips tire, and a tired lip does not recover in a bar. The next high note is the one that will
//! be missed.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 60
//!   20 end }
//! voice tune { 1: 1/4 C5 C5 C5 rest | 2: 1/4 C5 C5 C5 rest | 3: 1/4 C5 C5 C5 rest | 4: 1/4 C5 C5 C5 rest | 5: 1/4 C5 C5 C5 rest | 6: 1/4 C5 C5 C5 rest | 7: 1/4 C5 C5 C5 rest | 8: 1/4 C5 C5 C5 rest | 9: 1/4 C5 C5 C5 rest | 10: 1/4 C5 C5 C5 rest | 11: 1/4 C5 C5 C5 rest | 12: 1/4 C5 C5 C5 rest | 13: 1/4 C5 C5 C5 rest | 14: 1/4 C5 C5 C5 rest | 15: 1/4 C5 C5 C5 rest | 16: 1/4 C5 C5 C5 rest | 17: 1/4 C5 C5 C5 rest | 18: 1/4 C5 C5 C5 rest | 19: 1/4 C5 C5 C5 rest | 20: 1/4 C5 C5 C5 rest | }
//! ensemble few { era 1885
//!   trumpet in C }
//! scoring few for few {
//!   trumpet plays tune as harmony
//! }
//! ```
//!
//! # Mended
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 60
//!   20 end }
//! voice tune { 1: 1/4 C5 C5 C5 rest | 2: rest | 3: 1/4 C5 C5 C5 rest | 4: rest | 5: 1/4 C5 C5 C5 rest | 6: rest | 7: 1/4 C5 C5 C5 rest | 8: rest | 9: 1/4 C5 C5 C5 rest | 10: rest | 11: 1/4 C5 C5 C5 rest | 12: rest | 13: 1/4 C5 C5 C5 rest | 14: rest | 15: 1/4 C5 C5 C5 rest | 16: rest | 17: 1/4 C5 C5 C5 rest | 18: rest | 19: 1/4 C5 C5 C5 rest | 20: rest | }
//! ensemble few { era 1885
//!   trumpet in C }
//! scoring few for few {
//!   trumpet plays tune as harmony
//! }
//! ```
//!
//! # Source
//! That wind need rests: Rimsky-Korsakov, Principles of Orchestration, tr. Agate, 1922, ch. I.
//! The figures are our heuristic; the players know better.

use crate::check::context::Context;
use crate::check::{Check, Findings, Rule};
use crate::diagnostics::Severity;
use crate::instruments::Family;

pub const RULE: Rule = Rule {
    code: "endurance/lips",
    severity: Severity::Warning,
    text: include_str!("lips.rs"),
    check: Check::Scoring(check),
};

/// Seconds of a rest that lets lips recover. Our heuristic.
const REST: f64 = 3.0;
/// Seconds of a stretch without such a rest that are too much. Our heuristic.
const STRETCH: f64 = 60.0;

fn check(cx: &Context, findings: &mut Findings) {
    for (player, part) in cx.parts() {
        if part.first_instrument().family != Family::Brass || part.player.count > 1 {
            continue;
        }
        let times = cx.times(player);
        let mut offences: Vec<(usize, f64)> = Vec::new();
        let mut first = 0;
        for index in 0..times.len() {
            let last = index + 1 == times.len();
            if !last && times[index + 1].0 - times[index].1 < REST {
                continue;
            }
            let seconds = times[index].1 - times[first].0;
            if seconds > STRETCH && !shared(cx, player, first, index) {
                offences.extend((first..=index).map(|note| (note, seconds)));
            }
            first = index + 1;
        }
        for passage in cx.passages(&RULE, player, offences) {
            let message = format!(
                "{} plays for {:.0} seconds without a rest of {REST:.0} seconds, from {} on ({}).",
                part.player.name,
                passage.detail(),
                cx.form.place(passage.first().start),
                crate::check::words::bars(&passage.bars),
            );
            let finding = cx.finding(&RULE, &passage, message).with_help(
                "Let the player rest for two or three bars where the others go on, or share the line between the players of a pair.",
            );
            findings.push_line(cx, passage.line, cx.with_allow_for(finding, &passage));
        }
    }
}

/// Does another player of the line begin the same notes, so that one may drop out?
fn shared(cx: &Context, player: usize, first: usize, last: usize) -> bool {
    let part = cx.part(player);
    cx.parts().any(|(index, other)| {
        index != player
            && other.player.line_name == part.player.line_name
            && part.notes[first..=last].iter().all(|note| {
                let at = other.notes.partition_point(|n| n.start < note.start);
                other.notes.get(at).is_some_and(|n| n.start == note.start && n.sound == note.sound)
            })
    })
}

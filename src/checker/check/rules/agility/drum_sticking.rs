//! The drummer must cross from drum to drum too quickly.
//!
//! # What it finds
//! Three or more changes of drum in a row with less than an eighth of a second for each (our
//! heuristic).
//!
//! # Why it matters
//! Single strokes alternate hands; going back and forth between the drums at that speed crosses
//! the sticks.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 120
//!   4 end }
//! voice tune { 1: 1/32 C3 G2 C3 G2 1/8 C3 1/4 C3 C3 C3 | 2: 1/1 C3 | 3: C3 | 4: C3 | }
//! ensemble few { era 1810
//!   timpani tuned C3, G2 }
//! scoring few for few {
//!   timpani plays tune as rhythm
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 120
//!   4 end }
//! voice tune { 1: 1/32 C3 C3 C3 C3 1/8 C3 1/4 C3 G2 C3 | 2: 1/1 C3 | 3: C3 | 4: C3 | }
//! ensemble few { era 1810
//!   timpani tuned C3, G2 }
//! scoring few for few {
//!   timpani plays tune as rhythm
//! }
//! ```
//!
//! # Source
//! Common practice; the figure is our heuristic.

use crate::check::context::{Context, Stretch};
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::Severity;

pub const RULE: Rule = Rule {
    code: "agility/drum-sticking",
    severity: Severity::Warning,
    scope: Scope::Player(check),
    grounds: Grounds::Notes,
    absence: false,
    cause: Cause::Line,
    text: include_str!("drum_sticking.rs"),
};

fn check(cx: &Context, findings: &mut Findings) {
    for stretch in cx.stretches() {
        let Stretch { player, part, instrument, .. } = stretch;
        if instrument.drums.is_empty() {
            continue;
        }
        let offences = cx.offences_of_stretch(&RULE, &stretch, || back_and_forth(cx, &stretch));
        for passage in cx.passages(&RULE, player, offences) {
            let message = format!(
                "{}: the strokes go back and forth between the drums faster than {:.0} a second at {}{}.",
                part.player.name,
                1.0 / cx.limit(&RULE),
                cx.form.place(passage.first().start()),
                passage.and_more(),
            );
            let finding = cx
                .finding(&RULE, &passage, message)
                .with_help("Keep the quick strokes on one drum, or write a roll: `C3[tremolo]`.");
            findings.push_line(cx, passage.line, cx.with_allow_for(finding, &passage));
        }
    }
}

/// The notes of three and more quick strokes that each go to another drum.
fn back_and_forth(cx: &Context, stretch: &Stretch) -> Vec<(usize, ())> {
    let quick: Vec<usize> = super::steps(stretch.part, cx.times(stretch.player))
        .filter(|(index, ..)| stretch.goes_on(*index))
        .filter(|(_, seconds, semitones)| *semitones != 0 && *seconds < cx.limit(&RULE))
        .map(|(index, ..)| index)
        .collect();
    let neighbours = |index: usize| quick.binary_search(&index).is_ok();
    let offends = |&index: &usize| {
        let before = index > 0 && neighbours(index - 1);
        let before2 = index > 1 && neighbours(index - 2);
        let (after, after2) = (neighbours(index + 1), neighbours(index + 2));
        (before && (before2 || after)) || (after && after2)
    };
    quick.iter().copied().filter(offends).map(|index| (index, ())).collect()
}

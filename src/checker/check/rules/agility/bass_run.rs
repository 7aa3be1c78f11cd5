//! A long quick run for the double basses.
//!
//! # What it finds
//! Twelve or more quick notes in a row, with more than five changes of pitch a second, for double
//! basses (our heuristic). Runs beyond what the instrument can do at all are reported as
//! `agility/too-fast`.
//!
//! # Why it matters
//! The low notes need time to speak, and several basses never move quite together: a run becomes
//! a rumble. The trade gives the basses the first note of each group and leaves the run to the
//! cellos.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 168
//!   4 end }
//! voice tune { 1: 1/8. D3 1/16 E 1/4 F G A | 2: 1/8 D3 E F G A G F E | 3: D3 E F G A G F E | 4: 1/1 D3 | }
//! ensemble few { era 1810
//!   double-bass 3 players }
//! scoring few for few {
//!   double-bass plays tune 8vb as bass
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 168
//!   4 end }
//! voice tune { 1: 1/8. D3 1/16 E 1/4 F G A | 2: 1/4 D3 F A F | 3: D3 F A F | 4: 1/1 D3 | }
//! ensemble few { era 1810
//!   double-bass 3 players }
//! scoring few for few {
//!   double-bass plays tune 8vb as bass
//! }
//! ```
//!
//! # Source
//! Common practice; that the stretches of the fingers are nearly twice the cello's: Encyclopaedia
//! Britannica, 11th edition, 1911, "Double Bass". The figures are our heuristic.

use crate::check::context::{Context, Stretch};
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::Severity;
use crate::instruments::{Agility, BlurredRun};

pub const RULE: Rule = Rule {
    code: "agility/bass-run",
    severity: Severity::Advice,
    scope: Scope::Player(check),
    grounds: Grounds::Notes,
    absence: false,
    cause: Cause::Line,
    text: include_str!("bass_run.rs"),
};

fn check(cx: &Context, findings: &mut Findings) {
    for stretch in cx.stretches() {
        let Stretch { player, part, instrument, .. } = stretch;
        let Some(blurred) = &instrument.blurred_run else { continue };
        let Some(agility) = &instrument.agility else { continue };
        let offences =
            cx.offences_of_stretch(&RULE, &stretch, || blurs(cx, &stretch, blurred, agility));
        for passage in cx.passages(&RULE, player, offences) {
            let message = format!(
                "{} run{} through {} quick notes from {} on ({}): low down this blurs.",
                part.player.name,
                if part.player.section { "" } else { "s" },
                passage.offences.len(),
                cx.form.place(passage.first().start()),
                crate::check::words::bars(&passage.bars),
            );
            let finding = cx.finding(&RULE, &passage, message).with_help(
                "Write the first note of each beat for the basses and leave the run to the cellos or bassoons.",
            );
            findings.push_line(cx, passage.line, cx.with_allow_for(finding, &passage));
        }
    }
}

/// The notes of runs that are too quick so far down.
fn blurs(
    cx: &Context,
    stretch: &Stretch,
    blurred: &BlurredRun,
    agility: &Agility,
) -> Vec<(usize, ())> {
    let Stretch { player, part, .. } = *stretch;
    let quick_from = f64::from(blurred.a_second);
    let mut offences: Vec<(usize, ())> = Vec::new();
    let mut run: Vec<usize> = Vec::new();
    let mut close = |run: &mut Vec<usize>| {
        if run.len() >= usize::from(blurred.notes) {
            offences.extend(run.iter().map(|index| (*index, ())));
        }
        run.clear();
    };
    for (index, seconds, semitones) in
        super::steps(part, cx.times(player)).filter(|(index, ..)| stretch.goes_on(*index))
    {
        let rate = 1.0 / seconds.max(0.001);
        let quick = semitones != 0 && rate > quick_from && rate <= f64::from(agility.stepwise);
        if !quick || run.last().is_some_and(|last| last + 1 != index) {
            close(&mut run);
        }
        if quick {
            if run.is_empty() {
                run.push(index - 1);
            }
            run.push(index);
        }
    }
    close(&mut run);
    offences
}

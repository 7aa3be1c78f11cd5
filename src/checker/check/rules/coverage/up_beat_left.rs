//! A phrase handed over at the bar line, while its up-beat stays behind.
//!
//! # What it finds
//! Bars in which one player or group takes over a tune from another just where a bar begins,
//! although the phrase begins before it: after a rest or a long note the voice has an up-beat of at
//! most a beat, which leads into the bar line, and none of those who take over plays it. Notes that
//! are slurred to the end of the phrase before are no up-beat, and where the new player begins on
//! the very note with which the other ends, the seam is closed.
//!
//! # Why it matters
//! The up-beat belongs to the phrase. Whoever enters on the first beat alone enters in mid-word,
//! and the one before begins a phrase without finishing it.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 3/4, key G major, tempo 1/4 at 90
//!   4 end }
//! voice tune { 1: 1/4 G4 A B | 2: 1/2 D5 1/8 B4 C5 | 3: 1/4 D5 B4 A | 4: 1/2. G4 | }
//! ensemble pair { era 1770
//!   flute, oboe }
//! scoring pair for pair {
//!   flute plays tune bars 1..2 as melody
//!   oboe plays tune bars 3..4 as melody
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 3/4, key G major, tempo 1/4 at 90
//!   4 end }
//! voice tune { 1: 1/4 G4 A B | 2: 1/2 D5 1/8 B4 C5 | 3: 1/4 D5 B4 A | 4: 1/2. G4 | }
//! ensemble pair { era 1770
//!   flute, oboe }
//! scoring pair for pair {
//!   flute plays tune bars 1..2 as melody
//!   oboe plays tune bars 3..4 with up-beat as melody
//! }
//! ```
//!
//! # Source
//! Common practice. What counts as the beginning of a phrase is our heuristic.

use super::handover::{self, Handover};
use crate::arrange::VoiceCoverage;
use crate::check::context::Context;
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::Severity;
use crate::resolve::{BarIndices, Note, up_beat};

pub const RULE: Rule = Rule {
    code: "coverage/up-beat-left",
    severity: Severity::Advice,
    scope: Scope::Scoring(check),
    grounds: Grounds::Whole,
    absence: false,
    cause: Cause::Line,
    text: include_str!("up_beat_left.rs"),
};

fn check(cx: &Context, findings: &mut Findings) {
    for (found, notes) in handover::tunes(cx) {
        voice(cx, findings, found, &notes);
    }
}

fn voice(cx: &Context, findings: &mut Findings, found: &VoiceCoverage, notes: &[Note]) {
    let mut index = 0;
    for (bar, place) in cx.form.bars.iter().enumerate().skip(1) {
        let at = place.start;
        index += notes[index..].iter().take_while(|note| note.start < at).count();
        let Some(note) = notes.get(index).filter(|note| note.start == at) else { continue };
        let beat = cx.form.bars[bar - 1].metre.beat();
        let Some(up) = up_beat(notes, index, beat) else { continue };
        let [old, there] = [index - 1, index].map(|note| handover::players(cx, found, notes, note));
        let to: Vec<u16> = there.iter().copied().filter(|player| !old.contains(player)).collect();
        // Somebody goes over the bar line with the up-beat: the others only join.
        let goes_on = old.iter().any(|player| there.contains(player));
        // Whoever begins on the note on which the other ends takes it out of their hands.
        let joined = notes[index - 1].sound == note.sound;
        if to.is_empty() || old.is_empty() || goes_on || joined {
            continue;
        }
        let handover =
            Handover { found, note, from: &old, to: &to, bars: BarIndices::new(bar - 1, bar + 1) };
        let finding = handover.finding(cx, &RULE, |names| {
            format!(
                "{} at the bar line of bar {}, but its up-beat stays with {}.",
                names.take, place.number, names.from
            )
        });
        if let Some(finding) = finding {
            findings.push(
                finding
                    .with_label(notes[up].span, "the phrase begins here")
                    .with_label(note.span, "taken over here")
                    .with_help(
                        "Let the new line begin with the up-beat, and the one before it end there.",
                    ),
            );
        }
    }
}

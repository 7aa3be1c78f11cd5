//! A phrase handed over at the bar line, while its up-beat stays behind.
//!
//! # What it finds
//! Bars in which one player or group takes over a tune from another just where a bar begins,
//! although the phrase begins before it: after a rest or a long note the voice has an up-beat of at
//! most a beat, which leads into the bar line, and none of those who take over plays it.
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
//! # Mended
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

use crate::arrange::VoiceCoverage;
use crate::check::context::Context;
use crate::check::{Cause, Findings, Grounds, Rule, Scope, words};
use crate::diagnostics::{Diagnostic, Severity};
use crate::resolve::{BarIndices, Role, up_beat};

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
    for found in cx.coverage() {
        if found.role == Some(Role::Melody) && found.played {
            voice(cx, findings, found);
        }
    }
}

fn voice(cx: &Context, findings: &mut Findings, found: &VoiceCoverage) {
    let notes = &cx.piece.voices[found.voice].music.notes;
    for (bar, place) in cx.form.bars.iter().enumerate().skip(1) {
        let at = place.start;
        let index = notes.partition_point(|note| note.start < at);
        let Some(first) = notes.get(index).filter(|note| note.start == at) else { continue };
        let beat = cx.form.bars[bar - 1].metre.beat();
        let Some(up) = up_beat(notes, index, beat) else { continue };
        let new: Vec<usize> = found.notes[index]
            .iter()
            .copied()
            .filter(|player| !found.notes[index - 1].contains(player))
            .collect();
        let old = &found.notes[index - 1];
        // Somebody goes over the bar line with the up-beat: the others only join.
        let goes_on = old.iter().any(|player| found.notes[index].contains(player));
        if new.is_empty() || old.is_empty() || goes_on {
            continue;
        }
        let told = BarIndices::new(bar - 1, bar + 1);
        if cx.arrangement.doubt.in_bars(told) || cx.allowed(RULE.code, Some(new[0]), told) {
            continue;
        }
        let names = |players: &[usize]| {
            let all: Vec<&str> = players.iter().map(|&p| cx.part(p).player.name.as_str()).collect();
            words::list(&all, "and")
        };
        let part = cx.part(new[0]);
        let line = part.claims.iter().find(|claim| claim.holds(at));
        let span = line.map_or(cx.arrangement.scoring.span, |claim| cx.line_span(claim.line));
        let voice = &cx.piece.voices[found.voice].name;
        let takes = if new.len() > 1 || words::is_plural(&part.player) { "take" } else { "takes" };
        let message = format!(
            "{} {takes} over the tune `{voice}` at the bar line of bar {}, but its up-beat stays with {}.",
            names(&new),
            place.number,
            names(old)
        );
        findings.push(
            Diagnostic::new(RULE.severity, RULE.code, span, message)
                .with_label(notes[up].span, "the phrase begins here")
                .with_label(first.span, "taken over here")
                .with_bars(cx.form.bars[bar - 1].number, place.number)
                .with_player(&part.player.id)
                .with_help(
                    "Let the new line begin with the up-beat, and the one before it end there.",
                ),
        );
    }
}

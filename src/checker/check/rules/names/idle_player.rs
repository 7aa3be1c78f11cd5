//! Players of the ensemble who have nothing to play in a scoring.
//!
//! # What it finds
//! Players whom no line of the scoring (or of those it keeps) names, and players whose lines
//! give them not a single note. A player who has `rests` is exempt.
//!
//! # Why it matters
//! Someone is hired, sits there all evening and has an empty part on the stand. Mostly a line
//! was forgotten.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 2/4, key G major
//!   2 end }
//! voice tune { 1: 1/2 G4 | 2: B4 | }
//! ensemble pair { era 1770
//!   oboe 2 }
//! scoring pair for pair {
//!   oboe.1 plays tune as melody
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 2/4, key G major
//!   2 end }
//! voice tune { 1: 1/2 G4 | 2: B4 | }
//! ensemble pair { era 1770
//!   oboe 2 }
//! scoring pair for pair {
//!   oboe.1 plays tune as melody
//!   oboe.2 rests
//! }
//! ```
//!
//! # Source
//! Common practice.

use crate::check::context::Context;
use crate::check::{Cause, Findings, Grounds, Rule, Scope, words};
use crate::diagnostics::{Diagnostic, Severity};
use crate::resolve::{BarIndices, Verb};

pub const RULE: Rule = Rule {
    code: "names/idle-player",
    severity: Severity::Warning,
    scope: Scope::Scoring(check),
    grounds: Grounds::Whole,
    absence: true,
    cause: Cause::Line,
    text: include_str!("idle_player.rs"),
};

fn check(cx: &Context, findings: &mut Findings) {
    // Players of one ensemble line are told together.
    let mut idle: Vec<Vec<usize>> = Vec::new();
    for (player, part) in cx.parts() {
        let told_to_rest = !part.claims.is_empty()
            && part.claims.iter().all(|claim| {
                cx.line(claim.line).is_some_and(|line| matches!(line.verb, Verb::Rests))
            });
        // Why a line gives no notes may have been told where it was worked out.
        let told_why = cx.arrangement.diagnostics.iter().any(|told| {
            part.claims.iter().any(|claim| cx.line_span(claim.line) == told.primary.span)
        });
        if !part.notes.is_empty() || told_to_rest || told_why {
            continue;
        }
        if cx.allowed(RULE.code, Some(player), BarIndices::all(cx.form)) {
            continue;
        }
        match idle.last_mut() {
            Some(desk) if cx.part(desk[0]).player.span == part.player.span => desk.push(player),
            _ => idle.push(vec![player]),
        }
    }
    let scoring = &cx.arrangement.scoring;
    for desk in idle {
        let ids: Vec<&str> = desk.iter().map(|&p| cx.part(p).player.id.as_str()).collect();
        let names: Vec<&str> = desk.iter().map(|&p| cx.part(p).player.name.as_str()).collect();
        let part = cx.part(desk[0]);
        let has = if desk.len() > 1 || words::is_plural(&part.player) { "have" } else { "has" };
        let message = format!(
            "{} {has} nothing to play in the scoring `{}`.",
            words::list(&names, "and"),
            scoring.name
        );
        let mut finding = Diagnostic::new(RULE.severity, RULE.code, scoring.span, message)
            .with_label(part.player.span, "asked for here")
            .with_player(ids[0]);
        for claim in &part.claims {
            finding = finding.with_label(
                cx.line_span(claim.line),
                "this line gives no note: does its voice rest here?",
            );
        }
        let list = ids.join(", ");
        let mut finding = finding.with_help(format!(
            "Give {list} a line, or write `{list} rests`; or remove the player from the ensemble."
        ));
        // Whom a line gives nothing because its voice rests is not to be silenced in its place.
        if let Some(last) = scoring.lines.last().filter(|_| part.claims.is_empty()) {
            let text = format!("{list} rests\n  ");
            finding = finding.with_fix("let the part rest", last.span.before(), text, false);
        }
        findings.push(finding);
    }
}

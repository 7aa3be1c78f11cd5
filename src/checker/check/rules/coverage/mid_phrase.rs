//! A tune handed over in the middle of a phrase.
//!
//! # What it finds
//! Places where one player or group takes over a tune from another although the phrase goes on:
//! a slur of the voice runs over the place, or all but the last notes of the phrase (a beat or less
//! before a rest) stay with the one before. Where one of the two plays over the place with the
//! other, nothing is found: that is how a phrase is passed on.
//!
//! # Why it matters
//! A phrase is sung in one breath. Whoever has begun it leads it to its end, and whoever enters
//! begins one; a listener hears the seam in the middle of a slur as a mistake.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 3/4, key G major, tempo 1/4 at 90
//!   4 end }
//! voice tune { 1: 1/4 {G4 A B | 2: C5 D5 E5 | 3: D5} B4 A | 4: 1/2. G4 | }
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
//! voice tune { 1: 1/4 {G4 A B | 2: C5 D5 E5 | 3: D5} B4 A | 4: 1/2. G4 | }
//! ensemble pair { era 1770
//!   flute, oboe }
//! scoring pair for pair {
//!   flute plays tune bars 1..3 beat 1 as melody
//!   oboe plays tune bars 3 beat 2..4 as melody
//! }
//! ```
//!
//! # Source
//! Common practice. What counts as the end of a phrase is our heuristic.

use crate::arrange::VoiceCoverage;
use crate::check::context::Context;
use crate::check::{Cause, Findings, Grounds, Rule, Scope, words};
use crate::diagnostics::{Diagnostic, Severity};
use crate::resolve::{BarIndices, Note, Role};

pub const RULE: Rule = Rule {
    code: "coverage/mid-phrase",
    severity: Severity::Advice,
    scope: Scope::Scoring(check),
    grounds: Grounds::Whole,
    absence: false,
    cause: Cause::Line,
    text: include_str!("mid_phrase.rs"),
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
    // The note with which the slur that is open began.
    let mut slur: Option<usize> = None;
    for index in 1..notes.len() {
        let before = &notes[index - 1];
        if before.attached.slur_ends {
            slur = None;
        }
        if before.attached.slur_starts {
            slur = Some(index - 1);
        }
        let (old, new) = (&found.notes[index - 1], &found.notes[index]);
        let passes = !old.is_empty() && !new.is_empty();
        if !passes || old.iter().any(|player| new.contains(player)) {
            continue;
        }
        let tail = tail(cx, notes, index);
        let Some(began) = slur.or(tail) else { continue };
        let bar = cx.form.index_at(notes[index].start);
        let first = cx.form.index_at(notes[began].start);
        let bars = BarIndices::new(first, bar + 1);
        if cx.arrangement.doubt.in_bars(bars) || cx.allowed(RULE.code, Some(new[0]), bars) {
            continue;
        }
        let names = |players: &[usize]| {
            let all: Vec<&str> = players.iter().map(|&p| cx.part(p).player.name.as_str()).collect();
            words::list(&all, "and")
        };
        let part = cx.part(new[0]);
        let line = part.claims.iter().find(|claim| claim.holds(notes[index].start));
        let span = line.map_or(cx.arrangement.scoring.span, |claim| cx.line_span(claim.line));
        let takes = if new.len() > 1 || words::is_plural(&part.player) { "take" } else { "takes" };
        let message = format!(
            "{} {takes} over the tune `{}` from {} in the middle of a phrase, at {}.",
            names(new),
            cx.piece.voices[found.voice].name,
            names(old),
            cx.form.place(notes[index].start),
        );
        let why = if slur.is_some() { "the slur begins here" } else { "the phrase ends at once" };
        let label = if slur.is_some() { notes[began].span } else { notes[index].span };
        findings.push(
            Diagnostic::new(RULE.severity, RULE.code, span, message)
                .with_label(label, why)
                .with_bars(cx.form.bars[first].number, cx.form.bars[bar].number)
                .with_player(&part.player.id)
                .with_help("Let the line end and the next one begin between two phrases, if need be within a bar (`bars 1..8 beat 3`), or let the two overlap by a note."),
        );
    }
}

/// Is the note of that index among the last of its phrase, a beat or less before a rest, and does
/// the phrase come from before it? Then the note before it.
fn tail(cx: &Context, notes: &[Note], index: usize) -> Option<usize> {
    let before = &notes[index - 1];
    let note = &notes[index];
    if before.start + before.length != note.start {
        return None;
    }
    let beat = cx.form.bar_at(note.start).metre.beat();
    let mut last = index;
    while let Some(next) = notes.get(last + 1)
        && notes[last].start + notes[last].length == next.start
    {
        last += 1;
        if next.start + next.length - note.start > beat {
            return None;
        }
    }
    let end = notes[last].start + notes[last].length;
    // At the end of the piece nobody hands over for a note.
    let ends = notes.get(last + 1).is_some() || end == cx.form.end();
    // A long note before it was an end already.
    let long = before.length >= beat && before.length >= (end - note.start) * 2;
    (ends && !long && end - note.start <= beat).then_some(index - 1)
}

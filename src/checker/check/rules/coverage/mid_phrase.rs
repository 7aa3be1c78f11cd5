//! A tune handed over in the middle of a phrase.
//!
//! # What it finds
//! Places where one player or group takes over a tune from another although the phrase goes on:
//! a slur of the voice runs over the place, or all but the last notes of the phrase (a beat or less
//! before a rest) stay with the one before. Where one of the two plays over the place with the
//! other, nothing is found: that is how a phrase is passed on. Only who plays the tune counts: a
//! held chord, the bass or another voice may have a note of its name by chance.
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
//! # Fixed
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

use super::handover::{self, Handover};
use crate::arrange::VoiceCoverage;
use crate::check::context::Context;
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::Severity;
use crate::resolve::{BarIndices, Note};

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
    for (found, notes) in handover::tunes(cx) {
        voice(cx, findings, found, &notes);
    }
}

fn voice(cx: &Context, findings: &mut Findings, found: &VoiceCoverage, notes: &[Note]) {
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
        if found.players(index - 1) == found.players(index) {
            continue;
        }
        let [old, new] = [index - 1, index].map(|note| handover::players(cx, found, notes, note));
        let passes = !old.is_empty() && !new.is_empty();
        if !passes || old.iter().any(|player| new.contains(player)) {
            continue;
        }
        let tail = tail(cx, notes, index);
        let Some(began) = slur.or(tail.as_ref().map(|_| index - 1)) else { continue };
        let note = &notes[index];
        let first = cx.form.index_at(notes[began].start);
        let bars = BarIndices::new(first, cx.form.index_at(note.start) + 1);
        let place = Handover { found, note, from: &old, to: &new, bars };
        let finding = place.finding(cx, &RULE, |names| {
            let at = cx.form.place(note.start);
            format!("{} from {} in the middle of a phrase, at {at}.", names.take, names.from)
        });
        let Some(mut finding) = finding else { continue };
        // Both ends of what is torn: whose line ends too soon, and whose begins too late.
        if let Some(line) =
            place.line_before(cx, before).filter(|line| *line != finding.primary.span)
        {
            finding = finding.with_label(line, "the line before ends in it");
        }
        finding = match (slur, tail) {
            (Some(_), _) => finding
                .with_label(notes[began].span, "the slur begins here")
                .with_label(note.span, "taken over here"),
            (None, Some(last)) if last > index => finding
                .with_label(note.span, "taken over here")
                .with_label(notes[last].span, "the phrase ends here"),
            (None, _) => finding.with_label(note.span, "taken over here, where the phrase ends"),
        };
        findings.push(
            finding
                .with_help("Let the line end and the next one begin between two phrases, if need be within a bar (`bars 1..8 beat 3`), or let the two overlap by a note.")
        );
    }
}

/// Is the note of that index among the last of its phrase, a beat or less before a rest, and does
/// the phrase come from before it? Then the last of them.
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
    (ends && !long && end - note.start <= beat).then_some(last)
}

//! A note contradicts the declared harmony on a strong beat.
//!
//! # What it finds
//! Notes on the first beat or in the middle of the bar that are not in the declared chord and
//! that are neither held over from before, nor repeated, nor lead by step into the chord; notes
//! of less than half a beat are ignored. A step into the chord excuses a note of up to half of the
//! chord's length or one beat, whichever is longer (our heuristic). Each note of the source is reported once, whoever plays it.
//!
//! # Why it matters
//! Either the note or the chord symbol is wrong; what the compiler works out from the harmony
//! will clash with it.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! harmony { 1: C | 2: G | 3: C | 4: C | }
//! voice tune { 1: 1/1 E5 | 2: 1/2 A5 D5 | 3: 1/1 E5 | 4: E5 | }
//! ensemble few { era 1810
//!   violin-1 8 players }
//! scoring few for few {
//!   violin-1 plays tune as melody
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! harmony { 1: C | 2: G | 3: C | 4: C | }
//! voice tune { 1: 1/1 E5 | 2: 1/2 B5 D5 | 3: 1/1 E5 | 4: E5 | }
//! ensemble few { era 1810
//!   violin-1 8 players }
//! scoring few for few {
//!   violin-1 plays tune as melody
//! }
//! ```
//!
//! # Source
//! Common practice of non-harmonic notes; how long one may last is our heuristic.

use super::super::notation::typed_as_written;
use crate::arrange::{LineId, PackedNote, Part};
use crate::check::context::Context;
use crate::check::{Cause, Findings, Grounds, Rule, Scope, sharing, words};
use crate::diagnostics::Severity;
use crate::instruments::Family;
use crate::music::{Chord, Pitch};
use crate::resolve::Role;

pub const RULE: Rule = Rule {
    code: "harmony/contradicts",
    severity: Severity::Warning,
    scope: Scope::Scoring(check),
    grounds: Grounds::Together,
    absence: false,
    cause: Cause::Source,
    text: include_str!("contradicts.rs"),
};

fn check(cx: &Context, findings: &mut Findings) {
    if cx.piece.harmony.is_empty() {
        return;
    }
    let mut offences: Vec<Vec<(usize, (Pitch, Chord))>> = Vec::new();
    for (_, part) in cx.parts() {
        let pitched = part.first_instrument().family != Family::Percussion;
        let notes = if pitched { part.notes.len() } else { 0 };
        let own = (0..notes).filter_map(|index| Some((index, contradicts(cx, part, index)?)));
        let mut own: Vec<(usize, (Pitch, Chord))> = own.collect();
        // Of a line that was typed as the player reads it another rule speaks.
        let mut lines: Vec<LineId> =
            own.iter().map(|(index, _)| part.line_of(&part.notes[*index])).collect();
        lines.sort_unstable();
        lines.dedup();
        for line in lines {
            if typed_as_written::suspect(cx, part, line).is_some() {
                own.retain(|(index, _)| part.line_of(&part.notes[*index]) != line);
            }
        }
        offences.push(own);
    }
    let cause =
        |_, note: &PackedNote, (pitch, _): &(Pitch, Chord)| (sharing::cause(note, *pitch), None);
    for (passage, others) in sharing::causes(cx, &RULE, offences, cause) {
        let note = passage.first();
        let (pitch, chord) = *passage.detail();
        let message = format!(
            "{}: {} in {}{} {} not in the declared chord {chord}.",
            passage.part.player.name,
            cx.both(passage.part, pitch, note),
            cx.form.place(note.start()),
            passage.and_more(),
            passage.verb("is", "are"),
        );
        let members: Vec<String> = chord.members().iter().map(ToString::to_string).collect();
        let mut finding = cx.finding(&RULE, &passage, message).with_help(format!(
            "Take one of {}, or declare another chord there.",
            words::list(&members, "or")
        ));
        let events = &cx.piece.harmony;
        let after = events.partition_point(|event| event.start <= note.start());
        if let Some(event) = after.checked_sub(1).and_then(|at| events.get(at)) {
            finding = finding.with_label(event.span, "the chord");
        }
        let finding = cx.with_allow_for(finding, &passage);
        findings.push_shared(cx, &passage, others, finding);
    }
}

fn contradicts(cx: &Context, part: &Part, index: usize) -> Option<(Pitch, Chord)> {
    let note = &part.notes[index];
    let beat = cx.form.bar_at(note.start()).metre.beat();
    if cx.form.weight(note.start()) < 2 || note.length() + note.length() < beat {
        return None;
    }
    let chord = super::chord(cx, note.start())?;
    let foreign =
        *note.sound().pitches().iter().find(|p| !chord.has_class(p.midi().rem_euclid(12)))?;
    let before = index.checked_sub(1).map(|before| &part.notes[before]);
    let held = before.is_some_and(|before| {
        before.end() == note.start() && before.sound().pitches().contains(&foreign)
    });
    // A pedal point may be struck again after a rest.
    let pedal = note.role() == Role::Bass
        && before.is_some_and(|before| {
            before.sound() == note.sound() && note.start() - before.end() <= beat * 4
        });
    let leads = part.notes.get(index + 1).is_some_and(|next| {
        let there = super::chord(cx, next.start()).unwrap_or(chord);
        next.start() == note.end()
            && next.sound().pitches().iter().any(|pitch| {
                (1..=2).contains(&(pitch.midi() - foreign.midi()).abs())
                    && there.has_class(pitch.midi().rem_euclid(12))
            })
    });
    let event = super::event(cx, note.start())?;
    let passing = note.length() <= beat || note.length() + note.length() <= event.length;
    (!(held || pedal || leads && passing)).then_some((foreign, chord))
}

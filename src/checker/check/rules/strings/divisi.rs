//! A section is divided among too few players.
//!
//! # What it finds
//! Chords that one hand cannot take, so that the section must divide, where a note gets fewer
//! than two players; and chords of more notes than the section has players.
//!
//! # Why it matters
//! One player alone on a note of a divided section is out of balance with the others and hears
//! every slip.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! voice tune { 1: 1/1 G3 | 2: G3&B3 | 3: G3 | 4: G3 | }
//! ensemble few { era 1810
//!   violin-1 3 players }
//! scoring few for few {
//!   violin-1 plays tune as harmony
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! voice tune { 1: 1/1 G3 | 2: G3&B3 | 3: G3 | 4: G3 | }
//! ensemble few { era 1810
//!   violin-1 4 players }
//! scoring few for few {
//!   violin-1 plays tune as harmony
//! }
//! ```
//!
//! # Source
//! Common practice; two players a note is our heuristic.

use crate::arrange::PackedNote;
use crate::check::context::{Context, Stretch, plucked};
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::Severity;

pub const RULE: Rule = Rule {
    code: "strings/divisi",
    severity: Severity::Warning,
    scope: Scope::Player(check),
    grounds: Grounds::Notes,
    absence: false,
    cause: Cause::Line,
    text: include_str!("divisi.rs"),
};

/// Players that a note of a divided section wants. Our heuristic.
const A_NOTE: usize = 2;

fn check(cx: &Context, findings: &mut Findings) {
    for stretch in cx.stretches() {
        let Stretch { player, part, instrument, .. } = stretch;
        let count = usize::from(part.player.count);
        if instrument.open_strings.is_empty() || count < 2 {
            continue;
        }
        let changes = cx.techniques(player);
        let offends = |note: &PackedNote| {
            let pitches = note.sound().pitches();
            pitches.len() > 1
                && count < A_NOTE * pitches.len()
                && !super::one_hand(
                    instrument,
                    cx.era,
                    pitches,
                    plucked(changes, note.start()),
                    note.solo(),
                )
        };
        let offences = cx.offences_of_notes(&RULE, &stretch, offends);
        for passage in cx.passages(&RULE, player, offences) {
            let note = passage.first();
            let chord: Vec<String> =
                note.sound().pitches().iter().map(ToString::to_string).collect();
            let message = format!(
                "{} must divide for {} in {}{}, but they are only {count}.",
                part.player.name,
                crate::check::words::list(&chord, "and"),
                cx.form.place(note.start()),
                passage.and_more(),
            );
            let finding = cx.finding(&RULE, &passage, message).with_help(format!(
                "Leave a note to another part, choose a chord that lies under one hand, or ask for {} players.",
                A_NOTE * chord.len()
            ));
            findings.push_line(cx, passage.line, cx.with_allow_for(finding, &passage));
        }
    }
}

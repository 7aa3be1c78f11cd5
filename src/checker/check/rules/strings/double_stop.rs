//! A double stop or chord that one hand cannot take.
//!
//! # What it finds
//! Chords for a single string player that do not lie on neighbouring strings, that need two notes
//! on one string, or whose stopped notes lie farther apart than the hand reaches. Open strings
//! need no finger, and plucked strings need not be neighbours. Sections can divide; for them see
//! `strings/divisi`. And artificial harmonics whose string the hand does not reach to touch while
//! it stops the note that they name, whoever plays them.
//!
//! # Why it matters
//! The chord cannot be played; the player will leave a note out. A harmonic that is not reached does
//! not sound.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! voice tune { 1: 1/1 G3 | 2: G3&B3 | 3: G3 | 4: G3 | }
//! ensemble few { era 1810
//!   violin-1 1 players }
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
//! voice tune { 1: 1/1 G3 | 2: G3&E4 | 3: G3 | 4: G3 | }
//! ensemble few { era 1810
//!   violin-1 1 players }
//! scoring few for few {
//!   violin-1 plays tune as harmony
//! }
//! ```
//!
//! # Source
//! Tunings: the catalogue, after Prout, The Orchestra, vol. 1, 1898, ch. III, and Johnstone, Instruments
//! of the Modern Symphony Orchestra, 1917. The reach of the hand is our heuristic, tried on
//! public scores.

use crate::arrange::PackedNote;
use crate::check::context::{Context, Stretch, plucked};
use crate::check::{Cause, Findings, Grounds, Rule, Scope, words};
use crate::diagnostics::Severity;
use crate::music::Pitch;

pub const RULE: Rule = Rule {
    code: "strings/double-stop",
    severity: Severity::Error,
    scope: Scope::Player(check),
    grounds: Grounds::Notes,
    absence: false,
    cause: Cause::Line,
    text: include_str!("double_stop.rs"),
};

fn check(cx: &Context, findings: &mut Findings) {
    for stretch in cx.stretches() {
        let Stretch { player, part, instrument, .. } = stretch;
        if instrument.open_strings.is_empty() {
            continue;
        }
        let changes = cx.techniques(player);
        let offends = |note: &PackedNote| {
            if note.attached().touch.is_some() {
                let fingered = <[Pitch; 2]>::try_from(&note.fingered()[..]).ok();
                let reached = |two| super::can_touch(instrument, cx.era, two, note.solo());
                return fingered.is_some_and(|two| !reached(two));
            }
            let pitches = note.sound().pitches();
            pitches.len() > 1
                && part.player.count == 1
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
            if note.attached().touch.is_some() {
                let fingered: Vec<String> =
                    note.fingered().iter().map(ToString::to_string).collect();
                let message = format!(
                    "{} cannot stop and touch one string at {} in {}{}.",
                    part.player.name,
                    words::list(&fingered, "and"),
                    cx.form.place(note.start()),
                    passage.and_more(),
                );
                let finding = cx.finding(&RULE, &passage, message).with_help(
                    "Leave the harmonic out, or write it higher: there the hand reaches farther.",
                );
                findings.push_line(cx, passage.line, finding);
                continue;
            }
            let chord: Vec<String> =
                note.sound().pitches().iter().map(ToString::to_string).collect();
            let message = format!(
                "{} cannot stop {} at once in {}{}.",
                part.player.name,
                crate::check::words::list(&chord, "and"),
                cx.form.place(note.start()),
                passage.and_more(),
            );
            let help = way_out(cx, instrument, note);
            findings.push_line(
                cx,
                passage.line,
                cx.finding(&RULE, &passage, message).with_help(help),
            );
        }
    }
}

/// Another order of the chord that lies well, found by raising the lowest note or lowering the top.
fn way_out(
    cx: &Context,
    instrument: &crate::instruments::Instrument,
    note: &crate::arrange::PackedNote,
) -> String {
    let pitches = note.sound().pitches();
    let mut tries: Vec<Vec<crate::music::Pitch>> = Vec::new();
    for index in 0..pitches.len() {
        for octaves in [1, -1] {
            let mut chord = pitches.to_vec();
            chord[index] = chord[index].octaves_up(octaves);
            chord.sort();
            chord.dedup();
            tries.push(chord);
        }
    }
    let good = tries.into_iter().find(|chord| {
        chord.len() > 1 && super::one_hand(instrument, cx.era, chord, false, note.solo())
    });
    match good {
        Some(chord) => {
            let names: Vec<String> = chord.iter().map(ToString::to_string).collect();
            format!(
                "{} lie well; or leave one note out, or ask for more players who can divide.",
                words::list(&names, "and")
            )
        }
        None => "Leave one note out, or ask for more players who can divide.".to_string(),
    }
}

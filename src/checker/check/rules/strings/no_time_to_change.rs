//! No time to change between bow and plucking, or to put the mute on or off.
//!
//! # What it finds
//! Changes from arco to pizzicato with less than a third of a second between the notes, from
//! pizzicato to arco with less than half a second from the pluck, and of the mute with less than
//! two seconds (our heuristic).
//!
//! # Why it matters
//! Changing to and from pizzicato and fitting a mute take time. Without a rest
//! the first notes after the change are lost.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! voice tune { 1: 1/4 G4 G4 G4 G4 | 2: [pizz] 1/4 G4 G4 G4 rest | 3: [arco] 1/1 G4 | 4: G4 | }
//! ensemble few { era 1810
//!   violin-1 4 players }
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
//! voice tune { 1: 1/4 G4 G4 G4 rest | 2: [pizz] 1/4 G4 G4 G4 rest | 3: [arco] 1/1 G4 | 4: G4 | }
//! ensemble few { era 1810
//!   violin-1 4 players }
//! scoring few for few {
//!   violin-1 plays tune as harmony
//! }
//! ```
//!
//! # Source
//! Common practice; the seconds are our heuristic.

use crate::check::context::Context;
use crate::check::context::techniques;
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::Severity;
use crate::resolve::Technique;

pub const RULE: Rule = Rule {
    code: "strings/no-time-to-change",
    severity: Severity::Warning,
    scope: Scope::Player(check),
    grounds: Grounds::Notes,
    absence: false,
    cause: Cause::Line,
    text: include_str!("no_time_to_change.rs"),
};

/// Seconds from the end of a bowed note to the first pluck. Our heuristic.
const TO_PLUCK: f64 = 0.33;
/// Seconds from a pluck to the first bowed note. Our heuristic.
const TO_BOW: f64 = 0.5;
/// Seconds for the mute. Our heuristic.
const MUTE: f64 = 2.0;

fn check(cx: &Context, findings: &mut Findings) {
    for (player, part) in cx.parts() {
        if part.first_instrument().open_strings.is_empty() {
            continue;
        }
        let (mut plucked, mut muted) = (false, false);
        let mut offences: Vec<(usize, (f64, f64, Technique))> = Vec::new();
        for (at, technique, _) in techniques(part) {
            let changes = match technique {
                Technique::Pizzicato => !std::mem::replace(&mut plucked, true),
                Technique::Arco => std::mem::replace(&mut plucked, false),
                Technique::Muted => !std::mem::replace(&mut muted, true),
                Technique::Unmuted => std::mem::replace(&mut muted, false),
            };
            let next = part.notes.partition_point(|note| note.start() < at);
            if !changes || next == 0 || next == part.notes.len() {
                continue;
            }
            let times = cx.times(player);
            let (time, needed) = match technique {
                Technique::Pizzicato => (times.begin(next) - times.end(next - 1), TO_PLUCK),
                // A pluck is over at once, however long its note is written.
                Technique::Arco => (times.begin(next) - times.begin(next - 1), TO_BOW),
                Technique::Muted | Technique::Unmuted => {
                    (times.begin(next) - times.end(next - 1), MUTE)
                }
            };
            let needed = needed * cx.limit(&RULE) / 100.0;
            if time < needed {
                offences.push((next, (time, needed, technique)));
            }
        }
        for passage in cx.passages(&RULE, player, offences) {
            let (time, needed, technique) = *passage.detail();
            let message = format!(
                "{}: {time:.1} seconds for \u{201c}{}\u{201d} before {}{}; it needs about {needed:.1}.",
                part.player.name,
                technique.printed(),
                cx.form.place(passage.first().start()),
                passage.and_more(),
            );
            let finding = cx.finding(&RULE, &passage, message).with_help(
                "Let the section rest for a beat before the change, or let half of it change at a time.",
            );
            findings.push_line(cx, passage.line, cx.with_allow_for(finding, &passage));
        }
    }
}

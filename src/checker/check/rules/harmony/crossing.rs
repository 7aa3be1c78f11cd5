//! The second of a pair lies above the first.
//!
//! # What it finds
//! Notes of a second or more (our heuristic) that the second player of a pair, or the second violins,
//! have above the first while both accompany. Whoever has a tune, a bass or a highlight may lie
//! where it wants to.
//!
//! # Why it matters
//! The upper note is what is heard, and the first player is the one who leads it. Two inner parts
//! that cross for a chord gain nothing, and whoever tunes the chord looks for the wrong player.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! voice high { 1: 1/1 C5 | 2: D5 | 3: D5 | 4: C5 | }
//! voice low { 1: 1/1 E4 | 2: G5 | 3: G5 | 4: E4 | }
//! ensemble few { era 1810
//!   oboe 2 }
//! scoring few for few {
//!   oboe.1 plays high as harmony
//!   oboe.2 plays low as harmony
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! voice high { 1: 1/1 C5 | 2: G5 | 3: G5 | 4: C5 | }
//! voice low { 1: 1/1 E4 | 2: D5 | 3: D5 | 4: E4 | }
//! ensemble few { era 1810
//!   oboe 2 }
//! scoring few for few {
//!   oboe.1 plays high as harmony
//!   oboe.2 plays low as harmony
//! }
//! ```
//!
//! # Source
//! Common practice; the length is our heuristic.

use crate::arrange::PackedNote;
use crate::check::context::Context;
use crate::check::slices::Sounding;
use crate::check::words;
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::Severity;
use crate::resolve::Role;

pub const RULE: Rule = Rule {
    code: "harmony/crossing",
    severity: Severity::Advice,
    scope: Scope::Moment(check),
    grounds: Grounds::Together,
    absence: false,
    cause: Cause::Line,
    text: include_str!("crossing.rs"),
};

/// Seconds from which it counts. Our heuristic.
const LONG: f64 = 1.0;

fn check(cx: &Context, findings: &mut Findings) {
    let parts = &cx.arrangement.parts;
    let pairs: Vec<(usize, usize)> =
        cx.parts().filter_map(|(second, _)| Some((first_of(cx, second)?, second))).collect();
    if pairs.is_empty() {
        return;
    }
    let accompanies = |note: &PackedNote| matches!(note.role(), Role::Harmony | Role::Rhythm);
    // What each player has in a slice.
    let mut has: Vec<Option<Sounding>> = vec![None; parts.len()];
    let moments = cx.moments(&RULE, |slice, found: &mut Vec<(Sounding, Sounding)>| {
        has.fill(None);
        for one in slice.sounding {
            has[one.player()] = Some(*one);
        }
        for &(first, second) in &pairs {
            let (Some(one), Some(two)) = (has[first], has[second]) else { continue };
            let (upper, lower) = (one.of(parts), two.of(parts));
            if !accompanies(upper) || !accompanies(lower) || upper.source() == lower.source() {
                continue;
            }
            let top = |note: &PackedNote| note.sound().pitches().last().map(|pitch| pitch.midi());
            if top(lower) > top(upper) && top(upper).is_some() {
                found.push((two, one));
            }
        }
    });
    let offences = super::lasting(cx, moments, LONG, |second| *second);
    for (player, own) in offences.into_iter().enumerate() {
        for passage in cx.passages(&RULE, player, own) {
            let first = *passage.detail();
            let with = cx.part(first.player());
            let many = words::is_plural(&passage.part.player);
            let message = format!(
                "{} {} above {} in {}{}.",
                passage.part.player.name,
                if many { "lie" } else { "lies" },
                with.player.name,
                cx.form.place(passage.first().start().max(first.of(parts).start())),
                passage.and_more(),
            );
            let finding = cx
                .finding(&RULE, &passage, message)
                .with_label(first.of(parts).source(), format!("the note of {}", with.player.name))
                .with_help("Exchange the notes of the two.");
            findings.push_line(cx, passage.line, cx.with_allow_for(finding, &passage));
        }
    }
}

/// The first of the pair of which a player is the second.
fn first_of(cx: &Context, second: usize) -> Option<usize> {
    let player = &cx.part(second).player;
    if let Some(section) = player.line_name.strip_suffix("-2") {
        let name = format!("{section}-1");
        return cx.parts().find(|(_, part)| part.player.line_name == name).map(|(first, _)| first);
    }
    let first = player.is_second().then(|| player.number - 1)?;
    let is = |part: &crate::arrange::Part| {
        part.player.line_name == player.line_name && part.player.number == first
    };
    cx.parts().find(|(_, part)| is(part)).map(|(first, _)| first)
}

//! Another instrument is taken without time to do it.
//!
//! # What it finds
//! A `takes` line that names another instrument, where the player sounds before and after it with
//! less rest between than it takes to lay the one down and take the other up: eight seconds, three
//! where percussion hangs or lies ready (our heuristic). Notes count as
//! they follow each other when the music is played: from the last one before the first ending to the
//! second ending, or to the coda; and what is taken back counts too, as from the end of a repeat to its
//! beginning or at a da capo.
//!
//! # Why it matters
//! The player puts the instrument into its stand, takes up the other, warms it and looks for the
//! place. An instrument that has lain cold is flat, so that the first notes want a long rest.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   8 end }
//! voice tune { 1: 1/1 E5 | 2: E5 | 3: E5 | 4: E5 | 5: G5 | 6: G5 | 7: G5 | 8: G5 | }
//! ensemble few { era 1885
//!   flute 2 }
//! scoring few for few {
//!   flute plays tune as melody
//!   flute.2 takes piccolo bar 6
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   8 end }
//! voice tune { 1: 1/1 E5 | 2: E5 | 3: E5 | 4: E5 | 5: G5 | 6: G5 | 7: G5 | 8: G5 | }
//! ensemble few { era 1885
//!   flute 2 }
//! scoring few for few {
//!   flute.1 plays tune as melody
//!   flute.2 plays tune bars 1, 6..8 as melody
//!   flute.2 takes piccolo bar 6
//! }
//! ```
//!
//! # Source
//! That rests must be given for it is common practice. The seconds are our heuristic.

use crate::check::context::Context;
use crate::check::jumps::{Between, Following};
use crate::check::{Cause, Findings, Grounds, Rule, Scope, words};
use crate::diagnostics::Severity;
use crate::instruments::Instrument;
use crate::music::Time;

pub const RULE: Rule = Rule {
    code: "agility/no-time-to-take",
    severity: Severity::Warning,
    scope: Scope::Player(check),
    grounds: Grounds::Notes,
    absence: false,
    cause: Cause::Line,
    text: include_str!("no_time_to_take.rs"),
};

fn check(cx: &Context, findings: &mut Findings) {
    for (player, part) in cx.parts() {
        if part.instruments.len() < 2 {
            continue;
        }
        let following = Following::of(cx, player);
        for pair in part.instruments.windows(2) {
            let [(_, laid_down), (at, taken)] = *pair else { continue };
            if let Some(between) = following.around(cx, player, at) {
                tell(cx, (player, at), &between, (laid_down, taken), findings);
            }
        }
        for jump in &following.jumps {
            let [laid_down, taken] =
                [jump.before, jump.next].map(|note| part.instrument_at(part.notes[note].start()));
            let at = jump.since(part, &part.instruments);
            tell(cx, (player, at), jump, (laid_down, taken), findings);
        }
    }
}

/// Tells of a change that a scoring line asks for from a time on, if there is too little time for it.
fn tell(
    cx: &Context,
    (player, at): (usize, Time),
    between: &Between,
    (laid_down, taken): (&'static Instrument, &'static Instrument),
    findings: &mut Findings,
) {
    let part = cx.part(player);
    let needed = f64::from(taken.seconds_to_take);
    if std::ptr::eq(laid_down, taken) || between.rest >= needed {
        return;
    }
    let message = format!(
        "{} has {} seconds to lay the {} down and take the {}, {}, and needs about {needed:.0}.",
        part.player.name,
        words::tenths(between.rest),
        laid_down.name.to_lowercase(),
        taken.name.to_lowercase(),
        between.place(cx, player),
    );
    let end = part.notes[between.next].end();
    let free: Vec<&String> = cx
        .parts()
        .filter(|(other, p)| {
            !between.jumps
                && *other != player
                && std::ptr::eq(p.player.instrument, laid_down)
                && p.notes.iter().all(|n| n.end() <= at || n.start() > end)
        })
        .map(|(_, p)| &p.player.name)
        .collect();
    let place =
        if between.jumps { "before or after the jump" } else { "before or after the change" };
    let help = match &free[..] {
        [] => format!(
            "Let the player rest for some bars {place}, or add a player for the other instrument."
        ),
        free => format!(
            "Let the player rest for some bars {place}, or let {} take the {}.",
            words::list(free, "or"),
            taken.name.to_lowercase()
        ),
    };
    between.tell(cx, &RULE, (player, at), (message, help), findings);
}

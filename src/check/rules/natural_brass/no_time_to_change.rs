//! A crook or a drum is changed without time to do it.
//!
//! # What it finds
//! A `takes` line before which and after which the player sounds with less rest between than the
//! change needs: eight seconds for a crook or key, twelve for the drums (our heuristic).
//!
//! # Why it matters
//! A horn player takes the crook out, puts the other in, warms the tube and finds the first note;
//! a drummer turns six or eight screws on each drum and tunes them by ear while the others play
//! on. Without time the first notes after the change are wrong.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 = 96
//!   8 end }
//! voice tune { 1: 1/1 D4 | 2: D4 | 3: D4 | 4: D4 | 5: C4 | 6: C4 | 7: C4 | 8: C4 | }
//! ensemble few { era 1770
//!   horn crook D }
//! scoring few for few {
//!   horn plays tune as harmony
//!   horn takes crook F bar 5
//! }
//! ```
//!
//! # Mended
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 = 96
//!   8 end }
//! voice tune { 1: 1/1 D4 | 2: D4 | 3: rest | 4: rest | 5: rest | 6: rest | 7: C4 | 8: C4 | }
//! ensemble few { era 1770
//!   horn crook D }
//! scoring few for few {
//!   horn plays tune as harmony
//!   horn takes crook F bar 5
//! }
//! ```
//!
//! # Source
//! That retuning must be given time: Grove, A Dictionary of Music and Musicians, vol. 1, "Drum",
//! p. 464; six or eight screws: Johnstone, Instruments of the Modern Symphony Orchestra, 1917, p.
//! 50. The seconds are our heuristic.

use crate::check::context::Context;
use crate::check::words;
use crate::check::{Check, Findings, Rule};
use crate::diagnostics::{Diagnostic, Severity};
use crate::instruments::Tuning;
use crate::music::Time;

pub const RULE: Rule = Rule {
    code: "natural-brass/no-time-to-change",
    severity: Severity::Warning,
    text: include_str!("no_time_to_change.rs"),
    check: Check::Scoring(check),
};

/// Seconds that a change of crook or key needs. Our heuristic.
const CROOK: f64 = 8.0;
/// Seconds that the tuning of drums needs. Our heuristic.
const DRUMS: f64 = 12.0;

fn check(cx: &Context, findings: &mut Findings) {
    for (player, part) in cx.parts() {
        // Of another instrument another rule speaks.
        let same = |pair: &&[(Time, &'static Tuning)]| {
            std::ptr::eq(part.instrument_at(pair[0].0), part.instrument_at(pair[1].0))
        };
        let crooks = part.tunings.windows(2).filter(same).map(|pair| {
            let what = format!("from {} to {}", pair[0].1.name, pair[1].1.name);
            (pair[1].0, CROOK, what, pair[0].1.name != pair[1].1.name)
        });
        let drums = part.drums.windows(2).map(|pair| {
            let notes: Vec<String> = pair[1].1.iter().map(ToString::to_string).collect();
            (pair[1].0, DRUMS, format!("to {}", notes.join(" and ")), pair[0].1 != pair[1].1)
        });
        for (at, needed, what, changes) in crooks.chain(drums) {
            if !changes {
                continue;
            }
            let after = part.notes.partition_point(|note| note.start < at);
            let (Some(next), Some(before)) =
                (part.notes.get(after), after.checked_sub(1).map(|before| &part.notes[before]))
            else {
                continue;
            };
            let rest = cx.times(player)[after].0 - cx.times(player)[after - 1].1;
            let bars = (cx.bar(before), cx.bar(next));
            if rest >= needed || cx.allowed(RULE.code, Some(player), bars) {
                continue;
            }
            let many = words::is_plural(part.player);
            let message = format!(
                "{} {} {rest:.0} seconds to change {what}, between {} and {}, and {} about {needed:.0}.",
                part.player.name,
                if many { "have" } else { "has" },
                cx.form.place(before.start),
                cx.form.place(next.start),
                if many { "need" } else { "needs" },
            );
            let finding = match cx.takes_line(player, at) {
                Some(line) => Diagnostic::new(RULE.severity, RULE.code, line, message)
                    .with_text("the change")
                    .with_label(before.source, "the last note before it")
                    .with_label(next.source, "the first note after it"),
                None => cx.chain(&RULE, player, next, message),
            };
            findings.push(
                finding
                    .with_label(part.player.span, part.player.name.clone())
                    .with_bars(cx.number(bars.0), cx.number(bars.1))
                    .with_player(&part.player.id)
                    .with_help(
                        "Let the player rest longer before or after the change, or let the other \
                         pair, with the other crook or drums, take over.",
                    ),
            );
        }
    }
}

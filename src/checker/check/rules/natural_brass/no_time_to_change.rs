//! A crook or a drum is changed without time to do it.
//!
//! # What it finds
//! A `takes` line before which and after which the player sounds with less rest between than the
//! change needs: eight seconds for a crook or key, six for each drum that changes its note (our
//! heuristic). Notes count as they follow each other when the music is played: from the last one
//! before the first ending to the second ending, or to the coda; and what is taken back counts too, as from the end of a
//! repeat to its beginning or at a da capo.
//!
//! # Why it matters
//! A horn player takes the crook out, puts the other in, warms the tube and finds the first note;
//! a drummer turns six or eight screws on each drum that changes and tunes them by ear while the others play
//! on. Without time the first notes after the change are wrong.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
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
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
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

use crate::arrange::{PackedNote, Part};
use crate::check::context::Context;
use crate::check::jumps::{Between, Following, in_force};
use crate::check::words;
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::Severity;
use crate::instruments::Tuning;
use crate::music::{Pitch, Time};

pub const RULE: Rule = Rule {
    code: "natural-brass/no-time-to-change",
    severity: Severity::Warning,
    scope: Scope::Player(check),
    grounds: Grounds::Notes,
    absence: false,
    cause: Cause::Line,
    text: include_str!("no_time_to_change.rs"),
};

/// Seconds that each drum needs that changes its note, where the catalogue says nothing. Our
/// heuristic.
const DRUM: f64 = 6.0;

/// What a player changes between two notes.
struct Change {
    /// Seconds that it needs.
    needed: f64,
    /// "from D to F".
    what: String,
    /// Drums that change their note.
    drums: Vec<(Pitch, Pitch)>,
}

fn check(cx: &Context, findings: &mut Findings) {
    for (player, part) in cx.parts() {
        if part.tunings.len() < 2 && part.drums.len() < 2 {
            continue;
        }
        let following = Following::of(cx, player);
        // Of another instrument another rule speaks.
        let same = |pair: &&[(Time, &'static Tuning)]| {
            std::ptr::eq(part.instrument_at(pair[0].0), part.instrument_at(pair[1].0))
                && pair[0].1.name != pair[1].1.name
        };
        let crooks = part
            .tunings
            .windows(2)
            .filter(same)
            .map(|pair| (pair[1].0, change_of_crook(cx, pair[0].1, pair[1].1)));
        let drums = part.drums.windows(2).filter_map(|pair| {
            let change = change_of_drums(cx, part, pair[1].0, (&pair[0].1, &pair[1].1))?;
            Some((pair[1].0, change))
        });
        for (at, change) in crooks.chain(drums) {
            if let Some(between) = following.around(cx, player, at) {
                tell(cx, (player, at), &between, &change, findings);
            }
        }
        for jump in &following.jumps {
            let [before, next] = [jump.before, jump.next].map(|note| part.notes[note].start());
            if !std::ptr::eq(part.instrument_at(before), part.instrument_at(next)) {
                continue;
            }
            let crook = match (part.tuning_at(before), part.tuning_at(next)) {
                (Some(old), Some(new)) if old.name != new.name => {
                    Some((jump.since(part, &part.tunings), change_of_crook(cx, old, new)))
                }
                _ => None,
            };
            let drums = || {
                let [old, new] = [before, next].map(|at| in_force(&part.drums, at));
                let change = change_of_drums(cx, part, next, (&old?.1, &new?.1))?;
                Some((jump.since(part, &part.drums), change))
            };
            let Some((at, change)) = crook.or_else(drums) else { continue };
            tell(cx, (player, at), jump, &change, findings);
        }
    }
}

fn change_of_crook(cx: &Context, old: &Tuning, new: &Tuning) -> Change {
    let what = format!("from {} to {}", old.name, new.name);
    Change { needed: cx.limit(&RULE), what, drums: Vec::new() }
}

/// `None` where no drum changes its note.
fn change_of_drums(
    cx: &Context,
    part: &Part,
    at: Time,
    (old, new): (&[Pitch], &[Pitch]),
) -> Option<Change> {
    let instrument = part.instrument_at(at);
    let drums = instrument.retuned(old, new);
    let drum = instrument.retuning(cx.era);
    let drum = drum.map_or(DRUM, |retuning| f64::from(retuning.milliseconds) / 1000.0);
    let said: Vec<String> =
        drums.iter().map(|(from, to)| format!("the {from} drum to {to}")).collect();
    let needed = drum * drums.len() as f64;
    (!drums.is_empty()).then(|| Change { needed, what: words::list(&said, "and"), drums })
}

/// Tells of a change that a scoring line asks for from a time on, if there is too little time for it.
fn tell(
    cx: &Context,
    (player, at): (usize, Time),
    between: &Between,
    Change { needed, what, drums }: &Change,
    findings: &mut Findings,
) {
    if between.rest >= *needed {
        return;
    }
    let part = cx.part(player);
    let many = words::is_plural(&part.player);
    let message = format!(
        "{} {} {} seconds to change {what}, {}, and {} about {needed:.0}.",
        part.player.name,
        if many { "have" } else { "has" },
        words::tenths(between.rest),
        between.place(cx, player),
        if many { "need" } else { "needs" },
    );
    let help = match (between.jumps, drums.is_empty()) {
        (true, true) => "Let the player rest longer before or after the jump, or let the other \
                         pair, with the other crook, take over."
            .to_string(),
        (true, false) => "Let the drums rest longer before or after the jump, or let a third drum \
                          stand ready."
            .to_string(),
        (false, _) => help(cx, player, at, *needed, drums),
    };
    between.tell(cx, &RULE, (player, at), (message, help), findings);
}

/// What to do: for drums, the earlier or later rest in which the one that changes is free.
fn help(cx: &Context, player: usize, at: Time, needed: f64, changes: &[(Pitch, Pitch)]) -> String {
    let (notes, times) = (&cx.part(player).notes, cx.times(player));
    let strikes = |note: &PackedNote, pitch: Pitch| {
        note.sound().pitches().iter().any(|struck| struck.midi() == pitch.midi())
    };
    let after = notes.partition_point(|note| note.start() < at);
    let old = notes[..after]
        .iter()
        .rposition(|note| changes.iter().any(|(from, _)| strikes(note, *from)));
    let new = notes[after..]
        .iter()
        .position(|note| changes.iter().any(|(_, to)| strikes(note, *to)))
        .map_or(notes.len(), |found| after + found);
    let free = old.map_or(1, |old| old + 1)..new + usize::from(new < notes.len());
    let longest = free
        .filter(|next| *next > 0)
        .map(|next| (times.begin(next) - times.end(next - 1), next))
        .filter(|(seconds, _)| *seconds >= needed && !changes.is_empty())
        .max_by(|a, b| a.0.total_cmp(&b.0));
    if let Some((seconds, next)) = longest {
        let from = cx.form.index_at(notes[next - 1].end() - Time::of(1, 1024)) + 1;
        return format!(
            "Change in the rest of {:.0} seconds before {}: `takes tuned … bar {}`.",
            seconds.floor(),
            cx.form.place(notes[next].start()),
            cx.number(from.min(cx.bar(&notes[next]))),
        );
    }
    match changes.is_empty() {
        true => "Let the player rest longer before or after the change, or let the other pair, \
                 with the other crook, take over."
            .to_string(),
        false => "Let the drums rest longer before or after the change, change one drum at a \
                  time, or let a third drum stand ready."
            .to_string(),
    }
}

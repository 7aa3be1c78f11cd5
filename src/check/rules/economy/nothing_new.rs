//! Nothing new at a structural moment.
//!
//! # What it finds
//! Rehearsal marks at which, from the bar before to the bar of the mark, no player enters or
//! leaves, none changes his role and none his dynamic, no hairpin begins and the key stays, in
//! ensembles of six or more players.
//!
//! # Why it matters
//! A new section that sounds like the one before is not heard as one. An entry, an exit, another
//! octave or another dynamic marks it.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 = 96
//!   5 mark "A"
//!   8 end }
//! voice tune { 1: 1/2 E5 1/4 D5 _ | 2: 1/2 E5 1/4 D5 _ | 3: 1/2 E5 1/4 D5 _ | 4: 1/2 E5 1/4 D5 _ | 5: 1/2 E5 1/4 D5 _ | 6: 1/2 E5 1/4 D5 _ | 7: 1/2 E5 1/4 D5 _ | 8: 1/2 E5 1/4 D5 _ | }
//! voice low { 1: 1/2 C4 1/4 G3 _ | 2: 1/2 C4 1/4 G3 _ | 3: 1/2 C4 1/4 G3 _ | 4: 1/2 C4 1/4 G3 _ | 5: 1/2 C4 1/4 G3 _ | 6: 1/2 C4 1/4 G3 _ | 7: 1/2 C4 1/4 G3 _ | 8: 1/2 C4 1/4 G3 _ | }
//! ensemble few { era 1810
//!   flute, oboe, clarinet in Bb, bassoon, violin-1 8 players, cello 4 players }
//! scoring few for few {
//!   violin-1, flute plays tune as melody
//!   cello, bassoon, clarinet plays low as bass
//!   oboe plays tune as melody
//! }
//! ```
//!
//! # Mended
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 = 96
//!   5 mark "A"
//!   8 end }
//! voice tune { 1: 1/2 E5 1/4 D5 _ | 2: 1/2 E5 1/4 D5 _ | 3: 1/2 E5 1/4 D5 _ | 4: 1/2 E5 1/4 D5 _ | 5: 1/2 E5 1/4 D5 _ | 6: 1/2 E5 1/4 D5 _ | 7: 1/2 E5 1/4 D5 _ | 8: 1/2 E5 1/4 D5 _ | }
//! voice low { 1: 1/2 C4 1/4 G3 _ | 2: 1/2 C4 1/4 G3 _ | 3: 1/2 C4 1/4 G3 _ | 4: 1/2 C4 1/4 G3 _ | 5: 1/2 C4 1/4 G3 _ | 6: 1/2 C4 1/4 G3 _ | 7: 1/2 C4 1/4 G3 _ | 8: 1/2 C4 1/4 G3 _ | }
//! ensemble few { era 1810
//!   flute, oboe, clarinet in Bb, bassoon, violin-1 8 players, cello 4 players }
//! scoring few for few {
//!   violin-1, flute plays tune as melody
//!   cello, bassoon, clarinet plays low as bass
//!   oboe plays tune bars 5..8 as melody
//! }
//! ```
//!
//! # Source
//! Common practice: instruments added to a larger orchestra highlight rather than play
//! throughout. Where we look is our heuristic.

use crate::check::context::Context;
use crate::check::loudness::Degree;
use crate::check::{Check, Findings, Rule};
use crate::diagnostics::Diagnostic;
use crate::diagnostics::Severity;
use crate::resolve::{DirectionKind, Role};

pub const RULE: Rule = Rule {
    code: "economy/nothing-new",
    severity: Severity::Advice,
    text: include_str!("nothing_new.rs"),
    check: Check::Scoring(check),
};

/// Players from which there is a choice. Our heuristic.
const PLAYERS: usize = 6;

fn check(cx: &Context, findings: &mut Findings) {
    if cx.arrangement.parts.len() < PLAYERS {
        return;
    }
    for bar in 1..cx.form.bars.len() {
        let Some(mark) = &cx.form.bars[bar].mark else { continue };
        if cx.form.bars[bar].key != cx.form.bars[bar - 1].key || hairpin_begins(cx, bar) {
            continue;
        }
        let (before, now) = (state(cx, bar - 1), state(cx, bar));
        let sounds = now.iter().any(Option::is_some);
        if before != now || !sounds || cx.allowed(RULE.code, None, (bar, bar)) {
            continue;
        }
        let number = cx.number(bar);
        let message = format!(
            "At mark {mark} (bar {number}) nothing changes in the scoring `{}`: the same players, the same roles, the same dynamic.",
            cx.arrangement.scoring.name
        );
        findings.push(
            Diagnostic::new(RULE.severity, RULE.code, cx.arrangement.scoring.span, message)
                .with_bars(number, number)
                .with_help(
                    "Let somebody enter or leave there, double at the octave, or mark another dynamic.",
                ),
        );
    }
}

/// Does a hairpin begin in the bar, for anybody?
fn hairpin_begins(cx: &Context, bar: usize) -> bool {
    let (from, to) = (cx.form.bars[bar].start, cx.form.bars[bar].start + cx.form.bars[bar].length);
    cx.parts().flat_map(|(_, part)| &part.directions).any(|direction| {
        matches!(direction.kind, DirectionKind::Hairpin { .. })
            && (from..to).contains(&direction.at)
    })
}

/// What each player does in a bar: role, octave of his first note, dynamic.
fn state(cx: &Context, bar: usize) -> Vec<Option<(Role, Degree)>> {
    let (from, length) = (cx.form.bars[bar].start, cx.form.bars[bar].length);
    cx.parts()
        .map(|(player, part)| {
            let first = part.notes.partition_point(|note| note.end() <= from);
            let note = part.notes.get(first).filter(|note| note.start < from + length)?;
            Some((note.role, cx.degree(player, note.start.max(from))))
        })
        .collect()
}

//! The last chord does not end together.
//!
//! # What it finds
//! Players who strike the last chord of the piece with the others and stop before them. Percussion,
//! plucked strings, keyboards and harps, whose notes die away by themselves, and detached notes are
//! exempt; so is an end where fewer hold on than stop, because there the chord is meant to die away.
//!
//! # Why it matters
//! The end is the one chord that everybody in the hall hears. Where the values differ by a slip of
//! the pen, the conductor has to ask in the rehearsal who is to stop when.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! voice high { 1: 1/1 E5 | 2: D5 | 3: D5 | 4: C5 | }
//! voice low { 1: 1/1 C5 | 2: G4 | 3: B4 | 4: 1/4 G4 rest rest rest | }
//! ensemble few { era 1810
//!   oboe 2 }
//! scoring few for few {
//!   oboe.1 plays high as melody
//!   oboe.2 plays low as harmony
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! voice high { 1: 1/1 E5 | 2: D5 | 3: D5 | 4: C5 | }
//! voice low { 1: 1/1 C5 | 2: G4 | 3: B4 | 4: 1/1 G4 | }
//! ensemble few { era 1810
//!   oboe 2 }
//! scoring few for few {
//!   oboe.1 plays high as melody
//!   oboe.2 plays low as harmony
//! }
//! ```
//!
//! # Source
//! Common practice; what counts as dying away is our heuristic.

use crate::arrange::{PackedNote, Part};
use crate::check::context::Context;
use crate::check::{Cause, Findings, Grounds, Rule, Scope, words};
use crate::diagnostics::Severity;
use crate::instruments::{Family, Loudness};
use crate::resolve::{BarIndices, Mark};

pub const RULE: Rule = Rule {
    code: "notation/ragged-end",
    severity: Severity::Advice,
    scope: Scope::Scoring(check),
    grounds: Grounds::Whole,
    absence: false,
    cause: Cause::Line,
    text: include_str!("ragged_end.rs"),
};

fn check(cx: &Context, findings: &mut Findings) {
    let Some(last) = cx.form.bars.len().checked_sub(1) else { return };
    let from = cx.form.bars[last].start;
    // Whoever holds a note of the last bar: player, index of the note, the note.
    let mut holding: Vec<(usize, usize, &PackedNote)> = cx
        .parts()
        .filter_map(|(player, part)| {
            let index = part.notes.len().checked_sub(1)?;
            let note = &part.notes[index];
            (note.start() >= from && holds(cx, player, part, note)).then_some((player, index, note))
        })
        .collect();
    let Some(end) = holding.iter().map(|(.., note)| note.end()).max() else { return };
    // The chord is what those who hold on to the end struck.
    let Some(chord) =
        holding.iter().filter(|(.., n)| n.end() == end).map(|(.., n)| n.start()).max()
    else {
        return;
    };
    holding.retain(|(.., note)| note.start() == chord);
    let (on, short): (Vec<_>, Vec<_>) =
        holding.into_iter().partition(|(.., note)| note.end() == end);
    if short.is_empty() || on.len() < short.len() {
        return;
    }
    let names = |players: &[(usize, usize, &PackedNote)]| {
        let all: Vec<&str> =
            players.iter().map(|(player, ..)| cx.part(*player).player.name.as_str()).collect();
        words::list(&all, "and")
    };
    let allowed = |player: usize| cx.allowed(RULE.code, Some(player), BarIndices::one(last));
    let short: Vec<_> = short.into_iter().filter(|(player, ..)| !allowed(*player)).collect();
    let Some(&(player, index, note)) = short.first() else { return };
    for passage in cx.passages(&RULE, player, vec![(index, ())]) {
        let many = short.len() > 1 || words::is_plural(&cx.part(player).player);
        let message = format!(
            "{} {} the last chord at {}, before {}.",
            names(&short),
            if many { "leave" } else { "leaves" },
            cx.form.place(note.end()),
            names(&on),
        );
        let finding = cx
            .finding(&RULE, &passage, message)
            .with_label(on[0].2.source(), format!("{} holds on", cx.part(on[0].0).player.name))
            .with_help("Give all who strike the last chord the same value, or mark the short ones `[stacc]`.");
        findings.push_line(cx, passage.line, cx.with_allow_for(finding, &passage));
    }
}

/// Does a note sound as long as it is written, and stop there?
fn holds(cx: &Context, player: usize, part: &Part, note: &PackedNote) -> bool {
    let instrument = part.instrument_at(note.start());
    let fades = matches!(instrument.family, Family::Percussion | Family::Harp | Family::Keyboard)
        || instrument.loudness == Loudness::Plucked
        || cx.plucks(player, note.start());
    let marks = note.attached().marks;
    !fades && !marks.has(Mark::Staccato) && !marks.has(Mark::Staccatissimo)
}

//! A hand-stopped note in an orchestral horn part.
//!
//! # What it finds
//! Notes of a natural horn that only the hand in the bell makes, unless the line is a `solo` or
//! the note is marked `stopped` because its dull sound is wanted.
//!
//! # Why it matters
//! Stopped notes are duller and softer than open ones; in the orchestra they drop out of the
//! chord, and the player must blow the open ones softly to match.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   3 end }
//! voice tune { 1: 1/1 D4 | 2: F4 | 3: D4 | }
//! ensemble few { era 1770
//!   horn crook D }
//! scoring few for few {
//!   horn plays tune as harmony
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   3 end }
//! voice tune { 1: 1/1 D4 | 2: F4[stopped] | 3: D4 | }
//! ensemble few { era 1770
//!   horn crook D }
//! scoring few for few {
//!   horn plays tune as harmony
//! }
//! ```
//!
//! # Source
//! Grove, A Dictionary of Music and Musicians, vol. 1, "Horn", p. 749.

use crate::arrange::PackedNote;
use crate::check::alternatives::advise;
use crate::check::context::{Context, Stretch};
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::Severity;
use crate::instruments::PartialClass;
use crate::resolve::Mark;

pub const RULE: Rule = Rule {
    code: "natural-brass/stopped",
    severity: Severity::Warning,
    scope: Scope::Player(check),
    grounds: Grounds::Notes,
    absence: false,
    cause: Cause::Line,
    text: include_str!("stopped.rs"),
};

fn check(cx: &Context, findings: &mut Findings) {
    for stretch in cx.stretches() {
        let Stretch { player, part, instrument, .. } = stretch;
        if instrument.natural.is_none() {
            continue;
        }
        let look = |(index, note): (usize, &PackedNote)| {
            if note.solo() || note.attached().marks.has(Mark::Stopped) {
                return None;
            }
            let (pitch, class) = super::worst(cx, part, index)?;
            (class == PartialClass::Stopped).then_some((index, pitch))
        };
        let offences = cx
            .offences(&RULE, &stretch, 0, |range| stretch.within(range).filter_map(look).collect());
        for passage in cx.passages(&RULE, player, offences) {
            let (pitch, note) = (*passage.detail(), passage.first());
            let message = format!(
                "{} must stop {} in {}{} with the hand: it is duller than the open notes around it.",
                part.player.name,
                cx.both(part, pitch, note),
                cx.form.place(note.start()),
                passage.and_more(),
            );
            let finding = cx.finding(&RULE, &passage, message);
            let mut ways = super::other_crooks(cx, &passage);
            ways.extend(super::nearest(part, pitch, note.start()));
            ways.push("mark the note `stopped` if you want that colour".to_string());
            let finding = advise(cx, &passage, finding, ways);
            let finding = super::with_crook_fix(cx, &passage, finding);
            findings.push_line(cx, passage.line, cx.with_allow_for(finding, &passage));
        }
    }
}

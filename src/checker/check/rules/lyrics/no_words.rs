//! A singer has notes without words.
//!
//! # What it finds
//! Notes of a singer to which no syllable is put and over which none is held. Words in quotation
//! marks that say what is sung there ("ah", "hum", "bocca chiusa", "vocalise") hold until the next
//! syllable.
//!
//! # Why it matters
//! A singer cannot sing the part, and asks in the rehearsal what the vowel is.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 2/4, key G major
//!   2 end }
//! voice tune { 1: 1/4 G4 A | 2: 1/2 B4 | }
//! lyrics for tune { 1: Row on | }
//! ensemble song { era 1885
//!   soprano }
//! scoring song for song {
//!   soprano plays tune as melody
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 2/4, key G major
//!   2 end }
//! voice tune { 1: 1/4 G4 A | 2: 1/2 B4 | }
//! lyrics for tune { 1: Row on | 2: now. | }
//! ensemble song { era 1885
//!   soprano }
//! scoring song for song {
//!   soprano plays tune as melody
//! }
//! ```
//!
//! # Source
//! Common practice.

use crate::check::context::{Context, Stretch};
use crate::check::{Cause, Findings, Grounds, Rule, Scope, words};
use crate::diagnostics::Severity;
use crate::instruments::Family;
use crate::music::Time;
use crate::resolve::DirectionKind;

pub const RULE: Rule = Rule {
    code: "lyrics/no-words",
    severity: Severity::Warning,
    scope: Scope::Player(check),
    grounds: Grounds::Whole,
    absence: true,
    cause: Cause::Line,
    text: include_str!("no_words.rs"),
};

/// Words that say what is sung without syllables (common practice).
const WITHOUT_SYLLABLES: [&str; 9] =
    ["ah", "oh", "oo", "ooh", "mm", "hum", "humming", "chiusa", "vocalise"];

fn check(cx: &Context, findings: &mut Findings) {
    let lyrics = &cx.arrangement.piece.lyrics;
    if lyrics.unsure {
        return;
    }
    for stretch in cx.stretches() {
        let Stretch { player, part, instrument, .. } = stretch;
        if instrument.family != Family::Voice {
            continue;
        }
        let vowels: Vec<Time> = part
            .directions
            .iter()
            .filter(|said| matches!(&said.kind, DirectionKind::Words(words) if is_vowel(words)))
            .map(|said| said.at)
            .collect();
        let mut last_sung = None;
        let mut offences = Vec::new();
        for (index, note) in stretch.notes() {
            if lyrics.sings(note.source()) {
                last_sung = Some(note.start());
                continue;
            }
            let vowel = vowels.iter().rev().find(|at| **at <= note.start());
            if vowel.is_none_or(|at| last_sung.is_some_and(|sung| sung >= *at)) {
                offences.push((index, ()));
            }
        }
        for passage in cx.passages(&RULE, player, offences) {
            let note = passage.first();
            let message = format!(
                "{} {} no words for {} in {}{}.",
                part.player.name,
                if words::is_plural(&part.player) { "have" } else { "has" },
                note.sound()
                    .pitches()
                    .iter()
                    .map(ToString::to_string)
                    .collect::<Vec<_>>()
                    .join("&"),
                cx.form.place(note.start()),
                passage.and_more(),
            );
            let finding = cx.finding(&RULE, &passage, message).with_help(
                "Write `lyrics for` the voice, a syllable for each note that is struck; or say in \
                 words what is sung: `[\"ah\"]`. Notes of `writes` take none: put them into a voice.",
            );
            findings.push_line(cx, passage.line, cx.with_allow_for(finding, &passage));
        }
    }
}

fn is_vowel(words: &str) -> bool {
    let words = words.to_lowercase();
    words.split(|c: char| !c.is_alphabetic()).any(|word| WITHOUT_SYLLABLES.contains(&word))
}

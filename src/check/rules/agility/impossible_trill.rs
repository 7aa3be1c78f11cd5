//! A trill or turn that the instrument does not have.
//!
//! # What it finds
//! Trills, mordents and turns on timpani, on slide trombones, and on valveless brass below
//! partial 8, where the neighbours lie more than a tone apart.
//!
//! # Why it matters
//! There is no finger to trill with: the neighbour does not exist, or the whole slide would have
//! to shake.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 = 120
//!   4 end }
//! voice tune { 1: 1/1 D4 | 2: C4[trill] | 3: D4 | 4: D4 | }
//! ensemble few { era 1810
//!   tenor-trombone }
//! scoring few for few {
//!   tenor-trombone plays tune as harmony
//! }
//! ```
//!
//! # Mended
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 = 120
//!   4 end }
//! voice tune { 1: 1/1 D4 | 2: C4 | 3: D4 | 4: D4 | }
//! ensemble few { era 1810
//!   tenor-trombone }
//! scoring few for few {
//!   tenor-trombone plays tune as harmony
//! }
//! ```
//!
//! # Source
//! Common practice; the distances of the partials follow from the series.

use crate::check::context::{Context, Stretch};
use crate::check::{Check, Findings, Rule};
use crate::diagnostics::Severity;
use crate::instruments::PartialClass;
use crate::resolve::Mark;

pub const RULE: Rule = Rule {
    code: "agility/impossible-trill",
    severity: Severity::Warning,
    text: include_str!("impossible_trill.rs"),
    check: Check::Scoring(check),
};

/// The lowest partial from which a lip trill with the next one is a tone or less.
const LIP_TRILL: u8 = 8;

fn check(cx: &Context, findings: &mut Findings) {
    for stretch in cx.stretches() {
        let Stretch { player, part, instrument, .. } = stretch;
        let slide = instrument.id.ends_with("trombone");
        let drums = !instrument.drums.is_empty();
        if !slide && !drums && instrument.natural.is_none() {
            continue;
        }
        let offences = stretch.notes().filter_map(|(index, note)| {
            let marks = note.attached.marks;
            let mark =
                [Mark::Trill, Mark::Mordent, Mark::Turn].into_iter().find(|m| marks.has(*m))?;
            if let Some(series) = &instrument.natural {
                let pitch = note.sound.pitches().first()?;
                let class = series.classify(part.written(*pitch, note.start), cx.era);
                let partial = match class {
                    PartialClass::OpenInTune(partial) | PartialClass::OpenOutOfTune(partial) => {
                        partial
                    }
                    _ => 0,
                };
                if partial >= LIP_TRILL {
                    return None;
                }
            }
            Some((index, mark))
        });
        for passage in cx.passages(&RULE, player, offences) {
            let word = match passage.detail() {
                Mark::Trill => "trill",
                Mark::Mordent => "mordent",
                _ => "turn",
            };
            let message = format!(
                "{} cannot play a {word} in {}{}.",
                part.player.name,
                cx.form.place(passage.first().start),
                passage.and_more(),
            );
            let help = if drums {
                "If a roll is meant, write `tremolo`.".to_string()
            } else {
                format!("Leave the {word} to the others and write the plain note.")
            };
            let finding = cx.finding(&RULE, &passage, message).with_help(help);
            findings.push_line(cx, passage.line, cx.with_allow(finding, passage.line));
        }
    }
}

//! A note for a drum that is tuned to another.
//!
//! # What it finds
//! Notes and grace notes of timpani that are not among those to which the drums are tuned at that time.
//!
//! # Why it matters
//! A drum has one note at a time. The player can only strike the nearest drum, which is wrong, or
//! leave the note out.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   3 end }
//! voice tune { 1: 1/1 C3 | 2: A2 | 3: C3 | }
//! ensemble few { era 1810
//!   timpani tuned C3, G2 }
//! scoring few for few {
//!   timpani plays tune as rhythm
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   3 end }
//! voice tune { 1: 1/1 C3 | 2: G2 | 3: C3 | }
//! ensemble few { era 1810
//!   timpani tuned C3, G2 }
//! scoring few for few {
//!   timpani plays tune as rhythm
//! }
//! ```
//!
//! # Source
//! Each drum has one note at a time, customary pair tonic and dominant: Grove, A Dictionary of
//! Music and Musicians, vol. 1, "Drum", p. 464.

use crate::arrange::PackedNote;
use crate::check::alternatives::all_pitches;
use crate::check::context::{Context, Stretch};
use crate::check::{Cause, Findings, Grounds, Rule, Scope, words};
use crate::diagnostics::Severity;

pub const RULE: Rule = Rule {
    code: "natural-brass/drum-not-tuned",
    severity: Severity::Error,
    scope: Scope::Player(check),
    grounds: Grounds::Notes,
    absence: false,
    cause: Cause::Line,
    text: include_str!("drum_not_tuned.rs"),
};

fn check(cx: &Context, findings: &mut Findings) {
    for stretch in cx.stretches() {
        let Stretch { player, part, instrument, .. } = stretch;
        if instrument.drums.is_empty() || part.drums.is_empty() {
            continue;
        }
        let tuned = |time| {
            let after = part.drums.partition_point(|(from, _)| *from <= time);
            &part.drums[after.saturating_sub(1)].1
        };
        let look = |(index, note): (usize, &PackedNote)| {
            let drums = tuned(note.start());
            let other = all_pitches(note).find(|p| drums.iter().all(|d| d.midi() != p.midi()))?;
            Some((index, other))
        };
        let offences = cx
            .offences(&RULE, &stretch, 0, |range| stretch.within(range).filter_map(look).collect());
        for passage in cx.passages(&RULE, player, offences) {
            let (pitch, note) = (*passage.detail(), passage.first());
            let drums: Vec<String> = tuned(note.start()).iter().map(ToString::to_string).collect();
            let message = format!(
                "No drum is tuned to {pitch} in {}{}: {} {} {}.",
                cx.form.place(note.start()),
                passage.and_more(),
                part.player.name,
                if words::is_plural(&part.player) { "have" } else { "has" },
                words::list(&drums, "and"),
            );
            let nearest = tuned(note.start())
                .iter()
                .min_by_key(|drum| (drum.midi() - pitch.midi()).abs())
                .map_or(String::new(), |drum| format!("Write {drum} where it fits the chord, "));
            let help = format!(
                "{nearest}let the drums rest, or retune them in a long rest: `timpani takes tuned {pitch}, … bar N`."
            );
            findings.push_line(
                cx,
                passage.line,
                cx.finding(&RULE, &passage, message).with_help(help),
            );
        }
    }
}

//! A note at the risky end of a crook or key.
//!
//! # What it finds
//! Notes above or below what the catalogue calls safe on the crook or key in force (written G5 on
//! short crooks, the weak second partial on long ones), and notes above partial 12 of a first
//! player who is not marked `solo`. Before 1760 first trumpets are clarino players and have them.
//!
//! # Why it matters
//! The note speaks on a good day; in concert it may crack in front of everybody, and the player
//! approaches it nervously.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   3 end }
//! voice tune { 1: 1/1 A4 | 2: G#5 | 3: A4 | }
//! ensemble few { era 1770
//!   horn crook A }
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
//! voice tune { 1: 1/1 A4 | 2: E5 | 3: A4 | }
//! ensemble few { era 1770
//!   horn crook A }
//! scoring few for few {
//!   horn plays tune as harmony
//! }
//! ```
//!
//! # Source
//! Short and long crooks: Berlioz, Grand traité d'instrumentation et d'orchestration modernes, 1844,
//! "Horn", from memory. Partials that are safe for a first player: Domnich, 1808, and Dauprat,
//! 1824, from memory. Clarino players, partials 8 to 16: Altenburg, 1795, general recollection. The source of
//! each crook is in the catalogue.

use crate::arrange::PackedNote;
use crate::check::alternatives::advise;
use crate::check::alternatives::{all_pitches, custom, outside};
use crate::check::context::{Context, Stretch};
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::Severity;

pub const RULE: Rule = Rule {
    code: "natural-brass/risky-note",
    severity: Severity::Advice,
    scope: Scope::Player(check),
    grounds: Grounds::Notes,
    absence: false,
    cause: Cause::Line,
    text: include_str!("risky_note.rs"),
};

fn check(cx: &Context, findings: &mut Findings) {
    for stretch in cx.stretches() {
        let Stretch { player, part, instrument, .. } = stretch;
        let Some(compass) = custom(instrument, false, cx.era) else { continue };
        let series = instrument.natural.as_ref();
        if part.tunings.is_empty() && series.is_none() {
            continue;
        }
        let clarino = super::clarino(cx, instrument);
        let first_safe =
            series.filter(|_| !clarino).and_then(|series| series.written(series.first_safe_to));
        let look = |(index, note): (usize, &PackedNote)| {
            if note.solo() {
                return None;
            }
            let tuning = part.tuning_at(note.start());
            let low = tuning.and_then(|tuning| tuning.safe_low);
            let high = tuning.and_then(|tuning| tuning.safe_high);
            // Of the second player another rule speaks.
            let first_safe = first_safe.filter(|_| !part.player.is_second());
            all_pitches(note).find_map(|pitch| {
                if outside(part, compass, pitch, note.start()).is_some() {
                    return None;
                }
                let height = part.written(pitch, note.start()).midi();
                let too_high =
                    [high, first_safe].into_iter().flatten().any(|top| height > top.midi());
                let too_low = low.is_some_and(|low| height < low.midi());
                (too_high || too_low).then_some((index, (pitch, too_low)))
            })
        };
        let offences = cx.offences_by_rank(&RULE, &stretch, 0, |range| {
            stretch.within(range).filter_map(look).collect()
        });
        for passage in cx.passages(&RULE, player, offences) {
            let ((pitch, low), note) = (*passage.detail(), passage.first());
            let message = format!(
                "{}: {} in {}{} {} a risk: {}.",
                part.player.name,
                cx.both(part, pitch, note),
                cx.form.place(note.start()),
                passage.and_more(),
                passage.verb("is", "are"),
                if low {
                    "so low it is weak and slow to speak"
                } else {
                    "so high it easily cracks"
                },
            );
            let finding = cx.finding(&RULE, &passage, message);
            let finding = advise(cx, &passage, finding, Vec::new());
            findings.push_line(cx, passage.line, cx.with_allow_for(finding, &passage));
        }
    }
}

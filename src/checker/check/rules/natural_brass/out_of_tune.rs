//! An out-of-tune partial where everybody hears it.
//!
//! # What it finds
//! Partials 7, 11, 13 and 14 of a horn or trumpet without valves where they last half a second or
//! more (our heuristic), or where they carry the melody for a beat or more. In passing they are
//! ignored. Clarino players, on the trumpets before 1760, lip partials 11 and 13: those count from
//! a second and a half (our heuristic).
//!
//! # Why it matters
//! Partial 7 lies 31 cents below the written note, 11 half-way between two notes, 13 nearer the
//! flat than the natural. Played long or alone they sound like a mistake; players lip them or, on
//! the horn, correct them with the hand, at the cost of tone.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   3 end }
//! voice tune { 1: 1/1 D4 | 2: C4 | 3: D4 | }
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
//! voice tune { 1: 1/1 D4 | 2: A3 | 3: D4 | }
//! ensemble few { era 1770
//!   horn crook D }
//! scoring few for few {
//!   horn plays tune as harmony
//! }
//! ```
//!
//! # Source
//! Cents are worked out from the series (1200 times the binary logarithm of the partial).
//! That 11 and 13 are lipped, 7 and 14 mostly avoided: general practice, from memory. How long is
//! long: our heuristic.

use crate::arrange::{PackedNote, Part};
use crate::check::alternatives::advise;
use crate::check::context::{Context, Stretch};
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::Severity;
use crate::instruments::{PartialClass, cents_from};
use crate::music::{Pitch, Time};
use crate::resolve::Role;

pub const RULE: Rule = Rule {
    code: "natural-brass/out-of-tune",
    severity: Severity::Warning,
    scope: Scope::Player(check),
    grounds: Grounds::Notes,
    absence: false,
    cause: Cause::Line,
    text: include_str!("out_of_tune.rs"),
};

/// The same for partials 11 and 13 of a clarino player, who lips them. Our heuristic.
const LIPPED: f64 = 1.5;

fn check(cx: &Context, findings: &mut Findings) {
    for stretch in cx.stretches() {
        let Stretch { player, part, instrument, .. } = stretch;
        if instrument.natural.is_none() {
            continue;
        }
        let look = |(index, _): (usize, &PackedNote)| {
            let (pitch, class) = super::worst(cx, part, index)?;
            let PartialClass::OpenOutOfTune(partial) = class else { return None };
            let note = &part.notes[index];
            let (begin, end) = cx.times(player).of(index);
            if matches!(partial, 11 | 13) && super::clarino(cx, instrument) {
                return (end - begin >= LIPPED).then_some((index, (pitch, partial)));
            }
            let beat = cx.form.bar_at(note.start()).metre.beat();
            let exposed = (note.solo() || note.role() == Role::Melody) && note.length() >= beat;
            (exposed || end - begin >= cx.limit(&RULE)).then_some((index, (pitch, partial)))
        };
        let offences = cx
            .offences(&RULE, &stretch, 0, |range| stretch.within(range).filter_map(look).collect());
        for passage in cx.passages_by(&RULE, player, offences, |(_, partial)| *partial) {
            let ((pitch, partial), note) = (*passage.detail(), passage.first());
            let cents = cents(part, pitch, note.start(), partial);
            let message = format!(
                "{}: {} in {}{} {} partial {partial}, {:.0} cents {} what is written, and {} held or exposed.",
                part.player.name,
                cx.both(part, pitch, note),
                cx.form.place(note.start()),
                passage.and_more(),
                passage.verb("is", "are"),
                cents.abs(),
                if cents < 0.0 { "flatter than" } else { "sharper than" },
                passage.verb("is", "are"),
            );
            let finding = cx.finding(&RULE, &passage, message);
            let mut ways = super::other_crooks(cx, &passage);
            ways.extend(super::nearest(part, pitch, note.start()));
            let finding = advise(cx, &passage, finding, ways);
            let finding = super::with_crook_fix(cx, &passage, finding);
            findings.push_passage(cx, &passage, cx.with_allow_for(finding, &passage));
        }
    }
}

/// Cents by which a partial lies above the written note for which it stands, in equal temperament.
fn cents(part: &Part, pitch: Pitch, time: Time, partial: u8) -> f64 {
    let Some(series) = &part.instrument_at(time).natural else { return 0.0 };
    let fundamental = series.written(1).map_or(36, |note| note.midi());
    cents_from(partial, part.written(pitch, time).midi() - fundamental)
}

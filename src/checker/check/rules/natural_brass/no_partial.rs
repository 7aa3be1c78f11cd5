//! A note that a horn or trumpet without valves does not have.
//!
//! # What it finds
//! Notes within the compass that are no partial of the series on the crook in force and that the
//! hand in the bell cannot make either: on any trumpet, and on a horn before stopping was known
//! (about 1750), every note between the partials; later on the horn, notes more than a tone below
//! a partial, but from about 1790 not those between partials 3 and 4.
//!
//! # Why it matters
//! The tube has only its own harmonics. The note cannot be played.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   3 end }
//! voice tune { 1: 1/1 D4 | 2: F4 | 3: D4 | }
//! ensemble few { era 1740
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
//! voice tune { 1: 1/1 D4 | 2: F#4 | 3: D4 | }
//! ensemble few { era 1740
//!   horn crook D }
//! scoring few for few {
//!   horn plays tune as harmony
//! }
//! ```
//!
//! # Source
//! The natural series is physics: partial n sounds n times the fundamental. Which partials
//! players used: Domnich, Méthode de premier et de second cor, 1808, and Dauprat, 1824, from
//! memory. Stopping from about 1750, wider from about 1790: modern writers, from memory; Grove, A
//! Dictionary of Music and Musicians, vol. 1, "Horn", p. 749, has about 1770.

use crate::arrange::PackedNote;
use crate::check::alternatives::advise;
use crate::check::alternatives::outside;
use crate::check::context::{Context, Stretch};
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::Severity;
use crate::instruments::{Limit, PartialClass};

pub const RULE: Rule = Rule {
    code: "natural-brass/no-partial",
    severity: Severity::Error,
    scope: Scope::Player(check),
    grounds: Grounds::Notes,
    absence: false,
    cause: Cause::Line,
    text: include_str!("no_partial.rs"),
};

fn check(cx: &Context, findings: &mut Findings) {
    for stretch in cx.stretches() {
        let Stretch { player, part, instrument, .. } = stretch;
        if instrument.natural.is_none() {
            continue;
        }
        let Some(compass) = instrument.compass(Limit::Instrument, cx.era) else { continue };
        let look = |(index, _): (usize, &PackedNote)| {
            let (pitch, class) = super::worst(cx, part, index)?;
            let within = outside(part, compass, pitch, part.notes[index].start()).is_none();
            (class == PartialClass::NotAvailable && within).then_some((index, pitch))
        };
        let offences = cx
            .offences(&RULE, &stretch, 0, |range| stretch.within(range).filter_map(look).collect());
        for passage in cx.passages(&RULE, player, offences) {
            let (pitch, note) = (*passage.detail(), passage.first());
            let message = format!(
                "{} has no {} in {}{}: not a partial of {}.",
                part.player.name,
                cx.both(part, pitch, note),
                cx.form.place(note.start()),
                passage.and_more(),
                crook(part, note.start()),
            );
            let finding = cx.finding(&RULE, &passage, message);
            let mut ways = super::other_crooks(cx, &passage);
            ways.extend(super::nearest(part, pitch, note.start()));
            let finding = advise(cx, &passage, finding, ways);
            findings.push_line(cx, passage.line, super::with_crook_fix(cx, &passage, finding));
        }
    }
}

fn crook(part: &crate::arrange::Part, time: crate::music::Time) -> String {
    match part.tuning_at(time) {
        Some(tuning) => format!("the {} crook", tuning.name),
        None => "the tube".to_string(),
    }
}

//! A chord that two hands cannot take.
//!
//! # What it finds
//! Chords for harp and keyboards that cannot be shared between two hands: more notes than fingers,
//! or notes that lie wider apart than a hand spans. A spread chord (`[arpeggio]`) is judged by the
//! number of notes alone.
//!
//! # Why it matters
//! The player leaves notes out, and which ones the arranger does not learn until the rehearsal.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   2 end }
//! voice tune { 1: 1/1 C3&E3&G3&C4&E4&G4&C5&E5&G5&C6 | 2: 1/1 C4 | }
//! ensemble few { era 1885
//!   harp }
//! scoring few for few {
//!   harp plays tune as harmony
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   2 end }
//! voice tune { 1: 1/1 C3&G3&C4&E4&G4&C5&E5 | 2: 1/1 C4 | }
//! ensemble few { era 1885
//!   harp }
//! scoring few for few {
//!   harp plays tune as harmony
//! }
//! ```
//!
//! # Source
//! Four fingers and a tenth in each hand on the harp, five and a ninth on keyboards: common
//! practice, stated in the catalogue.

use crate::arrange::PackedNote;
use crate::check::context::{Context, Stretch};
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::Severity;
use crate::instruments::Grasp;
use crate::resolve::Mark;

pub const RULE: Rule = Rule {
    code: "agility/grasp",
    severity: Severity::Warning,
    scope: Scope::Player(check),
    grounds: Grounds::Notes,
    absence: false,
    cause: Cause::Line,
    text: include_str!("grasp.rs"),
};

fn check(cx: &Context, findings: &mut Findings) {
    for stretch in cx.stretches() {
        let Stretch { player, part, instrument, .. } = stretch;
        let Some(grasp) = &instrument.grasp else { continue };
        let offends = |note: &PackedNote| {
            let keys: Vec<i32> = note.sound().pitches().iter().map(|p| p.midi()).collect();
            !two_hands(&keys, grasp, note.attached().marks.has(Mark::Arpeggio))
        };
        let offences = cx.offences_of_notes(&RULE, &stretch, offends);
        for passage in cx.passages(&RULE, player, offences) {
            let note = passage.first();
            let count = note.sound().pitches().len();
            let message = format!(
                "{}: two hands cannot take the {count} notes of the chord in {}{}.",
                part.player.name,
                cx.form.place(note.start()),
                passage.and_more(),
            );
            let finding = cx.finding(&RULE, &passage, message).with_help(format!(
                "Each hand has {} fingers and spans {} semitones: leave notes out, set them closer, or spread the chord.",
                grasp.fingers, grasp.span
            ));
            findings.push_line(cx, passage.line, cx.with_allow_for(finding, &passage));
        }
    }
}

/// Can two hands share these notes (key numbers from the lowest up)?
fn two_hands(keys: &[i32], grasp: &Grasp, spread: bool) -> bool {
    let fits = |hand: &[i32]| match hand {
        [] => true,
        [low, .., high] => {
            hand.len() <= usize::from(grasp.fingers)
                && (spread || high - low <= i32::from(grasp.span))
        }
        [_] => true,
    };
    (0..=keys.len()).any(|split| fits(&keys[..split]) && fits(&keys[split..]))
}

//! Another part goes below the bass line.
//!
//! # What it finds
//! Notes of other roles that sound below the lowest note of the bass line, on another letter, for
//! an eighth of a second or more. Doubling the bass an octave lower does not count, nor does the bass
//! note of the declared chord, held under a bass that leaps through it; timpani are not looked at.
//!
//! # Why it matters
//! The lowest note is the bass, whoever plays it: the chord is in another inversion than the
//! one that was written.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! voice tune { 1: 1/1 E4 | 2: E4 | 3: E4 | 4: E4 | }
//! voice low { 1: 1/1 C4 | 2: C4 | 3: C4 | 4: C4 | }
//! voice mid { 1: 1/1 G4 | 2: G3 | 3: G4 | 4: G4 | }
//! ensemble few { era 1810
//!   violin-1 8 players, viola 4 players, cello 4 players }
//! scoring few for few {
//!   violin-1 plays tune as harmony
//!   viola plays mid as harmony
//!   cello plays low as bass
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! voice tune { 1: 1/1 E4 | 2: E4 | 3: E4 | 4: E4 | }
//! voice low { 1: 1/1 C4 | 2: C4 | 3: C4 | 4: C4 | }
//! voice mid { 1: 1/1 G4 | 2: G4 | 3: G4 | 4: G4 | }
//! ensemble few { era 1810
//!   violin-1 8 players, viola 4 players, cello 4 players }
//! scoring few for few {
//!   violin-1 plays tune as harmony
//!   viola plays mid as harmony
//!   cello plays low as bass
//! }
//! ```
//!
//! # Source
//! Common practice.

use crate::arrange::PackedNote;
use crate::check::context::Context;
use crate::check::slices::Sounding;
use crate::check::words;
use crate::check::{Cause, Findings, Grounds, Rule, Scope, sharing};
use crate::diagnostics::{Severity, Span};
use crate::music::Pitch;
use crate::resolve::Role;

pub const RULE: Rule = Rule {
    code: "harmony/below-bass",
    severity: Severity::Warning,
    scope: Scope::Moment(check),
    grounds: Grounds::Together,
    absence: false,
    cause: Cause::Source,
    text: include_str!("below_bass.rs"),
};

/// Seconds below which it is let go. Our heuristic.
const SHORT: f64 = 0.125;

fn check(cx: &Context, findings: &mut Findings) {
    let parts = &cx.arrangement.parts;
    let moments = cx.moments(&RULE, |slice, found: &mut Vec<(Sounding, Pitch)>| {
        let counted = || slice.sounding.iter().filter(|s| super::counts(cx, **s));
        let bass = counted()
            .filter(|s| s.of(parts).role() == Role::Bass)
            .filter_map(|s| s.of(parts).sound().pitches().first().copied())
            .min();
        let Some(bass) = bass else { return };
        let declared = super::chord(cx, slice.start).map(|chord| chord.bass_note().class());
        for &sounding in counted() {
            let note = sounding.of(parts);
            let Some(low) = note.sound().pitches().first() else { continue };
            let under = low.midi() < bass.midi() && (bass.midi() - low.midi()) % 12 != 0;
            let declared = declared == Some(low.name().class());
            if note.role() != Role::Bass && under && !declared {
                found.push((sounding, bass));
            }
        }
    });
    let offences = super::lasting(cx, moments, SHORT, |sounding| *sounding);
    let cause = |_, note: &PackedNote, bass: &Pitch| {
        let low = note.sound().pitches().first().copied().unwrap_or(*bass);
        (sharing::cause(note, low), Some((Span::default(), bass.midi().rem_euclid(12))))
    };
    for (passage, others) in sharing::causes(cx, &RULE, offences, cause) {
        let note = passage.first();
        let message = format!(
            "{}: {} in {}{} {} below the bass, {}, and {} the inversion.",
            passage.part.player.name,
            super::both_pitches(cx, passage.part, note),
            cx.form.place(note.start()),
            passage.and_more(),
            passage.verb("lies", "lie"),
            passage.detail(),
            passage.verb("changes", "change"),
        );
        let finding = cx.finding(&RULE, &passage, message).with_help(format!(
            "Set the notes {}, or let a deeper instrument double the bass an octave lower.",
            words::octaves(1)
        ));
        let finding = cx.with_allow_for(finding, &passage);
        findings.push_shared(cx, &passage, others, finding);
    }
}

#[cfg(test)]
mod tests {
    use crate::check::tests::findings;

    /// What is found while the bass leaps from C3 to G3 over a held C.
    fn under_the_bass(harmony: &str, held: &str) -> usize {
        let text = format!(
            "piece \"Ferry\" {{ composer \"House copyist\" }}\n\
             form {{ 1 metre 4/4, key C major, tempo 1/4 at 60\n 1 end }}\n{harmony}\
             voice tune {{ 1: 1/1 E5 | }}\nvoice low {{ 1: 1/2 C3 G3 | }}\n\
             voice fill {{ 1: 1/1 {held} | }}\n\
             ensemble few {{ era 1885\n oboe, bassoon, cello 4 players }}\n\
             scoring few for few {{\n oboe plays tune as melody\n bassoon plays fill as harmony\n\
             cello plays low as bass\n}}\n"
        );
        findings(&text).iter().filter(|found| found.code == super::RULE.code).count()
    }

    #[test]
    fn the_bass_of_the_declared_chord_may_be_held_under_a_bass_that_leaps() {
        assert_eq!(under_the_bass("harmony { 1: C | }\n", "C3"), 0);
        assert_eq!(under_the_bass("", "C3"), 1);
        assert_eq!(under_the_bass("harmony { 1: C/E | }\n", "C3"), 1);
        assert_eq!(under_the_bass("harmony { 1: C/E | }\n", "E3"), 0);
        assert_eq!(under_the_bass("harmony { 1: C | }\n", "E3"), 1);
    }
}

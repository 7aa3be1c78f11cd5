//! The leading note is doubled.
//!
//! # What it finds
//! In a declared dominant chord (on the fifth or seventh degree of the key), and in a declared
//! dominant seventh of any key that resolves a fifth down, the leading note is sounded for a third
//! of a second or more by two parts that do not double each other. A part that
//! only touches it, for less than half of the chord, and leaps on to another note of the same
//! chord does not count; nor do octaves between two families where six or more accompany, and
//! unisons between two families where twelve or more do (our heuristic), as is common practice in a
//! tutti; nor does a chord of three notes and more, which a
//! keyboard or a harp fills the harmony with (our heuristic).
//!
//! # Why it matters
//! The leading note wants to rise. Two of them make parallel octaves or let one hang, and the
//! chord sounds sharp.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! harmony { 1: C | 2: G7 | 3: C | 4: C | }
//! voice tune { 1: 1/1 C5 | 2: B4 | 3: C5 | 4: C5 | }
//! voice mid { 1: 1/1 G4 | 2: B3 | 3: G4 | 4: G4 | }
//! voice low { 1: 1/1 C3 | 2: G2 | 3: C3 | 4: C3 | }
//! ensemble few { era 1810
//!   violin-1 8 players, violin-2 8 players, cello 4 players }
//! scoring few for few {
//!   violin-1 plays tune as melody
//!   violin-2 plays mid as harmony
//!   cello plays low as bass
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! harmony { 1: C | 2: G7 | 3: C | 4: C | }
//! voice tune { 1: 1/1 C5 | 2: B4 | 3: C5 | 4: C5 | }
//! voice mid { 1: 1/1 G4 | 2: F4 | 3: E4 | 4: E4 | }
//! voice low { 1: 1/1 C3 | 2: G2 | 3: C3 | 4: C3 | }
//! ensemble few { era 1810
//!   violin-1 8 players, violin-2 8 players, cello 4 players }
//! scoring few for few {
//!   violin-1 plays tune as melody
//!   violin-2 plays mid as harmony
//!   cello plays low as bass
//! }
//! ```
//!
//! # Source
//! Common practice of part-writing; the length is our heuristic.

use crate::arrange::SoundingNote;
use crate::check::context::Context;
use crate::check::slices::Sounding;
use crate::check::words;
use crate::check::{Cause, Findings, Grounds, Rule, Scope, sharing};
use crate::diagnostics::Severity;
use crate::music::Pitch;
use crate::resolve::HarmonyEvent;

pub const RULE: Rule = Rule {
    code: "harmony/doubled-leading-note",
    severity: Severity::Advice,
    scope: Scope::Moment(check),
    grounds: Grounds::Together,
    absence: false,
    cause: Cause::Source,
    text: include_str!("doubled_leading_note.rs"),
};

/// Notes of one player from which they are a chord that fills the harmony. Our heuristic.
const FULL_CHORD: usize = 3;
/// Seconds from which it counts. Our heuristic.
const LONG: f64 = 0.33;

fn check(cx: &Context, findings: &mut Findings) {
    let parts = &cx.arrangement.parts;
    let mut leading: Vec<(Sounding, Pitch)> = Vec::new();
    let moments = cx.moments(&RULE, |slice, found: &mut Vec<(Sounding, (Sounding, Pitch))>| {
        let Some(event) = super::event(cx, slice.start) else { return };
        let Some(class) = leading_class(cx, event) else { return };
        leading.clear();
        for &sounding in slice.sounding.iter().filter(|s| super::counts(cx, **s)) {
            let mut pitches = sounding.of(parts).sound.pitches().iter();
            if pitches.len() >= FULL_CHORD {
                continue;
            }
            if let Some(pitch) = pitches.find(|p| p.midi().rem_euclid(12) == class)
                && !touches(cx, sounding, event)
            {
                leading.push((sounding, *pitch));
            }
        }
        // The highest keeps it, whoever has it below doubles it.
        leading
            .sort_by_key(|(s, _)| std::cmp::Reverse(s.of(parts).sound.pitches().last().copied()));
        let Some((&(first, _), rest)) = leading.split_first() else { return };
        let filling = super::filling(cx, &slice);
        for &(other, pitch) in rest {
            let of_tutti = leading
                .iter()
                .filter(|(one, _)| *one != other)
                .all(|one| super::doubles_in_tutti(cx, filling, *one, (other, pitch)));
            if !of_tutti && !super::doubling(cx, first, other) {
                found.push((other, (first, pitch)));
            }
        }
    });
    let offences = super::lasting(cx, moments, LONG, |other| *other);
    let cause = |note: &SoundingNote, (first, pitch): &(Sounding, Pitch)| {
        (sharing::cause(note, *pitch), Some(sharing::cause(first.of(parts), *pitch)))
    };
    for (passage, others) in sharing::causes(cx, &RULE, offences, cause) {
        let note = passage.first();
        let (other, _) = *passage.detail();
        let with = cx.part(usize::from(other.player));
        let message = format!(
            "{} {} the leading note of {} in {}{}.",
            passage.part.player.name,
            if words::is_plural(&passage.part.player) { "double" } else { "doubles" },
            with.player.name,
            cx.form.place(note.start.max(other.of(parts).start)),
            passage.and_more(),
        );
        let finding = cx
            .finding(&RULE, &passage, message)
            .with_label(other.of(parts).source, format!("the leading note of {}", with.player.name))
            .with_help("Give one of the two the root or the fifth of the chord.");
        let finding = cx.with_allow_for(finding, &passage);
        findings.push_shared(cx, &passage, others, finding);
    }
}

/// The class of the leading note in a chord: that of the key in its dominant, or the third of a
/// dominant seventh that resolves a fifth down, whatever key that belongs to.
fn leading_class(cx: &Context, event: &HarmonyEvent) -> Option<i32> {
    let chord = event.chord;
    let key = cx.form.bar_at(event.start).key;
    let class = key.leading_note().class();
    let root = chord.root.class();
    if (root == key.degree(5).class() || root == class) && chord.has_class(class) {
        return Some(class);
    }
    let seventh = [4, 10].iter().all(|up| chord.has_class((root + up) % 12));
    let next = super::event(cx, event.start + event.length)?;
    let resolves = next.chord.root.class() == (root + 5) % 12;
    (seventh && resolves).then_some((root + 4) % 12)
}

/// Does a part only touch its note on the way through the notes of a chord?
fn touches(cx: &Context, sounding: Sounding, event: &HarmonyEvent) -> bool {
    let notes = &cx.part(usize::from(sounding.player)).notes;
    let note = &notes[sounding.note as usize];
    let (Some(next), Some(from)) = (notes.get(sounding.note as usize + 1), super::single(note))
    else {
        return false;
    };
    let leaps = super::single(next).is_some_and(|to| {
        (to.midi() - from.midi()).abs() > 2 && event.chord.has_class(to.midi().rem_euclid(12))
    });
    let goes_on = next.start == note.end() && next.start < event.start + event.length;
    leaps && goes_on && note.length + note.length < event.length
}

#[cfg(test)]
mod tests {
    use crate::check::tests::findings;

    #[test]
    fn the_third_of_a_secondary_dominant_is_a_leading_note_too() {
        let doubled = |next: &str| {
            let text = format!(
                "piece \"Ferry\" {{ composer \"House copyist\" }}\n\
                 form {{ 1 metre 4/4, key C major, tempo 1/4 at 96\n 4 end }}\n\
                 harmony {{ 1: C | 2: D7 | 3: {next} | 4: C | }}\n\
                 voice tune {{ 1: 1/1 G4 | 2: F#4 | 3: G4 | 4: G4 | }}\n\
                 voice fill {{ 1: 1/1 C4 | 2: F#3 | 3: B3 | 4: E3 | }}\n\
                 ensemble few {{ era 1885\n oboe, bassoon }}\n\
                 scoring few for few {{\n oboe plays tune as melody\n bassoon plays fill as harmony\n}}\n"
            );
            findings(&text).iter().filter(|found| found.code == super::RULE.code).count()
        };
        assert_eq!(doubled("G"), 1);
        assert_eq!(doubled("Em"), 0, "it does not resolve");
    }
}

//! A note against its own alteration in another part.
//!
//! # What it finds
//! Two players who sound one letter with different accidentals at once, F against F sharp, for a
//! third of a second or more (our heuristic). It needs no declared harmony. Unequal notes of one
//! source line, timpani, and notes that only pass (shorter than half a beat) do not count.
//!
//! # Why it matters
//! In nearly every case one of the two accidentals was forgotten: the players stop and ask which
//! part is right.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! voice tune { 1: 1/1 D5 | 2: 1/1 F#5 | 3: 1/1 G5 | 4: 1/1 G5 | }
//! voice fill { 1: 1/1 A4 | 2: 1/1 F4 | 3: 1/1 D4 | 4: 1/1 B4 | }
//! ensemble few { era 1885
//!   flute, clarinet in Bb }
//! scoring few for few {
//!   flute plays tune as melody
//!   clarinet plays fill as harmony
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! voice tune { 1: 1/1 D5 | 2: 1/1 F#5 | 3: 1/1 G5 | 4: 1/1 G5 | }
//! voice fill { 1: 1/1 A4 | 2: 1/1 A4 | 3: 1/1 D4 | 4: 1/1 B4 | }
//! ensemble few { era 1885
//!   flute, clarinet in Bb }
//! scoring few for few {
//!   flute plays tune as melody
//!   clarinet plays fill as harmony
//! }
//! ```
//!
//! # Source
//! Common practice of part-writing; the figures are our heuristic.

use crate::arrange::SoundingNote;
use crate::check::context::Context;
use crate::check::slices::Sounding;
use crate::check::{Cause, Findings, Grounds, Rule, Scope, sharing};
use crate::diagnostics::Severity;
use crate::music::Pitch;

pub const RULE: Rule = Rule {
    code: "harmony/cross-relation",
    severity: Severity::Warning,
    scope: Scope::Moment(check),
    grounds: Grounds::Together,
    absence: false,
    cause: Cause::Source,
    text: include_str!("cross_relation.rs"),
};

/// The note, the note against which it sounds, and whose that is.
type Clash = (Pitch, Pitch, Sounding);

fn check(cx: &Context, findings: &mut Findings) {
    let parts = &cx.arrangement.parts;
    let moments = cx.moments(&RULE, |slice, found: &mut Vec<((Sounding, i32), Clash)>| {
        // By letter: the first note of the slice with it.
        let mut letters: [Option<(Sounding, Pitch)>; 7] = [None; 7];
        let beat = |time| cx.form.bar_at(time).metre.beat();
        let here = beat(slice.start);
        for &sounding in slice.sounding.iter().filter(|s| super::counts(cx, **s)) {
            let note = sounding.of(parts);
            let beat = if note.start == slice.start { here } else { beat(note.start) };
            if note.length + note.length < beat {
                continue;
            }
            for pitch in note.sound.pitches() {
                let letter = pitch.step().rem_euclid(7);
                match letters[letter as usize] {
                    Some((other, with)) if with.name().alter != pitch.name().alter => {
                        if other.of(parts).source != note.source {
                            found.push(((sounding, letter), (*pitch, with, other)));
                        }
                    }
                    Some(_) => {}
                    None => letters[letter as usize] = Some((sounding, *pitch)),
                }
            }
        }
    });
    let offences = super::lasting(cx, moments, cx.limit(&RULE), |(sounding, _)| *sounding);
    let cause = |note: &SoundingNote, (pitch, with, other): &Clash| {
        (sharing::cause(note, *pitch), Some(sharing::cause(other.of(parts), *with)))
    };
    for (passage, others) in sharing::causes(cx, &RULE, offences, cause) {
        let (pitch, with, other) = *passage.detail();
        let against = cx.part(usize::from(other.player));
        let message = format!(
            "{}: {} sounds against {with} of {} in {}{}.",
            passage.part.player.name,
            cx.both(passage.part, pitch, passage.first()),
            against.player.name,
            cx.form.place(passage.first().start.max(other.of(parts).start)),
            passage.and_more(),
        );
        let finding = cx
            .finding(&RULE, &passage, message)
            .with_label(other.of(parts).source, format!("the note of {}", against.player.name))
            .with_help(
                "Give both the same accidental, or let one of them take another note of the chord.",
            );
        let finding = cx.with_allow_for(finding, &passage);
        findings.push_shared(cx, &passage, others, finding);
    }
}

//! The seventh of a dominant does not fall.
//!
//! # What it finds
//! A part that has the seventh of a declared dominant seventh at the end of the chord, and neither falls
//! by a step as the next chord begins, nor within two beats, nor holds it; where a rest follows, the
//! rule is silent. It needs a next chord that has the note a step below and not the seventh itself. A
//! chromatic step up does not count, nor a seventh that passes between the beats, nor one that another
//! part has too and resolves, nor one in a chord of three notes and more of one player, nor the one above a bass that rises from the fifth of the dominant to the
//! note on which the seventh would fall.
//!
//! # Why it matters
//! The seventh is a dissonance, and the ear waits for the note below it. Where it leaps away or rises,
//! the cadence loses its point, and the third of the next chord is often missing.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! harmony { 1: C | 2: G7 | 3: C | 4: C | }
//! voice tune { 1: 1/1 C5 | 2: B4 | 3: C5 | 4: C5 | }
//! voice mid { 1: 1/1 E4 | 2: F4 | 3: G4 | 4: G4 | }
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
//! voice mid { 1: 1/1 E4 | 2: F4 | 3: E4 | 4: E4 | }
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
//! E. Prout, Harmony: Its Theory and Practice, 1889, the chapters on the dominant seventh and its
//! inversions (from memory). How long a resolution may be delayed is our heuristic.

use crate::arrange::{PackedNote, Part};
use crate::check::context::Context;
use crate::check::{Cause, Findings, Grounds, Rule, Scope, sharing};
use crate::diagnostics::Severity;
use crate::instruments::Family;
use crate::music::{Chord, Pitch, PitchName, Time};
use crate::resolve::HarmonyEvent;

pub const RULE: Rule = Rule {
    code: "harmony/unresolved-seventh",
    severity: Severity::Advice,
    scope: Scope::Scoring(check),
    grounds: Grounds::Together,
    absence: false,
    cause: Cause::Source,
    text: include_str!("unresolved_seventh.rs"),
};

/// A dominant seventh and the chord that it goes to.
struct Dominant {
    chord: Chord,
    seventh: PitchName,
    /// When it goes on.
    end: Time,
    /// A resolution may come so late.
    until: Time,
    beat: Time,
}

/// A seventh that is left: the pitch, its chord, and where the part goes.
#[derive(Clone, Copy)]
struct Left {
    pitch: Pitch,
    chord: Chord,
    to: Pitch,
}

/// What becomes of the seventh of a part.
enum Fate {
    Resolved,
    /// At the index of a note.
    Left(usize, Left),
}

fn check(cx: &Context, findings: &mut Findings) {
    let mut offences: Vec<Vec<(usize, Left)>> = Vec::new();
    offences.resize_with(cx.arrangement.parts.len(), Vec::new);
    for pair in cx.piece.harmony.windows(2) {
        let Some(dominant) = dominant(cx, &pair[0], &pair[1]) else { continue };
        let mut left = Vec::new();
        let mut resolved = false;
        for (player, part) in cx.parts() {
            match fate(cx, part, &dominant) {
                Some(Fate::Resolved) => resolved = true,
                Some(Fate::Left(index, seventh)) => left.push((player, index, seventh)),
                None => {}
            }
        }
        let bass = bass(cx, dominant.end);
        for (player, index, seventh) in left.into_iter().filter(|_| !resolved) {
            if !bass.is_some_and(|bass| bass_takes_it(&dominant, bass, seventh)) {
                offences[player].push((index, seventh));
            }
        }
    }
    let cause = |_, note: &PackedNote, left: &Left| (sharing::cause(note, left.pitch), None);
    for (passage, others) in sharing::causes(cx, &RULE, offences, cause) {
        let note = passage.first();
        let Left { pitch, chord, to } = *passage.detail();
        let message = format!(
            "{}: {} in {}, the seventh of {chord}, goes to {to} and not down by a step{}.",
            passage.part.player.name,
            cx.both(passage.part, pitch, note),
            cx.form.place(note.start()),
            passage.and_more(),
        );
        let finding = cx.finding(&RULE, &passage, message).with_help(
            "Let it fall by a step, hold it until it can, or give the seventh to a part that falls.",
        );
        let finding = cx.with_allow_for(finding, &passage);
        findings.push_shared(cx, &passage, others, finding);
    }
}

/// A declared dominant seventh, if its seventh can resolve into the next chord.
fn dominant(cx: &Context, event: &HarmonyEvent, next: &HarmonyEvent) -> Option<Dominant> {
    let chord = event.chord;
    let end = event.start + event.length;
    let above = |semitones: i32| {
        let class = (chord.root.class() + semitones) % 12;
        chord.members().into_iter().find(|member| member.class() == class)
    };
    let seventh = above(10).filter(|_| above(4).is_some() && end == next.start)?;
    let below = next.chord.members().into_iter().any(|member| {
        (member.letter.step() + 1 - seventh.letter.step()) % 7 == 0
            && (1..=2).contains(&(seventh.class() - member.class()).rem_euclid(12))
    });
    let beat = cx.form.bar_at(end).metre.beat();
    let until = (end + beat * 2).min(next.start + next.length);
    let goes = below && !next.chord.has_class(seventh.class());
    goes.then_some(Dominant { chord, seventh, end, until, beat })
}

/// What becomes of the seventh that a part has at the end of its chord; `None` where it has none.
fn fate(cx: &Context, part: &Part, dominant: &Dominant) -> Option<Fate> {
    if part.first_instrument().family == Family::Percussion {
        return None;
    }
    let notes = &part.notes;
    let after = notes.partition_point(|note| note.start() < dominant.end);
    let index = after.checked_sub(1)?;
    let note = &notes[index];
    let class = dominant.seventh.class();
    let pitches = note.sound().pitches();
    if pitches.len() >= super::FULL_CHORD {
        return None;
    }
    let pitch = *pitches.iter().find(|pitch| pitch.midi().rem_euclid(12) == class)?;
    if note.end() > dominant.end {
        return Some(Fate::Resolved);
    }
    let next = notes.get(after).filter(|next| next.start() - dominant.end < dominant.beat)?;
    let silent = dominant.end - note.end() + (next.start() - dominant.end);
    if silent >= dominant.beat || passes(cx, note, dominant) {
        return None;
    }
    let falls = |to: &Pitch| {
        let way = to.step() - pitch.step();
        way == -1 || *to == pitch || way == 0 && to.midi() > pitch.midi()
    };
    let soon = notes[after..].iter().take_while(|next| next.start() < dominant.until);
    if soon.flat_map(|next| next.sound().pitches()).any(falls) {
        return Some(Fate::Resolved);
    }
    let nearest = |to: &&Pitch| (to.midi() - pitch.midi()).abs();
    let to = *next.sound().pitches().iter().min_by_key(nearest)?;
    Some(Fate::Left(index, Left { pitch, chord: dominant.chord, to }))
}

/// Is it a short note between the beats?
fn passes(cx: &Context, note: &PackedNote, dominant: &Dominant) -> bool {
    note.length() * 2 <= dominant.beat && cx.form.weight(note.start()) == 0
}

/// The lowest notes just before and at a time.
fn bass(cx: &Context, time: Time) -> Option<(Pitch, Pitch)> {
    let lowest = |found: Option<Pitch>, new: Pitch| {
        Some(found.map_or(new, |known| if new.midi() < known.midi() { new } else { known }))
    };
    let (mut before, mut then) = (None, None);
    for (_, part) in cx.parts().filter(|(_, p)| p.first_instrument().family != Family::Percussion) {
        let after = part.notes.partition_point(|note| note.start() < time);
        let last = after.checked_sub(1).map(|last| &part.notes[last]);
        if let Some(low) =
            last.filter(|n| n.end() == time).and_then(|n| n.sound().pitches().first())
        {
            before = lowest(before, *low);
        }
        let next = part.notes.get(after).filter(|next| next.start() == time);
        if let Some(low) = next.and_then(|n| n.sound().pitches().first()) {
            then = lowest(then, *low);
        }
    }
    before.zip(then)
}

/// Does the bass rise from the fifth of the chord to the note on which the seventh should fall, and the
/// seventh with it?
fn bass_takes_it(dominant: &Dominant, (before, then): (Pitch, Pitch), seventh: Left) -> bool {
    let fifth = (dominant.chord.root.class() + 7) % 12;
    let below = (seventh.pitch.step() - 1 - then.step()) % 7 == 0;
    before.midi().rem_euclid(12) == fifth
        && then.step() - before.step() == 1
        && seventh.to.step() - seventh.pitch.step() == 1
        && below
}

//! Pitches that were probably typed as the player reads them.
//!
//! # What it finds
//! Lines written by hand for a transposing instrument of which at most half of the notes fit what
//! sounds with them, while four in five or more would fit if they had been typed as the player reads
//! them (our heuristic; four notes or more). What they have to fit is the declared chord, or where none
//! is declared, what the other players sound.
//!
//! # Why it matters
//! Sources hold sounding pitch for every instrument; the transposition is the compiler's work. Notes
//! copied from a part come out a tone, a third or a fifth wrong, all of them.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! harmony { 1: C | 2: G | 3: C | 4: C | }
//! voice tune { 1: 1/1 E5 | 2: D5 | 3: E5 | 4: E5 | }
//! ensemble few { era 1810
//!   clarinet in Bb, violin-1 8 players }
//! scoring few for few {
//!   violin-1 plays tune as melody
//!   clarinet writes as harmony {
//!     1: 1/2 A4 F#4 |
//!     2: 1/2 A4 C#5 |
//!     3: 1/2 F#4 D5 |
//!     4: 1/1 D5 |
//!   }
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! harmony { 1: C | 2: G | 3: C | 4: C | }
//! voice tune { 1: 1/1 E5 | 2: D5 | 3: E5 | 4: E5 | }
//! ensemble few { era 1810
//!   clarinet in Bb, violin-1 8 players }
//! scoring few for few {
//!   violin-1 plays tune as melody
//!   clarinet writes as harmony {
//!     1: 1/2 G4 E4 |
//!     2: 1/2 G4 B4 |
//!     3: 1/2 E4 C5 |
//!     4: 1/1 C5 |
//!   }
//! }
//! ```
//!
//! # Source
//! Our heuristic.

use crate::arrange::{LineId, PackedNote, Part};
use crate::check::context::Context;
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::Severity;
use crate::instruments::Family;
use crate::music::Pitch;
use crate::resolve::Verb;

pub const RULE: Rule = Rule {
    code: "notation/typed-as-written",
    severity: Severity::Warning,
    scope: Scope::Scoring(check),
    grounds: Grounds::Together,
    absence: false,
    cause: Cause::Line,
    text: include_str!("typed_as_written.rs"),
};

/// Fewest notes that say something. Our heuristic.
const NOTES: usize = 4;

fn check(cx: &Context, findings: &mut Findings) {
    for (player, part) in cx.parts() {
        for (line, _) in cx.lines() {
            let Some(own) = suspect(cx, part, line) else { continue };
            let own = own.into_iter().map(|index| (index, ())).collect();
            for passage in cx.passages(&RULE, player, own) {
                let note = passage.first();
                let Some(&pitch) = note.sound().pitches().first() else { continue };
                let message = format!(
                    "{}: the notes of this line were probably typed as the player reads them ({} in {}{}).",
                    part.player.name,
                    cx.both(part, pitch, note),
                    cx.form.place(note.start()),
                    passage.and_more(),
                );
                let finding = cx.finding(&RULE, &passage, message).with_help(format!(
                    "Sources hold sounding pitch: write {} for what this player reads as {pitch}.",
                    pitch.transposed_or_respelled(part.transposition_at(note.start())),
                ));
                findings.push_line(cx, passage.line, cx.with_allow_for(finding, &passage));
            }
        }
    }
}

/// The notes of a line of a part, as indices, if they were probably typed as written.
pub(in crate::check::rules) fn suspect(
    cx: &Context,
    part: &Part,
    line: LineId,
) -> Option<Vec<usize>> {
    if !cx.line(line).is_some_and(|line| matches!(line.verb, Verb::Writes(_))) {
        return None;
    }
    let (mut own, mut now, mut read) = (Vec::new(), 0, 0);
    for (index, note) in
        part.notes.iter().enumerate().filter(|(_, note)| part.line_of(note) == line)
    {
        let by = part.transposition_at(note.start());
        if by.semitones % 12 == 0 {
            continue;
        }
        let there = sounding_beside(cx, line, note);
        let (true, Some(&pitch)) = (there != 0, note.sound().pitches().first()) else { continue };
        let fits = |pitch: Pitch| usize::from(there & 1 << pitch.midi().rem_euclid(12) != 0);
        own.push(index);
        now += fits(pitch);
        read += fits(pitch.transposed_or_respelled(by));
    }
    let many = own.len();
    (many >= NOTES && now * 2 <= many && read * 5 >= many * 4).then_some(own)
}

/// The classes of what sounds with a note where it begins, a bit each: the declared chord, or what
/// other lines give.
fn sounding_beside(cx: &Context, line: LineId, note: &PackedNote) -> u16 {
    let add = |mask: u16, class: i32| mask | 1 << class.rem_euclid(12);
    let events = &cx.piece.harmony;
    if !events.is_empty() {
        let after = events.partition_point(|event| event.start <= note.start());
        let event = after.checked_sub(1).map(|at| &events[at]);
        let event = event.filter(|event| note.start() < event.start + event.length);
        return event
            .map_or(0, |event| event.chord.members().iter().map(|name| name.class()).fold(0, add));
    }
    let mut mask = 0;
    for (_, part) in cx.parts() {
        let after = part.notes.partition_point(|other| other.start() <= note.start());
        let Some(other) = after.checked_sub(1).map(|at| &part.notes[at]) else { continue };
        let pitched = part.instrument_at(note.start()).family != Family::Percussion;
        if pitched && part.line_of(other) != line && note.start() < other.end() {
            mask = other.sound().pitches().iter().map(|pitch| pitch.midi()).fold(mask, add);
        }
    }
    mask
}

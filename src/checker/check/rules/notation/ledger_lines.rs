//! More ledger lines than three, whichever clef is taken.
//!
//! # What it finds
//! Bars in which every clef that the instrument uses leaves a note with more than three ledger
//! lines, though each note for itself has a clef that suits it.
//!
//! # Why it matters
//! One clef change a bar is as much as one reads. Notes on the fourth ledger line are guessed.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! voice tune { 1: 1/1 C3 | 2: 1/4 C2 G2 C6 G2 | 3: 1/1 C3 | 4: 1/1 C3 | }
//! ensemble few { era 1885
//!   cello 4 players }
//! scoring few for few {
//!   cello plays tune as bass solo
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! voice tune { 1: 1/1 C3 | 2: 1/4 C2 G2 C4 G2 | 3: 1/1 C3 | 4: 1/1 C3 | }
//! ensemble few { era 1885
//!   cello 4 players }
//! scoring few for few {
//!   cello plays tune as bass solo
//! }
//! ```
//!
//! # Source
//! Usual clefs: the catalogue, after Johnstone, Instruments of the Modern Symphony Orchestra,
//! 1917. Three lines: common practice.

use crate::check::context::{Context, Stretch};
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::Severity;
use crate::instruments::Clef;
use crate::music::Pitch;
use crate::narrow::Narrow;

pub const RULE: Rule = Rule {
    code: "notation/ledger-lines",
    severity: Severity::Advice,
    scope: Scope::Player(check),
    grounds: Grounds::Notes,
    absence: false,
    cause: Cause::Line,
    text: include_str!("ledger_lines.rs"),
};

/// Ledger lines that a written pitch needs in a clef.
fn lines(pitch: Pitch, clef: Clef) -> i32 {
    // The lowest line of the staff.
    let bottom: Pitch = match clef {
        Clef::Treble | Clef::TrebleOctave | Clef::Percussion => {
            Pitch::new(crate::music::Letter::E, 0, 4)
        }
        Clef::Alto => Pitch::new(crate::music::Letter::F, 0, 3),
        Clef::Tenor => Pitch::new(crate::music::Letter::D, 0, 3),
        Clef::Bass => Pitch::new(crate::music::Letter::G, 0, 2),
    };
    let step = pitch.step() - bottom.step();
    if step < 0 { -step / 2 } else { (step - 8).max(0) / 2 }
}

/// Ledger lines below the staff.
fn below(pitch: Pitch, clef: Clef) -> i32 {
    let (needed, higher) = (lines(pitch, clef), lines(pitch.octaves_up(1), clef));
    if higher < needed { needed } else { 0 }
}

fn check(cx: &Context, findings: &mut Findings) {
    let limit = cx.limit(&RULE).narrow::<i32>();
    for stretch in cx.stretches() {
        let Stretch { player, part, instrument, .. } = stretch;
        if instrument.unpitched || instrument.staves > 1 {
            continue;
        }
        // Who reads one clef alone is used to the lines above it; below, one more than usual is the limit.
        if let [only] = instrument.clefs.as_slice() {
            let deep = |note: &crate::arrange::PackedNote| {
                let stand = note.fingered().into_iter();
                let written = stand.map(|p| part.written(p, note.start()));
                written.map(|pitch| below(pitch, only.clef)).max().filter(|l| *l > limit + 1)
            };
            let offences = cx.offences(&RULE, &stretch, 0, |range| {
                let notes = stretch.within(range);
                notes.filter_map(|(index, note)| Some((index, deep(note)?))).collect()
            });
            push(cx, player, offences, findings);
            continue;
        }
        let offences = cx.offences_of_stretch(&RULE, &stretch, || in_any_clef(cx, &stretch, limit));
        push(cx, player, offences, findings);
    }
}

/// In each bar the note that needs too many ledger lines in whichever clef the bar stands, with
/// how many, where another clef would spare each note by itself.
fn in_any_clef(cx: &Context, stretch: &Stretch, limit: i32) -> Vec<(usize, i32)> {
    let Stretch { part, instrument, .. } = *stretch;
    let mut offences: Vec<(usize, i32)> = Vec::new();
    let mut notes = stretch.notes();
    let mut first = notes.next().map_or(0, |(index, _)| index);
    let end = notes.last().map_or(first, |(index, _)| index) + 1;
    while first < end {
        let bar = cx.bar(&part.notes[first]);
        let mut after = first + 1;
        while after < end && cx.bar(&part.notes[after]) == bar {
            after += 1;
        }
        let written: Vec<(usize, Pitch)> = (first..after)
            .flat_map(|index| {
                let note = &part.notes[index];
                let stand = note.fingered().into_iter();
                stand.map(move |p| (index, part.written(p, note.start())))
            })
            .collect();
        let needed = |clef: Clef| {
            written
                .iter()
                .map(|(index, pitch)| (lines(*pitch, clef), *index))
                .max()
                .unwrap_or((0, first))
        };
        let best = instrument.clefs.iter().map(|row| needed(row.clef)).min().unwrap_or((0, first));
        let each_has_one = written
            .iter()
            .all(|(_, pitch)| instrument.clefs.iter().any(|row| lines(*pitch, row.clef) <= limit));
        if best.0 > limit && each_has_one {
            offences.push((best.1, best.0));
        }
        first = after;
    }
    offences
}

fn push(cx: &Context, player: usize, offences: Vec<(usize, i32)>, findings: &mut Findings) {
    let part = cx.part(player);
    {
        for passage in cx.passages(&RULE, player, offences) {
            let message = format!(
                "{}: {} needs {} ledger lines, whichever clef is taken ({}).",
                part.player.name,
                cx.form.place(passage.first().start()),
                passage.detail(),
                crate::check::words::bars(&passage.bars),
            );
            let finding = cx.finding(&RULE, &passage, message).with_help(
                "Set the far notes an octave nearer to the rest, or share the bar with another player.",
            );
            findings.push_line(cx, passage.line, cx.with_allow_for(finding, &passage));
        }
    }
}

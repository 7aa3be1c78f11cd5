//! Nothing new at a structural moment.
//!
//! # What it finds
//! Rehearsal marks at which, from the bar before to the bar of the mark, no player enters or
//! leaves, none changes role, octave, dynamic or technique, no hairpin begins
//! and key, metre and tempo stay, in ensembles of six or more players. Another octave is one that
//! the line asks for, or a first note an octave or more away from that of the bar before.
//!
//! # Why it matters
//! A new section that sounds like the one before is not heard as one. An entry, an exit, another
//! octave or another dynamic marks it.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   5 mark "A"
//!   8 end }
//! voice tune { 1: 1/2 E5 1/4 D5 rest | 2: 1/2 E5 1/4 D5 rest | 3: 1/2 E5 1/4 D5 rest | 4: 1/2 E5 1/4 D5 rest | 5: 1/2 E5 1/4 D5 rest | 6: 1/2 E5 1/4 D5 rest | 7: 1/2 E5 1/4 D5 rest | 8: 1/2 E5 1/4 D5 rest | }
//! voice low { 1: 1/2 C4 1/4 G3 rest | 2: 1/2 C4 1/4 G3 rest | 3: 1/2 C4 1/4 G3 rest | 4: 1/2 C4 1/4 G3 rest | 5: 1/2 C4 1/4 G3 rest | 6: 1/2 C4 1/4 G3 rest | 7: 1/2 C4 1/4 G3 rest | 8: 1/2 C4 1/4 G3 rest | }
//! ensemble few { era 1810
//!   flute, oboe, clarinet in Bb, bassoon, violin-1 8 players, cello 4 players }
//! scoring few for few {
//!   violin-1, flute plays tune as melody
//!   cello, bassoon, clarinet plays low as bass
//!   oboe plays tune as melody
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   5 mark "A"
//!   8 end }
//! voice tune { 1: 1/2 E5 1/4 D5 rest | 2: 1/2 E5 1/4 D5 rest | 3: 1/2 E5 1/4 D5 rest | 4: 1/2 E5 1/4 D5 rest | 5: 1/2 E5 1/4 D5 rest | 6: 1/2 E5 1/4 D5 rest | 7: 1/2 E5 1/4 D5 rest | 8: 1/2 E5 1/4 D5 rest | }
//! voice low { 1: 1/2 C4 1/4 G3 rest | 2: 1/2 C4 1/4 G3 rest | 3: 1/2 C4 1/4 G3 rest | 4: 1/2 C4 1/4 G3 rest | 5: 1/2 C4 1/4 G3 rest | 6: 1/2 C4 1/4 G3 rest | 7: 1/2 C4 1/4 G3 rest | 8: 1/2 C4 1/4 G3 rest | }
//! ensemble few { era 1810
//!   flute, oboe, clarinet in Bb, bassoon, violin-1 8 players, cello 4 players }
//! scoring few for few {
//!   violin-1, flute plays tune as melody
//!   cello, bassoon, clarinet plays low as bass
//!   oboe plays tune bars 5..8 as melody
//! }
//! ```
//!
//! # Source
//! Common practice: instruments added to a larger orchestra highlight rather than play
//! throughout. Where we look is our heuristic.

use crate::check::context::Context;
use crate::check::loudness::Degree;
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::Diagnostic;
use crate::diagnostics::Severity;
use crate::music::Time;
use crate::resolve::{BarIndices, DirectionKind, Role, Verb};

pub const RULE: Rule = Rule {
    code: "economy/nothing-new",
    severity: Severity::Advice,
    scope: Scope::Scoring(check),
    grounds: Grounds::Whole,
    absence: false,
    cause: Cause::Line,
    text: include_str!("nothing_new.rs"),
};

/// Players from which there is a choice. Our heuristic.
const PLAYERS: usize = 6;
/// Semitones of an octave.
const OCTAVE: u32 = 12;

fn check(cx: &Context, findings: &mut Findings) {
    if cx.arrangement.parts.len() < PLAYERS {
        return;
    }
    for bar in 1..cx.form.bars.len() {
        let Some(mark) = &cx.form.bars[bar].mark else { continue };
        let (last, this) = (&cx.form.bars[bar - 1], &cx.form.bars[bar]);
        let turns = this.key != last.key || this.metre != last.metre || this.tempo.is_some();
        if turns || begins(cx, bar) {
            continue;
        }
        let (before, now) = (state(cx, bar - 1), state(cx, bar));
        let sounds = now.iter().any(Option::is_some);
        let leap = |(before, now): (&Option<State>, &Option<State>)| {
            let height = |state: &Option<State>| state.as_ref().and_then(|state| state.height);
            height(before).zip(height(now)).is_some_and(|(one, two)| one.abs_diff(two) >= OCTAVE)
        };
        if before != now
            || before.iter().zip(&now).any(leap)
            || before.iter().zip(&now).any(|(before, now)| moves_otherwise(before, now))
            || !sounds
            || cx.allowed(RULE.code, None, BarIndices::one(bar))
        {
            continue;
        }
        let number = cx.number(bar);
        let message = format!(
            "At mark {mark} (bar {number}) nothing changes in the scoring `{}`: the same players, the same roles, the same dynamic.",
            cx.arrangement.scoring.name
        );
        findings.push(
            Diagnostic::new(RULE.severity, RULE.code, cx.arrangement.scoring.span, message)
                .with_bars(number, number)
                .with_help(
                    "Let somebody enter or leave there, double at the octave, or mark another dynamic.",
                ),
        );
    }
}

/// Does a hairpin or another way of playing begin in the bar, for anybody?
fn begins(cx: &Context, bar: usize) -> bool {
    let (from, to) = (cx.form.bars[bar].start, cx.form.bars[bar].start + cx.form.bars[bar].length);
    cx.parts().flat_map(|(_, part)| &part.directions).any(|direction| {
        matches!(direction.kind, DirectionKind::Hairpin { .. } | DirectionKind::Technique(_))
            && (from..to).contains(&direction.at)
    })
}

/// What a player does at the beginning of a bar.
struct State {
    role: Role,
    /// Octaves up that his line asks for.
    octaves: i8,
    degree: Degree,
    /// Key number of the first note.
    height: Option<i32>,
    /// How the notes of the bar move.
    figure: Figure,
}

/// The figure of a bar: is there a tremolo, a triplet, and how many notes are there?
#[derive(Clone, Copy, PartialEq, Eq)]
struct Figure {
    tremolo: bool,
    triplet: bool,
    notes: usize,
}

/// Does an accompaniment set in with another figure: a tremolo, triplets, twice as many notes?
fn moves_otherwise(before: &Option<State>, now: &Option<State>) -> bool {
    let (Some(before), Some(now)) = (before, now) else { return false };
    let (one, two) = (before.figure, now.figure);
    let accompanies = now.role != Role::Melody;
    let kind = (one.tremolo, one.triplet) != (two.tremolo, two.triplet);
    accompanies && (kind || two.notes >= 2 * one.notes.max(2))
}

impl PartialEq for State {
    /// The same scoring; which note sounds is the music's affair.
    fn eq(&self, other: &State) -> bool {
        (self.role, self.octaves, self.degree) == (other.role, other.octaves, other.degree)
    }
}

/// What each player does in a bar.
fn state(cx: &Context, bar: usize) -> Vec<Option<State>> {
    let (from, length) = (cx.form.bars[bar].start, cx.form.bars[bar].length);
    cx.parts()
        .map(|(player, part)| {
            let first = part.notes.partition_point(|note| note.end() <= from);
            let note = part.notes.get(first).filter(|note| note.start() < from + length)?;
            let octaves = match cx.line(part.line_of(note)).map(|line| &line.verb) {
                Some(Verb::Plays { octaves, .. } | Verb::Doubles { octaves, .. }) => *octaves,
                _ => 0,
            };
            let degree = cx.degree(player, note.start().max(from));
            let height = note.sound().pitches().last().map(|pitch| pitch.midi());
            let after = part.notes.partition_point(|note| note.start() < from + length);
            let here = part.notes.get(first..after).unwrap_or_default();
            let third = |note: &crate::arrange::PackedNote| {
                let quarter = Time::QUARTER;
                quarter.div_floor(note.length()) % 3 == 0 && note.length() * 3 == quarter
                    || note.length() * 6 == quarter
                    || note.length() * 3 == quarter * 2
            };
            let figure = Figure {
                tremolo: here.iter().any(|note| note.attached().tremolo > 0),
                triplet: here.iter().any(third),
                notes: here.len(),
            };
            Some(State { role: note.role(), octaves, degree, height, figure })
        })
        .collect()
}

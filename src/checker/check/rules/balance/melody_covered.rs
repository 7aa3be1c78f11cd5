//! The melody is covered.
//!
//! # What it finds
//! Stretches of two seconds or more in which the other parts (the bass line left out) are more than
//! twice as strong as all who play the melody together, weighed by instrument, number, dynamic and
//! register. From a fourth below the melody upwards they count whole; lower down less and less, to
//! nothing a major sixth below; where they are louder than the melody, to a quarter an octave and a
//! fifth below and further down. Rolls and strokes as quick as a roll count for half at any depth,
//! single strokes do not count. A note held while the melody moves on, twice as long as the note of
//! the melody or longer, counts for little more than a quarter unless it is louder: the ear follows
//! what moves. A free note or two between covered ones, up to three quarters of a second, do not end
//! a stretch. The last note of the piece does not count: the tune is over, and the chord is
//! everybody's. All these figures are our heuristic.
//!
//! # Why it matters
//! Nobody hears the tune. In the rehearsal the accompaniment is told to play softer, and loses
//! its tone.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! voice tune { 1: 1/1 E5 | 2: 1/1 E5 | 3: 1/1 E5 | 4: 1/1 E5 | }
//! voice fill { 1: 1/1 C5 | 2: 1/1 C5 | 3: 1/1 C5 | 4: 1/1 C5 | }
//! ensemble few { era 1885
//!   flute, trumpet 2 in C }
//! scoring few for few {
//!   flute plays tune as melody
//!   trumpet plays fill as harmony, at f
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! voice tune { 1: 1/1 E5 | 2: 1/1 E5 | 3: 1/1 E5 | 4: 1/1 E5 | }
//! voice fill { 1: 1/1 C5 | 2: 1/1 C5 | 3: 1/1 C5 | 4: 1/1 C5 | }
//! ensemble few { era 1885
//!   flute, trumpet 2 in C }
//! scoring few for few {
//!   flute plays tune as melody
//!   trumpet plays fill as harmony, at pp
//! }
//! ```
//!
//! # Source
//! Equivalences of strength: Rimsky-Korsakov, Principles of Orchestration, tr. Agate, 1922, ch.
//! I: in forte a trumpet, trombone or tuba is two horns, a horn two woodwind, a string
//! section two; in piano all winds are about equal, a string section is one. How register, dynamics
//! and numbers weigh, and the threshold, are our heuristic.

use crate::arrange::LineId;
use crate::check::context::Context;
use crate::check::loudness::Degree;
use crate::check::passage::Passage;
use crate::check::slices::{Room, Slice, Sounding};
use crate::check::words;
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::{Diagnostic, Severity};
use crate::instruments::Family;
use crate::music::Pitch;
use crate::resolve::{Dynamic, Role, Verb};

pub const RULE: Rule = Rule {
    code: "balance/melody-covered",
    severity: Severity::Warning,
    scope: Scope::Moment(check),
    grounds: Grounds::Strength,
    absence: false,
    cause: Cause::Line,
    text: include_str!("melody_covered.rs"),
};

/// How much stronger the others must be. Our heuristic.
const TWICE: f64 = 2.0;
/// Seconds from which it counts. Our heuristic.
const LONG: f64 = 2.0;
/// Semitones below the melody within which others cover it: a fourth. Our heuristic.
const NEAR: i32 = 5;
/// Semitones below the melody from which nothing covers it that is no louder: a major sixth. Our
/// heuristic.
const FAR: i32 = 9;
/// Semitones below the melody from which what is louder covers it no less and no more: an octave
/// and a fifth. Our heuristic.
const FAR_LOUDER: i32 = 19;
/// How much of what is louder counts there and further down: loud low notes mask what is above them
/// (the upward spread of masking: Wegel and Lane, 1924, from memory); the figure is our heuristic.
const BELOW: f64 = 0.25;
/// Seconds of a free moment that do not end a covered stretch. Our heuristic.
const GAP: f64 = 0.75;
/// Weight of a note that is held against a moving melody. Our heuristic.
const HELD: f64 = 0.28;
/// Weight of a roll, at any depth below the melody. Our heuristic.
const ROLL: f64 = 0.5;
/// Seconds from stroke to stroke up to which strokes are as good as a roll. Our heuristic.
const QUICK: f64 = 0.13;

/// A covered moment: the strongest player of the melody, the strongest of the others, how many
/// times stronger the others are.
struct Covered {
    melody: Sounding,
    other: Sounding,
    times: f64,
}

/// The notes of the melody that are covered, player by player: how many times stronger the others
/// are, and the strongest of them.
type Offences = Vec<Vec<(usize, (f64, Sounding))>>;

/// A line that is tried at another degree of loudness.
type Softer = Option<(LineId, Degree)>;

fn offences(cx: &Context) -> Offences {
    let moments = cx.moments(&RULE, |slice, found: &mut Vec<(Sounding, (f64, Sounding))>| {
        let covered = covered(cx, slice, None);
        found.extend(covered.map(|c| (c.melody, (c.times, c.other))));
    });
    super::in_runs(cx, moments, LONG, GAP)
}

fn check(cx: &Context, findings: &mut Findings) {
    for (player, offences) in offences(cx).into_iter().enumerate() {
        for passage in cx.passages(&RULE, player, offences) {
            let (times, other) = *passage.detail();
            let coverer = cx.part(other.player());
            let message = format!(
                "{}: the melody is covered from {} on ({}): what sounds around it is {times:.0} times as strong, {} above all.",
                passage.part.player.name,
                cx.form.place(passage.first().start()),
                words::bars(&passage.bars),
                coverer.player.name,
            );
            let line = cx.part(other.player()).line_of(other.of(&cx.arrangement.parts));
            let finding = cx
                .finding(&RULE, &passage, message)
                .with_label(cx.line_span(line), format!("this line gives {} what covers it", coverer.player.name))
                .with_help(format!(
                    "Mark the others softer (`at p`), set {} lower, or strengthen the melody with `doubles {}`.",
                    coverer.player.name, passage.part.player.id
                ));
            let finding = with_softer(cx, &passage, line, finding);
            findings.push_line(cx, passage.line, cx.with_allow_for(finding, &passage));
        }
    }
}

/// Adds the dynamic at which the line that covers most leaves the melody free, the loudest that
/// does, if one does.
fn with_softer(
    cx: &Context,
    passage: &Passage<(f64, Sounding)>,
    id: LineId,
    finding: Diagnostic,
) -> Diagnostic {
    let Some(line) = cx.line(id) else { return finding };
    let own = passage.detail().1;
    let now = cx.degree(own.player(), passage.first().start());
    let free = |dynamic: &Dynamic| {
        let degree = Degree::of(*dynamic as u8);
        degree < now && !still_covered(cx, passage, Some((id, degree)))
    };
    let softer = [Dynamic::Mf, Dynamic::Mp, Dynamic::P, Dynamic::Pp].into_iter().find(free);
    let Some(word) = softer.map(Dynamic::letters) else { return finding };
    let title = format!("mark the whole line `at {word}`");
    match (&line.dynamic, &line.verb) {
        // The place of a dynamic takes in the comma before it.
        (Some((_, span)), _) => finding.with_fix(title, *span, format!(", at {word}"), false),
        // What is written by hand brings its own dynamics.
        (None, Verb::Writes(_)) => finding,
        (None, _) => finding.with_fix(title, line.span.after(), format!(" at {word}"), false),
    }
}

/// How much of its strength a note brings to bear on a melody above it: all of it down to a fourth
/// below, then less and less. Our heuristic.
fn near(top: Pitch, lowest: i32, louder: bool) -> f64 {
    let (far, least) = if louder { (FAR_LOUDER, BELOW) } else { (FAR, 0.0) };
    let below = (lowest - top.midi()).clamp(NEAR, far);
    least + (1.0 - least) * f64::from(far - below) / f64::from(far - NEAR)
}

/// Is a stroke of a drum part of a roll, or of strokes that follow as quickly?
fn rolls(cx: &Context, sounding: Sounding) -> bool {
    let player = sounding.player();
    let (notes, times) = (&cx.part(player).notes, cx.times(player));
    let index = sounding.note();
    let after = index.checked_sub(1).map(|before| times.begin(index) - times.begin(before));
    let until = (index + 1 < notes.len()).then(|| times.begin(index + 1) - times.begin(index));
    let quick = [after, until].into_iter().flatten().any(|seconds| seconds <= QUICK);
    notes[index].attached().tremolo > 0 || quick
}

/// Is any note of a passage still covered when a line is tried at another degree? Only the slices
/// of its notes are looked at, and as many beside them as it takes to know whether it lasts.
fn still_covered(cx: &Context, passage: &Passage<(f64, Sounding)>, softer: Softer) -> bool {
    let slices = cx.slices();
    let covered = |index: usize| covered(cx, slices.get(index, &mut Room::default())?, softer);
    let seconds = |index: usize| {
        let times = slices.times(index);
        times.map_or(0.0, |(start, end)| cx.seconds_at(end) - cx.seconds_at(start))
    };
    let lasts = |index: usize| {
        let (mut first, mut after) = (index, index + 1);
        let mut lasting = seconds(index);
        let mut free = 0.0;
        while lasting < ENOUGH && first > 0 && free <= GAP {
            first -= 1;
            match covered(first) {
                Some(_) => (lasting, free) = (lasting + seconds(first), 0.0),
                None => free += seconds(first),
            }
        }
        free = 0.0;
        while lasting < ENOUGH && slices.times(after).is_some() && free <= GAP {
            match covered(after) {
                Some(_) => (lasting, free) = (lasting + seconds(after), 0.0),
                None => free += seconds(after),
            }
            after += 1;
        }
        // Added up from the left, as the offences are.
        let whole = (first..after).filter(|index| covered(*index).is_some()).map(seconds);
        lasting >= ENOUGH || whole.sum::<f64>() >= LONG
    };
    passage.offences.iter().any(|(note, _)| {
        let sounding = &passage.part.notes[*note];
        let own = |index: &usize| {
            covered(*index).is_some_and(|covered| {
                let melody = covered.melody;
                (melody.player(), melody.note()) == (passage.player, *note)
            })
        };
        slices.between(sounding.start(), sounding.end()).filter(own).any(lasts)
    })
}

/// Seconds after which nobody need add up any further: more than [`LONG`] by any rounding.
const ENOUGH: f64 = LONG * 2.0;

fn covered(cx: &Context, slice: Slice, softer: Softer) -> Option<Covered> {
    let parts = &cx.arrangement.parts;
    let accompanies = |one: &Sounding| !matches!(one.of(parts).role(), Role::Melody | Role::Bass);
    if !slice.sounding.iter().any(accompanies) {
        return None;
    }
    let strength = |one: Sounding| match softer {
        Some((line, degree)) if parts[one.player()].line_of(one.of(parts)) == line => {
            super::strength_at(cx, one, slice.start, degree)
        }
        _ => super::strength(cx, one, slice.start),
    };
    let mut lowest = i32::MAX;
    let mut melody = 0.0;
    let mut strongest: Option<(f64, Sounding)> = None;
    for &one in slice.sounding {
        let note = one.of(parts);
        if note.role() == Role::Melody
            && let Some(pitch) = note.sound().pitches().last()
        {
            let strength = strength(one);
            melody += strength;
            lowest = lowest.min(pitch.midi());
            if strongest.is_none_or(|(most, _)| strength > most) {
                strongest = Some((strength, one));
            }
        }
    }
    let (_, singer) = strongest?;
    if singer.of(parts).end() >= cx.form.end() {
        return None;
    }
    // Where no melody note tells in a tutti, `compass/does-not-carry` speaks of the cause.
    let melody_notes = || slice.sounding.iter().filter(|s| s.of(parts).role() == Role::Melody);
    if slice.sounding.len() > 8 && !melody_notes().any(|s| super::tells(cx, *s)) {
        return None;
    }
    let mut others = 0.0;
    let mut loudest: Option<(f64, Sounding)> = None;
    for &one in slice.sounding {
        let note = one.of(parts);
        let part = &parts[one.player()];
        // Who plays the notes of the melody in another role helps it.
        let helps = || melody_notes().any(|singer| singer.of(parts).source() == note.source());
        if matches!(note.role(), Role::Melody | Role::Bass) || helps() {
            continue;
        }
        let degree = |one: Sounding| cx.degree(one.player(), slice.start);
        let louder = degree(one) > degree(singer);
        let near = note.sound().pitches().last().map_or(ROLL, |top| near(*top, lowest, louder));
        // Strokes are over at once; a roll is heard at any depth.
        let near = match part.instrument_at(note.start()).family {
            Family::Percussion if rolls(cx, one) => near.max(ROLL),
            Family::Percussion => continue,
            _ => near,
        };
        if near == 0.0 {
            continue;
        }
        // What is held softly stays in the background; what is held louder than the tune does not.
        let held = !louder && note.length() >= singer.of(parts).length() * 2;
        let strength = strength(one) * near * if held { HELD } else { 1.0 };
        others += strength;
        if loudest.is_none_or(|(most, _)| strength > most) {
            loudest = Some((strength, one));
        }
    }
    let (_, other) = loudest?;
    (others > TWICE * melody).then(|| Covered {
        melody: singer,
        other,
        times: others / melody.max(0.01),
    })
}

//! A trombone slide must travel too far at speed.
//!
//! # What it finds
//! Neighbouring notes of a slide trombone that lie more than four positions apart, whichever
//! positions and whichever valve are chosen, with less than a twentieth of a second between them
//! for each position (our heuristic); grace notes are always quick.
//!
//! # Why it matters
//! From the first to the sixth or seventh position the arm travels more than half a metre. At
//! speed the note before is cut off or the slide is heard.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 120
//!   4 end }
//! voice tune { 1: 1/1 D3 | 2: 1/8 Bb2 B2 Bb2 B2 1/2 Bb2 | 3: 1/1 D3 | 4: D3 | }
//! ensemble few { era 1810
//!   tenor-trombone }
//! scoring few for few {
//!   tenor-trombone plays tune as harmony
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 120
//!   4 end }
//! voice tune { 1: 1/1 D3 | 2: 1/8 Bb3 B3 Bb3 B3 1/2 Bb3 | 3: 1/1 D3 | 4: D3 | }
//! ensemble few { era 1810
//!   tenor-trombone }
//! scoring few for few {
//!   tenor-trombone plays tune as harmony
//! }
//! ```
//!
//! # Source
//! Seven positions, a semitone each: common practice; the worst shift, tenor Bb2 to B2, is derived
//! from it. In which key each trombone of an era is built and which valves it has is in the
//! catalogue, from memory. The speed is our heuristic.

use crate::check::context::{Context, Stretch};
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::Severity;
use crate::instruments::Slide;
use crate::music::Pitch;

pub const RULE: Rule = Rule {
    code: "agility/slide",
    severity: Severity::Warning,
    scope: Scope::Player(check),
    grounds: Grounds::Notes,
    absence: false,
    cause: Cause::Line,
    text: include_str!("slide.rs"),
};

/// Seconds that the slide needs for each position. Our heuristic.
const POSITION: f64 = 0.055;
/// Seconds within which any long move of the slide is looked at. Our heuristic.
const MOVE: f64 = 0.4;
/// Positions that can be passed at speed. Our heuristic.
const FAR: i32 = 4;

/// Semitones of partials 2 to 10 above partial 1.
const PARTIALS: [i32; 9] = [12, 19, 24, 28, 31, 34, 36, 38, 40];

/// Where a note lies: the position (from 1), and by which side of the instrument (0: no valve).
fn places(slide: &Slide, key: i32) -> Vec<(i32, usize)> {
    let sides = std::iter::once((slide.first_position, slide.positions))
        .chain(slide.valves.iter().map(|valve| (valve.first_position, valve.positions)));
    let mut found = Vec::new();
    for (side, (first, positions)) in sides.enumerate() {
        let on_it = PARTIALS.into_iter().map(|up| first.midi() + up - key + 1);
        found.extend(on_it.filter(|p| (1..=i32::from(positions)).contains(p)).map(|p| (p, side)));
    }
    found
}

fn check(cx: &Context, findings: &mut Findings) {
    for stretch in cx.stretches() {
        let Stretch { player, part, instrument, .. } = stretch;
        let Some(slide) = instrument.slide(cx.era) else { continue };
        let offences = cx.offences(&RULE, &stretch, 1, |range| too_far(cx, &stretch, slide, range));
        for passage in cx.passages(&RULE, player, offences) {
            let note = passage.first();
            let (from, to, least) = *passage.detail();
            let message = format!(
                "{} must move the slide by {least} positions at speed, from {from} to {to} in {}{}.",
                part.player.name,
                cx.form.place(note.start()),
                passage.and_more(),
            );
            let finding = cx.finding(&RULE, &passage, message).with_help(
                "Give one of the two notes to another trombone, set the figure an octave higher, where the positions lie closer, or leave time between the notes.",
            );
            findings.push_line(cx, passage.line, cx.with_allow_for(finding, &passage));
        }
    }
}

/// The notes of a range to which the slide cannot come in time: from what, to what, and by how many
/// positions at least.
fn too_far(
    cx: &Context,
    stretch: &Stretch,
    slide: &Slide,
    range: std::ops::Range<usize>,
) -> Vec<(usize, (Pitch, Pitch, i32))> {
    let Stretch { player, part, .. } = *stretch;
    let far = |from: i32, to: i32| {
        let to = places(slide, to);
        // The positions of a longer side lie farther apart, which a player minds less than a
        // move of the arm; the valve itself is quick (our heuristic).
        let moves = places(slide, from);
        let moves =
            moves.iter().flat_map(|(from, _)| to.iter().map(move |(to, _)| (to - from).abs()));
        moves.min().filter(|least| *least > FAR)
    };
    let times = cx.times(player);
    let position = POSITION * cx.limit(&RULE) / 100.0;
    let mut offences: Vec<(usize, (Pitch, Pitch, i32))> = Vec::new();
    // Grace notes are always quick.
    let mut look = |index: usize, from: &[Pitch], to: &[Pitch], seconds: f64| {
        if let (Some(from), Some(to)) = (from.last(), to.last())
            && let Some(least) = far(from.midi(), to.midi())
            && seconds < position * f64::from(least)
            && offences.last().is_none_or(|(last, _)| *last < index)
        {
            offences.push((index, (*from, *to, least)));
        }
    };
    let quick: Vec<usize> = super::steps_within(part, times, range.clone())
        .filter(|(index, seconds, _)| stretch.goes_on(*index) && *seconds < MOVE + 1e-9)
        .map(|(index, ..)| index)
        .collect();
    for (index, note) in stretch.within(range) {
        // Grace notes go straight to the next one and to the note on which they lean.
        if let Some(graces) = note.attached().graces {
            for pair in graces.notes.windows(2) {
                look(index, &pair[0].1, &pair[1].1, 0.0);
            }
            if let Some((_, last)) = graces.notes.last() {
                look(index, last, note.sound().pitches(), 0.0);
            }
        } else if quick.binary_search(&index).is_ok() {
            let seconds = times.begin(index) - times.begin(index - 1);
            look(index, part.notes[index - 1].sound().pitches(), note.sound().pitches(), seconds);
        }
    }
    offences
}

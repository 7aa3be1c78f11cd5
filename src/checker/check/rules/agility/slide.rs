//! A trombone slide must travel too far at speed.
//!
//! # What it finds
//! Neighbouring notes of a slide trombone that lie more than four positions apart, whichever
//! positions are chosen, with a quarter of a second or less between them (our heuristic);
//! grace notes are always quick.
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
//! # Mended
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
//! Seven positions, a semitone each, partials 2 to 8 in each: International Encyclopaedia,
//! "Trombone"; the worst shift, tenor Bb2 to B2, is derived from it. Alto in E flat, bass in F:
//! the usual builds, from memory. The speed is our heuristic.

use crate::check::context::{Context, Stretch};
use crate::check::{Check, Findings, Rule};
use crate::diagnostics::Severity;
use crate::music::Pitch;

pub const RULE: Rule = Rule {
    code: "agility/slide",
    severity: Severity::Warning,
    text: include_str!("slide.rs"),
    check: Check::Scoring(check),
};

/// Seconds for a long move of the slide. Our heuristic.
const MOVE: f64 = 0.25;
/// Positions that can be passed at speed. Our heuristic.
const FAR: i32 = 4;

/// Key number of partial 1 in the first position.
fn fundamental(id: &str) -> Option<i32> {
    match id {
        "alto-trombone" => Some(39),  // Eb2
        "tenor-trombone" => Some(34), // Bb1
        "bass-trombone" => Some(29),  // F1
        _ => None,
    }
}

/// Semitones of partials 2 to 10 above partial 1.
const PARTIALS: [i32; 9] = [12, 19, 24, 28, 31, 34, 36, 38, 40];

/// The positions (1 to 7) in which a note lies.
fn positions(fundamental: i32, key: i32) -> impl Iterator<Item = i32> + Clone {
    PARTIALS.into_iter().map(move |up| fundamental + up - key + 1).filter(|p| (1..=7).contains(p))
}

fn check(cx: &Context, findings: &mut Findings) {
    for stretch in cx.stretches() {
        let Stretch { player, part, instrument, .. } = stretch;
        let Some(fundamental) = fundamental(&instrument.id) else { continue };
        let far = |from: i32, to: i32| {
            let to = positions(fundamental, to);
            let moves = positions(fundamental, from)
                .flat_map(|from| to.clone().map(move |to| (to - from).abs()));
            moves.min().filter(|least| *least > FAR)
        };
        let mut offences: Vec<(usize, (Pitch, Pitch, i32))> = Vec::new();
        let mut look = |index: usize, from: &[Pitch], to: &[Pitch]| {
            if let (Some(from), Some(to)) = (from.last(), to.last())
                && let Some(least) = far(from.midi(), to.midi())
                && offences.last().is_none_or(|(last, _)| *last < index)
            {
                offences.push((index, (*from, *to, least)));
            }
        };
        let quick: Vec<usize> = super::steps(part, cx.times(player))
            .filter(|(index, seconds, _)| stretch.goes_on(*index) && *seconds < MOVE + 1e-9)
            .map(|(index, ..)| index)
            .collect();
        for (index, note) in stretch.notes() {
            // Grace notes go straight to the next one and to the note on which they lean.
            if let Some(graces) = &note.attached.graces {
                for pair in graces.notes.windows(2) {
                    look(index, &pair[0].1, &pair[1].1);
                }
                if let Some((_, last)) = graces.notes.last() {
                    look(index, last, note.sound.pitches());
                }
            } else if quick.binary_search(&index).is_ok() {
                look(index, part.notes[index - 1].sound.pitches(), note.sound.pitches());
            }
        }
        for passage in cx.passages(&RULE, player, offences) {
            let note = passage.first();
            let (from, to, least) = *passage.detail();
            let message = format!(
                "{} must move the slide by {least} positions at speed, from {from} to {to} in {}{}.",
                part.player.name,
                cx.form.place(note.start),
                passage.and_more(),
            );
            let finding = cx.finding(&RULE, &passage, message).with_help(
                "Give one of the two notes to another trombone, set the figure an octave higher, where the positions lie closer, or leave time between the notes.",
            );
            findings.push_line(cx, passage.line, cx.with_allow_for(finding, &passage));
        }
    }
}

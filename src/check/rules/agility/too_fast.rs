//! Faster than the instrument goes.
//!
//! # What it finds
//! Nine or more notes in a row that take less time than the catalogue grants one player on the
//! instrument: so many repeated notes, notes by step and notes by leap a second. Steps of
//! different kinds are weighed together. Strings that pluck are granted half. A written tremolo
//! is not meant.
//!
//! # Why it matters
//! The passage will be faked, or the tempo will sink.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 = 120
//!   4 end }
//! voice tune { 1: 1/16 D5 E F G A G F E D E F G A G F E | 2: 1/1 D5 | 3: D5 | 4: D5 | }
//! ensemble few { era 1770
//!   horn in F }
//! scoring few for few {
//!   horn plays tune 8vb as harmony
//! }
//! ```
//!
//! # Mended
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 = 120
//!   4 end }
//! voice tune { 1: 1/8 D5 E F G A G F E | 2: 1/1 D5 | 3: D5 | 4: D5 | }
//! ensemble few { era 1770
//!   horn in F }
//! scoring few for few {
//!   horn plays tune 8vb as harmony
//! }
//! ```
//!
//! # Source
//! Notes a second: our heuristic, told for each instrument in the catalogue; that single tonguing
//! is common to all wind and double tonguing among the wood-wind to the flute only: Rimsky-
//! Korsakov, Principles of Orchestration, tr. Agate, 1922, ch. I. Orchestral horns of about 1770
//! are not given semiquaver runs: common practice.

use crate::check::context::{Context, Stretch, plucked, techniques};
use crate::check::{Check, Findings, Rule};
use crate::diagnostics::Severity;
use crate::instruments::Instrument;

pub const RULE: Rule = Rule {
    code: "agility/too-fast",
    severity: Severity::Warning,
    text: include_str!("too_fast.rs"),
    check: Check::Scoring(check),
};

/// How many steps in a row are weighed together. Our heuristic: shorter figures are thrown off.
const WINDOW: usize = 8;
/// Steps of this many semitones or more count as leaps: a fourth.
const LEAP: i32 = 5;
/// Leaps of less than an octave are granted the mean between step and leap. Our heuristic.
const OCTAVE: i32 = 12;

fn check(cx: &Context, findings: &mut Findings) {
    for stretch in cx.stretches() {
        let Stretch { player, part, instrument, .. } = stretch;
        let Some(agility) = &instrument.agility else { continue };
        let changes = techniques(part);
        let mut offending = vec![false; part.notes.len()];
        let mut fastest: f64 = 0.0;
        // The steps of the window that ends here: index of the note, seconds taken and needed.
        let mut window: std::collections::VecDeque<(usize, f64, f64)> =
            std::collections::VecDeque::with_capacity(WINDOW);
        for (index, seconds, semitones) in
            super::steps(part, cx.times(player)).filter(|(index, ..)| stretch.goes_on(*index))
        {
            let note = &part.notes[index];
            let rate = f64::from(match semitones.abs() {
                0 => 2 * agility.repeated,
                step if step < LEAP => 2 * agility.stepwise,
                step if step < OCTAVE => agility.stepwise + agility.leaping,
                _ => 2 * agility.leaping,
            }) / 2.0;
            let hand = if plucked(&changes, note.start) { 2.0 } else { 1.0 };
            if window.back().is_some_and(|(last, ..)| last + 1 != index) {
                window.clear();
            }
            if window.len() == WINDOW {
                window.pop_front();
            }
            window.push_back((index, seconds, hand / rate.max(0.5)));
            let (taken, needed) =
                window.iter().fold((0.0, 0.0), |(a, b), (_, t, n)| (a + t, b + n));
            if window.len() == WINDOW && taken < needed * 0.98 {
                fastest = fastest.max(WINDOW as f64 / taken.max(0.001));
                for (index, ..) in &window {
                    offending[*index] = true;
                    offending[*index - 1] = true;
                }
            }
        }
        let offences = offending.iter().enumerate().filter(|(_, bad)| **bad).map(|(i, _)| (i, ()));
        for passage in cx.passages(&RULE, player, offences.collect::<Vec<_>>()) {
            let note = passage.first();
            let message = format!(
                "{} cannot keep up with {fastest:.1} notes a second from {} on ({} notes in all, {}): the {} does about {} repeated, {} by step, {} by leap{}.",
                part.player.name,
                cx.form.place(note.start),
                passage.offences.len(),
                crate::check::words::bars(&passage.bars),
                instrument.name.to_lowercase(),
                agility.repeated,
                agility.stepwise,
                agility.leaping,
                if plucked(&changes, note.start) { ", half of it when plucked" } else { "" },
            );
            let finding = cx.finding(&RULE, &passage, message).with_help(format!(
                "Let the player take every other note, share the run between two players, or give it to {}.",
                faster(cx, instrument)
            ));
            findings.push_line(cx, passage.line, cx.with_allow(finding, passage.line));
        }
    }
}

/// The players of this ensemble who run fastest.
fn faster(cx: &Context, own: &Instrument) -> String {
    let best = cx
        .parts()
        .map(|(_, part)| part.player)
        .filter(|other| other.instrument.id != own.id && !other.instrument.unpitched)
        .max_by_key(|other| other.instrument.agility.as_ref().map_or(0, |a| a.stepwise));
    best.map_or_else(|| "another instrument".to_string(), |other| other.name.clone())
}

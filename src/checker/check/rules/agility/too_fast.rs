//! Faster than the instrument goes.
//!
//! # What it finds
//! Nine or more notes in a row that take less time than the catalogue grants one player on the
//! instrument: so many repeated notes, notes by step and notes by leap a second. Steps of
//! different kinds are weighed together; a leap for which the bow only crosses to the neighbouring
//! string, the hand staying where it is, is a step (our heuristic). Strings that pluck are granted
//! half. A written tremolo does not count, nor does a glissando of the harp over neighbouring
//! strings.
//!
//! # Why it matters
//! The passage will be faked, or the tempo will sink.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 120
//!   4 end }
//! voice tune { 1: 1/16 D5 E F G A G F E D E F G A G F E | 2: 1/1 D5 | 3: D5 | 4: D5 | }
//! ensemble few { era 1840
//!   horn in F }
//! scoring few for few {
//!   horn plays tune 8vb as harmony
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 120
//!   4 end }
//! voice tune { 1: 1/8 D5 E F G A G F E | 2: 1/1 D5 | 3: D5 | 4: D5 | }
//! ensemble few { era 1840
//!   horn in F }
//! scoring few for few {
//!   horn plays tune 8vb as harmony
//! }
//! ```
//!
//! # Source
//! Notes a second: our heuristic, stated for each instrument in the catalogue; that single tonguing
//! is common to all wind and double tonguing among the woodwind to the flute only: Rimsky-
//! Korsakov, Principles of Orchestration, tr. Agate, 1922, ch. I. Orchestral horns of about 1770
//! are not given runs in sixteenths: common practice.

use std::collections::VecDeque;

use crate::arrange::{PackedNote, Part};
use crate::check::alternatives::who_else;
use crate::check::context::{Context, Stretch, plucked};
use crate::check::passage::Passage;
use crate::check::{Cause, Findings, Grounds, Rule, Scope, words};
use crate::diagnostics::Severity;
use crate::instruments::Agility;

pub const RULE: Rule = Rule {
    code: "agility/too-fast",
    severity: Severity::Warning,
    scope: Scope::Player(check),
    grounds: Grounds::Notes,
    absence: false,
    cause: Cause::Line,
    text: include_str!("too_fast.rs"),
};

/// How many steps in a row are weighed together. Our heuristic: shorter figures are thrown off.
const WINDOW: usize = 8;
/// Steps of this many semitones or more count as leaps: a fourth. Our heuristic.
const LEAP: i32 = 5;
/// Semitones up a string that are stopped without leaving the lower positions. Our heuristic.
const STOPS: i32 = 9;
/// Semitones that the hand spans in one position. Our heuristic.
const HAND: u32 = 4;
/// Notes a second that a finger sweeps over the strings of a harp. Our heuristic.
const GLISSANDO: u8 = 60;
/// Leaps of less than an octave are granted the mean between step and leap. Our heuristic.
const OCTAVE: i32 = 12;

fn check(cx: &Context, findings: &mut Findings) {
    for stretch in cx.stretches() {
        let Stretch { player, part, instrument, .. } = stretch;
        let Some(agility) = &instrument.agility else { continue };
        let offences = offences(cx, &stretch);
        let fastest = offences.iter().fold(0.0_f64, |fastest, (_, rate)| fastest.max(*rate));
        for passage in cx.passages(&RULE, player, offences) {
            let note = passage.first();
            let message = format!(
                "{} cannot keep up with {:.1} notes a second from {} on ({} notes in all, {}): the {} {} about {} repeated, {} by step, {} by leap{}.",
                part.player.name,
                fastest,
                cx.form.place(note.start()),
                passage.offences.len(),
                words::bars(&passage.bars),
                instrument.name.to_lowercase(),
                if instrument.name == instrument.plural { "do" } else { "does" },
                agility.repeated,
                agility.stepwise,
                agility.leaping,
                if plucked(cx.techniques(player), note.start()) {
                    ", half of it when plucked"
                } else {
                    ""
                },
            );
            let finding = cx.finding(&RULE, &passage, message).with_help(help(cx, &passage));
            findings.push_line(cx, passage.line, cx.with_allow_for(finding, &passage));
        }
    }
}

/// The notes of a stretch that overtax its instrument, each with how many a second come there.
pub(super) fn offences(cx: &Context, stretch: &Stretch) -> Vec<(usize, f64)> {
    let Some(agility) = &stretch.instrument.agility else { return Vec::new() };
    cx.offences(&RULE, stretch, WINDOW + 1, |range| {
        let all = stretch.range();
        let first = range.start.saturating_sub(2 * WINDOW).max(all.start);
        let around = first..(range.end + 2 * WINDOW).min(all.end);
        let taxed = overtaxed(cx, stretch.player, around, agility).into_iter();
        taxed.filter(|(index, _)| range.contains(index)).collect()
    })
}

/// Which of these notes of a player overtax an instrument, his own or another one.
fn overtaxed(
    cx: &Context,
    player: usize,
    notes: std::ops::Range<usize>,
    agility: &Agility,
) -> Vec<(usize, f64)> {
    let part = cx.part(player);
    let instrument = part.notes.get(notes.start).map(|note| part.instrument_at(note.start()));
    let Some(instrument) = instrument else {
        return Vec::new();
    };
    let changes = cx.techniques(player);
    let speed = cx.limit(&RULE) / 100.0;
    // In order; mostly there are none.
    let mut offending: Vec<(usize, f64)> = Vec::new();
    // The steps of the window that ends here: index of the note, seconds taken and needed.
    let mut window: VecDeque<(usize, f64, f64)> = VecDeque::with_capacity(WINDOW);
    // The last step for which there is hardly time enough.
    let mut tight: Option<usize> = None;
    // A step leads to its note from the one before.
    let steps = super::steps_within(part, cx.times(player), notes.start + 1..notes.end);
    for (index, seconds, semitones) in steps {
        let note = &part.notes[index];
        let crosses =
            semitones.abs() >= LEAP && crosses_to_neighbour(cx, part, &part.notes[index - 1], note);
        let glides = instrument.pedals.is_some() && glides(part, index);
        let rate = f64::from(match semitones.abs() {
            _ if glides => 2 * GLISSANDO,
            _ if crosses => 2 * agility.stepwise,
            0 => 2 * agility.repeated,
            step if step < LEAP => 2 * agility.stepwise,
            step if step < OCTAVE => agility.stepwise + agility.leaping,
            _ => 2 * agility.leaping,
        }) / 2.0;
        let hand = if plucked(changes, note.start()) { 2.0 } else { 1.0 };
        if window.back().is_some_and(|(last, ..)| last + 1 != index) {
            window.clear();
        }
        if window.len() == WINDOW {
            window.pop_front();
        }
        let needed = hand / rate.max(0.5);
        window.push_back((index, seconds, needed));
        if seconds * speed < needed * 0.99 {
            tight = Some(index);
        }
        // Steps for each of which there is time enough are no trouble together.
        if tight.is_none_or(|tight| tight + WINDOW <= index) {
            continue;
        }
        let (taken, needed) = window.iter().fold((0.0, 0.0), |(a, b), (_, t, n)| (a + t, b + n));
        if window.len() == WINDOW && taken * speed < needed * 0.98 {
            let rate = WINDOW as f64 / taken.max(0.001);
            for (index, ..) in &window {
                for note in [*index, *index - 1] {
                    match offending.binary_search_by_key(&note, |(known, _)| *known) {
                        Ok(known) => offending[known].1 = offending[known].1.max(rate),
                        Err(place) => offending.insert(place, (note, rate)),
                    }
                }
            }
        }
    }
    offending
}

/// Does a note belong to a glissando: one of three neighbouring strings, one after the other?
fn glides(part: &Part, index: usize) -> bool {
    let string = |index: usize| match part.notes.get(index)?.sound().pitches() {
        [pitch] => Some(pitch.step()),
        _ => None,
    };
    let way = |from: usize| Some(string(from + 1)? - string(from)?);
    let ways = [index.checked_sub(2).and_then(way), index.checked_sub(1).and_then(way), way(index)];
    ways.windows(2).any(|pair| pair[0] == pair[1] && matches!(pair[0], Some(-1 | 1)))
}

/// Does the bow only cross to the neighbouring string, the left hand staying where it is?
fn crosses_to_neighbour(cx: &Context, part: &Part, one: &PackedNote, two: &PackedNote) -> bool {
    let Some(open) = part.instrument_at(two.start()).open_strings(cx.era) else { return false };
    let (Some(one), Some(two)) = (super::top(one), super::top(two)) else { return false };
    let (low, high) = (one.min(two), one.max(two));
    open.strings.windows(2).any(|pair| {
        let (under, over) = (low - pair[0].midi(), high - pair[1].midi());
        (0..=STOPS).contains(&under)
            && (0..=STOPS).contains(&over)
            && (under == 0 || over == 0 || under.abs_diff(over) <= HAND)
    })
}

/// What to do; names the players of this ensemble who have the notes and keep up with them.
fn help(cx: &Context, passage: &Passage<f64>) -> String {
    let (first, last) = (passage.offences[0].0, passage.offences[passage.offences.len() - 1].0);
    let keeps_up = |player: usize| {
        let agility = cx.part(player).instrument_at(passage.first().start()).agility.as_ref();
        agility.is_some_and(|a| overtaxed(cx, passage.player, first..last + 1, a).is_empty())
    };
    let mut others = who_else(cx, passage);
    others.retain(|(player, _)| keeps_up(*player));
    let share = "Let the player take every other note, or share the run between two players";
    if others.is_empty() {
        return format!("{share}; no other player of this ensemble has these notes at that speed.");
    }
    let resting = others.iter().filter(|(_, rests)| *rests).take(2);
    let names: Vec<&str> =
        resting.map(|(player, _)| cx.part(*player).player.name.as_str()).collect();
    match &names[..] {
        // All who could are busy with music of their own.
        [] => format!("{share}."),
        names => format!("{share}, or give it to {}.", words::list(names, "or")),
    }
}

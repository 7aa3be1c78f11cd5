//! A technique that the instrument does not have.
//!
//! # What it finds
//! `pizz`, `arco` and bowings for players without a bow, mutes for woodwind, harp and keyboard,
//! `stopped` for other instruments than horns, harmonics for other instruments than strings and
//! harp, spread chords for players of one note at a time, on wind before flutter tonguing was known
//! a tremolo faster than the tongue repeats, and on brass without valves and on slides a tremolo
//! between two notes, where a scoring line or notes written by hand ask for it. What a voice says
//! is left out of the parts of those who cannot do it, and nothing is reported. Trills and tremolos
//! between two notes in a passage that is plucked are reported whoever asks for them.
//!
//! # Why it matters
//! The player stops and asks whether the part is somebody else's.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   2 end }
//! voice tune { 1: 1/1 E5 | 2: E5 | }
//! ensemble few { era 1810
//!   clarinet in C }
//! scoring few for few {
//!   clarinet plays tune as melody pizz
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   2 end }
//! voice tune { 1: 1/1 E5[stacc] | 2: E5[stacc] | }
//! ensemble few { era 1810
//!   clarinet in C }
//! scoring few for few {
//!   clarinet plays tune as melody
//! }
//! ```
//!
//! # Source
//! Common practice.

use crate::arrange::{AttachedRef, has_mark, has_technique};
use crate::check::context::{Context, Stretch};
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::{Severity, Span};
use crate::instruments::TrillBy;
use crate::resolve::Mark;

pub const RULE: Rule = Rule {
    code: "notation/no-such-way",
    severity: Severity::Warning,
    scope: Scope::Player(check),
    grounds: Grounds::Notes,
    absence: false,
    cause: Cause::Line,
    text: include_str!("no_such_way.rs"),
};

/// Is an unmeasured tremolo asked of a wind player before flutter tonguing was known, faster than
/// the tongue repeats?
fn marks_none(cx: &Context, stretch: &Stretch, index: usize) -> bool {
    let Stretch { player, part, instrument, .. } = *stretch;
    let note = &part.notes[index];
    let known = instrument.tremolo_from.is_some_and(|year| cx.era >= year);
    let strokes = note.attached().tremolo;
    if !instrument.breathes || known || strokes < 3 || note.attached().of_two.is_some() {
        return false;
    }
    let (begin, end) = cx.times(player).of(index);
    let whole = (end - begin) / note.length().to_f64().max(1e-9);
    let a_second = f64::from(8_u16 << (strokes - 1).min(7)) / whole.max(0.001);
    instrument.agility.as_ref().is_some_and(|agility| a_second > f64::from(agility.repeated))
}

/// Is a tremolo between two notes asked of those who have no fingers for it: brass without valves,
/// and slides?
fn goes_to_and_fro(stretch: &Stretch, index: usize) -> bool {
    let note = &stretch.part.notes[index];
    let by = stretch.instrument.trills.as_ref().map_or(TrillBy::Fingers, |trills| trills.by);
    note.attached().of_two.is_some() && stretch.instrument.breathes && by != TrillBy::Fingers
}

/// What is asked for, as a word.
#[derive(Clone, Copy)]
enum Way {
    /// The instrument does not have it.
    Missing(&'static str),
    /// It needs the bow, and the passage is plucked.
    Plucked(&'static str),
}

/// A way, and where it is asked for, if not at the note itself.
type Asked = (Way, Option<Span>);

/// What only a bow sustains.
fn bowed_alone(attached: AttachedRef) -> Option<&'static str> {
    match attached.of_two.is_some() {
        true => Some("tremolo between two notes"),
        false => attached.marks.has(Mark::Trill).then_some("trill"),
    }
}

/// Marks and tremolos of single notes that the instrument in hand does not have, as words.
fn of_notes(cx: &Context, stretch: &Stretch) -> Vec<(usize, Way)> {
    cx.offences(&RULE, stretch, 0, |range| {
        let mut found = Vec::new();
        for (index, note) in stretch.within(range) {
            if note.attached().marks.is_empty() && note.attached().tremolo == 0 {
                continue;
            }
            let word = |wanted: Mark| Mark::WORDS.iter().find(|(mark, _)| *mark == wanted);
            let mut marks = note.attached().marks.iter();
            let mark = marks.find(|mark| !has_mark(stretch.instrument, *mark)).and_then(word);
            found.extend(mark.map(|(_, word)| (index, Way::Missing(word))));
            if marks_none(cx, stretch, index) {
                found.push((index, Way::Missing("tremolo")));
            }
            if goes_to_and_fro(stretch, index) {
                found.push((index, Way::Missing("tremolo between two notes")));
            }
            if let Some(word) = bowed_alone(note.attached())
                && cx.plucks(stretch.player, note.start())
            {
                found.push((index, Way::Plucked(word)));
            }
        }
        found
    })
}

fn check(cx: &Context, findings: &mut Findings) {
    let mut all: Vec<Vec<(usize, Asked)>> = vec![Vec::new(); cx.arrangement.parts.len()];
    for (player, part) in cx.parts() {
        for &(at, technique, span) in cx.techniques(player) {
            // It is told where the player sounds next.
            let next = part.notes.partition_point(|note| note.end() <= at);
            if next < part.notes.len() && !has_technique(part.instrument_at(at), technique) {
                all[player].push((next, (Way::Missing(technique.word()), Some(span))));
            }
        }
    }
    for stretch in cx.stretches() {
        let found = of_notes(cx, &stretch).into_iter();
        all[stretch.player].extend(found.map(|(index, way)| (index, (way, None))));
    }
    for ((player, part), mut offences) in cx.parts().zip(all) {
        offences.sort_by_key(|(index, _)| *index);
        for passage in cx.passages(&RULE, player, offences) {
            let (way, asked) = *passage.detail();
            let note = passage.first();
            let name = part.instrument_at(note.start()).name.to_lowercase();
            let (what, help) = match way {
                Way::Missing(word) => (
                    format!("there is no `{word}` on the {name}"),
                    "Remove it here, or give the line to players who can do it.",
                ),
                Way::Plucked(word) => (
                    format!("a {word} cannot be plucked"),
                    "Write `arco` before it, or leave it out.",
                ),
            };
            let message = format!(
                "{}: {what}, in {}{}.",
                part.player.name,
                cx.form.place(note.start()),
                passage.and_more(),
            );
            let mut finding = cx.finding(&RULE, &passage, message).with_help(help);
            if let Some(span) = asked {
                finding = finding.with_label(span, "asked for here");
            }
            findings.push_line(cx, passage.line, cx.with_allow_for(finding, &passage));
        }
    }
}

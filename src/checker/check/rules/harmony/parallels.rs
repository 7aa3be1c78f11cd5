//! Parallel fifths or octaves between independent parts.
//!
//! # What it finds
//! Two parts that move in the same direction from a perfect fifth to a perfect fifth, or from an
//! octave or unison to another. Doublings do not count: parts that play the same notes of the
//! source, or that go in octaves for several notes; nor are octaves within the bass or within the
//! melody, nor octaves between two families where six or more accompany or three of one of them, or between two kinds of
//! instruments where twelve or more do, nor a filling part of
//! another family that goes along with a voice for a moment, unless the two make fifths, both are
//! written out, and fewer than six accompany (our heuristics). Drums and parts with a rhythm or a
//! highlight are left out. A chord that `sustains broken` breaks is one voice, by the highest note of its
//! figure, and stands still while the chord lasts.
//!
//! # Why it matters
//! For a moment two voices become one, and the texture is a voice poorer; fifths stick out
//! hollow.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! voice tune { 1: 1/1 C5 | 2: D5 | 3: E5 | 4: F5 | }
//! voice low { 1: 1/1 E4 | 2: G4 | 3: A4 | 4: F4 | }
//! ensemble few { era 1810
//!   violin-1 8 players, viola 4 players }
//! scoring few for few {
//!   violin-1 plays tune as melody
//!   viola plays low as harmony
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! voice tune { 1: 1/1 C5 | 2: D5 | 3: E5 | 4: F5 | }
//! voice low { 1: 1/1 E4 | 2: G4 | 3: C4 | 4: A4 | }
//! ensemble few { era 1810
//!   violin-1 8 players, viola 4 players }
//! scoring few for few {
//!   violin-1 plays tune as melody
//!   viola plays low as harmony
//! }
//! ```
//!
//! # Source
//! Common practice of part-writing.

use super::Filling;
use crate::arrange::PackedNote;
use crate::check::context::Context;
use crate::check::slices::{Slice, Sounding};
use crate::check::{Cause, Findings, Grounds, Rule, Scope, sharing};
use crate::diagnostics::Severity;
use crate::music::{Interval, Letter, Pitch};
use crate::resolve::{Restrike, Role, Verb};

pub const RULE: Rule = Rule {
    code: "harmony/parallels",
    severity: Severity::Advice,
    scope: Scope::Moment(check),
    grounds: Grounds::Together,
    absence: false,
    cause: Cause::Source,
    text: include_str!("parallels.rs"),
};

/// A step of one player from one note straight to another.
#[derive(Clone, Copy)]
struct Motion {
    sounding: Sounding,
    from: Pitch,
    to: Pitch,
}

impl Motion {
    fn is_unison(&self, other: &Motion) -> bool {
        (self.from, self.to) == (other.from, other.to)
    }
}

fn check(cx: &Context, findings: &mut Findings) {
    let parts = &cx.arrangement.parts;
    let mut motions: Vec<Motion> = Vec::new();
    // One of each of those who move in unison, with its number, the lowest first; and for each motion
    // the number of its head.
    let mut heads: Vec<(Motion, usize)> = Vec::new();
    let mut head_of: Vec<usize> = Vec::new();
    let find = |slice: Slice, found: &mut Vec<(Sounding, (Sounding, bool))>| {
        motions.clear();
        motions.extend(slice.sounding.iter().filter_map(|s| motion(cx, *s, slice.start)));
        if motions.len() < 2 {
            return;
        }
        let filling = std::cell::OnceCell::new();
        let filling = || *filling.get_or_init(|| super::filling(cx, &slice));
        heads.clear();
        head_of.clear();
        for motion in &motions {
            let known = heads.iter().position(|(head, _)| head.is_unison(motion));
            head_of.push(known.unwrap_or(heads.len()));
            if known.is_none() {
                heads.push((*motion, heads.len()));
            }
        }
        heads.sort_unstable_by_key(|(m, _)| (m.to, m.from));
        let of = |number: usize| {
            let motions = motions.iter().zip(&head_of);
            motions.filter(move |(_, head)| **head == number).map(|(motion, _)| motion)
        };
        for (index, (high, above)) in heads.iter().enumerate() {
            for (low, below) in &heads[..index] {
                let Some(octaves) = parallel(low, high) else { continue };
                for one in of(*above) {
                    let with = of(*below).find(|two| independent(cx, two, one, octaves, filling));
                    found.extend(with.map(|with| (one.sounding, (with.sounding, octaves))));
                }
            }
        }
    };
    let mut offences: Vec<Vec<(usize, (Sounding, bool))>> = vec![Vec::new(); parts.len()];
    cx.each_moment(&RULE, find, |moment| {
        let (one, what) = moment.what;
        let own = &mut offences[one.player()];
        let note = one.note();
        if own.last().is_none_or(|(last, _)| *last < note) {
            own.push((note, what));
        }
    });
    let cause = |_, note: &PackedNote, (low, _): &(Sounding, bool)| {
        let of = |note: &PackedNote| {
            sharing::cause(note, super::single(note).unwrap_or(Pitch::new(Letter::C, 0, 0)))
        };
        (of(note), Some(of(low.of(parts))))
    };
    for (passage, others) in sharing::causes(cx, &RULE, offences, cause) {
        let (other, octaves) = *passage.detail();
        let with = cx.part(other.player());
        let message = format!(
            "{} and {} move in parallel {} into {}{}.",
            passage.part.player.name,
            with.player.name,
            if octaves { "octaves" } else { "fifths" },
            cx.form.place(passage.first().start()),
            passage.and_more(),
        );
        let finding = cx
            .finding(&RULE, &passage, message)
            .with_label(other.of(parts).source(), format!("the note of {}", with.player.name))
            .with_help(
                "Let one of the two move the other way or stay; for an intended doubling, write `doubles`.",
            );
        let finding = cx.with_allow_for(finding, &passage);
        findings.push_shared(cx, &passage, others, finding);
    }
}

/// Are these two voices, and not one that is strengthened?
fn independent(
    cx: &Context,
    low: &Motion,
    high: &Motion,
    octaves: bool,
    filling: impl Fn() -> Filling,
) -> bool {
    let parts = &cx.arrangement.parts;
    let (role, other) = (high.sounding.of(parts).role(), low.sounding.of(parts).role());
    // Two who share the bass or the melody strengthen one line.
    if octaves && role == other && matches!(role, Role::Bass | Role::Melody) {
        return false;
    }
    let filling = filling();
    let (one, two) = ((low.sounding, low.to), (high.sounding, high.to));
    let line = |m: &Motion| &cx.part(m.sounding.player()).player.line_name;
    let of_tutti = octaves
        && (super::doubles_in_tutti(cx, filling, one, two)
            || (filling.is_full() && line(low) != line(high)));
    !of_tutti
        && (heard_together(cx, low.sounding, high.sounding)
            || !octaves && !filling.is_tutti() && written_out(cx, low.sounding, high.sounding))
        && !super::doubling(cx, low.sounding, high.sounding)
}

fn motion(cx: &Context, sounding: Sounding, at: crate::music::Time) -> Option<Motion> {
    let part = cx.part(sounding.player());
    let note = &part.notes[sounding.note()];
    let index = sounding.note().checked_sub(1)?;
    if note.start() != at
        || !super::counts(cx, sounding)
        || matches!(note.role(), Role::Rhythm | Role::Highlight)
        || part.instrument_at(at).natural.is_some()
    {
        return None;
    }
    let before = &part.notes[index];
    let (mut from, to) = (super::single(before)?, super::single(note)?);
    if cx.line_of(sounding).is_some_and(|line| is_broken(&line.verb)) {
        from = top_of_figure(&part.notes[..=index], note)?;
    }
    (before.end() == at && from.midi() != to.midi()).then_some(Motion { sounding, from, to })
}

fn is_broken(verb: &Verb) -> bool {
    matches!(verb, Verb::Sustains { restrike: Restrike::Broken })
}

/// The highest note of the broken chord before a note that begins another chord; `None` within one:
/// a figure is one voice by its top, and goes nowhere while its chord lasts.
fn top_of_figure(before: &[PackedNote], note: &PackedNote) -> Option<Pitch> {
    let source =
        before.last().map(|last| last.source()).filter(|source| *source != note.source())?;
    let figure = before.iter().rev().take_while(|other| other.source() == source);
    figure.filter_map(super::single).max()
}

/// Are the two parts heard as two voices of one texture: of one family, or melody and bass?
///
/// Where a filling part of another family goes along with a voice for a moment, nobody hears more
/// than a shade of colour. (Our heuristic.)
fn heard_together(cx: &Context, one: Sounding, two: Sounding) -> bool {
    let family = |s: Sounding| cx.part(s.player()).first_instrument().family;
    let outer =
        |s: Sounding| matches!(s.of(&cx.arrangement.parts).role(), Role::Melody | Role::Bass);
    family(one) == family(two) || (outer(one) && outer(two))
}

/// Are the notes of both written in voices or by hand? Fifths between two written inner parts are
/// heard across families too, where fewer accompany than make a tutti (our heuristic); what the
/// compiler chose from the chords of a family is judged within that family.
fn written_out(cx: &Context, one: Sounding, two: Sounding) -> bool {
    super::written(cx, one) && super::written(cx, two)
}

/// Octaves (`true`) or fifths (`false`), if the two motions are parallel.
fn parallel(low: &Motion, high: &Motion) -> Option<bool> {
    let (first, second) =
        (Interval::between(low.from, high.from), Interval::between(low.to, high.to));
    let (down, up) = (low.to.midi() - low.from.midi(), high.to.midi() - high.from.midi());
    if down.signum() != up.signum() || first.steps < 0 || second.steps < 0 {
        return None;
    }
    let kind = |interval: Interval| match (
        interval.steps.rem_euclid(7),
        interval.semitones.rem_euclid(12),
    ) {
        (0, 0) => Some(true),
        (4, 7) => Some(false),
        _ => None,
    };
    (kind(first) == kind(second)).then(|| kind(first)).flatten()
}

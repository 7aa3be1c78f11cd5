//! A note against its own alteration in another part.
//!
//! # What it finds
//! Two players who sound one letter with different accidentals at once, F against F sharp, for a
//! third of a second or more (our heuristic). It needs no declared harmony. Unequal notes of one
//! source line, timpani, and notes that only pass (shorter than half a beat) do not count.
//!
//! Also a note that comes straight after its alteration in another part: F in the bass, then F sharp
//! in the tune. It counts between written lines, in notes of a beat and more (our heuristic), and not
//! where some player takes the chromatic step, or where the first note goes on by step as its
//! accidental wants: the seventh degree of minor down, the raised one up.
//!
//! # Why it matters
//! In nearly every case one of the two accidentals was forgotten: the players stop and ask which
//! part is right.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! voice tune { 1: 1/1 D5 | 2: 1/1 F#5 | 3: 1/1 G5 | 4: 1/1 G5 | }
//! voice fill { 1: 1/1 A4 | 2: 1/1 F4 | 3: 1/1 D4 | 4: 1/1 B4 | }
//! ensemble few { era 1885
//!   flute, clarinet in Bb }
//! scoring few for few {
//!   flute plays tune as melody
//!   clarinet plays fill as harmony
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! voice tune { 1: 1/1 D5 | 2: 1/1 F#5 | 3: 1/1 G5 | 4: 1/1 G5 | }
//! voice fill { 1: 1/1 A4 | 2: 1/1 A4 | 3: 1/1 D4 | 4: 1/1 B4 | }
//! ensemble few { era 1885
//!   flute, clarinet in Bb }
//! scoring few for few {
//!   flute plays tune as melody
//!   clarinet plays fill as harmony
//! }
//! ```
//!
//! # Source
//! Common practice of part-writing; the figures are our heuristic.

use crate::arrange::PackedNote;
use crate::check::context::Context;
use crate::check::memory::Moved;
use crate::check::slices::{Slice, Sounding};
use crate::check::{Cause, Findings, Grounds, Rule, Scope, sharing};
use crate::diagnostics::Severity;
use crate::music::Pitch;
use crate::narrow::Narrow;

pub const RULE: Rule = Rule {
    code: "harmony/cross-relation",
    severity: Severity::Warning,
    scope: Scope::Moment(check),
    grounds: Grounds::Together,
    absence: false,
    cause: Cause::Source,
    text: include_str!("cross_relation.rs"),
};

/// The note, the note against which it sounds, and whose that is.
#[derive(Clone)]
struct Clash {
    pitch: Pitch,
    with: Pitch,
    other: Sounding,
    /// Do the two follow one another?
    after: bool,
}

impl Moved for Clash {
    fn moved(&mut self, by: &dyn Fn(&mut Sounding)) {
        by(&mut self.other);
    }
}

fn check(cx: &Context, findings: &mut Findings) {
    let parts = &cx.arrangement.parts;
    let moments = cx.moments(&RULE, |slice, found: &mut Vec<((Sounding, i32), Clash)>| {
        // By letter: the first note of the slice with it.
        let mut letters: [Option<(Sounding, Pitch)>; 7] = [None; 7];
        let beat = |time| cx.form.bar_at(time).metre.beat();
        let here = beat(slice.start);
        for &sounding in slice.sounding.iter().filter(|s| super::counts(cx, **s)) {
            let note = sounding.of(parts);
            let beat = if note.start() == slice.start { here } else { beat(note.start()) };
            if note.length() + note.length() < beat {
                continue;
            }
            for pitch in note.sound().pitches() {
                let letter = pitch.step().rem_euclid(7);
                match letters[letter as usize] {
                    Some((other, with)) if with.name().alter != pitch.name().alter => {
                        if other.of(parts).source() != note.source() {
                            let clash = Clash { pitch: *pitch, with, other, after: false };
                            found.push(((sounding, letter), clash));
                        }
                    }
                    Some(_) => {}
                    None => letters[letter as usize] = Some((sounding, *pitch)),
                }
            }
        }
        successions(cx, slice, found);
    });
    let (follow, clash): (Vec<_>, Vec<_>) =
        moments.into_iter().partition(|moment| moment.what.1.after);
    let mut offences = super::lasting(cx, clash, cx.limit(&RULE), |(sounding, _)| *sounding);
    for ((sounding, _), clash) in follow.into_iter().map(|moment| moment.what) {
        let own = &mut offences[sounding.player()];
        let at = own.partition_point(|(note, _)| *note < sounding.note());
        if own.get(at).is_none_or(|(note, _)| *note != sounding.note()) {
            own.insert(at, (sounding.note(), clash));
        }
    }
    let cause = |_, note: &PackedNote, clash: &Clash| {
        let with = sharing::cause(clash.other.of(parts), clash.with);
        (sharing::cause(note, clash.pitch), Some(with))
    };
    for (passage, others) in sharing::causes(cx, &RULE, offences, cause) {
        let &Clash { pitch, with, other, after } = passage.detail();
        let against = cx.part(other.player());
        let begins = passage.first().start();
        let message = format!(
            "{}: {} {} {with} of {} in {}{}.",
            passage.part.player.name,
            cx.both(passage.part, pitch, passage.first()),
            if after { "comes straight after" } else { "sounds against" },
            against.player.name,
            cx.form.place(if after { begins } else { begins.max(other.of(parts).start()) }),
            passage.and_more(),
        );
        let finding = cx
            .finding(&RULE, &passage, message)
            .with_label(other.of(parts).source(), format!("the note of {}", against.player.name))
            .with_help(if after {
                "Let one player have both notes as a chromatic step, or give one of the two another note of the chord."
            } else {
                "Give both the same accidental, or let one of them take another note of the chord."
            });
        let finding = cx.with_allow_for(finding, &passage);
        findings.push_shared(cx, &passage, others, finding);
    }
}

/// The notes that begin with a slice, straight after their alteration in another part.
fn successions(cx: &Context, slice: Slice, found: &mut Vec<((Sounding, i32), Clash)>) {
    let parts = &cx.arrangement.parts;
    // Whoever goes from one note straight to the next: the note before, and the one now.
    let moves = |now: &Sounding| {
        let before = Sounding::new(now.player(), now.note().checked_sub(1)?);
        let (old, new) = (before.of(parts), now.of(parts));
        (new.start() == slice.start && old.end() == slice.start).then_some((before, *now))
    };
    let steps = || slice.sounding.iter().filter_map(moves);
    let begins = |s: &&Sounding| s.of(parts).start() == slice.start;
    // Most changes of chord have no letter with two accidentals.
    let (mut old, mut new) = ([0_u8; 7], [0_u8; 7]);
    let add = |letters: &mut [u8; 7], s: Sounding| {
        for pitch in s.of(parts).sound().pitches() {
            let (letter, alter) = name(*pitch);
            letters[letter.rem_euclid(7).narrow::<usize>()] |= 1 << (alter + 2).clamp(0, 7);
        }
    };
    steps().for_each(|(before, _)| add(&mut old, before));
    slice.sounding.iter().filter(begins).for_each(|now| add(&mut new, *now));
    let differs = |(old, new): (&u8, &u8)| *old != 0 && *new != 0 && (old | new).count_ones() > 1;
    if !old.iter().zip(&new).any(differs) {
        return;
    }
    let counts = |s: Sounding| {
        let note = s.of(parts);
        note.length() >= cx.form.bar_at(note.start()).metre.beat()
            && super::counts(cx, s)
            && super::written(cx, s)
    };
    let is = |s: Sounding, like: Pitch| {
        s.of(parts).sound().pitches().iter().any(|pitch| name(*pitch) == name(like))
    };
    for &sounding in slice.sounding.iter().filter(begins).filter(|s| counts(**s)) {
        for (before, now) in steps().filter(|(before, _)| before.player() != sounding.player()) {
            let pair = super::single(sounding.of(parts)).zip(super::single(before.of(parts)));
            let Some((pitch, with)) = pair else { continue };
            let ((letter, alter), (other, altered)) = (name(pitch), name(with));
            if letter != other || alter == altered || !counts(before) {
                continue;
            }
            // Somebody takes the step himself, or has the letter still or already.
            let step = steps().any(|(before, now)| is(before, with) && is(now, pitch));
            let stays = slice.sounding.iter().any(|s| is(*s, with));
            let goal = super::single(now.of(parts));
            let wanted = if altered < alter { -1 } else { 1 };
            let resolves = goal.is_some_and(|goal| goal.step() - with.step() == wanted);
            if !step && !stays && !resolves {
                let clash = Clash { pitch, with, other: before, after: true };
                found.push(((sounding, letter), clash));
            }
        }
    }
}

/// The letter of a pitch, from 0 for C, and its alteration in semitones.
fn name(pitch: Pitch) -> (i32, i32) {
    (pitch.step().rem_euclid(7), i32::from(pitch.name().alter))
}

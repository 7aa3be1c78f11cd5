//! No rest for the embouchure.
//!
//! # What it finds
//! Brass players who go on for more than a minute without a rest of three seconds, repeats
//! counted as often as they are played, unless another player of their line plays the same notes.
//! Soft and low notes cost less, high and loud ones more, and short rests give something back, so
//! that a tuba with a rest after every note or a horn at piano can go on for longer (our
//! heuristic).
//!
//! # Why it matters
//! Lips tire, and a tired lip does not recover in a bar. The next high note is the one that will
//! be missed.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 60
//!   20 end }
//! voice tune { 1: 1/4 C5 C5 C5 rest | 2: 1/4 C5 C5 C5 rest | 3: 1/4 C5 C5 C5 rest | 4: 1/4 C5 C5 C5 rest | 5: 1/4 C5 C5 C5 rest | 6: 1/4 C5 C5 C5 rest | 7: 1/4 C5 C5 C5 rest | 8: 1/4 C5 C5 C5 rest | 9: 1/4 C5 C5 C5 rest | 10: 1/4 C5 C5 C5 rest | 11: 1/4 C5 C5 C5 rest | 12: 1/4 C5 C5 C5 rest | 13: 1/4 C5 C5 C5 rest | 14: 1/4 C5 C5 C5 rest | 15: 1/4 C5 C5 C5 rest | 16: 1/4 C5 C5 C5 rest | 17: 1/4 C5 C5 C5 rest | 18: 1/4 C5 C5 C5 rest | 19: 1/4 C5 C5 C5 rest | 20: 1/4 C5 C5 C5 rest | }
//! ensemble few { era 1885
//!   trumpet in C }
//! scoring few for few {
//!   trumpet plays tune as harmony
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 60
//!   20 end }
//! voice tune { 1: 1/4 C5 C5 C5 rest | 2: rest | 3: 1/4 C5 C5 C5 rest | 4: rest | 5: 1/4 C5 C5 C5 rest | 6: rest | 7: 1/4 C5 C5 C5 rest | 8: rest | 9: 1/4 C5 C5 C5 rest | 10: rest | 11: 1/4 C5 C5 C5 rest | 12: rest | 13: 1/4 C5 C5 C5 rest | 14: rest | 15: 1/4 C5 C5 C5 rest | 16: rest | 17: 1/4 C5 C5 C5 rest | 18: rest | 19: 1/4 C5 C5 C5 rest | 20: rest | }
//! ensemble few { era 1885
//!   trumpet in C }
//! scoring few for few {
//!   trumpet plays tune as harmony
//! }
//! ```
//!
//! # Source
//! That wind need rests: Rimsky-Korsakov, Principles of Orchestration, tr. Agate, 1922, ch. I.
//! The figures are our heuristic; the players know better.

use crate::check::alternatives::{all_pitches, custom, height};
use crate::check::context::Context;
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::Severity;
use crate::instruments::{Compass, Family};
use crate::resolve::Dynamic;

pub const RULE: Rule = Rule {
    code: "endurance/lips",
    severity: Severity::Warning,
    scope: Scope::Player(check),
    grounds: Grounds::Loudness,
    absence: false,
    cause: Cause::Line,
    text: include_str!("lips.rs"),
};

/// Seconds of a rest that lets lips recover. Our heuristic.
const REST: f64 = 3.0;
/// Seconds of a middling note at mezzo forte that are too much within a stretch. Our heuristic.
const LOAD: f64 = 0.7;
/// Semitones below the top of custom that cost more: a fourth. Our heuristic.
const HIGH: i32 = 5;
/// Semitones above the low end of custom that cost less: an octave. Our heuristic.
const LOW: i32 = 12;

fn check(cx: &Context, findings: &mut Findings) {
    for (player, part) in cx.parts() {
        if part.first_instrument().family != Family::Brass || part.player.count > 1 {
            continue;
        }
        let offences = cx.offences_of_part(&RULE, player, || without_rest(cx, player));
        for passage in cx.passages(&RULE, player, offences) {
            let message = format!(
                "{} plays for {:.0} seconds without a rest of {REST:.0} seconds, from {} on ({}).",
                part.player.name,
                passage.detail(),
                cx.form.place(passage.first().start()),
                crate::check::words::bars(&passage.bars),
            );
            let finding = cx.finding(&RULE, &passage, message).with_help(
                "Let the player rest for two or three bars where the others go on, or share the line between the players of a pair.",
            );
            findings.push_line(cx, passage.line, cx.with_allow_for(finding, &passage));
        }
    }
}

/// The notes of stretches that are too long without a rest, each with the seconds of its stretch.
fn without_rest(cx: &Context, player: usize) -> Vec<(usize, f64)> {
    let limit = cx.limit(&RULE);
    let mut offences: Vec<(usize, f64)> = Vec::new();
    let mut end = |stretch: &Spell| {
        let seconds = stretch.end - stretch.begin;
        let notes = stretch.low..=stretch.high;
        if seconds > limit
            && stretch.load() > LOAD * limit
            && !super::shared(cx, player, notes.clone())
        {
            offences.extend(notes.map(|note| (note, seconds)));
        }
    };
    let mut stretch: Option<Spell> = None;
    played(cx, player, |sounded| match &mut stretch {
        Some(stretch) if sounded.begin - stretch.end < REST => stretch.go_on(&sounded),
        other => {
            if let Some(done) = other.replace(Spell::from(&sounded)) {
                end(&done);
            }
        }
    });
    if let Some(last) = stretch {
        end(&last);
    }
    // Without repeats they are in order, and sorting would take room for as many again.
    if !offences.is_sorted_by_key(|(note, _)| *note) {
        offences.sort_by_key(|(note, _)| *note);
    }
    offences.dedup_by_key(|(note, _)| *note);
    offences
}

/// A note as it is played, repeats and all.
struct Sounded {
    note: usize,
    begin: f64,
    end: f64,
    /// How much it costs beside a middling note at mezzo forte.
    effort: f64,
}

/// What notes without a rest between them come to.
struct Spell {
    begin: f64,
    end: f64,
    /// The first and the last note of the part that are among them.
    low: usize,
    high: usize,
    /// Seconds that sound, weighed by what they cost.
    sounded: f64,
    /// What short rests give back.
    rested: f64,
}

impl From<&Sounded> for Spell {
    fn from(first: &Sounded) -> Spell {
        let Sounded { note, begin, end, effort } = *first;
        let sounded = (end - begin) * effort;
        Spell { begin, end, low: note, high: note, sounded, rested: 0.0 }
    }
}

impl Spell {
    fn go_on(&mut self, next: &Sounded) {
        let rest = (next.begin - self.end).max(0.0);
        self.rested += rest * rest / REST;
        self.sounded += (next.end - next.begin) * next.effort;
        self.end = next.end;
        (self.low, self.high) = (self.low.min(next.note), self.high.max(next.note));
    }

    /// What is left of the load at the end: short rests give little back, long ones much.
    fn load(&self) -> f64 {
        self.sounded - self.rested
    }
}

/// Hands the notes of a player to `each` in the order in which they sound, every repeat again.
fn played(cx: &Context, player: usize, mut each: impl FnMut(Sounded)) {
    let (part, times) = (cx.part(player), cx.times(player));
    // The usual compasses of the instruments that the player takes.
    let taken = part.instruments.iter().map(|(_, taken)| (*taken, custom(taken, false, cx.era)));
    let taken: Vec<_> = taken.collect();
    let efforts = cx.each_note(&RULE, player, |note| {
        let instrument = part.instrument_at(part.notes[note].start());
        let usual = taken.iter().find(|(taken, _)| std::ptr::eq(*taken, instrument));
        effort(cx, player, note, usual.and_then(|(_, usual)| *usual))
    });
    let mut now = 0.0;
    let mut after = 0;
    for bar in cx.form.playing_order() {
        let Some(bar) = cx.form.bars.get(bar) else { continue };
        let (start, end) = (bar.start, bar.start + bar.length);
        let (from, until) = (cx.seconds_at(start), cx.seconds_at(end));
        // Most bars follow the one before.
        let begun = |note: usize| part.notes.get(note).is_none_or(|note| note.start() >= start);
        let follows = begun(after) && after.checked_sub(1).is_none_or(|last| !begun(last));
        let first = match follows {
            true => after,
            false => part.notes.partition_point(|note| note.start() < start),
        };
        after = first + part.notes[first..].iter().take_while(|note| note.start() < end).count();
        for note in first..after {
            let ((begin, end), effort) = (times.of(note), efforts[note]);
            each(Sounded { note, begin: now + begin - from, end: now + end - from, effort });
        }
        now += until - from;
    }
}

/// What a note costs by its loudness and its register: less than half at piano, a third less in the
/// lowest octave of custom, half as much again in the highest fourth. Our heuristic.
fn effort(cx: &Context, player: usize, index: usize, usual: Option<&Compass>) -> f64 {
    let part = cx.part(player);
    let note = &part.notes[index];
    let degree = cx.degree(player, note.start()).to_f64() - f64::from(Dynamic::Mf as u8);
    let loud = if degree < 0.0 { (1.0 + 0.3 * degree).max(0.1) } else { 1.0 + 0.2 * degree };
    let height = all_pitches(note).map(|p| height(part, p, note.start())).max();
    let register = match (usual, height) {
        (Some(compass), Some(height)) if height > compass.high.midi() - HIGH => 1.5,
        (Some(compass), Some(height)) if height < compass.low.midi() + LOW => 0.65,
        _ => 1.0,
    };
    loud * register
}

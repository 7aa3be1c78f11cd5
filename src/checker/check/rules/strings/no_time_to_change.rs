//! No time to change between bow and plucking, or to put the mute on or off.
//!
//! # What it finds
//! Changes from arco to pizzicato with less than a third of a second between the notes, from
//! pizzicato to arco with less than half a second from the pluck, and of the mute with less than
//! two seconds (our heuristic). Notes count as they follow each other when the music is played: from
//! the last one before the first ending to the second ending, or to the coda; and what is taken back
//! counts too, as from the end of a repeat to its beginning or at a da capo.
//!
//! # Why it matters
//! Changing to and from pizzicato and fitting a mute take time. Without a rest
//! the first notes after the change are lost.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! voice tune { 1: 1/4 G4 G4 G4 G4 | 2: [pizz] 1/4 G4 G4 G4 rest | 3: [arco] 1/1 G4 | 4: G4 | }
//! ensemble few { era 1810
//!   violin-1 4 players }
//! scoring few for few {
//!   violin-1 plays tune as harmony
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! voice tune { 1: 1/4 G4 G4 G4 rest | 2: [pizz] 1/4 G4 G4 G4 rest | 3: [arco] 1/1 G4 | 4: G4 | }
//! ensemble few { era 1810
//!   violin-1 4 players }
//! scoring few for few {
//!   violin-1 plays tune as harmony
//! }
//! ```
//!
//! # Source
//! Common practice; the seconds are our heuristic.

use crate::check::context::Context;
use crate::check::context::techniques;
use crate::check::jumps::{Between, Following};
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::{Severity, Span};
use crate::music::Time;
use crate::resolve::Technique;

pub const RULE: Rule = Rule {
    code: "strings/no-time-to-change",
    severity: Severity::Warning,
    scope: Scope::Player(check),
    grounds: Grounds::Notes,
    absence: false,
    cause: Cause::Line,
    text: include_str!("no_time_to_change.rs"),
};

/// Seconds from the end of a bowed note to the first pluck. Our heuristic.
const TO_PLUCK: f64 = 0.33;
/// Seconds from a pluck to the first bowed note. Our heuristic.
const TO_BOW: f64 = 0.5;
/// Seconds for the mute. Our heuristic.
const MUTE: f64 = 2.0;

/// A change for which there is too little time.
struct Short {
    /// Seconds that there are.
    time: f64,
    /// Seconds that it needs.
    needed: f64,
    technique: Technique,
    /// Index of the bar from which the music jumps to it.
    from: Option<usize>,
}

/// How a section plays at a time.
#[derive(Clone, Copy, Default, PartialEq, Eq)]
struct Manner {
    plucked: bool,
    muted: bool,
}

impl Manner {
    /// Changes it; does anything change?
    fn change(&mut self, technique: Technique) -> bool {
        let old = *self;
        match technique {
            Technique::Pizzicato => self.plucked = true,
            Technique::Arco => self.plucked = false,
            Technique::Muted => self.muted = true,
            Technique::Unmuted => self.muted = false,
        }
        *self != old
    }

    fn at(techniques: &[(Time, Technique, Span)], time: Time) -> Manner {
        let mut manner = Manner::default();
        for (_, technique, _) in techniques.iter().take_while(|(at, ..)| *at <= time) {
            manner.change(*technique);
        }
        manner
    }

    /// What is to be changed to come to another.
    fn to(self, other: Manner) -> impl Iterator<Item = Technique> {
        let bow = if other.plucked { Technique::Pizzicato } else { Technique::Arco };
        let mute = if other.muted { Technique::Muted } else { Technique::Unmuted };
        let bow = (self.plucked != other.plucked).then_some(bow);
        bow.into_iter().chain((self.muted != other.muted).then_some(mute))
    }
}

fn check(cx: &Context, findings: &mut Findings) {
    for (player, part) in cx.parts() {
        let techniques = techniques(part);
        if part.first_instrument().open_strings.is_empty() || techniques.is_empty() {
            continue;
        }
        for passage in cx.passages(&RULE, player, offences(cx, player, &techniques)) {
            let Short { time, needed, technique, from } = *passage.detail();
            let jump = from.map_or_else(String::new, |bar| {
                format!(", after the jump from bar {}", cx.form.bars[bar].number)
            });
            let message = format!(
                "{}: {time:.1} seconds for \u{201c}{}\u{201d} before {}{jump}{}; it needs about {needed:.1}.",
                part.player.name,
                technique.printed(),
                cx.form.place(passage.first().start()),
                passage.and_more(),
            );
            let finding = cx.finding(&RULE, &passage, message).with_help(
                "Let the section rest for a beat before the change, or let half of it change at a time.",
            );
            findings.push_line(cx, passage.line, cx.with_allow_for(finding, &passage));
        }
    }
}

/// The notes before which there is too little time, in written order.
fn offences(
    cx: &Context,
    player: usize,
    techniques: &[(Time, Technique, Span)],
) -> Vec<(usize, Short)> {
    let notes = &cx.part(player).notes;
    let following = Following::of(cx, player);
    let mut offences = Vec::new();
    let mut tell = |between: &Between, technique: Technique| {
        let (time, needed) = match technique {
            Technique::Pizzicato => (between.rest, TO_PLUCK),
            // A pluck is over at once, however long its note is written.
            Technique::Arco => (between.apart, TO_BOW),
            Technique::Muted | Technique::Unmuted => (between.rest, MUTE),
        };
        let needed = needed * cx.limit(&RULE) / 100.0;
        if time < needed {
            let from = between.jumps.then(|| cx.bar(&notes[between.before]));
            offences.push((between.next, Short { time, needed, technique, from }));
        }
    };
    let mut manner = Manner::default();
    for (at, technique, _) in techniques {
        if manner.change(*technique)
            && let Some(between) = following.around(cx, player, *at)
        {
            tell(&between, *technique);
        }
    }
    for jump in &following.jumps {
        let [before, next] =
            [jump.before, jump.next].map(|note| Manner::at(techniques, notes[note].start()));
        before.to(next).for_each(|technique| tell(jump, technique));
    }
    offences.sort_by_key(|(next, _)| *next);
    offences
}

//! The time between two notes in which a player changes something; and notes that follow each other only where the
//! music jumps: at a repeat, a da capo, a dal segno.

use super::context::Context;
use super::{Findings, Rule};
use crate::diagnostics::Diagnostic;
use crate::music::Time;

/// Two notes of a player that follow each other.
pub(super) struct Between {
    /// Index of the first of them.
    pub before: usize,
    /// Index of the second.
    pub next: usize,
    /// Seconds between the two.
    pub rest: f64,
    /// Does the music jump between them?
    pub jumps: bool,
}

impl Between {
    /// Two notes one behind the other, the second of which is the first from a time on.
    pub fn around(cx: &Context, player: usize, at: Time) -> Option<Between> {
        let notes = &cx.part(player).notes;
        let next = notes.partition_point(|note| note.start() < at);
        let before = next.checked_sub(1).filter(|_| next < notes.len())?;
        let rest = cx.times(player).begin(next) - cx.times(player).end(before);
        Some(Between { before, next, rest, jumps: false })
    }

    /// "between bar 4, beat 1 and, after the jump, bar 1, beat 1".
    pub fn place(&self, cx: &Context, player: usize) -> String {
        let notes = &cx.part(player).notes;
        let [before, next] =
            [self.before, self.next].map(|index| cx.form.place(notes[index].start()));
        let jump = if self.jumps { ", after the jump," } else { "" };
        format!("between {before} and{jump} {next}")
    }

    /// Tells that the time is too short for a change that a scoring line asks for from a time on, unless that is
    /// allowed.
    pub fn tell(
        &self,
        cx: &Context,
        rule: &'static Rule,
        (player, at): (usize, Time),
        (message, help): (String, String),
        findings: &mut Findings,
    ) {
        let part = cx.part(player);
        let [before, next] = [self.before, self.next].map(|index| &part.notes[index]);
        let bars = cx.bars_from(before, if self.jumps { before } else { next });
        if cx.allowed(rule.code, Some(player), bars) {
            return;
        }
        let line = cx.takes_line(player, at);
        let finding = match line {
            Some(line) => Diagnostic::new(rule.severity, rule.code, line, message)
                .with_text(if self.jumps { "what is taken back" } else { "the change" })
                .with_label(before.source(), "the last note before it")
                .with_label(next.source(), "the first note after it"),
            None => cx.chain(rule, player, next, message),
        };
        let finding = finding
            .with_label(part.player.span, part.player.name.clone())
            .with_bars(cx.number(bars.first), cx.number(bars.after - 1))
            .with_player(&part.player.id)
            .with_help(help);
        findings.push_at(line, finding);
    }
}

/// The notes of a player that follow each other only by a jump, in the order in which they are played. Where the
/// same two meet several times the shortest rest counts.
pub(super) fn at_jumps(cx: &Context, player: usize) -> Vec<Between> {
    let (notes, times) = (&cx.part(player).notes, cx.times(player));
    let mut all: Vec<Between> = Vec::new();
    let mut now = 0.0;
    // The last note with its end, and when the music has jumped since.
    let (mut last, mut jumped) = (None::<(usize, f64)>, None);
    let mut follows = 0;
    for index in cx.form.playing_order() {
        let Some(bar) = cx.form.bars.get(index) else { continue };
        if index != follows {
            jumped = jumped.or(Some(now));
        }
        follows = index + 1;
        let (start, end) = (bar.start, bar.start + bar.length);
        let (from, until) = (cx.seconds_at(start), cx.seconds_at(end));
        let first = notes.partition_point(|note| note.start() < start);
        let after = first + notes[first..].iter().take_while(|note| note.start() < end).count();
        if first < after {
            let begin = now + times.begin(first) - from;
            if let (Some((before, end)), Some(at)) = (last, jumped)
                && before + 1 != first
            {
                let rest = begin - f64::min(end, at);
                let same = |other: &&mut Between| (other.before, other.next) == (before, first);
                match all.iter_mut().find(same) {
                    Some(other) => other.rest = other.rest.min(rest),
                    None => all.push(Between { before, next: first, rest, jumps: true }),
                }
            }
            last = Some((after - 1, now + times.end(after - 1) - from));
            jumped = None;
        }
        now += until - from;
    }
    all
}

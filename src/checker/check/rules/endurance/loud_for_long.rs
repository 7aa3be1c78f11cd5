//! Loud brass and percussion close to other ears for long.
//!
//! # What it finds
//! Stretches of more than half a minute in which three or more trumpets, trombones, tubas or
//! drums play fortissimo without a break of five seconds (our heuristic), every repeat counted; triangle,
//! tambourine, glockenspiel and the mellower brass are exempt. One finding is made for a stretch.
//!
//! # Why it matters
//! The players who sit in front of them get the sound too, in rehearsal again and again. This is
//! a caution, not a measurement: the players and local noise-at-work rules decide. NIOSH
//! recommends 85 dB(A) as an average over eight hours, 3 dB more halving the time; Directive
//! 2003/10/EC has action values of 80 and 85 dB(A) and a limit of 87 dB(A).
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 60
//!   20 end }
//! dynamics { 1 ff }
//! voice tune { 1: 1/2 C4 1/4 C4 rest | 2: 1/2 C4 1/4 C4 rest | 3: 1/2 C4 1/4 C4 rest | 4: 1/2 C4 1/4 C4 rest | 5: 1/2 C4 1/4 C4 rest | 6: 1/2 C4 1/4 C4 rest | 7: 1/2 C4 1/4 C4 rest | 8: 1/2 C4 1/4 C4 rest | 9: 1/2 C4 1/4 C4 rest | 10: 1/2 C4 1/4 C4 rest | 11: 1/2 C4 1/4 C4 rest | 12: 1/2 C4 1/4 C4 rest | 13: 1/2 C4 1/4 C4 rest | 14: 1/2 C4 1/4 C4 rest | 15: 1/2 C4 1/4 C4 rest | 16: 1/2 C4 1/4 C4 rest | 17: 1/2 C4 1/4 C4 rest | 18: 1/2 C4 1/4 C4 rest | 19: 1/2 C4 1/4 C4 rest | 20: 1/2 C4 1/4 C4 rest | }
//! ensemble few { era 1885
//!   trumpet 3 in C, oboe }
//! scoring few for few {
//!   trumpet plays tune as harmony
//!   oboe rests
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 60
//!   20 end }
//! dynamics { 1 mf }
//! voice tune { 1: 1/2 C4 1/4 C4 rest | 2: 1/2 C4 1/4 C4 rest | 3: 1/2 C4 1/4 C4 rest | 4: 1/2 C4 1/4 C4 rest | 5: 1/2 C4 1/4 C4 rest | 6: 1/2 C4 1/4 C4 rest | 7: 1/2 C4 1/4 C4 rest | 8: 1/2 C4 1/4 C4 rest | 9: 1/2 C4 1/4 C4 rest | 10: 1/2 C4 1/4 C4 rest | 11: 1/2 C4 1/4 C4 rest | 12: 1/2 C4 1/4 C4 rest | 13: 1/2 C4 1/4 C4 rest | 14: 1/2 C4 1/4 C4 rest | 15: 1/2 C4 1/4 C4 rest | 16: 1/2 C4 1/4 C4 rest | 17: 1/2 C4 1/4 C4 rest | 18: 1/2 C4 1/4 C4 rest | 19: 1/2 C4 1/4 C4 rest | 20: 1/2 C4 1/4 C4 rest | }
//! ensemble few { era 1885
//!   trumpet 3 in C, oboe }
//! scoring few for few {
//!   trumpet plays tune as harmony
//!   oboe rests
//! }
//! ```
//!
//! # Source
//! NIOSH, Reducing the Risk of Hearing Disorders among Musicians, 2015, and criteria of 1998;
//! Directive 2003/10/EC of 6 February 2003, art. 3. Dynamics on paper are not decibels: the count
//! of players and the seconds are our heuristic.

use crate::check::context::Context;
use crate::check::memory::Moment;
use crate::check::slices::Sounding;
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::Severity;
use crate::resolve::Dynamic;

pub const RULE: Rule = Rule {
    code: "endurance/loud-for-long",
    severity: Severity::Advice,
    scope: Scope::Moment(check),
    grounds: Grounds::Loudness,
    absence: false,
    cause: Cause::Line,
    text: include_str!("loud_for_long.rs"),
};

/// Loud players from which it is a matter for the neighbours. Our heuristic.
const PLAYERS: usize = 3;
/// Seconds of a break. Our heuristic.
const BREAK: f64 = 5.0;

/// A stretch of loud playing: begin and end in seconds, first and last note heard in it, who plays.
struct Stretch {
    since: f64,
    until: f64,
    first: Sounding,
    last: Sounding,
    players: Vec<usize>,
}

fn check(cx: &Context, findings: &mut Findings) {
    let parts = &cx.arrangement.parts;
    let loud = |player: usize, time| {
        let instrument = parts[player].instrument_at(time);
        instrument.loud_for_neighbours && cx.degree(player, time).reaches(Dynamic::Ff)
    };
    let moments = cx.moments(&RULE, |slice, found: &mut Vec<Vec<Sounding>>| {
        let players: Vec<Sounding> =
            slice.sounding.iter().filter(|s| loud(s.player(), slice.start)).copied().collect();
        if players.len() >= PLAYERS {
            found.push(players);
        }
    });
    let mut stretches: Vec<Stretch> = Vec::new();
    for (begin, end, players) in as_played(cx, &moments) {
        let Some(&one) = players.first() else { continue };
        if stretches.last().is_none_or(|stretch| begin - stretch.until >= BREAK) {
            let (since, until) = (begin, end);
            stretches.push(Stretch { since, until, first: one, last: one, players: Vec::new() });
        }
        let Some(stretch) = stretches.last_mut() else { continue };
        (stretch.until, stretch.last) = (end, one);
        for player in players.iter().map(|one| one.player()) {
            if !stretch.players.contains(&player) {
                stretch.players.push(player);
            }
        }
    }
    for stretch in
        stretches.iter().filter(|stretch| stretch.until - stretch.since > cx.limit(&RULE))
    {
        tell(cx, stretch, findings);
    }
}

/// Moments in the order in which they sound, every repeat again: begin and end in seconds, and who
/// sounds.
fn as_played<'m>(
    cx: &Context,
    moments: &'m [Moment<Vec<Sounding>>],
) -> Vec<(f64, f64, &'m [Sounding])> {
    let mut all = Vec::with_capacity(moments.len());
    let mut now = 0.0;
    for bar in cx.form.playing_order() {
        let Some(bar) = cx.form.bars.get(bar) else { continue };
        let (start, end) = (bar.start, bar.start + bar.length);
        let (from, until) = (cx.seconds_at(start), cx.seconds_at(end));
        let first = moments.partition_point(|moment| moment.end <= start);
        for moment in moments[first..].iter().take_while(|moment| moment.start < end) {
            let begin = cx.seconds_at(moment.start.max(start)) - from;
            let end = cx.seconds_at(moment.end.min(end)) - from;
            all.push((now + begin, now + end, &*moment.what));
        }
        now += until - from;
    }
    all
}

fn tell(cx: &Context, stretch: &Stretch, findings: &mut Findings) {
    let parts = &cx.arrangement.parts;
    let (note, end) = (stretch.first.of(parts), stretch.last.of(parts));
    let bars = cx.bars_from(note, end);
    // Whoever of them is allowed to, it is the same sound that is meant.
    if stretch.players.iter().any(|player| cx.allowed(RULE.code, Some(*player), bars)) {
        return;
    }
    let message = format!(
        "Loud brass and percussion play fortissimo for {:.0} seconds from {} on.",
        stretch.until - stretch.since,
        cx.form.place(note.start()),
    );
    let finding = cx
        .chain(&RULE, stretch.first.player(), note, message)
        .with_bars(cx.number(bars.first), cx.number(bars.after - 1))
        .with_help(
            "Let them drop out between the points of weight, or seat them away from other ears, with screens. The players and local noise-at-work rules decide.",
        );
    let line = cx.part(stretch.first.player()).line_of(note);
    findings.push_line(cx, line, cx.with_allow(finding, line));
}

//! Where wind players breathe in held notes.
//!
//! A player breathes so that no breath has to carry further than it does. The places are chosen
//! over the whole of a note that outlasts one: bar lines and middles of bars, never on
//! the last chord before the goal of a cadence, and not where his neighbour breathes. (That players
//! of a choir breathe in turn and carry a cadence to its end: common practice. All weights are our
//! heuristic: only their order means anything.)

use std::collections::HashMap;

use super::Held;
use super::slots::Slot;
use crate::arrange::derive::Request;
use crate::arrange::derive::texture::full_start;
use crate::music::{Metre, Time};
use crate::resolve::{BarLine, Clock, DirectionKind, Dynamic, Form};

/// The last chord of a section, to which the one before leads.
#[derive(Clone, Copy, Debug)]
pub(super) struct Goal {
    /// Nobody breathes later than this …
    after: Time,
    /// … until the goal has begun here …
    at: Time,
    /// … and, if it can be, until its section ends.
    until: Time,
}

/// The goals of the cadences: the last change of chord before a mark, a double bar line, a repeat
/// or the end of a passage.
pub(super) fn goals(form: &Form, slots: &[Slot]) -> Vec<Goal> {
    let mut goals = Vec::new();
    let mut first = 0;
    for index in 0..slots.len() {
        let next = slots.get(index + 1);
        if next.is_some_and(|next| next.start == slots[index].end && !divides(form, next.start)) {
            continue;
        }
        let section = &slots[first..=index];
        first = index + 1;
        let (Some(last), Some(goal)) = (section.last(), change_before(section, section.len()))
        else {
            continue;
        };
        let before = change_before(section, goal).unwrap_or(0);
        let at = section[goal].start;
        let bar = form.bar_at(section[goal - 1].start).length;
        let after = section[before].start.max(at - bar);
        let until = last.end.min(at + form.bar_at(at).length);
        goals.push(Goal { after, at, until });
    }
    goals
}

/// The slot with which the chord begins that holds at the end of the first slots; `None` where it
/// is the first chord.
fn change_before(slots: &[Slot], end: usize) -> Option<usize> {
    (1..end).rev().find(|&index| slots[index].chord != slots[index - 1].chord)
}

/// Does a new section begin with the bar that begins here?
pub(super) fn divides(form: &Form, at: Time) -> bool {
    let index = form.index_at(at);
    let bar = &form.bars[index];
    let before = index.checked_sub(1).map(|before| &form.bars[before]);
    bar.start == at
        && (bar.mark.is_some()
            || bar.repeat_starts
            || before.is_some_and(|bar| bar.repeat_ends || bar.line != BarLine::Plain))
}

/// How many players of the line breathe at a time already.
pub(super) type Taken = HashMap<Time, f64>;

/// A place at which a player could breathe, or where he begins or ends.
struct BreathPlace {
    at: Time,
    seconds: f64,
    /// How many seconds a breath carries before and after.
    carries: (f64, f64),
    /// Does a note begin here?
    struck: bool,
    /// What it costs to breathe here.
    cost: f64,
}

/// What each breath costs, and each less fitting kind of place.
const BREATH: f64 = 10.0;
const NOT_HIS_TURN: f64 = 4.0;
const WITHIN_BAR: f64 = 12.0;
/// For each player before him who breathes there.
const TAKEN: f64 = 20.0;
const AFTER_GOAL: f64 = 85.0;
const WITHIN_GOAL: f64 = 200.0;
const BEFORE_GOAL: f64 = 300.0;

/// What it costs when a breath has to carry further than it does, and for each time its length.
const TOO_FAR: f64 = 25.0;
const FARTHER: f64 = 200.0;
/// What it costs if one single note outlasts the breath, so that none can be snatched between two.
const NOTE_TOO_LONG: f64 = 250.0;

/// What it costs to breathe again when little of the breath is used.
const TOO_SOON: f64 = 8.0;

/// A bar of so many breaths is divided; a shorter one is held as it stands, from a breath at its bar
/// line to the next. (Our heuristic, as the checker has it.)
const TOO_LONG_A_BAR: f64 = 1.5;

/// No more than this many breaths long is a stretch without one, where there are places.
const FARTHEST: f64 = 4.0;

/// Writes a note of a player, divided where he breathes in it: what is held, and whether he breathes after
/// it although the same note goes on. Between two notes one breathes without being told, so only a note that
/// outlasts the breath is divided, at a breath mark. Nothing is taken away from it: a bar held is
/// a bar held on paper. (Common practice.)
pub(super) fn breathe(
    request: &Request,
    player: usize,
    held: &Held,
    lungs: &Lungs,
    goals: &[Goal],
    taken: &mut Taken,
    mut write: impl FnMut(Held, bool),
) {
    let places = places(request, player, std::slice::from_ref(held), goals, lungs, taken);
    let mut rest = *held;
    for at in chosen(&places) {
        *taken.entry(at).or_default() += 1.0;
        write(Held { end: at, ..rest }, true);
        rest.start = at;
    }
    write(rest, false);
}

/// Less than any note lasts.
const JUST_BEFORE: Time = Time::of(1, 1024);

/// The places of notes that follow on each other, from their beginning to their end.
fn places(
    request: &Request,
    player: usize,
    run: &[Held],
    goals: &[Goal],
    lungs: &Lungs,
    taken: &Taken,
) -> Vec<BreathPlace> {
    let form = &request.piece.form;
    let (Some(first), Some(last)) = (run.first(), run.last()) else { return Vec::new() };
    let (start, end) = (first.start, last.end);
    let Lungs { clock, breath, .. } = lungs;
    let carries = |at: Time| lungs.carries(at);
    let place = |at: Time, cost: f64| BreathPlace {
        at,
        seconds: clock.seconds_at(at),
        struck: run.binary_search_by_key(&at, |hold| hold.start).is_ok(),
        carries: (carries((at - JUST_BEFORE).max(start)), carries(at)),
        cost,
    };
    let mut places = vec![place(start, 0.0)];
    // One breath carries a run that is as short as this; nothing has to be looked at.
    let least = carries(start).min(f64::from(breath.1) * 0.85);
    if clock.seconds_at(end - JUST_BEFORE) - clock.seconds_at(start) > least {
        let turns = request.parts.len().clamp(1, 4);
        let seat = player + request.line_id.index();
        let mut notes = run.iter().map(|hold| hold.start).peekable();
        for (index, bar) in form.bars.iter().enumerate().skip(form.index_at(start)) {
            if bar.start >= end {
                break;
            }
            let middle = full_start(form, index) + middle(bar.metre);
            let mut here = vec![(bar.start, true)];
            // A bar held is one note on paper, unless no breath can carry so far.
            let bar_seconds = clock.seconds_at(bar.start + bar.length - JUST_BEFORE)
                - clock.seconds_at(bar.start);
            if middle > bar.start
                && middle < bar.start + bar.length
                && bar_seconds > TOO_LONG_A_BAR * carries(bar.start)
            {
                here.push((middle, false));
            }
            while let Some(at) = notes.next_if(|at| *at < bar.start + bar.length) {
                if here.iter().all(|(other, _)| *other != at) {
                    here.push((at, false));
                }
            }
            here.sort_unstable();
            let seconds = clock.seconds_at(bar.start + bar.length - JUST_BEFORE)
                - clock.seconds_at(bar.start);
            // Where a breath carries less than two bars, one breathes at bar lines, one within.
            let every_bar = 2.0 * seconds > carries(bar.start);
            for (at, is_line) in here.into_iter().filter(|(at, _)| *at > start && *at < end) {
                let by_line = turns == 1 || seat.is_multiple_of(2);
                let kind = match (every_bar, is_line) {
                    (true, _) if is_line == by_line => 0.0,
                    (true, _) => NOT_HIS_TURN,
                    (false, true) if (index + seat).is_multiple_of(turns) => 0.0,
                    (false, true) => NOT_HIS_TURN,
                    (false, false) => WITHIN_BAR,
                };
                let taken = TAKEN * taken.get(&at).copied().unwrap_or(0.0);
                places.push(place(at, BREATH + kind + taken + near_goal(goals, at)));
            }
        }
    }
    places.push(place(end, 0.0));
    places
}

/// How far into its bar the middle of a metre lies: on a beat, rather late than early.
fn middle(metre: Metre) -> Time {
    let beats = metre.beats();
    metre.beat().scaled((beats + 1) / 2, 1).unwrap_or(Time::ZERO)
}

fn near_goal(goals: &[Goal], at: Time) -> f64 {
    let next = goals.partition_point(|goal| goal.until <= at);
    match goals.get(next) {
        Some(goal) if at == goal.at => BEFORE_GOAL,
        Some(goal) if at > goal.at => AFTER_GOAL,
        Some(goal) if at > goal.after => WITHIN_GOAL,
        _ => 0.0,
    }
}

/// The cheapest breaths from the first place to the last.
fn chosen(places: &[BreathPlace]) -> Vec<Time> {
    let mut best: Vec<(f64, usize)> = vec![(0.0, 0)];
    for (index, place) in places.iter().enumerate().skip(1) {
        let mut found = (f64::INFINITY, 0);
        // The longest note between, and the end of the first one.
        let (mut longest, mut until) = (0.0f64, place.seconds);
        for before in (0..index).rev() {
            let from = &places[before];
            let carries = from.carries.1.min(place.carries.0).max(1.0);
            let share = (place.seconds - from.seconds) / carries;
            if share > FARTHEST && before + 1 < index {
                break;
            }
            let note = longest.max(until - from.seconds);
            if from.struck {
                (longest, until) = (note, from.seconds);
            }
            let too_long = if note > carries { NOTE_TOO_LONG } else { 0.0 };
            let way = too_long
                + if share > 1.0 {
                    TOO_FAR + FARTHER * (share - 1.0)
                } else if share < 0.4 {
                    TOO_SOON
                } else {
                    0.0
                };
            let cost = best[before].0 + way + place.cost;
            if cost < found.0 {
                found = (cost, before);
            }
        }
        best.push(found);
    }
    let mut breaths = Vec::new();
    let mut at = places.len().saturating_sub(1);
    while let Some(&(_, before)) = best.get(at).filter(|(_, before)| *before > 0) {
        breaths.push(places[before].at);
        at = before;
    }
    breaths.reverse();
    breaths
}

/// How many seconds a breath lasts at a degree of loudness: the catalogue gives piano and forte; in
/// fortissimo it is a little shorter. (Our heuristic, as the checker has it.)
fn carries(breath: (u8, u8), degree: u8) -> f64 {
    match degree {
        0..=2 => f64::from(breath.0),
        3..=4 => f64::from(breath.0.midpoint(breath.1)),
        5 => f64::from(breath.1),
        _ => f64::from(breath.1) * 0.85,
    }
}

/// How long a player can hold on.
pub(super) struct Lungs<'f> {
    clock: Clock<'f>,
    loudness: Loudness,
    /// Seconds of one breath in piano and in forte.
    breath: (u8, u8),
}

impl<'f> Lungs<'f> {
    /// Those of a player of a line; `breath` is how many seconds one lasts in piano and in forte.
    pub(super) fn new(request: &Request<'_, 'f>, breath: (u8, u8)) -> Lungs<'f> {
        Lungs { clock: Clock::new(&request.piece.form), loudness: Loudness::new(request), breath }
    }

    /// How many seconds a breath lasts that is taken at a time.
    fn carries(&self, at: Time) -> f64 {
        carries(self.breath, self.loudness.at(at))
    }
}

/// The loudness in force.
pub(super) struct Loudness {
    steps: Vec<(Time, u8)>,
    own: Option<u8>,
}

impl Loudness {
    pub(super) fn new(request: &Request) -> Loudness {
        let steps = request
            .piece
            .dynamics
            .iter()
            .filter_map(|direction| match direction.kind {
                DirectionKind::Dynamic(dynamic) => Some((direction.at, dynamic.degree()?)),
                _ => None,
            })
            .collect();
        let own = request.line.dynamic.and_then(|(dynamic, _)| dynamic.degree());
        Loudness { steps, own }
    }

    /// Its degree at a time.
    pub(super) fn at(&self, time: Time) -> u8 {
        let after = self.steps.partition_point(|(at, _)| *at <= time);
        let step = after.checked_sub(1).map(|step| self.steps[step].1);
        self.own.or(step).unwrap_or(Dynamic::Mf as u8)
    }
}

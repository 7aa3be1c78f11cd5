//! Passages in which a part goes with another one for a while, so that it can be said to double it
//! there and its voice rests.

use super::score::{Bar, Direction, PartLine, Says};
use super::scoring::alike;
use super::signs;
use crate::music::Time;
use crate::resolve::{BarIndices, Bars};

/// A passage of fewer bars in which both sound is not worth a line of the scoring (our heuristic).
const FEWEST_BARS: usize = 4;
/// The same of fewer notes (our heuristic).
const FEWEST_NOTES: usize = 8;

/// Where a line goes with another one.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Doubled {
    /// The player who is doubled.
    pub(super) other: usize,
    /// Octaves above the other.
    pub(super) octaves: i32,
    pub(super) bars: BarIndices,
}

/// What holds at the beginning of a bar.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
struct Edge {
    /// Is a note, a slur or a hairpin under way?
    open: bool,
    dynamic: Option<&'static str>,
    /// The ways of playing that were asked for so far; how many is enough to see a change.
    ways: (usize, Option<&'static str>),
}

/// What holds at the beginning of each bar and at the end of the last.
fn edges(line: &PartLine, bars: &[Bar]) -> Vec<Edge> {
    let times = bars.iter().map(|bar| bar.start).chain(bars.last().map(Bar::end));
    let mut edges: Vec<Edge> = Vec::with_capacity(bars.len() + 1);
    let (mut note, mut said) = (0, 0);
    let (mut held, mut slur, mut swells) = (Time::ZERO, false, Time::ZERO);
    let (mut dynamic, mut ways) = (None, (0, None));
    for time in times {
        while let Some(begun) = line.notes.get(note).filter(|note| note.start < time) {
            held = begun.end;
            slur = (slur && !begun.slur_ends) || begun.slur_starts;
            note += 1;
        }
        while let Some(direction) = line.directions.get(said).filter(|d| d.at < time) {
            match &direction.says {
                Says::Word(word) if signs::dynamic(word).is_some() => dynamic = Some(*word),
                Says::Word(word) => ways = (ways.0 + 1, Some(*word)),
                Says::Hairpin { to, .. } => swells = swells.max(*to),
                Says::Words(_) | Says::Fermata => {}
            }
            said += 1;
        }
        let open = held > time || slur || swells > time;
        edges.push(Edge { open, dynamic, ways });
    }
    edges
}

/// The passages in which the second line goes with the first, note for note and with all signs.
pub(super) fn between(one: &PartLine, two: &PartLine, bars: &[Bar]) -> Vec<Doubled> {
    let (of_one, of_two) = (edges(one, bars), edges(two, bars));
    // A passage begins and ends where nothing is under way and the same loudness is asked for.
    let fits = |edge: usize| {
        let (one, two) = (of_one[edge], of_two[edge]);
        !one.open && !two.open && one.dynamic == two.dynamic && one.ways.1 == two.ways.1
    };
    let mut found = Vec::new();
    for octaves in [0, 1, -1] {
        let same: Vec<Option<usize>> =
            bars.iter().map(|bar| notes_alike(one, two, bar, octaves)).collect();
        let mut from = 0;
        while from < bars.len() {
            let stays = |bar: &usize| {
                same[*bar].is_some() && of_two[*bar].ways.0 == of_two[*bar + 1].ways.0
            };
            let end = (from..bars.len()).find(|bar| !stays(bar)).unwrap_or(bars.len());
            let next = end.max(from + 1);
            let sounds = |bar: &usize| same[*bar].is_some_and(|notes| notes > 0);
            let first = (from..end).find(|bar| sounds(bar) && fits(*bar));
            let last = (from..end).rev().find(|bar| sounds(bar) && fits(*bar + 1));
            if let (Some(first), Some(last)) = (first, last)
                && first <= last
            {
                let sounding = (first..=last).filter(sounds).count();
                let notes: usize = same[first..=last].iter().flatten().sum();
                if sounding >= FEWEST_BARS && notes >= FEWEST_NOTES {
                    found.push(Doubled {
                        other: 0,
                        octaves,
                        bars: BarIndices::new(first, last + 1),
                    });
                }
            }
            from = next;
        }
    }
    found
}

/// How many notes begin in a bar, if they are the same in both lines, with the same directions.
fn notes_alike(one: &PartLine, two: &PartLine, bar: &Bar, octaves: i32) -> Option<usize> {
    let notes = |line: &PartLine| {
        let from = line.notes.partition_point(|note| note.start < bar.start);
        let to = line.notes.partition_point(|note| note.start < bar.end());
        from..to
    };
    let (of_one, of_two) = (&one.notes[notes(one)], &two.notes[notes(two)]);
    let directions = |line: &PartLine| {
        let from = line.directions.partition_point(|d| d.at < bar.start);
        let to = line.directions.partition_point(|d| d.at < bar.end());
        from..to
    };
    let same = of_one.len() == of_two.len()
        && of_one.iter().zip(of_two).all(|(one, two)| alike(one, two, octaves))
        && one.directions[directions(one)] == two.directions[directions(two)];
    same.then_some(of_one.len())
}

/// Of passages of one line as many as do not meet, the longest first; none if nothing is left that
/// the line plays alone.
pub(super) fn longest(mut found: Vec<Doubled>, line: &PartLine, bars: &[Bar]) -> Vec<Doubled> {
    found.sort_by_key(|passage| {
        let bars = passage.bars;
        (std::cmp::Reverse(bars.range().len()), bars.first, passage.other, passage.octaves.abs())
    });
    let mut chosen: Vec<Doubled> = Vec::new();
    for passage in found {
        if !chosen.iter().any(|other| other.bars.meets(passage.bars)) {
            chosen.push(passage);
        }
    }
    chosen.sort_by_key(|passage| passage.bars);
    if silenced(line, &chosen, bars).notes.is_empty() { Vec::new() } else { chosen }
}

/// The line without what it plays with others.
pub(super) fn silenced(line: &PartLine, passages: &[Doubled], bars: &[Bar]) -> PartLine {
    let times: Vec<(Time, Time)> = passages
        .iter()
        .map(|passage| (bars[passage.bars.first].start, bars[passage.bars.after - 1].end()))
        .collect();
    let kept = |at: Time| !times.iter().any(|(start, end)| *start <= at && at < *end);
    let mut silenced = line.clone();
    silenced.notes.retain(|note| kept(note.start));
    silenced.directions.retain(|direction| kept(direction.at));
    // How loud it is after a passage is said again if the passage changed it.
    let edges = edges(line, bars);
    for passage in passages {
        let (before, after) = (edges[passage.bars.first], edges[passage.bars.after]);
        let (before, after) = (before.dynamic, after.dynamic);
        let Some(bar) = bars.get(passage.bars.after) else { continue };
        let at = bar.start;
        let said = line.directions.iter().any(|d| {
            d.at == at && matches!(d.says, Says::Word(word) if signs::dynamic(word).is_some())
        });
        if let Some(word) = after.filter(|_| before != after && !said) {
            silenced.directions.push(Direction { at, says: Says::Word(word) });
        }
    }
    silenced.directions.sort_by_key(|direction| direction.at);
    silenced
}

/// The bars before, between and after passages.
pub(super) fn between_them(passages: &[Doubled], count: usize) -> Bars {
    let mut runs = Bars::new();
    let mut from = 0;
    for passage in passages {
        runs.push(BarIndices::new(from, passage.bars.first));
        from = passage.bars.after;
    }
    runs.push(BarIndices::new(from, count));
    runs.retain(|bars| !bars.is_empty());
    runs
}

/// The passages player by player, with octaves and bars.
pub(super) fn by_player(passages: &[Doubled]) -> Vec<(usize, i32, Bars)> {
    let mut players: Vec<(usize, i32, Bars)> = Vec::new();
    for passage in passages {
        match players.iter_mut().find(|p| (p.0, p.1) == (passage.other, passage.octaves)) {
            Some((.., runs)) => runs.push(passage.bars),
            None => players.push((passage.other, passage.octaves, vec![passage.bars])),
        }
    }
    players
}

/// Runs of bars as the language writes them.
pub(super) fn bars(runs: &[BarIndices], bars: &[Bar]) -> String {
    let one = |run: &BarIndices| {
        let (first, last) = (bars[run.first].number, bars[run.after - 1].number);
        if first == last { first.to_string() } else { format!("{first}..{last}") }
    };
    runs.iter().map(one).collect::<Vec<String>>().join(", ")
}

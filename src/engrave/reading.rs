//! Takes a notated score over into sheets: the only place that knows how staves were notated.

use ripieno_compiler::instruments::Clef;
use ripieno_compiler::music::Time;
use ripieno_compiler::resolve::seconds_per_whole;
use ripieno_writers::notate::{self, Measure, Score, rest_runs};

use crate::page::Origin;
use crate::sheet::{Bar, Event, Sheet, Staff, StaffBar};

/// The sheet of one player, with bars of rest counted together.
///
/// # Panics
/// If the score has no staff of that index.
#[must_use]
pub fn part(score: &Score, player: usize) -> Sheet {
    let runs = rest_runs(score, player);
    let staff = &score.staves[player];
    let name = match &staff.key_name {
        Some(key) => format!("{} {key}", staff.name),
        None => staff.name.clone(),
    };
    sheet(score, player..player + 1, &runs, Some(name))
}

/// The sheet of the conductor.
#[must_use]
pub fn score(score: &Score) -> Sheet {
    sheet(score, 0..score.staves.len(), &[], None)
}

fn sheet(score: &Score, players: std::ops::Range<usize>, runs: &[u32], part: Option<String>) -> Sheet {
    let mut bars: Vec<Bar> = Vec::with_capacity(score.frame.len());
    let mut pace = seconds_per_whole(None) / 4.0;
    let mut skip = 0;
    for (index, frame) in score.frame.iter().enumerate() {
        if let Some(beat) = frame.tempo.as_ref().and_then(|tempo| tempo.beat) {
            pace = seconds_per_whole(Some(beat)) / 4.0;
        }
        if skip > 0 {
            skip -= 1;
            if let Some(first) = bars.last_mut() {
                first.line = frame.line;
                first.repeat_ends = frame.repeat_ends;
                first.ending_ends = frame.ending_ends;
                first.length += frame.length;
            }
            continue;
        }
        let count = runs.get(index).copied().unwrap_or(0).max(1);
        skip = count - 1;
        bars.push(Bar {
            index,
            count,
            number: frame.number,
            length: frame.length,
            metre: frame.metre,
            metre_shown: frame.metre_shown,
            tempo: frame.tempo.clone(),
            mark: frame.mark.clone(),
            repeat_starts: frame.repeat_starts,
            repeat_ends: frame.repeat_ends,
            ending_starts: frame.ending_starts,
            ending_ends: frame.ending_ends,
            line: frame.line,
            pace,
        });
    }
    let staves = players.flat_map(|player| staves(score, player, &bars)).collect();
    Sheet {
        title: score.title.clone(),
        subtitle: score.subtitle.clone(),
        composer: score.composer.clone(),
        arranger: score.arranger.clone(),
        licence: score.licence.clone(),
        scoring: score.scoring.clone(),
        part,
        bars,
        staves,
    }
}

/// One staff or two of a player.
fn staves(score: &Score, player: usize, bars: &[Bar]) -> Vec<Staff> {
    let staff = &score.staves[player];
    let name = match &staff.key_name {
        Some(key) => format!("{} {key}", staff.name),
        None => staff.name.clone(),
    };
    let upper = Staff {
        name,
        abbreviation: staff.abbreviation.clone(),
        player: player as u16,
        lower: false,
        braced: staff.is_braced(),
        family: staff.family,
        bars: contents(staff, &staff.measures, (player, false), bars),
    };
    if !staff.is_braced() {
        return vec![upper];
    }
    let lower = Staff {
        name: String::new(),
        abbreviation: String::new(),
        lower: true,
        braced: false,
        bars: contents(staff, &staff.lower, (player, true), bars),
        ..upper.clone()
    };
    vec![upper, lower]
}

fn contents(
    staff: &notate::Staff,
    measures: &[Measure],
    (player, lower): (usize, bool),
    bars: &[Bar],
) -> Vec<StaffBar> {
    let mut clef = Clef::Treble;
    let mut key = 0;
    let mut instrument = staff.instrument;
    let mut contents = Vec::with_capacity(bars.len());
    for bar in bars {
        let measure = &measures[bar.index];
        instrument = staff.measures[bar.index].instrument.unwrap_or(instrument);
        if bar.index == 0
            && let Some((_, first)) = measure.clefs.iter().find(|(at, _)| *at == Time::ZERO)
        {
            clef = *first;
        }
        let before = key;
        // The lower staff has the signature of the upper one.
        let printed = measure.key.or(staff.measures[bar.index].key);
        key = printed.map_or(key, |key| key.fifths());
        let clefs: Vec<(Time, Clef)> =
            measure.clefs.iter().copied().filter(|(_, new)| *new != clef || bar.index > 0).collect();
        let events = measure.elements.iter().enumerate().map(|(element, what)| Event {
            element: what.clone(),
            origin: Origin {
                player: player as u16,
                lower,
                bar: bar.index as u32,
                element: element as u16,
                head: 0,
            },
        });
        contents.push(StaffBar {
            lines: if instrument.unpitched { 1 } else { 5 },
            clef,
            key,
            key_change: printed.filter(|_| bar.index > 0 && before != key).map(|_| before),
            clefs: clefs.iter().copied().filter(|(at, _)| bar.index > 0 || *at > Time::ZERO).collect(),
            events: events.collect(),
            directions: measure.directions.clone(),
        });
        if let Some((_, last)) = clefs.last() {
            clef = *last;
        }
    }
    contents
}

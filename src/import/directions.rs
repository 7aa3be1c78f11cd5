//! Which lines of a part the directions of the part are for.

use std::collections::HashMap;

use super::loss::Losses;
use super::raw::{RawDirection, RawDirectionKind};
use super::score::{Bar, Direction, PartLine, Says};
use super::signs;
use crate::music::Time;

/// Gives each direction to the lines for which it holds: dynamics and techniques to all of
/// its staff, words to the first.
pub(super) fn direct(
    lines: &mut [PartLine],
    directions: Vec<(Time, RawDirection)>,
    staves: u8,
    bars: &[Bar],
    (part, losses): (usize, &mut Losses),
) {
    let bar_of = |time: Time| bars.partition_point(|bar| bar.end() <= time);
    let end = bars.last().map_or(Time::ZERO, Bar::end);
    // Dynamics between the staves of a keyboard hold for both hands (common practice).
    let loud = |kind: &RawDirectionKind| {
        !matches!(kind, RawDirectionKind::Words(_) | RawDirectionKind::Fermata)
    };
    let marked: Vec<bool> = (0..=staves)
        .map(|staff| directions.iter().any(|(_, d)| d.staff == staff && loud(&d.kind)))
        .collect();
    let alone = staves > 1 && marked.iter().filter(|marked| **marked).count() == 1;
    let mut open: HashMap<u8, (usize, Time, bool, u8)> = HashMap::new();
    let mut said: Vec<(Direction, u8, bool)> = Vec::new();
    for (bar_start, direction) in directions {
        let at = (bar_start + direction.at).min(end);
        let staff = direction.staff;
        let says = match direction.kind {
            RawDirectionKind::Word(word) => Says::Word(word),
            RawDirectionKind::Fermata => Says::Fermata,
            RawDirectionKind::Words(words) => {
                said.push((Direction { at, says: Says::Words(words) }, staff, true));
                continue;
            }
            RawDirectionKind::HairpinStarts(grows, number) => {
                let index = said.len();
                if open.insert(number, (index, at, grows, staff)).is_some() {
                    losses.left_out("hairpins without an end", Some(part), bar_of(at));
                }
                Says::Hairpin { grows, to: at }
            }
            RawDirectionKind::HairpinEnds(number) => {
                match open.remove(&number) {
                    Some((index, from, ..)) if from < at => {
                        if let Says::Hairpin { to, .. } = &mut said[index].0.says {
                            *to = at;
                        }
                    }
                    _ => losses.left_out("hairpins without a beginning", Some(part), bar_of(at)),
                }
                continue;
            }
        };
        said.push((Direction { at, says }, staff, false));
    }
    for (_, at, ..) in open.into_values() {
        losses.left_out("hairpins without an end", Some(part), bar_of(at));
    }
    said.retain(
        |(direction, ..)| !matches!(direction.says, Says::Hairpin { to, .. } if to <= direction.at),
    );
    for (direction, staff, first_only) in said {
        let has_staff = lines.iter().any(|line| line.staff == staff);
        let mut given = false;
        for line in lines.iter_mut() {
            let meant = line.staff == staff || !has_staff || (alone && !first_only);
            if meant && !(first_only && given) {
                line.directions.push(direction.clone());
                given = true;
            }
        }
    }
    let mut heard = false;
    for line in lines {
        line.directions.sort_by_key(|direction| direction.at);
        line.directions.dedup();
        // What nobody plays is said once.
        if std::mem::replace(&mut heard, true) {
            without_effect(line);
        }
    }
}

/// Takes dynamics and hairpins out of a line where it has no note until the next dynamic: they are
/// for other lines of the part.
fn without_effect(line: &mut PartLine) {
    let is_dynamic = |direction: &Direction| match direction.says {
        Says::Word(word) => signs::dynamic(word).is_some(),
        Says::Hairpin { .. } => true,
        Says::Words(_) | Says::Fermata => false,
    };
    let sounds = |from: Time, to: Option<Time>| {
        let first = line.notes.partition_point(|note| note.end <= from);
        line.notes.get(first).is_some_and(|note| to.is_none_or(|to| note.start < to))
    };
    let times: Vec<Time> =
        line.directions.iter().filter(|d| is_dynamic(d)).map(|direction| direction.at).collect();
    let next = |at: Time| times.get(times.partition_point(|time| *time <= at)).copied();
    let kept: Vec<bool> = line
        .directions
        .iter()
        .map(|direction| !is_dynamic(direction) || sounds(direction.at, next(direction.at)))
        .collect();
    let mut kept = kept.into_iter();
    line.directions.retain(|_| kept.next().unwrap_or(true));
}

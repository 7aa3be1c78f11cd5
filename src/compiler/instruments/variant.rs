//! An instrument that is like another but for a few things: `instrument … like …` in a source.

use super::user::keep;
use super::{Clef, ClefUse, Compass, Instrument, Limit, OpenStrings};
use crate::music::{Interval, Pitch};

/// What sets an instrument apart from the one that it is like.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Change {
    /// Its name on paper, and the abbreviation.
    Name(String, Option<String>),
    /// Its compass of all years within a limit, in the pitch in which the catalogue has that of
    /// the instrument that it is like: sounding, or written where there are keys or crooks.
    Compass(Limit, Pitch, Pitch),
    /// Its open strings in all years, sounding, from the lowest up.
    Strings(Vec<Pitch>),
    /// The way from the written to the sounding pitch; then it is built in no other key.
    Transposition(Interval),
    /// The one clef in which its parts are written.
    Clef(Clef),
    /// The first year of its use.
    From(i32),
}

/// Where the values come from.
const SOURCE: &str = "the user's own";
/// From and to the first and the last year of all.
const ALWAYS: (i32, i32) = (0, 9999);

/// An instrument like another, with a name of its own and some changes. It lives as long as the
/// program, and the same one is kept once.
///
/// Who has an instrument whose compass begins lower has its lowest notes at hand: then the
/// customary compass and that of soloists begin there too, unless they are changed themselves (our
/// heuristic). Neither goes beyond the new compass.
#[must_use]
pub fn variant(base: &Instrument, id: &str, changes: &[Change]) -> &'static Instrument {
    let mut new = base.clone();
    new.id = id.to_string();
    new.aliases.clear();
    new.without_valves = None;
    let words = id.replace('-', " ");
    let mut letters = words.chars();
    let first = letters.next().map_or(String::new(), |c| c.to_uppercase().to_string());
    name(&mut new, first + letters.as_str(), None);
    for change in changes {
        match change {
            Change::Name(full, short) => name(&mut new, full.clone(), short.clone()),
            Change::Transposition(interval) => {
                new.transposition = *interval;
                new.transposition_source = SOURCE.to_string();
                new.keys.clear();
                new.crooks.clear();
                new.natural = None;
            }
            Change::Strings(strings) => {
                let (from, to) = ALWAYS;
                let (strings, source) = (strings.clone(), SOURCE.to_string());
                new.open_strings = vec![OpenStrings { from, to, strings, source }];
            }
            Change::From(year) => {
                new.from = *year;
                new.from_source = SOURCE.to_string();
            }
            Change::Compass(..) | Change::Clef(_) => {}
        }
    }
    for limit in [Limit::Instrument, Limit::Solo, Limit::Custom] {
        let own = changes.iter().find_map(|change| match change {
            Change::Compass(of, low, high) if *of == limit => Some((*low, *high)),
            _ => None,
        });
        match own {
            Some(ends) => compass(base, &mut new, limit, ends),
            None => follow(base, &mut new, limit),
        }
    }
    let clef = changes.iter().find_map(|change| match change {
        Change::Clef(clef) => Some(*clef),
        _ => None,
    });
    if let Some(clef) = clef {
        let rows = new.compasses.iter().filter(|row| row.limit == Limit::Instrument);
        let down = match new.compass_is_written {
            true => Interval::UNISON,
            false => Interval::new(-new.transposition.steps, -new.transposition.semitones),
        };
        let written = |pitch: Pitch| pitch.transposed_or_respelled(down);
        let low = rows.clone().map(|row| written(row.low)).min();
        let high = rows.map(|row| written(row.high)).max();
        if let (Some(low), Some(high)) = (low, high) {
            new.clefs = vec![ClefUse { clef, low, high }];
            new.clefs_source = SOURCE.to_string();
            new.staves = 1;
            new.bass_alone = false;
        }
    }
    keep(new)
}

fn name(instrument: &mut Instrument, full: String, short: Option<String>) {
    instrument.plural = format!("{full}s");
    instrument.abbreviation = short.unwrap_or_else(|| full.clone());
    instrument.name = full;
}

/// Puts one compass in the place of all of a limit; notes that the old ones lacked are still
/// missing.
fn compass(base: &Instrument, new: &mut Instrument, limit: Limit, (low, high): (Pitch, Pitch)) {
    let (from, to) = ALWAYS;
    let mut missing: Vec<Pitch> = Vec::new();
    if let Some(latest) = base.compass(limit, to) {
        missing.extend(latest.missing.iter().filter(|pitch| (low..=high).contains(pitch)));
    }
    let place = new.compasses.iter().position(|row| row.limit == limit);
    new.compasses.retain(|row| row.limit != limit);
    let row = Compass { limit, from, to, low, high, missing, source: SOURCE.to_string() };
    new.compasses.insert(place.unwrap_or(new.compasses.len()).min(new.compasses.len()), row);
}

/// Lets the compasses of a limit follow that of the instrument.
fn follow(base: &Instrument, new: &mut Instrument, limit: Limit) {
    let own = new.compass(Limit::Instrument, ALWAYS.0).cloned();
    let Some(own) = own.filter(|row| (row.from, row.to) == ALWAYS) else { return };
    for row in new.compasses.iter_mut().filter(|row| row.limit == limit) {
        let before = base.compass(Limit::Instrument, row.from);
        if before.is_some_and(|before| own.low < before.low) {
            row.low = own.low;
        }
        row.low = row.low.max(own.low).min(own.high);
        row.high = row.high.min(own.high).max(row.low);
    }
}

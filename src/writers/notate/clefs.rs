//! Which clef stands where.
//!
//! A note costs nothing in a clef that suits it, a point if the instrument's usual clef would suit
//! it as well, and its leger lines (at least one point) in a clef that does not suit it. A change
//! of clef costs as much as [`CHANGE`] points. The cheapest row of clefs is found from the last bar
//! to the first; it changes at the beginning of a bar only, as late as possible. (Our heuristic.)

use smallvec::SmallVec;

use crate::instruments::{Clef, ClefUse, Instrument};
use crate::music::{Pitch, Time};

use super::{ElementKind, Measure};

/// What a change of clef costs: as much as so many leger lines.
const CHANGE: u32 = 8;

/// Puts the clefs into the measures of a staff: one in the first bar, and every change. `instrument`
/// is in hand at the beginning; the measures tell where another one is taken.
pub(super) fn place_clefs(measures: &mut [Measure], instrument: &'static Instrument) {
    place(measures, instrument, |instrument| instrument.clefs.iter().copied().collect());
}

/// The same for the lower of two staves, and for one staff in the clef of the lower one.
pub(super) fn place_lower_clefs(measures: &mut [Measure], instrument: &'static Instrument) {
    place(measures, instrument, |instrument| {
        let mut clefs: Uses = instrument.clefs.iter().copied().collect();
        if instrument.staves > 1 && clefs.len() > 1 {
            clefs.swap(0, 1);
        }
        clefs
    });
}

/// The clefs of an instrument, the usual one first.
type Uses = SmallVec<[ClefUse; 3]>;

fn place(
    measures: &mut [Measure],
    instrument: &'static Instrument,
    uses: impl Fn(&Instrument) -> Uses,
) {
    let mut last = None;
    let mut in_hand = instrument;
    for measures in measures.chunk_by_mut(|_, next| next.instrument.is_none()) {
        in_hand = measures[0].instrument.unwrap_or(in_hand);
        last = clefs_of(measures, (in_hand, &uses(in_hand)), last);
    }
}

/// The clefs of bars that are read on one instrument, after the last clef of those before; gives
/// back the last one.
fn clefs_of(
    measures: &mut [Measure],
    (instrument, uses): (&Instrument, &[ClefUse]),
    last: Option<Clef>,
) -> Option<Clef> {
    let first = measures.first_mut()?;
    if uses.len() < 2 || instrument.unpitched {
        let usual = if instrument.unpitched { Clef::Percussion } else { Clef::Treble };
        let clef = uses.first().map_or(usual, |only| only.clef);
        if last != Some(clef) {
            first.clefs.push((Time::ZERO, clef));
        }
        return Some(clef);
    }
    let count = uses.len();
    // Cheapest way from each bar to the end, for each clef: bar by bar in one row.
    let mut to_end = vec![0_u32; (measures.len() + 1) * count];
    for (bar, measure) in measures.iter().enumerate().rev() {
        let next: SmallVec<[u32; 4]> =
            SmallVec::from_slice(&to_end[(bar + 1) * count..(bar + 2) * count]);
        let best = next.iter().min().copied().unwrap_or(0) + CHANGE;
        for (clef, cost) in to_end[bar * count..(bar + 1) * count].iter_mut().enumerate() {
            *cost = bar_cost(measure, uses, clef).saturating_add(next[clef].min(best));
        }
    }
    // The reader expects the usual clef at the head too, and of another instrument that he takes.
    let mut clef = 0;
    for (bar, measure) in measures.iter_mut().enumerate() {
        let costs = &to_end[bar * count..(bar + 1) * count];
        let (best, cost) =
            costs.iter().enumerate().min_by_key(|(_, cost)| **cost).unwrap_or((0, &0));
        let changes = cost.saturating_add(CHANGE) < costs[clef];
        if changes {
            clef = best;
        }
        let there = last.filter(|_| bar == 0);
        if (changes || bar == 0) && there != Some(uses[clef].clef) {
            measure.clefs.push((Time::ZERO, uses[clef].clef));
        }
    }
    Some(uses[clef].clef)
}

fn bar_cost(measure: &Measure, uses: &[ClefUse], clef: usize) -> u32 {
    let notes = measure.elements.iter().filter_map(|element| match &element.kind {
        ElementKind::Note(note) => Some(note),
        _ => None,
    });
    notes.flat_map(|note| &note.heads).map(|head| note_cost(head.pitch, uses, clef)).sum()
}

fn note_cost(pitch: Pitch, uses: &[ClefUse], clef: usize) -> u32 {
    let suits = |use_: &ClefUse| (use_.low..=use_.high).contains(&pitch);
    if suits(&uses[clef]) {
        return u32::from(clef > 0 && suits(&uses[0]));
    }
    leger_lines(pitch, uses[clef].clef).max(1)
}

/// Leger lines that a written pitch needs in a clef.
pub(super) fn leger_lines(pitch: Pitch, clef: Clef) -> u32 {
    // Diatonic steps above C0 of the lowest line: E4, F3, D3, G2.
    let bottom = match clef {
        Clef::Treble | Clef::Percussion => 30,
        Clef::Alto => 24,
        Clef::Tenor => 22,
        Clef::Bass => 18,
    };
    let below = (bottom - pitch.step()).max(0) / 2;
    let above = (pitch.step() - bottom - 8).max(0) / 2;
    below.max(above).unsigned_abs()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::notate::testing::{Fixture, cello};

    fn clefs(notes: &str) -> Vec<(usize, Clef)> {
        let score = Fixture::new(&["4/4"; 6]).instrument(cello()).notes(notes).score();
        let measures = score.staves[0].measures.iter().enumerate();
        measures.flat_map(|(bar, m)| m.clefs.iter().map(move |(_, clef)| (bar, *clef))).collect()
    }

    #[test]
    fn leger_lines_are_counted_from_the_outer_lines() {
        let lines = |pitch: &str, clef| leger_lines(pitch.parse().unwrap(), clef);
        assert_eq!(lines("C4", Clef::Treble), 1);
        assert_eq!(lines("D4", Clef::Treble), 0);
        assert_eq!(lines("C4", Clef::Bass), 1);
        assert_eq!(lines("A4", Clef::Bass), 3);
        assert_eq!(lines("C2", Clef::Bass), 2);
        assert_eq!(lines("C4", Clef::Alto), 0);
    }

    #[test]
    fn a_high_passage_changes_the_clef_at_its_first_bar() {
        let high = "0/1 1/1 C3, 2/1 1/4 F4, 9/4 1/4 A4, 5/2 1/4 G4, 11/4 1/4 A4, \
                    3/1 1/4 F4, 13/4 1/4 A4, 7/2 1/4 G4, 15/4 1/4 A4";
        assert_eq!(clefs(high), [(0, Clef::Bass), (2, Clef::Tenor)]);
    }

    #[test]
    fn two_high_notes_are_not_worth_a_change() {
        assert_eq!(clefs("0/1 1/1 C3, 1/1 1/2 A4, 3/2 1/2 B4, 2/1 1/1 C3"), [(0, Clef::Bass)]);
    }
}

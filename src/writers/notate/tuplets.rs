//! Tuplets: which of them a player needs, and the printed values inside.

use crate::arrange::PackedNote;
use crate::music::Time;
use crate::resolve::Tuplet;

use super::NoteValue;
use super::grid::Pieces;

/// The tuplets that a player needs: those in which one of his notes begins or ends. One that he
/// rests or holds through would only make his part harder to read.
pub(super) fn needed(tuplets: &[Tuplet], notes: &[PackedNote]) -> Vec<Tuplet> {
    let mut next = 0;
    tuplets
        .iter()
        .filter(|tuplet| {
            let (start, end) = (tuplet.start, tuplet.start + tuplet.length);
            while next < notes.len() && notes[next].end() <= start {
                next += 1;
            }
            notes.get(next).is_some_and(|note| {
                let inside = |time: Time| start < time && time < end;
                inside(note.start()) || inside(note.end())
            })
        })
        .copied()
        .collect()
}

/// Can a note be parted at that time? In a tuplet where values inside it reach, elsewhere where
/// plain values do.
pub(super) fn can_part(tuplet: Option<&Tuplet>, at: Time) -> bool {
    let printed = tuplet.map_or(Some(at), |tuplet| {
        (at - tuplet.start).scaled(tuplet.actual.into(), tuplet.normal.into())
    });
    printed.is_some_and(|printed| printed % Time::of(1, 1024) == Time::ZERO)
}

/// Divides a note or rest inside a tuplet into printed pieces. `from` and `to` are sounding times;
/// so are the ends of the pieces, but their values are the printed ones.
pub(super) fn split(tuplet: &Tuplet, from: Time, to: Time, pieces: &mut Pieces) {
    let (actual, normal) = (i64::from(tuplet.actual), i64::from(tuplet.normal));
    let printed = |time: Time| time.scaled(actual, normal);
    if let Some(value) = printed(to - from).and_then(NoteValue::of) {
        pieces.push((from, to, value));
        return;
    }
    // No single value: as much as one value can show up to the last unit of the tuplet, then the
    // rest. A unit is one of the `actual` notes.
    let unit = tuplet.length.scaled(1, actual);
    let cut = unit.filter(|unit| unit.is_positive()).and_then(|unit| {
        let first = (from - tuplet.start).div_floor(unit) + 1;
        let last = -((tuplet.start - to).div_floor(unit)) - 1;
        let borders = (first..=last).rev().map(|border| tuplet.start + unit * border);
        let mut inside = borders.filter(|border| from < *border && *border < to);
        inside.find(|border| printed(*border - from).and_then(NoteValue::of).is_some())
    });
    match cut {
        Some(cut) => {
            split(tuplet, from, cut, pieces);
            split(tuplet, cut, to, pieces);
        }
        None => {
            // Values off the units: the longest that fits, and so on.
            let value = NoteValue::at_most(printed(to - from).unwrap_or(to - from));
            let end = value.length().scaled(normal, actual).map(|length| from + length);
            let end = end.filter(|end| *end < to);
            pieces.push((from, end.unwrap_or(to), value));
            if let Some(end) = end {
                split(tuplet, end, to, pieces);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::notate::testing::{Fixture, dump};

    #[test]
    fn values_inside_a_tuplet_are_the_printed_ones() {
        let score = Fixture::new(&["2/4"]).row("1/6 1/12 1/4").tuplet("0/1", "1/4", (3, 2)).score();
        assert_eq!(dump(&score, 0), "{3:2 C5:1/4 C5:1/8 } C5:1/4");
    }

    #[test]
    fn a_tuplet_that_the_player_rests_or_holds_through_is_dropped() {
        let score = Fixture::new(&["2/4", "2/4"])
            .row("r1/4 1/4 1/2")
            .tuplet("0/1", "1/4", (3, 2))
            .tuplet("1/2", "1/4", (3, 2))
            .score();
        assert_eq!(dump(&score, 0), "rest:1/4 C5:1/4 | C5:1/2");
    }

    #[test]
    fn a_note_that_leaves_a_tuplet_is_tied_at_its_end() {
        let score = Fixture::new(&["2/4"]).row("1/12 5/12").tuplet("0/1", "1/4", (3, 2)).score();
        assert_eq!(dump(&score, 0), "{3:2 C5:1/8 C5:1/4… } …C5:1/4");
    }

    #[test]
    fn five_units_of_a_tuplet_are_tied() {
        let score =
            Fixture::new(&["2/4"]).row("5/24 1/24 1/4").tuplet("0/1", "1/4", (6, 4)).score();
        assert_eq!(dump(&score, 0), "{6:4 C5:1/4… …C5:1/16[[ C5:1/16]] } C5:1/4");
    }

    #[test]
    fn a_note_off_the_units_of_a_tuplet_is_tied_from_what_fits() {
        let fixture = Fixture::new(&["2/4"]).row("1/192 17/192 5/32 1/4");
        let score = fixture.tuplet("0/1", "1/4", (3, 2)).score();
        assert_eq!(
            dump(&score, 0),
            "{3:2 C5:1/128[>>>> C5:1/8…= …C5:1/128=[<<< C5:7/64…=] …C5:1/8] } C5:1/4"
        );
    }

    #[test]
    fn rests_in_a_tuplet_keep_its_ratio() {
        let score =
            Fixture::new(&["2/4"]).row("1/12 r1/12 1/12 1/4").tuplet("0/1", "1/4", (3, 2)).score();
        assert_eq!(dump(&score, 0), "{3:2 C5:1/8 rest:1/8 C5:1/8 } C5:1/4");
    }
}

//! Slurs that begin and end on the same staff.

use super::{ElementKind, Measure, StaffNote};

/// Takes away beginnings without an end and ends without a beginning: a player who takes over a
/// line in the middle of a slur has only half of it.
pub(super) fn balance(measures: &mut [Measure]) {
    let mut open: Option<(usize, usize)> = None;
    for bar in 0..measures.len() {
        for index in 0..measures[bar].elements.len() {
            let Some(note) = note_at(measures, (bar, index)) else { continue };
            let (starts, ends) = (note.slur_starts, note.slur_ends);
            if ends {
                note.slur_ends = open.take().is_some();
            }
            if starts && let Some(before) = open.replace((bar, index)) {
                forget(measures, before);
            }
        }
    }
    if let Some(before) = open {
        forget(measures, before);
    }
}

fn note_at(measures: &mut [Measure], (bar, index): (usize, usize)) -> Option<&mut StaffNote> {
    match &mut measures[bar].elements[index].kind {
        ElementKind::Note(note) => Some(note),
        _ => None,
    }
}

fn forget(measures: &mut [Measure], place: (usize, usize)) {
    if let Some(note) = note_at(measures, place) {
        note.slur_starts = false;
    }
}

#[cfg(test)]
mod tests {
    use crate::notate::testing::{Fixture, dump};

    #[test]
    fn half_a_slur_is_not_printed() {
        let score = Fixture::new(&["4/4"])
            .notes("0/1 1/4 C5, 1/4 1/4 D5, 1/2 1/4 E5, 3/4 1/4 F5")
            .slur_end(0)
            .slur(1, 2)
            .slur_start(3)
            .score();
        assert_eq!(dump(&score, 0), "C5:1/4 D5:1/4( E5:1/4) F5:1/4");
    }

    #[test]
    fn a_slur_may_begin_where_another_ends() {
        let score = Fixture::new(&["3/4"])
            .notes("0/1 1/4 C5, 1/4 1/4 D5, 1/2 1/4 E5")
            .slur(0, 1)
            .slur(1, 2)
            .score();
        assert_eq!(dump(&score, 0), "C5:1/4( D5:1/4)( E5:1/4)");
    }
}

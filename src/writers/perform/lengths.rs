//! How long a note sounds of the time that it has on paper.
//!
//! A dot halves it, a wedge leaves a quarter, a dot with a line three quarters (common practice);
//! a line alone, an accent and a fermata leave it whole. A breath takes a quarter of the note
//! before it, at most a 16th (our heuristic). Slurs change nothing: notes without one are not
//! detached.

use crate::music::Time;
use crate::resolve::{Mark, Marks};

/// The most that a breath takes from its note.
const BREATH: Time = Time::of(1, 16);

/// The time that a note of a length sounds with these printed marks.
pub(super) fn sounding(marks: Marks, length: Time) -> Time {
    let quarters = match (marks.has(Mark::Staccato), marks.has(Mark::Staccatissimo)) {
        _ if marks.has(Mark::Fermata) => 4,
        (_, true) => 1,
        (true, _) if marks.has(Mark::Tenuto) => 3,
        (true, _) => 2,
        _ => 4,
    };
    let sounding = length.scaled(quarters, 4).unwrap_or(length);
    if !marks.has(Mark::Breath) {
        return sounding;
    }
    let breath = length.scaled(1, 4).unwrap_or(Time::ZERO).min(BREATH);
    sounding.min(length - breath)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sounds(marks: &[Mark], length: (i64, i64)) -> (i64, i64) {
        let mut all = Marks::NONE;
        marks.iter().for_each(|&mark| all.insert(mark));
        sounding(all, Time::of(length.0, length.1)).fraction()
    }

    #[test]
    fn dots_and_wedges_shorten() {
        assert_eq!(sounds(&[], (1, 4)), (1, 4));
        assert_eq!(sounds(&[Mark::Tenuto, Mark::Accent], (1, 4)), (1, 4));
        assert_eq!(sounds(&[Mark::Staccato], (1, 4)), (1, 8));
        assert_eq!(sounds(&[Mark::Staccatissimo], (1, 4)), (1, 16));
        assert_eq!(sounds(&[Mark::Staccato, Mark::Tenuto], (1, 4)), (3, 16));
        assert_eq!(sounds(&[Mark::Staccato, Mark::Fermata], (1, 4)), (1, 4));
    }

    #[test]
    fn a_breath_takes_a_quarter_of_its_note_but_not_more_than_a_16th() {
        assert_eq!(sounds(&[Mark::Breath], (1, 8)), (3, 32));
        assert_eq!(sounds(&[Mark::Breath], (1, 1)), (15, 16));
        assert_eq!(sounds(&[Mark::Breath, Mark::Staccato], (1, 4)), (1, 8));
    }
}

//! Slurs that go from one staff of a player to the other, or over notes of both.

use crate::arrange::PackedNote;

use super::super::{ElementKind, FrameBar, Measure, StaffNote};
use super::has_all;
use super::split::{Grip, Hand};

/// Marks the first and the last note of each slur of whose notes no hand has all: a slur says how notes
/// are played, and not by which hand.
pub(super) fn mark(
    (notes, grips, slurs): (&[PackedNote], &[Grip], &[(usize, usize)]),
    frame: &[FrameBar],
    [upper, lower]: [&mut [Measure]; 2],
) {
    for &(first, last) in slurs {
        let own = &grips[first..=last];
        if has_all(own, Hand::Upper) || has_all(own, Hand::Lower) {
            continue;
        }
        // Where one slur ends on a note and the next begins on it, both do so on its last piece.
        let ends = [(first, notes[first].attached().slur_ends), (last, true)];
        let places = ends.map(|(index, at_its_end)| {
            let measures = if grips[index].leads == Hand::Upper { &*upper } else { &*lower };
            piece(measures, frame, &notes[index], at_its_end)
        });
        // What lies beyond the end of the piece stands nowhere.
        let [Some(begins), Some(arrives)] = places else { continue };
        for (index, place, leaves) in [(first, begins, true), (last, arrives, false)] {
            let measures =
                if grips[index].leads == Hand::Upper { &mut *upper } else { &mut *lower };
            let Some(note) = note_at(measures, place) else { continue };
            *(if leaves { &mut note.slur_leaves } else { &mut note.slur_arrives }) = true;
        }
    }
}

/// Bar and element of the first of the tied heads of a note, or of the last.
fn piece(
    measures: &[Measure],
    frame: &[FrameBar],
    note: &PackedNote,
    at_its_end: bool,
) -> Option<(usize, usize)> {
    let first = frame.partition_point(|bar| bar.start <= note.start()).checked_sub(1)?;
    let bars = frame.iter().zip(measures).enumerate().skip(first);
    let bars = bars.take_while(|(_, (bar, _))| bar.start < note.end());
    let mut pieces = bars.flat_map(|(number, (bar, measure))| {
        let elements = measure.elements.iter().enumerate();
        elements.filter_map(move |(index, element)| {
            let ElementKind::Note(written) = &element.kind else { return None };
            let at = bar.start + element.at;
            let own = written.grace.is_none() && note.start() <= at && at < note.end();
            own.then_some((number, index))
        })
    });
    if at_its_end { pieces.last() } else { pieces.next() }
}

fn note_at(measures: &mut [Measure], (bar, element): (usize, usize)) -> Option<&mut StaffNote> {
    match &mut measures[bar].elements[element].kind {
        ElementKind::Note(note) => Some(note),
        _ => None,
    }
}

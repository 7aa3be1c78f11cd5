//! Broken chords that are wider than a hand.
//!
//! Beat after beat of a broken chord that one hand cannot lie over is divided at one place: the
//! same number of its lowest notes in the left hand, the others in the right one, so that a player
//! sees one motion and not three. A run over the whole instrument is none: its beats lie more than an octave
//! apart. (Common practice. What counts as such a figure, and where it is divided: our heuristic.)

use crate::arrange::{PackedNote, Part};
use crate::music::{Pitch, Time};

use super::super::FrameBar;
use super::split::{AFRESH, Hand, OCTAVE, STRETCH, lines, span};

/// So few notes are no figure.
const FEWEST: usize = 3;
/// So many beats alike make one.
const ALIKE: usize = 2;

/// For each note of a part, the hand in which a figure has it.
pub(super) fn figures(part: &Part, bound: &[bool], frame: &[FrameBar]) -> Vec<Option<Hand>> {
    let mut hands = vec![None; part.notes.len()];
    let units = units(part, bound, frame);
    let low = |unit: &Unit| {
        part.notes[unit.first..unit.after].iter().map(|note| pitch(note).midi()).min()
    };
    let near =
        |a: &Unit, b: &Unit| low(a).zip(low(b)).is_some_and(|(a, b)| (a - b).abs() <= OCTAVE);
    let alike = |a: &Unit, b: &Unit| a.end == b.start && a.count() == b.count() && near(a, b);
    for alike in units.chunk_by(alike) {
        if alike.len() >= ALIKE
            && let Some(cut) = cut(part, alike)
        {
            for unit in alike {
                for (index, rank) in unit.ranks(&part.notes) {
                    hands[index] = Some(if rank < cut { Hand::Lower } else { Hand::Upper });
                }
            }
        }
    }
    hands
}

/// The notes of a beat, or of a bar whose beats have too few.
struct Unit {
    first: usize,
    after: usize,
    start: Time,
    end: Time,
}

impl Unit {
    fn count(&self) -> usize {
        self.after - self.first
    }

    /// The notes, each with how many pitches of the unit lie below its own.
    fn ranks<'a>(&self, notes: &'a [PackedNote]) -> impl Iterator<Item = (usize, usize)> + use<'a> {
        let (first, after) = (self.first, self.after);
        let mut heights: Vec<i32> =
            notes[first..after].iter().map(|note| pitch(note).midi()).collect();
        heights.sort_unstable();
        heights.dedup();
        (first..after).map(move |index| {
            (index, heights.partition_point(|&h| h < pitch(&notes[index]).midi()))
        })
    }
}

/// The pitch of a note of a unit, of which there is one.
fn pitch(note: &PackedNote) -> Pitch {
    note.sound().pitches()[0]
}

fn units(part: &Part, bound: &[bool], frame: &[FrameBar]) -> Vec<Unit> {
    let notes = &part.notes;
    let within = |start: Time, end: Time| {
        let first = notes.partition_point(|note| note.start() < start);
        let after = first + notes[first..].partition_point(|note| note.start() < end);
        Unit { first, after, start, end }
    };
    let mut units = Vec::new();
    for bar in frame {
        let (start, end) = (bar.start - bar.missing(), bar.start + bar.length);
        let beat = bar.metre.beat();
        let beats = std::iter::successors(Some(start), |&from| Some(from + beat));
        let beats = beats.take_while(|&from| from < end).map(|from| within(from, from + beat));
        let mut own: Vec<Unit> = beats.filter(|unit| unit.count() >= FEWEST).collect();
        if own.is_empty() {
            own.push(within(start, end));
        }
        units.extend(own.into_iter().filter(|unit| is_broken_chord(part, unit, bound)));
    }
    units
}

/// Single notes of one length without a rest, none of which a tuplet binds to another, and
/// which one hand cannot lie over.
fn is_broken_chord(part: &Part, unit: &Unit, bound: &[bool]) -> bool {
    let Some(notes) = part.notes.get(unit.first..unit.after) else { return false };
    let (Some(first), Some(last)) = (notes.first(), notes.last()) else { return false };
    let length = first.end() - first.start();
    let plain = |note: &PackedNote| {
        note.sound().pitches().len() == 1
            && note.end() - note.start() == length
            && note.attached().graces.is_none()
            && part.instrument_at(note.start()).staves > 1
    };
    unit.count() >= FEWEST
        && first.start() == unit.start
        && last.end() == unit.end
        && notes.iter().all(plain)
        && notes.windows(2).all(|pair| pair[0].end() == pair[1].start())
        && !bound[unit.first..bound.len().min(unit.after + 1)].contains(&true)
        && span(&ends(notes)) > OCTAVE
}

/// The lowest and the highest pitch.
fn ends(notes: &[PackedNote]) -> Vec<Pitch> {
    let low = notes.iter().map(pitch).min_by_key(|pitch| pitch.midi());
    let high = notes.iter().map(pitch).max_by_key(|pitch| pitch.midi());
    low.into_iter().chain(high).collect()
}

/// How many of the lowest pitches of each unit the left hand has, if the cheapest way is to divide
/// them.
fn cut(part: &Part, units: &[Unit]) -> Option<usize> {
    let most = units.iter().map(Unit::count).max()?;
    let cost = |cut: usize| -> u32 { units.iter().map(|unit| divided(part, unit, cut)).sum() };
    (0..=most).min_by_key(|&cut| cost(cut)).filter(|&cut| cut > 0 && cut < most)
}

/// What it costs to give the lowest `cut` pitches of a unit to the left hand: what each hand reads,
/// how wide it lies, and how often the line passes over.
fn divided(part: &Part, unit: &Unit, cut: usize) -> u32 {
    let mut own: [Vec<Pitch>; 2] = [Vec::new(), Vec::new()];
    let (mut changes, mut before) = (0, None);
    let mut read = 0;
    for (index, rank) in unit.ranks(&part.notes) {
        let note = &part.notes[index];
        let hand = if rank < cut { Hand::Lower } else { Hand::Upper };
        own[usize::from(hand == Hand::Lower)].push(pitch(note));
        read += lines(part, note, note.sound().pitches(), hand);
        changes += u32::from(before.replace(hand).is_some_and(|before| before != hand));
    }
    let wide = own.iter_mut().map(|pitches| {
        pitches.sort_by_key(|pitch| pitch.midi());
        if span(pitches) > OCTAVE { STRETCH } else { 0 }
    });
    read + AFRESH * changes + wide.sum::<u32>()
}

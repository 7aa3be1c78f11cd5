//! Harp and keyboard: what the two hands play, on two staves that a brace joins.
//!
//! Such a player always reads two staves, with one exception of the catalogue
//! ([`Instrument::bass_alone`]): a harpsichord whose notes are all the bass of the scoring, one at
//! a time, reads the bass line alone on one staff, in the clef of the lower one, as continuo
//! players do (common practice), and is told at its head that it is the basso continuo. With
//! anything else, be it one chord, he reads two. Whoever takes an instrument of two staves for a
//! while has two throughout; what he plays on one that is read on one staff stands on the upper
//! one.
//!
//! [`split`] says which hand plays what. Each hand is then written like a part of its own. What is
//! said to the player stands once, between the staves. A slur stands on a staff that has all its
//! notes; where none has, [it goes over both](across). Marks stand on both, but a trill, mordent or
//! turn only at the top note and a breath only above.

mod across;
mod figures;
#[cfg(test)]
mod properties;
mod split;
#[cfg(test)]
mod tests;

use crate::arrange::{PackedNote, Part, SoundRef, SoundingNote, Wait};
use crate::instruments::Instrument;
use crate::resolve::{Direction, DirectionKind, Mark, Marks, Role, Sound};

use super::Staff;
use super::staff::Bars;
use super::{clefs, directions, holds, in_hand, staff};

use split::{Grip, Hand};

/// Writes what a part's player reads: one staff or two.
pub(super) fn staff(part: &Part, bars: &Bars) -> Staff {
    let taken = || part.instruments.iter().map(|(_, instrument)| *instrument);
    let Some(two_handed) = taken().find(|instrument| instrument.staves > 1) else {
        return staff::staff(part, bars);
    };
    if is_continuo(part) {
        let mut measures = staff::measures(&in_hand::as_read(part, bars.frame), bars);
        clefs::place_lower_clefs(&mut measures, part.first_instrument());
        directions::place_directions(part, bars, &mut measures);
        directions::say_continuo(part, bars.frame, &mut measures);
        return staff::finished(part, measures, Vec::new());
    }
    let grips = split::split(part, bars.frame);
    let slurs = slurs(&part.notes);
    let read = in_hand::as_read(part, bars.frame);
    let mut both = [Hand::Upper, Hand::Lower].map(|hand| part_of(&read, &grips, &slurs, hand));
    wait_for_the_other(part, &grips, bars, &mut both);
    let [mut upper, mut lower] = both.each_ref().map(|own| staff::measures(own, bars));
    across::mark((&part.notes, &grips, &slurs), bars.frame, [&mut upper, &mut lower]);
    clefs::place_clefs(&mut upper, part.first_instrument(), bars.pitches);
    // The lower staff rests while an instrument of one staff is in hand.
    for measure in &mut lower {
        measure.instrument = measure.instrument.filter(|instrument| instrument.staves > 1);
    }
    clefs::place_lower_clefs(&mut lower, two_handed);
    // What the writer of measures said of a change of key stands above.
    lower.iter_mut().for_each(|measure| measure.directions.clear());
    directions::place_directions(part, bars, &mut upper);
    holds::hold_rests(&both[0], bars, &mut upper);
    holds::hold_rests(&both[1], bars, &mut lower);
    staff::finished(part, upper, lower)
}

/// Where one hand alone has a note under a fermata, the other waits in its rest, as another player would.
fn wait_for_the_other(part: &Part, grips: &[Grip], bars: &Bars, both: &mut [Part; 2]) {
    for (note, grip) in part.notes.iter().zip(grips) {
        let other = match (grip.has(Hand::Upper), grip.has(Hand::Lower)) {
            (true, false) => &mut both[1],
            (false, true) => &mut both[0],
            _ => continue,
        };
        let own = note.attached().marks.has(Mark::Fermata) && note.start() < bars.end();
        let waits = part.waits_after(note.start()).take_while(|wait| wait.to < note.end());
        let held_on = waits.filter(|wait| wait.sounds).map(|wait| (wait.from, wait.to));
        for (from, to) in held_on.chain(own.then(|| (note.start(), note.end().min(bars.end())))) {
            let next = other.notes.partition_point(|note| note.end() < to);
            if other.notes.get(next).is_some_and(|note| note.start() < to) {
                continue;
            }
            let free = next.checked_sub(1).map_or(from, |last| other.notes[last].end());
            let before = bars.frame.partition_point(|bar| bar.start < to).saturating_sub(1);
            let at = free.max(from).max(bars.frame[before].start);
            let place = other.directions.partition_point(|said| said.at <= at);
            let kind = DirectionKind::FermataOnRest;
            other.directions.insert(place, Direction { at, kind, span: note.source() });
            let place = other.waits.partition_point(|wait| wait.to < to);
            other.waits.insert(place, Wait { from, to, sounds: false, on_rest: false });
        }
    }
}

/// Is this a bass for a keyboard, to which the player finds the chords?
pub(super) fn is_continuo(part: &Part) -> bool {
    let taken = || part.instruments.iter().map(|(_, instrument)| *instrument);
    let alone = |instrument: &Instrument| instrument.bass_alone || instrument.staves < 2;
    taken().any(|instrument| instrument.staves > 1)
        && taken().all(alone)
        && is_bass_line(&part.notes)
}

/// Are the notes the bass, and nothing above it?
fn is_bass_line(notes: &[PackedNote]) -> bool {
    let is_bass = |note: &PackedNote| {
        let graces = note.attached().graces.into_iter().flat_map(|graces| &graces.notes);
        let single = graces.fold(true, |single, (_, pitches)| single && pitches.len() == 1);
        note.role() == Role::Bass && note.sound().pitches().len() == 1 && single
    };
    !notes.is_empty() && notes.iter().all(is_bass)
}

/// First and last note of each slur.
fn slurs(notes: &[PackedNote]) -> Vec<(usize, usize)> {
    let mut slurs = Vec::new();
    let mut open = None;
    for (index, note) in notes.iter().enumerate() {
        if note.attached().slur_ends {
            slurs.extend(open.take().map(|first| (first, index)));
        }
        if note.attached().slur_starts {
            open = Some(index);
        }
    }
    slurs
}

/// Has a hand something of all these?
fn has_all(grips: &[Grip], hand: Hand) -> bool {
    grips.iter().all(|grip| grip.has(hand))
}

/// What one hand plays, as a part.
fn part_of(part: &Part, grips: &[Grip], slurs: &[(usize, usize)], hand: Hand) -> Part {
    let mut notes: Vec<SoundingNote> = Vec::with_capacity(part.notes.len());
    // Where each note of the part is among those of the hand, or would be.
    let mut places = Vec::with_capacity(grips.len());
    for (note, grip) in part.notes.iter().zip(grips) {
        places.push(notes.len());
        if grip.has(hand) {
            notes.push(note_of(note, *grip, hand));
        }
    }
    for &(first, last) in slurs {
        if has_all(&grips[first..=last], hand) {
            notes[places[first]].attached.slur_starts = true;
            notes[places[last]].attached.slur_ends = true;
        }
    }
    Part { notes: notes.into(), ..part.clone() }
}

/// What one hand plays of a note, without slurs.
fn note_of(note: &PackedNote, grip: Grip, hand: Hand) -> SoundingNote {
    let mut own = note.unpacked();
    if let SoundRef::Pitches(pitches) = note.sound() {
        let (lower, upper) = pitches.split_at(grip.below.min(pitches.len()));
        let held = if hand == Hand::Upper { upper } else { lower };
        own.sound = Sound::Pitches(held.iter().copied().collect());
    }
    own.attached.slur_starts = false;
    own.attached.slur_ends = false;
    if grip.leads != hand {
        own.attached.graces = None;
    }
    if grip.is_shared() && hand == Hand::Lower {
        own.attached.marks = marks_of_lower(note.attached().marks);
    }
    own
}

/// The marks of a chord in both hands that the lower staff has too.
fn marks_of_lower(marks: Marks) -> Marks {
    let mut kept = Marks::NONE;
    for mark in marks.iter() {
        if !matches!(mark, Mark::Trill | Mark::Mordent | Mark::Turn | Mark::Breath) {
            kept.insert(mark);
        }
    }
    kept
}

//! The rhythm of a voice, reduced to what horns, trumpets and drums can mark.
//!
//! Source of the aim: common practice (horns are good at long notes and signals and bad at
//! semiquaver passages; drums and trumpets mark, they do not run). How it is done is our
//! heuristic.

use super::texture::ends_by;
use crate::arrange::PackedNote;
use crate::diagnostics::Span;
use crate::music::{Pitch, Time};
use crate::resolve::{BarIndices, Form, Mark, Marks, seconds_per_whole};

/// A note of the signal.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(super) struct Onset {
    pub(super) start: Time,
    pub(super) end: Time,
    /// The highest pitch of the voice; `None` for strokes.
    pub(super) top: Option<Pitch>,
    /// Marks that a signal takes over.
    pub(super) marks: Marks,
    pub(super) span: Span,
}

/// How a player takes a rhythm.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(super) struct Manner {
    /// Trumpets and drums: strong beats and calls, short.
    pub(super) marks_only: bool,
    /// Fastest repetition of one note, in notes a second.
    pub(super) repeated: u8,
}

/// Quarters and longer notes of so many seconds are walked through as they stand, step by step too: in long beats
/// nothing is gained by leaving them out. (Our heuristic.)
const CALM: f64 = 0.35;

/// A signal goes at no more than this part of what a player can just manage; one short note between
/// longer ones, as in a dotted figure, may come sooner. (Our heuristic.)
const EASE: f64 = 0.8;
const EASE_OF_ONE: f64 = 1.5;

/// The signal of a voice, whose notes are given, in some bars.
pub(super) fn reduce(
    all: &[PackedNote],
    form: &Form,
    bars: BarIndices,
    manner: Manner,
) -> Vec<Onset> {
    let mut kept: Vec<&PackedNote> = Vec::new();
    let (from, to) = form.times_of(bars);
    let mut per_whole = seconds_per_whole(None);
    for bar in &form.bars[..bars.first] {
        per_whole = bar
            .tempo
            .as_ref()
            .and_then(|t| t.beat)
            .map_or(per_whole, |b| seconds_per_whole(Some(b)));
    }
    for index in bars.range() {
        let bar = &form.bars[index];
        per_whole = bar
            .tempo
            .as_ref()
            .and_then(|t| t.beat)
            .map_or(per_whole, |b| seconds_per_whole(Some(b)));
        let beat = bar.metre.beat();
        // What a quaver is to a simple beat: half of it, a third of a dotted one.
        let part = beat.scaled(1, if bar.metre.is_compound() { 3 } else { 2 }).unwrap_or(beat);
        let strokes = |length: Time| length.to_f64() * per_whole * f64::from(manner.repeated);
        let slow_enough = strokes(part) * EASE >= 1.0;
        let (begin, end) = (bar.start, bar.start + bar.length);
        let mut at = form.full_start(index);
        while at < end {
            let until = (at + beat).min(end);
            let notes = between(all, at.max(begin), until);
            let next = all.get(all.partition_point(|note| note.start() < until));
            let calm = |note: &PackedNote| {
                note.length() >= Time::QUARTER && note.length().to_f64() * per_whole >= CALM
            };
            let walks = !manner.marks_only && notes.len() > 1 && notes.iter().all(calm);
            let dotted = shortest_of_dotted(notes, next, part)
                .is_some_and(|short| strokes(short) * EASE_OF_ONE >= 1.0);
            if walks || dotted || (slow_enough && is_call(form, notes, next, part, manner)) {
                kept.extend(notes);
            } else if let Some(note) = marked(form, notes, at, beat, manner) {
                kept.push(note);
            }
            at += beat;
        }
    }
    onsets(all, form, &kept, (from, to), manner)
}

fn between(notes: &[PackedNote], from: Time, to: Time) -> &[PackedNote] {
    let first = notes.partition_point(|note| note.start() < from);
    let after = notes.partition_point(|note| note.start() < to);
    &notes[first..after.max(first)]
}

fn top(note: &PackedNote) -> Option<Pitch> {
    note.sound().pitches().last().copied()
}

/// Is a divided beat to be kept whole? If its notes are no faster than quavers and repeat a note,
/// leap as a broken chord does, or lead into a longer note on a first beat.
fn is_call(
    form: &Form,
    notes: &[PackedNote],
    next: Option<&PackedNote>,
    part: Time,
    manner: Manner,
) -> bool {
    if notes.len() < 2 || notes.iter().any(|note| note.length() < part) {
        return false;
    }
    let distance = |pair: &[PackedNote]| match (top(&pair[0]), top(&pair[1])) {
        (Some(a), Some(b)) => (b.midi() - a.midi()).abs(),
        _ => 0,
    };
    let repeated = notes.windows(2).all(|pair| distance(pair) % 12 == 0);
    let broken = !manner.marks_only && notes.windows(2).all(|pair| distance(pair) >= 3);
    let end = notes.last().map(|note| note.start() + note.length());
    let leads = next.is_some_and(|next| {
        Some(next.start()) == end && form.weight(next.start()) == 3 && next.length() > part
    });
    repeated || broken || leads
}

/// The shortest note of a beat in dotted rhythm, the rhythm of calls and marches: each note shorter
/// than half a beat (a third of a dotted one) stands alone after one at least twice as long and
/// before such a one. It is kept whatever the voice's steps are: on one open note the rhythm is
/// free. `None` if the beat is not dotted.
fn shortest_of_dotted(notes: &[PackedNote], next: Option<&PackedNote>, part: Time) -> Option<Time> {
    let mut shortest = None;
    for (index, note) in notes.iter().enumerate().filter(|(_, note)| note.length() < part) {
        let long =
            |other: Option<&PackedNote>| other.is_some_and(|o| o.length() >= note.length() * 2);
        let before = index.checked_sub(1).and_then(|index| notes.get(index));
        let after =
            notes.get(index + 1).or(next.filter(|n| n.start() == note.start() + note.length()));
        if !long(before) || !(long(after) || after.is_none()) {
            return None;
        }
        shortest = Some(shortest.map_or(note.length(), |s: Time| s.min(note.length())));
    }
    shortest
}

/// The one note that stands for a beat.
fn marked<'n>(
    form: &Form,
    notes: &'n [PackedNote],
    at: Time,
    beat: Time,
    manner: Manner,
) -> Option<&'n PackedNote> {
    let note = notes.first()?;
    let long = note.length() >= beat;
    if note.start() != at {
        // A syncopation is marked if it is long; the tail of a beat is not.
        return long.then_some(note);
    }
    let strong = form.weight(at) >= 2;
    let stressed =
        note.attached().marks.has(Mark::Accent) || note.attached().marks.has(Mark::Marcato);
    (!manner.marks_only || strong || long || stressed).then_some(note)
}

/// Lengths: a horn holds on while the voice goes on; trumpets and drums give a beat, or hold what
/// the voice holds.
fn onsets(
    all: &[PackedNote],
    form: &Form,
    kept: &[&PackedNote],
    (_, to): (Time, Time),
    manner: Manner,
) -> Vec<Onset> {
    kept.iter()
        .enumerate()
        .map(|(index, note)| {
            let next = kept.get(index + 1).map_or(to, |next| next.start()).min(to);
            let beat = form.bar_at(note.start()).metre.beat();
            let own = note.start() + note.length();
            let bar = form.bar_at(note.start());
            let end = if manner.marks_only {
                // What is left out at the end of a beat is held through, not rested.
                let full = form.full_start(form.index_at(note.start()));
                let within = (own - full) % beat;
                let of_beat = if within == Time::ZERO { own } else { own + beat - within };
                own.max(of_beat.max(note.start() + beat).min(sounds_until(all, note)))
            } else if own < next {
                sounds_until(all, note).min((bar.start + bar.length).max(own))
            } else {
                own
            };
            // What the voice itself holds over a border is held with it.
            let end = ends_by(form, note.start(), end).max(own.min(end));
            let mut marks = Marks::NONE;
            for mark in [Mark::Accent, Mark::Marcato, Mark::Fermata] {
                if note.attached().marks.has(mark) {
                    marks.insert(mark);
                }
            }
            // A stroke that stands for the whole beat is no longer short.
            if end.min(next) == own && note.attached().marks.has(Mark::Staccato) {
                marks.insert(Mark::Staccato);
            }
            Onset {
                start: note.start(),
                end: end.min(next),
                top: top(note),
                marks,
                span: note.source(),
            }
        })
        .collect()
}

/// Until when the voice sounds from a note on without a rest.
fn sounds_until(all: &[PackedNote], note: &PackedNote) -> Time {
    let first = all.partition_point(|other| other.start() < note.start());
    let mut until = note.start() + note.length();
    for other in &all[first..] {
        if other.start() > until {
            break;
        }
        until = until.max(other.start() + other.length());
        // Longer than this no signal is held.
        if until - note.start() >= Time::WHOLE {
            break;
        }
    }
    until
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::arrange::derive::tests::piece;
    use crate::arrange::taking::at_hand;

    fn rhythm(metre: &str, bars: &str, marks_only: bool) -> String {
        let piece = piece(&format!(
            "form {{\n 1 metre {metre}, key D minor, tempo 1/4 at 96\n}}\nvoice v {{\n{bars}\n}}\n"
        ));
        let count = piece.form.bars.len();
        let manner = Manner { marks_only, repeated: 5 };
        let onsets = reduce(
            &at_hand(&piece.voices[0].music.notes),
            &piece.form,
            BarIndices::new(0, count),
            manner,
        );
        let words: Vec<String> = onsets
            .iter()
            .map(|onset| format!("{}+{}", onset.start, onset.end - onset.start))
            .collect();
        words.join(" ")
    }

    #[test]
    fn semiquavers_become_their_beat() {
        assert_eq!(rhythm("2/4", "1: 1/16 D5 E F G 1/4 A |", false), "0/1+1/4 1/4+1/4");
    }

    #[test]
    fn quavers_that_lead_into_a_first_beat_are_a_call() {
        let bars = "1: 1/4 D5 1/8 A4 A | 2: 1/2 D5 |";
        assert_eq!(rhythm("2/4", bars, true), "0/1+1/4 1/4+1/8 3/8+1/8 1/2+1/2");
    }

    #[test]
    fn dotted_rhythm_is_kept_on_every_beat() {
        let bars = "1: 1/8. D5 1/16 E 1/8. F 1/16 E 1/4 D A4 |";
        let kept = "0/1+3/16 3/16+1/16 1/4+3/16 7/16+1/16 1/2+1/4 3/4+1/4";
        assert_eq!(rhythm("4/4", bars, true), kept);
        assert_eq!(rhythm("4/4", bars, false), kept);
        let siciliano = "1: 1/8. D5 1/16 E 1/8 F 1/4. A |";
        assert_eq!(rhythm("6/8", siciliano, false), "0/1+3/16 3/16+1/16 1/4+1/8 3/8+3/8");
    }

    #[test]
    fn what_runs_after_a_dot_is_no_dotted_rhythm() {
        assert_eq!(rhythm("2/4", "1: 1/8 D5 1/16 E F 1/4 A |", true), "0/1+1/4 1/4+1/4");
    }

    #[test]
    fn trumpets_mark_strong_beats_where_horns_go_on() {
        let bars = "1: 1/8 D5 E F E D E F E |";
        assert_eq!(rhythm("4/4", bars, true), "0/1+1/4 1/2+1/4");
        assert_eq!(rhythm("4/4", bars, false), "0/1+1/4 1/4+1/4 1/2+1/4 3/4+1/4");
    }

    #[test]
    fn the_tail_of_a_beat_is_held_through() {
        let bars = "1: 1/4 D5 F 1/4. E5 1/8 C | 2: 1/1 Bb4 |";
        assert_eq!(rhythm("4/4", bars, true), "0/1+1/4 1/4+1/4 1/2+1/2 1/1+1/1");
    }

    #[test]
    fn quarters_in_long_beats_are_walked_through() {
        let bars = "1: 1/4 D5 E 1/2 F | 2: 1/1 D5 |";
        assert_eq!(rhythm("2/2", bars, false), "0/1+1/4 1/4+1/4 1/2+1/2 1/1+1/1");
    }

    #[test]
    fn a_rest_of_the_voice_is_a_rest_of_the_signal() {
        assert_eq!(rhythm("3/4", "1: 1/4 D5 rest A4 |", false), "0/1+1/4 1/2+1/4");
    }
}

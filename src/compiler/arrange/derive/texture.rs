//! What the source voices sound at a moment, and what is written by hand as melody or bass, seen
//! from outside: top, bottom and silence.

use std::sync::Arc;

use super::Request;
#[cfg(test)]
use crate::arrange::taking::at_hand;
use crate::arrange::{Notes, PackedNote};
use crate::music::{Pitch, Sign, Time};
use crate::resolve::Form;

/// The voices of a piece, all together.
pub(super) struct Texture {
    voices: Arc<[Notes]>,
    /// Melodies and basses that the scoring writes by hand.
    written: Vec<Notes>,
    /// Voices and written lines that play as bass.
    basses: Vec<Notes>,
    /// Where nothing is to be held, in order: no voice sounds, or only an up-beat over a silent bass.
    silences: Vec<(Time, Time)>,
    /// When the last note of the piece begins that a voice strikes anew, if it is held to the end.
    last_struck: Option<Time>,
}

/// Less than any note lasts.
const JUST_BEFORE: Time = Time::of(1, 1024);

/// Lowest and highest sounding note.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Outer {
    pub(super) low: Pitch,
    pub(super) high: Pitch,
}

impl Texture {
    /// The voices of a piece alone.
    #[cfg(test)]
    pub(super) fn new(piece: &crate::resolve::Piece) -> Texture {
        let voices: Vec<Notes> =
            piece.voices.iter().map(|voice| at_hand(&voice.music.notes)).collect();
        Texture::of_voices(&piece.form, &voices.into())
    }

    /// The voices alone.
    pub(super) fn of_voices(form: &Form, voices: &Arc<[Notes]>) -> Texture {
        Texture::with(form, Arc::clone(voices), Vec::new(), Vec::new())
    }

    /// The voices, and what the scoring of a line writes by hand.
    pub(super) fn of(request: &Request) -> Texture {
        let (written, basses) = (request.written.clone(), request.basses.clone());
        Texture::with(&request.piece.form, Arc::clone(&request.voices), written, basses)
    }

    fn with(form: &Form, voices: Arc<[Notes]>, written: Vec<Notes>, basses: Vec<Notes>) -> Texture {
        let mut sounding: Vec<(Time, Time)> = voices
            .iter()
            .chain(&written)
            .flat_map(|notes| notes.iter())
            .map(|note| (note.start(), note.start() + note.length()))
            .collect();
        sounding.sort_unstable();
        let mut silences = Vec::new();
        let mut until = Time::ZERO;
        for (start, end) in sounding {
            if start > until {
                silences.push((until, start));
            }
            until = until.max(end);
        }
        if form.end() > until {
            silences.push((until, form.end()));
        }
        silences.extend(bare_up_beats(form, &voices, &written, &basses));
        silences.sort_unstable();
        silences.dedup_by(|next, last| {
            let joins = next.0 <= last.1;
            if joins {
                last.1 = last.1.max(next.1);
            }
            joins
        });
        let last = voices.iter().chain(&written).filter_map(|notes| notes.last());
        let ends = |note: &&&PackedNote| note.start() + note.length() == form.end();
        let last_struck = last.clone().map(|note| note.start()).max();
        let last_struck = last_struck.filter(|_| last.clone().any(|note| ends(&&note)));
        Texture { voices, written, basses, silences, last_struck }
    }

    /// The notes of each voice.
    pub(super) fn voices(&self) -> &[Notes] {
        &self.voices
    }

    /// From when on the voices only hold their last notes, to the end of the piece: a figure of
    /// accompaniment comes to rest with them (common practice). `None` where they have ended before.
    pub(super) fn rests_from(&self) -> Option<Time> {
        self.last_struck
    }

    /// Until when the voice that is on top at a time sounds without a rest, at most to `end`.
    pub(super) fn top_sounds_until(&self, time: Time, end: Time) -> Time {
        let Some(top) = self.top_note(time) else { return end };
        let of_voice = self.voices.iter().chain(&self.written).find_map(|notes| {
            let first = notes.partition_point(|note| note.start() < top.start());
            notes.get(first).filter(|note| std::ptr::eq(*note, top)).map(|_| &notes[first..])
        });
        let mut until = top.start();
        for note in of_voice.unwrap_or_default() {
            if note.start() > until || until >= end {
                break;
            }
            until = note.start() + note.length();
        }
        until.min(end)
    }

    /// The notes that sound at a time, voice after voice.
    pub(super) fn sounding(&self, time: Time) -> impl Iterator<Item = &PackedNote> {
        at(&self.voices, time).chain(at(&self.written, time))
    }

    /// The outer notes at a time. A bass that is written by hand an octave or two below the lowest
    /// voice doubles it; that voice stays the lowest.
    pub(super) fn outer(&self, time: Time) -> Option<Outer> {
        let of = |voices| at(voices, time).flat_map(|note| note.sound().pitches()).copied();
        let lowest = of(&self.voices).min();
        let doubles =
            |pitch: &Pitch| lowest.is_some_and(|low| (low.midi() - pitch.midi()) % 12 == 0);
        let written = of(&self.written).filter(|pitch| !doubles(pitch)).min();
        let low = lowest.into_iter().chain(written).min().or_else(|| of(&self.written).min())?;
        let high = of(&self.voices).chain(of(&self.written)).max()?;
        Some(Outer { low, high })
    }

    /// Does a bass sound at a time: a voice below another, or one that plays as bass?
    pub(super) fn has_bass(&self, time: Time) -> bool {
        self.outer(time).is_some_and(|outer| outer.low != outer.high)
            || at(&self.basses, time).next().is_some()
    }

    /// The bass that is struck at a time, or held on from before, and stays for half a bar or to an
    /// end.
    pub(super) fn bass_that_stays(&self, form: &Form, time: Time, end: Time) -> Option<Pitch> {
        let low = self.outer(time).filter(|_| self.has_bass(time))?.low;
        let note = self.sounding(time).find(|note| note.sound().pitches().contains(&low))?;
        let until = note.start() + note.length();
        let half = form.bar_at(time).length.scaled(1, 2)?;
        (until >= end || until - time >= half).then_some(low)
    }

    /// The outer notes just before a time.
    pub(super) fn outer_before(&self, time: Time) -> Option<Outer> {
        self.outer(time - JUST_BEFORE)
    }

    /// When the note of this pitch that sounds just before a time was struck.
    pub(super) fn struck_before(&self, time: Time, pitch: Pitch) -> Option<Time> {
        self.struck_at(time - JUST_BEFORE, pitch)
    }

    /// When the note of this pitch that sounds at a time was struck.
    pub(super) fn struck_at(&self, time: Time, pitch: Pitch) -> Option<Time> {
        let mut notes = self.sounding(time);
        notes.find(|note| note.sound().pitches().contains(&pitch)).map(|note| note.start())
    }

    /// Does a note that sounds at a time come and go by step, shorter than `beat`: a passing or a
    /// neighbouring note, accented or not? (E. Prout, Harmony, 1889, ch. XI, from memory.)
    pub(super) fn is_between_steps(&self, time: Time, pitch: Pitch, beat: Time) -> bool {
        self.voices.iter().chain(&self.written).any(|notes| {
            let after = notes.partition_point(|note| note.start() <= time);
            let [before, note, next] = match after.checked_sub(2).and_then(|i| notes.get(i..i + 3))
            {
                Some([before, note, next]) => [before, note, next],
                _ => return false,
            };
            let (start, end) = (note.start(), note.start() + note.length());
            let step = |other: &PackedNote| {
                let pitches = other.sound().pitches().iter();
                pitches
                    .map(|other| (other.midi() - pitch.midi()).abs())
                    .any(|way| way == 1 || way == 2)
            };
            note.sound().pitches().contains(&pitch)
                && end > time
                && note.length() < beat
                && before.start() + before.length() == start
                && next.start() == end
                && step(before)
                && step(next)
        })
    }

    /// Does a note of this pitch go on for so long from a time?
    pub(super) fn lasts(&self, time: Time, pitch: Pitch, long: Time) -> bool {
        let mut notes = self.sounding(time);
        notes.any(|note| {
            note.sound().pitches().contains(&pitch) && note.start() + note.length() >= time + long
        })
    }

    /// The note with the highest pitch at a time.
    pub(super) fn top_note(&self, time: Time) -> Option<&PackedNote> {
        self.sounding(time)
            .filter(|note| !note.sound().pitches().is_empty())
            .max_by_key(|note| note.sound().pitches().last().copied())
    }

    /// Where nothing is to be held between two times.
    pub(super) fn silences(&self, from: Time, to: Time) -> &[(Time, Time)] {
        let first = self.silences.partition_point(|(_, end)| *end <= from);
        let after = self.silences.partition_point(|(start, _)| *start < to);
        &self.silences[first..after.max(first)]
    }
}

/// Up-beats after a rest over a bass that waits for the bar line: whoever accompanies waits with it.
/// (Common practice; that the bass rests for a beat at most, but in a pick-up, is our heuristic.)
fn bare_up_beats(
    form: &Form,
    voices: &[Notes],
    written: &[Notes],
    basses: &[Notes],
) -> Vec<(Time, Time)> {
    let is_bass = |notes: &Notes| basses.iter().any(|bass| bass.are_shared(notes));
    let others: Vec<&Notes> =
        voices.iter().chain(written).filter(|notes| !is_bass(notes)).collect();
    let mut found = Vec::new();
    for (index, bar) in form.bars.iter().enumerate() {
        let end = bar.start + bar.length;
        // The bass comes in with the next bar, and is silent since …
        let Some(since) = basses.iter().try_fold(Time::ZERO, |since, notes| {
            let before = notes.partition_point(|note| note.start() < end);
            let last = before.checked_sub(1).map(|last| notes[last].start() + notes[last].length());
            let since = since.max(last.unwrap_or(Time::ZERO));
            (since < end).then_some(since)
        }) else {
            continue;
        };
        let enters = basses.iter().any(|notes| {
            notes
                .get(notes.partition_point(|note| note.start() < end))
                .is_some_and(|n| n.start() == end)
        });
        let from = since.max(bar.start);
        let is_pick_up = bar.up_beat.is_some() || index == 0 && bar.number == 0;
        if !enters || from >= end || (!is_pick_up && end - from > bar.metre.beat()) {
            continue;
        }
        let bare = others.iter().all(|notes| {
            // What ends where the bass falls silent goes on into the up-beat without a rest, but not
            // into that of a new section.
            let ended = |note: &PackedNote| {
                let end = note.start() + note.length();
                end < from || end == from && bar.up_beat.is_some()
            };
            let first = notes.partition_point(ended);
            from == Time::ZERO || notes.get(first).is_none_or(|note| note.start() >= from)
        });
        if bare {
            found.push((from, end));
        }
    }
    found
}

/// What some voices sound at a time.
fn at(voices: &[Notes], time: Time) -> impl Iterator<Item = &PackedNote> {
    voices.iter().filter_map(move |notes| {
        let after = notes.partition_point(|note| note.start() <= time);
        let note = notes.get(after.checked_sub(1)?)?;
        (note.start() + note.length() > time).then_some(note)
    })
}

/// When what is struck at a time has ended at the latest, or `to`: at a `fine`, after which there may
/// be nothing to hold on to, and at the line that parts an up-beat from its bar, because an up-beat
/// begins something new. (Common practice.)
pub(super) fn ends_by(form: &Form, at: Time, to: Time) -> Time {
    let first = form.index_at(at);
    let bars = form.bars[first..].iter().zip(form.bars[first..].iter().skip(1));
    let mut borders = bars
        .take_while(|(bar, _)| bar.start < to)
        .filter(|(bar, next)| next.up_beat.is_some() || bar.signs.contains(&Sign::Fine))
        .map(|(bar, _)| bar.start + bar.length);
    borders.next().map_or(to, |border| border.min(to))
}

/// Where a bar would begin if it were full: a pick-up counts its beats from the end.
pub(super) fn full_start(form: &Form, index: usize) -> Time {
    form.full_start(index)
}

/// Weight of a time in its bar, as [`crate::music::Metre::weight`] has it.
pub(super) fn weight(form: &Form, time: Time) -> u8 {
    form.weight(time)
}

/// The beats from one time to another, each with its length (shorter where the bar ends).
pub(super) fn beats(form: &Form, from: Time, to: Time) -> Vec<(Time, Time)> {
    let mut beats = Vec::new();
    for index in form.index_at(from)..form.bars.len() {
        let bar = &form.bars[index];
        if bar.start >= to {
            break;
        }
        let (beat, end) = (bar.metre.beat(), (bar.start + bar.length).min(to));
        let mut at = full_start(form, index);
        while at < end {
            if at >= bar.start && at >= from {
                beats.push((at, beat.min(end - at)));
            }
            at += beat;
        }
    }
    beats
}

/// The same, and before them what is left of a beat within which it begins.
pub(super) fn beats_from(form: &Form, from: Time, to: Time) -> Vec<(Time, Time)> {
    let mut all = beats(form, from, to);
    let first = all.first().map_or(to, |(at, _)| *at);
    if first > from {
        all.insert(0, (from, first - from));
    }
    all
}

/// What is struck off the beats from one time to another, each stroke with its end: the second half of a
/// beat, and of a dotted beat its second and third parts. Where a chord begins or ends within a beat
/// the strokes stay those of the metre. (Common practice.)
pub(super) fn off_beats(form: &Form, from: Time, to: Time) -> Vec<(Time, Time)> {
    let mut strokes = Vec::new();
    for index in form.index_at(from)..form.bars.len() {
        let bar = &form.bars[index];
        if bar.start >= to {
            break;
        }
        let (beat, end) = (bar.metre.beat(), bar.start + bar.length);
        let mut at = full_start(form, index);
        while at < end.min(to) {
            let length = beat.min(end - at);
            let parts = if bar.metre.is_compound() && length == beat { 3 } else { 2 };
            let border = |part: i64| at + length.scaled(part, parts).unwrap_or(length);
            let of_beat = (1..parts).map(|part| (border(part), border(part + 1).min(to)));
            strokes.extend(
                of_beat.filter(|(start, stop)| *start >= from.max(bar.start) && start < stop),
            );
            at += beat;
        }
    }
    strokes
}

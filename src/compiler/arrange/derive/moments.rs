//! Moments that deserve a highlight: entries of the subject, cadences, first beats of phrases,
//! peaks of loudness.

use std::sync::Arc;

use super::cadences::{cadences, section_ends};
use super::chord_at;
use super::peaks::peaks;
use super::texture::Texture;
use crate::arrange::{Notes, PackedNote};
use crate::music::Time;
use crate::resolve::{Form, HarmonyEvent, Moment, Piece};

/// A moment that was found.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Found {
    pub(super) at: Time,
    /// Until when it lasts: the end of the last chord of a cadence, one beat for most others.
    pub(super) until: Time,
    pub(super) kind: Kind,
    /// Is there a peak of loudness too, whatever else it is?
    pub(super) peak: bool,
}

impl Found {
    pub(super) fn new(at: Time, until: Time, kind: Kind) -> Found {
        Found { at, until, kind, peak: kind == Kind::Peak }
    }
}

/// What a moment is.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub(super) enum Kind {
    /// The dominant before the last chord of a cadence.
    Dominant,
    /// The last chord of a cadence; `last` at the end of the piece.
    Cadence {
        /// Does the piece end here?
        last: bool,
    },
    /// The first strong beat of an entry of the subject.
    Entry {
        /// In the top voice, where its head begins (before the strong beat if with an up-beat) and
        /// where the note ends to which it goes.
        head: Option<(Time, Time)>,
    },
    /// The first beat of a phrase.
    Phrase,
    /// A peak of loudness.
    Peak,
    /// A beat that the line names.
    Beat,
}

/// The moments of the kinds that a line names; all that suit most players where it names none:
/// entries, cadences and peaks. In order of time, one at a time.
pub(super) fn moments(
    piece: &Piece,
    voices: &Arc<[Notes]>,
    harmony: &[HarmonyEvent],
    named: &[Moment],
) -> Vec<Found> {
    let usual = [Moment::Entries, Moment::Cadences, Moment::Peaks];
    let wanted = if named.is_empty() { &usual[..] } else { named };
    let texture = Texture::of_voices(&piece.form, voices);
    let mut found = Vec::new();
    for moment in wanted {
        match moment {
            Moment::Entries => found.extend(entries(piece, &texture)),
            Moment::Cadences => found.extend(cadences(piece, harmony, &texture)),
            Moment::Phrases => found.extend(phrases(piece, &texture)),
            Moment::Peaks => found.extend(peaks(piece, &texture)),
            Moment::Beat(beat) => found.extend(named_beats(&piece.form, *beat)),
        }
    }
    // The end of a cadence says more than a peak at the same place, and so on down the list.
    found.sort_by_key(|moment: &Found| (moment.at, rank(moment.kind)));
    found.dedup_by(|next, first| {
        let same = next.at == first.at;
        if same {
            first.peak |= next.peak;
        }
        same
    });
    found
}

fn rank(kind: Kind) -> u8 {
    match kind {
        Kind::Cadence { .. } => 0,
        Kind::Peak => 1,
        Kind::Entry { .. } => 2,
        Kind::Dominant => 3,
        Kind::Phrase => 4,
        Kind::Beat => 5,
    }
}

pub(super) fn beat_from(form: &Form, at: Time) -> Time {
    at + form.bar_at(at).metre.beat()
}

/// Notes of the subject's head by which an entry is known, at most. Our heuristic.
const HEAD: usize = 8;
/// Fewer are no subject. Our heuristic.
const SHORTEST_HEAD: usize = 4;
/// By how many steps in all an answer may differ from the subject (tonal answers change one leap,
/// seldom two). Our heuristic.
const FREEDOM: i32 = 2;

/// Entries of the subject in any voice.
///
/// The subject is what the voice that begins first (the highest of several) plays in its first
/// bar. An entry has its rhythm and its directions, and its steps but for at most two in all. A voice
/// that says the head again at once, on the same degree or another, goes on in a sequence; that is
/// no entry, unless a section begins with it. (Our heuristic.)
pub(super) fn entries(piece: &Piece, texture: &Texture) -> Vec<Found> {
    let Some(head) = subject(&piece.form, texture.voices()) else { return Vec::new() };
    let place = piece.form.weight(head[0].start());
    let mut found: Vec<Found> = Vec::new();
    for notes in texture.voices() {
        let mut said: Option<Time> = None;
        for (index, window) in notes.windows(head.len()).enumerate() {
            let at = window[0].start();
            if piece.form.weight(at) == place && is_entry(head, window) {
                if said.is_none_or(|said| !goes_on(&piece.form, said, at)) {
                    found.push(entry(&piece.form, texture, &notes[index..], head.len()));
                }
                said = Some(at);
            }
        }
    }
    found.sort_by_key(|moment| moment.at);
    found.dedup_by_key(|moment| moment.at);
    found
}

/// Does a voice that said the head at one time go on in a sequence when it says it again at another:
/// a bar later at most, and within a section?
fn goes_on(form: &Form, said: Time, at: Time) -> bool {
    let (before, bar) = (form.index_at(said), form.index_at(at));
    let opens = bar > 0 && section_ends(form, bar - 1);
    bar <= before + 1 && !opens
}

/// The entry whose head is the first notes of those given.
fn entry(form: &Form, texture: &Texture, notes: &[PackedNote], head: usize) -> Found {
    let begins = notes[0].start();
    // The head ends on the next first beat that the voice reaches without a rest.
    let mut goal = head - 1;
    let line = form.end_of_bar_at(notes[goal].start());
    while form.weight(notes[goal].start()) != 3 || goal == 0 {
        let joined = |next: &&PackedNote| {
            next.start() == notes[goal].start() + notes[goal].length() && next.start() <= line
        };
        if notes.get(goal + 1).filter(joined).is_none() {
            break;
        }
        goal += 1;
    }
    let ends = notes[goal].start() + notes[goal].length();
    // After an up-beat the entry is marked where it first stands on a strong beat.
    let beat = form.bar_at(begins).metre.beat();
    let bar_ends = form.end_of_bar_at(begins);
    let mut at = begins;
    while at < bar_ends && form.weight(at) < 2 {
        let into = (at - form.full_start(form.index_at(begins))) % beat;
        at = (at + beat - into).min(bar_ends);
    }
    let at = if at < ends { at } else { begins };
    let until = beat_from(form, at);
    let on_top = texture.top_note(begins).is_some_and(|top| {
        top.start() == begins && top.sound().pitches().last() == notes[0].sound().pitches().last()
    });
    let head = on_top.then_some((begins, ends));
    Found::new(at, until, Kind::Entry { head })
}

fn subject<'n>(form: &Form, voices: &'n [Notes]) -> Option<&'n [PackedNote]> {
    let height = |notes: &[PackedNote]| {
        let first = notes.first();
        first.and_then(|note| note.sound().pitches().last().copied()).map_or(0, |p| p.midi())
    };
    let (start, notes) = voices
        .iter()
        .filter_map(|notes| Some((notes.first()?.start(), &**notes)))
        .min_by_key(|(start, notes)| (*start, -height(notes)))?;
    let bar = form.bar_at(start);
    // A subject that begins with a pick-up goes on through the first whole bar.
    let length = bar.length.max(bar.metre.bar_length());
    let end = bar.start + length;
    let count = notes.partition_point(|note| note.start() < end).min(HEAD);
    (count >= SHORTEST_HEAD).then(|| &notes[..count])
}

fn is_entry(head: &[PackedNote], notes: &[PackedNote]) -> bool {
    let mut differs = 0;
    for (index, (subject, note)) in head.iter().zip(notes).enumerate() {
        let last = index + 1 == head.len();
        if !last && subject.length() != note.length() {
            return false;
        }
        if index == 0 {
            continue;
        }
        if subject.start() - head[0].start() != note.start() - notes[0].start() {
            return false;
        }
        let (Some(wanted), Some(got)) =
            (steps(&head[index - 1], subject), steps(&notes[index - 1], note))
        else {
            return false;
        };
        if wanted.signum() != got.signum() {
            return false;
        }
        differs += (wanted - got).abs();
    }
    differs <= FREEDOM
}

fn steps(from: &PackedNote, to: &PackedNote) -> Option<i32> {
    Some(to.sound().pitches().last()?.step() - from.sound().pitches().last()?.step())
}

/// Least distance between first beats of phrases, in bars. Our heuristic.
const SHORTEST_PHRASE: usize = 2;
/// A phrase of which nothing tells the end is taken to have so many bars. Our heuristic.
const USUAL_PHRASE: usize = 4;

/// First beats of phrases: the beginning; after rehearsal marks, double bars and repeat signs;
/// after a bar that the top voice ends with a rest or a note of two beats; and where none of these
/// comes, every four bars. (Our heuristic.)
pub(super) fn phrases(piece: &Piece, texture: &Texture) -> Vec<Found> {
    let form = &piece.form;
    let mut found: Vec<Found> = Vec::new();
    let mut begun: Option<usize> = None;
    for (index, bar) in form.bars.iter().enumerate() {
        if bar.leads_in() {
            continue;
        }
        let since = begun.map(|begun| index - begun);
        let section = index == 0 || section_ends(form, index - 1);
        let begins = match since {
            None => true,
            Some(_) if section => true,
            Some(bars) if bars >= USUAL_PHRASE => true,
            Some(bars) => bars >= SHORTEST_PHRASE && pauses_before(form, texture, index),
        };
        if begins {
            begun = Some(index);
            found.push(Found::new(bar.start, beat_from(form, bar.start), Kind::Phrase));
        }
    }
    found
}

/// Does the top voice end the bar before with a rest or with a note of two beats?
fn pauses_before(form: &Form, texture: &Texture, bar: usize) -> bool {
    let line = form.bars[bar].start;
    let beat = form.bars[bar - 1].metre.beat();
    let Some(note) = texture.top_note(line - Time::of(1, 1024)) else { return true };
    let begins = note.start();
    let lower_now = texture.top_note(begins - Time::of(1, 1024)).is_some_and(|before| {
        let ends = before.start() + before.length();
        before.sound().pitches().last() > note.sound().pitches().last()
            && ends > begins
            && ends < line
            && line - ends >= beat
    });
    note.start() + note.length() == line && note.length() >= beat * 2 || lower_now
}

fn named_beats(form: &Form, beat: u8) -> Vec<Found> {
    (0..form.bars.len())
        .filter_map(|index| {
            let bar = &form.bars[index];
            let length = bar.metre.beat();
            let at = form.full_start(index) + length * (i64::from(beat) - 1);
            let within = beat > 0 && at >= bar.start && at < bar.start + bar.length;
            within.then(|| Found::new(at, at + length, Kind::Beat))
        })
        .collect()
}

/// Until when the chord at a time holds, at most to the end of the bar.
pub(super) fn chord_until(form: &Form, harmony: &[HarmonyEvent], at: Time) -> Time {
    let bar = form.bar_at(at);
    let end = bar.start + bar.length;
    chord_at(harmony, at).map_or(end, |event| (event.start + event.length).min(end))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::arrange::derive::tests::piece;

    fn bars(piece: &Piece, found: &[Found]) -> Vec<i32> {
        found.iter().map(|moment| piece.form.bar_at(moment.at).number).collect()
    }

    #[test]
    fn answers_are_entries_even_if_a_leap_is_answered_by_another() {
        let piece = piece(
            "form {\n 1 metre 3/4, key D minor\n}\n\
             voice upper {\n1: 1/4 D5 1/8 A F 1/4 E | 2: 1/4 D5 E F | 3: 1/2. D5 | 4: 1/2. D5 |\n}\n\
             voice lower {\n1: rest | 2: 1/4 A3 1/8 D4 Bb3 1/4 A3 | 3: 1/4 D3 A3 D3 |\n\
             4: 1/4 A3 1/8 D3 Bb3 1/4 A3 |\n}\n",
        );
        let found = entries(&piece, &Texture::new(&piece));
        assert_eq!(bars(&piece, &found), [1, 2], "bar 4 leaps the other way");
    }

    #[test]
    fn an_entry_with_an_up_beat_is_marked_on_its_first_strong_beat() {
        let piece = piece(
            "form {\n 0 metre 3/4, key C major, pick-up 1/4\n}\n\
             voice v {\n0: 1/8 G4 A | 1: 1/4 C5 E G | 2: 1/2 A5 1/4 F |\n}\n",
        );
        let found = entries(&piece, &Texture::new(&piece));
        let head = Some((Time::ZERO, Time::of(3, 2)));
        assert_eq!(found.len(), 1);
        assert_eq!((found[0].at, found[0].until), (Time::QUARTER, Time::of(1, 2)));
        assert_eq!(found[0].kind, Kind::Entry { head }, "up to the note on the next first beat");
    }

    #[test]
    fn phrases_begin_after_long_notes_and_marks_and_else_every_four_bars() {
        let piece = piece(
            "form {\n 1 metre 2/4, key C major\n 4 mark \"A\"\n 10 end\n}\n\
             voice v {\n1: 1/4 C5 D | 2: 1/2 E5 | 3: 1/4 C5 D |\n4: 1/4 C5 D | 5: 1/4 C5 D |\n\
             6: 1/4 C5 D | 7: 1/4 C5 D | 8: 1/4 C5 D | 9: 1/4 C5 D | 10: 1/2 C5 |\n}\n",
        );
        let found = phrases(&piece, &Texture::new(&piece));
        assert_eq!(bars(&piece, &found), [1, 3, 4, 8]);
    }

    #[test]
    fn a_named_beat_of_a_pick_up_is_counted_from_the_bar_line() {
        let piece = piece(
            "form {\n 0 metre 3/4, key C major, pick-up 1/4\n 1 end\n}\n\
             voice v {\n0: 1/4 G4 |\n1: 1/4 C5 D E |\n}\n",
        );
        assert_eq!(bars(&piece, &named_beats(&piece.form, 3)), [0, 1]);
        assert_eq!(bars(&piece, &named_beats(&piece.form, 1)), [1]);
    }
}

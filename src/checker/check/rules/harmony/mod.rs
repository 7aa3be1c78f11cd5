//! What the notes make together.

pub mod below_bass;
pub mod contradicts;
pub mod doubled_leading_note;
pub mod muddy;
pub mod parallels;

use super::super::context::Context;
use super::super::slices::{Slice, Sounding};
use crate::arrange::{Part, SoundingNote};
use crate::instruments::Family;
use crate::music::{Chord, Pitch, Time};
use crate::resolve::{HarmonyEvent, Verb};

/// Does the note belong to the harmony: pitched, and not of a drum or bell?
fn counts(cx: &Context, sounding: Sounding) -> bool {
    let note = sounding.of(&cx.arrangement.parts);
    let instrument = cx.part(usize::from(sounding.player)).instrument_at(note.start);
    instrument.family != Family::Percussion
}

/// The declared chord at a time.
fn chord(cx: &Context, time: Time) -> Option<Chord> {
    event(cx, time).map(|event| event.chord)
}

/// The declared chord at a time, with when it begins and how long it lasts.
fn event<'a>(cx: &Context<'a>, time: Time) -> Option<&'a HarmonyEvent> {
    let events = &cx.piece.harmony;
    let after = events.partition_point(|event| event.start <= time);
    let event = events.get(after.checked_sub(1)?)?;
    (time < event.start + event.length).then_some(event)
}

/// The one pitch of a note; `None` for chords and strokes.
fn single(note: &SoundingNote) -> Option<Pitch> {
    match note.sound.pitches() {
        [pitch] => Some(*pitch),
        _ => None,
    }
}

/// The lowest pitch of a note as the player reads it and as it sounds.
fn both_pitches(cx: &Context, part: &Part, note: &SoundingNote) -> String {
    note.sound.pitches().first().map_or(String::new(), |pitch| cx.both(part, *pitch, note))
}

/// Do two notes come from one note of the source? Two lines that hold notes of one chord symbol do
/// not: each chooses its own.
fn same_origin(cx: &Context, one: &SoundingNote, two: &SoundingNote) -> bool {
    let chosen = |note: &SoundingNote| {
        cx.line(note.line).is_some_and(|line| matches!(line.verb, Verb::Sustains { .. }))
    };
    one.source == two.source && (one.line == two.line || !chosen(one) || !chosen(two))
}

/// How long something lasts that is found slice by slice: adjoining slices count as one.
struct Lasting<K, T> {
    open: Vec<(K, Time, Time, T)>,
    ended: Vec<(K, Time, Time, T)>,
}

impl<K: PartialEq, T> Lasting<K, T> {
    fn new() -> Lasting<K, T> {
        Lasting { open: Vec::new(), ended: Vec::new() }
    }

    /// Begins a slice.
    fn slice(&mut self, slice: &Slice) {
        self.ended.extend(self.open.extract_if(.., |(_, _, until, _)| *until < slice.start));
    }

    /// It is so in this slice.
    fn add(&mut self, slice: &Slice, key: K, detail: T) {
        match self.open.iter_mut().find(|(known, ..)| *known == key) {
            Some((_, _, until, _)) => *until = slice.end,
            None => self.open.push((key, slice.start, slice.end, detail)),
        }
    }

    /// What lasted so many seconds, note by note of each player; `note` names player and note.
    fn long(
        mut self,
        cx: &Context,
        seconds: f64,
        note: impl Fn(&K) -> Sounding,
    ) -> Vec<Vec<(usize, T)>> {
        self.ended.append(&mut self.open);
        let mut offences: Vec<Vec<(usize, T)>> =
            cx.arrangement.parts.iter().map(|_| Vec::new()).collect();
        for (key, from, until, detail) in self.ended {
            if cx.seconds_at(until) - cx.seconds_at(from) >= seconds {
                let Sounding { player, note } = note(&key);
                offences[usize::from(player)].push((note as usize, detail));
            }
        }
        for own in &mut offences {
            own.sort_by_key(|(note, _)| *note);
            own.dedup_by_key(|(note, _)| *note);
        }
        offences
    }
}

/// Do two players double one another around here: the same source, or octaves on either side?
fn doubling(cx: &Context, one: Sounding, two: Sounding) -> bool {
    let parts = &cx.arrangement.parts;
    if same_origin(cx, one.of(parts), two.of(parts)) {
        return true;
    }
    let (a, b) = (&parts[usize::from(one.player)].notes, &parts[usize::from(two.player)].notes);
    let octaves = |way: i64| {
        let near = |notes: &[SoundingNote], index: u32| {
            let index = usize::try_from(i64::from(index) + way).ok()?;
            notes
                .get(index)
                .and_then(|note| Some((note.start, single(note)?.midi().rem_euclid(12))))
        };
        let pair = (near(a, one.note), near(b, two.note));
        pair.0.is_some() && pair.0 == pair.1
    };
    // The note itself, and the ones around it.
    [-2, -1, 1, 2].into_iter().filter(|way| octaves(*way)).count() >= 2
}

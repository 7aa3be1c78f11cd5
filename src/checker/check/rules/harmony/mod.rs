//! What the notes make together.

pub mod below_bass;
pub mod contradicts;
pub mod cross_relation;
pub mod crossing;
pub mod doubled_leading_note;
pub mod doubled_seventh;
pub mod muddy;
pub mod parallels;
mod tendency;
pub mod unresolved_seventh;

pub(in crate::check) use tendency::Doubled;

use super::super::context::Context;
use super::super::memory::Moment;
use super::super::slices::{Slice, Sounding};
use crate::arrange::{PackedNote, Part};
use crate::music::{Chord, Pitch, Time};
use crate::resolve::{HarmonyEvent, Role, Verb};

/// Does the note belong to the harmony: pitched, and not of a drum or bell?
fn counts(cx: &Context, sounding: Sounding) -> bool {
    cx.is_pitched(sounding)
}

/// Is it a note of a voice, or one that the scoring writes?
fn written(cx: &Context, sounding: Sounding) -> bool {
    let line = cx.line_of(sounding);
    line.is_some_and(|line| matches!(line.verb, Verb::Plays { .. } | Verb::Writes { .. }))
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
fn single(note: &PackedNote) -> Option<Pitch> {
    match note.sound().pitches() {
        [pitch] => Some(*pitch),
        _ => None,
    }
}

/// The lowest pitch of a note as the player reads it and as it sounds.
fn both_pitches(cx: &Context, part: &Part, note: &PackedNote) -> String {
    note.sound().pitches().first().map_or(String::new(), |pitch| cx.both(part, *pitch, note))
}

/// Do two notes come from one note of the source? Two lines that hold notes of one chord symbol do
/// not: each chooses its own.
fn same_origin(cx: &Context, one: Sounding, two: Sounding) -> bool {
    let parts = &cx.arrangement.parts;
    let same_line = || {
        let line = |note: Sounding| parts[note.player()].line_of(note.of(parts));
        line(one) == line(two)
    };
    let chosen = |note: Sounding| {
        cx.line_of(note).is_some_and(|line| matches!(line.verb, Verb::Sustains { .. }))
    };
    one.of(parts).source() == two.of(parts).source()
        && (!chosen(one) || !chosen(two) || same_line())
}

/// From so many players who accompany together all is a tutti, and a full one. Our heuristic.
const TUTTI: usize = 6;
const FULL: usize = 12;

/// So many of a family are a whole chord by themselves. Our heuristic.
const WHOLE: u8 = 3;

/// Notes of one player from which they are a chord that fills the harmony. Our heuristic.
const FULL_CHORD: usize = 3;

/// How many accompany in a slice: in all, and by choir.
#[derive(Clone, Copy)]
struct Filling(usize, [u8; CHOIRS]);

/// Families of the orchestra, horns apart from the heavy brass.
const CHOIRS: usize = 2 * 16;

fn choir(cx: &Context, sounding: Sounding) -> usize {
    let instrument = cx.part(sounding.player()).first_instrument();
    let horns = instrument.loudness == crate::instruments::Loudness::Horn;
    (2 * instrument.family as usize + usize::from(horns)).min(CHOIRS - 1)
}

impl Filling {
    fn is_full(self) -> bool {
        self.0 >= FULL
    }

    fn is_tutti(self) -> bool {
        self.0 >= TUTTI
    }
}

fn filling(cx: &Context, slice: &Slice) -> Filling {
    let parts = &cx.arrangement.parts;
    let fills =
        |s: &&Sounding| counts(cx, **s) && !matches!(s.of(parts).role(), Role::Melody | Role::Bass);
    let mut filling = Filling(0, [0; CHOIRS]);
    for one in slice.sounding.iter().filter(fills) {
        filling.0 += 1;
        let of_choir = &mut filling.1[choir(cx, *one)];
        *of_choir = of_choir.saturating_add(1);
    }
    filling
}

/// Is it a doubling of a tutti that two players have a note: in octaves between two families of the
/// orchestra (horns apart from the heavy brass), and in a full tutti in unison too? Or of a choir that
/// is a whole chord by itself, and doubles another in octaves?
fn doubles_in_tutti(
    cx: &Context,
    Filling(filling, of_choirs): Filling,
    one: (Sounding, Pitch),
    two: (Sounding, Pitch),
) -> bool {
    let unison = one.1.midi() == two.1.midi();
    let (a, b) = (choir(cx, one.0), choir(cx, two.0));
    let whole = of_choirs[a].max(of_choirs[b]) >= WHOLE;
    a != b && (filling >= if unison { FULL } else { TUTTI } || (whole && !unison))
}

/// What lasts so many seconds, note by note of each player: moments are keys with what there is to
/// say of them, and adjoining ones of one key count as one. `note` names player and note of a key.
fn lasting<K: PartialEq, T>(
    cx: &Context,
    moments: Vec<Moment<(K, T)>>,
    seconds: f64,
    note: impl Fn(&K) -> Sounding,
) -> Vec<Vec<(usize, T)>> {
    let mut open: Vec<(K, Time, Time, T)> = Vec::new();
    let mut ended = Vec::new();
    for Moment { start, end, what: (key, detail) } in moments {
        ended.extend(open.extract_if(.., |(_, _, until, _)| *until < start));
        match open.iter_mut().find(|(known, ..)| *known == key) {
            Some((_, _, until, _)) => *until = end,
            None => open.push((key, start, end, detail)),
        }
    }
    ended.append(&mut open);
    let mut offences: Vec<Vec<(usize, T)>> =
        cx.arrangement.parts.iter().map(|_| Vec::new()).collect();
    for (key, from, until, detail) in ended {
        if cx.seconds_at(until) - cx.seconds_at(from) >= seconds {
            let sounding = note(&key);
            offences[sounding.player()].push((sounding.note(), detail));
        }
    }
    for own in &mut offences {
        own.sort_by_key(|(note, _)| *note);
        own.dedup_by_key(|(note, _)| *note);
    }
    offences
}

/// Do two players double one another around here: the same source, or octaves on either side? Of a
/// chord its outer notes count.
fn doubling(cx: &Context, one: Sounding, two: Sounding) -> bool {
    let parts = &cx.arrangement.parts;
    if same_origin(cx, one, two) {
        return true;
    }
    let (a, b) = (&parts[one.player()].notes, &parts[two.player()].notes);
    let octaves = |way: isize| {
        let near = |notes: &[PackedNote], index: usize| {
            let note = notes.get(index.checked_add_signed(way)?)?;
            let pitches = note.sound().pitches();
            let outer = [pitches.first()?, pitches.last()?];
            Some((note.start(), outer.map(|pitch| pitch.midi().rem_euclid(12))))
        };
        let (Some((at, [low, high])), Some((other_at, [other_low, other_high]))) =
            (near(a, one.note()), near(b, two.note()))
        else {
            return false;
        };
        at == other_at && (low == other_low || high == other_high)
    };
    // The note itself, and the ones around it.
    [-2, -1, 1, 2].into_iter().filter(|way| octaves(*way)).count() >= 2
}

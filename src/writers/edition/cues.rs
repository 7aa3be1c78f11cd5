//! Cues: before an entry after a long rest, what the player hears best then, in small notes.
//!
//! The last two to four bars before the entry come from one other part, in the player's own
//! transposition and clef, named, beside his rest. One rule holds for all who read a pitch, those
//! too who sound an octave or more from what they read: played as it stands, the cue would sound
//! what is heard; where it is moved by octaves, to be read easily, the name says how far from that
//! it sounds ("sounds 8va": an octave higher than his own instrument would give it). Where the clef of
//! his entry suits it better, that clef stands before the cue (common practice). Who plays
//! without pitch reads the rhythm of it. There is none where nobody sounds in the last bar:
//! everybody enters together then. Which part is heard best is our heuristic; see [`hears`]. Nobody
//! counts the beats of a [free bar](FrameBar::is_free): who enters behind one has its end as a cue,
//! however short his rest (Gould, Behind Bars, 2011, of cadenzas; from memory).

mod register;

use std::borrow::Cow;
use std::ops::Range;

use smallvec::smallvec;

use crate::arrange::{Arrangement, PackedNote, Part, SoundingNote};
use crate::instruments::Clef;
use crate::music::Time;
use crate::notate::{
    Element, ElementKind, FrameBar, NoteValue, Origin, Stem, bars_of, in_hand, stems,
};
use crate::resolve::{
    Direction, DirectionKind as Said, Dynamic, HALVES, Mark, Role, Sound, Technique,
};

use super::{
    Cueing, DirectionKind, Edition, EditionDirection, Spanner, SpannerKind, StaffBar, StaffPlace,
    Stems, VoiceBar,
};

/// Bars of a cue: the fewest and the most.
const FEWEST: usize = 2;
const MOST: usize = 4;

/// Notes that a cue out of a free bar has at least. Our heuristic.
const NOTES_OF_FREE: usize = 4;

/// Adds cues to a part of one staff.
pub(super) fn add(edition: &mut Edition, arrangement: &Arrangement, player: usize, cueing: Cueing) {
    // Who reads two staves has his own way of counting.
    if edition.staves.len() != 1 {
        return;
    }
    // What he takes for his entry he has in hand already.
    let part = in_hand::as_read(&arrangement.parts[player], edition.bars);
    for rest in long_rests(edition, cueing) {
        let Some(cue) = best(edition, arrangement, player, rest) else { continue };
        // Nobody reads pitches on the line of a drum.
        let unpitched = |bar: usize| part.instrument_at(edition.bars[bar].start).unpitched;
        if unpitched(cue.bars.start) != unpitched(cue.bars.end) {
            continue;
        }
        write(edition, arrangement, &part, &cue);
    }
}

/// Rests of so many whole bars with an entry behind them, or of any number if the last one is free. A pick-up
/// is not counted.
fn long_rests(edition: &Edition, cueing: Cueing) -> Vec<Range<usize>> {
    let bars = &edition.staves[0].bars;
    let out_of_free = |entry: usize| edition.bars[entry - 1].is_free();
    let rests = |bar: &StaffBar| {
        bar.voices
            .iter()
            .all(|voice| voice.elements.iter().all(|e| !matches!(e.kind, ElementKind::Note(_))))
    };
    let mut long = Vec::new();
    let mut first = 0;
    for (index, bar) in bars.iter().enumerate() {
        // Nobody counts from one movement into the next.
        if edition.movements.iter().any(|movement| movement.bars.start == index) {
            first = index;
        }
        if rests(bar) {
            continue;
        }
        if index - first >= cueing.after_bars as usize || index > first && out_of_free(index) {
            long.push(first..index);
        }
        first = index + 1;
    }
    long
}

/// A part to be heard, the bars that show it, and when it begins in the first of them: with the bar, unless that
/// is free.
struct Cue {
    from: usize,
    bars: Range<usize>,
    start: Time,
}

/// What the player hears best in the last bars of a rest.
fn best(
    edition: &Edition,
    arrangement: &Arrangement,
    player: usize,
    rest: Range<usize>,
) -> Option<Cue> {
    let own = &arrangement.parts[player];
    let entry = edition.bars[rest.end].start;
    let free = edition.bars[rest.end - 1].is_free();
    let lengths = if free { 1..=1 } else { FEWEST..=MOST.min(rest.len()) };
    let others = (0..arrangement.parts.len()).filter(|other| *other != player);
    let mut best: Option<(f64, Cue)> = None;
    for from in others {
        for length in lengths.clone() {
            let bars = rest.end - length..rest.end;
            // What stands under another bar-line of a repeat does not lead to the entry.
            let inside = |bar: usize| {
                let frame = &edition.bars[bar];
                frame.repeat_ends || frame.ending_ends.is_some()
            };
            // Nor is a whole cadenza read, if an earlier bar is one.
            let is_cadenza = |bar: usize| !free && edition.bars[bar].is_free();
            if bars.clone().any(|bar| inside(bar) || is_cadenza(bar)) {
                continue;
            }
            let other = &arrangement.parts[from];
            let (start, last) = match free {
                true => {
                    let start = end_of_free(other, &edition.bars[bars.start]);
                    (start, start)
                }
                false => (edition.bars[bars.start].start, edition.bars[bars.end - 1].start),
            };
            let Some(worth) = hears(own, (from, player), other, (start, last, entry)) else {
                continue;
            };
            if best.as_ref().is_none_or(|(known, _)| worth > *known + 1e-9) {
                best = Some((worth, Cue { from, bars, start }));
            }
        }
    }
    best.map(|(_, cue)| cue)
}

/// Where the end of a free bar begins that is shown as a cue: so long before its end as a bar of its metre, and so
/// many notes, with the whole of the tuplet or note into which that falls (our heuristic).
fn end_of_free(other: &Part, frame: &FrameBar) -> Time {
    let end = frame.start + frame.length;
    let notes = between(&other.notes, frame.start, end);
    let last_bar = end - frame.metre.bar_length();
    let fewest = notes.len().checked_sub(NOTES_OF_FREE).map_or(frame.start, |at| notes[at].start());
    let start = last_bar.min(fewest);
    let holds = |from: Time, length: Time| from < start && start < from + length;
    let note = notes.iter().find(|note| holds(note.start(), note.end() - note.start()));
    let tuplet = other.tuplets.iter().find(|tuplet| holds(tuplet.start, tuplet.length));
    let whole = note.map(|note| note.start()).into_iter().chain(tuplet.map(|tuplet| tuplet.start));
    whole.fold(start, Time::min).max(frame.start)
}

/// How well a player hears another part from a time to his entry; `None` if it is no cue. Our
/// heuristic: the loudest counts a point a degree; a tune three, a solo one; each note of a moving
/// line up to four; an entry of its own two; the same family one and a half and a neighbour in the
/// score one; an octave of distance in pitch takes one away, and fewer than three notes, which
/// nobody tells from others, six. What only sounds on tells nothing.
fn hears(
    own: &Part,
    (from, player): (usize, usize),
    other: &Part,
    (start, last, entry): (Time, Time, Time),
) -> Option<f64> {
    if other.instruments.iter().any(|(_, instrument)| instrument.unpitched) {
        return None;
    }
    let notes = between(&other.notes, start, entry);
    // It must sound to the end, and more than half of the time.
    let sounding: Time = notes
        .iter()
        .map(|note| note.end().min(entry) - note.start().max(start))
        .fold(Time::ZERO, |sum, length| sum + length);
    let to_the_end = notes.last().is_some_and(|note| note.end() > last);
    let struck = notes.iter().filter(|note| note.start() >= start).count();
    if !to_the_end || sounding * 2 < entry - start || struck == 0 {
        return None;
    }
    let first = notes.first()?;
    let next = own.notes.get(own.notes.partition_point(|note| note.start() < entry))?;
    let bars = (entry - start).to_f64();
    let moving = (notes.len() as f64 / bars / 2.0).min(4.0);
    let role = match first.role() {
        Role::Melody => 3.0,
        Role::Bass | Role::Highlight => 0.5,
        Role::Harmony | Role::Rhythm => 0.0,
    };
    let rested = {
        let before = other.notes.partition_point(|note| note.start() < first.start());
        let before = before.checked_sub(1).map(|before| other.notes[before].end());
        before.is_none_or(|before| first.start() - before >= Time::QUARTER)
    };
    let enters = f64::from(u8::from(rested && first.start() >= start)) * 2.0
        - f64::from(u8::from(first.start() < start));
    let family = own.player.instrument.family == other.player.instrument.family;
    let near = from.abs_diff(player) < 3;
    let distance = match (height(notes), top(next)) {
        (Some(heard), Some(own)) => (heard - own).abs() / 12.0,
        _ => 0.0,
    };
    Some(
        loudness(other, start)
            + role
            + moving
            + enters
            + f64::from(u8::from(first.solo()))
            + f64::from(u8::from(family)) * 1.5
            + f64::from(u8::from(near))
            - f64::from(u8::from(struck < 3)) * 6.0
            - distance,
    )
}

/// The notes that sound between two times.
fn between(notes: &[PackedNote], from: Time, to: Time) -> &[PackedNote] {
    let first = notes.partition_point(|note| note.end() <= from);
    let last = notes.partition_point(|note| note.start() < to);
    &notes[first.min(last)..last]
}

/// The degree of loudness in force at a time, from 0 to 7; a middle one where none is given.
fn loudness(part: &Part, at: Time) -> f64 {
    let after = part.directions.partition_point(|direction| direction.at <= at);
    let degree = part.directions[..after].iter().rev().find_map(|direction| match direction.kind {
        Said::Dynamic(dynamic) => dynamic.degree(),
        _ => None,
    });
    f64::from(degree.unwrap_or(Dynamic::Mf as u8))
}

fn top(note: &PackedNote) -> Option<f64> {
    note.sound().pitches().last().map(|pitch| f64::from(pitch.midi()))
}

/// The mean of the highest pitches.
fn height(notes: &[PackedNote]) -> Option<f64> {
    let tops: Vec<f64> = notes.iter().filter_map(top).collect();
    (!tops.is_empty()).then(|| tops.iter().sum::<f64>() / tops.len() as f64)
}

/// Writes a cue into the bars of the player's staff.
fn write(edition: &mut Edition, arrangement: &Arrangement, own: &Part, cue: &Cue) {
    let other = &arrangement.parts[cue.from];
    let start = cue.start;
    let entry = edition.bars[cue.bars.end].start;
    let staff = &edition.staves[0];
    let clef = staff.bars[..=cue.bars.start]
        .iter()
        .rev()
        .find_map(|bar| bar.clefs.last())
        .map_or(Clef::Treble, |(_, clef)| *clef);
    let mut read = Part {
        notes: between(&other.notes, start, entry)
            .iter()
            .map(|note| clipped(note, start, entry))
            .collect(),
        tuplets: other.tuplets.clone(),
        directions: other.directions.iter().filter(is_held).cloned().collect(),
        waits: other.waits.clone(),
        ..own.clone()
    };
    let unpitched = read.instrument_at(start).unpitched;
    let alike = std::ptr::eq(other.instrument_at(start), read.instrument_at(start))
        && other.transposition_at(start) == read.transposition_at(start);
    let (mut clef, as_it_is) = (clef, unpitched || alike);
    let mut register = register::register(&read, clef, start, as_it_is);
    // Where the clef changes behind his rest, the cue has the one in which it is read with more ease.
    if let Some(next) = register::next_clef(&staff.bars, &cue.bars) {
        let behind = register::register(&read, next, start, as_it_is);
        if behind.cost < register.cost {
            (clef, register) = (next, behind);
            let at = start - edition.bars[cue.bars.start].start;
            register::change_before(&mut edition.staves[0].bars, &cue.bars, at);
        }
    }
    let octaves = register.octaves;
    if unpitched {
        read.notes.iter_mut().for_each(|note| note.change(to_rhythm));
    }
    // Played as it stands it would sound so many octaves too high.
    let whole = whole_section(arrangement, cue.from, (start, entry));
    let name = name(other, whole, start, -octaves);
    let mut orders = orders(other, (start, entry)).into_iter().peekable();
    if octaves != 0 {
        read.notes.iter_mut().for_each(|note| note.change(|note| raise(note, octaves)));
    }
    let measures = bars_of(&read, edition.bars, cue.bars.clone());
    // Stems go up, and so do slurs: the player's own rests stand below.
    let mut slur: Option<StaffPlace> = None;
    let mut grace: Option<StaffPlace> = None;
    let mut slurs = Vec::new();
    let mut named = false;
    for (bar, mut measure) in cue.bars.clone().zip(measures) {
        let plays = |e: &crate::notate::Element| matches!(e.kind, ElementKind::Note(_));
        // What comes before in a free bar is his rest.
        let before = start - edition.bars[bar].start;
        measure.elements.retain(|element| element.at >= before);
        if !measure.elements.iter().any(plays) {
            continue;
        }
        stems::set_bar(&mut measure.elements, &[], clef);
        for (element, printed) in measure.elements.iter_mut().enumerate() {
            printed.cue = true;
            if printed.stem != Stem::None {
                printed.stem = Stem::Up;
            }
            let ElementKind::Note(note) = &printed.kind else { continue };
            let place = StaffPlace { bar, voice: 0, element };
            if note.grace.is_some() {
                grace = grace.or(Some(place));
            } else if let Some(from) = grace.take() {
                // As in the part it comes from, below, whatever else begins there.
                let kind = SpannerKind::Slur { from, to: place };
                slurs.push(Spanner { kind, above: false, number: 2, origin: Origin::default() });
            }
            if note.slur_ends
                && let Some(from) = slur.take()
            {
                let kind = SpannerKind::Slur { from, to: place };
                let origin = Origin::default();
                slurs.push(Spanner { kind, above: true, number: 2, origin });
            }
            if note.slur_starts {
                slur = Some(place);
            }
        }
        let frame = &edition.bars[bar];
        let staff_bar = &mut edition.staves[0].bars[bar];
        let mut say = |at: Time, kind: DirectionKind| {
            let place = staff_bar.directions.partition_point(|said| said.at <= at);
            let said = EditionDirection { at, kind, above: true, origin: Origin::default() };
            staff_bar.directions.insert(place, said);
        };
        let at = measure.elements.iter().find(|e| plays(e)).map_or(Time::ZERO, |e| e.at);
        if !named {
            say(at, DirectionKind::CueName(name.clone()));
            named = true;
        }
        while let Some((at, words)) = orders.next_if(|(at, _)| *at < frame.start + frame.length) {
            say(at - frame.start, DirectionKind::CueName(words.into()));
        }
        staff_bar.who = Some((at, DirectionKind::CueName(name.clone())));
        let mut rest = staff_bar.voices.pop();
        if let Some(rest) = &mut rest {
            let rests = rest.elements.to_mut();
            hold_once(&mut measure.elements, rests, &holds(own, frame));
            if frame.length == frame.metre.bar_length() {
                join(rests, frame.length);
            }
        }
        staff_bar.voices = smallvec![VoiceBar {
            number: 1,
            stems: Stems::Up,
            players: 0..1,
            elements: Cow::Owned(measure.elements),
        }];
        staff_bar.voices.extend(rest.map(|rest| VoiceBar {
            number: 2,
            stems: Stems::Down,
            ..rest
        }));
    }
    edition.staves[0].spans.extend(slurs);
    super::spans::number(&mut edition.staves);
}

fn is_held(said: &&Direction) -> bool {
    matches!(said.kind, Said::FermataOnRest)
}

/// Where in a bar a player is held while he rests.
fn holds(own: &Part, frame: &FrameBar) -> Vec<Time> {
    let bar = frame.start..frame.start + frame.length;
    let held = own.directions.iter().filter(is_held);
    held.map(|said| said.at).filter(|at| bar.contains(at)).map(|at| at - frame.start).collect()
}

/// One fermata holds a cue and the rest under it, and stands where it holds: over the cue.
fn hold_once(cue: &mut [Element], rests: &mut [Element], holds: &[Time]) {
    let mut held = cue.iter().any(|element| match &element.kind {
        ElementKind::Note(note) => note.marks.has(Mark::Fermata),
        ElementKind::Rest { fermata } | ElementKind::BarRest { fermata } => *fermata,
    });
    for at in holds {
        if held {
            break;
        }
        // What is held before a cue out of a free bar begins is held in his rest.
        let sounds = |e: &&mut Element| (e.at..e.at + e.length).contains(at);
        match cue.iter_mut().find(sounds).map(|element| &mut element.kind) {
            Some(ElementKind::Note(note)) => note.marks.insert(Mark::Fermata),
            Some(ElementKind::Rest { fermata } | ElementKind::BarRest { fermata }) => {
                *fermata = true;
            }
            None => continue,
        }
        held = true;
    }
    for rest in rests.iter_mut().filter(|_| held) {
        if let ElementKind::Rest { fermata } | ElementKind::BarRest { fermata } = &mut rest.kind {
            *fermata = false;
        }
    }
}

/// The rests of a bar that were divided for a fermata are one again where it stands over the cue.
fn join(rests: &mut Vec<Element>, length: Time) {
    let plain = |one: &Element| one.kind == ElementKind::Rest { fermata: false };
    if rests.is_empty() || !rests.iter().all(plain) {
        return;
    }
    rests.truncate(1);
    rests[0].length = length;
    rests[0].value = NoteValue::of(length).unwrap_or(NoteValue { log2: 0, dots: 0 });
    rests[0].kind = ElementKind::BarRest { fermata: false };
}

/// The name of the whole section, where the half of it that a cue comes from plays the same as the other half
/// there.
fn whole_section(
    arrangement: &Arrangement,
    from: usize,
    (start, entry): (Time, Time),
) -> Option<&str> {
    let own = &arrangement.parts[from];
    let whole = own.player.half_of.as_ref()?;
    let played = |part: &Part| -> Vec<SoundingNote> {
        let notes = between(&part.notes, start, entry).iter();
        notes.map(|note| clipped(note, start, entry)).collect()
    };
    let same = |a: &SoundingNote, b: &SoundingNote| {
        (a.start, a.length) == (b.start, b.length) && a.sound == b.sound
    };
    let mut others = arrangement.parts.iter().enumerate().filter(|(index, other)| {
        *index != from
            && other.player.line_name == own.player.line_name
            && other.player.half_of.as_ref() == Some(whole)
    });
    let (_, other) = others.next()?;
    let (notes, others) = (played(own), played(other));
    let together =
        notes.len() == others.len() && notes.iter().zip(&others).all(|(a, b)| same(a, b));
    together.then_some(&whole.abbreviation)
}

/// "Vc. II (upper half, pizz., sounds 8vb)": whose cue it is, how it is played, and by how many octaves it sounds
/// above what the reader's own instrument would give him.
fn name(other: &Part, whole: Option<&str>, start: Time, sounds: i8) -> String {
    let sounds = match sounds {
        0 => None,
        1 => Some("sounds 8va".to_owned()),
        -1 => Some("sounds 8vb".to_owned()),
        2 => Some("sounds 15ma".to_owned()),
        -2 => Some("sounds 15mb".to_owned()),
        octaves => {
            let way = if octaves > 0 { "higher" } else { "lower" };
            Some(format!("sounds {} octaves {way}", octaves.unsigned_abs()))
        }
    };
    let plucked = is_plucked(other, start).then(|| Technique::Pizzicato.printed().to_owned());
    // Another instrument than that which he is called by goes by its own name, as in a score.
    let hand = other.instrument_at(start);
    let section = other.player.half_of.as_ref().filter(|_| whole.is_none());
    let half = usize::from(other.player.number).checked_sub(1).and_then(|half| HALVES.get(half));
    let half = half.filter(|_| section.is_some()).map(|half| (*half).to_owned());
    let called = section.map_or(&other.player.abbreviation, |section| &section.abbreviation);
    let short = match std::ptr::eq(hand, other.player.instrument) {
        true => whole.unwrap_or(called),
        false => &hand.abbreviation,
    };
    let more: Vec<String> = half.into_iter().chain(plucked).chain(sounds).collect();
    match more.is_empty() {
        true => short.to_owned(),
        false => format!("{short} ({})", more.join(", ")),
    }
}

/// What is said of plucking and bowing, in order.
fn plucking(part: &Part) -> impl DoubleEndedIterator<Item = (Time, Technique)> + '_ {
    part.directions.iter().filter_map(|said| match said.kind {
        Said::Technique(way @ (Technique::Pizzicato | Technique::Arco)) => Some((said.at, way)),
        _ => None,
    })
}

fn is_plucked(part: &Part, at: Time) -> bool {
    let last = plucking(part).rfind(|(from, _)| *from <= at);
    last.is_some_and(|(_, way)| way == Technique::Pizzicato)
}

/// Where the player of a cue goes over to plucking or bowing within it.
fn orders(other: &Part, (start, entry): (Time, Time)) -> Vec<(Time, &'static str)> {
    let mut plucked = is_plucked(other, start);
    let mut orders = Vec::new();
    for (at, way) in plucking(other).filter(|(at, _)| (start..entry).contains(at)) {
        let next = other.notes.get(other.notes.partition_point(|note| note.start() < at));
        let Some(next) = next.filter(|next| next.start() < entry) else { break };
        let now = way == Technique::Pizzicato;
        if std::mem::replace(&mut plucked, now) != now {
            orders.push((next.start(), way.printed()));
        }
    }
    orders
}

/// Moves a note by octaves up.
fn raise(note: &mut SoundingNote, octaves: i8) {
    if let Sound::Pitches(pitches) = &mut note.sound {
        pitches.iter_mut().for_each(|pitch| *pitch = pitch.octaves_up(octaves));
    }
    if let Some(graces) = &mut note.attached.graces {
        let pitches = graces.notes.iter_mut().flat_map(|(_, pitches)| pitches.iter_mut());
        pitches.for_each(|pitch| *pitch = pitch.octaves_up(octaves));
    }
}

/// A note of a cue: clipped to its bars, with articulation but without what only its player needs.
fn clipped(note: &PackedNote, start: Time, entry: Time) -> SoundingNote {
    let mut own = note.unpacked();
    own.start = note.start().max(start);
    own.length = note.end().min(entry) - own.start;
    if own.start > note.start() {
        own.attached.slur_starts = false;
        own.attached.graces = None;
    }
    // One line is followed at a glance, chords are not: of those the top note leads.
    if let Sound::Pitches(pitches) = &mut own.sound
        && let [.., _, top] = pitches[..]
    {
        *pitches = top.into();
    }
    if let Some(graces) = &mut own.attached.graces {
        for (_, pitches) in graces.notes.iter_mut() {
            if let [.., _, top] = pitches[..] {
                *pitches = top.into();
            }
        }
    }
    // Who hears an artificial harmonic need not know how it is fingered.
    if own.attached.touch.take().is_some() {
        own.attached.marks.remove(Mark::Harmonic);
    }
    own.attached.marks.remove(Mark::Arpeggio);
    for mark in [Mark::UpBow, Mark::DownBow, Mark::Breath, Mark::Open, Mark::Stopped] {
        own.attached.marks.remove(mark);
    }
    own
}

/// Leaves the rhythm of a note: what goes from pitch to pitch or adorns one is not read without pitch.
fn to_rhythm(note: &mut SoundingNote) {
    let attached = &mut note.attached;
    (attached.graces, attached.neighbour) = (None, None);
    (attached.slur_starts, attached.slur_ends) = (false, false);
    for mark in [Mark::Trill, Mark::Mordent, Mark::Turn, Mark::Harmonic] {
        attached.marks.remove(mark);
    }
}

#[cfg(test)]
#[path = "cues_tests.rs"]
mod tests;

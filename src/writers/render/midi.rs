//! Standard MIDI Files, format 1, of what the players sound.
//!
//! Header, delta times and meta events follow the Standard MIDI Files 1.0 specification (RP-001,
//! MIDI Manufacturers Association, 1996), program and percussion numbers General MIDI Level 1.
//! Track 0 holds titles, tempos, metres, keys and rehearsal marks; each player has a track.
//!
//! - Repeats are played out. A note that is held beyond the bar from which the music jumps is cut
//!   there; a note that is held into the bar to which it jumps is struck anew for its rest.
//! - Ticks are those of the paper: fermatas and words such as "rit." bend the tempo (see `tempo`).
//! - Dots, wedges and breaths shorten a note where they are printed (see `lengths`); an arpeggio is
//!   a plain chord. Trills, turns and mordents are played out (see `ornaments`), and so is tremolo:
//!   program 45 of General MIDI, Tremolo Strings, would tremble within each stroke. Pizzicato has
//!   program 46, a muted trumpet 60; there are no muted strings or horns.
//! - Grace notes sound just before the beat, in the rest before it or at the end of the note before
//!   it; where neither has room (at the very beginning), they take their time from their note.
//! - Loudness is the velocity of the notes (see `loudness`); a note held under a hairpin grows or
//!   fades by expression (see `swell`); volume and pan set the players beside each other (see
//!   `seating`).
//! - A quarter has the least number of ticks from 480 on that makes every boundary exact; where
//!   none up to 32,767 does, it has 960, and boundaries are rounded to the nearest tick.
//! - Each player has a channel of his own; channel 10 is for unpitched percussion only. From the
//!   16th pitched player on, further ports (meta event FF 21) give further channels.
//! - Texts are UTF-8.

mod conductor;
mod lengths;
mod loudness;
mod notes;
mod ornaments;
mod seating;
mod strokes;
mod swell;
mod tempo;
mod timeline;

#[cfg(test)]
mod tests;

use midly::num::{u4, u7, u15, u28};
use midly::{Format, Header, MetaMessage, MidiMessage, Smf, Timing, Track, TrackEvent};
use midly::{TrackEventKind as Kind, TrackEventKind};

use crate::arrange::{Arrangement, Part};
use crate::instruments::{Family, MidiSound};
use crate::music::Time;
use crate::notate::Score;
use crate::resolve::{DirectionKind, Technique};
use notes::{KeyStroke, Setting};
use seating::Place;
use tempo::TempoMap;
use timeline::Timeline;

/// The whole score: one track for the frame and one for each player.
///
/// `notated` is what the players of the same arrangement read.
#[must_use]
pub fn score(arrangement: &Arrangement, notated: &Score) -> Vec<u8> {
    let parts: Vec<usize> = (0..arrangement.parts.len()).collect();
    file(arrangement, notated, &parts)
}

/// One player's part, with the same track 0; only track 0 if there is no such part.
#[must_use]
pub fn part(arrangement: &Arrangement, notated: &Score, part: usize) -> Vec<u8> {
    let there = part < arrangement.parts.len();
    file(arrangement, notated, if there { std::slice::from_ref(&part) } else { &[] })
}

fn file(arrangement: &Arrangement, notated: &Score, chosen: &[usize]) -> Vec<u8> {
    let form = &arrangement.piece.form;
    let timeline = Timeline::new(form);
    let tempos = TempoMap::new(arrangement);
    let setting =
        Setting { form, frame: &notated.frame, era: arrangement.era, timeline: &timeline };
    let parts: Vec<&Part> = chosen.iter().map(|&index| &*arrangement.parts[index]).collect();
    let strokes: Vec<Vec<KeyStroke>> = chosen
        .iter()
        .zip(&parts)
        .map(|(&index, part)| notes::of_part(setting, part, notated.staves.get(index)))
        .collect();
    let boundaries = strokes.iter().flatten().flat_map(|stroke| [stroke.on, stroke.off]);
    let directions = parts.iter().flat_map(|part| part.directions.iter().map(|d| d.at));
    let boundaries = boundaries.chain(directions).chain(tempos.times());
    let timeline = timeline.exact_for(form, boundaries);
    let places = seating::places(&parts);
    let several_ports = places.iter().any(|place| place.port > 0);
    let mut smf = Smf::new(Header::new(
        Format::Parallel,
        Timing::Metrical(u15::new(timeline.ticks_per_quarter)),
    ));
    let conductor = conductor::events(&arrangement.piece, &tempos, &timeline);
    smf.tracks.push(finish(conductor, &timeline));
    for ((part, place), strokes) in parts.iter().zip(&places).zip(&strokes) {
        let events = track(part, *place, several_ports, strokes, &timeline);
        smf.tracks.push(finish(events, &timeline));
    }
    let mut bytes = Vec::new();
    // Writing to memory cannot fail.
    let written = smf.write_std(&mut bytes);
    debug_assert!(written.is_ok());
    bytes
}

/// An event at a tick. Events of the same tick are ordered by rank, then as they came.
struct Event<'a> {
    tick: i64,
    rank: Rank,
    kind: TrackEventKind<'a>,
}

/// What comes first at a tick. A note ends before another begins, so that a repeated note sounds
/// again; a change of sound stands between the two.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Rank {
    Name,
    NoteOff,
    Change,
    NoteOn,
}

impl<'a> Event<'a> {
    fn meta(tick: i64, rank: Rank, message: MetaMessage<'a>) -> Event<'a> {
        Event { tick, rank, kind: Kind::Meta(message) }
    }
}

/// Orders the events and turns ticks into distances. The track ends with the last bar.
fn finish<'a>(mut events: Vec<Event<'a>>, timeline: &Timeline) -> Track<'a> {
    events.sort_by_key(|event| (event.tick, event.rank));
    let end = Event::meta(timeline.end_tick(), Rank::NoteOn, MetaMessage::EndOfTrack);
    let mut track = Track::with_capacity(events.len() + 1);
    let mut now = 0;
    for event in events.into_iter().chain([end]) {
        let mut delta = (event.tick - now).max(0);
        // The format cannot hold a longer silence in one event; an empty text divides it.
        let longest = i64::from(u28::max_value().as_int());
        while delta > longest {
            let kind = Kind::Meta(MetaMessage::Text(b""));
            track.push(TrackEvent { delta: u28::max_value(), kind });
            delta -= longest;
        }
        track.push(TrackEvent { delta: u28::new(delta as u32), kind: event.kind });
        now = now.max(event.tick);
    }
    track
}

fn track<'a>(
    part: &'a Part,
    place: Place,
    several_ports: bool,
    strokes: &[KeyStroke],
    timeline: &Timeline,
) -> Vec<Event<'a>> {
    let player = &part.player;
    let name = |message| Event::meta(0, Rank::Name, message);
    let mut events = vec![
        name(MetaMessage::TrackName(player.name.as_bytes())),
        name(MetaMessage::InstrumentName(part.first_instrument().name.as_bytes())),
    ];
    if several_ports {
        events.push(name(MetaMessage::MidiPort(u7::new(place.port))));
    }
    let voice = |message| Kind::Midi { channel: u4::new(place.channel), message };
    let change = |tick, message| Event { tick, rank: Rank::Change, kind: voice(message) };
    for (tick, program) in programs(part, timeline) {
        events.push(change(tick, MidiMessage::ProgramChange { program: u7::new(program) }));
    }
    if place.channel != seating::PERCUSSION && strokes.iter().any(|stroke| stroke.percussion) {
        for (controller, value) in seating::of_percussion() {
            let (controller, value) = (u7::new(controller), u7::new(value));
            let message = MidiMessage::Controller { controller, value };
            let kind = Kind::Midi { channel: u4::new(seating::PERCUSSION), message };
            events.push(Event { tick: 0, rank: Rank::Change, kind });
        }
    }
    let seat = [(seating::VOLUME, seating::volume(part)), (seating::PAN, seating::pan(part))];
    let swells = swell::swells(part, timeline);
    let swells = swells.into_iter().map(|(tick, value)| (tick, swell::EXPRESSION, value));
    for (tick, controller, value) in
        seat.map(|(number, value)| (0, number, value)).into_iter().chain(swells)
    {
        let (controller, value) = (u7::new(controller), u7::new(value));
        events.push(change(tick, MidiMessage::Controller { controller, value }));
    }
    for stroke in strokes {
        let (on, off) = (timeline.ticks(stroke.on), timeline.ticks(stroke.off));
        // Where ticks are rounded, the shortest notes may have none.
        if off <= on {
            continue;
        }
        let channel = if stroke.percussion { seating::PERCUSSION } else { place.channel };
        let voice = |message| Kind::Midi { channel: u4::new(channel), message };
        let key = u7::new(stroke.key);
        let begin = MidiMessage::NoteOn { key, vel: u7::new(stroke.velocity) };
        events.push(Event { tick: on, rank: Rank::NoteOn, kind: voice(begin) });
        // 64 is the release velocity of instruments that do not know any.
        let end = MidiMessage::NoteOff { key, vel: u7::new(64) };
        events.push(Event { tick: off, rank: Rank::NoteOff, kind: voice(end) });
    }
    events
}

/// Changes of program as they are played: tick and program byte.
fn programs(part: &Part, timeline: &Timeline) -> Vec<(i64, u8)> {
    let mut ways: Vec<(Time, Option<Technique>)> =
        part.instruments.iter().map(|(at, _)| (*at, None)).collect();
    ways.extend(part.directions.iter().filter_map(|direction| match direction.kind {
        DirectionKind::Technique(technique) => Some((direction.at, Some(technique))),
        _ => None,
    }));
    ways.sort_by_key(|(at, _)| *at);
    let (mut plucked, mut muted) = (false, false);
    let mut written = Vec::new();
    for (at, technique) in ways {
        match technique {
            Some(Technique::Pizzicato) => plucked = true,
            Some(Technique::Arco) => plucked = false,
            Some(Technique::Muted) => muted = true,
            Some(Technique::Unmuted) => muted = false,
            None => {}
        }
        let instrument = part.instrument_at(at);
        let MidiSound::Program(usual) = instrument.midi else { continue };
        let program = match usual {
            // General MIDI: 46 Pizzicato Strings, 57 Trumpet, 60 Muted Trumpet.
            _ if plucked && instrument.family == Family::Strings => 46,
            57 if muted => 60,
            _ => usual,
        };
        // Before his first program a player strikes percussion, which has none.
        let at = if written.is_empty() { Time::ZERO } else { at };
        written.push((at, program));
    }
    if written.is_empty() {
        return Vec::new();
    }
    let mut played: Vec<(i64, u8)> = Vec::new();
    let mut change = |tick, program: u8| {
        let byte = program.clamp(1, 128) - 1;
        if played.last().is_none_or(|(_, last)| *last != byte) {
            played.push((tick, byte));
        }
    };
    change(0, written[written.partition_point(|(at, _)| *at <= Time::ZERO) - 1].1);
    for segment in &timeline.segments {
        let first = written.partition_point(|(at, _)| *at <= segment.from);
        let last = written.partition_point(|(at, _)| *at < segment.to).max(first);
        change(timeline.ticks(segment.at), written[first.max(1) - 1].1);
        for (at, program) in &written[first..last] {
            change(timeline.ticks(segment.played(*at)), *program);
        }
    }
    played
}

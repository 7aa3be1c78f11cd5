//! Standard MIDI Files, format 1, of what the players sound.
//!
//! Header, delta times and meta events follow the Standard MIDI Files 1.0 specification (RP-001,
//! MIDI Manufacturers Association, 1996), program and percussion numbers General MIDI Level 1.
//! Track 0 holds titles, tempos, metres, keys and rehearsal marks; each player has a track.
//!
//! - Repeats are played out. A note that is held beyond the bar from which the music jumps is cut
//!   there; a note that is held into the bar to which it jumps is struck anew for its rest.
//! - Durations are those on paper: staccato, fermata, mordent, turn and arpeggio leave them as they
//!   are. Tremolo and trills are played out as notes that fill the duration. Grace notes sound just
//!   before the beat; at the very beginning of the music they take their time from their note.
//! - Loudness is the velocity of the notes (see `loudness`); a note held under a hairpin grows or
//!   fades by expression (see `swell`).
//! - A quarter has the least number of ticks from 480 on that makes every boundary exact; where
//!   none up to 32,767 does, it has 960, and boundaries are rounded to the nearest tick.
//! - Each player has a channel of his own; channel 10 is for unpitched percussion only. From the
//!   16th pitched player on, further ports (meta event FF 21) give further channels.
//! - Texts are UTF-8.

mod conductor;
mod loudness;
mod notes;
mod strokes;
mod swell;
mod timeline;

#[cfg(test)]
mod tests;

use midly::num::{u4, u7, u15, u28};
use midly::{Format, Header, MetaMessage, MidiMessage, Smf, Timing, Track, TrackEvent};
use midly::{TrackEventKind as Kind, TrackEventKind};

use crate::arrange::{Arrangement, Part};
use crate::instruments::{Family, MidiSound};
use crate::music::Time;
use crate::resolve::{DirectionKind, Technique};
use timeline::Timeline;

/// The whole score: one track for the frame and one for each player.
#[must_use]
pub fn score(arrangement: &Arrangement) -> Vec<u8> {
    let parts: Vec<&Part> = arrangement.parts.iter().collect();
    file(arrangement, &parts)
}

/// One player's part, with the same track 0; only track 0 if there is no such part.
#[must_use]
pub fn part(arrangement: &Arrangement, part: usize) -> Vec<u8> {
    let parts: Vec<&Part> = arrangement.parts.get(part).into_iter().collect();
    file(arrangement, &parts)
}

fn file(arrangement: &Arrangement, parts: &[&Part]) -> Vec<u8> {
    let timeline = Timeline::new(&arrangement.piece.form, parts);
    let places = places(parts);
    let several_ports = places.iter().any(|place| place.port > 0);
    let mut smf = Smf::new(Header::new(
        Format::Parallel,
        Timing::Metrical(u15::new(timeline.ticks_per_quarter)),
    ));
    smf.tracks.push(finish(conductor::events(arrangement.piece, &timeline), &timeline));
    for (part, place) in parts.iter().zip(&places) {
        let events = track(arrangement, part, *place, several_ports, &timeline);
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

/// Where a part sounds: port and channel (from 0).
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
struct Place {
    port: u8,
    channel: u8,
}

/// The channel of unpitched percussion, counted from 0.
const PERCUSSION: u8 = 9;

fn places(parts: &[&Part]) -> Vec<Place> {
    let mut pitched = 0_usize;
    // How many parts already sound each percussion key: two parts with one key need two ports.
    let mut same_key = [0_u8; 128];
    let place = |part: &&Part| {
        let mut percussion_port = 0;
        let mut only_percussion = true;
        for (_, instrument) in &part.instruments {
            match instrument.midi {
                MidiSound::Program(_) => only_percussion = false,
                MidiSound::PercussionKey(key) => {
                    let count = &mut same_key[usize::from(key.min(127))];
                    percussion_port = percussion_port.max(*count);
                    *count = (*count + 1).min(127);
                }
            }
        }
        if only_percussion {
            return Place { port: percussion_port, channel: PERCUSSION };
        }
        let (port, channel) = (pitched / 15, (pitched % 15) as u8);
        pitched += 1;
        let channel = if channel >= PERCUSSION { channel + 1 } else { channel };
        Place { port: port.min(127) as u8, channel }
    };
    parts.iter().map(place).collect()
}

fn track<'a>(
    arrangement: &Arrangement<'a>,
    part: &Part<'a>,
    place: Place,
    several_ports: bool,
    timeline: &Timeline,
) -> Vec<Event<'a>> {
    let player = part.player;
    let name = |message| Event::meta(0, Rank::Name, message);
    let mut events = vec![
        name(MetaMessage::TrackName(player.name.as_bytes())),
        name(MetaMessage::InstrumentName(part.first_instrument().name.as_bytes())),
    ];
    if several_ports {
        events.push(name(MetaMessage::MidiPort(u7::new(place.port))));
    }
    let voice = |message| Kind::Midi { channel: u4::new(place.channel), message };
    for (tick, program) in programs(part, timeline) {
        let kind = voice(MidiMessage::ProgramChange { program: u7::new(program) });
        events.push(Event { tick, rank: Rank::Change, kind });
    }
    for (tick, value) in swell::swells(part, timeline) {
        let controller = u7::new(swell::EXPRESSION);
        let kind = voice(MidiMessage::Controller { controller, value: u7::new(value) });
        events.push(Event { tick, rank: Rank::Change, kind });
    }
    for note in notes::of_part(&arrangement.piece.form, part, timeline) {
        let key = u7::new(note.key);
        let channel = if note.percussion { PERCUSSION } else { place.channel };
        let voice = |message| Kind::Midi { channel: u4::new(channel), message };
        let on = MidiMessage::NoteOn { key, vel: u7::new(note.velocity) };
        events.push(Event { tick: note.on, rank: Rank::NoteOn, kind: voice(on) });
        // 64 is the release velocity of instruments that do not know any.
        let off = MidiMessage::NoteOff { key, vel: u7::new(64) };
        events.push(Event { tick: note.off, rank: Rank::NoteOff, kind: voice(off) });
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

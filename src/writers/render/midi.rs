//! Standard MIDI Files, format 1, of what the players sound.
//!
//! Header, delta times and meta events follow the Standard MIDI Files 1.0 specification (RP-001,
//! MIDI Manufacturers Association, 1996), program and percussion numbers General MIDI Level 1.
//! Track 0 holds titles, tempos, metres, keys and rehearsal marks; each player has a track.
//!
//! - What sounds, [`perform`](crate::perform) says.
//! - A quarter has the least number of ticks from 480 on that makes every boundary exact; where
//!   none up to 32,767 does, it has 960, and boundaries are rounded to the nearest tick.
//! - Each player has a channel of his own; channel 10 is for unpitched percussion only. From the
//!   16th pitched player on, further ports (meta event FF 21) give further channels.
//! - Words of singers are lyric events (FF 05), one for each syllable where it begins, with a hyphen
//!   or a blank after it.
//! - Texts are UTF-8.

mod channels;
mod conductor;
mod ticks;

#[cfg(test)]
mod tests;

use std::borrow::Cow;
use std::io;

use crate::narrow::Narrow;
use midly::num::{u4, u7, u15, u28};
use midly::{Format, Header, MetaMessage, MidiMessage, Timing, Track, TrackEvent};
use midly::{TrackEventKind as Kind, TrackEventKind};

use crate::arrange::{Arrangement, Part};
use crate::perform::{Performance, Played};
use channels::Channel;
use ticks::{Exact, Ticks};

/// The whole score: one track for the frame and one for each player.
///
/// `performance` is what sounds of the same arrangement.
#[must_use]
pub fn score(arrangement: &Arrangement, performance: &Performance) -> Vec<u8> {
    let parts: Vec<usize> = (0..arrangement.parts.len()).collect();
    in_memory(arrangement, performance, &parts)
}

/// One player's part, with the same track 0; only track 0 if there is no such part.
#[must_use]
pub fn part(arrangement: &Arrangement, performance: &Performance, part: usize) -> Vec<u8> {
    let there = part < arrangement.parts.len();
    in_memory(arrangement, performance, if there { std::slice::from_ref(&part) } else { &[] })
}

fn in_memory(arrangement: &Arrangement, performance: &Performance, chosen: &[usize]) -> Vec<u8> {
    let mut bytes = Vec::new();
    let played = |player: usize| Cow::Borrowed(&performance.players[player]);
    let written = write(arrangement, performance, chosen, played, &mut bytes);
    // Writing to memory cannot fail.
    debug_assert!(written.is_ok());
    bytes
}

/// Writes some parts into one file. `stage` is what all play by, and `played` says what each of them
/// sounds: it is asked twice for each, and no more than one is held at a time.
///
/// # Errors
///
/// What `out` answers.
pub fn write<'p>(
    arrangement: &Arrangement,
    stage: &Performance,
    chosen: &[usize],
    played: impl Fn(usize) -> Cow<'p, Played>,
    out: &mut dyn io::Write,
) -> io::Result<()> {
    let form = &arrangement.piece.form;
    let parts: Vec<&Part> = chosen.iter().map(|&index| &*arrangement.parts[index]).collect();
    let mut exact = Exact::default();
    form.bars.iter().for_each(|bar| exact.take([bar.start, bar.length]));
    for (part, &index) in parts.iter().zip(chosen) {
        let played = played(index);
        exact.take(played.strokes.iter().flat_map(|stroke| [stroke.on, stroke.off]));
        exact.take(part.directions.iter().map(|direction| direction.at));
        exact.take(played.syllables.iter().map(|(at, _)| *at));
    }
    exact.take(stage.tempos.times());
    let ticks = exact.ticks();
    let end = ticks.of(stage.timeline.end);
    let places = channels::places(&parts);
    let several_ports = places.iter().any(|place| place.port > 0);
    let header = Header::new(Format::Parallel, Timing::Metrical(u15::new(ticks.per_quarter)));
    // The head counts the tracks, which are written one at a time.
    let mut head = Vec::new();
    midly::write_std(&header, &[] as &[Track], &mut head)?;
    let count = (chosen.len() + 1).narrow::<u16>().to_be_bytes();
    head.splice(TRACKS, count);
    out.write_all(&head)?;
    let mut track = |events: Vec<Event>| {
        let mut bytes = Vec::new();
        midly::write_std(&header, &[finish(events, end)], &mut bytes)?;
        out.write_all(&bytes[head.len()..])
    };
    track(conductor::events(&arrangement.piece, stage, ticks))?;
    for ((part, place), &index) in parts.iter().zip(&places).zip(chosen) {
        track(self::track(part, *place, several_ports, &played(index), ticks))?;
    }
    Ok(())
}

/// Where the head of a file says how many tracks it has.
const TRACKS: std::ops::Range<usize> = 10..12;

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
fn finish<'a>(mut events: Vec<Event<'a>>, end: i64) -> Track<'a> {
    events.sort_by_key(|event| (event.tick, event.rank));
    let end = Event::meta(end, Rank::NoteOn, MetaMessage::EndOfTrack);
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
        track.push(TrackEvent { delta: u28::new(delta.narrow::<u32>()), kind: event.kind });
        now = now.max(event.tick);
    }
    track
}

fn track<'a>(
    part: &'a Part,
    place: Channel,
    several_ports: bool,
    played: &'a Played,
    ticks: Ticks,
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
    for &(at, program) in &played.programs {
        let tick = ticks.of(at);
        events.push(change(tick, MidiMessage::ProgramChange { program: u7::new(program) }));
    }
    if place.channel != channels::PERCUSSION
        && played.strokes.iter().any(|stroke| stroke.percussion)
    {
        for (controller, value) in channels::of_percussion() {
            let (controller, value) = (u7::new(controller), u7::new(value));
            let message = MidiMessage::Controller { controller, value };
            let kind = Kind::Midi { channel: u4::new(channels::PERCUSSION), message };
            events.push(Event { tick: 0, rank: Rank::Change, kind });
        }
    }
    let seat = [(channels::VOLUME, played.volume), (channels::PAN, played.pan)];
    let swells = played.swells.iter();
    let swells = swells.map(|&(at, value)| (ticks.of(at), channels::EXPRESSION, value));
    for (tick, controller, value) in
        seat.map(|(number, value)| (0, number, value)).into_iter().chain(swells)
    {
        let (controller, value) = (u7::new(controller), u7::new(value));
        events.push(change(tick, MidiMessage::Controller { controller, value }));
    }
    for (at, syllable) in &played.syllables {
        let message = MetaMessage::Lyric(syllable.as_bytes());
        events.push(Event::meta(ticks.of(*at), Rank::Change, message));
    }
    for stroke in &played.strokes {
        let (on, off) = (ticks.of(stroke.on), ticks.of(stroke.off));
        // Where ticks are rounded, the shortest notes may have none.
        if off <= on {
            continue;
        }
        let channel = if stroke.percussion { channels::PERCUSSION } else { place.channel };
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

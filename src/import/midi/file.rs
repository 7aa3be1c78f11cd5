//! Reads a Standard MIDI File: notes of each track and channel in ticks, and what its meta events
//! say.

use std::collections::HashMap;

use midly::{Format, MetaMessage, MidiMessage, Smf, Timing, TrackEventKind};

use crate::Error;
use crate::loss::{Losses, NOWHERE};
use crate::narrow::Narrow;

/// More notes than any score has; a guard against files that are made to hurt.
const MOST_NOTES: usize = 2_000_000;
/// Later than any piece ends, in quarters.
const LATEST_QUARTER: u64 = 80_000;
/// The channel of percussion, from 0 (General MIDI).
const DRUMS: u8 = 9;
/// The key of C0, with which the octaves begin that a source can write.
const LOWEST: u8 = 12;

/// What a file holds.
#[derive(Debug, Default)]
pub(super) struct File {
    /// Ticks of a quarter.
    pub(super) quarter: i64,
    /// Are times given in seconds, so that a quarter is our choice (half a second)?
    pub(super) in_seconds: bool,
    pub(super) tracks: Vec<Track>,
    /// Title, where the first track of several has a name and no notes.
    pub(super) title: Option<String>,
    /// Microseconds of a quarter, from a tick on.
    pub(super) tempos: Vec<(i64, u32)>,
    /// Count and unit of a metre, from a tick on.
    pub(super) metres: Vec<(i64, u8, u32)>,
    /// Sharps or flats, and whether the key is minor, from a tick on.
    pub(super) keys: Vec<(i64, i8, bool)>,
    /// Markers: rehearsal marks and names of sections.
    pub(super) markers: Vec<(i64, String)>,
}

/// The notes of one channel of one track.
#[derive(Debug, Default)]
pub(super) struct Track {
    pub(super) name: String,
    /// General MIDI program, from 1.
    pub(super) program: Option<u8>,
    /// Are these keys of percussion (channel 10)?
    pub(super) drums: bool,
    /// In order of their beginnings, then from the lowest up.
    pub(super) notes: Vec<Stroke>,
}

/// A note in ticks.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Stroke {
    pub(super) start: i64,
    pub(super) end: i64,
    pub(super) key: u8,
}

/// Reads a file.
pub(super) fn read(bytes: &[u8], losses: &mut Losses) -> Result<File, Error> {
    let smf = Smf::parse(unwrapped(bytes))
        .map_err(|error| Error::new(format!("the MIDI file is broken: {error}")))?;
    let (quarter, in_seconds) = match smf.header.timing {
        Timing::Metrical(ticks) => (i64::from(ticks.as_int()).max(1), false),
        Timing::Timecode(frames, parts) => {
            let per_second = f64::from(frames.as_f32()) * f64::from(parts.max(1));
            ((per_second / 2.0).round().max(1.0).narrow::<i64>(), true)
        }
    };
    let mut file = File { quarter, in_seconds, ..File::default() };
    let count = smf.tracks.len();
    let mut offset = 0i64;
    for (index, events) in smf.tracks.iter().enumerate() {
        let length = read_track(&mut file, events, (index, count), offset, losses)?;
        // Tracks of format 2 are pieces of their own, one after the other.
        if smf.header.format == Format::Sequential {
            offset = offset.saturating_add(length);
        }
    }
    for track in &mut file.tracks {
        track.notes.sort_by_key(|note| (note.start, note.key, note.end));
    }
    file.tempos.sort_by_key(|(tick, _)| *tick);
    file.metres.sort_by_key(|(tick, ..)| *tick);
    file.keys.sort_by_key(|(tick, ..)| *tick);
    file.markers.sort_by_key(|(tick, _)| *tick);
    Ok(file)
}

/// The file inside a RIFF wrapper, or the bytes as they are.
fn unwrapped(bytes: &[u8]) -> &[u8] {
    if !bytes.starts_with(b"RIFF") {
        return bytes;
    }
    let at = bytes.windows(4).take(4096).position(|four| four == b"MThd");
    at.map_or(bytes, |at| &bytes[at..])
}

fn read_track(
    file: &mut File,
    events: &[midly::TrackEvent],
    (index, count): (usize, usize),
    offset: i64,
    losses: &mut Losses,
) -> Result<i64, Error> {
    let mut tick = offset;
    let mut name = String::new();
    let mut channels: HashMap<u8, Track> = HashMap::new();
    let mut open: HashMap<(u8, u8), Vec<i64>> = HashMap::new();
    let latest = file.quarter.saturating_mul(LATEST_QUARTER as i64);
    let mut sum = file.tracks.iter().map(|track| track.notes.len()).sum::<usize>();
    for event in events {
        tick = tick.saturating_add(i64::from(event.delta.as_int()));
        if tick > latest {
            losses.left_out("what comes after more than 80 000 quarters", None, NOWHERE);
            tick = latest;
            break;
        }
        match event.kind {
            TrackEventKind::Midi { channel, message } => {
                let channel = channel.as_int();
                match message {
                    MidiMessage::NoteOn { key, vel } if vel.as_int() > 0 => {
                        // A key struck again while it sounds ends the note before.
                        let key = (channel, key.as_int());
                        sum += 1;
                        if open.get(&key).is_some_and(|open| open.last() == Some(&tick)) {
                            losses.changed(
                                "keys struck twice at once, read as one note",
                                None,
                                NOWHERE,
                            );
                        } else {
                            close(&mut channels, &mut open, key, tick, losses);
                            open.entry(key).or_default().push(tick);
                        }
                        if sum > MOST_NOTES {
                            return Err(Error::new("the file has more than two million notes"));
                        }
                    }
                    MidiMessage::NoteOn { key, .. } | MidiMessage::NoteOff { key, .. } => {
                        close(&mut channels, &mut open, (channel, key.as_int()), tick, losses);
                    }
                    MidiMessage::ProgramChange { program } => {
                        let track = channels.entry(channel).or_default();
                        if track.program.is_some() && !track.notes.is_empty() {
                            losses.left_out("changes of sound inside a track", None, NOWHERE);
                        } else {
                            track.program = Some(program.as_int() + 1);
                        }
                    }
                    MidiMessage::Controller { controller, value } => match controller.as_int() {
                        64 if value.as_int() >= 64 => {
                            losses.left_out("pedal", None, NOWHERE);
                        }
                        _ => {}
                    },
                    MidiMessage::PitchBend { bend } if bend.as_int() != 0 => {
                        losses.left_out("bends of pitch", None, NOWHERE);
                    }
                    _ => {}
                }
            }
            TrackEventKind::Meta(message) => meta(file, message, tick, &mut name, losses),
            _ => {}
        }
    }
    let left: Vec<(u8, u8)> = open.keys().copied().collect();
    for key in left {
        close(&mut channels, &mut open, key, tick, losses);
    }
    let mut channels: Vec<(u8, Track)> = channels.into_iter().collect();
    channels.sort_by_key(|(channel, _)| *channel);
    channels.retain(|(_, track)| !track.notes.is_empty());
    if channels.is_empty() && index == 0 && count > 1 && !name.is_empty() {
        file.title = Some(name);
        return Ok(tick - offset);
    }
    for (channel, track) in channels {
        file.tracks.push(Track { name: name.clone(), drums: channel == DRUMS, ..track });
    }
    Ok(tick - offset)
}

fn close(
    channels: &mut HashMap<u8, Track>,
    open: &mut HashMap<(u8, u8), Vec<i64>>,
    key: (u8, u8),
    tick: i64,
    losses: &mut Losses,
) {
    let Some(start) = open.get_mut(&key).and_then(Vec::pop) else { return };
    if key.1 < LOWEST && key.0 != DRUMS {
        losses.left_out("notes below C0", None, NOWHERE);
        return;
    }
    if tick == start {
        losses.changed("notes that last no time, written as short ones", None, NOWHERE);
    }
    let note = Stroke { start, end: tick.max(start + 1), key: key.1 };
    channels.entry(key.0).or_default().notes.push(note);
}

fn meta(file: &mut File, message: MetaMessage, tick: i64, name: &mut String, losses: &mut Losses) {
    let text = |bytes: &[u8]| {
        let text = match std::str::from_utf8(bytes) {
            Ok(text) => text.to_string(),
            Err(_) => bytes.iter().map(|byte| char::from(*byte)).collect(),
        };
        let words: Vec<&str> = text.split(|c: char| c.is_whitespace() || c.is_control()).collect();
        let words: Vec<&str> = words.into_iter().filter(|word| !word.is_empty()).collect();
        words.join(" ").chars().take(200).collect::<String>()
    };
    match message {
        MetaMessage::TrackName(bytes) if name.is_empty() => {
            *name = text(bytes);
        }
        MetaMessage::Tempo(micros) if micros.as_int() > 0 => {
            file.tempos.push((tick, micros.as_int()));
        }
        MetaMessage::TimeSignature(count, power, ..) => {
            if count > 0 && power <= 5 {
                file.metres.push((tick, count, 1 << power));
            } else {
                losses.left_out("metres that are none", None, NOWHERE);
            }
        }
        MetaMessage::KeySignature(fifths, minor) => file.keys.push((tick, fifths, minor)),
        MetaMessage::Marker(bytes) => file.markers.push((tick, text(bytes))),
        MetaMessage::Lyric(_) => losses.left_out("sung words", None, 0),
        MetaMessage::Text(_) | MetaMessage::CuePoint(_) if tick > 0 => {
            losses.left_out("texts", None, NOWHERE);
        }
        _ => {}
    }
}

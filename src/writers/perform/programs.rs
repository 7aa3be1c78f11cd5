//! With which sound of General MIDI a player sounds.

use crate::arrange::Part;
use crate::instruments::{Family, MidiSound};
use crate::music::Time;
use crate::resolve::{DirectionKind, Technique};

use super::timeline::Timeline;

/// Changes of sound as they are played: played time and program of General MIDI, counted from 0.
pub(super) fn programs(part: &Part, timeline: &Timeline) -> Vec<(Time, u8)> {
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
    let mut played: Vec<(Time, u8)> = Vec::new();
    let mut change = |at, program: u8| {
        let byte = program.clamp(1, 128) - 1;
        if played.last().is_none_or(|(_, last)| *last != byte) {
            played.push((at, byte));
        }
    };
    change(Time::ZERO, written[written.partition_point(|(at, _)| *at <= Time::ZERO) - 1].1);
    for segment in &timeline.segments {
        let first = written.partition_point(|(at, _)| *at <= segment.from);
        let last = written.partition_point(|(at, _)| *at < segment.to).max(first);
        change(segment.at, written[first.max(1) - 1].1);
        for (at, program) in &written[first..last] {
            change(segment.played(*at), *program);
        }
    }
    played
}

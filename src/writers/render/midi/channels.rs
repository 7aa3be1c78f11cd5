//! Ports and channels of the players, and what is said of a channel at the beginning.
//!
//! Controllers 7 (volume) and 10 (pan) stand at the beginning of each track and do not change.

use crate::arrange::Part;
use crate::instruments::MidiSound;
use crate::narrow::Narrow;
use crate::perform::{seating, swell};

/// Numbers of the controllers of the MIDI standard: volume, pan, expression.
pub(super) const VOLUME: u8 = 7;
pub(super) const PAN: u8 = 10;
pub(super) const EXPRESSION: u8 = 11;

/// Volume, pan and expression of the channel of percussion, which drums, cymbals and their like
/// share: controller and value.
pub(super) fn of_percussion() -> [(u8, u8); 3] {
    [(VOLUME, seating::PERCUSSION_VOLUME), (PAN, seating::MIDDLE), (EXPRESSION, swell::MIDDLE)]
}

/// Where a part sounds: port and channel (from 0).
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub(super) struct Channel {
    pub(super) port: u8,
    pub(super) channel: u8,
}

/// The channel of unpitched percussion, counted from 0.
pub(super) const PERCUSSION: u8 = 9;
/// Channels of one port for players with pitch.
const CHANNELS: usize = 15;

/// A place of his own for each player with pitch; unpitched percussion on channel 10.
///
/// Where there are more than 15 players with pitch, the first of each program and then of each seat
/// come first (large sections before small ones), and those for whom the first port has no room get the channel of a player of the
/// same program, and if possible of the same seat, on a further port: a sequencer that does not
/// know ports then lets them share a channel that suits both.
pub(super) fn places(parts: &[&Part]) -> Vec<Channel> {
    let sound =
        |part: &Part| seating::sounding(part).map(|(_, program)| (program, seating::pan(part)));
    let sounds: Vec<Option<(u8, u8)>> = parts.iter().map(|part| sound(part)).collect();
    let pitched: Vec<usize> = (0..parts.len()).filter(|&index| sounds[index].is_some()).collect();
    let mut order = pitched.clone();
    if pitched.len() > CHANNELS {
        let is_first = |index: usize| !sounds[..index].contains(&sounds[index]);
        let program = |index: usize| sounds[index].map(|(program, _)| program);
        let is_first_of_program =
            |index: usize| (0..index).all(|other| program(other) != program(index));
        let players = |index: usize| std::cmp::Reverse(parts[index].player.count);
        order.sort_by_key(|&index| (!is_first_of_program(index), !is_first(index), players(index)));
        // Those who stay on the first port keep their order there.
        order[..CHANNELS].sort_unstable();
    }
    let mut places = vec![Channel { port: 0, channel: PERCUSSION }; parts.len()];
    let mut taken: Vec<Channel> = Vec::new();
    for (rank, &index) in order.iter().enumerate() {
        let free = |place: &Channel| !taken.contains(place);
        let suits = |channel: u8| {
            order
                .iter()
                .take(CHANNELS)
                .any(|&other| places[other].channel == channel && sounds[other] == sounds[index])
        };
        let first_port = if rank < CHANNELS { &[] } else { &order[..CHANNELS] };
        let program = |index: usize| sounds[index].map(|(program, _)| program);
        let alike = first_port
            .iter()
            .filter(|&&other| program(other) == program(index))
            .flat_map(|&other| {
                let channel = places[other].channel;
                (1..128).map(move |port| Channel { port, channel })
            })
            .filter(free)
            .min_by_key(|place| (place.port, !suits(place.channel), place.channel));
        let any = || {
            (0..CHANNELS * 128)
                .map(|number| {
                    let channel = (number % CHANNELS).narrow::<u8>();
                    let channel = if channel >= PERCUSSION { channel + 1 } else { channel };
                    Channel { port: (number / CHANNELS).narrow::<u8>(), channel }
                })
                .find(free)
        };
        // More players than the format has places: the last one is shared.
        let place = alike.or_else(any).unwrap_or(Channel { port: 127, channel: 15 });
        places[index] = place;
        taken.push(place);
    }
    // How many parts already sound each percussion key: two parts with one key need two ports.
    let mut same_key = [0_u8; 128];
    for (part, place) in parts.iter().zip(&mut places) {
        let mut port = 0;
        for (_, instrument) in &part.instruments {
            if let MidiSound::PercussionKey(key) = instrument.midi {
                let count = &mut same_key[usize::from(key.min(127))];
                port = port.max(*count);
                *count = (*count + 1).min(127);
            }
        }
        if place.channel == PERCUSSION {
            place.port = port;
        }
    }
    places
}

//! Where the players sit and how loud they are beside each other.

use crate::arrange::Part;
use crate::instruments::{Instrument, Loudness, MidiSound};
use crate::narrow::Narrow;

/// The middle of the platform.
pub(crate) const MIDDLE: u8 = 64;

/// The first instrument of a part that has a program of its own, and its number; `None` for players
/// of nothing but percussion.
pub(crate) fn sounding(part: &Part) -> Option<(&'static Instrument, u8)> {
    part.instruments.iter().find_map(|(_, instrument)| match instrument.midi {
        MidiSound::Program(program) => Some((*instrument, program)),
        MidiSound::PercussionKey(_) => None,
    })
}

/// Where a part sits, as the catalogue says; a player keeps his seat when he takes another instrument.
pub(crate) fn pan(part: &Part) -> u8 {
    let Some((instrument, _)) = sounding(part) else { return MIDDLE };
    let second = || part.player.line_name.ends_with("-2");
    instrument
        .seat
        .as_ref()
        .map_or(MIDDLE, |seat| seat.second.filter(|_| second()).unwrap_or(seat.pan))
}

/// The volume of the loudest class.
const LOUDEST: f64 = 112.0;
/// The volume of unpitched percussion.
pub(crate) const PERCUSSION_VOLUME: u8 = 103;

/// How loud a part is beside the others, where all have the same dynamic.
///
/// Rimsky-Korsakov, Principles of Orchestration, tr. Agate, 1922, ch. I: in forte a trumpet equals
/// two horns or four woodwind, a department of strings two woodwind; in piano all are about
/// equal. What stands here is the middle between the two in decibels, a department taken as large as
/// in the column of small orchestras of that chapter's table; each doubling of players adds 3
/// decibels. Plucked sounds are set lower, percussion a little (our heuristic). A volume of v is
/// 40 log10(v/127) decibels (General MIDI Level 2 and the guidelines of Level 1, from memory).
pub(crate) fn volume(part: &Part) -> u8 {
    let Some((instrument, _)) = sounding(part) else { return PERCUSSION_VOLUME };
    let below = match instrument.loudness {
        Loudness::HeavyBrass => 0.0,
        Loudness::Horn | Loudness::Percussion => -1.5,
        Loudness::Woodwind => -3.0,
        Loudness::StringDepartment => -1.5,
        Loudness::Plucked => -4.5,
        Loudness::Voice => -3.0,
    };
    let players = f64::from(part.player.count.max(1));
    let section = instrument.section.as_ref().map_or(1.0, |section| f64::from(section.small));
    let above = 10.0 * (players / section).log10();
    let volume = LOUDEST * 10_f64.powf((below + above) / 40.0);
    volume.round().clamp(1.0, 127.0).narrow::<u8>()
}

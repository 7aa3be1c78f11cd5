//! What the left hand reaches, how a section divides, and time for the bow.

pub mod divisi;
pub mod double_stop;
pub mod no_time_to_change;

use crate::instruments::Instrument;
use crate::music::Pitch;

/// How far the left hand reaches across, in semitones, in the low positions. Our heuristic, after
/// the common practice of fingering.
fn reach(instrument: &Instrument) -> i32 {
    match instrument.id.as_str() {
        "violin" => 7,
        "viola" => 6,
        "cello" => 4,
        _ => 2,
    }
}

/// Can one hand stop these notes (from the lowest up) on neighbouring strings at once?
///
/// Open strings need no finger. Up to two notes are held together; three and four are broken, and
/// need neighbouring strings all the same.
fn one_hand(instrument: &Instrument, era: i32, pitches: &[Pitch]) -> bool {
    let Some(row) = instrument.open_strings(era) else { return true };
    let strings: Vec<i32> = row.strings.iter().map(|pitch| pitch.midi()).collect();
    let notes: Vec<i32> = pitches.iter().map(|pitch| pitch.midi()).collect();
    if notes.len() > strings.len() {
        return false;
    }
    let reach = reach(instrument);
    (0..=strings.len() - notes.len()).any(|lowest| {
        let stopped: Vec<i32> =
            notes.iter().zip(&strings[lowest..]).map(|(note, string)| note - string).collect();
        let fingers = stopped.iter().copied().filter(|up| *up != 0);
        stopped.iter().all(|up| *up >= 0)
            && fingers.clone().max().unwrap_or(0) - fingers.min().unwrap_or(0) <= reach
    })
}

//! MIDI files can be read, and every note that begins ends.

use super::desk_of;
use ripieno::narrow::Narrow;
use std::collections::BTreeMap;

use midly::{MidiMessage, Smf, Timing, TrackEventKind};
use ripieno::arrange::{Arrangement, Part, SoundRef};
use ripieno::instruments::MidiSound;
use ripieno::music::Time;
use ripieno::render::Output;
use ripieno::resolve::Mark;

/// Ticks at which a note begins and ends, and its key.
type Struck = (i64, i64, u8);

pub(super) fn is_sound(output: &Output, arrangement: &Arrangement) -> Result<(), String> {
    let smf = Smf::parse(&output.bytes).map_err(|error| error.to_string())?;
    let Timing::Metrical(quarter) = smf.header.timing else {
        return Err("time in seconds".to_string());
    };
    let parts: Vec<&Part> = if output.path.starts_with("parts/") {
        let desk = desk_of(output, arrangement)?;
        arrangement.parts[desk].iter().map(|part| &**part).collect()
    } else {
        arrangement.parts.iter().map(|part| &**part).collect()
    };
    if smf.tracks.len() != parts.len() + 1 {
        return Err(format!("{} tracks for {} parts", smf.tracks.len(), parts.len()));
    }
    let once = arrangement.piece.form.bars.iter().all(|bar| !bar.repeat_ends);
    let mut length = None;
    for (index, track) in smf.tracks.iter().enumerate() {
        let (struck, end) = struck(track)?;
        if *length.get_or_insert(end) != end {
            return Err(format!("track {index} ends at {end}"));
        }
        let Some(part) = index.checked_sub(1).map(|place| parts[place]) else { continue };
        if !once || !is_plain(part) {
            continue;
        }
        let expected = expected(part, arrangement.piece.form.end(), quarter.as_int().into());
        // Players leave notes early, but never late.
        let is_played = |(played, written): (&Struck, &Struck)| {
            (played.0, played.2) == (written.0, written.2) && played.1 <= written.1
        };
        if struck.len() != expected.len() || !struck.iter().zip(&expected).all(is_played) {
            return Err(format!("{} has {struck:?}, not {expected:?}", part.player.id));
        }
    }
    Ok(())
}

/// The notes of a track in order, and where it ends.
fn struck(track: &[midly::TrackEvent]) -> Result<(Vec<Struck>, i64), String> {
    let mut now = 0;
    let mut sounding = BTreeMap::new();
    let mut struck = Vec::new();
    for event in track {
        now += i64::from(event.delta.as_int());
        let TrackEventKind::Midi { channel, message } = event.kind else { continue };
        match message {
            MidiMessage::NoteOn { key, vel } => {
                let before = sounding.insert((channel, key), now);
                if vel == 0 || before.is_some() {
                    return Err(format!("{key} begins at {now} while it sounds"));
                }
            }
            MidiMessage::NoteOff { key, .. } => match sounding.remove(&(channel, key)) {
                Some(from) if from < now => struck.push((from, now, key.as_int())),
                _ => return Err(format!("{key} ends at {now} but does not sound")),
            },
            _ => {}
        }
    }
    if !sounding.is_empty() {
        return Err(format!("{sounding:?} never ends"));
    }
    struck.sort_unstable_by_key(|(from, _, key)| (*from, *key));
    Ok((struck, now))
}

/// Is every note struck where it is written, once?
fn is_plain(part: &Part) -> bool {
    const PLAYED_OUT: [Mark; 4] = [Mark::Trill, Mark::Mordent, Mark::Turn, Mark::Arpeggio];
    part.notes.iter().all(|note| {
        let attached = &note.attached();
        attached.graces.is_none()
            && attached.tremolo == 0
            && PLAYED_OUT.iter().all(|mark| !attached.marks.has(*mark))
    })
}

fn expected(part: &Part, end: Time, quarter: i64) -> Vec<Struck> {
    let ticks = |time: Time| {
        let (numerator, denominator) = time.fraction();
        (2 * numerator * 4 * quarter + denominator).div_euclid(2 * denominator)
    };
    let mut expected = Vec::new();
    for note in part.notes.iter().filter(|note| note.start() < end) {
        let (from, to) = (ticks(note.start()), ticks(note.end().min(end)));
        let keys = match (part.instrument_at(note.start()).midi, note.sound()) {
            (MidiSound::PercussionKey(key), _) => vec![key],
            (_, SoundRef::Pitches(pitches)) => {
                pitches.iter().map(|pitch| key(pitch.midi())).collect()
            }
            (_, SoundRef::Stroke) => vec![60],
        };
        expected.extend(keys.into_iter().filter(|_| from < to).map(|key| (from, to, key)));
    }
    expected.sort_unstable_by_key(|(from, _, key)| (*from, *key));
    expected.dedup();
    expected
}

/// A key of the format; what lies above it is played octaves lower.
fn key(midi: i32) -> u8 {
    let above = (midi - 127).max(0);
    (midi - 12 * (above + 11).div_euclid(12)).narrow::<u8>()
}

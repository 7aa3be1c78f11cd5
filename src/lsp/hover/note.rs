//! A note: where it stands, how fast it is, and in each scoring who plays it, what is read there,
//! and how loud it is against the rest.

use crate::narrow::Narrow;
use std::fmt::Write;

use super::{Hover, notes_of};
use crate::arrange::{Arrangement, PackedNote, Part, SoundRef};
use crate::check::{Heard, heard_at};
use crate::instruments::PartialClass;
use crate::music::{Pitch, Time};
use crate::notes::{NoteAt, note_at, sounded};
use crate::resolve::{Clock, Dynamic, HarmonyEvent, Piece};
use crate::session::Session;
use crate::workspace::At;

pub(super) fn hover(session: &mut Session, at: At) -> Option<Hover> {
    let found = note_at(session, at)?;
    let NoteAt { piece, note, home, place } = &found;
    let mut text = format!("**{}**", pitches(SoundRef::from(&note.sound)));
    if piece.form.bars.is_empty() {
        let _ = write!(text, " · {home}");
        return Some(Hover { text, place: place.clone() });
    }
    let _ = writeln!(text, " · {} · {} · {home}", piece.form.place(note.start), note.length);
    let clock = Clock::new(&piece.form);
    let seconds = clock.seconds_at(note.start + note.length) - clock.seconds_at(note.start);
    let _ = write!(text, "\n{}", how_fast(seconds));
    if let Some(chord) = chord_at(piece, &session.harmony(at.root), note.start) {
        let _ = write!(text, " · chord {chord}");
    }
    text.push('\n');
    for arrangement in session.arrangements(at.root) {
        let heard = heard_at(&arrangement, note.start);
        let players: Vec<String> = sounded(&arrangement, note)
            .map(|(player, part, sounding)| {
                let own = heard.iter().find(|heard| heard.player == player);
                who(&arrangement, part, sounding, SoundRef::from(&note.sound), own, &heard)
            })
            .collect();
        if !players.is_empty() {
            let _ = write!(text, "\n`{}`\n\n", arrangement.scoring.name);
            players.iter().for_each(|player| text.push_str(&format!("- {player}\n")));
        }
    }
    Some(Hover { text, place: place.clone() })
}

/// "D5" or "D5 F5 A5".
fn pitches(sound: SoundRef) -> String {
    match sound {
        SoundRef::Stroke => "x".to_string(),
        SoundRef::Pitches(pitches) => named(pitches),
    }
}

fn named(pitches: &[Pitch]) -> String {
    pitches.iter().map(ToString::to_string).collect::<Vec<_>>().join(" ")
}

/// "0.31 seconds, 3.2 such notes a second".
fn how_fast(seconds: f64) -> String {
    if seconds <= 0.0 {
        return "no time at all".to_string();
    }
    if seconds >= 1.0 {
        return format!("{seconds:.1} seconds");
    }
    format!("{seconds:.2} seconds, {:.1} such notes a second", 1.0 / seconds)
}

fn chord_at(piece: &Piece, harmony: &[HarmonyEvent], time: Time) -> Option<String> {
    let after = harmony.partition_point(|event| event.start <= time);
    let event = harmony[..after].last().filter(|event| time < event.start + event.length)?;
    let inferred = if piece.harmony.is_empty() { ", inferred" } else { "" };
    Some(format!("{} ({}{inferred})", event.chord, notes_of(&event.chord)))
}

/// "Horn 1 (melody): sounds D4; written C5; partial 8; mf, 20% of the strength of all who sound".
fn who(
    arrangement: &Arrangement,
    part: &Part,
    sounding: &PackedNote,
    source: SoundRef,
    own: Option<&Heard>,
    heard: &[Heard],
) -> String {
    let mut facts = Vec::new();
    if sounding.sound() != source {
        facts.push(format!("sounds {}", pitches(sounding.sound())));
    }
    let read: Vec<Pitch> = sounding
        .sound()
        .pitches()
        .iter()
        .map(|pitch| part.written(*pitch, sounding.start()))
        .collect();
    if read != sounding.sound().pitches() {
        facts.push(format!("written {}", named(&read)));
    }
    let series = part.instrument_at(sounding.start()).natural.as_ref();
    if let (Some(series), [written]) = (series, &read[..]) {
        facts.push(match series.classify(*written, arrangement.era) {
            PartialClass::OpenInTune(partial) => format!("partial {partial}"),
            PartialClass::OpenOutOfTune(partial) => format!("partial {partial}, out of tune"),
            PartialClass::Stopped => "stopped by the hand".to_string(),
            PartialClass::NotAvailable => "not a note of the instrument".to_string(),
        });
    }
    if let Some(own) = own {
        let all: f64 = heard.iter().map(|heard| heard.strength).sum();
        let nearest = (own.degree.round().clamp(0.0, 7.0)).narrow::<usize>();
        let mut loud = Dynamic::WORDS[nearest].1.to_string();
        if own.strength > 0.0 && heard.len() > 1 {
            let share = (100.0 * own.strength / all).round();
            loud = format!("{loud}, {share}% of the strength of all who sound");
        }
        facts.push(loud);
    }
    let role = sounding.role().word();
    format!("{} ({role}): {}", part.player.name, facts.join("; "))
}

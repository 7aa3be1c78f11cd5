//! Horns and trumpets without valves, and the drums that go with them.

pub mod drum_not_tuned;
pub mod no_partial;
pub mod no_time_to_change;
pub mod out_of_tune;
pub mod risky_note;
pub mod second_player_high;
pub mod stopped;

use super::super::alternatives::all_pitches;
use super::super::context::Context;
use super::super::passage::Passage;
use crate::arrange::Part;
use crate::diagnostics::Diagnostic;
use crate::instruments::{PartialClass, Tuning};
use crate::music::{Pitch, Time};

/// What each pitch of a note is on the crook in force, the worst first.
fn worst(cx: &Context, part: &Part, index: usize) -> Option<(Pitch, PartialClass)> {
    let note = &part.notes[index];
    let series = part.instrument_at(note.start).natural.as_ref()?;
    all_pitches(note)
        .map(|pitch| (pitch, series.classify(part.written(pitch, note.start), cx.era)))
        .max_by_key(|(_, class)| *class)
}

/// Crooks on which all notes of a passage are open and in tune, as ways out.
fn other_crooks<T>(cx: &Context, passage: &Passage<T>) -> Vec<String> {
    let instrument = passage.part.instrument_at(passage.first().start);
    let Some(series) = &instrument.natural else { return Vec::new() };
    let own = passage.part.tuning_at(passage.first().start).map(|tuning| &tuning.name);
    let fitting: Vec<&str> = instrument
        .crooks
        .iter()
        .filter(|crook| Some(&crook.name) != own)
        .filter(|crook| {
            passage.notes().flat_map(all_pitches).all(|pitch| {
                let written = pitch.transposed_or_respelled(-crook.transposition);
                matches!(series.classify(written, cx.era), PartialClass::OpenInTune(_))
            })
        })
        .map(|crook| crook.name.as_str())
        .take(3)
        .collect();
    if fitting.is_empty() {
        return Vec::new();
    }
    vec![format!("take the crook {}, on which all of it is open", fitting.join(" or "))]
}

/// Adds the change of crook that makes everything that the player has open and in tune, if there
/// is one.
fn with_crook_fix<T>(cx: &Context, passage: &Passage<T>, finding: Diagnostic) -> Diagnostic {
    let part = passage.part;
    let instrument = part.first_instrument();
    let (Some(series), [(_, own)], [_]) =
        (&instrument.natural, &part.tunings[..], &part.instruments[..])
    else {
        return finding;
    };
    let open = |crook: &Tuning, part: &Part| {
        part.notes.iter().flat_map(all_pitches).all(|pitch| {
            let written = pitch.transposed_or_respelled(-crook.transposition);
            matches!(series.classify(written, cx.era), PartialClass::OpenInTune(_))
        })
    };
    let mut others = instrument.crooks.iter().filter(|crook| crook.name != own.name);
    let Some(crook) = others.find(|crook| open(crook, part)) else { return finding };
    let mut desk = cx.parts().filter(|(_, p)| p.player.line_name == part.player.line_name);
    let who =
        if desk.all(|(_, p)| open(crook, p)) { &part.player.line_name } else { &part.player.id };
    finding.with_fix(
        format!("take the {} crook from the beginning", crook.name),
        cx.line_span(passage.line).after(),
        format!(
            "
  {who} takes crook {}",
            crook.name
        ),
        false,
    )
}

/// The open notes in tune just below and above a sounding pitch, sounding.
fn neighbours(part: &Part, pitch: Pitch, time: Time) -> Vec<Pitch> {
    let Some(series) = &part.instrument_at(time).natural else { return Vec::new() };
    let rank = if part.player.is_second() {
        crate::instruments::PlayerRank::Second
    } else {
        crate::instruments::PlayerRank::First
    };
    let way = part.transposition_at(time);
    let open: Vec<Pitch> = series
        .open_notes(rank)
        .filter(|note| note.in_tune)
        .map(|note| note.written.transposed_or_respelled(way))
        .collect();
    let below = open.iter().rev().find(|p| p.midi() < pitch.midi());
    let above = open.iter().find(|p| p.midi() > pitch.midi());
    below.into_iter().chain(above).copied().collect()
}

/// "take D4 or F#4, the nearest open notes", as a way out.
fn nearest(part: &Part, pitch: Pitch, time: Time) -> Option<String> {
    let open: Vec<String> = neighbours(part, pitch, time).iter().map(ToString::to_string).collect();
    (!open.is_empty())
        .then(|| format!("take {} (sounding), the nearest open notes", open.join(" or ")))
}

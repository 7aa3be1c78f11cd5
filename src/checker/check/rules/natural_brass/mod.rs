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
use crate::arrange::{PackedNote, Part};
use crate::diagnostics::Diagnostic;
use crate::instruments::{Instrument, Loudness, NaturalSeries, PartialClass, Tuning};
use crate::music::{Pitch, Time};

/// The highest partial that virtuosi of the clarino reached (Altenburg, 1795, from memory).
const HIGHEST: u8 = 20;
/// Year before which the first trumpet is a clarino player.
const CLARINO: i32 = 1760;

/// What each pitch of a note is on the crook in force, the worst first.
fn worst(cx: &Context, part: &Part, index: usize) -> Option<(Pitch, PartialClass)> {
    let note = &part.notes[index];
    let series = part.instrument_at(note.start()).natural.as_ref()?;
    all_pitches(note)
        .map(|pitch| (pitch, classify(series, part.written(pitch, note.start()), cx.era)))
        .max_by_key(|(_, class)| *class)
}

/// What a written note is, the highest partials of the clarino among them: how high one may go is
/// a matter of the compass.
fn classify(series: &NaturalSeries, written: Pitch, year: i32) -> PartialClass {
    let top = series.first.1.max(series.second.1);
    let is_it = |partial: &u8| series.written(*partial).is_some_and(|p| p.midi() == written.midi());
    match (top + 1..=HIGHEST).find(is_it) {
        Some(partial) => PartialClass::OpenInTune(partial),
        None => series.classify(written, year),
    }
}

/// Does the part belong to a clarino player, at home on partials 8 to 16 and above?
fn clarino(cx: &Context, instrument: &Instrument) -> bool {
    cx.era < CLARINO && instrument.loudness == Loudness::HeavyBrass
}

/// Crooks on which all notes that the player has on the present one are open and in tune, or, if
/// there are none, on which those of a passage are, as ways out.
fn other_crooks<T>(cx: &Context, passage: &Passage<T>) -> Vec<String> {
    let part = passage.part;
    let instrument = part.instrument_at(passage.first().start());
    let Some(series) = &instrument.natural else { return Vec::new() };
    let own = part.tuning_at(passage.first().start()).map(|tuning| &tuning.name);
    let open = |crook: &Tuning, note: &PackedNote| {
        all_pitches(note).all(|pitch| {
            let written = pitch.transposed_or_respelled(-crook.transposition);
            matches!(series.classify(written, cx.era), PartialClass::OpenInTune(_))
        })
    };
    let others = || instrument.crooks.iter().filter(|crook| Some(&crook.name) != own);
    let on_it = |note: &&PackedNote| part.tuning_at(note.start()).map(|t| &t.name) == own;
    let names = |fitting: Vec<&Tuning>| {
        let names: Vec<&str> = fitting.iter().take(3).map(|crook| crook.name.as_str()).collect();
        (!names.is_empty()).then(|| names.join(" or "))
    };
    let all =
        others().filter(|crook| part.notes.iter().filter(on_it).all(|note| open(crook, note)));
    if let Some(names) = names(all.collect()) {
        return vec![format!("take the crook {names}, on which all of it is open")];
    }
    let these = others().filter(|crook| passage.notes().all(|note| open(crook, note)));
    let names = names(these.collect());
    names
        .map(|names| {
            format!("take the crook {names} for these notes alone, where there is time to change")
        })
        .into_iter()
        .collect()
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
        cx.line_span(passage.line).before(),
        format!("{who} takes crook {}\n  ", crook.name),
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

#[cfg(test)]
mod tests {
    use crate::check::tests::findings;
    use crate::diagnostics::Diagnostic;

    fn played(era: i32, player: &str, notes: &str, line: &str) -> Vec<Diagnostic> {
        findings(&format!(
            "piece \"Ferry\" {{ composer \"House copyist\" }}\n\
             form {{ 1 metre 4/4, key C major, tempo 1/4 at 96\n 4 end }}\n\
             voice tune {{ {notes} }}\nensemble few {{ era {era}\n {player} }}\n\
             scoring few for few {{\n {line}\n}}\n"
        ))
    }

    fn clarino(notes: &str) -> Vec<Diagnostic> {
        played(1725, "trumpet crook C", notes, "trumpet plays tune as melody solo")
    }

    #[test]
    fn a_clarino_player_has_the_partials_above_sixteen_and_lips_those_that_are_out_of_tune() {
        let scale = "1: 1/4 G5 A5 B5 C6 | 2: 1/2 D6 C6 | 3: 1/4 F5 E5 F5 G5 | 4: 1/1 C5 |";
        assert!(clarino(scale).is_empty(), "{:#?}", clarino(scale));
        let too_high = clarino("1: 1/1 G5 | 2: E6 | 3: G5 | 4: C5 |");
        assert_eq!(too_high[0].code, "compass/outside-custom", "{too_high:#?}");
    }

    #[test]
    fn each_partial_that_is_out_of_tune_is_told_with_its_own_cents() {
        let found = clarino("1: 1/1 F#5 | 2: A5 | 3: F#5 | 4: C5 |");
        assert_eq!(found.len(), 2, "{found:#?}");
        assert!(found[0].message.contains("are partial 11"), "{}", found[0].message);
        assert!(found[1].message.contains("is partial 13"), "{}", found[1].message);
    }

    #[test]
    fn a_crook_for_some_of_the_notes_is_not_said_to_open_all() {
        // On the D crook all is open but the G, and no crook has both the F sharp and the G.
        let notes = "1: 1/1 F#4 | 2: G4 | 3: D4 | 4: B4 |";
        let found = played(1740, "horn crook D", notes, "horn plays tune as harmony");
        let told = found.iter().find_map(|f| f.help.as_ref().filter(|h| h.contains("crook")));
        assert!(told.is_some_and(|help| help.contains("for these notes alone")), "{found:#?}");
    }
}

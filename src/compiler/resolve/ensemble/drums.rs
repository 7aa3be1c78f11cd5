//! Drums: to which notes they are tuned.

use super::super::Resolver;
use crate::diagnostics::Diagnostic;
use crate::instruments::Instrument;
use crate::music::Pitch;
use crate::syntax::{PitchTree, PlayersTree};

/// Says so where as many players are engaged as there are drums, which one player strikes.
fn several_drummers(cx: &mut Resolver, line: &PlayersTree) {
    let (Some(count), false) = (&line.count, line.section) else { return };
    if count.value < 2 || line.tuned.len() != count.value as usize {
        return;
    }
    let (name, many) = (&line.name, count.value);
    let finding = Diagnostic::advice(
        "names/several-drummers",
        line.span,
        format!("This line asks for {many} players with {many} drums each."),
    );
    cx.push(
        finding
            .with_help(format!(
                "For {many} drums and one player write `{} tuned …`, without the number.",
                name.value
            ))
            .with_fix("ask for one player", name.span.after().to(count.span), "", false),
    );
}

pub(super) fn drums(cx: &mut Resolver, line: &PlayersTree, instrument: &Instrument) -> Vec<Pitch> {
    let Some(first) = line.tuned.first() else { return Vec::new() };
    if instrument.drums.is_empty() {
        cx.push(
            Diagnostic::error(
                "names/tuned",
                first.span,
                format!("The {} is not tuned to notes.", instrument.name.to_lowercase()),
            )
            .with_help("`tuned` belongs to timpani."),
        );
        return Vec::new();
    }
    several_drummers(cx, line);
    tuned_notes(cx, &line.tuned, instrument)
}

/// The notes to which drums are tuned, from the lowest up; those outside the drums' compass are
/// told.
pub(in super::super) fn tuned_notes(
    cx: &mut Resolver,
    written: &[PitchTree],
    instrument: &Instrument,
) -> Vec<Pitch> {
    // Whatever the year: what was not yet asked then is a matter for the checker.
    let sets = instrument.drum_sets.iter().flat_map(|set| &set.drums);
    let all = || instrument.drums.iter().chain(sets.clone());
    let low = all().map(|drum| drum.low).min();
    let high = all().map(|drum| drum.high).max();
    let mut notes = Vec::new();
    for pitch in written {
        let Some(octave) = pitch.octave else {
            cx.push(
                Diagnostic::error("names/tuned", pitch.span, "A drum's note needs its octave.")
                    .with_help(format!("Write for example `tuned {}3`.", pitch.name)),
            );
            continue;
        };
        let note = pitch.name.at(octave);
        if low.is_some_and(|low| note.midi() < low.midi())
            || high.is_some_and(|high| note.midi() > high.midi())
        {
            let compass: Vec<String> = all()
                .map(|drum| format!("the {} drum {} to {}", drum.name, drum.low, drum.high))
                .collect();
            cx.push(
                Diagnostic::error(
                    "natural-brass/drum-outside",
                    pitch.span,
                    format!("No drum can be tuned to {note}."),
                )
                .with_help(format!(
                    "Their compass: {}. Take the octave that fits.",
                    compass.join(", ")
                )),
            );
            continue;
        }
        notes.push(note);
    }
    notes.sort_unstable();
    notes
}

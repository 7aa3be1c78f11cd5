//! An instrument of the catalogue: its compass by era, with the source.

use std::fmt::Write;

use crate::instruments::{Instrument, Limit, Tuning};

/// All about an instrument. Of the compasses those of the era come first.
pub(super) fn tell(instrument: &Instrument, era: Option<i32>) -> String {
    tell_as(instrument, era, None)
}

/// The same of one that stands in a key or has a crook.
pub(super) fn tell_as(
    instrument: &Instrument,
    era: Option<i32>,
    tuning: Option<&Tuning>,
) -> String {
    let mut text =
        format!("**{}** (`{}`), from {}\n", instrument.name, instrument.id, instrument.from);
    if instrument.unpitched {
        text.push_str("\nIt has no pitch: write strokes (`x`).\n");
        return text;
    }
    let pitch = if instrument.compass_is_written { "written" } else { "sounding" };
    let limits =
        [(Limit::Custom, "is asked"), (Limit::Solo, "a soloist"), (Limit::Instrument, "can play")];
    if let Some(era) = era {
        let _ = writeln!(text, "\nIn {era}, {pitch} pitch:\n");
        for (limit, words) in limits {
            if let Some(compass) = instrument.compass(limit, era) {
                let _ = writeln!(
                    text,
                    "- {words} {} to {}. *{}*",
                    compass.low, compass.high, compass.source
                );
            }
        }
    }
    let _ = writeln!(
        text,
        "\nBy era, {pitch} pitch:\n\n| | years | compass | source |\n|---|---|---|---|"
    );
    for (limit, words) in limits {
        for compass in instrument.compasses.iter().filter(|compass| compass.limit == limit) {
            let to = if compass.to == 9999 { "today".to_string() } else { compass.to.to_string() };
            let _ = writeln!(
                text,
                "| {words} | {} to {to} | {} to {} | {} |",
                compass.from, compass.low, compass.high, compass.source
            );
        }
    }
    if let Some(tuning) = tuning {
        let moved = tuning.transposition;
        let c = crate::music::PitchName::new(crate::music::Letter::C, 0).at(5);
        let sounds = c.transposed_or_respelled(moved);
        let _ = writeln!(
            text,
            "\nIn {}: written {c} sounds {sounds}. *{}*",
            tuning.name, tuning.source
        );
    } else {
        for (word, tunings) in [("in", &instrument.keys), ("crook", &instrument.crooks)] {
            let names: Vec<&str> = tunings.iter().map(|tuning| tuning.name.as_str()).collect();
            if !names.is_empty() {
                let _ = writeln!(text, "\n`{word}` {}", names.join(", "));
            }
        }
    }
    if let Some(telling) = &instrument.telling {
        let _ = writeln!(
            text,
            "\nTells in a tutti from {} to {} (sounding). *{}*",
            telling.low, telling.high, telling.source
        );
    }
    text
}

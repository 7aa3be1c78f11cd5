//! Crooks and keys: in which one each player of a line stands.

use super::super::Resolver;
use crate::diagnostics::{Diagnostic, Span};
use crate::instruments::{Instrument, Tuning};
use crate::music::Interval;
use crate::syntax::{PlayersTree, Word};

/// The key or crook of each of the players of a line.
pub(super) fn tunings(
    cx: &mut Resolver,
    line: &PlayersTree,
    instrument: &'static Instrument,
    parts: u32,
) -> Vec<Option<&'static Tuning>> {
    if let (Some(first), true) = (line.crooks.first(), instrument.crooks.is_empty()) {
        cx.push(
            Diagnostic::error(
                "names/crook",
                first.span,
                format!("The {} has no crooks.", instrument.name.to_lowercase()),
            )
            .with_help("Crooks belong to horns and trumpets without valves; a key is `in Bb`."),
        );
        return Vec::new();
    }
    if !line.crooks.is_empty() {
        let found: Vec<Option<&'static Tuning>> =
            line.crooks.iter().map(|word| crook(cx, instrument, word)).collect();
        let pairs = parts.div_ceil(2) as usize;
        return match found.len() {
            1 => vec![found[0]; parts as usize],
            given if given == parts as usize => found,
            given if given == pairs => (0..parts as usize).map(|i| found[i / 2]).collect(),
            given => {
                cx.push(
                    Diagnostic::error(
                        "names/crook",
                        line.span,
                        format!("{given} crooks are named for {parts} players."),
                    )
                    .with_help("Name one crook, one for each pair, or one for each player."),
                );
                Vec::new()
            }
        };
    }
    if let Some(word) = &line.built_in {
        return vec![key(cx, instrument, word); parts as usize];
    }
    if needs_key(cx, instrument, line.name.span, parts > 1) {
        return vec![instrument.keys.first().or(instrument.crooks.first()); parts as usize];
    }
    Vec::new()
}

/// Says so where an instrument means nothing without a key or crook.
pub(in super::super) fn needs_key(
    cx: &mut Resolver,
    instrument: &Instrument,
    span: Span,
    several_players: bool,
) -> bool {
    let id = &instrument.id;
    let natural = instrument.without_valves().is_some();
    let several = instrument.keys.len() > 1 && instrument.transposition == Interval::UNISON;
    let needs = instrument.natural.is_some() || natural || several;
    if needs {
        let id = if several_players { format!("{id} 2") } else { id.clone() };
        let keys: Vec<&str> = instrument.keys.iter().map(|key| key.name.as_str()).collect();
        let help = match (instrument.natural.is_some(), natural) {
            (true, _) => {
                format!("Write for example `{id} crook D`; `ripieno advise crooks` ranks them.")
            }
            (false, true) => format!(
                "Without valves write `{id} crook D`, with valves `{id} in {}`.",
                keys.first().unwrap_or(&"F")
            ),
            (false, false) => format!(
                "Write for example `{id} in {}`; known: {}.",
                keys.first().unwrap_or(&"C"),
                keys.join(", ")
            ),
        };
        cx.push(
            Diagnostic::error(
                "names/key-missing",
                span,
                format!("Which key is the {} in?", instrument.name.to_lowercase()),
            )
            .with_help(help),
        );
    }
    needs
}

/// The crook of that name, or a finding.
pub(in super::super) fn crook(
    cx: &mut Resolver,
    instrument: &'static Instrument,
    word: &Word,
) -> Option<&'static Tuning> {
    let found = instrument.crooks.iter().find(|crook| crook.name == word.value);
    if found.is_none() {
        let (alto, basso) = (format!("{} alto", word.value), format!("{} basso", word.value));
        let both = instrument.tuning(&alto).is_some() && instrument.tuning(&basso).is_some();
        let known: Vec<&str> = instrument.crooks.iter().map(|crook| crook.name.as_str()).collect();
        cx.push(if both {
            Diagnostic::error(
                "natural-brass/no-such-crook",
                word.span,
                format!("`{}` can mean two crooks.", word.value),
            )
            .with_help(format!(
                "Write `{alto}` or `{basso}`: they lie an octave apart, and old parts disagree."
            ))
        } else {
            let finding = Diagnostic::error(
                "natural-brass/no-such-crook",
                word.span,
                format!(
                    "There is no {} crook for the {}.",
                    word.value,
                    instrument.name.to_lowercase()
                ),
            );
            // Where only one of the two octaves was built, that one is meant.
            let one = [alto, basso].into_iter().find(|name| instrument.tuning(name).is_some());
            match one {
                Some(name) => {
                    finding.with_fix(format!("write `{name}`"), word.span, name.clone(), false)
                }
                None => finding,
            }
            .with_help(format!(
                "{}Known crooks: {}.",
                german_h(&word.value),
                known.join(", ")
            ))
        });
    }
    found
}

/// What German parts call B natural.
fn german_h(name: &str) -> &'static str {
    if name.split(' ').next() == Some("H") { "German H is B. " } else { "" }
}

/// The key of that name, or a finding.
pub(in super::super) fn key(
    cx: &mut Resolver,
    instrument: &'static Instrument,
    word: &Word,
) -> Option<&'static Tuning> {
    let found = instrument.keys.iter().find(|key| key.name == word.value);
    if found.is_none() {
        let known: Vec<&str> = instrument.keys.iter().map(|key| key.name.as_str()).collect();
        let name = instrument.name.to_lowercase();
        let help = if instrument.tuning(&word.value).is_some() {
            let key = &word.value;
            format!("It has no valves; its key is that of its crook: write `crook {key}`.")
        } else if known.is_empty() && !instrument.crooks.is_empty() {
            let crooks: Vec<&str> = instrument.crooks.iter().map(|c| c.name.as_str()).collect();
            format!("It has no valves, but crooks: write `crook` and one of {}.", crooks.join(", "))
        } else if known.is_empty() {
            format!("The {name} is built in one key only: leave `in {}` out.", word.value)
        } else {
            format!("{}Known: {}.", german_h(&word.value), known.join(", "))
        };
        cx.push(
            Diagnostic::error(
                "names/key",
                word.span,
                format!("There is no {name} in {}.", word.value),
            )
            .with_help(help),
        );
    }
    found
}

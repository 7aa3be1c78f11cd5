//! The dynamics block: for everybody.

use super::form::inside;
use super::piece::{BarIndices, Bars, Direction, DirectionKind, Directions, Dynamic, Form};
use super::{Resolver, unknown};
use crate::diagnostics::Diagnostic;
use crate::music::Time;
use crate::syntax::{DynamicsLine, DynamicsTree, Position};

/// The directions, and the bars whose loudness is not certain.
pub(super) fn dynamics(cx: &mut Resolver, tree: &DynamicsTree, form: &Form) -> (Directions, Bars) {
    let mut directions = Directions::default();
    let end = form.bars.len();
    let from = |bar: u32| i32::try_from(bar).ok().and_then(|bar| form.index_of(bar)).unwrap_or(0);
    let mut unsure = Bars::new();
    for broken in &tree.broken {
        let digits = broken.value.split(|c: char| !c.is_ascii_digit()).next().unwrap_or_default();
        unsure.push(BarIndices::new(digits.parse().map_or(0, from), end));
    }
    for line in &tree.lines {
        let (before, line) = (cx.errors, line.read());
        read_line(cx, &line, form, &mut directions);
        if cx.errors_since(before) {
            unsure.push(BarIndices::new(from(line.from.bar), end));
        }
    }
    (directions.finished(), unsure)
}

fn read_line(cx: &mut Resolver, line: &DynamicsLine, form: &Form, directions: &mut Directions) {
    let Some(at) = time_of(cx, form, line.from, false) else { return };
    for said in &line.words {
        let word = said.word.value.as_str();
        let span = said.word.span;
        let kind = if said.quoted {
            DirectionKind::words(word)
        } else if let Some(dynamic) = dynamic(word) {
            DirectionKind::Dynamic(dynamic)
        } else if let Some(grows) = hairpin(word) {
            let last = line.to.unwrap_or(Position { beat: None, ..line.from });
            let Some(to) = time_of(cx, form, last, true) else { continue };
            if to <= at {
                cx.push(
                    Diagnostic::error(
                        "bars/backwards",
                        span,
                        "This hairpin ends before it begins.",
                    )
                    .with_help("Write the earlier bar first: `5..7 cresc`."),
                );
                continue;
            }
            DirectionKind::Hairpin { grows, to }
        } else {
            let mut known: Vec<&str> = Dynamic::WORDS.iter().map(|(_, word)| *word).collect();
            known.extend(["cresc", "dim"]);
            cx.push(unknown(&said.word, &known, "dynamic", word));
            continue;
        };
        directions.push(Direction { at, kind, span });
    }
}

/// The dynamic of a word of the language.
pub(super) fn dynamic(word: &str) -> Option<Dynamic> {
    Dynamic::WORDS.iter().find(|(_, known)| *known == word).map(|(dynamic, _)| *dynamic)
}

/// Whether a hairpin of that word grows.
pub(super) fn hairpin(word: &str) -> Option<bool> {
    match word {
        "cresc" => Some(true),
        "dim" => Some(false),
        _ => None,
    }
}

/// Where the bar or beat of a position that exists ends.
pub(super) fn end_of(form: &Form, position: Position) -> Option<Time> {
    let number = i32::try_from(position.bar).ok()?;
    let index = form.index_of(number)?;
    let (bar, (_, end)) = (&form.bars[index], form.times_of(form.whole(index)));
    let Some(beat) = position.beat else { return Some(end) };
    let missing = if bar.number == 0 { bar.metre.bar_length() - bar.length } else { Time::ZERO };
    Some((bar.start + bar.metre.beat() * i64::from(beat) - missing).min(end))
}

/// The time of a position: the beginning of its bar or beat, or where that ends.
pub(super) fn time_of(
    cx: &mut Resolver,
    form: &Form,
    position: Position,
    ending: bool,
) -> Option<Time> {
    let index = inside(cx, form, position.bar, position.span)?;
    let (bar, (_, last)) = (&form.bars[index], form.times_of(form.whole(index)));
    let Some(beat) = position.beat else {
        return Some(if ending { last } else { bar.start });
    };
    // Beats of a pick-up are counted from the missing beginning of its bar.
    let missing = if bar.number == 0 { bar.metre.bar_length() - bar.length } else { Time::ZERO };
    let into = bar.metre.beat() * (i64::from(beat) - 1) - missing;
    if beat == 0 || into < Time::ZERO || bar.start + into >= last {
        if form.unsure_from.is_some() {
            return None;
        }
        cx.push(
            Diagnostic::error(
                "bars/outside",
                position.span,
                format!("Bar {} has no beat {beat}.", bar.number),
            )
            .with_help(format!(
                "In {} the beats are 1 to {}.",
                bar.metre,
                bar.metre.beats()
            )),
        );
        return None;
    }
    let end = if ending { bar.metre.beat() } else { Time::ZERO };
    Some((bar.start + into + end).min(last))
}

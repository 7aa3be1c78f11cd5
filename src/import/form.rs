//! Writes the form and the harmony.

use std::fmt::Write;

use super::loss::Losses;
use super::score::{Bar, Score};
use super::signs;
use super::tuplets::is_plain;
use super::voice::{quoted, value_text, values};
use crate::music::{Chord, MetreSign, Time};

/// Writes the block of the form.
pub(super) fn form(out: &mut String, score: &Score) {
    let mut lines: Vec<(i32, i32, String)> = Vec::new();
    let number = |index: usize| score.bars[index].number;
    for (index, bar) in score.bars.iter().enumerate() {
        let mut items = Vec::new();
        if bar.metre_shown {
            items.push(match bar.metre.sign {
                MetreSign::Figures => format!("metre {}", bar.metre),
                MetreSign::Common => "metre common".to_string(),
                MetreSign::Cut => "metre cut".to_string(),
            });
        }
        if bar.key_shown {
            items.push(format!("key {}", bar.key));
        }
        if bar.number == 0 {
            items.push(format!("pick-up {}", value_text(bar.length)));
        } else if bar.length != bar.metre.bar_length() {
            items.push(format!("length {}", length_text(bar)));
        }
        if let Some(tempo) = &bar.tempo {
            items.push(signs::tempo(tempo.beat, tempo.words.as_deref()));
        }
        if let Some(mark) = &bar.mark {
            items.push(format!("mark {}", quoted(mark)));
        }
        let here = score.jumps.iter().filter(|(at, _)| *at == index);
        items.extend(here.map(|(_, sign)| sign.in_source().to_string()));
        let repeat_ends = score.repeats.iter().any(|bars| bars.after == index + 1);
        if bar.double && !repeat_ends && index + 1 < score.bars.len() {
            items.push("double-bar".to_string());
        }
        if !items.is_empty() {
            lines.push((bar.number, bar.number, items.join(", ")));
        }
    }
    for bars in &score.repeats {
        let (first, last) = (bars.first, bars.after - 1);
        let times = score.times.iter().find(|(end, _)| *end == last);
        let repeat =
            times.map_or("repeat".to_string(), |(_, times)| format!("repeat {times} times"));
        lines.push((number(first), number(last), repeat));
    }
    for (bars, ending) in &score.endings {
        let ending = match ending {
            (from, to) if from == to => format!("ending {from}"),
            (from, to) => format!("ending {from}..{to}"),
        };
        lines.push((number(bars.first), number(bars.after - 1), ending));
    }
    lines.sort_by_key(|(first, ..)| *first);
    let last = score.bars.last().map_or(1, |bar| bar.number);
    lines.push((last, last, "end".to_string()));
    let bars: Vec<String> = lines
        .iter()
        .map(
            |(first, last, _)| {
                if first == last { first.to_string() } else { format!("{first}..{last}") }
            },
        )
        .collect();
    let width = bars.iter().map(String::len).max().unwrap_or(0);
    out.push_str("form {\n");
    for (bar, (.., items)) in bars.iter().zip(&lines) {
        let _ = writeln!(out, "  {bar:width$}  {items}");
    }
    out.push_str("}\n");
}

/// A length in the unit of the metre where it is a whole number of it.
fn length_text(bar: &Bar) -> String {
    let unit = i64::from(bar.metre.unit);
    match bar.length.ratio(Time::of(1, unit)) {
        Some((count, 1)) if count <= 64 => format!("{count}/{unit}"),
        _ => bar.length.to_string(),
    }
}

/// How many bars of one chord or none stand on one line of the harmony.
const BARS_ON_A_LINE: usize = 4;

/// Writes the block of the harmony, if there is any. A chord holds until the next, or until a rest. Bars in which
/// nothing new begins share the line of the bar before.
pub(super) fn harmony(out: &mut String, score: &Score, losses: &mut Losses) {
    if score.chords.is_empty() {
        return;
    }
    out.push_str("\nharmony {\n");
    let mut held: Option<Option<Chord>> = None;
    let mut next = 0;
    let mut on_line = 0;
    for (index, bar) in score.bars.iter().enumerate() {
        let mut here: Vec<(Time, Option<Chord>)> = Vec::new();
        let before = held;
        while let Some((at, chord)) = score.chords.get(next).filter(|(at, _)| *at < bar.end()) {
            let mut at = *at - bar.start;
            if !is_plain(at) {
                losses.changed(
                    "chord symbols inside a tuplet, moved to the eighth before",
                    None,
                    index,
                );
                at = Time::EIGHTH * at.div_floor(Time::EIGHTH);
            }
            if here.last().is_some_and(|(before, _)| *before == at) {
                here.pop();
            }
            if here.last().is_none_or(|(_, before)| before != chord) {
                here.push((at, *chord));
            }
            next += 1;
        }
        match (here.first(), held) {
            (Some((at, _)), _) if *at > Time::ZERO => {
                here.insert(0, (Time::ZERO, held.flatten()));
            }
            (None, Some(held)) => here.push((Time::ZERO, held)),
            _ => {}
        }
        held = here.last().map(|(_, chord)| *chord).or(held);
        let goes_on = here.len() < 2 && held == before && on_line > 0;
        if goes_on && on_line < BARS_ON_A_LINE {
            let _ = write!(out, " {}:", bar.number);
            on_line += 1;
        } else {
            out.push_str(if index > 0 { "\n  " } else { "  " });
            let _ = write!(out, "{}:", bar.number);
            on_line = usize::from(here.len() < 2);
        }
        let symbol = |chord: &Option<Chord>| match chord {
            Some(chord) => chord.to_string(),
            None => "rest".to_string(),
        };
        let ends = here.iter().skip(1).map(|(at, _)| *at).chain([bar.length]);
        let several = here.len() > 1;
        let mut value: Option<Time> = None;
        let mut line = out.len();
        for ((at, chord), end) in here.iter().zip(ends) {
            if !several {
                let _ = write!(out, " {}", symbol(chord));
                continue;
            }
            // A chord that is longer than any value is said again.
            for length in values(end - *at) {
                if out.len() - line > signs::FULL_LINE {
                    line = out.len();
                    out.push_str("\n   ");
                }
                if value.replace(length) != Some(length) {
                    let _ = write!(out, " {}", value_text(length));
                }
                let _ = write!(out, " {}", symbol(chord));
            }
        }
        out.push_str(" |");
    }
    out.push_str("\n}\n");
}

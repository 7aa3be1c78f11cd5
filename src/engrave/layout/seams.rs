//! Where in the music lines should begin, and where a page can be turned.

use ripieno_compiler::music::Time;
use ripieno_compiler::resolve::BarLine;
use ripieno_writers::notate::{ElementKind, Sign};

use super::breaking::{Pause, Seam};
use crate::sheet::{Bar, Event, Sheet, Staff};

/// Where lines should begin: at repeats, double bars and rehearsal marks.
pub(super) fn seams(sheet: &Sheet) -> Vec<Seam> {
    let bars = &sheet.bars;
    let is_section = |n: usize| {
        let leaves = |bar: &Bar| bar.signs.iter().any(|sign| sign.stands_at_end());
        bars[n].begins_at == Time::ZERO && leaves(&bars[n - 1])
    };
    let is_seam = |n: usize| {
        let (before, bar) = (&bars[n - 1], &bars[n]);
        let divided = before.repeat_ends || bar.repeat_starts || before.line != BarLine::Plain;
        bar.begins_at == Time::ZERO
            && (divided || bar.mark.is_some() || !bar.headings.is_empty() || is_section(n))
    };
    let inner: Vec<usize> =
        (1..bars.len()).filter(|&n| is_seam(n)).map(|n| bars[n].index).collect();
    let end = bars.last().map_or(0, |bar| bar.index + bar.count as usize);
    let away = |bar: &Bar| {
        let all = inner.iter().copied().chain([0, end]);
        all.map(|seam| seam.abs_diff(bar.index)).min().filter(|_| !inner.is_empty())
    };
    let mut open = false;
    bars.iter()
        .enumerate()
        .map(|(n, bar)| {
            open = open && bar.ending_starts.is_none();
            let ending = open;
            open = (open || bar.ending_starts.is_some()) && bar.ending_ends.is_none();
            Seam { away: away(bar), section: n > 0 && is_section(n), ending }
        })
        .collect()
}

/// How long a player rests before and after the beginning of each bar, in seconds.
pub(super) fn pauses(sheet: &Sheet) -> Vec<Pause> {
    let bars = sheet.bars.len();
    let mut pauses = vec![Pause::default(); bars + 1];
    let silent = |bar: usize| sheet.staves.iter().all(|staff| staff.bars[bar].is_silent());
    let mut before: f64 = 0.0;
    for (bar, pause) in pauses.iter_mut().enumerate().take(bars) {
        // Between movements everybody turns, unless the next one follows at once.
        let attacca = bar > 0 && sheet.bars[bar - 1].signs.contains(&Sign::Attacca);
        if bar > 0 && !sheet.bars[bar].headings.is_empty() && !attacca {
            before += BETWEEN_MOVEMENTS;
        }
        // Within a bar nobody turns.
        pause.before = if sheet.bars[bar].begins_at > Time::ZERO { 0.0 } else { before };
        let pace = sheet.bars[bar].pace;
        let quarters = |time: Time| time.to_f64() * 4.0;
        if silent(bar) {
            before += quarters(sheet.bars[bar].length) * pace;
        } else {
            before = quarters(edge_rest(sheet, bar, true)) * pace;
        }
    }
    let mut after = 0.0;
    for bar in (0..bars).rev() {
        let pace = sheet.bars[bar].pace;
        let quarters = |time: Time| time.to_f64() * 4.0;
        if silent(bar) {
            after += quarters(sheet.bars[bar].length) * pace;
        } else {
            after = quarters(edge_rest(sheet, bar, false)) * pace;
        }
        pauses[bar].after = if sheet.bars[bar].begins_at > Time::ZERO { 0.0 } else { after };
    }
    pauses
}

/// Seconds between two movements in which a page can be turned. Our heuristic.
const BETWEEN_MOVEMENTS: f64 = 5.0;

/// Rest at the end (or the beginning) of a bar that all staves share.
fn edge_rest(sheet: &Sheet, bar: usize, end: bool) -> Time {
    let length = sheet.bars[bar].length;
    let rest = |staff: &Staff| {
        let events = staff.bars[bar].voices.iter().flat_map(|voice| &voice.events);
        let notes = events.filter(|event| {
            !event.element.cue && matches!(event.element.kind, ElementKind::Note(_))
        });
        let end_of = |event: &Event| (event.element.at + event.element.length).min(length);
        let notes = notes.map(|event| (event.element.at, end_of(event)));
        if end { notes.map(|(_, to)| length - to).min() } else { notes.map(|(from, _)| from).min() }
            .unwrap_or(length)
    };
    sheet.staves.iter().map(rest).min().unwrap_or(Time::ZERO)
}

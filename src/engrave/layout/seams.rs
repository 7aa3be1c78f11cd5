//! Where in the music lines should begin, and where a page can be turned.

use ripieno_compiler::music::Time;
use ripieno_compiler::resolve::BarLine;
use ripieno_writers::notate::Sign;

use super::breaking::{Pause, Seam};
use super::survey::Surveyed;
use crate::sheet::{Bar, Sheet};

/// Where lines should begin: at repeats, double bars and rehearsal marks; and what they tear.
pub(super) fn seams(sheet: &Sheet, surveyed: &[Surveyed]) -> Vec<Seam> {
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
    let mut all: Vec<usize> = vec![0];
    all.extend((1..bars.len()).filter(|&n| is_seam(n)).map(|n| bars[n].index));
    let divided = all.len() > 1;
    all.push(bars.last().map_or(0, |bar| bar.index + bar.count as usize));
    let away = |bar: &Bar| {
        let next = all.partition_point(|seam| *seam < bar.index);
        let nearest = all[next.saturating_sub(1)..].iter().take(2);
        nearest.map(|seam| seam.abs_diff(bar.index)).min().filter(|_| divided)
    };
    let mut open = false;
    bars.iter()
        .enumerate()
        .map(|(n, bar)| {
            open = open && bar.ending_starts.is_none();
            let ending = open;
            open = (open || bar.ending_starts.is_some()) && bar.ending_ends.is_none();
            Seam {
                away: away(bar),
                section: n > 0 && is_section(n),
                ending,
                torn: surveyed[n].torn,
            }
        })
        .collect()
}

/// How long a player rests before and after the beginning of each bar, in seconds.
pub(super) fn pauses(sheet: &Sheet, surveyed: &[Surveyed]) -> Vec<Pause> {
    let bars = sheet.bars.len();
    let mut pauses = vec![Pause::default(); bars + 1];
    let silent = |bar: usize| surveyed[bar].silent.iter().all(|silent| *silent);
    let mut before: f64 = 0.0;
    let mut attacca = false;
    for (bar, pause) in pauses.iter_mut().enumerate().take(bars) {
        // Between movements everybody turns, unless the next one follows at once.
        attacca |= bar > 0 && sheet.bars[bar - 1].signs.contains(&Sign::Attacca);
        if bar > 0 && !sheet.bars[bar].headings.is_empty() {
            if !attacca {
                before += BETWEEN_MOVEMENTS;
            }
            attacca = false;
        }
        // Within a bar nobody turns.
        pause.before = if sheet.bars[bar].begins_at > Time::ZERO { 0.0 } else { before };
        let pace = sheet.bars[bar].pace;
        let quarters = |time: Time| time.to_f64() * 4.0;
        if silent(bar) {
            before += quarters(sheet.bars[bar].length) * pace;
        } else {
            before = quarters(surveyed[bar].rests.1) * pace;
        }
    }
    let mut after = 0.0;
    for bar in (0..bars).rev() {
        let pace = sheet.bars[bar].pace;
        let quarters = |time: Time| time.to_f64() * 4.0;
        if silent(bar) {
            after += quarters(sheet.bars[bar].length) * pace;
        } else {
            after = quarters(surveyed[bar].rests.0) * pace;
        }
        pauses[bar].after = if sheet.bars[bar].begins_at > Time::ZERO { 0.0 } else { after };
    }
    pauses
}

/// Seconds between two movements in which a page can be turned. Our heuristic.
const BETWEEN_MOVEMENTS: f64 = 5.0;

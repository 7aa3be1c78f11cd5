//! Only the parts and bars that are wanted.

use super::Error;
use super::loss::Losses;
use super::names::slug;
use super::score::{Says, Score};
use crate::music::Time;
use crate::resolve::BarIndices;
use ripieno_compiler::diagnostics::BarNumbers;

/// Where what is left stood before.
pub(super) struct Kept {
    /// For each part that is left, its index before.
    pub(super) parts: Vec<usize>,
    /// Index of the first bar that is left.
    pub(super) first_bar: usize,
}

/// Leaves out the parts that are not named; none named are all.
pub(super) fn parts(score: &mut Score, wanted: &[String]) -> Result<Vec<usize>, Error> {
    let count = score.parts.len();
    if wanted.is_empty() {
        return Ok((0..count).collect());
    }
    let small = |text: &str| text.trim().to_lowercase();
    let mut kept: Vec<usize> = Vec::new();
    for name in wanted {
        let found: Vec<usize> = (0..count)
            .filter(|index| {
                let part = &score.parts[*index].name;
                small(part) == small(name) || slug(part).is_some_and(|it| Some(it) == slug(name))
            })
            .collect();
        // A number counts the parts from the top.
        let by_number = name.parse::<usize>().ok().filter(|n| (1..=count).contains(n));
        match (found.is_empty(), by_number) {
            (false, _) => kept.extend(found),
            (true, Some(number)) => kept.push(number - 1),
            (true, None) => {
                let known: Vec<String> = score
                    .parts
                    .iter()
                    .enumerate()
                    .map(|(index, part)| match part.name.as_str() {
                        "" => format!("{} (without a name)", index + 1),
                        name => format!("“{name}”"),
                    })
                    .collect();
                return Err(Error::new(format!(
                    "the file has no part “{name}”; it has {}",
                    known.join(", ")
                )));
            }
        }
    }
    kept.sort_unstable();
    kept.dedup();
    let mut index = 0;
    score.parts.retain(|_| {
        index += 1;
        kept.binary_search(&(index - 1)).is_ok()
    });
    Ok(kept)
}

/// Leaves out the bars before the first and after the last that are wanted, by their numbers in
/// the file; gives back the index of the first.
pub(super) fn bars(
    score: &mut Score,
    BarNumbers { first, last }: BarNumbers,
    losses: &mut Losses,
) -> Result<usize, Error> {
    let number = |index: usize| {
        let bar = &score.bars[index];
        bar.label.parse::<i32>().unwrap_or(bar.number)
    };
    let wanted = |index: &usize| (first..=last).contains(&number(*index));
    let from = (0..score.bars.len()).find(wanted);
    let to = (0..score.bars.len()).rev().find(wanted);
    let (Some(from), Some(to)) = (from, to) else {
        let ends = (number(0), number(score.bars.len() - 1));
        return Err(Error::new(format!(
            "the file has no bars {first} to {last}; it has bars {} to {}",
            ends.0, ends.1
        )));
    };
    let (begin, end) = (score.bars[from].start, score.bars[to].end());
    score.bars.truncate(to + 1);
    score.bars.drain(..from);
    let pick_up = score.bars.len() > 1 && score.bars[0].length < score.bars[0].metre.bar_length();
    for (bar, number) in score.bars.iter_mut().zip(i32::from(!pick_up)..) {
        bar.start -= begin;
        bar.number = number;
    }
    score.bars[0].metre_shown = true;
    score.bars[0].key_shown = true;
    let asked = BarIndices::new(from, to + 1);
    let inside = |bars: BarIndices| bars.and(asked) == bars;
    for bars in &score.repeats {
        if !inside(*bars) && bars.meets(asked) {
            losses.left_out(
                "repeats that reach beyond the bars that were asked for",
                None,
                bars.first.max(from),
            );
        }
    }
    score.repeats.retain(|bars| inside(*bars));
    let repeats = score.repeats.clone();
    // A further ending needs those before it.
    let mut before: Option<usize> = None;
    score.endings.retain(|(bars, (first, _))| {
        let fits = match first {
            1 => repeats.iter().any(|repeat| repeat.after == bars.after),
            _ => before == Some(bars.first),
        };
        let kept = inside(*bars) && fits;
        before = kept.then_some(bars.after);
        kept
    });
    score.times.retain(|(last, _)| repeats.iter().any(|repeat| repeat.after == last + 1));
    score.times.iter_mut().for_each(|(last, _)| *last -= from);
    if score.jumps.iter().any(|(index, _)| asked.contains(*index)) {
        losses.left_out("jumps, which speak of the whole piece", None, from);
    }
    score.jumps.clear();
    let moved = |bars: &mut BarIndices| {
        *bars = BarIndices::new(bars.first - from, bars.after - from);
    };
    score.repeats.iter_mut().for_each(moved);
    score.endings.iter_mut().map(|(bars, _)| bars).for_each(moved);
    score.chords.retain(|(at, _)| *at >= begin && *at < end);
    score.chords.iter_mut().for_each(|(at, _)| *at -= begin);
    cut(score, begin, end);
    Ok(from)
}

fn cut(score: &mut Score, begin: Time, end: Time) {
    for line in score.parts.iter_mut().flat_map(|part| &mut part.lines) {
        line.notes.retain(|note| note.end > begin && note.start < end);
        for note in &mut line.notes {
            note.start = note.start.max(begin) - begin;
            note.end = note.end.min(end) - begin;
        }
        line.spans.retain(|span| span.start >= begin && span.end <= end);
        for span in &mut line.spans {
            (span.start, span.end) = (span.start - begin, span.end - begin);
        }
        line.directions.retain(|direction| direction.at >= begin && direction.at < end);
        for direction in &mut line.directions {
            direction.at -= begin;
            if let Says::Hairpin { to, .. } = &mut direction.says {
                *to = (*to).min(end) - begin;
            }
        }
        // Slurs that lose an end are no slurs.
        let mut open: Option<usize> = None;
        for index in 0..line.notes.len() {
            if line.notes[index].slur_ends && open.take().is_none() {
                line.notes[index].slur_ends = false;
            }
            if line.notes[index].slur_starts {
                open = Some(index);
            }
        }
        if let Some(open) = open {
            line.notes[open].slur_starts = false;
        }
    }
}

//! Brings a fuller score to a melody and a bass, perhaps with a filler: a proposal to begin from.
//!
//! In each bar every line is weighed: the melody is high, moves and varies; the bass is low. The
//! best way through the bars is taken, where a change of line costs something, so that the tune is
//! followed from part to part but does not flit about (all weights are our heuristic; that the top
//! line mostly carries the tune: Alexandra Uitdenbogerd and Justin Zobel, "Manipulation of music
//! for melody matching", 1998, from memory).

use super::score::{Bar, Note, Part, PartLine, Score};
use crate::music::Interval;
use crate::narrow::Narrow;

/// What a change to another line costs, in the unit of the weights: semitones of height.
const CHANGE: f64 = 9.0;
/// What a bar of silence costs.
const SILENCE: f64 = 60.0;

/// Reduces a score; gives back which part carries the melody from which bar on, as text.
pub(super) fn reduce(score: &mut Score, filler: bool) -> Vec<String> {
    let lines: Vec<(usize, PartLine)> = score
        .parts
        .iter()
        .enumerate()
        .flat_map(|(part, of_part)| of_part.lines.iter().map(move |line| (part, line.clone())))
        .filter(|(_, line)| line.stroke.is_none() && !line.notes.is_empty())
        .collect();
    if lines.is_empty() {
        return Vec::new();
    }
    let features: Vec<Vec<Option<Feature>>> =
        lines.iter().map(|(_, line)| features(line, &score.bars)).collect();
    let melody = path(&features, &|feature| {
        f64::from(feature.top) + feature.motion.min(8.0) + 2.0 * feature.variety
    });
    let bass = path(&features, &|feature| -f64::from(feature.bottom));
    let mut roles = vec![("upper", follow(&lines, &melody, &score.bars, true))];
    if filler {
        let rest: Vec<Vec<Option<Feature>>> = features
            .iter()
            .enumerate()
            .map(|(line, bars)| {
                let free = |bar: &usize| melody[*bar] != line && bass[*bar] != line;
                (0..bars.len()).map(|bar| bars[bar].filter(|_| free(&bar))).collect()
            })
            .collect();
        let middle = path(&rest, &|feature| f64::from(feature.top) / 2.0 + feature.motion.min(8.0));
        let mut line = follow(&lines, &middle, &score.bars, true);
        line.notes.retain(|note| {
            let bar = score.bars.partition_point(|bar| bar.end() <= note.start);
            rest[middle[bar]][bar].is_some()
        });
        roles.push(("middle", line));
    }
    roles.push(("bass", follow(&lines, &bass, &score.bars, false)));
    let told = tell(score, &lines, &melody);
    score.parts = roles
        .into_iter()
        .map(|(name, line)| Part {
            name: name.to_string(),
            instruments: Vec::new(),
            staves: 1,
            transposition: Interval::UNISON,
            has_chords: false,
            lines: vec![line],
        })
        .collect();
    told
}

/// What a line is like in a bar.
#[derive(Clone, Copy, Debug)]
struct Feature {
    /// Mean height of the highest and of the lowest notes, in semitones.
    top: i32,
    bottom: i32,
    /// How many notes begin.
    motion: f64,
    /// How many of them are different: 1 all.
    variety: f64,
}

fn features(line: &PartLine, bars: &[Bar]) -> Vec<Option<Feature>> {
    let mut first = 0;
    bars.iter()
        .map(|bar| {
            while line.notes.get(first).is_some_and(|note| note.end <= bar.start) {
                first += 1;
            }
            let here: Vec<&Note> =
                line.notes[first..].iter().take_while(|note| note.start < bar.end()).collect();
            let heights = |of: fn(&Note) -> Option<i32>| -> Option<i32> {
                let all: Vec<i32> = here.iter().filter_map(|note| of(note)).collect();
                (!all.is_empty()).then(|| all.iter().sum::<i32>() / all.len().narrow::<i32>())
            };
            let top = heights(|note| note.pitches.last().map(|p| p.midi()))?;
            let bottom = heights(|note| note.pitches.first().map(|p| p.midi()))?;
            let mut kinds: Vec<i32> =
                here.iter().filter_map(|note| note.pitches.last().map(|p| p.midi())).collect();
            let count = kinds.len().max(1) as f64;
            kinds.sort_unstable();
            kinds.dedup();
            let motion = here.iter().filter(|note| note.start >= bar.start).count() as f64;
            Some(Feature { top, bottom, motion, variety: kinds.len() as f64 / count })
        })
        .collect()
}

/// The best line for each bar.
fn path(features: &[Vec<Option<Feature>>], weight: &dyn Fn(&Feature) -> f64) -> Vec<usize> {
    let bars = features.first().map_or(0, Vec::len);
    let lines = features.len();
    let of = |line: usize, bar: usize| features[line][bar].as_ref().map_or(-SILENCE, weight);
    let mut best: Vec<f64> =
        (0..lines).map(|line| if bars > 0 { of(line, 0) } else { 0.0 }).collect();
    let mut from: Vec<Vec<usize>> = Vec::with_capacity(bars);
    for bar in 1..bars {
        let top = (0..lines).max_by(|a, b| best[*a].total_cmp(&best[*b])).unwrap_or(0);
        let mut came = Vec::with_capacity(lines);
        let mut next = Vec::with_capacity(lines);
        for line in 0..lines {
            let stays = best[line];
            let comes = best[top] - CHANGE;
            let (value, before) = if stays >= comes { (stays, line) } else { (comes, top) };
            next.push(value + of(line, bar));
            came.push(before);
        }
        best = next;
        from.push(came);
    }
    let mut line = (0..lines).max_by(|a, b| best[*a].total_cmp(&best[*b])).unwrap_or(0);
    let mut path = vec![line];
    for came in from.iter().rev() {
        line = came[line];
        path.push(line);
    }
    path.reverse();
    path
}

/// One line of the notes of those that a path goes through.
fn follow(lines: &[(usize, PartLine)], path: &[usize], bars: &[Bar], highest: bool) -> PartLine {
    let mut followed = PartLine { staff: 1, ..PartLine::default() };
    for (index, bar) in bars.iter().enumerate() {
        let Some(chosen) = path.get(index) else { break };
        let line = &lines[*chosen].1;
        let first = line.notes.partition_point(|note| note.start < bar.start);
        // What another line holds over from the bar before ends here.
        let changed = index > 0 && path[index - 1] != *chosen;
        if changed && let Some(last) = followed.notes.last_mut() {
            last.end = last.end.min(bar.start);
        }
        for note in line.notes[first..].iter().take_while(|note| note.start < bar.end()) {
            let edge = if highest { note.pitches.last() } else { note.pitches.first() };
            followed.notes.push(Note {
                pitches: edge.copied().into_iter().collect(),
                slur_starts: false,
                slur_ends: false,
                lyrics: None,
                ..note.clone()
            });
        }
        let spans = line.spans.iter().filter(|s| s.start >= bar.start && s.end <= bar.end());
        followed.spans.extend(spans);
        let said = line.directions.iter().filter(|d| d.at >= bar.start && d.at < bar.end());
        followed.directions.extend(said.cloned());
    }
    followed.notes.retain(|note| note.end > note.start);
    followed
}

/// Where the melody lies, in words.
fn tell(score: &Score, lines: &[(usize, PartLine)], melody: &[usize]) -> Vec<String> {
    let name = |line: usize| {
        let part = lines[line].0;
        match score.parts[part].name.as_str() {
            "" => format!("part {}", part + 1),
            name => name.to_string(),
        }
    };
    let mut runs: Vec<(i32, i32, String)> = Vec::new();
    for (bar, line) in score.bars.iter().zip(melody) {
        let name = name(*line);
        match runs.last_mut() {
            Some((_, last, before)) if *before == name => *last = bar.number,
            _ => runs.push((bar.number, bar.number, name)),
        }
    }
    let shown: Vec<String> = runs
        .iter()
        .take(12)
        .map(|(first, last, name)| match first == last {
            true => format!("bar {first} {name}"),
            false => format!("bars {first}–{last} {name}"),
        })
        .collect();
    let more = if runs.len() > 12 { " …" } else { "" };
    let sung = lines.iter().any(|(_, line)| line.notes.iter().any(|note| note.lyrics.is_some()));
    let sung = if sung { "; what is sung is left out" } else { "" };
    vec![format!(
        "the reduction is a proposal{sung}; the melody is taken from: {}{more}",
        shown.join(", ")
    )]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::music::{Key, Metre, Time};

    fn line(heights: &[i32], each: i64) -> PartLine {
        let notes = heights
            .iter()
            .enumerate()
            .filter(|(_, height)| **height > 0)
            .map(|(at, height)| {
                Note::plain(
                    Time::of(at as i64, each),
                    Time::of(at as i64 + 1, each),
                    smallvec::smallvec![crate::music::Pitch::from_midi(*height)],
                )
            })
            .collect();
        PartLine { staff: 1, notes, ..PartLine::default() }
    }

    fn score(lines: Vec<PartLine>, bars: i64) -> Score {
        let bar = |index: i64| Bar {
            number: index.narrow::<i32>() + 1,
            label: String::new(),
            start: Time::WHOLE * index,
            length: Time::WHOLE,
            metre: Metre::FOUR_FOUR,
            key: Key::C_MAJOR,
            metre_shown: index == 0,
            key_shown: index == 0,
            tempo: None,
            mark: None,
            double: false,
        };
        let part = |line| Part { staves: 1, lines: vec![line], ..Part::default() };
        Score {
            bars: (0..bars).map(bar).collect(),
            parts: lines.into_iter().map(part).collect(),
            ..Score::default()
        }
    }

    #[test]
    fn the_melody_is_followed_from_part_to_part() {
        let first = line(&[76, 77, 79, 81, 76, 77, 79, 81, 0, 0, 0, 0, 0, 0, 0, 0], 4);
        let second = line(&[60, 60, 64, 64, 74, 76, 77, 79], 2);
        let bass = line(&[48, 43, 48, 43], 1);
        let mut score = score(vec![first, second, bass], 4);
        reduce(&mut score, false);
        let tops: Vec<i32> =
            score.parts[0].lines[0].notes.iter().map(|note| note.pitches[0].midi()).collect();
        assert_eq!(tops, [76, 77, 79, 81, 76, 77, 79, 81, 74, 76, 77, 79]);
        let bottoms = &score.parts[1].lines[0];
        assert_eq!(bottoms.notes[0].pitches[0].midi(), 48);
        let length: Time = bottoms.notes.iter().map(|note| note.end - note.start).sum();
        assert_eq!(length, Time::WHOLE * 4);
    }
}

//! Two lines that move together: consecutive and hidden fifths and octaves.

use ripieno::music::{Interval, Time};

use super::Found;
use super::score::{Note, Score, is_step, steps};

/// From one interval of two lines to the next: at least one has a new note, none has left one out,
/// and there was less than a beat of silence between.
pub struct Motion {
    /// When the second interval begins.
    pub at: Time,
    /// The notes of the first line: before and after.
    pub first: [Note; 2],
    /// The notes of the second line.
    pub second: [Note; 2],
}

impl Motion {
    fn both_move(&self) -> bool {
        self.first[0].pitch != self.first[1].pitch && self.second[0].pitch != self.second[1].pitch
    }

    /// Do both go the same way?
    fn is_similar(&self) -> bool {
        (self.first[1].pitch > self.first[0].pitch) == (self.second[1].pitch > self.second[0].pitch)
    }

    /// The notes in words, the higher line first: "C5–D5 over F4–G4".
    fn notes(&self) -> String {
        let [high, low] = if self.first[1].pitch < self.second[1].pitch {
            [self.second, self.first]
        } else {
            [self.first, self.second]
        };
        let words = |[from, to]: [Note; 2]| format!("{}–{}", from.pitch, to.pitch);
        format!("{} over {}", words(high), words(low))
    }
}

/// All motions of two lines.
pub fn motions(score: &Score, first: usize, second: usize) -> Vec<Motion> {
    let (one, two) = (&score.lines[first].notes, &score.lines[second].notes);
    let mut intervals: Vec<(Time, Time, usize, usize)> = Vec::new();
    let (mut i, mut j) = (0, 0);
    while let (Some(a), Some(b)) = (one.get(i), two.get(j)) {
        let (from, to) = (a.start.max(b.start), a.end.min(b.end));
        if from < to {
            intervals.push((from, to, i, j));
        }
        if a.end <= b.end { i += 1 } else { j += 1 }
    }
    let adjoining = |pair: &[(Time, Time, usize, usize)]| {
        let [(_, until, i, j), (at, _, k, l)] = *pair else { return None };
        let in_turn = k - i <= 1 && l - j <= 1 && at - until < score.beat(at);
        in_turn.then_some(Motion { at, first: [one[i], one[k]], second: [two[j], two[l]] })
    };
    intervals.windows(2).filter_map(adjoining).collect()
}

#[derive(Clone, Copy, PartialEq)]
enum Perfect {
    Fifth,
    Octave,
}

fn perfect(one: &Note, two: &Note) -> Option<Perfect> {
    let (low, high) = (one.pitch.min(two.pitch), one.pitch.max(two.pitch));
    let interval = Interval::between(low, high);
    match (interval.steps.rem_euclid(7), interval.semitones.rem_euclid(12)) {
        (4, 7) => Some(Perfect::Fifth),
        (0, 0) => Some(Perfect::Octave),
        _ => None,
    }
}

/// "fifths", "octaves" or, where the second interval is one, "unisons".
fn name(kind: Perfect, motion: &Motion) -> &'static str {
    match kind {
        Perfect::Fifth => "fifths",
        Perfect::Octave if motion.first[1].pitch == motion.second[1].pitch => "unisons",
        Perfect::Octave => "octaves",
    }
}

/// Two voices go from a perfect fifth to another, or from an octave or unison to another: all pairs
/// in similar motion, the outer ones in contrary motion too. The same two notes in another octave
/// are the same interval, struck again.
pub fn consecutives(score: &Score) -> Vec<Found> {
    let mut found = Vec::new();
    for (first, second) in score.pairs() {
        for motion in motions(score, first, second).iter().filter(|motion| motion.both_move()) {
            let [before, after] = [0, 1].map(|n| perfect(&motion.first[n], &motion.second[n]));
            let (Some(kind), true) = (before, before == after) else { continue };
            let again = motion.first[0].class() == motion.first[1].class();
            let similar = motion.is_similar();
            if again || !similar && !are_outer(score, first, second, motion.at) {
                continue;
            }
            let how = if similar { "" } else { " by contrary motion" };
            let text = format!("in consecutive {}{how}", name(kind, motion));
            found.push(told(score, first, second, motion, &text));
        }
    }
    found
}

/// The outer voices leap together into a perfect fifth or octave: the upper one leaps, and it is
/// not one chord that only changes its position.
pub fn hidden(score: &Score) -> Vec<Found> {
    let mut found = Vec::new();
    for (first, second) in score.pairs() {
        for motion in motions(score, first, second).iter().filter(|motion| motion.both_move()) {
            let [before, after] = [0, 1].map(|n| perfect(&motion.first[n], &motion.second[n]));
            let upper = if motion.first[1].pitch < motion.second[1].pitch {
                motion.second
            } else {
                motion.first
            };
            let leaps = steps(&upper[0], &upper[1]).abs() > 1 || {
                steps(&upper[0], &upper[1]).abs() == 1 && !is_step(&upper[0], &upper[1])
            };
            let chord = score.chord_at(motion.at);
            let one_chord = chord.is_some() && chord == score.chord_before(motion.at);
            let (Some(kind), true) = (after, before != after) else { continue };
            if !motion.is_similar() || !leaps || one_chord {
                continue;
            }
            if are_outer(score, first, second, motion.at) {
                let text =
                    format!("together, the upper one by leap, into hidden {}", name(kind, motion));
                found.push(told(score, first, second, motion, &text));
            }
        }
    }
    found
}

fn are_outer(score: &Score, first: usize, second: usize, at: Time) -> bool {
    let outer = score.outer(at);
    outer == Some((first, second)) || outer == Some((second, first))
}

fn told(score: &Score, first: usize, second: usize, motion: &Motion, what: &str) -> Found {
    let voices = [first, second].map(|line| score.lines[line].name.clone());
    let text = format!("{} and {} move {what}: {}", voices[0], voices[1], motion.notes());
    Found { at: motion.at, voices: voices.to_vec(), text }
}

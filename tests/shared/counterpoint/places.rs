//! Where the voices stand: crossing, overlapping, spacing. What lasts no longer than a quarter note
//! is borne.

use ripieno::music::{Interval, Time};

use super::Found;
use super::motion::motions;
use super::score::{Note, Score};

const BORNE: Time = Time::QUARTER;

/// Which of two lines is the upper one: that which lies higher for the longer time, or else the
/// one that is written first. Upper first.
fn ordered(score: &Score, first: usize, second: usize) -> (usize, usize) {
    let (one, two) = (&score.lines[first].notes, &score.lines[second].notes);
    let mut balance = Time::ZERO;
    for a in one {
        let from = two.partition_point(|b| b.end <= a.start);
        for b in two[from..].iter().take_while(|b| b.start < a.end) {
            let together = a.end.min(b.end) - a.start.max(b.start);
            match a.pitch.midi().cmp(&b.pitch.midi()) {
                std::cmp::Ordering::Greater => balance += together,
                std::cmp::Ordering::Less => balance -= together,
                std::cmp::Ordering::Equal => {}
            }
        }
    }
    if balance < Time::ZERO { (second, first) } else { (first, second) }
}

/// A lower voice above an upper one for longer than a quarter note.
pub fn crossing(score: &Score) -> Vec<Found> {
    let mut found = Vec::new();
    for (first, second) in score.pairs() {
        let (upper, lower) = ordered(score, first, second);
        let [high, low] = [upper, lower].map(|line| &score.lines[line]);
        let crossed = |at: Time| {
            let (above, below) = (score.at(high, at)?, score.at(low, at)?);
            (above.pitch.midi() < below.pitch.midi()).then_some((*above, *below))
        };
        for (at, length, (above, below)) in stretches(score, crossed) {
            let text = format!(
                "{} lies above {} for {length} ({} over {})",
                low.name, high.name, below.pitch, above.pitch
            );
            found.push(Found { at, voices: vec![high.name.clone(), low.name.clone()], text });
        }
    }
    found
}

/// Two upper voices that are neighbours, more than an octave apart for longer than a quarter note.
/// The lowest voice that is present may lie as far from its neighbour as it likes.
pub fn spacing(score: &Score) -> Vec<Found> {
    let mut found = Vec::new();
    for (first, second) in score.pairs() {
        let apart = |at: Time| {
            let present = score.present(at);
            let upper = &present[..present.len().saturating_sub(1)];
            let neighbours = upper.windows(2).find(|pair| {
                [pair[0].0, pair[1].0] == [first, second]
                    || [pair[1].0, pair[0].0] == [first, second]
            })?;
            let notes = (*neighbours[0].1, *neighbours[1].1);
            let way = Interval::between(notes.1.pitch, notes.0.pitch);
            (way.steps > 7 || way.semitones > 12).then_some(notes)
        };
        for (at, length, (high, low)) in stretches(score, apart) {
            let voices = [first, second].map(|line| score.lines[line].name.clone());
            let text = format!(
                "{} and {} are more than an octave apart for {length} ({} over {})",
                voices[0], voices[1], high.pitch, low.pitch
            );
            found.push(Found { at, voices: voices.to_vec(), text });
        }
    }
    found
}

/// Stretches longer than what is borne in which something holds: beginning, length, and the notes
/// with which it begins.
fn stretches(
    score: &Score,
    holds: impl Fn(Time) -> Option<(Note, Note)>,
) -> Vec<(Time, Time, (Note, Note))> {
    let mut stretches: Vec<(Time, Time, (Note, Note))> = Vec::new();
    for pair in score.moments.windows(2) {
        let Some(notes) = holds(pair[0]) else { continue };
        match stretches.last_mut() {
            Some((at, length, _)) if *at + *length == pair[0] => *length = pair[1] - *at,
            _ => stretches.push((pair[0], pair[1] - pair[0], notes)),
        }
    }
    stretches.retain(|(_, length, _)| *length > BORNE);
    stretches
}

/// With a new chord, a voice goes beyond the note that another has just left, and stays there for
/// longer than a quarter note.
pub fn overlapping(score: &Score) -> Vec<Found> {
    let mut found = Vec::new();
    for (first, second) in score.pairs() {
        let (upper, lower) = ordered(score, first, second);
        let [high, low] = [upper, lower].map(|line| score.lines[line].name.clone());
        for motion in motions(score, upper, lower) {
            let ([above, new_above], [below, new_below]) = (motion.first, motion.second);
            let chord = score.chord_at(motion.at);
            let crossed = |a: &Note, b: &Note| a.pitch.midi() < b.pitch.midi();
            let one_chord = chord.is_some() && chord == score.chord_before(motion.at);
            // Two that go along in unison are told as consecutive unisons.
            let unison = above.pitch == below.pitch && new_above.pitch == new_below.pitch;
            let crosses = crossed(&above, &below) || crossed(&new_above, &new_below);
            if one_chord || unison || crosses {
                continue;
            }
            let (mover, other, note, left) = if crossed(&above, &new_below) {
                (&low, &high, new_below, above)
            } else if crossed(&new_above, &below) {
                (&high, &low, new_above, below)
            } else {
                continue;
            };
            if note.length() > BORNE {
                let text = format!(
                    "{mover} goes to {}, beyond {} that {other} has just left",
                    note.pitch, left.pitch
                );
                found.push(Found { at: motion.at, voices: vec![high.clone(), low.clone()], text });
            }
        }
    }
    found
}

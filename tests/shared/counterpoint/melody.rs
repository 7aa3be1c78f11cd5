//! Each voice for itself: intervals that are hard to sing.

use ripieno::music::Interval;

use super::Found;
use super::resolution::comes_to;
use super::score::{Line, Note, Score, is_step, steps};

/// Augmented intervals and sevenths, unless both notes belong to one chord and the voice goes on
/// by step, at once or over another note of the chord.
pub fn intervals(score: &Score) -> Vec<Found> {
    leaps(score, |line, index| {
        let (from, to) = (&line.notes[index], &line.notes[index + 1]);
        let chord = score.chord_at(from.start);
        let one_chord = chord.is_some_and(|chord| {
            let holding = &score.chords[chord];
            to.start < holding.end && holding.has(from) && holding.has(to)
        });
        let goes_on = || comes_to(score, line, index + 1, |next| is_step(to, next));
        is_hard(from, to) && !(one_chord && goes_on())
    })
}

/// Leaps of more than an octave.
pub fn beyond_an_octave(score: &Score) -> Vec<Found> {
    leaps(score, |line, index| {
        let way = Interval::between(line.notes[index].pitch, line.notes[index + 1].pitch);
        way.steps.abs() > 7 || way.semitones.abs() > 12
    })
}

fn leaps(score: &Score, bad: impl Fn(&Line, usize) -> bool) -> Vec<Found> {
    let mut found = Vec::new();
    for line in &score.lines {
        for (index, from) in line.notes.iter().enumerate() {
            let Some(to) = score.after(line, index).filter(|_| bad(line, index)) else { continue };
            let way = Interval::between(from.pitch, to.pitch);
            let direction = if to.pitch > from.pitch { "up" } else { "down" };
            let text = format!(
                "{} leaps {direction} from {} to {}: {way}",
                line.name, from.pitch, to.pitch
            );
            found.push(Found { at: to.start, voices: vec![line.name.clone()], text });
        }
    }
    found
}

/// An augmented interval (the chromatic semitone apart), a seventh, or an octave that is not
/// perfect; what is larger is told as a leap beyond an octave.
fn is_hard(from: &Note, to: &Note) -> bool {
    let way = Interval::between(from.pitch, to.pitch);
    let (wide, semitones) = (steps(from, to).abs(), way.semitones.abs());
    match wide {
        0 => false,
        6 => true,
        7 => semitones < 12,
        1..=5 => semitones > [2, 4, 5, 7, 9][wide as usize - 1],
        _ => false,
    }
}

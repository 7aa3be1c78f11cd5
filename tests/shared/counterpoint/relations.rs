//! False relations: two inflections of one letter in two voices, close together.

use ripieno::music::Time;

use super::Found;
use super::score::{Line, Note, Score, is_chromatic};

/// A note of one voice against another inflection of it that a second voice sounds with it or has
/// left less than a beat ago.
///
/// Free are: what a double bar, a repeat or a silence of all voices divides, and what some voice
/// reaches by a chromatic semitone from the one inflection to the other.
pub fn check(score: &Score) -> Vec<Found> {
    let mut found = Vec::new();
    for (first, second) in score.pairs() {
        let lines = [&score.lines[first], &score.lines[second]];
        for [earlier, later] in [lines, [lines[1], lines[0]]] {
            for y in &later.notes {
                let since = y.start - score.beat(y.start);
                let from = earlier.notes.partition_point(|x| x.end <= since);
                let near = earlier.notes[from..].iter().take_while(|x| x.start <= y.start);
                for x in near.filter(|x| x.pitch.letter == y.pitch.letter) {
                    let both_begin = x.start == y.start;
                    let told = both_begin && std::ptr::eq(earlier, lines[1]);
                    if x.pitch.alter != y.pitch.alter && !told && !is_free(score, x, y) {
                        found.push(tell(earlier, later, x, y));
                    }
                }
            }
        }
    }
    found
}

fn is_free(score: &Score, x: &Note, y: &Note) -> bool {
    let divided = score.breaks.iter().any(|at| x.start < *at && x.end <= *at && *at <= y.start);
    divided || silence(score, x.end, y.start) || creeps(score, x, y)
}

/// Do all voices rest from the one moment to the other?
fn silence(score: &Score, from: Time, to: Time) -> bool {
    let mut notes = score.lines.iter().flat_map(|line| &line.notes);
    from < to && !notes.any(|note| note.start < to && note.end > from)
}

/// Does a voice go by a chromatic semitone from the one to the other, when they meet or before?
fn creeps(score: &Score, x: &Note, y: &Note) -> bool {
    score.lines.iter().any(|line| {
        line.notes.windows(2).any(|pair| {
            let names = [pair[0].pitch.name(), pair[1].pitch.name()];
            let meets = x.start < pair[1].start && pair[1].start <= y.start;
            meets && names == [x.pitch.name(), y.pitch.name()] && is_chromatic(&pair[0], &pair[1])
        })
    })
}

fn tell(earlier: &Line, later: &Line, x: &Note, y: &Note) -> Found {
    let when = if x.end > y.start { "sounds against" } else { "follows" };
    let text = format!("{} of {} {when} {} of {}", y.pitch, later.name, x.pitch, earlier.name);
    Found { at: y.start, voices: vec![later.name.clone(), earlier.name.clone()], text }
}

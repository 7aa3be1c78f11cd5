//! Notes that want to go somewhere: sevenths and leading notes.

use ripieno::music::{ChordQuality, Interval, Mode, PitchName, Time};

use super::Found;
use super::score::{Holding, Line, Note, Score, is_chromatic, is_step, steps};

/// The note after, unless there is a rest of more than a beat between: an accompaniment that rests
/// on the first beat still resolves.
fn next<'l>(score: &Score, line: &'l Line, index: usize) -> Option<&'l Note> {
    let (note, next) = (line.notes.get(index)?, line.notes.get(index + 1)?);
    (next.start - note.end <= score.beat(next.start)).then_some(next)
}

/// Does a line come to a note that it should come to: at once, after more notes of the chord in
/// which it is, or over a note that is foreign to the next chord?
pub fn comes_to(score: &Score, line: &Line, index: usize, good: impl Fn(&Note) -> bool) -> bool {
    let end = line.notes[index].end;
    let until = score.chord_before(end).map_or(end, |chord| score.chords[chord].end);
    for at in index.. {
        let Some(note) = next(score, line, at) else { return false };
        if good(note) {
            return true;
        }
        if note.start >= until && score.belongs(note, note.start) {
            return false;
        }
    }
    false
}

/// "it goes to F5" or "it breaks off".
fn instead(score: &Score, line: &Line, index: usize) -> String {
    match next(score, line, index) {
        Some(note) => format!("it goes to {}", note.pitch),
        None => "it breaks off".to_string(),
    }
}

/// A chord, the one that follows at once, and the last note of one class that a line has in it.
struct Last<'s> {
    chord: &'s Holding,
    next: &'s Holding,
    line: usize,
    index: usize,
    note: &'s Note,
}

/// The last note of some classes of a chord in each line, for all chords with a successor.
fn last_notes<'s>(
    score: &'s Score,
    wanted: impl Fn(&Holding, &Holding) -> Vec<PitchName>,
) -> Vec<Last<'s>> {
    let mut found = Vec::new();
    for pair in score.chords.windows(2) {
        let (chord, next) = (&pair[0], &pair[1]);
        for name in wanted(chord, next).iter().filter(|_| chord.end == next.start) {
            for (line, Line { notes, .. }) in score.lines.iter().enumerate() {
                let until = notes.partition_point(|note| note.start < chord.end);
                let sounds = |note: &Note| note.end > chord.start && note.class() == name.class();
                if let Some(index) = notes[..until].iter().rposition(sounds) {
                    found.push(Last { chord, next, line, index, note: &notes[index] });
                }
            }
        }
    }
    found
}

/// The seventh (and ninth) of a chord falls a step, is held or struck again, passes to another note
/// of its chord before it falls, rises by a chromatic semitone, or another voice takes it over.
///
/// Free are a seventh that passes upwards between the beats, and that of the second inversion whose
/// bass rises to the note on which the seventh should fall (Prout, Harmony, the inversions of the
/// dominant seventh).
pub fn sevenths(score: &Score) -> Vec<Found> {
    let wanted = |chord: &Holding, _: &Holding| {
        let above = chord.chord.quality.intervals().iter();
        let dissonant = above.filter(|(steps, _)| matches!(steps, 6 | 8));
        dissonant
            .filter_map(|&(steps, semitones)| {
                chord.chord.root.transposed(Interval::new(steps, semitones))
            })
            .collect()
    };
    let mut found = Vec::new();
    for Last { chord, line, index, note, .. } in last_notes(score, wanted) {
        let voice = &score.lines[line];
        let falls = |next: &Note| {
            steps(note, next) == -1
                || next.pitch == note.pitch
                || is_chromatic(note, next) && next.pitch > note.pitch
        };
        let free = note.end > chord.end
            || comes_to(score, voice, index, falls)
            || is_taken_over(score, chord, line, note)
            || passes_upwards(score, voice, index)
            || bass_takes_it(score, chord, voice, index);
        if !free {
            let text = format!(
                "{} leaves {}, the seventh of {}, unresolved: {}",
                voice.name,
                note.pitch,
                chord.chord,
                instead(score, voice, index)
            );
            found.push(Found { at: note.start, voices: vec![voice.name.clone()], text });
        }
    }
    found
}

/// Does another line sound the note longer, or take it up while the chord holds?
fn is_taken_over(score: &Score, chord: &Holding, line: usize, note: &Note) -> bool {
    let others = score.lines.iter().enumerate().filter(|(other, _)| *other != line);
    others.flat_map(|(_, other)| &other.notes).any(|other| {
        other.class() == note.class() && other.end > note.end && other.start < chord.end
    })
}

fn passes_upwards(score: &Score, line: &Line, index: usize) -> bool {
    let note = &line.notes[index];
    let around = score.before(line, index).zip(score.after(line, index));
    let up = |from: &Note, to: &Note| is_step(from, to) && to.pitch > from.pitch;
    around.is_some_and(|(before, after)| up(before, note) && up(note, after))
        && score.weight(note.start) == 0
}

fn bass_takes_it(score: &Score, chord: &Holding, line: &Line, index: usize) -> bool {
    let Some(after) = score.after(line, index) else { return false };
    let note = &line.notes[index];
    let bass = |at: Time| score.present(at).last().map(|(_, note)| **note);
    let Some((low, goal)) = bass(score.moment_before(chord.end)).zip(bass(chord.end)) else {
        return false;
    };
    let fifth = chord.chord.members().get(2).copied();
    let below = (note.pitch.step() - 1).rem_euclid(7) == goal.pitch.step().rem_euclid(7);
    steps(note, after) == 1 && fifth == Some(low.pitch.name()) && steps(&low, &goal) == 1 && below
}

/// The leading note of a dominant rises to its tonic, in an outer voice always; it may be held, or
/// fall by a chromatic semitone, or by step as the second note of a scale down from the tonic. In an inner
/// voice it may also fall by any step, or a third to the fifth of the tonic. Only the last note counts
/// that a voice has in the dominant.
pub fn leading_notes(score: &Score) -> Vec<Found> {
    let wanted = |chord: &Holding, next: &Holding| {
        leading_note(score, chord, next).into_iter().collect::<Vec<_>>()
    };
    let mut found = Vec::new();
    for Last { chord, next: tonic, line, index, note } in last_notes(score, wanted) {
        let voice = &score.lines[line];
        let moves_on = voice.notes.get(index + 1).is_some_and(|next| next.start < chord.end);
        if moves_on || note.end > chord.end {
            continue;
        }
        let outer = score.outer(score.moment_before(note.end));
        let is_outer = outer.is_some_and(|(top, bottom)| line == top || line == bottom);
        let scale_down = score
            .before(voice, index)
            .is_some_and(|from| steps(from, note) == -1 && is_step(from, note));
        let third_down = |next: &Note| steps(note, next) == -2 && tonic.has(next);
        let good = |next: &Note| {
            let by = steps(note, next);
            by == 1
                || next.pitch == note.pitch
                || is_chromatic(note, next) && next.pitch < note.pitch
                || by == -1 && scale_down
                || !is_outer && (by == -1 || third_down(next))
        };
        let breaks_off = next(score, voice, index).is_none();
        if !comes_to(score, voice, index, good) && (is_outer || !breaks_off) {
            let text = format!(
                "{} leaves {}, the leading note of {}, unresolved: {}",
                voice.name,
                note.pitch,
                chord.chord,
                instead(score, voice, index)
            );
            found.push(Found { at: note.start, voices: vec![voice.name.clone()], text });
        }
    }
    found
}

/// The leading note of a chord that resolves as a dominant: its third, or its root if it is a
/// diminished chord; the tonic is the root of the next chord, or its third where the cadence is
/// interrupted. A plain major triad is a dominant on the fifth degree of the key, and where its third
/// is foreign to the signature.
fn leading_note(score: &Score, chord: &Holding, next: &Holding) -> Option<PitchName> {
    use ChordQuality as Q;
    let key = score.key(chord.start);
    let Holding { chord, .. } = chord;
    let third = || chord.root.transposed(Interval::new(2, 4));
    let leading = match chord.quality {
        Q::DominantSeventh | Q::DominantNinth | Q::AugmentedSeventh => third()?,
        Q::Major | Q::Augmented => {
            let third = third()?;
            let on_fifth = chord.root == key.degree(5);
            let raised = key.alter(third.letter) < third.alter;
            if !on_fifth && !raised {
                return None;
            }
            third
        }
        Q::Diminished | Q::DiminishedSeventh | Q::HalfDiminishedSeventh => chord.root,
        _ => return None,
    };
    let tonic = leading.transposed(Interval::new(1, 1))?;
    let members = next.chord.members();
    let interrupted = members.get(1) == Some(&tonic)
        && key.tonic == tonic
        && (next.chord.quality == if key.mode == Mode::Major { Q::Minor } else { Q::Major });
    let resolves = members[0] == tonic || interrupted;
    (resolves && !next.chord.has_class(leading.class())).then_some(leading)
}

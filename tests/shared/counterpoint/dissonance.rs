//! Notes that are foreign to the chord: how each is reached and left.

use ripieno::music::Time;

use super::Found;
use super::score::{Line, Note, Score, is_chromatic, is_step, steps};

/// How many foreign notes may follow one another in a line: between the fifth and the root of a
/// triad there are two.
const IN_A_ROW: usize = 2;

/// Every note that is foreign to the chord (when it is struck, or when the chord changes under it)
/// and neither passes nor is an auxiliary note, suspension, retardation, anticipation, appoggiatura,
/// escape note, changing note or pedal.
pub fn check(score: &Score) -> Vec<Found> {
    let mut found = Vec::new();
    for line in &score.lines {
        for (index, note) in line.notes.iter().enumerate() {
            let Some(at) = foreign_at(score, note) else { continue };
            let foreign = Foreign { score, line, index, note, at };
            if !foreign.is_explained() {
                let chord = score.chord_at(at).map(|chord| score.chords[chord].chord);
                let chord = chord.map_or(String::new(), |chord| chord.to_string());
                let path = foreign.path();
                let text = format!("{} of {} is foreign to {chord}: {path}", note.pitch, line.name);
                found.push(Found { at, voices: vec![line.name.clone()], text });
            }
        }
    }
    found
}

/// When a note is first foreign to a chord, if ever.
fn foreign_at(score: &Score, note: &Note) -> Option<Time> {
    let first = score.chords.partition_point(|chord| chord.end <= note.start);
    let mut under = score.chords[first..].iter().take_while(|chord| chord.start < note.end);
    under.find(|chord| !chord.has(note)).map(|chord| chord.start.max(note.start))
}

struct Foreign<'s> {
    score: &'s Score<'s>,
    line: &'s Line,
    index: usize,
    note: &'s Note,
    /// When it is foreign: when it is struck, or later when the chord changes.
    at: Time,
}

impl<'s> Foreign<'s> {
    fn is_explained(&self) -> bool {
        self.is_pedal()
            || if self.at > self.note.start {
                self.resolves()
            } else {
                self.is_suspension_struck_again()
                    || self.is_anticipation()
                    || self.goes_by_step()
                    || self.is_escape_or_changing_note()
                    || self.is_appoggiatura()
            }
    }

    fn before(&self) -> Option<&'s Note> {
        self.score.before(self.line, self.index)
    }

    fn after(&self) -> Option<&'s Note> {
        self.score.after(self.line, self.index)
    }

    /// The notes before and after that are not the same one, struck again.
    fn others(&self) -> Option<(&'s Note, &'s Note)> {
        let (mut first, mut last) = (self.index, self.index);
        let (before, after) = loop {
            let (before, after) =
                (self.score.before(self.line, first)?, self.score.after(self.line, last)?);
            if before.pitch == self.note.pitch {
                first -= 1;
            } else if after.pitch == self.note.pitch {
                last += 1;
            } else {
                break (before, after);
            }
        };
        Some((before, after))
    }

    fn belongs(&self, note: &Note) -> bool {
        self.score.belongs(note, note.start)
    }

    /// No longer than a beat?
    fn is_short(&self) -> bool {
        self.note.length() <= self.score.beat(self.note.start)
    }

    /// Not stronger than the notes around it?
    fn is_weak(&self, neighbour: &Note) -> bool {
        self.score.weight(self.note.start) <= self.score.weight(neighbour.start)
    }

    /// Held from a consonance (or struck again): does it go by step to a note of the chord, down as a
    /// suspension or up as a retardation? Other notes may ornament the way for less than a beat.
    fn resolves(&self) -> bool {
        let mut index = self.index;
        while let Some(next) = self.score.after(self.line, index) {
            if is_step(self.note, next) && self.belongs(next) {
                return true;
            }
            let repeated = next.pitch == self.note.pitch;
            if !repeated && next.end - self.note.end > self.score.beat(next.start) {
                return false;
            }
            index += 1;
        }
        false
    }

    fn is_suspension_struck_again(&self) -> bool {
        let prepared =
            |note: &Note| note.pitch == self.note.pitch && self.score.belongs(note, note.start);
        self.before().is_some_and(prepared) && self.resolves()
    }

    /// A weak note that stays where it is and is at home in the next chord.
    fn is_anticipation(&self) -> bool {
        let stays = |next: &Note| next.pitch == self.note.pitch && self.belongs(next);
        self.after().is_some_and(|next| stays(next) && self.is_weak(next)) && self.is_short()
    }

    /// A passing or auxiliary note, on a beat or between: reached and left by step, whether struck once
    /// or again. A long one must go to a note of the chord at once, as an appoggiatura does.
    fn goes_by_step(&self) -> bool {
        let Some((before, after)) = self.others() else { return false };
        let step = |from: &Note, to: &Note| is_step(from, to) || is_chromatic(from, to);
        step(before, self.note)
            && step(self.note, after)
            && (self.belongs(after) || self.is_short() && self.in_a_row() <= IN_A_ROW)
    }

    /// How many foreign notes are struck one after another around this one.
    fn in_a_row(&self) -> usize {
        let foreign = |note: &&Note| !self.belongs(note);
        let notes = &self.line.notes;
        notes[..self.index].iter().rev().take_while(foreign).count()
            + notes[self.index..].iter().take_while(foreign).count()
    }

    /// Reached by step and left by a third, short and weak: back the other way to a note of the chord
    /// (escape note) or round the note from which it came (changing notes); or on in the same direction
    /// and then back by step (cambiata).
    fn is_escape_or_changing_note(&self) -> bool {
        let (Some(before), Some(after)) = (self.before(), self.after()) else { return false };
        if !is_step(before, self.note) || !self.is_short() || !self.is_weak(before) {
            return false;
        }
        let (came, goes) = (steps(before, self.note), steps(self.note, after));
        let then = self.score.after(self.line, self.index + 1);
        if goes == -2 * came {
            self.belongs(after) || then.is_some_and(|then| then.pitch == before.pitch)
        } else {
            let back = then.is_some_and(|then| steps(after, then) == -came);
            goes == 2 * came && self.belongs(after) && back
        }
    }

    /// Struck free or by leap, it resolves by step to a note of the chord: on a stronger moment than
    /// its resolution; a weak one only against the direction of the leap.
    fn is_appoggiatura(&self) -> bool {
        let Some(after) = self.after() else { return false };
        if !is_step(self.note, after) || !self.belongs(after) {
            return false;
        }
        let strong = self.score.weight(self.note.start) > self.score.weight(after.start);
        let turns = self.before().is_some_and(|before| {
            (steps(before, self.note) > 0) != (steps(self.note, after) > 0)
                && steps(before, self.note).abs() > 1
        });
        strong || turns && self.is_short()
    }

    /// The tonic or dominant of the key, held or struck again (in any octave) from a chord to which
    /// it belongs until a chord to which it belongs.
    fn is_pedal(&self) -> bool {
        let key = self.score.key(self.at);
        let class = self.note.class();
        if ![1, 5].iter().any(|degree| key.degree(*degree).class() == class) {
            return false;
        }
        let notes = &self.line.notes;
        let (mut first, mut last) = (self.index, self.index);
        while self.score.before(self.line, first).is_some_and(|note| note.class() == class) {
            first -= 1;
        }
        while self.score.after(self.line, last).is_some_and(|note| note.class() == class) {
            last += 1;
        }
        let end = self.score.chord_before(notes[last].end);
        let ends_at_home = end.is_some_and(|chord| self.score.chords[chord].has(&notes[last]));
        self.belongs(&notes[first]) && ends_at_home
    }

    /// What the line does around the note: "after D5 it goes to G5".
    fn path(&self) -> String {
        let after = match self.after() {
            Some(note) if note.pitch == self.note.pitch => "is struck again".to_string(),
            Some(note) => format!("goes to {}", note.pitch),
            None => "breaks off".to_string(),
        };
        match self.before() {
            _ if self.at > self.note.start => format!("held over, it {after}"),
            Some(note) => format!("after {} it {after}", note.pitch),
            None => format!("struck free, it {after}"),
        }
    }
}

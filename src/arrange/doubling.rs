//! Doubling another part: colla parte, at the octave where the compass asks for it.

use super::taking::{raise, sounds_in};
use super::{Part, Run, SoundingNote};
use crate::diagnostics::{Diagnostic, Span};
use crate::instruments::Limit;
use crate::music::{Pitch, Time};
use crate::resolve::{Line, Piece, Sound};

/// Copies what another part sounds into a run; gives back the name of that part.
pub(super) fn double(source: &Part, line: &Line, octaves: i8, run: &mut Run) -> String {
    for note in sounds_in(&source.notes, run.from, run.to) {
        let mut note = note.clone();
        let end = note.end().min(run.to);
        note.start = note.start.max(run.from);
        note.length = end - note.start;
        note.line = run.line;
        note.role = line.role.unwrap_or(note.role);
        note.solo = line.solo;
        shift(&mut note, octaves);
        run.notes.push(note);
    }
    run.tuplets.extend(source.tuplets.iter().filter(|t| t.start >= run.from && t.start < run.to));
    source.player.name.clone()
}

fn shift(note: &mut SoundingNote, octaves: i8) {
    if let Sound::Pitches(pitches) = &mut note.sound {
        raise(pitches, octaves);
    }
    if let Some(graces) = note.attached.graces.as_mut() {
        for (_, pitches) in &mut graces.notes {
            raise(pitches, octaves);
        }
    }
}

/// Passages that were moved by octaves into the compass.
pub(super) struct Folded {
    /// Beginning and end of each passage and the octaves up by which it moved.
    passages: Vec<(Time, Time, i8)>,
}

/// A leap of this many semitones or more hides a change of octave: larger than a fifth. (Our
/// heuristic.)
const LEAP: i32 = 8;

/// Moves what leaves the customary compass by whole octaves into it.
///
/// The change of octave is made only where the ear takes it for a new beginning: after a rest,
/// where a slur begins after one has ended, or at a leap; never in the middle of a scale. (Our
/// heuristic, after the common practice of colla parte parts.)
pub(super) fn fold(part: &Part, era: i32, line: &Line, run: &mut Run) -> Option<Folded> {
    let instrument = part.player.instrument;
    let limit = if line.solo { Limit::Solo } else { Limit::Custom };
    let compass =
        instrument.compass(limit, era).or_else(|| instrument.compass(Limit::Instrument, era))?;
    let mut folded = Folded { passages: Vec::new() };
    let mut first = 0;
    let mut before = 0;
    while first < run.notes.len() {
        let mut after = first + 1;
        while after < run.notes.len() && !begins_anew(&run.notes[after - 1], &run.notes[after]) {
            after += 1;
        }
        let at = run.notes[first].start;
        let to_written = if instrument.compass_is_written {
            -part.transposition_at(at)
        } else {
            crate::music::Interval::UNISON
        };
        let (low, high) =
            (compass.low.midi() - to_written.semitones, compass.high.midi() - to_written.semitones);
        let octaves = octaves_into(&run.notes[first..after], low, high, before);
        if octaves != 0 {
            for note in &mut run.notes[first..after] {
                shift(note, octaves);
            }
            let end = run.notes[after - 1].end();
            match folded.passages.last_mut() {
                Some((_, last, same)) if *last == at && *same == octaves => *last = end,
                _ => folded.passages.push((at, end, octaves)),
            }
        }
        before = octaves;
        first = after;
    }
    (!folded.passages.is_empty()).then_some(folded)
}

fn begins_anew(before: &SoundingNote, note: &SoundingNote) -> bool {
    let slur = before.attached.slur_ends && note.attached.slur_starts;
    let leap = match (top(before), top(note)) {
        (Some(from), Some(to)) => (to.midi() - from.midi()).abs() >= LEAP,
        _ => false,
    };
    before.end() < note.start || slur || leap
}

fn top(note: &SoundingNote) -> Option<Pitch> {
    note.sound.pitches().last().copied()
}

/// The fewest octaves by which all the notes come into the compass; where two are as few, that of
/// the passage before. If none brings all of them in, the one that brings most.
fn octaves_into(notes: &[SoundingNote], low: i32, high: i32, before: i8) -> i8 {
    let outside = |octaves: i8| {
        notes
            .iter()
            .flat_map(|note| note.sound.pitches())
            .filter(|pitch| !(low..=high).contains(&(pitch.midi() + 12 * i32::from(octaves))))
            .count()
    };
    let candidates = [0, before, 1, -1, 2, -2, 3, -3];
    candidates.into_iter().min_by_key(|&octaves| outside(octaves)).unwrap_or(0)
}

impl Folded {
    /// The finding that says which bars stand in another octave.
    pub(super) fn finding(
        &self,
        piece: &Piece,
        part: &Part,
        line: Span,
        doubled: String,
    ) -> Diagnostic {
        let bars: Vec<String> = self
            .passages
            .iter()
            .map(|(from, to, octaves)| {
                let first = piece.form.bar_at(*from).number;
                let last = piece.form.bars[piece.form.index_at(*to - Time::of(1, 1024))].number;
                let where_to = if first == last {
                    format!("bar {first}")
                } else {
                    format!("bars {first} to {last}")
                };
                let way = match octaves {
                    1 => "an octave higher".to_string(),
                    -1 => "an octave lower".to_string(),
                    up if *up > 0 => format!("{up} octaves higher"),
                    down => format!("{} octaves lower", -down),
                };
                format!("{where_to} {way}")
            })
            .collect();
        let first = piece.form.bar_at(self.passages[0].0).number;
        let last = self.passages.last().map_or(first, |p| piece.form.bar_at(p.0).number);
        Diagnostic::advice(
            "arrange/octave-moved",
            line,
            format!(
                "{} doubles {doubled} in another octave, to stay within the compass: {}.",
                part.player.name,
                bars.join(", ")
            ),
        )
        .with_label(part.player.span, "the player")
        .with_help("Write `8va` or `8vb` behind the doubled part to choose the octave yourself.")
        .with_bars(first, last)
        .with_player(&part.player.id)
    }
}

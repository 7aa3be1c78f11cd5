//! Tremolo between two notes: `1/2 D5[tremolo A]`.

use super::*;
use crate::resolve::OfTwo;

/// The shortest note that is printed as such a tremolo: under flags its beams could not be told
/// from theirs (common practice).
const SHORTEST: Time = Time::of(1, 4);

impl Builder<'_> {
    /// What the note or chord of these pitches goes to and fro with, where its marks say so. The
    /// octave that holds on to the next note is not changed by it.
    pub(super) fn other_of_two(
        &mut self,
        written: &[MarkTree],
        pitches: &Pitches,
        in_tuplet: bool,
    ) -> Option<Pitches> {
        let mark =
            written.iter().find(|mark| mark.word.value == "tremolo" && mark.note.is_some())?;
        let note = mark.note.as_ref()?;
        let octave = self.state.octave;
        let other = self.pitches(&note.value);
        self.state.octave = octave;
        let value = self.state.value.filter(|_| !self.state.value_doubtful)?;
        let strokes = attached::strokes_of(mark).unwrap_or(attached::UNMEASURED);
        let stroke = Time::of(1, 8 << (strokes - 1));
        let (message, help) = if in_tuplet {
            ("A tremolo between two notes cannot stand in a tuplet.", "Write its notes out.".into())
        } else if other == *pitches {
            (
                "A tremolo between two notes needs another note.",
                format!("A note that repeats itself is `{}[tremolo]`.", pitches.first()?),
            )
        } else if value < SHORTEST {
            (
                "This note is too short for a tremolo between two notes.",
                "It lasts a 1/4 at least; write shorter ones out.".into(),
            )
        } else if stroke * 2 > value {
            (
                "Each of the two notes must be struck at least once.",
                "Write shorter strokes, such as `tremolo A5 1/16`.".into(),
            )
        } else {
            return Some(other);
        };
        self.cx.push(Diagnostic::error("bars/tremolo", note.span, message).with_help(help));
        None
    }

    /// Puts the two notes down, each for half of the time: what is printed on the one of them that
    /// begins or ends the tremolo stands there.
    pub(super) fn sounds_by_turns(
        &mut self,
        bar: &mut BarState,
        (pitches, other): (Pitches, Pitches),
        attached: Attached,
        span: Span,
    ) {
        let start = bar.at;
        self.sounds(bar, Sound::Pitches(pitches), attached, span, None);
        let Some(first) = self.notes.last_mut().filter(|note| note.start == start) else {
            return;
        };
        let Some(half) = first.length.scaled(1, 2) else { return };
        first.length = half;
        first.attached.of_two = Some(OfTwo::First);
        let mut marks = Marks::NONE;
        for mark in [Mark::Fermata, Mark::Breath] {
            if first.attached.marks.has(mark) {
                first.attached.marks.remove(mark);
                marks.insert(mark);
            }
        }
        let tremolo = first.attached.tremolo;
        let attached =
            Attached { marks, tremolo, of_two: Some(OfTwo::Second), ..Attached::default() };
        let second = Note {
            start: start + half,
            length: half,
            sound: Sound::Pitches(other),
            attached,
            span,
        };
        self.state.last = Some(self.notes.len());
        self.notes.push(second);
    }
}

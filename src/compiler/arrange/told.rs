//! What the work on a scoring tells, once a line, and remembers for the next run.

use super::*;
use crate::diagnostics::Diagnostic;

impl Work<'_> {
    /// Does what an event asks for, and remembers it.
    pub(super) fn happens(&mut self, index: usize, event: Event) {
        match &event {
            Event::Fill(source) => self.fill(*source),
            Event::Tell(once, id, finding) => {
                if self.told.insert((*once, *id)) {
                    self.diagnostics.push(finding.clone());
                }
            }
            Event::Said(finding) => self.diagnostics.push(finding.clone()),
            Event::LeftOut(id, times) => {
                self.left_out.entry(*id).or_default().push((index, times.clone()));
            }
            Event::Moved(id, source, folded) => {
                self.moved.entry(*id).or_default().push((index, *source, folded.clone()));
            }
            Event::Circle => {}
        }
        self.events[index].push(event);
    }

    /// Has this part something to tell of this line already?
    pub(super) fn tells(&self, index: usize, once: Once, id: LineId) -> bool {
        self.events[index]
            .iter()
            .any(|event| matches!(event, Event::Tell(o, i, _) if (*o, *i) == (once, id)))
    }

    /// Warns once a line where a player of pitched notes is given strokes without pitch.
    pub(super) fn tell_strokes(&mut self, index: usize, id: LineId, run: &Run) {
        let (player, part) = (&self.ensemble.players[index], &self.parts[index]);
        if self.tells(index, Once::Strokes, id) {
            return;
        }
        let wrong = |note: &&PackedNote| {
            matches!(note.sound(), SoundRef::Stroke) && !part.instrument_at(note.start()).unpitched
        };
        let Some(note) = run.notes.iter().find(wrong) else { return };
        let place = self.piece.form.place(note.start());
        let finding = Diagnostic::warning(
            "arrange/no-pitch",
            self.lines[id.index()].line.span,
            format!(
                "{}: strokes without pitch from {place} on, for an instrument that needs pitches.",
                player.name
            ),
        )
        .with_label(note.source(), "the stroke")
        .with_help("Give the line to an instrument without pitch, or write notes in place of `x`.")
        .with_bars(place.bar, place.bar)
        .with_player(&player.id);
        self.happens(index, Event::Tell(Once::Strokes, id, finding));
    }

    /// One finding for each doubling line that is moved into the compass of its players.
    pub(super) fn tell_moved(&mut self) {
        for (id, moved) in &self.moved {
            let line = self.lines[id.index()].line.span;
            let moved: Vec<(&Part, &Part, &doubling::Folded)> = moved
                .iter()
                .map(|(index, source, folded)| {
                    (&*self.parts[*index], &*self.parts[*source], folded)
                })
                .collect();
            self.diagnostics.extend(doubling::octave_moved(self.piece, line, &moved));
        }
    }

    /// One finding for each doubling line whose players do not have all its notes.
    pub(super) fn tell_left_out(&mut self) {
        for (id, missing) in &self.left_out {
            let line = self.lines[id.index()].line.span;
            let missing: Vec<(&Part, &[Time])> =
                missing.iter().map(|(index, times)| (&*self.parts[*index], &times[..])).collect();
            self.diagnostics.push(doubling::left_out(self.piece, line, &missing));
        }
    }
}

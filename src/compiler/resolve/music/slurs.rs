//! Slurs.

use super::*;

impl Builder<'_> {
    /// The end of a slur, at the note before it.
    pub(super) fn slur_end(&mut self, span: Span) {
        match (self.state.slur.take(), self.notes.last_mut()) {
            (Some(start), Some(note)) if !self.state.slur_waits => {
                note.attached.slur_ends = true;
                self.slur_or_tie(start, span);
            }
            (None, _) if self.state.doubtful => {}
            _ => self.cx.push(
                Diagnostic::error("bars/slur", span, "This ends a slur that holds no notes.")
                    .with_help("A slur is `{` before its first note and `}` after its last."),
            ),
        }
        self.state.slur_waits = false;
    }

    /// Says so where a slur joins one note to the same note, which reads as a tie; notes with marks
    /// of their own (dots, strokes) are struck, and everybody sees it.
    fn slur_or_tie(&mut self, start: Span, end: Span) {
        let [.., first, last] = &self.notes[..] else { return };
        let alike = matches!((&first.sound, &last.sound),
            (Sound::Pitches(one), Sound::Pitches(two)) if one == two);
        let bare = |note: &Note| note.attached.marks == Marks::NONE;
        let joined = first.attached.slur_starts && first.start + first.length == last.start;
        if alike && joined && bare(first) && bare(last) && last.attached.graces.is_none() {
            self.cx.push(
                Diagnostic::warning(
                    "bars/slur-or-tie",
                    start.to(end),
                    "A slur from a note to the same note reads as a tie.",
                )
                .with_text("players will hold the first note and not play the second")
                .with_help(
                    "Write `=` for the second if it is held; if both are played in one bow or \
                     breath, mark them `[stacc]` or `[tenuto]`.",
                ),
            );
        }
    }
}

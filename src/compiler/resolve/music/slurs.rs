//! Slurs.

use super::*;
use crate::diagnostics::Edit;

impl Builder<'_> {
    /// The end of a slur, at the note before it.
    pub(super) fn slur_end(&mut self, span: Span, bar: i32) {
        match (self.state.slur.take(), self.notes.last_mut()) {
            (Some(start), Some(note)) if !self.state.slur_waits => {
                let graces = note.attached.graces.is_some();
                if self.end_slur() {
                    self.slur_or_tie(start, span);
                } else if !(graces || self.state.slur_told || self.state.doubtful) {
                    self.slur_of_one((start, span), bar);
                }
            }
            (None, _) if self.state.doubtful => {}
            _ => self.cx.push(
                Diagnostic::error("bars/slur", span, "This ends a slur that holds no notes.")
                    .with_help("A slur is `{` before its first note and `}` after its last."),
            ),
        }
        self.state.slur_waits = false;
    }

    /// Ends the slur on the note before; one that began there goes nowhere, and falls away. Says whether it is one.
    pub(super) fn end_slur(&mut self) -> bool {
        let Some(Attached { slur_starts, slur_ends, .. }) =
            self.notes.last_mut().map(|note| &mut note.attached)
        else {
            return false;
        };
        let goes_on = !*slur_starts;
        *slur_starts = false;
        *slur_ends |= goes_on;
        goes_on
    }

    /// A slur over one note. (Grace notes are slurred to theirs as they are, and one that is held has a tie.)
    fn slur_of_one(&mut self, (start, end): (Span, Span), bar: i32) {
        let mut finding = Diagnostic::warning(
            "bars/slur",
            start.to(end),
            "A slur over a single note joins it to nothing.",
        )
        .with_text("left out")
        .with_help("Put `}` after the last note of the slur, or take its `{` and `}` away.")
        .with_fix("take the slur away", start, "", false)
        .with_bars(bar, bar);
        if let Some(fix) = finding.fixes.last_mut() {
            fix.edits.push(Edit { span: end, text: String::new() });
        }
        self.cx.push(finding);
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

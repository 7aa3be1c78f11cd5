//! Artificial harmonics: `E6[harmonic E4]` sounds E6 with E4 stopped.

use super::*;
use crate::music::{Interval, Touch};

impl Builder<'_> {
    /// Where the string is touched for the note of these pitches, where its marks name a note that is
    /// stopped. The octave that holds on to the next note is not changed by it.
    pub(super) fn touch(&mut self, written: &[MarkTree], pitches: &[Pitch]) -> Option<Touch> {
        let note = stopped_in(written)?;
        let mut refuse = |message: String, help: String| {
            let finding = Diagnostic::error("bars/harmonic", note.span, message);
            self.cx.push(finding.with_help(help));
            None
        };
        let [PitchTree { name, octave: Some(octave), .. }] = note.value[..] else {
            return refuse(
                "The stopped note of a harmonic is one note with its octave.".into(),
                "`E6[harmonic E4]` sounds E6 with E4 stopped.".into(),
            );
        };
        let [sounding] = *pitches else {
            return refuse(
                "An artificial harmonic is a single note, for it takes two fingers.".into(),
                "Write each harmonic in a voice of its own, for a player of its own.".into(),
            );
        };
        let turning = |mark: &&MarkTree| {
            let word = mark.word.value.as_str();
            matches!(word, "trill" | "mordent" | "turn") || word == "tremolo" && mark.note.is_some()
        };
        if let Some(mark) = written.iter().find(turning) {
            let word = &mark.word.value;
            let two = if word == "tremolo" { " with another note" } else { "" };
            return refuse(
                format!("An artificial harmonic cannot have a {word}{two}."),
                format!("Leave out the {word}, or write the note without its harmonic."),
            );
        }
        let stopped = name.at(octave);
        let by = Interval::between(stopped, sounding);
        if let Some(touch) = Touch::sounding(by) {
            return Some(touch);
        }
        let alike = Touch::ALL.into_iter().find(|touch| touch.sounds().semitones == by.semitones);
        let right = alike.unwrap_or(Touch::Fourth).stopped(sounding);
        let (message, help) = if alike.is_some() {
            (
                format!("The stopped note of {sounding} is spelled {right}, not {stopped}."),
                format!("Write `{sounding}[harmonic {right}]`."),
            )
        } else {
            let all = Touch::ALL.map(|touch| {
                format!(
                    "{} (touched {} above)",
                    touch.stopped(sounding),
                    touch.above().with_article()
                )
            });
            (
                format!("With {stopped} stopped no harmonic sounds {sounding}."),
                format!(
                    "The stopped note lies two octaves below, as a rule: \
                     `{sounding}[harmonic {right}]`. {sounding} sounds with {} too.",
                    all.join(", ")
                ),
            )
        };
        self.cx.push(
            Diagnostic::error("bars/harmonic", note.span, message).with_help(help).with_fix(
                format!("write `{right}`"),
                note.span,
                right.to_string(),
                false,
            ),
        );
        None
    }

    /// Tells of a stopped note at what is not struck, or has no pitch.
    pub(super) fn untouched(&mut self, written: &[MarkTree]) {
        let Some(note) = stopped_in(written) else { return };
        self.cx.push(
            Diagnostic::error(
                "bars/harmonic",
                note.span,
                "A stopped note stands at the note that sounds.",
            )
            .with_help("Write it where the note begins: `E6[harmonic E4] =`."),
        );
    }
}

/// The note that a mark says is stopped.
fn stopped_in(written: &[MarkTree]) -> Option<&Spanned<Vec<PitchTree>>> {
    written.iter().filter(|mark| mark.word.value == "harmonic").find_map(|mark| mark.note.as_ref())
}

#[cfg(test)]
mod tests {
    use crate::diagnostics::{Diagnostic, Sources};
    use crate::music::Touch;
    use crate::resolve::{Mark, NoFiles, Note, resolve};

    /// The notes of a bar of 4/4 and what is found in it.
    fn read(bar: &str) -> (Vec<Note>, Vec<Diagnostic>) {
        let source = format!(
            "piece \"Weir\" {{ }}\nform {{ 1 metre 4/4, key C major\n 1 end }}\n\
             voice a {{ 1: {bar} | }}\n"
        );
        let mut sources = Sources::new();
        let file = sources.add("weir.ripieno", source);
        let (piece, found) = resolve(&mut sources, file, &mut NoFiles);
        (piece.voices[0].music.notes.to_vec(), found)
    }

    #[test]
    fn the_stopped_note_says_where_the_string_is_touched() {
        for (stopped, touch) in [
            ("E5", Touch::Octave),
            ("A4", Touch::Fifth),
            ("E4", Touch::Fourth),
            ("C4", Touch::MajorThird),
            ("A3", Touch::MinorThird),
        ] {
            let (notes, found) = read(&format!("1/2 E6[harmonic {stopped}] G"));
            assert!(found.is_empty(), "{found:?}");
            assert_eq!(notes[0].attached.touch, Some(touch), "{stopped}");
            assert!(notes[0].attached.marks.has(Mark::Harmonic));
            let next = notes[1].sound.pitches()[0].to_string();
            assert_eq!(next, "G6", "the octave in force is that of the note");
        }
        let (notes, _) = read("1/1 E5[harmonic]");
        assert_eq!(
            (notes[0].attached.touch, notes[0].attached.marks.has(Mark::Harmonic)),
            (None, true)
        );
    }

    #[test]
    fn a_harmonic_that_cannot_be_is_told_with_what_can() {
        for (bar, said, help) in [
            ("1/1 E6[harmonic F4]", "With F4 stopped no harmonic sounds E6.", "E6[harmonic E4]"),
            ("1/1 G#6[harmonic Fb4]", "is spelled E4, not Fb4", "G#6[harmonic E4]"),
            ("1/1 E6[harmonic E]", "one note with its octave", "E6[harmonic E4]"),
            ("1/1 E6[harmonic E4&A4]", "one note with its octave", "E6[harmonic E4]"),
            ("1/1 C6&E6[harmonic E4]", "is a single note", "a voice of its own"),
            ("1/1 E6[harmonic E4, trill]", "cannot have a trill", "Leave out the trill"),
            ("1/1 E6[harmonic E4, tremolo G]", "cannot have a tremolo", "Leave out the tremolo"),
            ("1/2 E6 =[harmonic E4]", "at the note that sounds", "E6[harmonic E4] ="),
            ("1/1 x[harmonic E4]", "at the note that sounds", "E6[harmonic E4] ="),
        ] {
            let (_, found) = read(bar);
            let told = found.iter().find(|one| one.code == "bars/harmonic");
            let told = told.unwrap_or_else(|| panic!("{bar}: {found:?}"));
            assert!(told.message.contains(said), "{bar}: {}", told.message);
            assert!(told.help.as_ref().is_some_and(|text| text.contains(help)), "{bar}: {told:?}");
        }
    }
}

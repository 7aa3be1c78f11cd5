//! What the editor shows between the signs of the source: numbers of bars, octaves that are
//! carried over, chords, written pitch.

use std::collections::HashMap;
use std::ops::Range;

use super::notes::sounded;
use super::settings::Hints;
use super::workspace::At;
use crate::diagnostics::ItemId;
use crate::resolve::{Note, Verb};
use crate::session::Session;
use crate::syntax::{BarTree, Declaration, Element, PitchTree, Spanned};

/// A hint at a byte.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Hint {
    /// Before which byte it is shown.
    pub at: usize,
    /// What is shown.
    pub text: String,
    /// What it means.
    pub about: &'static str,
    /// Does it stand apart from what comes before it, or from what follows?
    pub apart: (bool, bool),
}

/// The hints for some bytes of a file, in order.
pub fn hints(session: &mut Session, at: At, bytes: &Range<usize>, wanted: Hints) -> Vec<Hint> {
    let piece = session.piece(at.root);
    let harmony = wanted.chords.then(|| session.harmony(at.root));
    let harmony = harmony.as_deref().unwrap_or_default();
    let sources = session.sources();
    let within = |range: &Range<usize>| range.start <= bytes.end && bytes.start <= range.end;
    let mut hints = Vec::new();
    let mut own: HashMap<ItemId, Vec<Note>> = HashMap::new();
    if wanted.octaves {
        for note in piece.voices.iter().flat_map(|voice| &voice.music.notes) {
            if note.span.file == at.file {
                own.entry(note.span.first).or_default().push(note);
            }
        }
    }
    for block in session.document(at.file).blocks() {
        let Declaration::Voice(voice) = &*block.declaration else { continue };
        let mut number = piece.form.bars.first().map_or(1, |bar| bar.number);
        for bar in &voice.bars {
            if let Some(written) = bar.number() {
                number = i32::try_from(written.value).unwrap_or(i32::MAX);
            }
            let range = sources.range(bar.span());
            if within(&range) && !bar.broken() {
                if wanted.bar_numbers && bar.number().is_none() {
                    hints.push(Hint {
                        at: range.start,
                        text: format!("{number}:"),
                        about: "the number of this bar",
                        apart: (false, true),
                    });
                }
                let index = piece.form.index_of(number);
                if let Some(form) = index.map(|index| &piece.form.bars[index]) {
                    let after = harmony.partition_point(|event| event.start <= form.start);
                    let event = harmony[..after].last();
                    if let Some(event) = event.filter(|e| form.start < e.start + e.length) {
                        hints.push(Hint {
                            at: behind_number(session.document(at.file).text(), &range),
                            text: event.chord.to_string(),
                            about: "the chord with which this bar begins",
                            apart: (true, true),
                        });
                    }
                }
                let notes = own.get(&bar.span().first).map_or(&[][..], |notes| notes);
                if let Some(hint) = octave(bar, notes, |span| sources.range(span)) {
                    hints.push(hint);
                }
            }
            number = number.saturating_add(length(bar));
        }
    }
    if wanted.written_pitch {
        hints.extend(written(session, at, bytes));
    }
    hints.sort_by_key(|hint| hint.at);
    hints
}

/// The byte behind the number of a bar and its colon, or the bar's first.
fn behind_number(text: &str, bar: &Range<usize>) -> usize {
    let said = text.get(bar.clone()).unwrap_or_default();
    let digits = said.bytes().take_while(u8::is_ascii_digit).count();
    let numbered = digits > 0 && said[digits..].starts_with(':');
    bar.start + if numbered { digits + 1 } else { 0 }
}

/// How many bars a bar of the source fills.
fn length(bar: &BarTree) -> i32 {
    match &bar.read()[..] {
        [Spanned { value: Element::Rest(Some(bars), _), .. }] => {
            i32::try_from(*bars).unwrap_or(i32::MAX).max(1)
        }
        _ => 1,
    }
}

/// The octave of the first note of a bar, where it is not written.
fn octave(
    bar: &BarTree,
    notes: &[Note],
    range: impl Fn(crate::diagnostics::Span) -> Range<usize>,
) -> Option<Hint> {
    let elements = bar.read();
    let pitch = first_pitch(&elements)?;
    if pitch.octave.is_some() {
        return None;
    }
    let place = range(pitch.span);
    let note = notes.iter().find(|note| {
        let whole = range(note.span);
        whole.start <= place.start && place.end <= whole.end
    })?;
    let sounding = note.sound.pitches().iter().find(|p| p.name() == pitch.name)?;
    Some(Hint {
        at: place.end,
        text: sounding.octave.to_string(),
        about: "the octave, carried over from the note before",
        apart: (false, false),
    })
}

fn first_pitch(elements: &[Spanned<Element>]) -> Option<&PitchTree> {
    elements.iter().find_map(|element| match &element.value {
        Element::Note(pitches, _) => pitches.first(),
        Element::Tuplet(_, _, inner) => first_pitch(inner),
        _ => None,
    })
}

/// The written pitch of notes that are written by hand for a transposing instrument.
fn written(session: &mut Session, at: At, bytes: &Range<usize>) -> Vec<Hint> {
    let mut hints: Vec<Hint> = Vec::new();
    for arrangement in session.arrangements(at.root) {
        for line in &arrangement.scoring.lines {
            let Verb::Writes(music) = &line.verb else { continue };
            if line.span.file != at.file {
                continue;
            }
            for note in &music.notes {
                let range = session.sources().range(note.span);
                if range.start > bytes.end || bytes.start > range.end {
                    continue;
                }
                let Some((_, part, sounding)) = sounded(&arrangement, &note).next() else {
                    continue;
                };
                let pitches = sounding.sound().pitches();
                let read: Vec<_> =
                    pitches.iter().map(|p| part.written(*p, sounding.start())).collect();
                let hint = Hint {
                    at: range.end,
                    text: read.iter().map(ToString::to_string).collect::<Vec<_>>().join(" "),
                    about: "written pitch in the part",
                    apart: (true, false),
                };
                if read != pitches && !hints.contains(&hint) {
                    hints.push(hint);
                }
            }
        }
    }
    hints
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{FORM, text};

    fn shown(source: &str, wanted: Hints) -> String {
        let (mut session, at) = text(source);
        let all = hints(&mut session, at, &(0..source.len()), wanted);
        let mut shown = session.document(at.file).text().to_string();
        for hint in all.iter().rev() {
            shown.insert_str(hint.at, &format!("‹{}›", hint.text));
        }
        shown
    }

    const NONE: Hints =
        Hints { bar_numbers: false, octaves: false, chords: false, written_pitch: false };

    #[test]
    fn bars_without_a_number_and_octaves_that_are_carried_over_are_told() {
        let source =
            format!("{FORM}voice upper {{\n  1: 1/1 D5 | F# |\n  rest | 3:2(1/2 A B C) |\n}}\n");
        let numbers = shown(&source, Hints { bar_numbers: true, ..NONE });
        assert!(numbers.contains("1: 1/1 D5 | ‹2:›F# |\n  ‹3:›rest | ‹4:›3:2("), "{numbers}");
        let octaves = shown(&source, Hints { octaves: true, ..NONE });
        assert!(octaves.contains("1: 1/1 D5 | F#‹5› |\n  rest | 3:2(1/2 A‹5› B C)"), "{octaves}");
        assert_eq!(shown(&source, NONE), source);
    }

    #[test]
    fn a_rest_of_several_bars_counts_so_many() {
        let source = format!("{FORM}voice upper {{\n  1: rest 3 | 1/1 D5 |\n}}\n");
        let numbers = shown(&source, Hints { bar_numbers: true, ..NONE });
        assert!(numbers.contains("rest 3 | ‹4:›1/1 D5"), "{numbers}");
    }

    #[test]
    fn chords_and_written_pitch_are_told() {
        let source = format!(
            "{FORM}voice upper {{\n  1: 1/1 D5 | 2: A5 | 3: D5 | 4: D5 |\n}}\nharmony {{\n  1: Dm | 2: A7 | 3: Dm | 4: Dm |\n}}\nensemble duo {{\n  era 1770\n  horn crook D\n}}\nscoring small for duo {{\n  horn writes as harmony {{\n    1: 1/1 D4 |\n  }}\n}}\n"
        );
        let chords = shown(&source, Hints { chords: true, ..NONE });
        assert!(chords.contains("2:‹A7› A5"), "{chords}");
        let written = shown(&source, Hints { written_pitch: true, ..NONE });
        assert!(written.contains("1: 1/1 D4‹C5› |"), "{written}");
    }
}

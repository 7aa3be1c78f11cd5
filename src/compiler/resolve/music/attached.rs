//! What hangs on notes and what stands between them: marks and directions.

use super::*;
use crate::diagnostics::instead_of;
use crate::music::{Letter, PitchName};
use crate::narrow::Narrow;

impl Builder<'_> {
    /// What is written at a note, or at a stroke without pitch, with the grace notes before it.
    pub(super) fn attached(&mut self, written: &[MarkTree], stroke: bool) -> Attached {
        let (marks, tremolo) = self.marks(written);
        Attached {
            marks,
            tremolo,
            slur_starts: std::mem::take(&mut self.state.slur_waits),
            slur_ends: false,
            neighbour: None,
            touch: None,
            of_two: None,
            graces: self.graces_before(stroke).map(Box::new),
        }
    }

    /// The grace notes that wait for their main note. Those of a note have pitches, those of a stroke
    /// have none.
    fn graces_before(&mut self, stroke: bool) -> Option<Graces> {
        let (mut graces, span) = self.state.graces.take()?;
        if graces.notes.iter().all(|(_, pitches)| pitches.is_empty() == stroke) {
            return Some(graces);
        }
        let said = "Grace notes before a stroke without pitch are strokes.";
        let told = if stroke {
            graces.notes.iter_mut().for_each(|(_, pitches)| *pitches = Pitches::default());
            Diagnostic::warning("bars/grace", span, said)
                .with_text("the pitches are left out")
                .with_help("Write `x` for each of them: `grace(1/16 x)`.")
        } else {
            Diagnostic::error("bars/grace", span, "Grace notes before a note have pitches.")
                .with_help("Write the pitch of each: `grace(1/16 E5)`.")
        };
        self.cx.push(told);
        stroke.then_some(graces)
    }

    /// Holds a note on, with what stands at its `=`.
    pub(super) fn hold_on(
        &mut self,
        last: usize,
        length: Time,
        attached: Attached,
        (bar, span): (i32, Span),
    ) {
        let note = &mut self.notes[last];
        note.length += length;
        for mark in attached.marks.iter() {
            note.attached.marks.insert(mark);
        }
        // A slur over notes that are tied begins with the first of them (common practice).
        note.attached.slur_starts |= attached.slur_starts;
        let what = match () {
            () if attached.graces.is_some() => "grace notes",
            () if attached.tremolo != 0 && attached.tremolo != note.attached.tremolo => {
                "a tremolo of its own"
            }
            () => return,
        };
        self.cx.push(
            Diagnostic::warning("bars/hold", span, format!("A held note cannot have {what}."))
                .with_text("left out")
                .with_help("Write the note again in place of `=`, so that it is struck there.")
                .with_bars(bar, bar),
        );
    }

    /// The neighbour that a trill, mordent or turn on these pitches names.
    pub(super) fn neighbour(
        &mut self,
        written: &[MarkTree],
        pitches: &[Pitch],
    ) -> Option<PitchName> {
        let named = |mark: &&MarkTree| {
            mark.note.is_some() && !["tremolo", "harmonic"].contains(&mark.word.value.as_str())
        };
        let mark = written.iter().find(named)?;
        let (note, main) = (mark.note.as_ref()?, pitches.last()?);
        let way = match mark.word.value.as_str() {
            "trill" | "turn" => 1,
            "mordent" => -1,
            word => {
                self.cx.push(
                    Diagnostic::error(
                        "bars/neighbour",
                        note.span,
                        format!("`{word}` has no other note."),
                    )
                    .with_help(
                        "`trill`, `turn` and `mordent` name a note, `[trill Eb]`, `tremolo` the note \
                         that it goes to and fro with, `[tremolo A]`, and `harmonic` the note \
                         that is stopped, `[harmonic E4]`.",
                    ),
                );
                return None;
            }
        };
        let [PitchTree { name, octave: None, .. }] = note.value[..] else {
            self.cx.push(
                Diagnostic::error(
                    "bars/neighbour",
                    note.span,
                    "A neighbour is one note, named without its octave.",
                )
                .with_help("It lies right beside its note: `[trill Eb]`."),
            );
            return None;
        };
        let letter = Letter::from_step(main.step() + way);
        let octave = main.octave + i8::from(way > 0 && letter == Letter::C)
            - i8::from(way < 0 && letter == Letter::B);
        let distance = (Pitch::new(letter, name.alter, octave).midi() - main.midi()) * way;
        if name.letter == letter && (1..=2).contains(&distance) {
            return Some(name);
        }
        let side = if way > 0 { "above" } else { "below" };
        self.cx.push(
            Diagnostic::error(
                "bars/neighbour",
                note.span,
                format!("{name} is not the neighbour of {main} {side} it."),
            )
            .with_help("A neighbour has the next letter and is a semitone or a tone away."),
        );
        None
    }

    pub(super) fn marks(&mut self, written: &[MarkTree]) -> (Marks, u8) {
        let (mut marks, mut tremolo) = (Marks::NONE, 0);
        // `con sord` is one thing to say, and a direction.
        let phrase: Vec<&str> = written.iter().map(|mark| mark.word.value.as_str()).collect();
        if let [first, .., last] = written
            && let Some(meant) = instead_of(&phrase.join(" "))
        {
            let span = first.word.span.to(last.word.span);
            let mut finding = phrase_finding(&phrase.join(" "), meant, span);
            if is_direction(meant) {
                finding.fixes.clear();
            }
            self.cx.push(finding);
            return (marks, tremolo);
        }
        for mark in written {
            let word = mark.word.value.as_str();
            if word == "tremolo" {
                if strokes_of(mark).is_none() {
                    self.cx.push(
                        Diagnostic::error(
                            "bars/tremolo",
                            mark.word.span,
                            "No tremolo has such strokes.",
                        )
                        .with_help("Strokes are 1/8, 1/16, 1/32 or 1/64: `[tremolo 1/16]`."),
                    );
                }
                tremolo = strokes_of(mark).unwrap_or(UNMEASURED);
            } else if let Some((mark, _)) = Mark::WORDS.iter().find(|(_, known)| *known == word) {
                marks.insert(*mark);
            } else {
                let mut known: Vec<&str> = Mark::WORDS.iter().map(|(_, word)| *word).collect();
                known.push("tremolo");
                let finding = unknown(&mark.word, &known, "mark", word);
                let direction = instead_of(word).unwrap_or(word);
                self.cx.push(if is_direction(direction) {
                    finding.with_help(format!(
                        "Write a direction by itself, with a space before it: `[{direction}] D5`."
                    ))
                } else if finding.fixes.is_empty() {
                    let known = finding.help.clone().unwrap_or_default();
                    finding.with_help(format!(
                        "{known} Write other words by themselves, in quotes: `[\"{word}.\"] D5`."
                    ))
                } else {
                    finding
                });
            }
        }
        (marks, tremolo)
    }

    /// Marks on a rest: only the fermata has a sense there.
    pub(super) fn rest_marks(&mut self, at: Time, written: &[MarkTree]) {
        for mark in written {
            if mark.word.value == "fermata" {
                let (kind, span) = (DirectionKind::FermataOnRest, mark.word.span);
                self.music.directions.push(Direction { at, kind, span });
            } else {
                self.cx.push(
                    Diagnostic::error(
                        "bars/mark-on-rest",
                        mark.word.span,
                        "This mark needs a note.",
                    )
                    .with_help("A rest can have only `fermata`."),
                );
            }
        }
    }

    pub(super) fn directions(&mut self, bar: &mut BarState, words: &[DirectionWord]) {
        let at = bar.at;
        let phrase: Vec<&str> = words.iter().map(|said| said.word.value.as_str()).collect();
        if let ([first, .., last], Some(meant)) = (words, instead_of(&phrase.join(" "))) {
            let span = first.word.span.to(last.word.span);
            return self.cx.push(phrase_finding(&phrase.join(" "), meant, span));
        }
        for said in words {
            let word = said.word.value.as_str();
            let span = said.word.span;
            let kind = if said.quoted {
                DirectionKind::words(word)
            } else if let Some(dynamic) = dynamic(word) {
                self.end_hairpin(at);
                DirectionKind::Dynamic(dynamic)
            } else if let Some(grows) = hairpin(word) {
                self.end_hairpin(at);
                self.state.hairpin = Some((self.music.directions.len(), span));
                DirectionKind::Hairpin { grows, to: self.form.end() }
            } else if word == "to" {
                if self.state.hairpin.is_none() {
                    self.cx.push(
                        Diagnostic::error("bars/hairpin", span, "There is no hairpin to end.")
                            .with_help("`[to]` ends `[cresc]` or `[dim]`."),
                    );
                }
                self.end_hairpin(at);
                continue;
            } else if let Some((technique, ..)) =
                Technique::WORDS.iter().find(|(_, known, _)| *known == word)
            {
                DirectionKind::Technique(*technique)
            } else if word == "tremolo" || Mark::WORDS.iter().any(|(_, known)| *known == word) {
                // A note may be missing here: whether the bar is full is not worth saying.
                bar.counted = false;
                self.cx.push(mark_alone(word, span, bar.number));
                continue;
            } else {
                let mut known = MOMENTARY_DIRECTIONS.to_vec();
                known.extend(crate::resolve::Dynamic::WORDS.iter().map(|(_, word)| *word));
                known.extend(Technique::WORDS.iter().map(|(_, word, _)| *word));
                let finding = unknown(&said.word, &known, "direction", word);
                self.cx.push(if finding.fixes.is_empty() {
                    finding
                        .with_help(format!("Put printed words in quotes: `[\"{word}\"]`."))
                        .with_fix("put it in quotes", span, format!("\"{word}\""), false)
                } else {
                    finding
                });
                continue;
            };
            self.music.directions.push(Direction { at, kind, span });
        }
    }

    pub(super) fn end_hairpin(&mut self, at: Time) {
        if let Some((index, _)) = self.state.hairpin.take() {
            self.music.directions.end_hairpin(index, at);
        }
    }
}

fn is_direction(word: &str) -> bool {
    MOMENTARY_DIRECTIONS.contains(&word)
        || dynamic(word).is_some()
        || Technique::WORDS.iter().any(|(_, known, _)| *known == word)
}

fn phrase_finding(said: &str, meant: &str, span: Span) -> Diagnostic {
    Diagnostic::error("names/unknown", span, format!("Unknown direction `{said}`."))
        .with_help(format!("Ripieno calls it `{meant}`, with a space before it: `[{meant}] D5`."))
        .with_fix(format!("write `{meant}`"), span, meant, false)
}

fn mark_alone(word: &str, span: Span, bar: i32) -> Diagnostic {
    Diagnostic::error("bars/mark-alone", span, format!("The mark `{word}` has no note."))
        .with_help(format!(
            "A mark follows its note without a space: `D5[{word}]`. Is a note missing before it?"
        ))
        .with_bars(bar, bar)
}

/// Strokes of a tremolo that is not measured.
pub(super) const UNMEASURED: u8 = 3;

/// Strokes of a tremolo; `None` where its value is that of none.
pub(super) fn strokes_of(mark: &MarkTree) -> Option<u8> {
    mark.value.map_or(Some(UNMEASURED), |value| strokes(exact(value)))
}

/// Strokes of a tremolo of that value.
fn strokes(value: Result<Time, String>) -> Option<u8> {
    let (numerator, denominator) = value.ok()?.fraction();
    (numerator == 1 && (8..=64).contains(&denominator))
        .then(|| denominator.trailing_zeros().narrow::<u8>() - 2)
}

//! Bars of notes: values and octaves that hold on, ties, tuplets, slurs, and the count of every
//! bar.

mod attached;
mod by_turns;
mod harmonics;
mod miscounted;
mod repeated;
mod slurs;
mod tuplets;
mod words;

use std::sync::Arc;

pub(super) use miscounted::{Counted, Finding};
use miscounted::{TOO_LONG, TOO_SHORT};

use super::counting::{BarCount, Counting, no_such_rest};
use super::dynamics::{dynamic, hairpin};
use super::form::{bad_value, exact};
use super::piece::{
    Attached, BarIndices, Direction, DirectionKind, Form, Graces, Mark, Marks, Music, Note,
    Packing, Pitches, Rest, Sound, Technique, Tuplet,
};
use super::{Resolver, unknown};
use crate::diagnostics::{Diagnostic, Span};
use crate::lists::push_slowly;
use crate::music::{Pitch, Time};
use crate::syntax::{BarTree, DirectionWord, Element, MarkTree, PitchTree, Spanned};

/// Words that may stand in brackets on their own, besides dynamics and techniques.
pub const MOMENTARY_DIRECTIONS: [&str; 3] = ["cresc", "dim", "to"];

/// The music of a voice or of a `writes` line.
pub(super) fn music(
    cx: &mut Resolver,
    bars: &[Arc<BarTree>],
    form: &Form,
    counting: Counting,
) -> Music {
    let mut builder = Builder {
        cx,
        form,
        music: Music::default(),
        packed: Packing::default(),
        notes: Vec::new(),
        state: State::default(),
    };
    let mut count = BarCount::new(counting);
    for (place, bar) in bars.iter().enumerate() {
        let following = bars.get(place + 1).and_then(|bar| bar.number());
        let (number, broken) = (bar.number(), bar.broken());
        // What could not be read behind the last bar need not be a bar.
        if broken && number.is_none() && count.next >= form.bars.len() {
            break;
        }
        let (before, expected) = (builder.cx.errors, count.next);
        let Some(index) =
            count.index(builder.cx, form, (number.as_ref(), following.as_ref()), bar.span())
        else {
            break;
        };
        count.next = builder.bar(bar, index);
        if broken || builder.cx.errors_since(before) || count.is_off() {
            let first = if counting == Counting::Whole { expected.min(index) } else { index };
            BarIndices::new(first, count.next).add(&mut builder.music.unsure);
        }
    }
    if count.is_off() || counting == Counting::Whole {
        BarIndices::new(count.next, form.bars.len()).add(&mut builder.music.unsure);
    }
    builder.finish(bars, count.next, counting)
}

/// What holds on from one element to the next.
#[derive(Default)]
struct State {
    value: Option<Time>,
    octave: Option<i8>,
    /// After a broken bar nothing is known of the value that would hold on from it …
    value_doubtful: bool,
    /// … nor of the octave …
    octave_doubtful: bool,
    /// … nor of the note and the slur.
    doubtful: bool,
    /// The note that `=` would hold.
    last: Option<usize>,
    slur: Option<Span>,
    slur_waits: bool,
    /// Is nothing to be said of a slur over one note: that is held on, or the slur is told already?
    slur_told: bool,
    hairpin: Option<(usize, Span)>,
    graces: Option<(Graces, Span)>,
}

/// What one bar knows while it is read.
struct BarState {
    number: i32,
    at: Time,
    end: Time,
    overflow: Option<Span>,
    counted: bool,
}

struct Builder<'a> {
    cx: &'a mut Resolver,
    form: &'a Form,
    music: Music,
    /// Its notes as far as they are packed, and those behind them, which may still change.
    packed: Packing,
    notes: Vec<Note>,
    state: State,
}

/// So many notes wait until they are packed together.
const WAITING: usize = 256;

/// What comes next may change so many notes before it: a slur looks at the two that it ends on.
const CHANGING: usize = 2;

impl Builder<'_> {
    /// Packs the notes that nothing changes any more, if they are many: a voice would take a dozen
    /// times its text.
    fn pack(&mut self) {
        if self.notes.len() < WAITING {
            return;
        }
        let settled = self.notes.len() - CHANGING;
        self.notes.drain(..settled).for_each(|note| self.packed.push(note));
        self.state.last = self.state.last.and_then(|last| last.checked_sub(settled));
    }

    /// Reads a bar; gives back the index of the bar after it.
    fn bar(&mut self, tree: &BarTree, index: usize) -> usize {
        self.pack();
        let frame = &self.form.bars[index];
        let whole = self.form.whole(index);
        if tree.broken() {
            self.state.value_doubtful = true;
            self.state.octave_doubtful = true;
            self.state.doubtful = true;
            self.state.last = None;
            // Its end may be among what could not be read.
            if self.state.slur.take().is_some() {
                self.end_slur();
            }
            self.state.slur_waits = false;
            self.covers(whole);
            return whole.after;
        }
        let elements = tree.read();
        if let Some((span, count, marks)) = bar_rest(&elements) {
            return self.bar_rest(&elements, index, span, count, marks);
        }
        let (start, end) = self.form.times_of(whole);
        let mut bar =
            BarState { number: frame.number, at: start, end, overflow: None, counted: true };
        let (before, crowd) = (self.cx.diagnostics.len(), self.cx.crowd.clone());
        for element in &elements {
            self.element(&mut bar, element, None);
        }
        repeated::gather(self.cx, before, crowd);
        let last = elements.last().map_or_else(|| tree.span(), |element| element.span);
        self.count(last, &bar, end - start);
        if let Some((_, span)) = self.state.graces.take() {
            self.cx.push(
                Diagnostic::error(
                    "bars/grace",
                    span,
                    "These grace notes have no main note after them.",
                )
                .with_help("Write grace notes right before a note, in the same bar."),
            );
        }
        self.covers(whole);
        whole.after
    }

    fn bar_rest(
        &mut self,
        elements: &[Spanned<Element>],
        index: usize,
        span: Span,
        count: u32,
        marks: &[MarkTree],
    ) -> usize {
        let number = self.form.bars[index].number;
        let mut others = elements.iter().filter(|e| {
            e.span != span && !matches!(e.value, Element::Direction(_) | Element::Value(_))
        });
        if let Some(other) = others.next() {
            let bars = if count == 1 { "a whole bar" } else { "whole bars" };
            self.cx.push(
                Diagnostic::error(
                    "bars/too-long",
                    other.span,
                    format!("`rest {count}` fills bar {number}, but the bar has other notes too."),
                )
                .with_label(span, format!("{bars} of rest"))
                .with_help(
                    "Write a number of bars in a bar of its own; beside notes write `rest` with \
                     a value before it, for example `1/4 rest`.",
                )
                .with_bars(number, number),
            );
        }
        let mut bar = BarState {
            number,
            at: self.form.bars[index].start,
            end: self.form.end(),
            overflow: None,
            counted: true,
        };
        for element in elements {
            if matches!(element.value, Element::Direction(_) | Element::Value(_)) {
                self.element(&mut bar, element, None);
            }
        }
        self.rest_marks(bar.at, marks);
        self.state.last = None;
        let room = self.form.counted_from(index);
        if count == 0 || count as usize > room {
            let help = format!("Write `rest {room}` to rest to the end.");
            self.cx.push(no_such_rest(number, span, (count, room)).with_help(help));
        }
        let after = self.form.after_counted(index, (count.max(1) as usize).min(room));
        let last = &self.form.bars[after - 1];
        let (start, length) = (bar.at, last.start + last.length - bar.at);
        push_slowly(&mut self.music.rests, Rest { start, length, span });
        self.covers(BarIndices::new(index, after));
        after
    }

    fn covers(&mut self, bars: BarIndices) {
        match self.music.bars.last_mut() {
            Some(last) if last.after == bars.first => last.after = bars.after,
            _ => self.music.bars.push(bars),
        }
    }

    /// Says where a bar, whose last element that is, is too long or too short.
    fn count(&mut self, last: Span, bar: &BarState, length: Time) {
        if !bar.counted {
            return;
        }
        let index = self.form.index_at(bar.end - length);
        let frame = &self.form.bars[index];
        let amount = |time: Time| words::amount(time, frame.metre);
        let (number, over) = (bar.number, bar.at - bar.end);
        let (code, span, message, text) = if let Some(span) = bar.overflow {
            let message = format!("Bar {number} is {} too long.", amount(over));
            (TOO_LONG, span, message, "the bar overflows here")
        } else if bar.at < bar.end {
            let message = format!("Bar {number} is {} too short.", amount(-over));
            (TOO_SHORT, last, message, "the bar ends after this")
        } else {
            return self.cx.counted.voice(index, over, None);
        };
        let told = self.cx.push_and_know(
            Diagnostic::error(code, span, message)
                .with_text(text)
                .with_help(format!(
                    "A bar of {} holds {}; this one holds {}.",
                    frame.metre,
                    words::in_units(length, frame.metre),
                    words::in_units(length + over, frame.metre)
                ))
                .with_bars(number, number),
        );
        self.cx.counted.voice(index, over, Some(Finding::of(told, span)));
    }

    fn element(
        &mut self,
        bar: &mut BarState,
        element: &Spanned<Element>,
        tuplet: Option<(u8, u8)>,
    ) {
        let span = element.span;
        match &element.value {
            Element::Value(value) => match exact(*value) {
                Ok(time) => {
                    self.state.value = Some(time);
                    self.state.value_doubtful = false;
                }
                Err(message) => {
                    bar.counted = false;
                    self.state.value_doubtful = true;
                    self.cx.push(bad_value(span, message));
                }
            },
            Element::Note(pitches, marks) => {
                let pitches = self.pitches(pitches);
                let neighbour = self.neighbour(marks, &pitches);
                let other = self.other_of_two(marks, &pitches, tuplet.is_some());
                let touch = self.touch(marks, &pitches);
                let attached = Attached { neighbour, touch, ..self.attached(marks, false) };
                match other {
                    Some(other) => self.sounds_by_turns(bar, (pitches, other), attached, span),
                    None => self.sounds(bar, Sound::Pitches(pitches), attached, span, tuplet),
                }
            }
            Element::Stroke(marks) => {
                self.untouched(marks);
                let attached = self.attached(marks, true);
                self.sounds(bar, Sound::Stroke, attached, span, tuplet);
            }
            Element::Rest(Some(count), _) => {
                bar.counted = false;
                self.cx.push(
                    Diagnostic::error(
                        "bars/too-long",
                        span,
                        format!("`rest {count}` is a rest of whole bars."),
                    )
                    .with_help("Inside a tuplet write `rest` with a value: `1/8 rest`."),
                );
            }
            Element::Rest(None, marks) => {
                self.rest_marks(bar.at, marks);
                self.state.last = None;
                let start = bar.at;
                let length = self.advance(bar, span, tuplet);
                push_slowly(&mut self.music.rests, Rest { start, length, span });
            }
            Element::Hold(marks) => {
                let struck = self
                    .state
                    .last
                    .is_some_and(|last| matches!(self.notes[last].sound, Sound::Stroke));
                self.untouched(marks);
                let attached = self.attached(marks, struck);
                let length = self.advance(bar, span, tuplet);
                self.state.slur_told = true;
                match self.state.last {
                    Some(last) if self.notes[last].attached.of_two.is_some() => self.cx.push(
                        Diagnostic::error(
                            "bars/hold",
                            span,
                            "A tremolo between two notes is not held on with `=`.",
                        )
                        .with_help("Write both notes again: `D5[tremolo A]`.")
                        .with_bars(bar.number, bar.number),
                    ),
                    Some(last) => self.hold_on(last, length, attached, (bar.number, span)),
                    None if self.state.doubtful => {}
                    None => self.cx.push(
                        Diagnostic::error("bars/hold", span, "There is no preceding note to hold.")
                            .with_help("`=` holds the note right before it; a rest is `rest`.")
                            .with_bars(bar.number, bar.number),
                    ),
                }
            }
            Element::Direction(words) => self.directions(bar, words),
            Element::SlurStart => {
                self.state.slur_told = false;
                if let Some(open) = self.state.slur.replace(span) {
                    self.state.slur_told = true;
                    self.cx.push(
                        Diagnostic::error("bars/slur", span, "A slur begins inside a slur.")
                            .with_label(open, "the first one begins here")
                            .with_help("End the first with `}` before the next `{`."),
                    );
                }
                self.state.slur_waits = true;
            }
            Element::SlurEnd => self.slur_end(span, bar.number),
            Element::Tuplet(actual, normal, elements) => {
                self.tuplet(bar, (*actual, *normal), elements, span);
            }
            Element::Grace(crushed, elements) => self.grace(*crushed, elements, span),
        }
    }

    fn grace(&mut self, crushed: bool, elements: &[Spanned<Element>], span: Span) {
        let mut value = if crushed { Time::EIGHTH } else { Time::of(1, 16) };
        let octave = self.state.octave;
        let mut notes = Vec::new();
        for element in elements {
            match &element.value {
                Element::Value(written) => match exact(*written) {
                    Ok(time) => value = time,
                    Err(message) => self.cx.push(bad_value(element.span, message)),
                },
                Element::Note(pitches, _) => notes.push((value, self.pitches(pitches))),
                Element::Stroke(_) => notes.push((value, Pitches::default())),
                _ => {}
            }
        }
        self.state.octave = octave;
        if notes.is_empty() {
            return self.cx.push(
                Diagnostic::error("bars/grace", span, "There are no notes in these brackets.")
                    .with_help("Write `grace(1/16 E5 F)`."),
            );
        }
        self.state.graces = Some((Graces { crushed, notes }, span));
    }

    fn pitches(&mut self, written: &[PitchTree]) -> Pitches {
        let mut pitches = Pitches::default();
        let mut before: Option<Span> = None;
        for pitch in written {
            self.state.octave_doubtful &= pitch.octave.is_none();
            let octave = pitch.octave.or(self.state.octave).unwrap_or_else(|| {
                if !self.state.octave_doubtful {
                    self.cx.push(
                        Diagnostic::error(
                            "bars/octave",
                            pitch.span,
                            "The first note needs its octave.",
                        )
                        .with_help(format!(
                            "Write `{}4` for the octave from middle C up.",
                            pitch.name
                        ))
                        .with_fix(
                            "write octave 4",
                            pitch.span,
                            format!("{}4", pitch.name),
                            false,
                        ),
                    );
                }
                4
            });
            self.state.octave = Some(octave);
            let (span, pitch): (Span, Pitch) = (pitch.span, pitch.name.at(octave));
            if !pitches.contains(&pitch) {
                pitches.push(pitch);
            } else if let Some(before) = before {
                self.cx.push(same_twice(before, span, pitch));
            }
            before = Some(span);
        }
        pitches.sort_unstable();
        pitches
    }

    /// Takes the value in force out of the bar; gives back how long it lasts.
    fn advance(&mut self, bar: &mut BarState, span: Span, tuplet: Option<(u8, u8)>) -> Time {
        let value = self.state.value.unwrap_or_else(|| {
            if !self.state.value_doubtful {
                self.cx.push(
                    Diagnostic::error("bars/no-value", span, "The first note needs a value.")
                        .with_help("Write one before it, for example `1/4`.")
                        .with_fix("write a quarter", span.before(), "1/4 ", false),
                );
            }
            bar.counted = false;
            Time::QUARTER
        });
        if self.state.value_doubtful {
            bar.counted = false;
        }
        self.state.value = Some(value);
        let length = match tuplet {
            None => value,
            Some((actual, normal)) => {
                value.scaled(i64::from(normal), i64::from(actual)).unwrap_or_else(|| {
                    bar.counted = false;
                    self.cx.push(bad_value(span, "This value is too short for a tuplet.".into()));
                    value
                })
            }
        };
        let room = (bar.end - bar.at).max(Time::ZERO);
        bar.at += length;
        if bar.at > bar.end && bar.overflow.is_none() {
            bar.overflow = Some(span);
        }
        length.min(room)
    }

    fn sounds(
        &mut self,
        bar: &mut BarState,
        sound: Sound,
        attached: Attached,
        span: Span,
        tuplet: Option<(u8, u8)>,
    ) {
        let start = bar.at;
        let length = self.advance(bar, span, tuplet);
        if !length.is_positive() {
            // There is no room for it, which is told elsewhere: nothing follows from its absence.
            self.state.last = None;
            self.state.doubtful = true;
            return;
        }
        self.state.last = Some(self.notes.len());
        self.notes.push(Note { start, length, sound, attached, span });
    }

    fn finish(mut self, bars: &[Arc<BarTree>], next: usize, counting: Counting) -> Music {
        if let Some(open) = self.state.slur {
            self.cx.push(
                Diagnostic::error("bars/slur", open, "This slur does not end.")
                    .with_help("Write `}` right after its last note."),
            );
            self.end_slur();
        }
        if let Some((_, span)) = self.state.hairpin {
            let end = self.notes.last().map_or(self.form.end(), |n| n.start + n.length);
            self.cx.push(
                Diagnostic::warning("bars/hairpin", span, "This hairpin does not end.")
                    .with_help("Write a dynamic, or `[to]`, where it ends."),
            );
            self.end_hairpin(end);
        }
        self.notes.into_iter().for_each(|note| self.packed.push(note));
        self.music.notes = self.packed.finish();
        self.music.directions = std::mem::take(&mut self.music.directions).finished();
        let missing = self.form.counted_from(next);
        if counting == Counting::Whole
            && missing > 0
            && !self.cx.told.all_end_early
            && let Some(last) = bars.last()
        {
            let end = self.form.bars.last().map_or(0, |bar| bar.number);
            self.cx.push(
                Diagnostic::error(
                    "bars/missing",
                    last.span(),
                    format!(
                        "This voice ends {missing} {} before the piece, which has {end}.",
                        if missing == 1 { "bar" } else { "bars" }
                    ),
                )
                .with_help(format!(
                    "Add `{}: rest {missing} |` if it rests to the end.",
                    self.form.bars[next].number
                )),
            );
        }
        self.music
    }
}

/// The rest that fills its bar or more, with its count and marks: one with a number, or one that
/// stands alone, without a value in its bar.
fn bar_rest(elements: &[Spanned<Element>]) -> Option<(Span, u32, &[MarkTree])> {
    let counted = elements.iter().find_map(|element| match &element.value {
        Element::Rest(Some(count), marks) => Some((element.span, *count, marks.as_slice())),
        _ => None,
    });
    counted.or_else(|| {
        let mut others = elements.iter().filter(|e| !matches!(e.value, Element::Direction(_)));
        match (others.next(), others.next()) {
            (Some(Spanned { value: Element::Rest(None, marks), span }), None) => {
                Some((*span, 1, marks))
            }
            _ => None,
        }
    })
}

fn same_twice(before: Span, span: Span, pitch: Pitch) -> Diagnostic {
    Diagnostic::warning("bars/same-twice", span, format!("This chord has {pitch} twice."))
        .with_text("this one is left out")
        .with_help("Write it once, or give the second to another player.")
        .with_fix("remove it", before.after().to(span), "", false)
}

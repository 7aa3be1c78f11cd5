//! Moves the beginnings and ends of notes that no value and no tuplet of the language reaches, so
//! that what is written is what stands in the lines: a note that is moved over a bar line begins in
//! the next bar, and a slur goes on from the notes that are left.

use super::loss::Losses;
use super::score::{Bar, Note, PartLine, TupletSpan};
use super::tuplets::{self, is_plain};
use crate::music::Time;

/// Moves what cannot be reached to the nearest 128th, and leaves out the notes of which nothing is
/// left. `part` is where that is told.
pub(super) fn line(line: &mut PartLine, bars: &[Bar], (part, losses): (usize, &mut Losses)) {
    let mut first = 0;
    let mut moved = false;
    for (index, bar) in bars.iter().enumerate() {
        while line.notes.get(first).is_some_and(|note| note.end <= bar.start) {
            first += 1;
        }
        let count = line.notes[first..].iter().take_while(|note| note.start < bar.end()).count();
        if count > 0 {
            let notes = &mut line.notes[first..first + count];
            moved |= in_bar(notes, &spans(&line.spans, bar), bar, (part, index, losses));
        }
    }
    if moved {
        drop_empty(&mut line.notes, bars, (part, losses));
    }
}

/// The notes and rests of tuplets that begin in a bar, in times from its beginning.
pub(super) fn spans(spans: &[TupletSpan], bar: &Bar) -> Vec<TupletSpan> {
    let first = spans.partition_point(|span| span.start < bar.start);
    let here = spans[first..].iter().take_while(|span| span.start < bar.end());
    let placed = here.map(|span| TupletSpan {
        start: span.start - bar.start,
        end: span.end - bar.start,
        ..*span
    });
    placed.collect()
}

/// The same in one bar, with the notes that sound in it; was anything moved?
fn in_bar(
    notes: &mut [Note],
    spans: &[TupletSpan],
    bar: &Bar,
    (part, index, losses): (usize, usize, &mut Losses),
) -> bool {
    for tries in 0.. {
        let Err(place) = tuplets::find(&places(notes, bar), spans, bar.length) else {
            return tries > 0;
        };
        // A bar of nothing but such times is moved at once, or it would take its square.
        const MOST_TRIES: usize = 64;
        let moves = |at: Time| at == place || (tries >= MOST_TRIES && !is_plain(at));
        losses.changed(
            "times that no value and no tuplet of at most 16 reaches, moved by less than a 128th",
            Some(part),
            index,
        );
        let mut any = false;
        let mut nearest = |time: &mut Time| {
            let at = *time - bar.start;
            if at > Time::ZERO && at < bar.length && moves(at) {
                let count = (at + Time::of(1, 256)).div_floor(Time::of(1, 128));
                *time = bar.start + (Time::of(1, 128) * count).min(bar.length);
                any = true;
            }
        };
        // What lay between the place and where it is now is gone.
        let mut before = Time::ZERO;
        for note in &mut *notes {
            nearest(&mut note.start);
            nearest(&mut note.end);
            note.start = note.start.max(before);
            note.end = note.end.max(note.start);
            before = note.end;
        }
        // Where a bar itself ends at such a time, nothing can be done; `frame` makes none.
        if !any {
            break;
        }
    }
    true
}

/// Where something begins or ends in a bar, its own beginning and end among it, in order.
fn places(notes: &[Note], bar: &Bar) -> Vec<Time> {
    let mut places = vec![Time::ZERO];
    for note in notes.iter().filter(|note| note.end > note.start) {
        for time in [note.start, note.end] {
            let at = (time - bar.start).max(Time::ZERO).min(bar.length);
            if places.last().is_none_or(|last| *last < at) {
                places.push(at);
            }
        }
    }
    if places.last().is_none_or(|last| *last < bar.length) {
        places.push(bar.length);
    }
    places
}

/// Leaves out notes without a length. A slur that begins or ends on one does so on the next or the
/// last one that is left, or is left out too where it would lie over a single note.
fn drop_empty(notes: &mut Vec<Note>, bars: &[Bar], (part, losses): (usize, &mut Losses)) {
    let bar_of = |time: Time| bars.partition_point(|bar| bar.end() <= time);
    let mut kept: Vec<Note> = Vec::with_capacity(notes.len());
    // Does a slur wait for the note on which it begins?
    let mut waits = false;
    for mut note in notes.drain(..) {
        let empty = note.end <= note.start;
        let bar = bar_of(note.start).min(bars.len().saturating_sub(1));
        if empty {
            losses.left_out("notes too short for any value", Some(part), bar);
        }
        if note.slur_ends {
            let alone = match (empty, kept.last_mut()) {
                _ if std::mem::take(&mut waits) => true,
                (true, Some(last)) if !last.slur_starts => {
                    last.slur_ends = true;
                    false
                }
                (true, Some(last)) => {
                    last.slur_starts = false;
                    true
                }
                (true, None) => true,
                (false, _) => false,
            };
            if alone {
                note.slur_ends = false;
                losses.left_out("slurs over a single note", Some(part), bar);
            }
        }
        waits |= empty && note.slur_starts;
        if !empty {
            note.slur_starts |= std::mem::take(&mut waits);
            kept.push(note);
        }
    }
    *notes = kept;
}

#[cfg(test)]
mod tests {
    use super::super::voice;
    use super::*;
    use crate::music::{Key, Metre};

    /// So little that no value and no tuplet reaches it.
    const LITTLE: Time = Time::of(1, 8 * 9 * 13);

    const HALF: Time = Time::of(1, 2);

    fn bar(index: i32, length: Time) -> Bar {
        Bar {
            number: index + 1,
            label: String::new(),
            start: Time::WHOLE * i64::from(index),
            length,
            metre: Metre::FOUR_FOUR,
            key: Key::C_MAJOR,
            metre_shown: index == 0,
            key_shown: index == 0,
            tempo: None,
            mark: None,
            double: false,
        }
    }

    fn note((start, end): (Time, Time), pitch: &str, slur: &str) -> Note {
        Note {
            start,
            end,
            pitches: smallvec::smallvec![pitch.parse().unwrap()],
            marks: Default::default(),
            tremolo: 0,
            of_two: None,
            touch: None,
            slur_starts: slur == "{",
            slur_ends: slur == "}",
            graces: None,
            lyrics: None,
        }
    }

    /// Two bars of 4/4 with these notes of a line, as they are written, and what is told of them. A
    /// note ends where the next one begins, the last with the bars.
    fn written(notes: &[(Time, &str, &str)]) -> (Vec<String>, Vec<(String, usize)>) {
        let bars = [bar(0, Time::WHOLE), bar(1, Time::WHOLE)];
        let ends = notes.iter().skip(1).map(|note| note.0).chain([bars[1].end()]);
        let notes = notes.iter().zip(ends);
        let notes = notes.map(|((start, pitch, slur), end)| note((*start, end), pitch, slur));
        let mut in_line = PartLine { notes: notes.collect(), ..PartLine::default() };
        let mut losses = Losses::default();
        line(&mut in_line, &bars, (0, &mut losses));
        let mut out = String::new();
        voice::write(&mut out, &in_line, &bars, (0, &mut losses));
        let told = losses.finish(|_| Some("part".into()), |bar| i32::try_from(bar).ok());
        (
            out.lines().map(|bar| bar.trim().to_string()).collect(),
            told.into_iter().map(|loss| (loss.what, loss.count)).collect(),
        )
    }

    const MOVED: &str =
        "times that no value and no tuplet of at most 16 reaches, moved by less than a 128th";
    const SHORT: &str = "notes too short for any value";

    #[test]
    fn a_note_that_begins_just_before_a_bar_line_begins_behind_it() {
        let (bars, told) = written(&[(Time::ZERO, "C5", ""), (Time::WHOLE - LITTLE, "D5", "")]);
        assert_eq!(bars, ["1: 1/1 C5 |", "2: 1/1 D5 |"]);
        assert_eq!(told, [(MOVED.to_string(), 1)]);
    }

    #[test]
    fn a_bar_that_ends_where_nothing_can_be_moved_is_left_as_it_is() {
        let short = bar(0, Time::WHOLE - LITTLE);
        let notes = vec![note((Time::ZERO, short.end()), "C5", "")];
        let mut one = PartLine { notes, ..PartLine::default() };
        line(&mut one, &[short], (0, &mut Losses::default()));
        assert_eq!(one.notes[0].end, Time::WHOLE - LITTLE);
    }

    #[test]
    fn a_slur_to_a_note_that_ends_just_behind_a_bar_line_ends_with_it() {
        let notes = [(Time::ZERO, "C5", "{"), (HALF, "D5", "}"), (Time::WHOLE + LITTLE, "E5", "")];
        let (bars, told) = written(&notes);
        assert_eq!(bars, ["1: 1/2 {C5 D} |", "2: 1/1 E5 |"]);
        assert_eq!(told, [(MOVED.to_string(), 1)]);
    }

    #[test]
    fn a_slur_whose_first_or_last_note_is_too_short_is_one_of_the_others() {
        let notes = [
            (Time::ZERO, "C5", "{"),
            (LITTLE, "D5", ""),
            (HALF, "E5", ""),
            (Time::WHOLE - LITTLE, "F5", "}"),
            (Time::WHOLE, "G5", ""),
        ];
        let (bars, told) = written(&notes);
        assert_eq!(bars, ["1: 1/2 {D5 E} |", "2: 1/1 G5 |"]);
        assert_eq!(told, [(MOVED.to_string(), 2), (SHORT.to_string(), 2)]);
    }

    #[test]
    fn a_slur_of_which_one_note_is_left_is_none() {
        for (first, second) in [("{", "}"), ("", "{")] {
            let third = if second == "{" { "}" } else { "" };
            let at = HALF;
            let notes = [(Time::ZERO, "C5", first), (at, "D5", second), (at + LITTLE, "E5", third)];
            let (bars, told) = written(&notes);
            assert_eq!(bars, ["1: 1/2 C5 E |", "2: 1/1 = |"]);
            let alone = "slurs over a single note".to_string();
            assert_eq!(told, [(MOVED.to_string(), 1), (SHORT.to_string(), 1), (alone, 1)]);
        }
    }
}

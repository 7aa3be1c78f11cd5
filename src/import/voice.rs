//! Writes a line as a voice: bar by bar, values and octaves said again in each bar, so that a bar
//! can be read and moved by itself.

use std::fmt::Write;

use super::loss::Losses;
use super::reach;
use super::score::{Bar, Direction, Note, PartLine, Says, TupletSpan};
use super::signs;
use super::tuplets::{self, Tuplet, is_plain};
use crate::music::{Interval, Pitch, Time};
use crate::resolve::{Mark, Marks, OfTwo};

/// Something that stands in a bar: a note, what is held of one, or a rest.
#[derive(Clone, Copy, Debug)]
struct Piece {
    /// From the beginning of the bar.
    start: Time,
    end: Time,
    /// Which note of the line; `None` for a rest. Of a tremolo between two notes the first, and then
    /// the piece has the time of both.
    note: Option<usize>,
    /// Does the note begin here, does it end here?
    begins: bool,
    ends: bool,
}

/// The bars of a line, all of whose times can be reached, as they stand between the braces of a
/// voice; gives back which notes are struck there, each with the index of its bar.
pub(super) fn write(
    out: &mut String,
    line: &PartLine,
    bars: &[Bar],
    (part, losses): (usize, &mut Losses),
) -> Vec<(usize, usize)> {
    let directions = spoken(&line.directions, bars.last().map_or(Time::ZERO, Bar::end));
    let mut writer = Writer { line, directions: &directions, next: 0, note: 0, part, losses };
    let mut rests: Option<(i32, usize)> = None;
    let mut struck = Vec::new();
    for (index, bar) in bars.iter().enumerate() {
        let pieces = writer.pieces(bar, index);
        let silent = pieces.iter().all(|piece| piece.note.is_none());
        let due = writer.directions.get(writer.next).is_some_and(|(at, _)| {
            *at < bar.end() || (index + 1 == bars.len() && *at <= bar.end())
        });
        if silent && !due {
            rests.get_or_insert((bar.number, 0)).1 += 1;
            continue;
        }
        write_rests(out, rests.take());
        let tuplets = tuplets::find(&places(&pieces), &reach::spans(&line.spans, bar), bar.length);
        let tuplets = tuplets.unwrap_or_default();
        let pieces = writer.cut(pieces, (bar, index), &tuplets);
        let begun = pieces.iter().filter(|piece| piece.begins);
        struck.extend(begun.filter_map(|piece| Some((index, piece.note?))));
        let text = writer.bar(&pieces, bar, &tuplets, index + 1 == bars.len());
        let _ = writeln!(out, "  {}: {text} |", bar.number);
    }
    write_rests(out, rests);
    struck
}

fn write_rests(out: &mut String, rests: Option<(i32, usize)>) {
    let _ = match rests {
        None => Ok(()),
        Some((number, 1)) => writeln!(out, "  {number}: rest |"),
        Some((number, count)) => writeln!(out, "  {number}: rest {count} |"),
    };
}

/// Directions as they are written, in order of time. Hairpins end with the next dynamic or hairpin,
/// or else with `to`.
fn spoken(directions: &[Direction], end: Time) -> Vec<(Time, String)> {
    // Where each hairpin ends is one more thing to say; at one time ends come first.
    let mut events: Vec<(Time, u8, String)> = Vec::new();
    for direction in directions {
        let at = direction.at;
        match &direction.says {
            Says::Word(word) => {
                let order = if signs::dynamic(word).is_some() { 1 } else { 3 };
                events.push((at, order, (*word).to_string()));
            }
            Says::Hairpin { grows, to } => {
                events.push((at, 2, if *grows { "cresc" } else { "dim" }.to_string()));
                events.push(((*to).min(end), 0, "to".to_string()));
            }
            Says::Words(words) => events.push((at, 4, quoted(words))),
            Says::Fermata => events.push((at, 5, String::new())),
        }
    }
    events.sort_by_key(|event| (event.0, event.1));
    let mut open = false;
    let mut said: Vec<(Time, String)> = Vec::new();
    for index in 0..events.len() {
        let (at, order, word) = &events[index];
        if *order == 0 {
            let ended = events[index + 1..]
                .iter()
                .take_while(|(other, ..)| other == at)
                .any(|(_, order, _)| matches!(order, 1 | 2));
            if !open || ended {
                continue;
            }
        }
        open = match order {
            0 | 1 => false,
            2 => true,
            _ => open,
        };
        if said.last() != Some(&(*at, word.clone())) {
            said.push((*at, word.clone()));
        }
    }
    if open {
        said.push((end, "to".to_string()));
    }
    said
}

/// Words in quotes.
pub(super) fn quoted(words: &str) -> String {
    let plain: String = words
        .chars()
        .map(|c| match c {
            '"' => '”',
            c if c.is_control() => ' ',
            c => c,
        })
        .collect();
    format!("\"{}\"", plain.trim())
}

struct Writer<'a> {
    line: &'a PartLine,
    directions: &'a [(Time, String)],
    /// The next direction and the next note that are to be written.
    next: usize,
    note: usize,
    part: usize,
    losses: &'a mut Losses,
}

impl Writer<'_> {
    /// What stands in a bar, without gaps.
    fn pieces(&mut self, bar: &Bar, index: usize) -> Vec<Piece> {
        let notes = &self.line.notes;
        while notes.get(self.note).is_some_and(|note| note.end <= bar.start) {
            self.note += 1;
        }
        let mut pieces = Vec::new();
        let mut at = Time::ZERO;
        let mut here = self.note;
        while let Some(note) = notes.get(here).filter(|note| note.start < bar.end()) {
            let start = (note.start - bar.start).max(at);
            let both = of_two(notes, here)
                .filter(|[one, two]| one.start - bar.start == start && two.end <= bar.end())
                .filter(|[one, two]| {
                    let over = |span: &TupletSpan| span.start < two.end && one.start < span.end;
                    !self.line.spans.iter().any(over)
                });
            let last = both.map_or(note, |[_, two]| two);
            if both.is_none() && note.of_two == Some(OfTwo::First) {
                self.losses.left_out("tremolos between two notes", Some(self.part), index);
            }
            if note.start >= bar.start
                && note.touch.is_some()
                && stopped(note, both.map(|two| two[1])).is_none()
            {
                let what = "artificial harmonics in chords or with a trill, written as the notes that sound";
                self.losses.changed(what, Some(self.part), index);
            }
            let end = (last.end - bar.start).min(bar.length);
            if start > at {
                pieces.push(Piece { start: at, end: start, note: None, begins: true, ends: true });
            }
            if end > start {
                pieces.push(Piece {
                    start,
                    end,
                    note: Some(here),
                    begins: note.start >= bar.start,
                    ends: last.end <= bar.end(),
                });
                at = end;
            }
            here += if both.is_some() { 2 } else { 1 };
        }
        if at < bar.length {
            pieces.push(Piece { start: at, end: bar.length, note: None, begins: true, ends: true });
        }
        pieces
    }

    /// The other one of a tremolo between two notes whose first a piece is.
    fn other_of(&self, piece: &Piece) -> Option<&Note> {
        let [one, two] = of_two(&self.line.notes, piece.note?)?;
        (piece.begins && piece.end - piece.start == two.end - one.start).then_some(two)
    }

    /// Cuts pieces at the edges of tuplets and where directions stand.
    fn cut(
        &mut self,
        pieces: Vec<Piece>,
        (bar, index): (&Bar, usize),
        tuplets: &[Tuplet],
    ) -> Vec<Piece> {
        let mut edges: Vec<Time> = tuplets.iter().flat_map(|t| [t.start, t.end]).collect();
        for (at, _) in self.directions[self.next..].iter().take_while(|(at, _)| *at < bar.end()) {
            let at = *at - bar.start;
            let inside = tuplets.iter().find(|t| t.start < at && at < t.end);
            let fits = match inside {
                None => is_plain(at),
                Some(tuplet) => tuplet.written(at - tuplet.start).is_some(),
            };
            if fits && at > Time::ZERO {
                edges.push(at);
            } else if at > Time::ZERO {
                self.losses.changed(
                    "dynamics and words between notes, written at the next one",
                    Some(self.part),
                    index,
                );
            }
        }
        edges.sort_unstable();
        edges.dedup();
        let mut cut = Vec::with_capacity(pieces.len());
        for piece in pieces {
            let mut rest = piece;
            // Nothing is said in the middle of a tremolo between two notes.
            let whole = self.other_of(&piece).is_some();
            let inside = |edge: &&Time| !whole && **edge > piece.start && **edge < piece.end;
            for edge in edges.iter().filter(inside) {
                cut.push(Piece { end: *edge, ends: rest.note.is_none(), ..rest });
                rest = Piece { start: *edge, begins: rest.note.is_none(), ..rest };
            }
            cut.push(rest);
        }
        cut
    }

    /// The text of a bar between its number and its line.
    fn bar(&mut self, pieces: &[Piece], bar: &Bar, tuplets: &[Tuplet], last: bool) -> String {
        let whole = matches!(pieces, [piece] if piece.note.is_none());
        let mut text = Text::default();
        let mut tuplet = tuplets.iter().peekable();
        let mut inside: Option<Tuplet> = None;
        for piece in pieces {
            if let Some(begins) = tuplet.next_if(|tuplet| tuplet.start <= piece.start) {
                text.word(&format!("{}:{}(", begins.actual, begins.normal));
                text.opened = true;
                text.value = None;
                inside = Some(*begins);
            }
            let fermata = self.say(&mut text, bar.start + piece.start);
            let note = piece.note.map(|index| &self.line.notes[index]);
            if whole {
                text.word("rest");
                text.mark_rest(fermata);
                continue;
            }
            let length = piece.end - piece.start;
            let written = inside.map_or(Some(length), |t| t.written(length)).unwrap_or(length);
            text.piece(piece, (note, self.other_of(piece)), written, fermata);
            if let Some(ends) = inside.filter(|tuplet| tuplet.end <= piece.end) {
                debug_assert!(ends.end == piece.end);
                text.out.push(')');
                text.value = None;
                inside = None;
            }
        }
        if last {
            self.say(&mut text, bar.end());
        }
        text.out
    }

    /// Writes the directions that are due; gives back whether a fermata stands here.
    fn say(&mut self, text: &mut Text, until: Time) -> bool {
        let mut fermata = false;
        let mut words: Vec<&str> = Vec::new();
        while let Some((_, word)) = self.directions.get(self.next).filter(|(at, _)| *at <= until) {
            self.next += 1;
            if word.is_empty() {
                fermata = true;
            } else if !words.contains(&word.as_str()) {
                words.push(word);
            }
        }
        if !words.is_empty() {
            text.word(&format!("[{}]", words.join(" ")));
        }
        fermata
    }
}

fn places(pieces: &[Piece]) -> Vec<Time> {
    let mut places: Vec<Time> = vec![Time::ZERO];
    places.extend(pieces.iter().map(|piece| piece.end));
    places
}

/// The text of a bar while it grows.
#[derive(Default)]
struct Text {
    out: String,
    /// Nothing but an opening bracket stands before.
    opened: bool,
    value: Option<Time>,
    octave: Option<i8>,
    /// Where the line began.
    line: usize,
    /// Are these small notes, which stand on one line?
    small: bool,
}

impl Text {
    fn word(&mut self, word: &str) {
        if !self.small && self.out.len() - self.line > signs::FULL_LINE {
            self.line = self.out.len();
            self.out.push_str("\n    ");
        } else if !self.out.is_empty() && !self.opened {
            self.out.push(' ');
        }
        self.opened = false;
        self.out.push_str(word);
    }

    fn value(&mut self, value: Time) {
        if self.value != Some(value) {
            self.value = Some(value);
            self.word(&value_text(value));
        }
    }

    fn mark_rest(&mut self, fermata: bool) {
        if fermata {
            self.out.push_str("[fermata]");
        }
    }

    fn piece(
        &mut self,
        piece: &Piece,
        (note, other): (Option<&Note>, Option<&Note>),
        written: Time,
        fermata: bool,
    ) {
        let values = values(written);
        let last = values.len() - 1;
        for (index, value) in values.into_iter().enumerate() {
            let Some(note) = note else {
                self.value(value);
                self.word(signs::REST);
                self.mark_rest(fermata && index == 0);
                continue;
            };
            let begins = piece.begins && index == 0;
            if begins {
                self.graces(note);
            }
            self.value(value);
            if !begins {
                self.word("=");
            } else {
                let slur = if note.slur_starts { "{" } else { "" };
                let sound = self.sound(&note.pitches);
                self.word(&format!("{slur}{sound}{}", marks(note, other)));
            }
            if other.unwrap_or(note).slur_ends && piece.ends && index == last {
                self.out.push('}');
            }
        }
    }

    fn graces(&mut self, note: &Note) {
        let Some(graces) = &note.graces else { return };
        let mut inner = Text { small: true, ..Text::default() };
        for (value, pitches) in &graces.notes {
            inner.value(*value);
            let sound = inner.sound(pitches);
            inner.word(&sound);
        }
        let word = if graces.crossed { signs::CROSSED } else { "grace" };
        self.word(&format!("{word}({})", inner.out));
    }

    fn sound(&mut self, pitches: &[Pitch]) -> String {
        if pitches.is_empty() { "x".to_string() } else { self.chord(pitches) }
    }

    fn chord(&mut self, pitches: &[Pitch]) -> String {
        let mut chord = String::new();
        for pitch in pitches {
            if !chord.is_empty() {
                chord.push('&');
            }
            let _ = write!(chord, "{}", pitch.name());
            if self.octave != Some(pitch.octave) {
                self.octave = Some(pitch.octave);
                let _ = write!(chord, "{}", pitch.octave);
            }
        }
        chord
    }
}

/// The note that is stopped for an artificial harmonic, where the language can say so: of a single note
/// without a trill or the like.
fn stopped(note: &Note, other: Option<&Note>) -> Option<Pitch> {
    let [sounding] = note.pitches[..] else { return None };
    let turns = [Mark::Trill, Mark::Mordent, Mark::Turn].iter().any(|mark| note.marks.has(*mark));
    let touch = note.touch.filter(|_| other.is_none() && !turns)?;
    let stopped = touch.stopped(sounding);
    (Interval::between(stopped, sounding) == touch.sounds() && stopped.octave >= 0)
        .then_some(stopped)
}

fn marks(note: &Note, other: Option<&Note>) -> String {
    let mut all = note.marks;
    all.add(other.map_or(Marks::default(), |other| other.marks));
    let stopped = stopped(note, other);
    let mut words: Vec<String> = all
        .iter()
        .zip(all.words())
        .map(|(mark, word)| match stopped.filter(|_| mark == Mark::Harmonic) {
            Some(stopped) => format!("{word} {stopped}"),
            None => word.to_string(),
        })
        .collect();
    let strokes = match note.tremolo {
        // Without its other note it is no tremolo.
        _ if note.of_two.is_some() && other.is_none() => None,
        0 => None,
        1 => Some(" 1/8"),
        2 => Some(" 1/16"),
        3 => Some(""),
        _ => Some(" 1/64"),
    };
    if let Some(strokes) = strokes {
        let pitches = other.iter().flat_map(|other| &other.pitches);
        let pitches: Vec<String> = pitches.map(ToString::to_string).collect();
        let other =
            if pitches.is_empty() { String::new() } else { format!(" {}", pitches.join("&")) };
        words.push(format!("tremolo{other}{strokes}"));
    }
    if words.is_empty() { String::new() } else { format!("[{}]", words.join(" ")) }
}

/// The two notes of a tremolo between two, if the first of them stands here and the language can
/// write them as one: of the same length side by side, not too short, and not alike.
fn of_two(notes: &[Note], index: usize) -> Option<[&Note; 2]> {
    let [one, two] = notes.get(index..index + 2)? else { return None };
    let places = (one.of_two?, two.of_two?);
    let (length, stroke) = (two.end - one.start, Time::of(1, 8 << (one.tremolo.clamp(1, 4) - 1)));
    let together = places == (OfTwo::First, OfTwo::Second)
        && one.end == two.start
        && one.end - one.start == two.end - two.start
        && (one.pitches != two.pitches && !one.pitches.is_empty() && !two.pitches.is_empty())
        && (two.graces.is_none() && !one.slur_ends && !two.slur_starts)
        && (length >= Time::of(1, 4) && length >= stroke * 2 && values(length).len() == 1);
    together.then_some([one, two])
}

/// A time as values that the language writes, the largest first.
pub(super) fn values(time: Time) -> Vec<Time> {
    let (count, part) = time.fraction();
    if part <= 128 && count <= 64 {
        return vec![time];
    }
    let mut values = Vec::new();
    let mut rest = time;
    for power in (-7..=5i32).rev() {
        let unit = if power >= 0 { Time::of(1 << power, 1) } else { Time::of(1, 1 << -power) };
        while rest >= unit {
            values.push(unit);
            rest -= unit;
        }
    }
    if values.is_empty() { vec![time] } else { values }
}

/// A value as the language writes it: `1/4`, `1/4.`, `5/8`.
pub(super) fn value_text(value: Time) -> String {
    let (count, part) = value.fraction();
    let dotted = |numerator: i64, dots: &str, times: i64| {
        // Three eighths are a dotted quarter.
        let base = value.scaled(times, numerator)?;
        let (one, part) = base.fraction();
        (one.count_ones() == 1 && part.count_ones() == 1 && (one == 1 || part == 1))
            .then(|| format!("{one}/{part}{dots}"))
    };
    if count.count_ones() != 1
        && part <= 128
        && let Some(text) = dotted(3, ".", 2).or_else(|| dotted(7, "..", 4))
    {
        return text;
    }
    format!("{count}/{part}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_are_written_as_people_write_them() {
        let text = |one, part| value_text(Time::of(one, part));
        assert_eq!(text(1, 4), "1/4");
        assert_eq!(text(3, 8), "1/4.");
        assert_eq!(text(7, 16), "1/4..");
        assert_eq!(text(5, 8), "5/8");
        assert_eq!(text(3, 1), "2/1.");
        assert_eq!(text(1, 1), "1/1");
        assert_eq!(text(3, 2), "1/1.");
    }
}

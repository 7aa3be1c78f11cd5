//! What spans bars on the line of a staff: slurs, hairpins, octave lines.

use super::*;
use crate::layout::chord::Chord;
use crate::sheet::Side;

/// From the hook of an octave line to the bar line, and at least from the left edge of the last head. Our
/// heuristic.
const BEFORE_LINE: f64 = 1.0;
const OVER_HEAD: f64 = 1.35;

/// Over a note so long the line of octaves goes as long as that lasts, over a shorter one only to the end of its
/// head (common practice; where a note is long is our heuristic); and the least air before a note that it does not
/// cover.
const LONG_UNDER: Time = Time::of(1, 2);
const BEFORE_UNCOVERED: f64 = 0.3;

/// How far a slur over both staves of a player goes beyond the notes of each at most, as a rule. Our heuristic.
const OUTSIDE: f64 = 1.2;

/// Keeps room for a slur from staff to staff on the outer side of the notes that it has on one of them.
fn room_for_slur(
    canvas: &mut Canvas,
    notes: &[Placed],
    (end, kind): (usize, &SpanKind),
    above: bool,
) {
    let under = notes.iter().enumerate().filter(|(n, note)| {
        let at = (note.bar, note.chord.at());
        note.chord.note().is_some()
            && match kind {
                SpanKind::SlurLeaves(_, to) => *n >= end && at <= *to,
                SpanKind::SlurArrives(from, _) => *n <= end && at >= *from,
                _ => false,
            }
    });
    for (_, note) in under {
        let (top, bottom) = note.reach();
        let room = if above { (top - OUTSIDE, top) } else { (bottom, bottom + OUTSIDE) };
        canvas.sky.add((note.x - 0.3, note.x + 1.5), room);
    }
}

/// Is it the slur of small notes of one of two voices whose note has an accent on its side? The accent stands outside
/// it (common practice): over the accent the slur would not come down to its note.
pub(super) fn is_under_accent(span: &SheetSpan, voices: &[Vec<Placed>]) -> bool {
    let SpanKind::Slur(from, to) = span.kind else { return false };
    let note = |place: SheetPlace| {
        let own = voices.get(place.voice)?.iter().filter(|note| note.bar == place.bar);
        own.flat_map(|note| {
            [note.chord].into_iter().chain(note.chord.graces.iter().map(|(_, grace)| grace))
        })
        .find(|chord| usize::from(chord.origin().element) == place.element)
    };
    let is_grace = |chord: &Chord| chord.note().is_some_and(|note| note.grace.is_some());
    let (Some(first), Some(last)) = (note(from), note(to)) else { return false };
    let marked =
        last.note().is_some_and(|note| hung::OUTSIDE.iter().any(|mark| note.marks.has(*mark)));
    let side = if span.above { Side::Upper } else { Side::Lower };
    is_grace(first) && !is_grace(last) && marked && last.side == Some(side)
}

impl SystemLine<'_> {
    /// What spans bars of the line, or begins or ends in them.
    pub(super) fn spans(&self) -> Vec<&SheetSpan> {
        match (self.placed.first(), self.placed.last()) {
            (Some(first), Some(last)) => self.staff().spans.touching(first.bar, last.bar),
            _ => Vec::new(),
        }
    }

    /// The notes of a line to which a slur belongs, whole or in part.
    pub(super) fn slurs(
        &self,
        canvas: &mut Canvas,
        spans: &[&SheetSpan],
        voices: &[Vec<Placed>],
        (begin, end): (f64, f64),
    ) {
        let (Some(first), Some(last)) = (self.placed.first(), self.placed.last()) else { return };
        // First and last note, as far as they stand on this staff.
        let mut slurs: Vec<(Option<SheetPlace>, Option<SheetPlace>, &SheetSpan)> = spans
            .iter()
            .filter_map(|span| match span.kind {
                SpanKind::Slur(from, to) => Some((Some(from), Some(to), *span)),
                SpanKind::SlurLeaves(from, _) => Some((Some(from), None, *span)),
                SpanKind::SlurArrives(_, to) => Some((None, Some(to), *span)),
                _ => None,
            })
            .collect();
        // Short ones first, so that long ones go over them.
        slurs.sort_by_key(|(from, to, span)| {
            let (first, last) = span.bars();
            let element = |place: &Option<SheetPlace>| place.map_or(0, |place| place.element);
            (last - first, element(to).abs_diff(element(from)))
        });
        for (from, to, span) in slurs {
            let voice = from.or(to).map_or(0, |place| place.voice);
            let Some(notes) = voices.get(voice.min(voices.len() - 1)) else { continue };
            let notes = &with_graces(notes);
            let find = |place: SheetPlace| {
                notes.iter().position(|note| {
                    let origin = note.chord.origin();
                    note.bar == place.bar && usize::from(origin.element) == place.element
                })
            };
            let bars = span.bars();
            let starts = bars.0 >= first.bar && !span.cut.0;
            let ends = bars.1 <= last.bar && !span.cut.1;
            match (from, to) {
                // From staff to staff.
                (Some(place), None) | (None, Some(place)) if starts && ends => {
                    let Some(note) = find(place) else { continue };
                    canvas.across.push(SlurEnd::new(&notes[note], from.is_some()));
                    room_for_slur(canvas, notes, (note, &span.kind), span.above);
                    continue;
                }
                // The staff on which it began has it as far as the lines go over which it goes on, the other one
                // has its end.
                (Some(_), None) if ends => continue,
                (None, Some(_)) if !ends => continue,
                _ => {}
            }
            let from_note = if starts { from.and_then(find) } else { Some(0) };
            let to_note = if ends { to.and_then(find) } else { notes.len().checked_sub(1) };
            let (Some(a), Some(b)) = (from_note, to_note) else { continue };
            if a > b {
                continue;
            }
            let reach = curves::Reach {
                first: a,
                last: b,
                begin: (!starts).then_some(begin),
                end: (!ends).then_some(end),
                above: span.above,
            };
            curves::slur_over(canvas, notes, reach);
        }
    }

    /// The wavy lines of trills on notes that are tied into this line from the one before: they go on at its head
    /// (Gould, Behind Bars, 2011, from memory).
    pub(super) fn trills_go_on(
        &self,
        canvas: &mut Canvas,
        spans: &[&SheetSpan],
        voices: &[Vec<Placed>],
        end: f64,
    ) {
        let Some(first) = self.placed.first() else { return };
        for span in spans {
            let SpanKind::Trill(from, to) = span.kind else { continue };
            let Some(notes) = voices.get(to.voice).filter(|_| from.bar < first.bar) else {
                continue;
            };
            let tied = |note: &Placed| note.chord.note().is_some_and(|note| note.tie_from);
            if notes.first().is_some_and(tied) {
                hung::trill_goes_on(canvas, &notes[0], self.trill_end(notes, 0, end));
            }
        }
    }

    /// Where a time of a bar of this line lies, or nothing.
    pub(super) fn place_of(&self, (bar, at): (usize, Time)) -> Option<(f64, bool)> {
        let placed = self.placed.iter().find(|placed| placed.bar == bar)?;
        let length = self.sheet.bars[bar].length;
        if at >= length {
            return Some((placed.end, true));
        }
        Some((place_at(&self.spaces[bar], placed, at, length), false))
    }

    pub(super) fn hairpins(&self, spans: &[&SheetSpan], (begin, end): (f64, f64)) -> Vec<Pin> {
        let (Some(first), Some(last)) = (self.placed.first(), self.placed.last()) else {
            return Vec::new();
        };
        let mut pins = Vec::new();
        for span in spans {
            let SpanKind::Hairpin { from, to, grows } = span.kind else { continue };
            // One that ends at the beginning of the line ended with the line before.
            if to == (first.bar, Time::ZERO) {
                continue;
            }
            let carried = from.0 < first.bar || span.cut.0;
            let next = (last.bar + 1, Time::ZERO);
            let goes_on = to.0 > last.bar && (to != next || span.cut.1);
            let left = if carried { Some((begin, false)) } else { self.place_of(from) };
            let right = if to.0 > last.bar { Some((end, true)) } else { self.place_of(to) };
            let (Some((x0, _)), Some((x1, at_end))) = (left, right) else { continue };
            // Before all strokes of the bar line.
            let line = |bar: usize| self.spaces[bar].line + 0.34;
            let x1 = match (to.0 > last.bar, at_end) {
                (true, _) if goes_on => x1,
                (true, _) => x1.min(last.end - line(last.bar)),
                (false, true) => x1 - line(to.0),
                (false, false) => x1 - 0.4,
            };
            let short = !grows && !carried && !goes_on;
            let x1 = if short { x1.max(self.seen(spans, (from, x0))) } else { x1 };
            pins.push(Pin {
                from: x0,
                to: x1,
                grows,
                carried,
                goes_on,
                places: (from, to),
                above: span.above,
            });
        }
        pins
    }

    /// How far a hairpin that closes must go so that it is not taken for an accent: over rests, as far as its
    /// bar goes and no other hairpin begins in it.
    pub(super) fn seen(&self, spans: &[&SheetSpan], (from, x0): ((usize, Time), f64)) -> f64 {
        let begins = |span: &&SheetSpan| match span.kind {
            SpanKind::Hairpin { from, .. } => Some(from),
            _ => None,
        };
        let later = |at: &(usize, Time)| at.0 == from.0 && *at > from;
        let next = spans.iter().filter_map(begins).filter(later).min();
        let ends = self.placed.iter().find(|placed| placed.bar == from.0);
        let ends = ends.map_or(x0, |placed| placed.end - self.spaces[placed.bar].line - 0.3);
        let next = next.and_then(|at| self.place_of(at)).map_or(ends, |(x, _)| x - 0.4);
        (x0 + directions::SEEN_PIN).min(next)
    }

    /// Where the line over notes that end at a time ends: behind the last of them, over its length if it is long,
    /// and before the next note with its accidental; before the bar line where they end with their bar, so that
    /// its hook keeps clear of what is said of the next one.
    fn octave_ends(&self, to: (usize, Time)) -> Option<f64> {
        let line = |placed: &PlacedBar| {
            let note = placed.columns.last().map_or(f64::MIN, |last| last + OVER_HEAD);
            let line = placed.end - self.spaces[placed.bar].line;
            (line - BEFORE_LINE).max(note).min(line - 0.3)
        };
        if to.1 == Time::ZERO {
            return self.placed.iter().find(|placed| placed.bar + 1 == to.0).map(line);
        }
        let placed = self.placed.iter().find(|placed| placed.bar == to.0)?;
        let (next, ends_bar) = self.place_of(to)?;
        if ends_bar {
            return Some(line(placed));
        }
        let space = &self.spaces[to.0];
        let there = self.staff().lanes.clone();
        let chords = there.flat_map(|lane| space.chords[lane].iter().zip(&space.column_of[lane]));
        let before = |at: Time| chords.clone().filter(move |(chord, _)| chord.at() == at);
        let heads = next - self.beside_column(to);
        let next = before(to.1).map(|(chord, _)| next - chord.left).fold(heads, f64::min);
        let covered = chords.clone().filter(|(chord, _)| chord.at() < to.1);
        let last = covered.max_by_key(|(chord, _)| chord.at());
        let note = last.and_then(|(chord, column)| {
            let head = placed.columns.get(*column)? + chord.shift + OVER_HEAD;
            let long = chord.event.element.length >= LONG_UNDER;
            Some(if long { head.max(next - BEFORE_LINE) } else { head })
        });
        Some(note.unwrap_or(next).min(next - BEFORE_UNCOVERED))
    }

    /// How far heads of a time stand to the left of their column: seconds in a chord under its stem, grace notes.
    fn beside_column(&self, (bar, at): (usize, Time)) -> f64 {
        let left = |chord: &Chord| {
            let heads = chord.heads().iter().map(|head| head.x);
            heads.fold(0.0, f64::min)
        };
        let lanes = &self.spaces[bar].chords[self.staff().lanes.clone()];
        let chords = lanes.iter().flatten().filter(|chord| chord.at() == at);
        let all = chords.map(|chord| {
            let graces = chord.graces.iter().map(|(x, grace)| x + left(grace));
            chord.shift + graces.fold(left(chord), f64::min)
        });
        -all.fold(0.0, f64::min)
    }

    pub(super) fn octave_lines(
        &self,
        canvas: &mut Canvas,
        spans: &[&SheetSpan],
        (begin, end): (f64, f64),
    ) {
        let (Some(first), Some(last)) = (self.placed.first(), self.placed.last()) else { return };
        for span in spans {
            let SpanKind::Octave { from, to, octaves } = span.kind else { continue };
            // One that ends where a line begins ended with the line before.
            if to == (first.bar, Time::ZERO) {
                continue;
            }
            let begins = from.0 >= first.bar && !span.cut.0;
            let ends = to.0 <= last.bar || to == (last.bar + 1, Time::ZERO) && !span.cut.1;
            let column = self.place_of(from).filter(|_| begins);
            let x0 = column.map_or(begin, |place| place.0 - self.beside_column(from));
            let x1 = if ends { self.octave_ends(to).unwrap_or(end) } else { end };
            let begun = canvas.marks.len();
            directions::octave_line(canvas, octaves, (x0, x1), (begins, ends));
            canvas.say_as(NudgedSign::Octave, begun, from);
        }
    }
}

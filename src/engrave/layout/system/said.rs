//! What is said on the line of a staff: each direction with its place and its room.

use ripieno_compiler::resolve::BarLine;
use ripieno_writers::notate::ElementKind;

use super::*;
use crate::sheet::Event;

/// So far an order begins before its place at most, and before it is clear of the last note in any case, if it takes a
/// line less so. Our heuristic.
const EARLIER: f64 = 2.0;
const EARLIER_THAN_FREE: f64 = 0.5;

/// Air between the sign of a broken chord and a dynamic behind it: less, and they seem to touch at the size of a
/// part. Our heuristic.
const BEHIND_SPREAD: f64 = 0.55;

impl SystemLine<'_> {
    /// Behind the sign of a chord that is broken over both staves of the player at a time of a bar: it goes
    /// through what stands between them.
    pub(super) fn spread_right(&self, placed: &PlacedBar, at: Time) -> f64 {
        let space = &self.spaces[placed.bar];
        let lanes = self.staff().lanes.clone();
        let all = lanes.flat_map(|lane| space.chords[lane].iter().zip(&space.column_of[lane]));
        let joined = all.filter(|(chord, _)| chord.joined && chord.at() == at);
        let sign = joined.filter_map(|(chord, column)| {
            let x = placed.columns.get(*column)? + chord.shift + chord.spread?;
            Some(x + Glyph::WiggleArpeggiatoUp.bounds().x1 + BEHIND_SPREAD)
        });
        sign.fold(f64::MIN, f64::max)
    }

    /// How far before the notes at a time of a bar their small notes begin: a cue begins with these.
    pub(super) fn before_notes(&self, placed: &PlacedBar, at: Time) -> f64 {
        let chords = &self.spaces[placed.bar].chords;
        let here = self.staff().lanes.clone().flat_map(|lane| &chords[lane]);
        let here = here.filter(|chord| chord.at() == at);
        here.flat_map(|chord| &chord.graces).map(|(x, _)| *x).fold(0.0, f64::min)
    }

    /// Where what is said at the end of a bar may begin: behind its last note, over the rests that follow.
    fn behind_notes(&self, placed: &PlacedBar) -> f64 {
        let space = &self.spaces[placed.bar];
        let length = self.sheet.bars[placed.bar].length;
        let times: Vec<Time> = space.columns.iter().map(|(time, _)| *time).collect();
        let played = self.bar(placed.bar).played_until(length);
        let last = played.and_then(|end| last_before(&times, end));
        let note = last.and_then(|last| placed.columns.get(last));
        note.map_or(placed.body + BEFORE_FIRST, |note| note + BEHIND_NOTE)
    }

    /// Where what is said in a bar must end, an order or something else. Behind a last line that stays short an order
    /// of a part has the rest of its room.
    fn bar_ends(&self, placed: &PlacedBar, order: bool) -> f64 {
        let over = if order { over_line(self.sheet, self.staff, placed.bar) } else { 0.0 };
        let ends = placed.end - self.spaces[placed.bar].line - 0.4 + over;
        let alone = order && self.sheet.is_part && !self.is_braced();
        let last = self.placed.last().is_some_and(|last| last.bar == placed.bar);
        if alone && last && self.right < self.width - 1.0 {
            ends.max(self.width - 0.5)
        } else {
            ends
        }
    }

    /// How far before its place an order may begin so that it takes a line less: within its bar, and behind the last
    /// note that is played before.
    fn begins_early(&self, placed: &PlacedBar, (left, at): (f64, Time)) -> f64 {
        if at >= self.sheet.bars[placed.bar].length {
            return left - EARLIER_THAN_FREE;
        }
        let space = &self.spaces[placed.bar];
        let times: Vec<Time> = space.columns.iter().map(|(time, _)| *time).collect();
        let played = self.bar(placed.bar).played_until(at);
        let last = played.and_then(|end| last_before(&times, end));
        let free = last.and_then(|last| placed.columns.get(last)).map(|note| note + BEHIND_NOTE);
        (left - EARLIER).max(free.unwrap_or(placed.x + 0.3)).min(left)
    }

    /// How far an order may go in a part that is given at a time of a bar of the line: neither over the end of a
    /// section nor over notes of later bars, which would be played before it is read. What is said with a note, of
    /// what the player has in hand, is read with that.
    fn order_ends(&self, n: usize, at: Time) -> f64 {
        let bar = self.placed[n].bar;
        let with_note = self.notes_of(bar).any(|event| event.element.at == at);
        // So is what is said of it over the rest of a pick-up.
        let picked_up = bar == 0 && self.notes_of(bar).next().is_none();
        let with_note = with_note || picked_up && self.sheet.bars[bar].number == 0;
        let ends = |placed: &&PlacedBar| {
            let (bar, next) = (&self.sheet.bars[placed.bar], placed.bar + 1);
            let Some(behind) = self.sheet.bars.get(next) else { return true };
            let section = bar.line != BarLine::Plain
                || bar.repeat_ends
                || behind.repeat_starts
                || behind.mark.is_some()
                || behind.tempo.is_some()
                || !behind.headings.is_empty();
            section || !with_note && self.notes_of(next).next().is_some()
        };
        let last = self.placed[n..].iter().find(ends);
        last.map_or(self.right - 0.5, |last| self.bar_ends(last, true))
    }

    /// The notes that the staff has in a bar, as far as it is known here.
    fn notes_of(&self, bar: usize) -> impl Iterator<Item = &Event> {
        let voices = self.staff().bars.get(bar).into_iter().flat_map(|bar| &bar.voices);
        let sounds = |event: &&Event| matches!(event.element.kind, ElementKind::Note(_));
        voices.flat_map(|voice| &voice.events).filter(sounds)
    }

    /// Directions of the staff with their places.
    pub(super) fn said(&self) -> Vec<Said<'_>> {
        let mut said = Vec::new();
        for (n, placed) in self.placed.iter().enumerate() {
            let space = &self.spaces[placed.bar];
            let again = if n == 0 { self.bar(placed.bar).said_again() } else { None };
            for direction in again.into_iter().chain(&self.bar(placed.bar).directions) {
                let length = self.sheet.bars[placed.bar].length;
                let at_end = direction.at >= length;
                // Behind the last note of a bar: clear of the bar line.
                let order = matches!(direction.kind, DirectionKind::Change(_));
                let left = match at_end {
                    true if order => self.behind_notes(placed),
                    true => placed.end + 0.3,
                    false => place_at(space, placed, direction.at, length),
                };
                let left = match direction.kind {
                    DirectionKind::CueName(_) => left + self.before_notes(placed, direction.at),
                    // The number of a player belongs to the small notes too; over their note alone it would be
                    // taken for a fingering.
                    DirectionKind::Who(_) => {
                        let small = self.before_notes(placed, direction.at);
                        let number = before_small(&direction.kind).filter(|_| small < 0.0);
                        number.map_or(left, |before| left + small - before)
                    }
                    _ => left,
                };
                let x = if at_end { left } else { left + 0.6 };
                let at = (placed.bar, direction.at);
                // Bar lines go through what stands between the staves of a score, or of a player.
                let through = !self.sheet.is_part || self.is_braced();
                let clear = if !through || n == 0 { f64::MIN } else { placed.x + 0.3 };
                let clear = clear.max(self.spread_right(placed, direction.at));
                let ends = self.bar_ends(placed, order);
                let above = direction.above && !self.sheet.left_hand_alone(self.staff, placed.bar);
                let struck = through && !(order && above && self.open_above);
                let room = match (struck || at_end, order) {
                    (true, _) => Some(((placed.x + 0.3).min(ends), ends)),
                    (false, true) => Some((0.5, self.order_ends(n, direction.at))),
                    (false, false) => None,
                };
                let early = match order {
                    true => self.begins_early(placed, (left, direction.at)),
                    false => left,
                };
                let at_end = at_end && order;
                let kind = &direction.kind;
                let bar_end = placed.end;
                said.push(Said { kind, x, left, clear, early, room, bar_end, at_end, at, above });
            }
        }
        said
    }
}

//! How fast the music goes: metronome marks, words that change the tempo, fermatas.
//!
//! Ticks are those of the paper; only the tempo bends, so that all players stay together and
//! every note keeps the duration that it has in the parts.
//!
//! - A gradual change ("rit.", "accel.") begins with its bar and ends with the next tempo: a
//!   metronome mark, another word of the table, or the end. The tempo goes down to two thirds or
//!   up to four thirds of what it was; with "poco" by half as much, with "molto" down to a half or
//!   up to one and a half times. Without these words, and where the next metronome mark counts the
//!   same value and lies in the direction of the change, it arrives at that mark. It changes every
//!   eighth (all of this our heuristic).
//! - A sudden change ("meno mosso", "più mosso", "ritenuto") is half as much and holds from its
//!   bar on (our heuristic); with a metronome mark it is what the mark says.
//! - "a tempo" takes back what words changed; "Tempo I" goes back to the first metronome mark.
//! - Words of a voice or a line count as those of the form do, from where they stand.
//! - "senza" and "non" deny a change; words that are not in the table change nothing.
//! - A fermata makes what it stands over twice as long, and at least a beat longer (our heuristic).
//!   All wait together: from the last note that anybody strikes under it within its bar to its end.

use crate::narrow::Narrow;
use std::sync::Arc;

use crate::arrange::{Arrangement, Part};
use crate::music::{TempoBack as Back, TempoChange as Change, TempoWords as Words, Time};
use crate::resolve::{DirectionKind, Form, Mark, Piece, seconds_per_whole};

/// How often a gradual change takes effect.
const STEP: Time = Time::EIGHTH;

/// The tempo of every moment of the paper.
#[derive(Clone, Debug)]
pub struct TempoMap {
    /// From a written time on, so many microseconds a quarter; in order of time.
    changes: Vec<(Time, u32)>,
}

impl TempoMap {
    pub(super) fn new(arrangement: &Arrangement) -> TempoMap {
        let form = &arrangement.piece.form;
        let plain = without_fermatas(form, &said(&arrangement.parts));
        let held = held(&arrangement.piece, &arrangement.parts);
        let mut times: Vec<Time> = plain.iter().map(|(at, _)| *at).collect();
        times.extend(held.iter().flat_map(|&(from, to)| [from, to]));
        times.sort_unstable();
        times.dedup();
        let change = |at: Time| {
            let seconds = in_force(&plain, at).unwrap_or_else(|| seconds_per_whole(None));
            let under = held.partition_point(|(from, _)| *from <= at);
            let longer = held[..under].last().filter(|(_, to)| at < *to);
            (at, micros(longer.map_or(seconds, |window| seconds * times_longer(form, *window))))
        };
        TempoMap { changes: times.into_iter().map(change).collect() }
    }

    /// No tempo yet.
    pub(super) fn empty() -> TempoMap {
        TempoMap { changes: Vec::new() }
    }

    /// Puts the tempos of a movement behind those before it.
    pub(super) fn append(&mut self, own: &TempoMap, start: Time) {
        self.changes.extend(own.changes.iter().map(|(at, micros)| (*at + start, *micros)));
    }

    /// Microseconds a quarter at the beginning of a bar, and its changes within it.
    pub fn of_bar(&self, from: Time, to: Time) -> impl Iterator<Item = (Time, u32)> {
        let first =
            in_force(&self.changes, from).unwrap_or_else(|| micros(seconds_per_whole(None)));
        let after = self.changes.partition_point(|(at, _)| *at <= from);
        let within = self.changes[after..].iter().copied().take_while(move |(at, _)| *at < to);
        std::iter::once((from, first)).chain(within)
    }

    /// When the tempo changes, in written time.
    pub fn times(&self) -> impl Iterator<Item = Time> {
        self.changes.iter().map(|(at, _)| *at)
    }
}

fn in_force<T: Copy>(changes: &[(Time, T)], at: Time) -> Option<T> {
    let after = changes.partition_point(|(from, _)| *from <= at);
    changes[..after].last().map(|(_, value)| *value)
}

/// Microseconds a quarter. Nonsense (no beats in a minute, or none that the format can hold) stays
/// in the format.
fn micros(seconds_per_whole: f64) -> u32 {
    let micros = seconds_per_whole / 4.0 * 1e6;
    (micros.round().clamp(1.0, f64::from(0x00FF_FFFF)).narrow::<u32>()).max(1)
}

/// Something that sets or changes the tempo: where it stands, its metronome mark, and what its words
/// ask for.
struct Point {
    at: Time,
    beat: Option<(Time, f64)>,
    words: Words,
}

/// Words of a voice, a line or the dynamics that change the tempo: "rit." over a phrase slows
/// everybody, as it does where players listen to one another. Only what begins as a word of the
/// tempo does ("poco rit."), so that "on one string" hurries nobody.
fn said(parts: &[Arc<Part>]) -> Vec<(Time, Words)> {
    let mut all: Vec<(Time, Words)> = Vec::new();
    for said in parts.iter().flat_map(|part| &part.directions) {
        let DirectionKind::Words(text) = &said.kind else { continue };
        all.extend(Words::said(text).map(|meant| (said.at, meant)));
    }
    all.sort_by_key(|(at, _)| *at);
    all.dedup_by_key(|(at, _)| *at);
    all
}

/// Seconds a whole note from written times on, as marks and words have them.
fn without_fermatas(form: &Form, said: &[(Time, Words)]) -> Vec<(Time, f64)> {
    let mut points: Vec<Point> = form
        .bars
        .iter()
        .filter_map(|bar| {
            let tempo = bar.tempo.as_ref()?;
            let words = tempo.words.as_deref().map(Words::of).unwrap_or_default();
            let known = tempo.beat.is_some() || words != Words::default();
            known.then_some(Point { at: bar.start, beat: tempo.beat, words })
        })
        .collect();
    // What the form says goes before what a player reads there.
    let known: Vec<Time> = points.iter().map(|point| point.at).collect();
    let said = said.iter().filter(|(at, _)| *at < form.end() && !known.contains(at));
    points.extend(said.map(|&(at, words)| Point { at, beat: None, words }));
    points.sort_by_key(|point| point.at);
    let first = points.iter().find_map(|point| point.beat);
    let (mut mark, mut speed) = (None, 1.0);
    let mut changes = vec![(Time::ZERO, seconds_per_whole(None))];
    for (index, point) in points.iter().enumerate() {
        let next = points.get(index + 1);
        if point.words.back.is_some() || point.beat.is_some() {
            speed = 1.0;
        }
        if point.words.back == Some(Back::First) {
            mark = first;
        }
        mark = point.beat.or(mark);
        let seconds = seconds_per_whole(mark);
        let begun = speed;
        // A mark is what it says: with "Più mosso" beside it, it is the faster tempo.
        let sudden_mark = |change: &Change| !change.gradual && point.beat.is_some();
        let change = point.words.change.filter(|change| !sudden_mark(change));
        if let Some(change) = change {
            speed *= change.to;
        }
        let Some(change) = change.filter(|change| change.gradual) else {
            changes.push((point.at, seconds / speed));
            continue;
        };
        let goal = next.and_then(|next| next.beat).filter(|_| !change.measured);
        if let (Some((value, rate)), Some((same, now))) = (goal, mark)
            && value == same
            && (rate / now > begun) == (change.to > 1.0)
            && rate > 0.0
        {
            speed = rate / now;
        }
        let end = next.map_or(form.end(), |next| next.at);
        let whole = (end - point.at).to_f64();
        let mut at = point.at;
        while at < end {
            let until = (at + STEP).min(end);
            // Each step goes as fast as its middle, so that the whole lasts as long as it should.
            let way = ((at - point.at).to_f64() + (until - point.at).to_f64()) / 2.0 / whole;
            changes.push((at, seconds / (begun + (speed - begun) * way)));
            at = until;
        }
    }
    changes
}

/// Where fermatas hold: written times from and to, in order, without overlaps.
fn held(piece: &Piece, parts: &[Arc<Part>]) -> Vec<(Time, Time)> {
    let form = &piece.form;
    let marked: Vec<(Time, Time)> = parts.iter().flat_map(|part| marked(form, part)).collect();
    let voices: Vec<(Time, Time)> =
        piece.fermatas().iter().map(|fermata| (fermata.from, fermata.to)).collect();
    let meet = |a: (Time, Time), b: (Time, Time)| a.0 < b.1 && b.0 < a.1;
    // `writes` lines have fermatas of their own.
    let own = marked.iter().filter(|mark| voices.iter().all(|voice| !meet(**mark, *voice)));
    let mut windows: Vec<(Time, Time)> = voices.iter().chain(own).copied().collect();
    for window in &mut windows {
        let struck = marked.iter().filter(|(from, to)| *from < window.1 && *to >= window.1);
        let last = struck.map(|(from, _)| *from).fold(window.0, Time::max);
        // The bar in which the fermata is printed is that in which its note ends.
        let bar = form.bars.partition_point(|bar| bar.start < window.1).saturating_sub(1);
        window.0 = form.bars.get(bar).map_or(last, |bar| last.max(bar.start));
    }
    windows.sort_unstable();
    let mut held: Vec<(Time, Time)> = Vec::new();
    for (from, to) in windows.into_iter().filter(|(from, to)| from < to) {
        match held.last_mut() {
            Some(last) if from < last.1 => *last = (from, to.min(last.1)),
            _ => held.push((from, to)),
        }
    }
    held
}

/// How many times as long a fermata makes the time from and to which it holds.
fn times_longer(form: &Form, (from, to): (Time, Time)) -> f64 {
    let length = to - from;
    let beat = form.bars.get(form.index_at(from)).map_or(length, |bar| bar.metre.beat());
    1.0 + length.max(beat).to_f64() / length.to_f64()
}

/// From when to when notes and rests under a fermata last.
fn marked(form: &Form, part: &Part) -> Vec<(Time, Time)> {
    let notes = part.notes.iter().filter(|note| note.attached().marks.has(Mark::Fermata));
    let mut marked: Vec<(Time, Time)> = notes.map(|note| (note.start(), note.end())).collect();
    let rests = part.directions.iter().filter(|d| d.kind == DirectionKind::FermataOnRest);
    marked.extend(rests.map(|direction| {
        let after = part.notes.partition_point(|note| note.start() < direction.at);
        let next = part.notes.get(after).map_or(form.end(), |note| note.start());
        let written = part.rest_at(direction.at).filter(|rest| rest.start == direction.at);
        let end = written.map_or(next, |rest| next.min(rest.start + rest.length));
        (direction.at, end.min(form.end_of_bar_at(direction.at)))
    }));
    marked
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::resolve::Tempo;

    fn reached(text: &str) -> Option<(bool, f64)> {
        Words::of(text).change.map(|change| (change.gradual, (change.to * 1000.0).round() / 1000.0))
    }

    #[test]
    fn words_say_how_much_the_tempo_changes() {
        assert_eq!(reached("rit."), Some((true, 0.667)));
        assert_eq!(reached("Poco allargando"), Some((true, 0.833)));
        assert_eq!(reached("molto rall."), Some((true, 0.5)));
        assert_eq!(reached("accel. poco a poco"), Some((true, 1.333)));
        assert_eq!(reached("string."), Some((true, 1.333)));
        assert_eq!(reached("Più mosso"), Some((false, 1.167)));
        assert_eq!(reached("poco meno mosso"), Some((false, 0.917)));
    }

    #[test]
    fn words_that_are_not_known_or_deny_a_change_change_nothing() {
        for text in ["dolce", "Con moto", "senza rit.", "non rallentare", "Spirito", "Tempo giusto"]
        {
            assert_eq!(Words::of(text), Words::default(), "{text}");
        }
    }

    #[test]
    fn words_lead_back() {
        assert_eq!(Words::of("a tempo").back, Some(Back::InForce));
        assert_eq!(Words::of("Tempo I°").back, Some(Back::First));
        assert_eq!(Words::of("Tempo primo").back, Some(Back::First));
        let both = Words::of("a tempo, poco accel.");
        assert_eq!((both.back, both.change.is_some()), (Some(Back::InForce), true));
    }

    #[test]
    fn words_in_a_part_slow_everybody_down_once() {
        let mut form = crate::notate::testing::form(&["2/4"; 4]);
        form.bars[0].tempo = Some(Tempo { beat: Some((Time::QUARTER, 60.0)), words: None });
        let said = [(Time::of(1, 1), Words::of("rit.")), (Time::of(3, 2), Words::of("a tempo"))];
        let changes = without_fermatas(&form, &said);
        let rate = |at: Time| (240.0 / in_force(&changes, at).unwrap()).round();
        let rates = [(3, 4), (1, 1), (11, 8), (3, 2)].map(|(a, b)| rate(Time::of(a, b)));
        assert_eq!(rates, [60.0, 58.0, 43.0, 60.0]);
        for (text, is_tempo) in
            [("poco rit.", true), ("a tempo", true), ("on the G string", false), ("string.", true)]
        {
            assert_eq!(Words::said(text).is_some(), is_tempo, "{text}");
        }
    }

    #[test]
    fn a_mark_is_what_it_says_whatever_its_words() {
        let mut form = crate::notate::testing::form(&["4/4"; 4]);
        let tempo = |rate, words: &str| {
            Some(Tempo { beat: Some((Time::QUARTER, rate)), words: Some(words.into()) })
        };
        form.bars[0].tempo = tempo(60.0, "Andante");
        form.bars[1].tempo = tempo(120.0, "Più mosso");
        form.bars[2].tempo = tempo(60.0, "Meno mosso");
        form.bars[3].tempo = Some(Tempo { beat: None, words: Some("Più mosso".into()) });
        let rates: Vec<f64> = without_fermatas(&form, &[])[1..]
            .iter()
            .map(|(_, seconds)| (240.0 / seconds).round())
            .collect();
        assert_eq!(rates, [60.0, 120.0, 60.0, 70.0]);
    }
}

//! Which stretches of a bar are tuplets: by what the file says where it fits, else by the times
//! alone.

use super::score::TupletSpan;
use crate::music::Time;

/// A tuplet of a bar; times from the beginning of the bar.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Tuplet {
    pub(super) start: Time,
    pub(super) end: Time,
    /// How many …
    pub(super) actual: i64,
    /// … in the time of how many.
    pub(super) normal: i64,
}

impl Tuplet {
    /// How long something of that length is written inside; `None` if no value is so long.
    pub(super) fn written(&self, length: Time) -> Option<Time> {
        length.scaled(self.actual, self.normal).filter(|written| is_plain(*written))
    }
}

/// The shortest value that the language writes.
const SHORTEST: i64 = 128;
/// The most that a tuplet counts.
const MOST: i64 = 16;

/// Is it a whole number of 128ths, so that values without a tuplet reach it?
pub(super) fn is_plain(time: Time) -> bool {
    time % Time::of(1, SHORTEST) == Time::ZERO
}

/// Finds the tuplets of a bar in which notes and rests begin or end at `places` (in order, the
/// bar's beginning and end among them). A place that no tuplet can reach is given back.
pub(super) fn find(
    places: &[Time],
    spans: &[TupletSpan],
    length: Time,
) -> Result<Vec<Tuplet>, Time> {
    let said = said(places, spans);
    let mut found: Vec<Tuplet> = Vec::new();
    let mut from = Time::ZERO;
    for &place in places {
        if place < from || is_plain(place) {
            continue;
        }
        let next = said.partition_point(|tuplet| tuplet.end <= place);
        let around = said.get(next).filter(|tuplet| from <= tuplet.start && tuplet.start < place);
        // What the file says of the music behind holds before what the times suggest here.
        let room = said.get(next).map_or(length, |tuplet| tuplet.start);
        let tuplet = around
            .copied()
            .or_else(|| inferred(place, from, places, room))
            .or_else(|| inferred(place, from, places, length))
            .or_else(|| halved(place, from, places, length))
            .ok_or(place)?;
        from = tuplet.end;
        found.push(tuplet);
    }
    Ok(found)
}

/// The tuplets of a bar as the notes of the file have them, in order; none overlaps another.
fn said(places: &[Time], spans: &[TupletSpan]) -> Vec<Tuplet> {
    let mut said = Vec::new();
    let mut index = 0;
    while index < spans.len() {
        let groups = groups(&run(index, spans), places);
        index = match groups.last() {
            Some(last) => spans.partition_point(|span| span.start < last.end).max(index + 1),
            None => index + 1,
        };
        said.extend(groups);
    }
    said
}

/// The notes of one ratio that follow one another from one of them on, up to where a bracket ends or
/// the next one begins.
fn run(first: usize, spans: &[TupletSpan]) -> Vec<TupletSpan> {
    // More than stand in any bar that can be read.
    const MOST_NOTES: usize = 256;
    let mut run = vec![spans[first]];
    let mut last = spans[first];
    while !last.bracket.1 && run.len() < MOST_NOTES {
        let at = spans.partition_point(|span| span.start < last.end);
        let here = spans[at..].iter().take_while(|span| span.start == last.end);
        let next = here.copied().find(|span| span.ratio == last.ratio && span.end > span.start);
        let Some(next) = next.filter(|next| !next.bracket.0) else { break };
        run.push(next);
        last = next;
    }
    run
}

/// A run as tuplets: one if its brackets say so, else the shortest ones that fill it together, else
/// the first that is full.
fn groups(run: &[TupletSpan], places: &[Time]) -> Vec<Tuplet> {
    let (Some(first), Some(last)) = (run.first(), run.last()) else { return Vec::new() };
    if first.bracket.0
        && last.bracket.1
        && let Some(tuplet) = filled(first.start, last.end, first.ratio, places)
    {
        return vec![tuplet];
    }
    let edges: Vec<Time> = run.iter().map(|span| span.start).chain([last.end]).collect();
    // The first tuplet from each edge on that leaves what can be filled, from behind.
    let mut next: Vec<Option<(Tuplet, usize)>> = vec![None; edges.len()];
    let mut shortest = None;
    for from in (0..run.len()).rev() {
        shortest = None;
        for to in from + 1..edges.len().min(from + 1 + MOST_IN_ONE) {
            let Some(tuplet) = filled(edges[from], edges[to], first.ratio, places) else {
                continue;
            };
            shortest.get_or_insert(tuplet);
            if to == run.len() || next[to].is_some() {
                next[from] = Some((tuplet, to));
                break;
            }
        }
    }
    let mut groups = Vec::new();
    let mut at = 0;
    while let Some((tuplet, to)) = next[at] {
        groups.push(tuplet);
        at = to;
    }
    if groups.is_empty() { shortest.into_iter().collect() } else { groups }
}

/// How many notes a tuplet without a bracket may have.
const MOST_IN_ONE: usize = 32;

/// The tuplet of a ratio, or of a multiple of it, that fills a span and has all places inside on its
/// values. Where they are shorter than any value of the language, longer ones stand in less time.
fn filled(start: Time, end: Time, ratio: (u8, u8), places: &[Time]) -> Option<Tuplet> {
    let (actual, normal) = (i64::from(ratio.0), i64::from(ratio.1));
    let multiple = (1..=MOST)
        .step_by(2)
        .map(|times| Tuplet { start, end, actual: actual * times, normal: normal * times })
        .take_while(|tuplet| tuplet.actual <= MOST && tuplet.normal <= MOST)
        .find(|tuplet| fits(tuplet, places));
    let in_less = || {
        [2, 4, 8, 16]
            .into_iter()
            .take_while(|parts| normal % parts == 0)
            .map(|parts| Tuplet { start, end, actual, normal: normal / parts })
            .find(|tuplet| fits(tuplet, places))
    };
    multiple.or_else(in_less)
}

/// Can the language write this tuplet, and do all places inside fall on its values?
fn fits(tuplet: &Tuplet, places: &[Time]) -> bool {
    let Tuplet { start, end, actual, normal } = *tuplet;
    let length = end - start;
    let counts = (2..=MOST).contains(&actual) && (1..=MOST).contains(&normal);
    if !counts || !length.is_positive() || !is_plain(start) || !is_plain(end) {
        return false;
    }
    let unit = length.scaled(1, normal).map(Time::fraction);
    let is_value =
        unit.is_some_and(|(one, part)| one == 1 && part <= SHORTEST && part.count_ones() == 1);
    is_value
        && inside(places, start, end).iter().all(|place| tuplet.written(*place - start).is_some())
}

/// The tuplet around a place by the times alone: the one of the smallest number, where a note that
/// is cut weighs as much as four (our heuristic), then the shortest.
fn inferred(place: Time, from: Time, places: &[Time], length: Time) -> Option<Tuplet> {
    let mut best: Option<((i64, Time), Tuplet)> = None;
    let mut consider = |start: Time, end: Time| {
        if start < from || end > length || place <= start || end <= place {
            return;
        }
        let Some(tuplet) = of_span(start, end, places) else { return };
        let cuts = [start, end].iter().filter(|edge| places.binary_search(edge).is_err()).count();
        let rank = (tuplet.actual + 4 * cuts as i64, end - start);
        if best.as_ref().is_none_or(|(other, _)| rank < *other) {
            best = Some((rank, tuplet));
        }
    };
    let at = places.partition_point(|other| *other < place);
    let before = places[..at].iter().rev().find(|other| is_plain(**other));
    let after = places[at..].iter().find(|other| is_plain(**other));
    if let (Some(before), Some(after)) = (before, after) {
        consider(*before, *after);
    }
    for (numerator, denominator) in
        [(1, 16), (1, 8), (3, 16), (1, 4), (3, 8), (1, 2), (3, 4), (1, 1), (3, 2), (2, 1)]
    {
        let span = Time::of(numerator, denominator);
        let start = span * place.div_floor(span);
        consider(start, start + span);
    }
    best.map(|(_, tuplet)| tuplet)
}

/// Values shorter than the language has are longer ones in half the time, or in less: the longest
/// stretch that begins and ends with notes or rests, else the shortest.
fn halved(place: Time, from: Time, places: &[Time], length: Time) -> Option<Tuplet> {
    let stretch = |part: i64| {
        let span = Time::of(1, part);
        let start = span * place.div_floor(span);
        let end = start + span;
        let fitting = [2, 4, 8, 16]
            .map(|actual| Tuplet { start, end, actual, normal: 1 })
            .into_iter()
            .find(|tuplet| fits(tuplet, places));
        fitting.filter(|_| start >= from && end <= length)
    };
    let is_place = |time: &Time| places.binary_search(time).is_ok();
    [4, 8, 16, 32, 64]
        .into_iter()
        .filter_map(stretch)
        .find(|tuplet| is_place(&tuplet.start) && is_place(&tuplet.end))
        .or_else(|| stretch(SHORTEST))
}

/// The tuplet that fills a span and has all places inside on its values.
fn of_span(start: Time, end: Time, places: &[Time]) -> Option<Tuplet> {
    let length = end - start;
    let (mut odd, mut even) = (1, 1);
    for place in inside(places, start, end) {
        let (_, parts) = (*place - start).ratio(length)?;
        let power = 1 << parts.trailing_zeros();
        odd = least_common_multiple(odd, parts / power)?;
        even = even.max(power);
    }
    // Half as many or more in the time of the next smaller count that is a value (common practice).
    let of_count = |actual: i64| {
        (1..actual)
            .rev()
            .map(|normal| Tuplet { start, end, actual, normal })
            .find(|tuplet| fits(tuplet, places))
    };
    if odd * even <= MOST {
        return of_count(odd * even);
    }
    // Its values are shorter than its parts.
    (0..4)
        .rev()
        .map(|power| odd << power)
        .filter(|count| (2..=MOST).contains(count) && odd > 1)
        .find_map(of_count)
}

/// The places between two times.
fn inside(places: &[Time], start: Time, end: Time) -> &[Time] {
    let first = places.partition_point(|place| *place <= start);
    let last = places.partition_point(|place| *place < end);
    &places[first..last.max(first)]
}

fn least_common_multiple(one: i64, two: i64) -> Option<i64> {
    let (mut a, mut b) = (one, two);
    while b != 0 {
        (a, b) = (b, a % b);
    }
    let multiple = one / a * two;
    (multiple <= MOST).then_some(multiple)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn times(parts: &[(i64, i64)]) -> Vec<Time> {
        parts.iter().map(|(one, part)| Time::of(*one, *part)).collect()
    }

    fn ratios(places: &[(i64, i64)], length: Time) -> Vec<(i64, i64, String)> {
        let found = find(&times(places), &[], length).unwrap();
        found.into_iter().map(|t| (t.actual, t.normal, format!("{}–{}", t.start, t.end))).collect()
    }

    #[test]
    fn triplets_are_seen_in_the_times() {
        let places = [(0, 1), (1, 12), (1, 6), (1, 4), (1, 2)];
        assert_eq!(ratios(&places, Time::of(1, 2)), [(3, 2, "0/1–1/4".to_string())]);
    }

    #[test]
    fn a_note_held_into_a_triplet_is_cut_at_its_beginning() {
        // A quarter and a third of the next one, then two thirds of it.
        let places = [(0, 1), (1, 3), (1, 2)];
        assert_eq!(ratios(&places, Time::of(1, 2)), [(3, 2, "0/1–1/2".to_string())]);
        let places = [(0, 1), (1, 8), (1, 3), (5, 12), (1, 2)];
        assert_eq!(ratios(&places, Time::of(1, 2)), [(3, 2, "1/4–1/2".to_string())]);
    }

    #[test]
    fn a_septuplet_and_a_quintuplet() {
        let mut places = times(&[(0, 1)]);
        places.extend((1..=7).map(|i| Time::of(i, 28)));
        places.extend((1..=5).map(|i| Time::of(1, 4) + Time::of(i, 20)));
        let found = find(&places, &[], Time::of(1, 2)).unwrap();
        assert_eq!((found[0].actual, found[0].normal), (7, 4));
        assert_eq!((found[1].actual, found[1].normal), (5, 4));
    }

    #[test]
    fn what_the_file_says_comes_first() {
        let sixth = |i: i64, bracket| TupletSpan {
            start: Time::of(i, 24),
            end: Time::of(i + 1, 24),
            ratio: (6, 4),
            bracket,
        };
        let spans: Vec<TupletSpan> = (0..6).map(|i| sixth(i, (i == 0, i == 5))).collect();
        let places: Vec<Time> = (0..=6).map(|i| Time::of(i, 24)).collect();
        let found = find(&places, &spans, Time::of(1, 4)).unwrap();
        assert_eq!(found, [Tuplet { start: Time::ZERO, end: Time::QUARTER, actual: 6, normal: 4 }]);
    }

    /// Notes of one ratio one after another, each so many parts of a whole long as written.
    fn written(ratio: (u8, u8), values: &[i64]) -> (Vec<TupletSpan>, Vec<Time>) {
        let (mut at, mut spans) = (Time::ZERO, Vec::new());
        for value in values {
            let length = Time::of(i64::from(ratio.1), i64::from(ratio.0) * value);
            spans.push(TupletSpan { start: at, end: at + length, ratio, bracket: (false, false) });
            at += length;
        }
        let places = [Time::ZERO].into_iter().chain(spans.iter().map(|span| span.end)).collect();
        (spans, places)
    }

    /// How many of which ratio in which part of a whole.
    fn found(spans: &[TupletSpan], places: &[Time]) -> Vec<(i64, i64, String)> {
        let found = find(places, spans, *places.last().unwrap()).unwrap();
        found.into_iter().map(|t| (t.actual, t.normal, (t.end - t.start).to_string())).collect()
    }

    #[test]
    fn a_tuplet_without_a_bracket_ends_where_the_others_can_be_filled_too() {
        let values = [16, 64, 16, 32, 32, 16, 32, 64];
        let (mut spans, places) = written((10, 11), &values);
        assert_eq!(found(&spans, &places), [(10, 11, "11/32".to_string())]);
        // With its bracket it is sought no further.
        spans[0].bracket.0 = true;
        spans[7].bracket.1 = true;
        assert_eq!(found(&spans, &places), [(10, 11, "11/32".to_string())]);
    }

    #[test]
    fn triplets_without_brackets_are_as_short_as_they_can_be() {
        let (spans, places) = written((3, 2), &[8, 8, 8, 4, 8, 8, 8, 16, 16]);
        let quarter = (3, 2, "1/4".to_string());
        assert_eq!(found(&spans, &places), [quarter.clone(), quarter.clone(), quarter]);
    }

    #[test]
    fn nine_in_the_time_of_six_may_be_called_three_in_the_time_of_two() {
        let (mut spans, places) = written((3, 2), &[16, 8, 8, 8, 8]);
        spans[0].bracket.0 = true;
        spans[4].bracket.1 = true;
        assert_eq!(found(&spans, &places), [(9, 6, "3/8".to_string())]);
    }

    #[test]
    fn values_that_are_too_short_are_longer_ones_in_half_the_time() {
        let places = [(0, 1), (1, 16), (17, 256), (1, 8), (1, 4)];
        assert_eq!(ratios(&places, Time::of(1, 4)), [(16, 8, "1/16–1/8".to_string())]);
        let places = [(0, 1), (33, 512), (1, 4)];
        assert_eq!(ratios(&places, Time::of(1, 4)), [(4, 1, "0/1–1/4".to_string())]);
        // The rest of the bar goes its own way.
        let places = [(0, 1), (1, 128), (13, 512), (1, 8), (3, 20), (1, 4)];
        let wanted = [(4, 1, "0/1–1/8".to_string()), (5, 4, "1/8–1/4".to_string())];
        assert_eq!(ratios(&places, Time::of(1, 4)), wanted);
    }

    #[test]
    fn values_that_are_too_short_inside_a_tuplet_are_longer_ones_in_less_time() {
        // 512ths of thirteen 64ths in the time of eight.
        let (mut spans, places) =
            written((13, 8), &[512, 512, 256, 128, 64, 32, 32, 32, 32, 32, 64]);
        spans[0].bracket.0 = true;
        spans[10].bracket.1 = true;
        assert_eq!(found(&spans, &places), [(13, 2, "1/8".to_string())]);
        assert_eq!(found(&[], &places), [(13, 2, "1/8".to_string())]);
    }

    #[test]
    fn what_no_tuplet_reaches_is_given_back() {
        let places = vec![Time::ZERO, Time::of(1, 8 * 9 * 13), Time::of(1, 4)];
        assert_eq!(find(&places, &[], Time::of(1, 4)), Err(places[1]));
    }
}

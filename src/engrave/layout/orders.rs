//! Orders to take something else ("change to C basso", "take Piccolo"): they stand where the rest is in
//! which they are carried out, and never over a note that is still played in the old way. So they go no
//! farther left than behind that note, in two or three lines if need be, and a bar is as wide as they ask.

use ripieno_compiler::music::{Figures, Time};
use ripieno_writers::edition::DirectionKind;

use super::directions::{Figured, column};
use super::directions::{WORDS_FACE as WORDS, letters};
use super::measures::ABOVE;
use super::spacing::bar_line_width;
use crate::rows::Spans;
use crate::sheet::{Direction, Sheet, SpanKind};
use crate::text::{Face, Run, in_lines, shape};

/// Face and size of an order.
pub(super) const ORDER: (Face, f64) = (Face::Bold, 2.1);
/// The same of a way of playing, which may not stand over a note before its place either.
pub(super) const TECHNIQUE: (Face, f64) = (Face::Roman, 2.1);
/// From the left edge of a head to its middle, under which a dynamic stands.
const HALF_HEAD: f64 = 0.6;
/// How far the last note of a bar reaches, with some air, for an order that stands at its end.
pub(super) const BEHIND_NOTE: f64 = 1.9;

/// From the beginning of a bar to an order over its rests.
pub(super) const BEFORE_FIRST: f64 = 0.4;

/// Between when an order is carried out and what it says: "last time: change to G".
const CONDITION: &str = ": ";

/// From line to line of an order: as far as one with the deepest letters over the other needs. Our heuristic.
pub(super) const LINE: f64 = ABOVE + ORDER.1 * 0.94;

/// An order in one line, if it is no wider than the room, or in two that are as even as can be: when it holds, and
/// what is to be done, which may itself take two.
pub(super) fn lines(text: &str, room: f64) -> Vec<Run> {
    let whole = shape(text, ORDER.0, ORDER.1);
    if whole.width <= room {
        return vec![whole];
    }
    // When it holds stands over what is to be done.
    if let Some((when, what)) = text.split_once(CONDITION) {
        let mut all = vec![shape(&format!("{when}:"), ORDER.0, ORDER.1)];
        all.extend(lines(what, room.max(all[0].width)));
        return all;
    }
    let words: Vec<&str> = text.split_whitespace().collect();
    let broken = (1..words.len()).map(|from| {
        [&words[..from], &words[from..]].map(|part| shape(&part.join(" "), ORDER.0, ORDER.1))
    });
    let widest = |lines: &[Run; 2]| lines[0].width.max(lines[1].width);
    let even = broken.min_by(|a, b| widest(a).total_cmp(&widest(b)));
    even.map_or_else(|| in_lines(text, ORDER.0, ORDER.1, f64::MAX), Vec::from)
}

/// The room that something over a bar or below it asks for, up to the bar line.
#[derive(Clone, Copy, Debug)]
pub(super) struct Need {
    /// The staff of which it is said.
    pub staff: usize,
    /// The column of its place; `None` where the bar has no columns.
    pub column: Option<usize>,
    /// From there on.
    pub width: f64,
    pub begins: Begins,
}

/// How far to the left something over a bar may begin.
#[derive(Clone, Copy, Debug)]
pub(super) enum Begins {
    AtPlace,
    /// Behind the last note before its place, which is in that column: over the rests behind it.
    BehindNote(usize),
    /// Where the bar begins, since nothing is played in it before.
    WithBar,
}

impl Need {
    /// Where the bar line stands at the least when the columns stand there.
    fn end(self, places: &[f64]) -> Option<f64> {
        let column = self.column?;
        let place = *places.get(column)?;
        let from = match self.begins {
            Begins::AtPlace => place,
            Begins::BehindNote(last) => places.get(last).map_or(place, |note| note + BEHIND_NOTE),
            Begins::WithBar => BEFORE_FIRST,
        };
        Some(from.min(place) + self.width)
    }
}

/// Where an order asks for no more than so many times the room behind the last note before it, the notes before share
/// in that: the rest does not stand farther from its note than they from one another. Our heuristic.
const SPREAD: f64 = 1.4;

/// Where the bar line stands at the least for all that asks for room, in a bar that else ends at `end`. Rests over
/// which an order stands share in what it adds, or they would be followed by a hole.
pub(super) fn end<'a>(
    needs: impl Iterator<Item = &'a Need> + Clone,
    places: &mut [f64],
    end: f64,
) -> f64 {
    let mut end = end;
    for need in needs.clone() {
        let from = match need.begins {
            Begins::AtPlace => continue,
            Begins::BehindNote(last) => places.get(last).copied().unwrap_or_default(),
            Begins::WithBar => 0.0,
        };
        let Some(wanted) = need.end(places).filter(|wanted| *wanted > end && end > from) else {
            continue;
        };
        let wider = (wanted - from) / (end - from);
        let begin = places.first().copied().filter(|_| wider <= SPREAD).unwrap_or(from).min(from);
        let to = |x: f64| begin + (x - begin) * wider;
        places.iter_mut().filter(|x| **x > begin).for_each(|x| *x = to(*x));
        end = to(end);
    }
    let others = needs.filter(|need| matches!(need.begins, Begins::AtPlace));
    others.filter_map(|need| need.end(places)).fold(end, f64::max)
}

/// The room that orders and ways of playing of a bar ask for, and dynamics where bar lines go on from staff to
/// staff.
pub(super) fn needs(sheet: &Sheet, index: usize, times: &[Time]) -> Vec<Need> {
    let length = sheet.bars[index].length;
    let staves = || sheet.staves.iter().map(|staff| &staff.bars[index].directions).enumerate();
    let figures = staves().flat_map(|(staff, said)| figures_need((staff, said), times, length));
    let each = staves().flat_map(|(staff, all)| all.iter().map(move |said| (staff, said)));
    let orders = each.filter_map(|(staff, said)| {
        let width = match &said.kind {
            // Between two staves the bar line would go through them.
            DirectionKind::Words(words)
                if said.at < length && sheet.left_hand_alone(staff, index) =>
            {
                let beside = &sheet.staves[staff].bars[index].directions;
                let beside = beside.iter().filter(|other| other.at == said.at);
                let dynamics = beside.map(|other| match other.kind {
                    DirectionKind::Dynamic(dynamic) => HALF_HEAD + letters(dynamic).1 / 2.0 + 0.6,
                    _ => 0.0,
                });
                dynamics.fold(0.0, f64::max) + shape(words, WORDS.0, WORDS.1).width + 0.5
            }
            DirectionKind::Change(words) => {
                let widest = lines(words, 0.0).iter().map(|line| line.width).fold(0.0, f64::max);
                widest + 0.8 - over_line(sheet, staff, index)
            }
            DirectionKind::Technique(technique) if said.at < length => {
                shape(technique.printed(), TECHNIQUE.0, TECHNIQUE.1).width + 0.5
            }
            DirectionKind::Dynamic(dynamic) if said.at < length => {
                let pin = opens_within(&sheet.staves[staff].spans, index, said.at, length);
                if sheet.is_part && !pin {
                    return None;
                }
                let pin = if pin { LEAST_PIN } else { 0.0 };
                HALF_HEAD + letters(*dynamic).1 / 2.0 + 0.5 + pin
            }
            _ => return None,
        };
        let last = times.len().checked_sub(1);
        let own = &sheet.staves[staff].bars[index];
        let played = own.played_until(said.at).and_then(|end| last_before(times, end));
        let (column, width) = match said.at >= length {
            true if played == last => (last, width + BEHIND_NOTE),
            _ => (last.map(|last| times.partition_point(|at| *at < said.at).min(last)), width),
        };
        let begins = match (&said.kind, played) {
            (DirectionKind::Change(_), Some(note)) if Some(note) != last => {
                Begins::BehindNote(note)
            }
            (DirectionKind::Change(_), None) => Begins::WithBar,
            _ => Begins::AtPlace,
        };
        Some(Need { staff, column, width, begins })
    });
    orders.chain(figures).collect()
}

/// How far before small notes a number that tells whose they are begins: it ends before their stem, over whose
/// flag it would stand high. Longer words begin with the note. Our heuristic.
pub(super) fn before_small(kind: &DirectionKind) -> Option<f64> {
    const NUMBER: f64 = 2.0;
    let DirectionKind::Who(words) = kind else { return None };
    let width = shape(words, TECHNIQUE.0, TECHNIQUE.1).width;
    (width <= NUMBER).then_some(width - 0.1)
}

/// How far an order of a part may reach over the strokes of the bar line at its end: over all of them, where no
/// letter or tempo stands there.
pub(super) fn over_line(sheet: &Sheet, staff: usize, bar: usize) -> f64 {
    let next = sheet.bars.get(bar + 1);
    let free = next.is_none_or(|next| {
        !next.headings.is_empty() || next.mark.is_none() && next.tempo.is_none()
    });
    let alone = sheet.is_part && !sheet.is_braced(staff, bar);
    if alone && free { bar_line_width(&sheet.bars[bar]) } else { 0.0 }
}

/// The last column that begins before a time.
pub(super) fn last_before(times: &[Time], time: Time) -> Option<usize> {
    times.partition_point(|at| *at < time).checked_sub(1)
}

/// Room for a hairpin between its dynamic and the end of the bar, where it ends; shorter, and it looks like an
/// accent. Our heuristic.
const LEAST_PIN: f64 = 3.6;

/// Does a hairpin that begins there end with the bar?
fn opens_within(spans: &Spans, bar: usize, at: Time, length: Time) -> bool {
    let ends = |to: (usize, Time)| to == (bar, length) || to == (bar + 1, Time::ZERO);
    spans.touching(bar, bar).into_iter().any(|span| {
        matches!(span.kind, SpanKind::Hairpin { from, to, .. } if from == (bar, at) && ends(to))
    })
}

/// Air between two figures under one note. Our heuristic.
const BESIDE_FIGURE: f64 = 0.8;

/// The room that a note asks for under which figures follow one another, so that they are parted.
fn figures_need((staff, said): (usize, &[Direction]), times: &[Time], length: Time) -> Vec<Need> {
    let figures: Vec<(Time, f64)> = said
        .iter()
        .filter_map(|said| match &said.kind {
            DirectionKind::Figures(figures) => Some((said.at, figures_width(figures))),
            _ => None,
        })
        .collect();
    let pairs = figures.windows(2).filter_map(|pair| {
        let [(at, width), (next, _)] = *pair else { return None };
        let column = times.partition_point(|time| *time <= at).checked_sub(1)?;
        let end = times.get(column + 1).copied().unwrap_or(length);
        let share = (next - at).to_f64() / (end - times[column]).to_f64();
        let room = (width + BESIDE_FIGURE) / share;
        let need = Need { staff, column: Some(column), width: room, begins: Begins::AtPlace };
        (at < next && next < end).then_some(need)
    });
    pairs.collect()
}

/// How wide the widest of figures is that stand one below another.
fn figures_width(figures: &Figures) -> f64 {
    let figures: Vec<Figured> = figures.iter().map(Figured::new).collect();
    column(&figures).1
}

//! Orders to take something else ("change to C basso", "take Piccolo"): they stand where the rest is in
//! which they are carried out, and never over a note that is still played in the old way. So they go no
//! farther left than behind that note, into two lines if need be, and a bar is as wide as they ask.

use ripieno_compiler::music::{Figures, Time};
use ripieno_writers::edition::DirectionKind;

use super::directions::{WORDS_FACE as WORDS, letters};
use crate::rows::Spans;
use crate::sheet::{Direction, Sheet, SpanKind};
use crate::text::{Face, Run, in_lines, shape};

/// Face and size of an order.
pub(super) const ORDER: (Face, f64) = (Face::Bold, 2.1);
/// The same of a way of playing, which may not stand over a note before its place either.
pub(super) const TECHNIQUE: (Face, f64) = (Face::Roman, 2.1);
/// The same of the figures of a bass.
pub(super) const FIGURE: (Face, f64) = (Face::Roman, 2.0);
/// From the left edge of a head to its middle, under which a dynamic stands.
const HALF_HEAD: f64 = 0.6;
/// How far the last note of a bar reaches, with some air, for an order that stands at its end.
pub(super) const BEHIND_NOTE: f64 = 1.9;

/// An order in one line, if it is no wider than the room, or in two that are as even as can be.
pub(super) fn lines(text: &str, room: f64) -> Vec<Run> {
    let whole = shape(text, ORDER.0, ORDER.1);
    if whole.width <= room {
        return vec![whole];
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
    /// The column of its place; `None` where the bar has no columns.
    pub column: Option<usize>,
    /// From there on.
    pub width: f64,
    /// May it begin as soon as what stands in the column before has ended?
    pub early: bool,
}

impl Need {
    /// Where the bar line stands at the least when the columns stand there.
    pub(super) fn end(self, places: &[f64]) -> Option<f64> {
        let column = self.column?;
        let place = *places.get(column)?;
        let before = column.checked_sub(1).filter(|_| self.early).map(|before| places[before]);
        let earlier = before.map_or(0.0, |before| (place - before - BEHIND_NOTE).max(0.0));
        Some(place + self.width - earlier)
    }
}

/// The room that orders and ways of playing of a bar ask for, and dynamics where bar lines go on from staff to
/// staff.
pub(super) fn needs(sheet: &Sheet, index: usize, times: &[Time]) -> Vec<Need> {
    let length = sheet.bars[index].length;
    let staves = || sheet.staves.iter().map(|staff| &staff.bars[index].directions);
    let figures = staves().flat_map(|said| figures_need(said, times, length));
    let each = sheet.staves.iter().enumerate();
    let each =
        each.flat_map(|(staff, own)| own.bars[index].directions.iter().map(move |s| (staff, s)));
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
                lines(words, 0.0).iter().map(|line| line.width).fold(0.0, f64::max) + 0.8
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
        let (column, width) = match said.at >= length {
            true => (last, width + BEHIND_NOTE),
            false => (last.map(|last| times.partition_point(|at| *at < said.at).min(last)), width),
        };
        // What has been played is not in its way.
        let early = matches!(said.kind, DirectionKind::Change(_)) && said.at < length;
        Some(Need { column, width, early })
    });
    orders.chain(figures).collect()
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
fn figures_need(said: &[Direction], times: &[Time], length: Time) -> Vec<Need> {
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
        let need = Need { column: Some(column), width: room, early: false };
        (at < next && next < end).then_some(need)
    });
    pairs.collect()
}

/// How wide the widest of figures is that stand one below another.
fn figures_width(figures: &Figures) -> f64 {
    let widths = figures.iter().map(|figure| shape(&figure.to_string(), FIGURE.0, FIGURE.1).width);
    widths.fold(0.0, f64::max)
}

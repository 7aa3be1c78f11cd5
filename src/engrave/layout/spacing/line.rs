//! Bars side by side in a line: as wide as it, or shorter at the end.

use std::ops::Range;

use super::{BarSpace, Lead, Shown, even};
use crate::layout::breaking::MOST_STRETCH;
use crate::rows::Stretch;

/// A bar with its place in a line.
#[derive(Debug)]
pub(in crate::layout) struct PlacedBar {
    /// Index of the bar in the sheet.
    pub bar: usize,
    /// Where it begins: behind the bar line before it.
    pub x: f64,
    /// What stands before its notes.
    pub lead: Lead,
    /// Where the notes' room begins.
    pub body: f64,
    /// Where each column stands.
    pub columns: Vec<f64>,
    /// Where the bar line ends.
    pub end: f64,
}

/// Bars as a line of the page has them: with the staves that it shows.
#[derive(Clone, Copy)]
pub(in crate::layout) struct Line<'a> {
    pub spaces: &'a Stretch<BarSpace<'a>>,
    pub shown: &'a Shown,
}

impl Line<'_> {
    /// The width of some bars without what stands before their notes, at a stretch.
    fn need(self, bars: Range<usize>, stretch: f64) -> f64 {
        bars.map(|bar| self.spaces[bar].place(stretch, self.shown).1).sum()
    }
}

/// The stretch of a last line that stays short: wider than others, so that little of it is left. Our
/// heuristic.
const SHORT_STRETCH: f64 = 1.4;
/// A last line that would go farther than so, as a part of the width, goes to its end like all others: it
/// would look like one that was forgotten. That a last line may stay short is common practice; from where on
/// it may not is our heuristic.
const SHORT_LINE: f64 = 0.5;

/// Places bars in a line of that width, from `from` on; gives the places and the stretch. The line
/// ends exactly at the width, whatever its bars need, unless `ragged` leaves it shorter.
pub(in crate::layout) fn place_line(
    line: Line,
    bars: Range<usize>,
    (from, width): (f64, f64),
    ragged: bool,
) -> (Vec<PlacedBar>, f64) {
    let spaces = line.spaces;
    let courtesy = spaces.get(bars.end).map_or(0.0, |next| next.courtesy.width());
    let leads: f64 = bars.clone().map(|bar| lead(spaces, &bars, bar).width()).sum();
    let room = width - from - courtesy - leads;
    let need = |stretch: f64| line.need(bars.clone(), stretch);
    let mut stretch = filling(&need, room);
    let short = || (width - room + need(SHORT_STRETCH)) / width;
    if ragged && stretch > MOST_STRETCH && short() < SHORT_LINE {
        stretch = SHORT_STRETCH;
    }
    let filled = if ragged { need(stretch) } else { room };
    let evened = match for_words(line, &bars, (room, width - from), stretch) {
        Some((wide, own)) if filled >= room - 0.01 => {
            let others = |stretch: f64| {
                line.need(bars.start..wide.start, stretch) + line.need(wide.end..bars.end, stretch)
            };
            let closer = filling(&others, room - own);
            let mut all = Vec::with_capacity(bars.len());
            for some in [bars.start..wide.start, wide.clone(), wide.end..bars.end] {
                let need = |stretch: f64| line.need(some.clone(), stretch);
                let (stretch, room) = match some == wide {
                    true => (filling(&need, own), own),
                    false => (closer, need(closer)),
                };
                all.extend(even::bars(line, some, (stretch, room)));
            }
            all
        }
        _ => even::bars(line, bars.clone(), (stretch, filled)),
    };
    let mut x = from;
    let mut placed = Vec::with_capacity(bars.len());
    for (bar, (columns, taken)) in bars.clone().zip(evened) {
        let lead = lead(spaces, &bars, bar);
        let body = x + lead.width();
        let columns = columns.into_iter().map(|column| column + body).collect();
        let end = body + taken;
        placed.push(PlacedBar { bar, x, lead, body, columns, end });
        x = end;
    }
    // What rounding or an overfull line leaves is put right by squeezing places.
    let end = placed.last().map_or(from, |bar| bar.end);
    let target = width - courtesy;
    if (end - target).abs() > 1e-9 && end > from && (end > target || !ragged) {
        let squeeze = (target - from) / (end - from);
        if end > target || squeeze < 1.02 {
            for bar in &mut placed {
                let to = |x: f64| from + (x - from) * squeeze;
                bar.x = to(bar.x);
                bar.body = to(bar.body);
                bar.end = to(bar.end);
                bar.columns.iter_mut().for_each(|x| *x = to(*x));
            }
        }
    }
    (placed, stretch)
}

/// The stretch at which what needs so much room fills a room.
pub(super) fn filling(need: &dyn Fn(f64) -> f64, room: f64) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    while need(high) < room && high < 64.0 {
        low = high;
        high *= 2.0;
    }
    for _ in 0..18 {
        let middle = f64::midpoint(low, high);
        if need(middle) < room { low = middle } else { high = middle }
    }
    low
}

/// By how much bars are set closer at most so that those under a tempo have room for it in one line. Our
/// heuristic.
const CLOSER: f64 = 0.8;
/// How much of the ideal room is left to them then at the least: for the sake of words that are not torn a little less
/// than in other full lines. Our heuristic.
const TIGHTEST_FOR_WORDS: f64 = 0.62;

/// The first tempo of a line that has not enough room in one line, up to the next tempo or rehearsal mark or to
/// the end: the bars over which it stands, and how much they need without what stands before their notes, if
/// the others can give that. Given are the room for the notes of all bars, how far words may go, and how far
/// the bars are stretched.
fn for_words(
    line: Line,
    bars: &Range<usize>,
    (room, right): (f64, f64),
    stretch: f64,
) -> Option<(Range<usize>, f64)> {
    let spaces = line.spaces;
    let leads = |some: Range<usize>| some.map(|bar| lead(spaces, bars, bar).width()).sum::<f64>();
    let all = bars.clone().filter(|bar| spaces[*bar].said.is_some());
    all.filter_map(|first| {
        let mut later = first + 1..bars.end;
        let next = later.find(|bar| spaces[*bar].said_before > 0.0);
        let wide = first..next.unwrap_or(bars.end);
        // Words may go on over what announces the next line.
        let behind =
            next.map_or(room + leads(bars.clone()) - right, |next| spaces[next].said_before);
        let own = spaces[first].said?.width(first == bars.start, spaces[first].start);
        let own = own + behind - leads(wide.clone());
        let closer = |some: &Range<usize>| line.need(some.clone(), stretch * CLOSER);
        let others = closer(bars) - closer(&wide);
        let lacks = line.need(wide.clone(), stretch) < own;
        let fits = stretch * CLOSER >= TIGHTEST_FOR_WORDS && others + own <= room;
        (lacks && fits).then_some((wide, own))
    })
    .next()
}

fn lead(spaces: &Stretch<BarSpace>, line: &Range<usize>, bar: usize) -> Lead {
    if bar == line.start { spaces[bar].start } else { spaces[bar].lead }
}

//! Where each time of a bar stands on the page, and which bars share a line.

use crate::music::Time;
use crate::notate::FrameBar;

use super::cells::{Cell, CellKind};

/// What a staff has in a bar: cells, and what is said at which times with the characters that it
/// takes.
pub(super) type Contents<'c> = (&'c [Cell], Vec<(Time, usize)>);

/// The columns of one bar, the same for all staves.
#[derive(Clone, Debug)]
pub(super) struct BarColumns {
    /// Times from the bar's beginning, each with its distance in characters from it.
    pub(super) columns: Vec<(Time, usize)>,
    pub(super) length: Time,
    pub(super) width: usize,
}

/// Characters that a time takes at least, so that long notes look longer than short ones.
fn room(time: Time) -> usize {
    match time {
        time if time >= Time::QUARTER => 6,
        time if time >= Time::EIGHTH => 4,
        time if time >= Time::of(1, 16) => 3,
        _ => 2,
    }
}

/// What stands over a time of a bar: the number of its beat, `+` over the middle of a beat, a dot over
/// a third of a compound one; `None` between them.
pub(super) fn beat_sign(bar: &FrameBar, at: Time) -> Option<String> {
    let (beat, into) = bar.metre.beat_at(at + bar.missing());
    let length = bar.metre.beat();
    if into == Time::ZERO {
        Some(beat.to_string())
    } else if into * 2 == length {
        Some("+".to_owned())
    } else {
        (bar.metre.is_compound() && into * 3 % length == Time::ZERO).then(|| "·".to_owned())
    }
}

/// What the staves of a bar want of its columns, taken staff by staff.
#[derive(Clone, Debug)]
pub(super) struct Wanted {
    /// Times with the characters that stand there, each time once and in order.
    at: Vec<(Time, usize)>,
    /// Does any staff do more than rest through the bar?
    moves: bool,
}

impl Default for Wanted {
    fn default() -> Wanted {
        Wanted { at: vec![(Time::ZERO, 0)], moves: false }
    }
}

impl Wanted {
    /// Adds what a staff has in the bar.
    pub(super) fn take(&mut self, bar: &FrameBar, (cells, said): &Contents) {
        for cell in *cells {
            self.moves |= cell.kind != CellKind::BarRest;
            let texts = [&cell.name, &cell.held_name, &cell.value, &cell.signs];
            let sung = cell.lyrics.iter().map(|(_, text)| text);
            let longest =
                texts.into_iter().chain(sung).map(|text| text.chars().count()).max().unwrap_or(0);
            let bracket = if cell.tuplet_starts.is_some() { 2 } else { 0 };
            self.at.push((cell.at, longest.max(bracket)));
        }
        self.at.extend(said.iter().filter(|(at, _)| *at < bar.length));
        self.put_in_order();
    }

    /// Each time once, with the most characters that stand there.
    fn put_in_order(&mut self) {
        self.at.sort_unstable();
        self.at.dedup_by(|next, kept| {
            let same = next.0 == kept.0;
            if same {
                kept.1 = kept.1.max(next.1);
            }
            same
        });
    }

    /// The columns of the bar, with one for each of its beats where anybody plays.
    pub(super) fn columns(mut self, bar: &FrameBar) -> BarColumns {
        if self.moves {
            let beat = bar.metre.beat();
            let mut at = (-bar.missing()) % beat;
            while at < bar.length {
                self.at.push((at, 0));
                at += beat;
            }
            self.put_in_order();
        }
        let mut columns = Vec::with_capacity(self.at.len());
        let mut x = 0;
        for (index, (at, characters)) in self.at.iter().enumerate() {
            columns.push((*at, x));
            let next = self.at.get(index + 1).map_or(bar.length, |(next, _)| *next);
            let least = if self.moves { room(next - *at) } else { 10 };
            x += least.max(characters + 1);
        }
        BarColumns { columns, length: bar.length, width: x }
    }
}

impl BarColumns {
    /// Characters between the bar's beginning and a time.
    pub(super) fn x(&self, at: Time) -> usize {
        if at >= self.length {
            return self.width;
        }
        let after = self.columns.partition_point(|(time, _)| *time <= at);
        self.columns.get(after.saturating_sub(1)).map_or(0, |(_, x)| *x)
    }
}

/// A bar or a piece of a bar or several bars of rest, in a line.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Chunk {
    /// Index of the bar (of the first, for several bars of rest).
    pub(super) bar: usize,
    /// How many bars it stands for: 2 or more is a long rest.
    pub(super) bars: usize,
    /// The columns of the bar that it shows: first, one past last.
    pub(super) columns: (usize, usize),
    /// Characters of its content.
    pub(super) width: usize,
}

/// Characters at most between two chunks: the line of a repeat that ends and begins, a space.
const BETWEEN: usize = 4;

/// The chunks of a bar: one, or several where it is wider than the page. They part at beats if
/// possible.
pub(super) fn chunks(
    bar: usize,
    frame: &FrameBar,
    grid: &BarColumns,
    room: usize,
    out: &mut Vec<Chunk>,
) {
    let count = grid.columns.len();
    let end_of = |column: usize| grid.columns.get(column).map_or(grid.width, |(_, x)| *x);
    let is_beat = |column: usize| {
        let at = grid.columns[column].0 + frame.missing();
        at % frame.metre.beat() == Time::ZERO
    };
    let mut first = 0;
    while first < count {
        let fits = |column: usize| end_of(column) - end_of(first) <= room.saturating_sub(BETWEEN);
        let mut last = first + 1;
        let mut last_beat = None;
        while last < count && fits(last + 1) {
            if is_beat(last) {
                last_beat = Some(last);
            }
            last += 1;
        }
        if last < count {
            last = if is_beat(last) { last } else { last_beat.unwrap_or(last) };
        }
        let width = end_of(last) - end_of(first);
        out.push(Chunk { bar, bars: 1, columns: (first, last), width });
        first = last;
    }
}

/// Chunks in lines: as many as fit, a new line where one is asked for.
pub(super) fn lines(
    chunks: Vec<Chunk>,
    room: usize,
    begins: impl Fn(&Chunk) -> bool,
) -> Vec<Vec<Chunk>> {
    let mut lines: Vec<Vec<Chunk>> = Vec::new();
    let mut used = 0;
    for chunk in chunks {
        let needed = chunk.width + BETWEEN;
        match lines.last_mut() {
            Some(line) if used + needed <= room && !begins(&chunk) => {
                line.push(chunk);
                used += needed;
            }
            _ => {
                lines.push(vec![chunk]);
                used = needed;
            }
        }
    }
    lines
}

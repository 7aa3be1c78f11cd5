//! A score with notes under their beats, of which no more than one part is held at a time.
//!
//! The parts are gone through twice: first for what the columns of each bar must hold, which says what
//! stands in which line; then for the rows of each part, which are kept packed until all can stand
//! under one another.

use std::borrow::Cow;
use std::io;
use std::ops::Range;

use crate::edition::{Edition, Rests};
use crate::notate::FrameBar;

use super::super::shelf::Shelf;
use super::canvas::Row;
use super::grid::{BarColumns, Chunk, Wanted};
use super::system::{Open, Page};
use super::{Headings, SCORE_WIDTH};

/// Gives the edition of a part, to be looked at.
pub(super) type One<'o> =
    dyn Fn(usize, &mut dyn FnMut(Edition) -> io::Result<()>) -> io::Result<()> + 'o;

/// What a score must know of all its parts before the first line is drawn.
#[derive(Default)]
struct Gathered {
    /// Who plays, under which names.
    whole: Option<Edition<'static>>,
    frame: Vec<FrameBar>,
    wanted: Vec<Wanted>,
    /// For each bar, does anybody do more than rest?
    heard: Vec<bool>,
    rests: Rests,
    /// What each part is.
    facts: Vec<String>,
}

impl Gathered {
    fn take(&mut self, edition: Edition) {
        if self.whole.is_none() {
            self.frame = edition.bars.to_vec();
            self.wanted = vec![Wanted::default(); self.frame.len()];
            self.heard = vec![false; self.frame.len()];
        }
        let bars = edition.bars.len();
        for first in (0..bars).step_by(AT_A_TIME) {
            let some = first..bars.min(first + AT_A_TIME);
            let page = drawn(&edition, &[], 0, some.clone());
            for bar in some {
                for line in &page.lines {
                    self.wanted[bar].take(&edition.bars[bar], &line.contents(bar));
                }
                self.heard[bar] |= page.is_heard_in(bar);
            }
        }
        self.rests.take(&edition);
        self.facts.extend(edition.parts.iter().map(|part| super::part_fact(&edition, part)));
        let more = edition.without_bars();
        match &mut self.whole {
            None => self.whole = Some(more),
            Some(whole) => whole.add(more),
        }
    }
}

/// Bars of which the contents are held at a time.
const AT_A_TIME: usize = 512;

/// What of some bars of an edition is drawn in given columns.
fn drawn<'e, 'a>(
    edition: &'e Edition<'a>,
    grids: &'e [BarColumns],
    gutter: usize,
    bars: Range<usize>,
) -> Page<'e, 'a> {
    let lines = super::text_lines(edition, false, bars);
    let grids = Cow::Borrowed(grids);
    Page { edition, lines, grids, width: SCORE_WIDTH, gutter, is_part: false }
}

/// Writes the score of so many parts.
pub(super) fn beats(parts: usize, one: &One, out: &mut dyn io::Write) -> io::Result<()> {
    let mut gathered = Gathered::default();
    for part in 0..parts {
        one(part, &mut |edition| {
            gathered.take(edition);
            Ok(())
        })?;
    }
    let Gathered { whole, frame, wanted, heard, rests, facts } = gathered;
    let Some(whole) = whole else { return Ok(()) };
    let whole = whole.over(&frame);
    let columns = wanted.into_iter().zip(&frame).map(|(wanted, bar)| wanted.columns(bar));
    let grids: Vec<BarColumns> = columns.collect();
    let gutter = super::gutter(&whole);
    let page = drawn(&whole, &grids, gutter, 0..0);
    let lines = super::in_lines(&whole, &grids, &rests.runs(&frame), page.room());
    // All staves stand in the first line, and where everybody rests.
    let all =
        |index: usize, line: &[Chunk]| index == 0 || !line.iter().any(|chunk| heard[chunk.bar]);
    let mut rows = Vec::with_capacity(parts);
    for part in 0..parts {
        one(part, &mut |edition| {
            let (mut shelf, mut open) = (Shelf::default(), Open::default());
            let mut text = String::new();
            for (number, some) in lines.chunks(AT_A_TIME).enumerate() {
                let bars = || some.iter().flatten().map(|chunk| chunk.bar);
                let (from, to) = (bars().min().unwrap_or(0), bars().max().unwrap_or(0) + 1);
                let page = drawn(&edition, &grids, gutter, from..to);
                for (line, index) in some.iter().zip(number * AT_A_TIME..) {
                    text.clear();
                    page.draw_staves(line, &mut open, all(index, line), &Row::default(), &mut text);
                    shelf.put(Some(&text));
                }
            }
            rows.push(shelf);
            Ok(())
        })?;
    }
    let mut rows: Vec<_> = rows.into_iter().map(Shelf::taken_out).collect();
    let mut text = String::new();
    super::score_head(&whole, &facts, gutter, &mut text);
    let mut headings = Headings::new(&whole, SCORE_WIDTH);
    let mut open = Open::default();
    for line in &lines {
        headings.before(line, &mut text);
        page.draw_frame(line, &mut open, &mut text);
        rows.iter_mut().filter_map(|part| part.next()).for_each(|part| text.push_str(part));
        text.push('\n');
        out.write_all(text.as_bytes())?;
        text.clear();
    }
    headings.left(&mut text);
    super::foot(&whole, &mut text);
    out.write_all(text.as_bytes())
}

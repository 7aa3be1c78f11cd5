//! From a sheet to pages: columns, lines, systems, pages.

#[cfg(test)]
mod across_tests;
mod attempt;
#[cfg(test)]
mod begins_tests;
#[cfg(test)]
mod beside_tests;
mod breaking;
mod canvas;
mod chord;
#[cfg(test)]
mod clear_tests;
#[cfg(test)]
mod copyist_tests;
mod curves;
mod directions;
mod frame;
mod heading;
mod hung;
#[cfg(test)]
mod loudness_tests;
pub mod measures;
mod music;
mod notes;
#[cfg(test)]
mod nudge_tests;
mod orders;
mod over;
#[cfg(test)]
mod page_tests;
#[cfg(test)]
mod published_tests;
#[cfg(test)]
mod rests_tests;
#[cfg(test)]
mod rows_tests;
mod seams;
mod skyline;
mod spacing;
mod splitting;
mod stand;
#[cfg(test)]
mod stand_tests;
#[cfg(test)]
mod sung_tests;
mod survey;
mod system;
#[cfg(test)]
mod tests;
#[cfg(test)]
mod ties_tests;
#[cfg(test)]
mod touched_tests;
mod voices;
#[cfg(test)]
mod words_tests;

use crate::packed::Packed;
use crate::page::{Draw, Mark, Page, Pages};
use crate::paper::{CONDENSED_STAFF, MARGINS, PART_STAFF, SCORE_STAFF, Setup, USUAL_SCORE_STAFF};
use crate::sheet::Sheet;
use attempt::set;
use music::Music;

/// Seconds of rest in which a page can be turned at all: where there are fewer, the turn is told. Our
/// heuristic.
pub const TURN_SECONDS: f64 = breaking::HASTY;

/// Lays a sheet out on pages.
#[must_use]
pub fn pages(sheet: &Sheet, setup: &Setup) -> Pages {
    let (pages, drawn) = drawn(sheet, setup, &Vec::new);
    Pages { pages: drawn, ..pages }
}

/// The same for who takes each page as soon as it is laid out, so that they need not all be there at
/// a time: what is given back of them has none. A layout may turn out not to fit, and another one is
/// begun then, with a `new` taker.
#[must_use]
pub fn drawn<D: Draw>(sheet: &Sheet, setup: &Setup, new: &impl Fn() -> D) -> (Pages, D) {
    if sheet.tacet {
        let mut drawn = new();
        return (tacet(sheet, setup, &mut drawn), drawn);
    }
    if sheet.bars.is_empty() || sheet.staves.is_empty() {
        let pages = Pages {
            title: sheet.title.clone(),
            author: None,
            first_bars: Vec::new(),
            lines: Vec::new(),
            turns: Vec::new(),
            hidden: Vec::new(),
            nudged: Vec::new(),
            pages: Vec::new(),
        };
        return (pages, new());
    }
    let (setup, height, width) = sized(sheet, setup);
    let mut music = Music::whole(sheet);
    let split = match &music {
        Music::Whole { spaces, .. } => splitting::split(sheet, spaces, width),
        Music::Packed { .. } => None,
    };
    if let Some(split) = &split {
        music = Music::whole(split);
    }
    let surveyed = survey::all(&mut music);
    set(&mut music, &surveyed, (&setup, height), new)
}

/// The same for pages whose bars are packed, of which no more are taken out than a page has. Only
/// where bars must be divided, because they are longer than a line, all are taken out.
#[must_use]
pub fn drawn_packed<D: Draw>(packed: Packed, setup: &Setup, new: &impl Fn() -> D) -> (Pages, D) {
    let frame = packed.frame();
    if !frame.tacet && !frame.bars.is_empty() && !frame.staves.is_empty() {
        let (setup, height, width) = sized(packed.frame(), setup);
        let mut music = Music::packed(&packed);
        if let Some(surveyed) = survey::all_within(&mut music, width) {
            return set(&mut music, &surveyed, (&setup, height), new);
        }
    }
    let whole = packed.whole();
    drop(packed);
    drawn(&whole, setup, new)
}

/// What is asked of the pages, with what their size brings; the height of the staves in millimetres, and
/// the width of a line but the first in staff spaces.
fn sized(sheet: &Sheet, setup: &Setup) -> (Setup, f64, f64) {
    let height = setup.staff_height.unwrap_or_else(|| fitting(sheet, setup));
    // Large scores leave out who rests, where nothing else is asked for.
    let small = !sheet.is_part && setup.staff_height.is_none() && height < USUAL_SCORE_STAFF;
    let hide_empty = setup.hide_empty || small && !setup.bare;
    let setup = Setup { hide_empty, ..setup.clone() };
    let width = line_width(&setup, height / 4.0) - frame::indent(sheet, false);
    (setup, height, width)
}

/// The page of somebody who has nothing to play.
fn tacet(sheet: &Sheet, setup: &Setup, drawn: &mut impl Draw) -> Pages {
    let (width, height) = size(setup);
    let space = PART_STAFF / 4.0;
    let room = (
        (width - MARGINS.inner - MARGINS.outer) / space,
        (height - MARGINS.top - MARGINS.bottom) / space,
    );
    let mut marks = Vec::new();
    heading::draw(
        &mut marks,
        sheet,
        0,
        true,
        (room.0, space),
        room.1 - heading::foot_height(sheet, true, (room.0, space)),
    );
    let marks = marks
        .into_iter()
        .map(|mark| mark.moved(MARGINS.inner / space, MARGINS.top / space))
        .collect();
    drawn.page(Page { size: (width, height), space, marks });
    Pages {
        title: format!("{} – {}", sheet.title, sheet.name),
        author: sheet.composer.clone(),
        first_bars: vec![0],
        lines: Vec::new(),
        turns: Vec::new(),
        hidden: Vec::new(),
        nudged: Vec::new(),
        pages: Vec::new(),
    }
}

/// Lays a passage out without title or heads, each page cut to what stands on it.
#[must_use]
pub fn passage(sheet: &Sheet, setup: &Setup) -> Pages {
    let mut pages = pages(sheet, &Setup { bare: true, ..setup.clone() });
    for page in &mut pages.pages {
        cut(page);
    }
    pages
}

/// Cuts a page to what stands on it, with a little air around.
fn cut(page: &mut Page) {
    const AIR: f64 = 1.5;
    let boxes = page.marks.iter().map(Mark::bounds);
    let Some(all) = boxes.reduce(|all, one| all.union(one)) else { return };
    page.marks = std::mem::take(&mut page.marks)
        .into_iter()
        .map(|mark| mark.moved(AIR - all.x0, AIR - all.y0))
        .collect();
    page.size = ((all.width() + 2.0 * AIR) * page.space, (all.height() + 2.0 * AIR) * page.space);
}

/// Height of the staves, in millimetres: that of parts, or the largest with which all staves of a
/// score fit on a page.
fn fitting(sheet: &Sheet, setup: &Setup) -> f64 {
    if sheet.is_part {
        return PART_STAFF;
    }
    let (_, height) = size(setup);
    let spaces = usual_staves(sheet) as f64 * 10.6 + 8.0;
    let room = height - MARGINS.top - MARGINS.bottom - 10.0;
    let systems = if spaces * 2.1 * 5.0 / 4.0 < room { 2.0 } else { 1.0 };
    size_for(sheet, setup, systems)
}

/// From so many staves on a condensed score has no larger ones than a full one that leaves out who rests.
const MANY_STAVES: usize = 16;

/// How many staves a score has where nobody parts.
fn usual_staves(sheet: &Sheet) -> usize {
    sheet.staves.iter().filter(|staff| staff.is_usual()).count()
}

/// Height of the staves with which so many systems of all of them fit on a page.
fn size_for(sheet: &Sheet, setup: &Setup, systems: f64) -> f64 {
    let (_, height) = size(setup);
    let spaces = usual_staves(sheet) as f64 * 10.6 + 8.0;
    let room = height - MARGINS.top - MARGINS.bottom - 10.0;
    // Who shares staves saves room: it is not given back to larger ones, or the condensed score would be
    // longer than the full one.
    let condensed = sheet.staves.iter().any(|staff| staff.players.len() > 1);
    let most = match usual_staves(sheet) {
        _ if !condensed => SCORE_STAFF.0,
        ..MANY_STAVES => CONDENSED_STAFF,
        _ => USUAL_SCORE_STAFF,
    };
    (4.0 * room / spaces / systems).clamp(SCORE_STAFF.1, most)
}

/// Width of a line in staff spaces, each of so many millimetres.
fn line_width(setup: &Setup, space: f64) -> f64 {
    (size(setup).0 - MARGINS.inner - MARGINS.outer) / space
}

/// Width and height of the paper in millimetres.
fn size(setup: &Setup) -> (f64, f64) {
    let (width, height) = setup.paper.millimetres();
    if setup.landscape { (height, width) } else { (width, height) }
}

//! Signs that are drawn with characters: bar lines, boxes, brackets and hairpins.

use crate::notate::FrameBar;
use crate::render::text::canvas::Row;
use crate::resolve::BarLine;

/// The line between two bars; `None` for a side that does not count.
pub(super) fn bar_line(ends: Option<&FrameBar>, begins: Option<&FrameBar>) -> &'static str {
    let ends_repeat = ends.is_some_and(|bar| bar.repeat_ends);
    let begins_repeat = begins.is_some_and(|bar| bar.repeat_starts);
    match (ends_repeat, begins_repeat, ends.map(|bar| bar.line)) {
        (true, true, _) => ":║:",
        (true, false, _) => ":║",
        (false, true, _) => "║:",
        (_, _, Some(BarLine::Double)) => "║",
        (_, _, Some(BarLine::Final)) => "┃",
        _ if begins.is_none() && ends.is_none() => "┆",
        _ => "│",
    }
}

pub(super) fn draw_box(rows: &mut [Row; 3], x: usize, mark: &str) {
    let edge = "─".repeat(mark.chars().count() + 2);
    rows[0].put(x, &format!("┌{edge}┐"));
    rows[1].put(x, &format!("│ {mark} │"));
    rows[2].put(x, &format!("└{edge}┘"));
}

pub(super) fn draw_bracket(row: &mut Row, from: usize, to: usize, number: &str) {
    let inside = to.saturating_sub(from + 2);
    let length = number.chars().count();
    if inside < length {
        row.put(from, number);
        return;
    }
    let before = (inside - length) / 2;
    let after = inside - length - before;
    row.put(from, &format!("┌{}{number}{}┐", "─".repeat(before), "─".repeat(after)));
}

/// A growing hairpin is `<────`, a waning one `────>`.
pub(super) fn draw_hairpin(row: &mut Row, from: usize, to: usize, grows: bool) {
    let mut start = from;
    while start < to && !row.is_free(start, start + 1) {
        start += 1;
    }
    // A space after the dynamic from which it sets out, and before the one that it reaches.
    start += usize::from(start > from && start + 1 < to);
    let end = to.saturating_sub(1).max(start + 1);
    row.fill(start, end, '─');
    if grows {
        row.set(start, '<');
    } else {
        row.set(end - 1, '>');
    }
}

pub(super) fn push_unless_blank(row: &Row, out: &mut String) {
    if !row.is_blank() {
        row.push_to(out);
    }
}

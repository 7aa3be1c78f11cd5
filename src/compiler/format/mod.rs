//! The one canonical form of a source, made for `git diff`. Only blanks change, never a sign: what
//! is not a blank stands in the result as it stood in the source, in the same order.
//!
//! The form follows two thoughts. A musician finds things by their column; and **no line changes
//! because another one did**, so that a difference between two versions shows the bars and lines
//! that somebody wrote anew and nothing else. Where columns were made as wide as the longest line
//! beside them asks for, one long line would move all others; so all columns here are fixed, and
//! what is too long for its column goes on behind a blank or two.
//!
//! - A declaration begins at the head of its line, what it holds two signs further in, written
//!   notes four. A block that was written on one line stays there; in one that was not, its brace
//!   closes on a line of its own.
//! - Numbers of bars end in the same column up to bar 999, and so all music begins in the same
//!   column, in every voice and every piece: `    9: 1/4 D5 |`, `   10: 1/4 E5 |`. One blank
//!   between elements and one before `|`; signs of a slur and brackets stand at their notes.
//! - Where a line or a bar is broken into lines, it stays so: one bar or one phrase a line, as the
//!   writer likes. No line becomes longer, but for a `|`, a `)` or the end of a slur that stood
//!   alone on the next.
//! - In the form and in the dynamics what happens stands in one column behind the bars. In a
//!   scoring the verb stands in one column behind the players, and `as` in another.
//! - A comment stays where it is, behind its line or on a line of its own, and then as far in as
//!   what it stands before. Of several empty lines one stays, none at the ends of a block.
//! - Lines end with a line feed, the last one too; no blanks at the end of a line, no byte order
//!   mark.
//! - Bars, lines and declarations that cannot be read stay as they are, but for their line ends.

mod edits;
mod gaps;
mod harmony;
mod lines;
mod music;
mod notes;
mod scoring;

use std::ops::Range;

use crate::syntax::{Document, Item, Node, Within};
use edits::Edits;
pub use edits::{Edit, apply};
use gaps::{Breaks, Gap};
pub use notes::{bars_words, written_bars};

/// How far in the lines of a block stand.
const INDENT: usize = 2;

/// A source in the canonical form.
#[must_use]
pub fn format(document: &Document) -> String {
    apply(document.text(), &edits(document))
}

/// What brings a source into the canonical form: edits in order, each of a run of blanks.
#[must_use]
pub fn edits(document: &Document) -> Vec<Edit> {
    let items: Vec<(usize, &Item)> = document.items().collect();
    let mut edits = Edits::new(document.text());
    let mut before = Before::Start;
    // Where the gap begins, and whether the open block has more than one line.
    let (mut end, mut tall) = (0, false);
    for (index, &(start, item)) in items.iter().enumerate() {
        if item.node == Node::Unclosed {
            // What stands before it stands before the next declaration.
            before = if before == Before::Start { before } else { Before::Declaration };
            continue;
        }
        let broken = is_broken(item);
        let gap = gap_before(&edits, (start, item), before, tall, broken);
        edits.gap(end..start, &gap);
        end = start + item.length();
        if opens(&item.node) {
            tall = is_tall(document.text(), end, &items[index + 1..]);
        }
        if broken {
            edits.line_ends(start..end);
        } else {
            edits.item(start..end, &item.node, tall);
        }
        before = match item.node {
            _ if broken => Before::Broken,
            Node::Use(_) | Node::Close => Before::Declaration,
            _ if opens(&item.node) => Before::Head,
            _ => Before::Entry,
        };
    }
    edits.done()
}

/// What brings some lines into the canonical form and leaves all others as they are; lines are
/// counted from 0, the end is not one of them.
#[must_use]
pub fn edits_of_lines(document: &Document, lines: Range<usize>) -> Vec<Edit> {
    let text = document.text();
    let starts = || std::iter::once(0).chain(text.match_indices('\n').map(|(at, _)| at + 1));
    let from = starts().nth(lines.start).unwrap_or(text.len());
    let to = starts().nth(lines.end).unwrap_or(text.len());
    let mut edits = edits(document);
    edits.retain(|edit| {
        let begins = edit.range.start >= from && (edit.range.start < to || to == text.len());
        begins && edit.range.end <= to
    });
    edits
}

/// What brings the bar that ends right before a byte into the canonical form, for editors that
/// format while one types: the byte is that behind the `|` that was typed. Nothing behind it
/// changes, and nothing at all where no bar ends there.
#[must_use]
pub fn edits_of_bar(document: &Document, byte: usize) -> Vec<Edit> {
    let text = document.text();
    if !text.get(..byte).is_some_and(|before| before.ends_with('|')) {
        return Vec::new();
    }
    let bars = |node: &Node| {
        matches!(
            node,
            Node::Bar(_) | Node::HarmonyBar(_) | Node::LyricsBar(_) | Node::ScoringLine(_)
        )
    };
    let holds = |&(start, item): &(usize, &Item)| start < byte && byte <= start + item.length();
    let Some((start, item)) = document.items().find(holds) else { return Vec::new() };
    if !bars(&item.node) || is_broken(item) {
        return Vec::new();
    }
    // Of written notes only the bar on this line.
    let line = text[..byte].rfind('\n').map_or(0, |at| at + 1);
    let from = match item.node {
        Node::ScoringLine(_) => line,
        _ => text[..start].rfind('\n').map_or(0, |at| at + 1),
    };
    let mut edits = edits(document);
    edits.retain(|edit| edit.range.start >= from && edit.range.end <= byte);
    edits
}

/// What stands before a gap.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Before {
    /// The beginning of the file.
    Start,
    /// The head of a block.
    Head,
    /// A line or a bar.
    Entry,
    /// The end of a declaration.
    Declaration,
    /// Something that cannot be read.
    Broken,
}

fn is_broken(item: &Item) -> bool {
    item.crowded
        || !item.findings().is_empty()
        || matches!(item.node, Node::Broken(_) | Node::Lost(_))
}

fn opens(node: &Node) -> bool {
    matches!(
        node,
        Node::Piece(_)
            | Node::Form(_)
            | Node::Harmony(_)
            | Node::Dynamics(_)
            | Node::Voice(_)
            | Node::Lyrics(..)
            | Node::Instrument(..)
            | Node::Ensemble(..)
            | Node::Scoring(..)
            | Node::Layout(..)
    )
}

/// Has a block more than one line, from behind its head on? The lines before the brace that closes
/// it count; where no brace does, what stands behind its last entry is none of its lines, as
/// formatting ends the file or the gap before the next declaration there.
fn is_tall(text: &str, from: usize, items: &[(usize, &Item)]) -> bool {
    let ends = |node: &Node| matches!(node, Node::Close | Node::Unclosed | Node::End);
    let end = items.iter().find(|(_, item)| ends(&item.node));
    let to = end.map_or(text.len(), |(start, _)| *start);
    let closed = end.is_some_and(|(_, item)| item.node == Node::Close);
    let lines = &text[from..to];
    let lines = if closed { lines } else { lines.trim_end() };
    lines.contains(['\n', '\r'])
}

/// How the gap before an item is to be.
fn gap_before(
    edits: &Edits,
    (start, item): (usize, &Item),
    before: Before,
    tall: bool,
    broken: bool,
) -> Gap {
    let mut gap = Gap { behind_broken: before == Before::Broken, ..Gap::default() };
    gap.before_broken = broken;
    gap.from_start = before == Before::Start;
    gap.empty_line_first = before != Before::Head;
    gap.empty_line_last = true;
    if item.node == Node::End {
        return Gap { to_end: true, empty_line_last: false, ..gap };
    }
    if item.node == Node::Close {
        let breaks = if tall { Breaks::Always } else { Breaks::Kept };
        return Gap { same_line: 1, breaks, notes: INDENT, empty_line_last: false, ..gap };
    }
    if item.within == Within::File {
        return Gap { breaks: Breaks::Always, ..gap };
    }
    gap.same_line = 1;
    gap.notes = INDENT;
    gap.indent = INDENT;
    let is_bar = matches!(item.node, Node::Bar(_) | Node::HarmonyBar(_) | Node::LyricsBar(_));
    if is_bar {
        gap.indent = edits.indent_of_bar(start, INDENT);
    }
    if tall && (before == Before::Head || !is_bar) {
        gap.breaks = Breaks::Always;
    }
    gap
}

impl Edits<'_> {
    /// Sets what stands in an item.
    fn item(&mut self, range: Range<usize>, node: &Node, tall: bool) {
        match node {
            Node::Bar(_) => {
                self.bar(range, INDENT);
            }
            Node::HarmonyBar(_) | Node::LyricsBar(_) => self.harmony_bar(range),
            Node::ScoringLine(_) => self.scoring_line(range, tall),
            Node::FormLine(..) | Node::DynamicsLine(_) if tall => self.moment(range),
            node => self.words(range, opens(node)),
        }
    }
}

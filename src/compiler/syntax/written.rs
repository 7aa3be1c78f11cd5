//! Reads the notes that a line of a scoring writes: bar by bar, as those of a voice are, so that never
//! more than two bars of tokens stand at once.

use std::sync::Arc;

use pest::iterators::Pair;

use super::context::{ItemReader, Rule};
use super::item::{first_of, gap, length};
use super::music;
use super::scoring::LineParts;
use super::tree::{BarTree, ScoringLine};
use crate::lists::push_slowly;

/// The whole line, of which the grammar has read the head.
pub(super) fn writes_line(cx: &mut ItemReader, head: Pair<Rule>) -> Option<ScoringLine> {
    let text = cx.text;
    let (mut at, mut end) = (head.as_span().end(), cx.length);
    // How long the item is, shows itself at its end: only its last bar may have to be cut there.
    cx.length = text.len();
    let whole = cx.span(&head);
    let mut parts = LineParts::new(whole);
    head.into_inner().for_each(|part| parts.take(cx, part));
    let mut bars = Vec::new();
    let mut last: Option<(usize, Pair<Rule>)> = None;
    let behind = loop {
        at += gap(&text[at..]);
        let pair = first_of(Rule::written_item, &text[at..])?;
        if pair.as_rule() == Rule::written_end {
            break pair;
        }
        let (from, after) = (at, at + pair.as_span().end());
        if let Some(before) = last.replace((from, pair)) {
            push_slowly(&mut bars, bar(cx, before));
        }
        at = after;
    };
    if let Some((from, pair)) = &last {
        end = from + length(pair, &text[*from..]);
    }
    if !behind.as_str().is_empty() {
        end = at + length(&behind, &text[at..]);
    }
    cx.length = end;
    bars.extend(last.map(|last| bar(cx, last)));
    parts.writes(bars);
    cx.base = at;
    let mut span = whole;
    for part in behind.into_inner() {
        span.end = cx.span(&part).end;
        parts.take(cx, part);
    }
    cx.base = 0;
    parts.line(span)
}

/// A bar that begins at a byte of the item.
fn bar(cx: &mut ItemReader, (from, pair): (usize, Pair<Rule>)) -> Arc<BarTree> {
    cx.base = from;
    let bar = match pair.as_rule() {
        Rule::bar => music::bar(cx, pair),
        _ => music::broken_bar(cx, &pair),
    };
    cx.base = 0;
    Arc::new(bar)
}

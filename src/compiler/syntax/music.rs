//! Builds the trees of bars.

use pest::iterators::Pair;

use super::context::{ItemReader, Rule, read_number, read_pitch, read_value};
use super::elements::Packer;
use super::explain;
use super::tree::*;
use crate::diagnostics::{Diagnostic, Span};

/// A bar that could not be read.
pub(super) fn broken_bar(cx: &mut ItemReader, pair: &Pair<Rule>) -> BarTree {
    let span = cx.span(pair);
    let number = explain::bar(cx, pair, Rule::bar);
    BarTree::broken_one(cx.of(), number, span)
}

pub(super) fn bar(cx: &mut ItemReader, pair: Pair<Rule>) -> BarTree {
    let span = cx.span(&pair);
    let (mut number, mut elements, mut last) = (None, Packer::default(), span);
    for inner in pair.into_inner() {
        match inner.as_rule() {
            Rule::bar_number => number = Some(cx.number(&inner)),
            Rule::bar_line => {}
            Rule::no_bar_line => no_bar_line(cx, number.as_ref(), last),
            Rule::plain => last = plain(cx, &inner, &mut elements).unwrap_or(last),
            _ => {
                if let Some(element) = element(cx, inner) {
                    last = element.span;
                    elements.element(&element);
                }
            }
        }
    }
    BarTree::new(cx.of(), number, span, &elements.finish())
}

/// Takes apart what the grammar reads in one go; gives back where the last of it stands.
fn plain(cx: &ItemReader, pair: &Pair<Rule>, elements: &mut Packer) -> Option<Span> {
    let (text, start) = (pair.as_str(), pair.as_span().start());
    let (mut at, mut last) = (0, None);
    while let Some(&first) = text.as_bytes().get(at) {
        let word = match first {
            b' ' | b'\t' => {
                at += 1;
                continue;
            }
            b'{' | b'}' => &text[at..at + 1],
            _ => text[at..].split([' ', '\t', '}']).next().unwrap_or_default(),
        };
        let span = cx.at(start + at, start + at + word.len());
        let (bare, mark) = without_mark(cx, word, start + at);
        let value = match first {
            b'A'..=b'G' => {
                let place = cx.at(start + at, start + at + bare.len());
                elements.note(span, &read_pitch(bare, place), mark.as_slice());
                None
            }
            b'{' => Some(Element::SlurStart),
            b'}' => Some(Element::SlurEnd),
            b'=' => Some(Element::Hold(mark.into_iter().collect())),
            _ => Some(Element::Value(read_value(word))),
        };
        if let Some(value) = value {
            elements.element(&Spanned { value, span });
        }
        last = Some(span);
        at += word.len();
    }
    last
}

/// A word that begins at a byte without the mark in brackets behind it, and the mark.
fn without_mark<'w>(cx: &ItemReader, word: &'w str, at: usize) -> (&'w str, Option<MarkTree>) {
    let Some((bare, mark)) = word.strip_suffix(']').and_then(|word| word.split_once('[')) else {
        return (word, None);
    };
    let start = at + bare.len() + 1;
    let word = Spanned { value: mark.to_string(), span: cx.at(start, start + mark.len()) };
    (bare, Some(MarkTree { word, value: None, note: None }))
}

fn no_bar_line(cx: &mut ItemReader, number: Option<&Number>, last: Span) {
    let which = number.map_or("This bar".to_string(), |n| format!("Bar {}", n.value));
    cx.diagnostics.push(
        Diagnostic::error(
            "syntax/no-bar-line",
            last,
            format!("{which} has no bar line at its end."),
        )
        .with_text("the bar ends after this")
        .with_help("Write `|` at the end of every bar, the last one too.")
        .with_fix("end the bar", last.after(), " |", true),
    );
}

fn element(cx: &mut ItemReader, pair: Pair<Rule>) -> Option<Spanned<Element>> {
    let span = cx.span(&pair);
    let value = match pair.as_rule() {
        Rule::simple => return element(cx, pair.into_inner().next()?),
        Rule::value => Element::Value(read_value(pair.as_str())),
        Rule::note => {
            let mut pitches = Vec::with_capacity(1);
            let mut note_marks = Vec::new();
            for inner in pair.into_inner() {
                match inner.as_rule() {
                    Rule::pitch => pitches.push(cx.pitch(&inner)),
                    _ => note_marks = marks(cx, inner),
                }
            }
            Element::Note(pitches, note_marks)
        }
        Rule::stroke => Element::Stroke(last_marks(cx, pair)),
        Rule::hold => Element::Hold(last_marks(cx, pair)),
        Rule::rest => {
            let count = pair
                .clone()
                .into_inner()
                .find(|p| p.as_rule() == Rule::rest_bars)
                .map(|p| read_number(p.as_str()));
            Element::Rest(count, last_marks(cx, pair))
        }
        Rule::direction => Element::Direction(cx.direction_words(pair.into_inner())),
        Rule::slur_start => Element::SlurStart,
        Rule::slur_end => Element::SlurEnd,
        Rule::tuplet => {
            let mut inner = pair.into_inner();
            let ratio = inner.next()?;
            let (actual, normal) = ratio.as_str().split_once(':')?;
            let (actual, normal) = (read_number(actual), read_number(normal));
            Element::Tuplet(actual, normal, inner.filter_map(|p| element(cx, p)).collect())
        }
        Rule::grace => {
            let crushed =
                pair.clone().into_inner().next().is_some_and(|p| p.as_rule() == Rule::kw_crushed);
            Element::Grace(crushed, pair.into_inner().filter_map(|p| element(cx, p)).collect())
        }
        _ => return None,
    };
    Some(Spanned { value, span })
}

fn last_marks(cx: &mut ItemReader, pair: Pair<Rule>) -> Vec<MarkTree> {
    pair.into_inner().find(|p| p.as_rule() == Rule::marks).map_or(Vec::new(), |p| marks(cx, p))
}

fn marks(cx: &mut ItemReader, pair: Pair<Rule>) -> Vec<MarkTree> {
    pair.into_inner()
        .filter_map(|mark| {
            let mut inner = mark.into_inner();
            let mut mark = MarkTree { word: cx.word(&inner.next()?), value: None, note: None };
            for more in inner {
                match more.as_rule() {
                    Rule::value => mark.value = Some(read_value(more.as_str())),
                    _ => {
                        let span = cx.span(&more);
                        let value = more.into_inner().map(|pitch| cx.pitch(&pitch)).collect();
                        mark.note = Some(Spanned { value, span });
                    }
                }
            }
            Some(mark)
        })
        .collect()
}

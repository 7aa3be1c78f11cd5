//! Builds the trees of `piece`, `form`, `harmony` and `dynamics`.

use pest::Parser;
use pest::iterators::Pair;

use super::context::{Context, Grammar, Rule, read_fraction, read_number, read_value};
use super::explain;
use super::tree::*;
use crate::diagnostics::Span;

pub(super) fn piece(cx: &mut Context, pair: Pair<Rule>) -> Option<PieceTree> {
    let mut title = None;
    let mut lines = Vec::new();
    for inner in pair.into_inner() {
        match inner.as_rule() {
            Rule::string => title = Some(cx.string(&inner)),
            Rule::piece_line => {
                let mut parts = inner.into_inner();
                if let (Some(what), Some(text)) = (parts.next(), parts.next()) {
                    lines.push((cx.word(&what), cx.string(&text)));
                }
            }
            Rule::broken_line => {
                explain::line(cx, &inner, Rule::piece_line, "this line of the piece")
            }
            Rule::close | Rule::unclosed => {
                cx.block_end(&inner, title.as_ref().map(|t| t.span)?, "piece");
            }
            _ => {}
        }
    }
    Some(PieceTree { title: title?, lines })
}

pub(super) fn form(cx: &mut Context, pair: Pair<Rule>) -> FormTree {
    let mut tree = FormTree { span: cx.span(&pair), lines: Vec::new(), broken: Vec::new() };
    for inner in pair.into_inner() {
        match inner.as_rule() {
            Rule::kw_form => tree.span = cx.span(&inner),
            Rule::form_line => {
                if let Some(line) = form_line(cx, inner) {
                    tree.lines.push(line);
                }
            }
            Rule::broken_line => {
                match readable(cx, &inner) {
                    Some((line, unread)) => {
                        tree.lines.push(line);
                        tree.broken.extend(unread);
                    }
                    None => tree.broken.push(cx.word(&inner)),
                }
                explain::line(cx, &inner, Rule::form_line, "this line of the form");
            }
            Rule::close | Rule::unclosed => cx.block_end(&inner, tree.span, "form"),
            _ => {}
        }
    }
    tree
}

/// The items that can be read of a line of the form that as a whole cannot, and the others, each
/// with its bars before it; `None` where the line does not begin with bars.
fn readable(cx: &mut Context, pair: &Pair<Rule>) -> Option<(FormLine, Vec<Word>)> {
    let (text, start) = (pair.as_str(), pair.as_span().start() as u32);
    let behind = text.trim_start_matches(|c: char| c.is_ascii_digit() || c == '.');
    let bars = &text[..text.len() - behind.len()];
    let range = Grammar::parse(Rule::bar_range, bars).ok()?.next()?;
    let mut line = FormLine { bars: cx.bar_range(range), items: Vec::new() };
    line.bars.span = Span::new(cx.file, start, start + bars.len() as u32);
    let mut unread = Vec::new();
    let (mut from, mut quoted) = (bars.len(), false);
    let ends = behind.char_indices().filter_map(|(at, c)| {
        quoted ^= c == '"';
        (c == ',' && !quoted).then_some(bars.len() + at)
    });
    for to in ends.chain([text.len()]) {
        let piece = &text[from..to];
        let blank = piece.len() - piece.trim_start().len();
        let place =
            |from: usize, to: usize| Span::new(cx.file, start + from as u32, start + to as u32);
        let span = place(from + blank, from + piece.trim_end().len());
        let alone = format!("{bars} {}", piece.trim());
        let read = Grammar::parse(Rule::form_line, &alone).ok().and_then(|mut pairs| pairs.next());
        match read.and_then(|pair| form_line(cx, pair)) {
            Some(read) => {
                let items = read.items.into_iter();
                line.items.extend(items.map(|item| Spanned { span, ..item }));
            }
            None => unread.push(Spanned { value: alone, span }),
        }
        from = to + 1;
    }
    Some((line, unread))
}

fn form_line(cx: &mut Context, pair: Pair<Rule>) -> Option<FormLine> {
    let mut inner = pair.into_inner();
    let bars = cx.bar_range(inner.next()?);
    let mut items = Vec::new();
    for item in inner {
        let span = cx.span(&item);
        if let Some(value) = form_item(cx, item) {
            items.push(Spanned { value, span });
        }
    }
    Some(FormLine { bars, items })
}

fn form_item(cx: &mut Context, pair: Pair<Rule>) -> Option<FormItem> {
    let rule = pair.as_rule();
    let mut inner =
        pair.into_inner().filter(|p| !super::explain::is_keyword(p.as_rule()) || is_mode(p));
    Some(match rule {
        Rule::metre => FormItem::Metre(read_fraction(inner.next()?.as_str())),
        Rule::key => {
            let tonic = inner.next()?.as_str().to_string();
            FormItem::Key(tonic, inner.next()?.as_rule() == Rule::kw_minor)
        }
        Rule::tempo => {
            let (mut beat, mut words) = (None, None);
            for part in inner {
                if part.as_rule() == Rule::string {
                    words = Some(cx.string(&part).value);
                } else {
                    let mut mark = part.into_inner();
                    let value = read_value(mark.next()?.as_str());
                    // Between them stands `at`.
                    beat = Some((value, mark.nth(1)?.as_str().parse().ok()?));
                }
            }
            FormItem::Tempo(beat, words)
        }
        Rule::mark => FormItem::Mark(cx.string(&inner.next()?).value),
        Rule::pick_up => FormItem::PickUp(read_value(inner.next()?.as_str())),
        Rule::length => FormItem::Length(read_fraction(inner.next()?.as_str())),
        Rule::repeat => FormItem::Repeat,
        Rule::ending => FormItem::Ending(read_number(inner.next()?.as_str())),
        Rule::double_bar => FormItem::DoubleBar,
        Rule::end => FormItem::End,
        _ => return None,
    })
}

fn is_mode(pair: &Pair<Rule>) -> bool {
    matches!(pair.as_rule(), Rule::kw_major | Rule::kw_minor)
}

pub(super) fn harmony(cx: &mut Context, pair: Pair<Rule>) -> HarmonyTree {
    let mut tree = HarmonyTree { span: cx.span(&pair), bars: Vec::new() };
    for inner in pair.into_inner() {
        match inner.as_rule() {
            Rule::kw_harmony => tree.span = cx.span(&inner),
            Rule::harmony_bar => tree.bars.push(harmony_bar(cx, inner)),
            Rule::broken_bar => {
                let number = explain::bar(cx, &inner, Rule::harmony_bar);
                let span = cx.span(&inner);
                tree.bars.push(HarmonyBar { number, steps: Vec::new(), span, broken: true });
            }
            Rule::close | Rule::unclosed => cx.block_end(&inner, tree.span, "harmony"),
            _ => {}
        }
    }
    tree
}

fn harmony_bar(cx: &mut Context, pair: Pair<Rule>) -> HarmonyBar {
    let span = cx.span(&pair);
    let mut bar = HarmonyBar { number: None, steps: Vec::new(), span, broken: false };
    for inner in pair.into_inner() {
        let span = cx.span(&inner);
        match inner.as_rule() {
            Rule::bar_number => bar.number = Some(cx.number(&inner)),
            Rule::value => {
                let value = HarmonyStep::Value(read_value(inner.as_str()));
                bar.steps.push(Spanned { value, span });
            }
            Rule::chord_symbol => {
                let value = HarmonyStep::Symbol(inner.as_str().to_string());
                bar.steps.push(Spanned { value, span });
            }
            _ => {}
        }
    }
    bar
}

pub(super) fn dynamics(cx: &mut Context, pair: Pair<Rule>) -> DynamicsTree {
    let mut tree = DynamicsTree { span: cx.span(&pair), lines: Vec::new(), broken: Vec::new() };
    for inner in pair.into_inner() {
        match inner.as_rule() {
            Rule::kw_dynamics => tree.span = cx.span(&inner),
            Rule::dynamics_line => {
                let words = cx.direction_words(inner.clone().into_inner());
                let mut positions = inner
                    .into_inner()
                    .filter(|p| p.as_rule() == Rule::position)
                    .map(|p| position(cx, p));
                if let Some(from) = positions.next() {
                    let to = positions.next();
                    tree.lines.push(DynamicsLine { from, to, words });
                }
            }
            Rule::broken_line => {
                tree.broken.push(cx.word(&inner));
                explain::line(cx, &inner, Rule::dynamics_line, "this line of the dynamics");
            }
            Rule::close | Rule::unclosed => cx.block_end(&inner, tree.span, "dynamics block"),
            _ => {}
        }
    }
    tree
}

fn position(cx: &Context, pair: Pair<Rule>) -> Position {
    let span = cx.span(&pair);
    let mut numbers = pair.into_inner().filter(|p| p.as_rule() == Rule::number);
    let bar = numbers.next().map_or(0, |p| read_number(p.as_str()));
    Position { bar, beat: numbers.next().map(|p| read_number(p.as_str())), span }
}

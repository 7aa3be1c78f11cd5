//! Builds the trees of the lines of `layout`.

use pest::iterators::Pair;

use super::context::{ItemReader, Rule};
use super::tree::*;

pub(super) fn layout_line(cx: &ItemReader, pair: Pair<Rule>) -> Option<LayoutLine> {
    let mut span = cx.span(&pair);
    let inner: Vec<Pair<Rule>> =
        pair.into_inner().filter(|inner| inner.as_rule() != Rule::line_end).collect();
    span.end = inner.last().map_or(span.end, |last| cx.span(last).end);
    let [pages, what, ..] = &inner[..] else { return None };
    let item_span = cx.span(what);
    Some(LayoutLine {
        pages: self::pages(cx, pages),
        what: item(cx, what.clone())?,
        item_span,
        span,
    })
}

fn pages(cx: &ItemReader, pair: &Pair<Rule>) -> PagesTree {
    match pair.clone().into_inner().next() {
        Some(inner) if inner.as_rule() == Rule::kw_score => PagesTree::Score(cx.span(&inner)),
        Some(inner) if inner.as_rule() == Rule::who => PagesTree::Players(parts(cx, inner)),
        _ => PagesTree::Parts(cx.span(pair)),
    }
}

fn parts(cx: &ItemReader, who: Pair<Rule>) -> Vec<Word> {
    who.into_inner().filter(|p| p.as_rule() == Rule::part).map(|p| cx.word(&p)).collect()
}

fn item(cx: &ItemReader, pair: Pair<Rule>) -> Option<LayoutItem> {
    let rule = pair.as_rule();
    let of = |rule: Rule| pair.clone().into_inner().find(|p| p.as_rule() == rule);
    let bars = || {
        let numbers = of(Rule::bar_numbers)?.into_inner();
        let numbers = numbers.filter(|p| p.as_rule() == Rule::number);
        Some(numbers.map(|p| cx.number(&p)).collect::<Vec<Number>>())
    };
    Some(match rule {
        Rule::paper => {
            let landscape = of(Rule::kw_landscape).is_some();
            LayoutItem::Paper(cx.word(&of(Rule::paper_size)?), landscape)
        }
        Rule::staff_size => LayoutItem::Staff(decimal(cx, &of(Rule::decimal)?)),
        Rule::hide_empty => {
            LayoutItem::HideEmpty(of(Rule::who).map_or(Vec::new(), |who| parts(cx, who)))
        }
        Rule::line_break => LayoutItem::Break(bars()?),
        Rule::page_turn => LayoutItem::Turn(bars()?),
        Rule::nudge => {
            let shifts = pair.clone().into_inner().filter(|p| p.as_rule() == Rule::shift);
            LayoutItem::Nudge(NudgeTree {
                sign: cx.word(&of(Rule::any_word)?),
                of: of(Rule::part).map(|part| cx.word(&part)),
                bar: cx.number(&of(Rule::number)?),
                beat: of(Rule::decimal).map(|p| decimal(cx, &p)),
                shifts: shifts.filter_map(|p| shift(cx, p)).collect(),
            })
        }
        _ => return None,
    })
}

fn shift(cx: &ItemReader, pair: Pair<Rule>) -> Option<(ShiftTree, Spanned<f64>)> {
    let mut inner = pair.into_inner();
    let towards = match inner.next()?.as_rule() {
        Rule::kw_up => ShiftTree::Up,
        Rule::kw_down => ShiftTree::Down,
        Rule::kw_left => ShiftTree::Left,
        _ => ShiftTree::Right,
    };
    Some((towards, decimal(cx, &inner.next()?)))
}

fn decimal(cx: &ItemReader, pair: &Pair<Rule>) -> Spanned<f64> {
    let value = pair.as_str().trim().parse().unwrap_or(f64::MAX);
    Spanned { value, span: cx.span(pair) }
}

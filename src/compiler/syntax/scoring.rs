//! Builds the trees of the lines of ensembles and scorings.

use std::sync::Arc;

use pest::iterators::Pair;

use super::context::{ItemReader, Rule, read_number, read_value};
use super::tree::*;
use super::{blocks, explain};
use crate::diagnostics::{Diagnostic, Span};

/// A line of an ensemble; one line may name several kinds of players.
pub(super) fn ensemble_lines(cx: &mut ItemReader, pair: Pair<Rule>) -> Vec<EnsembleLine> {
    match pair.as_rule() {
        Rule::era => {
            let year = pair.into_inner().find(|p| p.as_rule() == Rule::number);
            year.map(|year| EnsembleLine::Era(cx.number(&year))).into_iter().collect()
        }
        Rule::group => {
            let mut name = None;
            let mut members = Vec::new();
            for part in pair.into_inner() {
                match part.as_rule() {
                    Rule::name => name = Some(cx.word(&part)),
                    Rule::member => members.extend(member(cx, part)),
                    _ => {}
                }
            }
            name.map(|name| EnsembleLine::Group(name, members)).into_iter().collect()
        }
        Rule::budget => vec![EnsembleLine::Budget(budget(cx, pair))],
        Rule::limits => limits(cx, pair).map(EnsembleLine::Limits).into_iter().collect(),
        Rule::without => vec![EnsembleLine::Without(words(cx, pair, Rule::name))],
        _ => {
            let all = pair.into_inner().filter(|p| p.as_rule() == Rule::players);
            all.filter_map(|pair| players(cx, pair).map(EnsembleLine::Players)).collect()
        }
    }
}

/// Octaves up that `8va`, `8vb`, `15ma`, `15mb` mean.
fn octaves_up(pair: &Pair<Rule>) -> i8 {
    match pair.as_str().trim_end() {
        "8va" => 1,
        "8vb" => -1,
        "15ma" => 2,
        _ => -2,
    }
}

fn member(cx: &ItemReader, pair: Pair<Rule>) -> Option<Member> {
    let mut inner = pair.into_inner();
    let name = cx.word(&inner.next()?);
    Some(Member { name, octaves: inner.next().map_or(0, |p| octaves_up(&p)) })
}

fn budget(cx: &ItemReader, pair: Pair<Rule>) -> Vec<(Word, Number)> {
    pair.into_inner()
        .filter(|p| p.as_rule() == Rule::budget_item)
        .filter_map(|item| {
            let mut inner = item.into_inner();
            Some((cx.word(&inner.next()?), cx.number(&inner.next()?)))
        })
        .collect()
}

fn limits(cx: &mut ItemReader, pair: Pair<Rule>) -> Option<LimitTree> {
    let span = cx.span(&pair);
    let (mut rule, mut value, mut unit, mut reason) = (None, None, None, None);
    for part in pair.into_inner() {
        match part.as_rule() {
            Rule::rule_code => rule = Some(cx.word(&part)),
            Rule::decimal => {
                let number = part.as_str().trim().parse().unwrap_or(f64::MAX);
                value = Some(Spanned { value: number, span: cx.span(&part) });
            }
            Rule::unit => unit = Some(cx.word(&part)),
            Rule::string => reason = Some(cx.string(&part)),
            _ => {}
        }
    }
    Some(LimitTree { rule: rule?, value: value?, unit, reason: reason?, span })
}

fn players(cx: &mut ItemReader, pair: Pair<Rule>) -> Option<PlayersTree> {
    let span = cx.span(&pair);
    let mut inner = pair.into_inner();
    let mut tree = PlayersTree {
        name: cx.word(&inner.next()?),
        count: None,
        section: false,
        divisi: None,
        crooks: Vec::new(),
        built_in: None,
        tuned: Vec::new(),
        without_signature: false,
        joins: Vec::new(),
        paper_name: None,
        span,
    };
    let mut said: Vec<(Rule, Span)> = Vec::new();
    for option in inner {
        let (rule, place) = (option.as_rule(), cx.span(&option));
        if rule != Rule::joins
            && let Some((_, first)) = said.iter().find(|(before, _)| *before == rule)
        {
            let word = option.as_str().split_whitespace().next().unwrap_or_default();
            cx.diagnostics.push(Diagnostic::twice(&format!("`{word}`"), place, *first));
            continue;
        }
        said.push((rule, place));
        match rule {
            Rule::count => {
                let mut parts = option.into_inner();
                tree.count = parts.next().map(|p| cx.number(&p));
                tree.section = parts.next().is_some();
            }
            Rule::divisi => tree.divisi = Some(place),
            Rule::crook => tree.crooks = words(cx, option, Rule::tuning),
            Rule::built_in => tree.built_in = words(cx, option, Rule::tuning).pop(),
            Rule::tuned => tree.tuned = tuned(cx, option),
            Rule::unsigned => tree.without_signature = true,
            Rule::joins => {
                let joined = option.into_inner().find(|p| p.as_rule() == Rule::member);
                tree.joins.extend(joined.and_then(|p| member(cx, p)));
            }
            Rule::paper_name => {
                let name = option.into_inner().find(|p| p.as_rule() == Rule::string);
                tree.paper_name = name.map(|p| cx.string(&p));
            }
            _ => {}
        }
    }
    Some(tree)
}

fn words(cx: &ItemReader, pair: Pair<Rule>, rule: Rule) -> Vec<Word> {
    let mut found: Vec<Word> =
        pair.into_inner().filter(|p| p.as_rule() == rule).map(|p| cx.word(&p)).collect();
    for word in &mut found {
        // `Bb   alto` and `Bb alto` name the same crook.
        word.value = word.value.split_whitespace().collect::<Vec<_>>().join(" ");
    }
    found
}

fn tuned(cx: &mut ItemReader, pair: Pair<Rule>) -> Vec<PitchTree> {
    pair.into_inner().filter(|p| p.as_rule() == Rule::pitch).map(|p| cx.pitch(&p)).collect()
}

/// `keep`: the scorings that are named, and whether their lines are kept rather than their notes.
pub(super) fn keep(cx: &ItemReader, pair: Pair<Rule>) -> (Vec<Word>, bool) {
    let lines = pair.clone().into_inner().any(|inner| inner.as_rule() == Rule::lines_of);
    (words(cx, pair, Rule::name), lines)
}

/// A line of a scoring that could not be read.
pub(super) fn broken_line(cx: &mut ItemReader, pair: &Pair<Rule>) -> Word {
    match pair.as_rule() {
        Rule::unbarred => explain::unbarred(cx, pair),
        Rule::broken_line => {
            explain::line(cx, pair, Rule::scoring_line, "this line of the scoring");
        }
        _ => explain::line(cx, pair, Rule::writes_line, "this line of the scoring"),
    }
    cx.word(pair)
}

pub(super) fn allow(cx: &mut ItemReader, pair: Pair<Rule>) -> Option<AllowTree> {
    let span = cx.span(&pair);
    let (mut rule, mut who, mut bars, mut reason) = (None, Vec::new(), Vec::new(), None);
    for inner in pair.into_inner() {
        match inner.as_rule() {
            Rule::rule_code => rule = Some(cx.word(&inner)),
            Rule::who => who = words(cx, inner, Rule::part),
            Rule::bars => bars = bar_list(cx, inner),
            Rule::string => reason = Some(cx.string(&inner)),
            _ => {}
        }
    }
    Some(AllowTree { rule: rule?, who, bars, reason: reason?, span })
}

fn bar_list(cx: &ItemReader, bars: Pair<Rule>) -> Vec<BarRange> {
    let list = bars.into_inner().find(|p| p.as_rule() == Rule::bar_list);
    list.map_or(Vec::new(), |list| cx.bar_list(list))
}

pub(super) fn scoring_line(cx: &mut ItemReader, pair: Pair<Rule>) -> Option<ScoringLine> {
    let mut span = cx.span(&pair);
    // A comment behind the line is no part of it.
    let ends = pair.clone().into_inner().filter(|inner| inner.as_rule() != Rule::line_end);
    span.end = ends.last().map_or(span.end, |last| cx.span(&last).end);
    let mut parts = LineParts::new(span);
    pair.into_inner().for_each(|inner| parts.take(cx, inner));
    parts.line(span)
}

/// What stands in a line of a scoring, as far as it is read.
pub(super) struct LineParts {
    who: Vec<Word>,
    verb: Option<VerbTree>,
    verb_span: Span,
    modifiers: Vec<Spanned<Modifier>>,
}

impl LineParts {
    /// Nothing yet; until there is a verb, this place stands for it.
    pub(super) fn new(verb_span: Span) -> LineParts {
        LineParts { who: Vec::new(), verb: None, verb_span, modifiers: Vec::new() }
    }

    /// The notes that the line writes.
    pub(super) fn writes(&mut self, bars: Vec<Arc<BarTree>>) {
        self.verb = Some(VerbTree::Writes(bars));
    }

    /// Takes in the next part of the line.
    pub(super) fn take(&mut self, cx: &mut ItemReader, part: Pair<Rule>) {
        match part.as_rule() {
            Rule::who => self.who = words(cx, part, Rule::part),
            Rule::modifier => self.modifier(cx, part),
            Rule::late => {
                let span = cx.span(&part);
                let before = self.modifiers.last().map_or(self.verb_span, |m| m.span);
                cx.diagnostics.push(explain::late(span, part.as_str().trim_end(), before));
                let late = part.into_inner().filter(|p| p.as_rule() == Rule::modifier);
                late.for_each(|part| self.modifier(cx, part));
            }
            Rule::kw_writes => self.verb_span = cx.span(&part),
            Rule::close | Rule::unclosed => cx.written_end(&part, self.verb_span),
            Rule::line_end => {}
            _ => {
                self.verb_span = cx.span(&part);
                self.verb = verb(cx, part);
            }
        }
    }

    fn modifier(&mut self, cx: &mut ItemReader, part: Pair<Rule>) {
        let place = cx.span(&part);
        let value = part.into_inner().next().and_then(|p| modifier(cx, p));
        self.modifiers.extend(value.map(|value| Spanned { value, span: place }));
    }

    /// The whole line, which stands there.
    pub(super) fn line(self, span: Span) -> Option<ScoringLine> {
        let LineParts { who, verb, verb_span, modifiers } = self;
        Some(ScoringLine { who, verb: verb?, modifiers, verb_span, span })
    }
}

fn verb(cx: &mut ItemReader, pair: Pair<Rule>) -> Option<VerbTree> {
    let rule = pair.as_rule();
    let mut inner: Vec<Pair<Rule>> = pair.into_inner().skip(1).collect();
    let octaves = inner.iter().find(|p| p.as_rule() == Rule::octaves).map_or(0, octaves_up);
    Some(match rule {
        Rule::plays => VerbTree::Plays(cx.word(inner.first()?), octaves),
        Rule::doubles => VerbTree::Doubles(cx.word(inner.first()?), octaves),
        Rule::signals => VerbTree::Signals(cx.word(inner.first()?)),
        Rule::rests => VerbTree::Rests,
        Rule::realises => VerbTree::Realises(cx.word(inner.first()?)),
        Rule::sustains => {
            let restruck = inner.pop().map(|pair| restrike(cx, pair));
            VerbTree::Sustains(restruck.unwrap_or(RestrikeTree::Never))
        }
        Rule::highlights => VerbTree::Highlights(inner.into_iter().filter_map(moment).collect()),
        Rule::takes => {
            let (mut instrument, mut crook, mut built_in) = (None, None, None);
            let (mut notes, mut bar) = (Vec::new(), None);
            let parts = inner.into_iter().flat_map(|part| match part.as_rule() {
                Rule::taken => part.into_inner().collect(),
                _ => vec![part],
            });
            for part in parts {
                match part.as_rule() {
                    Rule::name => instrument = Some(cx.word(&part)),
                    Rule::takes_crook => crook = words(cx, part, Rule::tuning).pop(),
                    Rule::built_in => built_in = words(cx, part, Rule::tuning).pop(),
                    Rule::tuned => notes = tuned(cx, part),
                    Rule::number => bar = Some(cx.number(&part)),
                    _ => {}
                }
            }
            VerbTree::Takes { instrument, crook, built_in, tuned: notes, bar }
        }
        _ => return None,
    })
}

fn restrike(cx: &ItemReader, pair: Pair<Rule>) -> RestrikeTree {
    if let Some(value) = pair.clone().into_inner().find(|p| p.as_rule() == Rule::value) {
        return RestrikeTree::Each(read_value(value.as_str()), cx.span(&value));
    }
    let text = pair.as_str();
    if text.starts_with("broken") {
        RestrikeTree::Broken
    } else if text.starts_with("tremolo") {
        RestrikeTree::Tremolo
    } else if text.starts_with("off") {
        RestrikeTree::OffBeat
    } else if text.trim_end().ends_with("chord") {
        RestrikeTree::EachChord
    } else {
        RestrikeTree::EachBeat
    }
}

fn moment(pair: Pair<Rule>) -> Option<MomentTree> {
    let mut inner = pair.into_inner();
    Some(match inner.next()?.as_rule() {
        Rule::kw_entries => MomentTree::Entries,
        Rule::kw_cadences => MomentTree::Cadences,
        Rule::kw_phrases => MomentTree::Phrases,
        Rule::kw_peaks => MomentTree::Peaks,
        _ => MomentTree::Beat(read_number(inner.next()?.as_str())),
    })
}

fn passage(cx: &ItemReader, pair: Pair<Rule>) -> Option<PassageTree> {
    let span = cx.span(&pair);
    let positions = pair.into_inner().filter(|p| p.as_rule() == Rule::position);
    let mut positions = positions.map(|p| blocks::position(cx, p));
    let first = positions.next()?;
    Some(PassageTree { first, last: positions.next().unwrap_or(first), span })
}

fn modifier(cx: &mut ItemReader, pair: Pair<Rule>) -> Option<Modifier> {
    Some(match pair.as_rule() {
        Rule::passages => {
            let mut with = None;
            let mut passages = Vec::new();
            for inner in pair.into_inner() {
                match inner.as_rule() {
                    Rule::passage_list => {
                        let all = inner.into_inner().filter(|p| p.as_rule() == Rule::passage);
                        passages.extend(all.filter_map(|p| passage(cx, p)));
                    }
                    Rule::with_up_beat => {
                        let span = cx.span(&inner);
                        let value = inner.into_inner().find(|p| p.as_rule() == Rule::value);
                        let length = value.map(|p| (read_value(p.as_str()), cx.span(&p)));
                        with = Some(WithUpBeat { length, span });
                    }
                    _ => {}
                }
            }
            Modifier::Bars(passages, with)
        }
        Rule::role => Modifier::Role(cx.word(&pair.into_inner().nth(1)?)),
        Rule::solo => Modifier::Solo,
        Rule::with_lyrics => Modifier::Lyrics,
        Rule::with_chords => Modifier::Chords,
        Rule::with_figures => Modifier::Figures,
        Rule::at => Modifier::At(cx.word(&pair.into_inner().nth(1)?)),
        Rule::technique => Modifier::Technique(pair.as_str().trim_end().to_string()),
        Rule::string => Modifier::Words(cx.string(&pair).value),
        _ => return None,
    })
}

//! Builds the trees of the lines of `piece`, `form`, `harmony` and `dynamics`.

use pest::Parser;
use pest::iterators::Pair;

use super::context::{Grammar, ItemReader, Rule, read_fraction, read_number, read_value};
use super::explain;
use super::keywords::keyword;
use super::packed::{PackedLine, packed};
use super::tree::*;
use crate::instruments::Limit;
use crate::music::Sign;

pub(super) fn piece_line(cx: &mut ItemReader, pair: Pair<Rule>) -> Option<(Word, Word)> {
    let mut parts = pair.into_inner();
    Some((cx.word(&parts.next()?), cx.string(&parts.next()?)))
}

pub(super) fn movement_line(cx: &mut ItemReader, pair: Pair<Rule>) -> Option<MovementTree> {
    let span = cx.span(&pair);
    let attacca = |pair: &Pair<Rule>| pair.as_rule() == Rule::kw_attacca;
    let attacca = pair.clone().into_inner().find(attacca).map(|pair| cx.span(&pair));
    let mut parts = pair.into_inner().filter(|pair| keyword(pair.as_rule()).is_none());
    let path = cx.string(&parts.next()?);
    let title = parts.find(|pair| pair.as_rule() == Rule::paper_name);
    let title = title.and_then(|pair| pair.into_inner().find(|p| p.as_rule() == Rule::string));
    Some(MovementTree { path, title: title.map(|title| cx.string(&title)), attacca, span })
}

pub(super) fn numbering_line(cx: &mut ItemReader, pair: &Pair<Rule>) -> NumberingTree {
    let has = |rule| pair.clone().into_inner().any(|pair| pair.as_rule() == rule);
    NumberingTree {
        marks: has(Rule::kw_marks),
        through: has(Rule::kw_through),
        span: cx.span(pair),
    }
}

/// A line of the form that as a whole cannot be read: what can be, and the rest.
pub(super) fn broken_form_line(
    cx: &mut ItemReader,
    pair: &Pair<Rule>,
) -> (Option<FormLine>, Vec<Word>) {
    let (line, unread) = match readable(cx, pair) {
        Some((line, unread)) => (Some(line), unread),
        None => (None, vec![cx.word(pair)]),
    };
    explain::line(cx, pair, Rule::form_line, "this line of the form");
    (line, unread)
}

/// The items that can be read of a line of the form that as a whole cannot, and the others, each
/// with its bars before it; `None` where the line does not begin with bars.
fn readable(cx: &mut ItemReader, pair: &Pair<Rule>) -> Option<(FormLine, Vec<Word>)> {
    let (text, start) = (pair.as_str(), pair.as_span().start());
    let behind = text.trim_start_matches(|c: char| c.is_ascii_digit() || c == '.');
    let bars = &text[..text.len() - behind.len()];
    let range = Grammar::parse(Rule::bar_range, bars).ok()?.next()?;
    let range = cx.bar_range(range);
    let mut items = Vec::new();
    let mut unread = Vec::new();
    let (mut from, mut quoted) = (bars.len(), false);
    let ends = behind.char_indices().filter_map(|(at, c)| {
        quoted ^= c == '"';
        (c == ',' && !quoted).then_some(bars.len() + at)
    });
    for to in ends.chain([text.len()]) {
        let piece = &text[from..to];
        let blank = piece.len() - piece.trim_start().len();
        let span = cx.at(start + from + blank, start + from + piece.trim_end().len());
        let alone = format!("{bars} {}", piece.trim());
        match read_alone(cx, &alone, (bars.len() + 1, span.start as usize)) {
            Some(read) => {
                items.extend(read.items.into_iter().map(|item| Spanned { span, ..item }));
            }
            None => unread.push(Spanned { value: alone, span }),
        }
        from = to + 1;
    }
    let bars = BarRange { span: cx.at(start, start + bars.len()), ..range };
    Some((FormLine { bars, items: items.into() }, unread))
}

/// Reads an item of the form with its bars before it. What stands from one byte on there stands from
/// another one on in the line, and there it is found.
fn read_alone(cx: &mut ItemReader, alone: &str, (from, to): (usize, usize)) -> Option<FormLine> {
    let pair = Grammar::parse(Rule::form_line, alone).ok()?.next()?;
    let mut reader = ItemReader {
        file: cx.file,
        item: cx.item,
        text: alone,
        length: alone.len(),
        base: 0,
        diagnostics: Vec::new(),
    };
    let line = form_line(&mut reader, pair);
    let place = |at: u32| (at as usize).saturating_sub(from) + to;
    for finding in reader.diagnostics {
        let found = finding.with_places(|span| cx.at(place(span.start), place(span.end)));
        cx.diagnostics.push(found);
    }
    line
}

pub(super) fn form_line(cx: &mut ItemReader, pair: Pair<Rule>) -> Option<FormLine> {
    let mut inner = pair.into_inner();
    let bars = cx.bar_range(inner.next()?);
    let mut items = Vec::new();
    for item in inner {
        let span = cx.span(&item);
        if let Some(value) = form_item(cx, item) {
            items.push(Spanned { value, span });
        }
    }
    Some(FormLine { bars, items: items.into() })
}

fn form_item(cx: &mut ItemReader, pair: Pair<Rule>) -> Option<FormItem> {
    let rule = pair.as_rule();
    if rule == Rule::metre {
        return metre(&pair.into_inner().find(|p| p.as_rule() != Rule::kw_metre)?);
    }
    if let Some(sign) = sign(&pair) {
        return Some(FormItem::Sign(sign));
    }
    let mut inner = pair.into_inner().filter(|p| keyword(p.as_rule()).is_none() || is_mode(p));
    Some(match rule {
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
            FormItem::Tempo(Box::new(TempoTree { beat, words }))
        }
        Rule::mark => FormItem::Mark(cx.string(&inner.next()?).value),
        Rule::pick_up => FormItem::PickUp(read_value(inner.next()?.as_str())),
        Rule::up_beat => FormItem::UpBeat(read_value(inner.next()?.as_str())),
        Rule::length => FormItem::Length(read_fraction(inner.next()?.as_str())),
        Rule::repeat => FormItem::Repeat(inner.next().map_or(2, |p| read_number(p.as_str()))),
        Rule::ending => {
            let first = read_number(inner.next()?.as_str());
            FormItem::Ending(first, inner.next().map_or(first, |p| read_number(p.as_str())))
        }
        Rule::double_bar => FormItem::DoubleBar,
        Rule::end => FormItem::End,
        _ => return None,
    })
}

fn metre(pair: &Pair<Rule>) -> Option<FormItem> {
    Some(FormItem::Metre(match pair.as_rule() {
        Rule::kw_common => MetreTree::Common,
        Rule::kw_cut => MetreTree::Cut,
        Rule::additive => {
            let (groups, unit) = pair.as_str().split_once('/')?;
            MetreTree::Additive(groups.split('+').map(read_number).collect(), read_number(unit))
        }
        _ => MetreTree::Plain(read_fraction(pair.as_str())),
    }))
}

/// The sign that an item of the form is, if it is one.
fn sign(pair: &Pair<Rule>) -> Option<Sign> {
    let last = || pair.clone().into_inner().last().map(|word| word.as_rule());
    Some(match pair.as_rule() {
        Rule::segno => Sign::Segno,
        Rule::coda => Sign::Coda,
        Rule::to_coda => Sign::ToCoda,
        Rule::fine => Sign::Fine,
        Rule::da_capo => match last() {
            Some(Rule::kw_fine) => Sign::DaCapoAlFine,
            Some(Rule::kw_coda) => Sign::DaCapoAlCoda,
            _ => Sign::DaCapo,
        },
        Rule::dal_segno => match last() {
            Some(Rule::kw_fine) => Sign::DalSegnoAlFine,
            Some(Rule::kw_coda) => Sign::DalSegnoAlCoda,
            _ => Sign::DalSegno,
        },
        _ => return None,
    })
}

fn is_mode(pair: &Pair<Rule>) -> bool {
    matches!(pair.as_rule(), Rule::kw_major | Rule::kw_minor)
}

pub(super) fn broken_harmony_bar(cx: &mut ItemReader, pair: &Pair<Rule>) -> HarmonyBar {
    let number = explain::bar(cx, pair, Rule::harmony_bar);
    HarmonyBar::broken_one(cx.of(), number, cx.span(pair))
}

pub(super) fn harmony_bar(cx: &mut ItemReader, pair: Pair<Rule>) -> HarmonyBar {
    let span = cx.span(&pair);
    let (mut number, mut steps) = (None, Vec::new());
    for inner in pair.into_inner() {
        let span = cx.span(&inner);
        match inner.as_rule() {
            Rule::bar_number => number = Some(cx.number(&inner)),
            Rule::value => {
                let value = HarmonyStep::Value(read_value(inner.as_str()));
                steps.push(Spanned { value, span });
            }
            Rule::local_key => {
                let parts = || inner.clone().into_inner();
                let tonic = parts().find(|part| part.as_rule() == Rule::note_name);
                let tonic = tonic.map_or_else(String::new, |tonic| tonic.as_str().to_string());
                let minor = parts().any(|part| part.as_rule() == Rule::kw_minor);
                steps.push(Spanned { value: HarmonyStep::Key(tonic, minor), span });
            }
            Rule::chord_rest => {
                let count = inner.into_inner().find(|part| part.as_rule() == Rule::rest_bars);
                let count = count.map(|count| read_number(count.as_str()));
                steps.push(Spanned { value: HarmonyStep::Rest(count), span });
            }
            Rule::chord_symbol => {
                let value = HarmonyStep::Symbol(inner.as_str().to_string());
                steps.push(Spanned { value, span });
            }
            _ => {}
        }
    }
    HarmonyBar::new(cx.of(), number, span, &packed(&steps))
}

pub(super) fn broken_lyrics_bar(cx: &mut ItemReader, pair: &Pair<Rule>) -> LyricsBar {
    let number = explain::bar(cx, pair, Rule::lyrics_bar);
    LyricsBar::broken_one(cx.of(), number, cx.span(pair))
}

pub(super) fn lyrics_bar(cx: &mut ItemReader, pair: Pair<Rule>) -> LyricsBar {
    let span = cx.span(&pair);
    let (mut number, mut syllables) = (None, Vec::new());
    for inner in pair.into_inner() {
        match inner.as_rule() {
            Rule::bar_number => number = Some(cx.number(&inner)),
            Rule::sung => sung(cx, &inner, &mut syllables),
            _ => {}
        }
    }
    LyricsBar::new(cx.of(), number, span, &packed(&syllables))
}

/// The syllables of a word as it stands between blanks: parted by hyphens, each perhaps a hold.
fn sung(cx: &ItemReader, pair: &Pair<Rule>, syllables: &mut Vec<Spanned<SyllableTree>>) {
    let (text, start) = (pair.as_str(), pair.as_span().start());
    let mut at = 0;
    let mut continues = false;
    for piece in text.split('-') {
        let end = at + piece.len();
        let goes_on = end < text.len();
        if !piece.is_empty() {
            let value = if piece == "=" {
                SyllableTree::Hold { goes_on }
            } else {
                // What is joined on one note stays together on paper too.
                let text = piece.replace('+', "\u{A0}");
                SyllableTree::Text { text, continues, goes_on }
            };
            syllables.push(Spanned { value, span: cx.at(start + at, start + end) });
        }
        continues = true;
        at = end + 1;
    }
}

pub(super) fn instrument_line(
    cx: &mut ItemReader,
    pair: Pair<Rule>,
) -> Option<Spanned<InstrumentLine>> {
    let line = pair.into_inner().next()?;
    let (rule, span) = (line.as_rule(), cx.span(&line));
    let of = |rule: Rule| line.clone().into_inner().filter(move |p| p.as_rule() == rule);
    let mut pitches: Vec<PitchTree> = of(Rule::pitch).map(|p| cx.pitch(&p)).collect();
    let two = |pitches: &mut Vec<PitchTree>| Some((pitches.pop()?, pitches.pop()?));
    let value = match rule {
        Rule::own_name => {
            let mut texts = of(Rule::string).map(|p| cx.string(&p)).collect::<Vec<_>>().into_iter();
            InstrumentLine::Name(texts.next()?, texts.next())
        }
        Rule::own_compass => {
            let limit = if of(Rule::kw_custom).next().is_some() {
                Limit::Custom
            } else if of(Rule::kw_solo).next().is_some() {
                Limit::Solo
            } else {
                Limit::Instrument
            };
            let (high, low) = two(&mut pitches)?;
            InstrumentLine::Compass(limit, low, high)
        }
        Rule::own_sound => {
            let (sounding, written) = two(&mut pitches)?;
            InstrumentLine::Sound(written, sounding)
        }
        Rule::own_strings => InstrumentLine::Strings(pitches),
        Rule::own_clef => InstrumentLine::Clef(cx.word(&of(Rule::any_word).next()?)),
        _ => InstrumentLine::From(cx.number(&of(Rule::number).next()?)),
    };
    Some(Spanned { value, span })
}

pub(super) fn dynamics_line(cx: &mut ItemReader, pair: Pair<Rule>) -> Option<PackedLine> {
    let words = cx.direction_words(pair.clone().into_inner());
    let positions = pair.into_inner().filter(|p| p.as_rule() == Rule::position);
    let mut positions = positions.map(|p| position(cx, p));
    let line = DynamicsLine { from: positions.next()?, to: positions.next(), words };
    Some(PackedLine::new(cx.of(), &line))
}

pub(super) fn position(cx: &ItemReader, pair: Pair<Rule>) -> Position {
    let span = cx.span(&pair);
    let mut numbers = pair.into_inner().filter(|p| p.as_rule() == Rule::number);
    let bar = numbers.next().map_or(0, |p| read_number(p.as_str()));
    Position { bar, beat: numbers.next().map(|p| read_number(p.as_str())), span }
}

//! Bars, metres, keys, tempos, repeats: `settings` gathers what the lines say, and here it is put
//! into bars.

use crate::narrow::Narrow;
use std::collections::HashMap;
use std::sync::Arc;

use super::piece::{Bar, BarIndices, BarLine, Bars, Ending, Form, Seldom};
use super::{Resolver, jumps, lost};
use crate::diagnostics::{Diagnostic, Span};
use crate::limits;
use crate::music::{Key, Metre, Sign, Time};
use crate::syntax::{
    BarRange, BarTree, Declaration, Element, FormItem, FormLine, FormTree, Fraction, Tree,
    ValueTree, Word,
};

mod settings;

pub(super) use settings::read_key;
use settings::{Settings, by_bar, once_a_bar};

/// How long all bars together may be: so many bars of 4/4.
const LONGEST: Time = Time::of(limits::BARS as i64, 1);

/// The number of bars of the longest voice, for a form that does not say where it ends.
pub(super) fn longest_voice(tree: &Tree) -> u32 {
    let bars = tree.declarations.iter().map(|declaration| match &**declaration {
        Declaration::Voice(voice) => voice
            .bars
            .iter()
            .map(|bar| bar.number().map_or(1, |n| n.value))
            .max()
            .unwrap_or(0)
            .max(voice.bars.len().narrow::<u32>() - u32::from(has_pick_up(&voice.bars))),
        _ => 0,
    });
    bars.max().unwrap_or(0).clamp(1, limits::BARS)
}

/// The last bar of all voices, where there are several and they agree.
pub(super) fn last_of_voices(tree: &Tree) -> Option<u32> {
    let mut agreed: Option<u32> = None;
    let mut several = false;
    for declaration in &tree.declarations {
        let Declaration::Voice(voice) = &**declaration else { continue };
        let bar = voice.bars.last()?;
        let rests = bar.read().iter().find_map(|element| match element.value {
            Element::Rest(count, _) => count,
            _ => None,
        });
        let last = bar.number()?.value.checked_add(rests.unwrap_or(1).max(1) - 1)?;
        if agreed.is_some_and(|agreed| agreed != last) {
            return None;
        }
        several = agreed.is_some();
        agreed = Some(last);
    }
    agreed.filter(|_| several)
}

fn has_pick_up(bars: &[Arc<BarTree>]) -> bool {
    bars.first().and_then(|bar| bar.number()).is_some_and(|number| number.value == 0)
}

/// The exact time of a value as it was written.
///
/// # Errors
/// Says what is wrong with the value.
pub(super) fn exact(value: ValueTree) -> Result<Time, String> {
    let Fraction { numerator, denominator } = value.fraction;
    if !denominator.is_power_of_two() || denominator > 128 {
        return Err(format!("There is no 1/{denominator} note."));
    }
    if numerator == 0 || numerator > 64 {
        return Err(format!("There is no note value {numerator}/{denominator}."));
    }
    let plain = Time::of(i64::from(numerator), i64::from(denominator));
    // Each dot adds half of what the one before added.
    let parts = (1i64 << (value.dots + 1)) - 1;
    plain.scaled(parts, 1 << value.dots).ok_or_else(|| "This value is too short.".to_string())
}

/// Says what is wrong with a value and where.
pub(super) fn bad_value(span: Span, message: String) -> Diagnostic {
    Diagnostic::error("bars/no-such-value", span, message)
        .with_help("Values are `1/1`, `1/2`, `1/4` … `1/128`, also `3/8` or dotted: `1/4.`")
}

pub(super) fn form(
    cx: &mut Resolver,
    tree: Option<&FormTree>,
    (longest, voices): (u32, Option<u32>),
    piece: Span,
) -> Form {
    let Some(tree) = tree else {
        if !cx.told.may_be_lost("form") {
            cx.push(
                Diagnostic::error("bars/no-form", piece, "The piece has no form.").with_help(format!(
                    "Write `form {{ 1 metre 4/4, key C major, tempo 1/4 at 96` and, on a line of its own, `{longest} end }}`."
                )),
            );
        }
        let settings = Settings { unsure_from: Some(0), ..Settings::default() };
        return build(cx, &settings, longest);
    };
    let mut settings = Settings::default();
    for broken in tree.broken.iter().flat_map(|line| line.iter()) {
        settings.doubt(bar_in_doubt(broken));
    }
    let end = end_of(tree).map(|end| end.max(longest));
    for (place, line) in tree.lines.iter().enumerate() {
        if let Some(end) = end.filter(|end| is_beyond(line, *end)) {
            cx.push(outside_form(line.bars, end));
            settings.doubt(place.checked_sub(1).map_or(0, |place| tree.lines[place].bars.first));
            continue;
        }
        for (place, item) in line.items.iter().enumerate() {
            let before = cx.errors;
            if settings.contradicts(cx, line, place) {
                continue;
            }
            settings.add(cx, line.bars, item);
            if !cx.errors_since(before) {
                let what = once_a_bar(&item.value);
                if let Some(what) = what {
                    settings.said.entry((what, line.bars.first)).or_insert(item.span);
                }
            } else {
                let counts = matches!(
                    item.value,
                    FormItem::Metre(_)
                        | FormItem::Length(_)
                        | FormItem::PickUp(_)
                        | FormItem::UpBeat(_)
                );
                settings.doubt(if counts { line.bars.first } else { u32::MAX });
            }
        }
    }
    if let Some((0, span)) = settings.end
        && settings.pick_up.is_none()
    {
        cx.push(
            Diagnostic::error("bars/outside", span, "The piece cannot end with bar 0.")
                .with_help("Bar 0 is the pick-up, and this form has none: name the last bar."),
        );
    }
    let last = match (settings.end, voices) {
        // All voices agree on another bar: one finding for all of them. A form that is longer than
        // its voices is kept, since much else may speak of its bars: the music is being written.
        (Some((last, span)), Some(bars)) if bars != last && (bars > 1 || last > bars) => {
            cx.push(ends_elsewhere(span, last, bars));
            settings.unsure_from.get_or_insert(u32::MAX);
            cx.told.all_end_early = last > bars;
            last.max(bars)
        }
        (Some((last, _)), _) => last,
        (None, _) => {
            if settings.unsure_from.is_none() {
                cx.push(no_end(tree.span, longest));
            }
            longest
        }
    };
    if settings.metres.is_empty() && settings.unsure_from.is_none() {
        settings.doubt(0);
        cx.push(
            Diagnostic::error("bars/no-metre", tree.span, "The form names no metre.")
                .with_help("Write `1 metre 4/4, key C major` as its first line."),
        );
    }
    // It was there to tell of what is said twice.
    settings.said = HashMap::new();
    build(cx, &settings, last)
}

/// The bar from which a line of the form that could not be read leaves the metre in doubt; a bar
/// that no piece has where it seems to speak of something else.
fn bar_in_doubt(line: &Word) -> u32 {
    let words = ["metre", "length", "pick-up"];
    let digit = |c: char| c.is_ascii_digit();
    let fraction = line.value.split_once('/').is_some_and(|(before, behind)| {
        before.trim_end().ends_with(digit) || behind.trim_start().starts_with(digit)
    });
    let counts = fraction
        || lost::words(line).iter().any(|word| crate::diagnostics::nearest(word, words).is_some());
    let number = line.value.split(|c: char| !digit(c)).next().unwrap_or_default();
    match number.parse() {
        Ok(_) if !counts => u32::MAX,
        Ok(bar) => bar,
        Err(_) => 0,
    }
}

/// The bar that the form calls its end.
fn end_of(tree: &FormTree) -> Option<u32> {
    let mut items = tree.lines.iter().flat_map(|l| l.items.iter().map(move |item| (l, item)));
    let end = items.find(|(_, item)| matches!(item.value, FormItem::End));
    end.map(|(line, _)| line.bars.first)
}

/// Does a line of the form speak of a bar behind the end?
fn is_beyond(line: &FormLine, end: u32) -> bool {
    let backwards = line.bars.last < line.bars.first;
    !backwards && line.bars.first > end && line.bars.first <= limits::BARS
}

fn outside_form(bars: BarRange, end: u32) -> Diagnostic {
    Diagnostic::error("bars/outside", bars.span, format!("The piece has no bar {}.", bars.first))
        .with_help(format!("It ends with bar {end}."))
}

fn ends_elsewhere(span: Span, last: u32, bars: u32) -> Diagnostic {
    let code = if last < bars { "bars/outside" } else { "bars/missing" };
    Diagnostic::error(
        code,
        span,
        format!("The form ends with bar {last}, but every voice ends with bar {bars}."),
    )
    .with_help(if last > bars {
        format!("Write the bars from {} on, `{}: rest {} |` where a voice rests to the end, or `{bars} end`.", bars + 1, bars + 1, last - bars)
    } else {
        format!("Write `{bars} end`, or fix the voices.")
    })
}

fn no_end(form: Span, longest: u32) -> Diagnostic {
    Diagnostic::error("bars/no-end", form, "The form has no end.").with_help(format!(
        "The longest voice has {longest} bars: write `{longest} end` as the form's last line."
    ))
}

fn build(cx: &mut Resolver, settings: &Settings, last: u32) -> Form {
    let first = u32::from(settings.pick_up.is_none());
    let mut form = Form::default();
    let mut metre = first_of(&settings.metres).unwrap_or(Metre::FOUR_FOUR);
    let mut key = first_of(&settings.keys).unwrap_or(Key::C_MAJOR);
    let mut start = Time::ZERO;
    // A list that grew to its length would take twice the room, and a copy of it.
    form.bars.reserve_exact((last.max(first) - first) as usize + 1 + settings.up_beats.len());
    let (metres, keys) = (by_bar(&settings.metres), by_bar(&settings.keys));
    let (lengths, tempos) = (by_bar(&settings.lengths), by_bar(&settings.tempos));
    let marks = by_bar(&settings.marks);
    let mut up_beats: HashMap<u32, (Time, Span)> =
        settings.up_beats.iter().map(|(bar, length, span)| (*bar, (*length, *span))).collect();
    up_beats.retain(|bar, (_, span)| {
        let within = *bar > 1;
        if !within {
            cx.push(up_beat_of_all(*span));
        }
        within
    });
    for number in first..=last.max(first) {
        metre = metres.get(number).copied().unwrap_or(metre);
        key = keys.get(number).copied().unwrap_or(key);
        let length = lengths.get(number).copied();
        let mut length = length.unwrap_or(metre.bar_length());
        if number == 0 {
            length = settings.pick_up.unwrap_or(length);
        }
        let up_beat = up_beats.get(&(number + 1)).filter(|_| number < last);
        let up_beat = up_beat.filter(|(up, span)| {
            let fits = *up < length;
            if !fits {
                cx.push(nothing_left(number, *span));
            }
            fits
        });
        let before = up_beat.map_or(length, |(up, _)| length - *up);
        let bar = |said_at: u32, metre: Metre, key: Key, up_beat: Option<Time>| {
            let start = start + up_beat.unwrap_or(Time::ZERO);
            let length = if up_beat.is_some() { length - before } else { before };
            let seldom = Seldom {
                up_beat,
                tempo: tempos.get(said_at).cloned(),
                mark: marks.get(said_at).cloned(),
                // Where its tempo stands, or else its mark, metre or key.
                span: tempos
                    .first(said_at)
                    .or(marks.first(said_at))
                    .or(metres.first(said_at))
                    .or(keys.first(said_at)),
                ..Seldom::default()
            };
            Bar::new(number as i32, start, metre, key).lasting(length).with(seldom)
        };
        form.bars.push(bar(number, metre, key, None));
        // What is said of a bar with an up-beat begins with the up-beat.
        if up_beats.contains_key(&number)
            && let [.., up_beat, after] = &mut form.bars[..]
            && up_beat.up_beat.is_some()
        {
            (after.tempo, after.mark, after.span) = (None, None, None);
        }
        if up_beat.is_some() {
            let said_at = number + 1;
            let metre = metres.get(said_at).copied().unwrap_or(metre);
            let key = keys.get(said_at).copied().unwrap_or(key);
            form.bars.push(bar(said_at, metre, key, Some(before)));
        }
        start += length;
        if start > LONGEST {
            let span = settings.end.map_or(Span::default(), |(_, span)| span);
            cx.push(
                Diagnostic::error(
                    "bars/too-many",
                    span,
                    format!(
                        "With bar {number} the piece is longer than {} whole notes.",
                        limits::spaced(limits::BARS as usize)
                    ),
                )
                .with_help("Is a digit too many in the last bar, in a metre or in a length?"),
            );
            break;
        }
    }
    if let Some(bar) = form.bars.last_mut() {
        bar.line = BarLine::Final;
    }
    let index = |bar: u32| match i32::try_from(bar).ok() {
        Some(bar) => form.index_of(bar).unwrap_or(0),
        None => form.bars.len(),
    };
    form.unsure_from = settings.unsure_from.map(index);
    for (number, span) in &settings.doubles {
        if let Some(index) = inside(cx, &form, *number, *span) {
            form.bars[index].line = BarLine::Double;
        }
    }
    repeats(cx, settings, &mut form);
    for index in 1..form.bars.len() {
        let [before, up_beat] = &mut form.bars[index - 1..=index] else { continue };
        let parted = before.repeat_ends || up_beat.repeat_starts || before.line != BarLine::Plain;
        if up_beat.up_beat.is_some() && !parted {
            before.line = BarLine::Double;
        }
    }
    jumps::jumps(cx, &settings.signs, &mut form);
    are_inside(cx, &form, &settings.metres);
    are_inside(cx, &form, &settings.keys);
    are_inside(cx, &form, &settings.tempos);
    are_inside(cx, &form, &settings.marks);
    are_inside(cx, &form, &settings.lengths);
    are_inside(cx, &form, &settings.up_beats);
    form
}

/// Tells of settings of bars that the piece does not have.
fn are_inside<T>(cx: &mut Resolver, form: &Form, settings: &[(u32, T, Span)]) {
    for (number, _, span) in settings {
        inside(cx, form, *number, *span);
    }
}

fn up_beat_of_all(span: Span) -> Diagnostic {
    Diagnostic::error("bars/up-beat", span, "The up-beat of the whole piece is its pick-up.")
        .with_help("Write it as bar 0: `0 pick-up 1/4`.")
}

fn nothing_left(number: u32, span: Span) -> Diagnostic {
    let message = format!("This up-beat leaves nothing of bar {number}, whose end it is.");
    Diagnostic::error("bars/up-beat", span, message).with_help(format!(
        "Write a shorter one, or let bar {number} be longer: `{number} length …`."
    ))
}

fn repeats(cx: &mut Resolver, settings: &Settings, form: &mut Form) {
    let mut taken: Option<BarRange> = None;
    let mut ranges = settings.repeats.clone();
    ranges.sort_by_key(|(range, _)| range.first);
    for (range, times) in ranges {
        if let Some(before) = taken.filter(|before| before.last >= range.first) {
            cx.push(
                Diagnostic::error("bars/repeats-overlap", range.span, "Two repeats overlap.")
                    .with_label(before.span, "the other one is here")
                    .with_help("Write the inner repeat out."),
            );
            continue;
        }
        let Some(bars) = both(cx, form, range) else { continue };
        let (first, last) = (form.with_up_beat(bars.first), bars.after - 1);
        form.bars[first].repeat_starts = true;
        form.bars[last].repeat_ends = true;
        form.bars[last].times = times;
        taken = Some(range);
    }
    let mut endings = settings.endings.clone();
    endings.sort_by_key(|(range, ending)| (range.first, ending.first));
    for (place, (range, ending)) in endings.iter().enumerate() {
        let Some(bars) = both(cx, form, *range) else { continue };
        let (first, last) = (form.with_up_beat(bars.first), bars.after - 1);
        let before = first.checked_sub(1).map(|before| &form.bars[before]);
        let fits = if ending.first == 1 {
            form.bars[last].repeat_ends
        } else {
            before.is_some_and(|before| {
                before.repeat_ends && before.ending.is_some_and(|e| e.last + 1 == ending.first)
            })
        };
        if !fits {
            if form.unsure_from.is_none() {
                cx.push(ending_without_repeat(*range, *ending));
            }
            continue;
        }
        // All endings but the last lead back.
        let goes_on = endings.get(place + 1).is_some_and(|(next, after)| {
            next.first == range.last + 1 && after.first == ending.last + 1
        });
        for bar in &mut form.bars[first..=last] {
            bar.ending = Some(*ending);
        }
        form.bars[last].repeat_ends |= goes_on;
    }
    // Where there are endings, they say how often.
    let divided = |bar: &&mut Bar| bar.repeat_ends && bar.times > 2;
    for bar in form.bars.iter_mut().filter(divided) {
        match (bar.ending, bar.times) {
            (None, times) => bar.signs.push(Sign::Times(times)),
            (Some(_), _) => bar.times = 2,
        }
    }
}

fn ending_without_repeat(range: BarRange, ending: Ending) -> Diagnostic {
    let number = match ending.last - ending.first {
        0 => ending.first.to_string(),
        _ => format!("{}..{}", ending.first, ending.last),
    };
    Diagnostic::error(
        "bars/ending-without-repeat",
        range.span,
        format!("Ending {number} does not belong to a repeat here."),
    )
    .with_help(
        "The first ending closes the repeated bars, each further one follows the one before it: `1..8 repeat`, `8 ending 1`, `9 ending 2`.",
    )
}

/// The bars of a range, or findings.
fn both(cx: &mut Resolver, form: &Form, range: BarRange) -> Option<BarIndices> {
    if range.last < range.first {
        cx.push(backwards(range));
        return None;
    }
    let first = inside(cx, form, range.first, range.span)?;
    Some(BarIndices::new(first, inside(cx, form, range.last, range.span)? + 1))
}

pub(super) fn backwards(range: BarRange) -> Diagnostic {
    Diagnostic::error(
        "bars/backwards",
        range.span,
        format!("Bars {} to {} run backwards.", range.first, range.last),
    )
    .with_help(format!("Write `{}..{}`.", range.last, range.first))
    .with_fix("swap them", range.span, format!("{}..{}", range.last, range.first), false)
}

/// The index of a bar, or a finding that it is outside the piece.
pub(super) fn inside(cx: &mut Resolver, form: &Form, number: u32, span: Span) -> Option<usize> {
    let index = i32::try_from(number).ok().and_then(|number| form.index_of(number));
    if index.is_none() && form.is_sure(0) {
        let first = form.bars.first().map_or(1, |bar| bar.number);
        let last = form.bars.last().map_or(1, |bar| bar.number);
        cx.push(
            Diagnostic::error("bars/outside", span, format!("The piece has no bar {number}."))
                .with_help(format!("It has bars {first} to {last}.")),
        );
    }
    index
}

/// The bars of ranges; wrong ones are told and left out.
pub(super) fn indices(cx: &mut Resolver, form: &Form, ranges: &[BarRange]) -> Bars {
    let mut found = Bars::new();
    for range in ranges {
        if range.last < range.first {
            cx.push(backwards(*range));
            continue;
        }
        let first = inside(cx, form, range.first, range.span);
        let Some(first) = first else { continue };
        let last = if range.last == range.first {
            Some(first)
        } else {
            inside(cx, form, range.last, range.span)
        };
        // A range that runs past the end still means the bars that exist.
        found.push(BarIndices::new(
            first,
            last.map_or(form.bars.len(), |last| form.whole(last).after),
        ));
    }
    found.sort_unstable();
    found
}

fn first_of<T: Clone>(settings: &[(u32, T, Span)]) -> Option<T> {
    settings.iter().min_by_key(|(at, ..)| *at).map(|(_, value, _)| value.clone())
}

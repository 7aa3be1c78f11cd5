//! What the lines of the form say, before it is known how many bars there are.

use super::super::Resolver;
use super::super::piece::{Ending, Tempo};
use super::{bad_value, exact};
use crate::diagnostics::{Care, Diagnostic, Edit, Fix, Span};
use crate::limits;
use crate::lists::put_in_order;
use crate::music::{Key, Metre, Mode, PitchName, Sign, Time};
use crate::narrow::Narrow;
use crate::syntax::{BarRange, FormItem, FormLine, Fraction, MetreTree, Spanned, TempoTree};
use std::collections::HashMap;

/// How long a bar may be whose length the form says.
const LONGEST_BAR: Time = Time::of(limits::BAR as i64, 1);

/// What the lines of the form say, each with its bar.
#[derive(Default)]
pub(super) struct Settings {
    /// The bar from which something is not certain; one that no piece has where only the count of
    /// bars is.
    pub(super) unsure_from: Option<u32>,
    pub(super) pick_up: Option<Time>,
    pub(super) end: Option<(u32, Span)>,
    pub(super) metres: Vec<(u32, Metre, Span)>,
    pub(super) keys: Vec<(u32, Key, Span)>,
    pub(super) tempos: Vec<(u32, Tempo, Span)>,
    pub(super) marks: Vec<(u32, String, Span)>,
    pub(super) lengths: Vec<(u32, Time, Span)>,
    /// How long the up-beat is with which a section begins, by its first whole bar.
    pub(super) up_beats: Vec<(u32, Time, Span)>,
    /// Bars that are repeated, and how often they are played.
    pub(super) repeats: Vec<(BarRange, u8)>,
    pub(super) endings: Vec<(BarRange, Ending)>,
    pub(super) doubles: Vec<(u32, Span)>,
    pub(super) signs: Vec<(u32, Sign, Span)>,
    /// What has been said of which bar, and where.
    pub(super) said: HashMap<(&'static str, u32), Span>,
}

/// Settings by their bars.
pub(super) struct ByBar<'s, T> {
    settings: &'s [(u32, T, Span)],
    /// Their indices in the order of their bars.
    order: Vec<u32>,
}

pub(super) fn by_bar<T>(settings: &[(u32, T, Span)]) -> ByBar<'_, T> {
    let mut order: Vec<u32> = (0..settings.len().narrow::<u32>()).collect();
    put_in_order(&mut order, |index| settings[*index as usize].0);
    ByBar { settings, order }
}

impl<T> ByBar<'_, T> {
    /// Those of a bar, in the order in which they were said.
    fn of(&self, bar: u32) -> &[u32] {
        let said_of = |index: &u32| self.settings[*index as usize].0;
        let first = self.order.partition_point(|index| said_of(index) < bar);
        let count = self.order[first..].iter().take_while(|index| said_of(index) == bar).count();
        &self.order[first..first + count]
    }

    /// What is said last of a bar.
    pub(super) fn get(&self, bar: u32) -> Option<&T> {
        self.of(bar).last().map(|index| &self.settings[*index as usize].1)
    }

    /// Where something is said first of a bar.
    pub(super) fn first(&self, bar: u32) -> Option<Span> {
        self.of(bar).first().map(|index| self.settings[*index as usize].2)
    }
}

/// What a bar has one of, in the word of the language.
pub(super) fn once_a_bar(item: &FormItem) -> Option<&'static str> {
    Some(match item {
        FormItem::Metre(_) => "metre",
        FormItem::Key(..) => "key",
        FormItem::Tempo(..) => "tempo",
        FormItem::Mark(_) => "mark",
        FormItem::PickUp(_) => "pick-up",
        FormItem::Length(_) => "length",
        FormItem::UpBeat(_) => "up-beat",
        FormItem::DoubleBar => "double-bar",
        FormItem::End => "end",
        FormItem::Sign(sign) if sign.is_jump() => "da capo` or `dal segno",
        FormItem::Sign(sign) => sign.in_source(),
        FormItem::Repeat(_) | FormItem::Ending(..) => return None,
    })
}

/// Does it stand at the end of its bar?
fn stands_at_end(item: &FormItem) -> bool {
    match item {
        FormItem::DoubleBar | FormItem::End => true,
        FormItem::Sign(sign) => sign.stands_at_end(),
        _ => false,
    }
}

/// An item with the comma that parts it from its neighbour; the whole line where it stands alone.
pub(super) fn with_comma(line: &FormLine, place: usize) -> Span {
    let item = line.items[place].span;
    match (place.checked_sub(1), line.items.get(place + 1)) {
        (Some(before), _) => line.items[before].span.after().to(item),
        (None, Some(next)) => item.to(next.span.before()),
        (None, None) => line.bars.span.to(item),
    }
}

/// Gives an item of a line of several bars its own one: the line is for that bar, or, where it says
/// more than holds for this one, the item has a line of its own.
fn at_its_bar(line: &FormLine, place: usize) -> Fix {
    let (bars, item) = (line.bars, &line.items[place]);
    let at_end = stands_at_end(&item.value);
    let (which, bar) = if at_end { ("last", bars.last) } else { ("first", bars.first) };
    let alike = |other: &Spanned<FormItem>| {
        once_a_bar(&other.value).is_some() && stands_at_end(&other.value) == at_end
    };
    let edit = |span, text| Edit { span, text };
    if line.items.iter().all(alike) {
        let edits = vec![edit(bars.span, bar.to_string())];
        let title = format!("name the {which} bar");
        return Fix { title, edits, care: Care::Look, bars: Vec::new() };
    }
    let mut edits = vec![match place.checked_sub(1) {
        None => edit(bars.span, bar.to_string()),
        Some(before) => {
            let gap = line.items[before].span.after().to(item.span.before());
            edit(gap, format!("\n  {bar} "))
        }
    }];
    if let Some(next) = line.items.get(place + 1) {
        let gap = item.span.after().to(next.span.before());
        edits.push(edit(gap, format!("\n  {}..{} ", bars.first, bars.last)));
    }
    let title = format!("say it of the {which} bar in a line of its own");
    Fix { title, edits, care: Care::Look, bars: Vec::new() }
}

impl Settings {
    /// Tells of an item that says of a bar what another has said, or that speaks of several bars
    /// where it can hold for one; it does not count.
    pub(super) fn contradicts(&mut self, cx: &mut Resolver, line: &FormLine, place: usize) -> bool {
        let item = &line.items[place];
        let (Some(what), bars) = (once_a_bar(&item.value), line.bars) else { return false };
        if bars.last > bars.first {
            let (first, last) = (bars.first, bars.last);
            let message = format!("`{what}` happens at one bar, not in bars {first} to {last}.");
            let help = match item.value {
                FormItem::Metre(_) | FormItem::Key(..) | FormItem::Tempo(..) => {
                    format!("Write `{first} {what} …`: it holds until the next {what}.")
                }
                _ if stands_at_end(&item.value) => {
                    format!(
                        "It stands at the end of its bar. Write a line with one bar: `{last} {what}`."
                    )
                }
                _ => format!("Write a line with one bar: `{first} {what} …`."),
            };
            let mut finding = Diagnostic::error("bars/one-bar", bars.span, message)
                .with_label(item.span, "this")
                .with_help(help);
            finding.fixes.push(at_its_bar(line, place));
            cx.push(finding);
        }
        if what != "end"
            && let bar = bars.first
            && let Some(first) = self.said.get(&(what, bar))
        {
            cx.push(
                Diagnostic::error(
                    "names/twice",
                    item.span,
                    format!("Bar {bar} has a second `{what}`."),
                )
                .with_label(*first, "the first is here")
                .with_help("A bar has one; remove one of them.")
                .with_fix("remove this one", with_comma(line, place), "", false),
            );
            return true;
        }
        false
    }

    pub(super) fn doubt(&mut self, bar: u32) {
        self.unsure_from = Some(self.unsure_from.map_or(bar, |from| from.min(bar)));
    }

    pub(super) fn add(&mut self, cx: &mut Resolver, bars: BarRange, item: &Spanned<FormItem>) {
        let at = bars.first;
        let span = item.span;
        if bars.last > limits::BARS {
            cx.push(
                Diagnostic::error(
                    "bars/too-many",
                    bars.span,
                    format!(
                        "Bar {} is beyond {} bars.",
                        bars.last,
                        limits::spaced(limits::BARS as usize)
                    ),
                )
                .with_help("A piece may have 20,000 bars; is there a digit too many?"),
            );
            return;
        }
        match &item.value {
            FormItem::Metre(tree) => match read_metre(tree) {
                Some(metre) => self.metres.push((at, metre, span)),
                None => cx.push(
                    Diagnostic::error("bars/no-such-metre", span, "This is not a valid metre.")
                        .with_help("A metre is 1 to 32 over 1, 2, 4, 8, 16 or 32, or up to eight groups of one or more: `metre 6/8`, `metre 3+2/8`."),
                ),
            },
            FormItem::Key(tonic, minor) => {
                if let Some(key) = read_key(cx, tonic, *minor, span) {
                    self.keys.push((at, key, span));
                }
            }
            FormItem::Tempo(tempo) => self.tempo(cx, at, tempo, span),
            FormItem::Mark(text) => {
                if let Some((bar, _, first)) = self.marks.iter().find(|(_, known, _)| known == text)
                {
                    let message = format!("The mark \"{text}\" is at bar {bar} already.");
                    cx.push(
                        Diagnostic::warning("bars/mark-twice", span, message)
                            .with_label(*first, "the first")
                            .with_help(
                                "Give each place a mark of its own: players start \"from A\".",
                            ),
                    );
                }
                self.marks.push((at, text.clone(), span));
            }
            FormItem::PickUp(value) => match exact(*value) {
                Ok(length) if at == 0 => self.pick_up = Some(length),
                Ok(_) => cx.push(
                    Diagnostic::error("bars/pick-up", span, "A pick-up is bar 0.")
                        .with_help("Write this line as `0 pick-up …`; the next bar is bar 1. A section within the piece has an `up-beat`."),
                ),
                Err(message) => cx.push(bad_value(span, message)),
            },
            FormItem::UpBeat(value) => match exact(*value) {
                Ok(length) => self.up_beats.push((at, length, span)),
                Err(message) => cx.push(bad_value(span, message)),
            },
            FormItem::Length(fraction) => {
match length_of_bar(*fraction) {
                    Some(length) => self.lengths.push((at, length, span)),
                    None => cx.push(no_such_length(span, at, *fraction)),
                }
            }
            FormItem::Repeat(times) => match u8::try_from(*times) {
                Ok(times @ 2..=Sign::MOST_TIMES) => self.repeats.push((bars, times)),
                _ => cx.push(
                    Diagnostic::error(
                        "bars/times",
                        span,
                        format!("A section cannot be played {times} times."),
                    )
                    .with_help(format!("Write 2 to {} times.", Sign::MOST_TIMES)),
                ),
            },
            FormItem::Ending(first, last) => {
                match (u8::try_from(*first), u8::try_from(*last)) {
                    (Ok(first), Ok(last))
                        if first > 0 && first <= last && last <= Sign::MOST_TIMES =>
                    {
                        self.endings.push((bars, Ending { first, last }));
                    }
                    _ => cx.push(
                        Diagnostic::error("bars/times", span, "There is no such ending.")
                            .with_help(format!(
                                "Endings are numbered from 1 to {}: `ending 3`, or `ending 1..2` for one that is played twice.",
                                Sign::MOST_TIMES
                            )),
                    ),
                }
            }
            FormItem::Sign(sign) => self.signs.push((at, *sign, span)),
            FormItem::DoubleBar => self.doubles.push((at, span)),
            FormItem::End => match self.end {
                None => self.end = Some((at, span)),
                Some((_, first)) => cx.push(crate::resolve::twice("end", span, first)),
            },
        }
    }

    pub(super) fn tempo(&mut self, cx: &mut Resolver, at: u32, tempo: &TempoTree, span: Span) {
        let words = tempo.words.clone();
        let beat = match tempo.beat.map(|(value, per_minute)| (exact(value), per_minute)) {
            None => None,
            Some((Ok(value), per_minute)) if (5.0..=600.0).contains(&per_minute) => {
                Some((value, per_minute))
            }
            Some((Ok(_), per_minute)) => {
                return cx.push(
                    Diagnostic::error(
                        "bars/no-such-tempo",
                        span,
                        format!("{per_minute} is out of range for a tempo (5 to 600 a minute)."),
                    )
                    .with_help("Write a number from 5 to 600."),
                );
            }
            Some((Err(message), _)) => return cx.push(bad_value(span, message)),
        };
        self.tempos.push((at, Tempo { beat, words }, span));
    }
}

/// The length of a bar, as it was written.
fn length_of_bar(Fraction { numerator, denominator }: Fraction) -> Option<Time> {
    let exists = denominator.is_power_of_two() && denominator <= 128 && numerator > 0;
    let length = exists.then(|| Time::of(i64::from(numerator), i64::from(denominator)));
    length.filter(|length| *length <= LONGEST_BAR)
}

fn no_such_length(
    span: Span,
    bar: u32,
    Fraction { numerator, denominator }: Fraction,
) -> Diagnostic {
    let message = format!("Bar {bar} cannot be {numerator}/{denominator} long.");
    let help = if numerator == 0 {
        "A bar has a length. If nothing is played in it, let the voices rest: `rest`.".to_owned()
    } else if !denominator.is_power_of_two() || denominator > 128 {
        "A length counts whole notes, halves, quarters and so on up to 128ths: `length 3/4`."
            .to_owned()
    } else {
        format!(
            "A bar may be up to {} whole notes long (`length {}/1`): divide it into several bars.",
            limits::BAR,
            limits::BAR
        )
    };
    Diagnostic::error("bars/no-such-value", span, message).with_help(help)
}

/// The key of a tonic, as it was written; one that does not exist is told.
pub(in crate::resolve) fn read_key(
    cx: &mut Resolver,
    tonic: &str,
    minor: bool,
    span: Span,
) -> Option<Key> {
    let mode = if minor { Mode::Minor } else { Mode::Major };
    let key = tonic.parse().ok().and_then(|tonic| Key::new(tonic, mode));
    if key.is_none() {
        let message = format!("{tonic} {mode} would need more than seven sharps or flats.");
        cx.push(
            Diagnostic::error("bars/no-such-key", span, message).with_help(enharmonic(tonic, mode)),
        );
    }
    key
}

/// Names the key that sounds like one with too many sharps or flats.
pub(super) fn enharmonic(tonic: &str, mode: Mode) -> String {
    let same = tonic.parse().ok().and_then(|tonic: PitchName| {
        let fifths = tonic.fifths();
        [fifths - 12, fifths + 12]
            .into_iter()
            .filter_map(PitchName::from_fifths)
            .find_map(|other| Key::new(other, mode))
    });
    match same {
        Some(key) => format!("Write the enharmonic key, {key}."),
        None => "Write a key with at most seven sharps or flats.".to_string(),
    }
}

pub(super) fn read_metre(tree: &MetreTree) -> Option<Metre> {
    match tree {
        MetreTree::Common => Some(Metre::COMMON),
        MetreTree::Cut => Some(Metre::CUT),
        MetreTree::Plain(fraction) => {
            let count = u8::try_from(fraction.numerator).ok()?;
            Metre::new(count, u8::try_from(fraction.denominator).ok()?)
        }
        MetreTree::Additive(groups, unit) => {
            let groups: Result<Vec<u8>, _> = groups.iter().map(|g| u8::try_from(*g)).collect();
            Metre::additive(&groups.ok()?, u8::try_from(*unit).ok()?)
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::diagnostics::Sources;
    use crate::resolve::{NoFiles, resolve};

    #[test]
    fn a_length_that_no_bar_has_is_told_as_that_of_a_bar() {
        let told = |length: &str| -> Vec<String> {
            let text = format!(
                "piece \"Weir\" {{ }}\nform {{\n1 metre 4/4, key C major\n2 length {length}\n2 end\n}}\n"
            );
            let mut sources = Sources::new();
            let file = sources.add("weir", text);
            let (_, findings) = resolve(&mut sources, file, &mut NoFiles);
            let of_length =
                findings.into_iter().filter(|finding| finding.code == "bars/no-such-value");
            of_length
                .map(|found| format!("{} {}", found.message, found.help.unwrap_or_default()))
                .collect()
        };
        // It is no note value: twenty whole notes are a cadenza.
        assert_eq!(told("80/4"), [""; 0]);
        let long =
            "Bar 2 cannot be 260/4 long. A bar may be up to 64 whole notes long (`length 64/1`)";
        assert!(told("260/4")[0].starts_with(long), "{:?}", told("260/4"));
        assert!(told("3/5")[0].contains("up to 128ths"), "{:?}", told("3/5"));
        assert!(told("0/4")[0].contains("has a length"), "{:?}", told("0/4"));
    }
}

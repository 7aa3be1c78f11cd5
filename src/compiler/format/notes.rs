//! Notes as the language writes them: what was computed, ready to stand in a `writes` block.

use std::fmt::Write;

use crate::arrange::{AttachedRef, PackedNote, SoundRef, tremolo_of_two};
use crate::music::Time;
use crate::resolve::{Form, Mark, Tuplet};

/// The bars that some stretches of time touch, one line each (`7: 1/4 rest 1/2 D5&F5 |`), with the
/// notes that a part has in these stretches and rests around them. Pitches are sounding. `None`
/// where a time cannot be written with the values of the language.
#[must_use]
pub fn written_bars(
    form: &Form,
    notes: &[PackedNote],
    tuplets: &[Tuplet],
    times: &[(Time, Time)],
) -> Option<Vec<String>> {
    let mut bars: Vec<usize> = Vec::new();
    for &(from, to) in times {
        let touched = form.bars_between(from, to).range();
        bars.extend(touched.map(|bar| form.whole(bar).first));
    }
    bars.sort_unstable();
    bars.dedup();
    let within = |time: Time| times.iter().any(|&(from, to)| from <= time && time < to);
    let notes: Vec<&PackedNote> = notes.iter().filter(|note| within(note.start())).collect();
    let mut lines: Vec<String> = Vec::new();
    let mut index = 0;
    while index < bars.len() {
        let bar = &form.bars[bars[index]];
        let (from, to) = form.times_of(form.whole(bars[index]));
        let sounds = |from, to| notes.iter().any(|note| note.start() < to && note.end() > from);
        if !sounds(from, to) {
            // Bars of rest that follow one another are counted.
            let mut expected = bars[index];
            let run = bars[index..]
                .iter()
                .take_while(|&&next| {
                    let whole = form.whole(next);
                    let (from, to) = form.times_of(whole);
                    let follows = next == expected;
                    expected = whole.after;
                    follows && !sounds(from, to)
                })
                .count();
            let count = if run == 1 { String::new() } else { format!(" {run}") };
            lines.push(format!("{}: rest{count} |", bar.number));
            index += run;
            continue;
        }
        let music = bar_of(&notes, tuplets, from, to)?;
        lines.push(format!("{}: {music} |", bar.number));
        index += 1;
    }
    Some(lines)
}

/// What stands in a bar.
fn bar_of(notes: &[&PackedNote], tuplets: &[Tuplet], from: Time, to: Time) -> Option<String> {
    let mut text = String::new();
    let mut value = String::new();
    let mut at = from;
    let first = tuplets.partition_point(|tuplet| tuplet.start < from);
    for tuplet in tuplets[first..].iter().take_while(|tuplet| tuplet.start < to) {
        stretch(notes, at, tuplet.start, (1, 1), &mut value, &mut text)?;
        let end = tuplet.start + tuplet.length;
        if !text.is_empty() {
            text.push(' ');
        }
        let _ = write!(text, "{}:{}(", tuplet.actual, tuplet.normal);
        let mut inside = String::new();
        // A value before the tuplet does not reach into it here: it is said again.
        let mut own = String::new();
        let ratio = (i64::from(tuplet.actual), i64::from(tuplet.normal));
        stretch(notes, tuplet.start, end, ratio, &mut own, &mut inside)?;
        text.push_str(&inside);
        text.push(')');
        value.clear();
        at = end;
    }
    stretch(notes, at, to, (1, 1), &mut value, &mut text)?;
    Some(text)
}

/// Notes and rests from one time to another; `ratio` is by how much written values are longer.
fn stretch(
    notes: &[&PackedNote],
    from: Time,
    to: Time,
    (actual, normal): (i64, i64),
    value: &mut String,
    text: &mut String,
) -> Option<()> {
    let mut at = from;
    let mut index = notes.partition_point(|note| note.end() <= from);
    while at < to {
        let note = notes.get(index).filter(|note| note.start() < to);
        if let Some(of_two) =
            tremolo_of_two(notes, index).filter(|pair| pair[0].start() == at && pair[1].end() <= to)
        {
            let length = of_two[0].length() + of_two[1].length();
            let [one] = &values(length.scaled(actual, normal)?)?[..] else { return None };
            say(text, value, one);
            push(text, &element(of_two[0], Some(of_two[1]))?);
            if of_two[1].attached().slur_ends {
                text.push('}');
            }
            at = of_two[1].end();
            index += 2;
            continue;
        }
        let (until, what) = match note {
            Some(note) if note.start() <= at => (note.end().min(to), Some(note)),
            Some(note) => (note.start(), None),
            None => (to, None),
        };
        let length = (until - at).scaled(actual, normal)?;
        let goes_on = what.is_some_and(|note| note.start() < at);
        let mut parts = values(length)?.into_iter();
        let first = parts.next()?;
        let element = match what {
            None => "rest".to_string(),
            Some(_) if goes_on => "=".to_string(),
            Some(note) => element(note, None)?,
        };
        // Grace notes stand before the value of their note.
        if let Some(note) = what.filter(|_| !goes_on)
            && let Some(graces) = note.attached().graces
        {
            push(text, &self::graces(graces)?);
        }
        say(text, value, &first);
        push(text, &element);
        for more in parts {
            say(text, value, &more);
            push(text, if what.is_some() { "=" } else { "rest" });
        }
        if let Some(note) = what
            && note.attached().slur_ends
            && note.end() == until
        {
            text.push('}');
        }
        at = until;
        index += usize::from(what.is_some_and(|note| note.end() <= until));
    }
    Some(())
}

fn push(text: &mut String, word: &str) {
    if !text.is_empty() && !text.ends_with('(') {
        text.push(' ');
    }
    text.push_str(word);
}

fn say(text: &mut String, value: &mut String, new: &str) {
    if value != new {
        push(text, new);
        new.clone_into(value);
    }
}

/// A length as values of the language, the longest first.
fn values(length: Time) -> Option<Vec<String>> {
    let mut rest = length;
    let mut all = Vec::new();
    while rest.is_positive() {
        let (name, value) = longest(rest)?;
        all.push(name);
        rest -= value;
        if all.len() > 8 {
            return None;
        }
    }
    Some(all)
}

/// The longest plain or dotted value that is no longer than this.
fn longest(length: Time) -> Option<(String, Time)> {
    let mut whole = 2;
    let mut denominator = 1;
    loop {
        let base = if whole == 2 { Time::of(2, 1) } else { Time::of(1, denominator) };
        for (dots, numerator, parts) in [(2, 7, 4), (1, 3, 2), (0, 1, 1)] {
            // A dot adds half of the value, a second one a quarter.
            let Some(dotted) = base.scaled(numerator, parts) else { continue };
            if dotted <= length && (dots < 2 || dotted == length) {
                let name = if whole == 2 { "2/1".to_string() } else { format!("1/{denominator}") };
                return Some((name + &".".repeat(dots), dotted));
            }
        }
        if whole == 2 {
            whole = 1;
        } else {
            denominator *= 2;
        }
        if denominator > 128 {
            return None;
        }
    }
}

fn pitches(sound: SoundRef) -> String {
    match sound {
        SoundRef::Stroke => "x".to_string(),
        SoundRef::Pitches(pitches) => {
            pitches.iter().map(ToString::to_string).collect::<Vec<_>>().join("&")
        }
    }
}

fn graces(graces: &crate::resolve::Graces) -> Option<String> {
    let mut inside = String::new();
    let mut value = String::new();
    for (length, sound) in &graces.notes {
        let [one] = &values(*length)?[..] else { return None };
        say(&mut inside, &mut value, one);
        push(&mut inside, &pitches(SoundRef::of_grace(sound)));
    }
    let word = if graces.crushed { "crushed" } else { "grace" };
    Some(format!("{word}({inside})"))
}

/// A note with its marks, and with the other one of a tremolo between two.
fn element(note: &PackedNote, other: Option<&PackedNote>) -> Option<String> {
    let AttachedRef { marks, tremolo, slur_starts, neighbour, touch, .. } = note.attached();
    let marks_of_other = other.into_iter().flat_map(|other| other.attached().marks.iter());
    let mut words: Vec<String> = marks
        .iter()
        .chain(marks_of_other)
        .filter_map(|mark| {
            let words = crate::resolve::Mark::WORDS;
            let word = words.iter().find(|(known, _)| *known == mark).map(|(_, word)| *word)?;
            let ornament = matches!(mark, Mark::Trill | Mark::Turn | Mark::Mordent);
            let stopped = || Some(touch?.stopped(*note.sound().pitches().first()?));
            Some(match (neighbour, mark) {
                (Some(name), _) if ornament => format!("{word} {name}"),
                (_, Mark::Harmonic) if touch.is_some() => format!("{word} {}", stopped()?),
                _ => word.to_string(),
            })
        })
        .collect();
    let strokes = match tremolo {
        0 => None,
        1 => Some(" 1/8"),
        2 => Some(" 1/16"),
        3 => Some(""),
        4 => Some(" 1/64"),
        _ => return None,
    };
    if let Some(strokes) = strokes {
        let other = other.map_or(String::new(), |other| format!(" {}", pitches(other.sound())));
        words.push(format!("tremolo{other}{strokes}"));
    }
    let open = if slur_starts { "{" } else { "" };
    let mut text = format!("{open}{}", pitches(note.sound()));
    if !words.is_empty() {
        let _ = write!(text, "[{}]", words.join(", "));
    }
    Some(text)
}

/// Stretches of time as `bars` has them: `1..8, 17 beat 2..20`. `None` where one begins or ends
/// within a beat.
#[must_use]
pub fn bars_words(form: &Form, times: &[(Time, Time)]) -> Option<String> {
    let beat_of = |time: Time, index: usize| -> Option<Option<i64>> {
        let bar = form.bars.get(index)?;
        if time == bar.start && bar.up_beat.is_none() {
            return Some(None);
        }
        let full = bar.up_beat.map_or(form.full_start(index), |since| bar.start - since);
        let (beat, into) = bar.metre.beat_at(time - full);
        (into == Time::ZERO).then_some(Some(beat))
    };
    let word = |number: i32, beat: Option<i64>| match beat {
        Some(beat) => format!("{number} beat {beat}"),
        None => number.to_string(),
    };
    let mut all = Vec::new();
    for &(from, to) in times {
        let first = form.index_at(from);
        let start = word(form.bars.get(first)?.number, beat_of(from, first)?);
        let last = form.bars_between(from, to).after.checked_sub(1)?;
        let bar = form.bars.get(last)?;
        let (begins, ends) = form.times_of(form.whole(last));
        let end = if to == ends {
            word(bar.number, None)
        } else {
            // The last beat belongs to the passage.
            word(bar.number, Some(beat_of(to, form.whole(last).first)?? - 1))
        };
        let same = form.bars.get(first)?.number == bar.number;
        let whole = from == begins && to == ends && same;
        all.push(if whole || (start == end && same && beat_of(from, first)?.is_some()) {
            start
        } else {
            format!("{start}..{end}")
        });
    }
    Some(all.join(", "))
}

//! Bars from the measures of all parts: how long each is, and what stands at it for everybody.

use std::collections::HashMap;

use super::jumps;
use super::loss::Losses;
use super::raw::{RawKind, RawMeasure, RawMetre, RawScore, RawTempo};
use super::score::{Bar, Score};
use super::tuplets::is_plain;
use crate::music::{Key, Metre, Mode, PitchName, Sign, Time};
use crate::resolve::BarIndices;

/// Metre where a file names none.
const COMMON: Metre = Metre::FOUR_FOUR;

/// Keys that a file gives without a mode, as the index of the bar where they begin.
pub(super) type Modeless = Vec<usize>;

/// Lays the bars of a score out; gives back the bars whose keys have no mode yet.
pub(super) fn lay_out(
    raw: &mut RawScore,
    score: &mut Score,
    losses: &mut Losses,
    guesses: &mut Vec<String>,
) -> Modeless {
    let count = raw.parts.iter().map(|part| part.measures.len()).max().unwrap_or(0);
    let mut frame = Frame {
        metre: None,
        key: Key::C_MAJOR,
        start: Time::ZERO,
        modeless: Vec::new(),
        metreless: 0,
    };
    for index in 0..count {
        let mut measures: Vec<&mut RawMeasure> =
            raw.parts.iter_mut().filter_map(|part| part.measures.get_mut(index)).collect();
        let bar = frame.bar(index, &mut measures, count, losses);
        score.bars.push(bar);
    }
    if frame.metreless > 0 {
        guesses.push(format!(
            "the metre of {} bars: the file names none, so 4/4 is written and each bar has the length of its notes",
            frame.metreless
        ));
    }
    let first = i32::from(score.bars.first().is_none_or(|bar| !is_pick_up(bar, count)));
    for (bar, number) in score.bars.iter_mut().zip(first..) {
        bar.number = number;
    }
    repeats(raw, score, losses);
    score.jumps = jumps::of(raw, score, losses);
    for measure in raw.parts.iter().flat_map(|part| part.measures.iter().enumerate()) {
        let (index, measure) = measure;
        let start = score.bars[index].start;
        score.chords.extend(measure.signs.chords.iter().map(|(at, chord)| (start + *at, *chord)));
    }
    score.chords.sort_by_key(|(at, _)| *at);
    score.chords.dedup_by_key(|(at, _)| *at);
    frame.modeless
}

fn is_pick_up(bar: &Bar, count: usize) -> bool {
    count > 1 && bar.length < bar.metre.bar_length()
}

/// What holds on from bar to bar.
struct Frame {
    metre: Option<Metre>,
    key: Key,
    start: Time,
    modeless: Modeless,
    metreless: usize,
}

impl Frame {
    fn bar(
        &mut self,
        index: usize,
        measures: &mut [&mut RawMeasure],
        count: usize,
        losses: &mut Losses,
    ) -> Bar {
        let metre_shown = self.read_metre(index, measures, losses);
        let key_shown = self.read_key(index, measures);
        let metre = self.metre.unwrap_or(COMMON);
        let length = self.length(index, measures, count, losses);
        if self.metre.is_none() {
            self.metreless += 1;
        }
        let bar = Bar {
            number: 0,
            label: measures.first_mut().map(|m| std::mem::take(&mut m.label)).unwrap_or_default(),
            start: self.start,
            length,
            metre,
            key: self.key,
            metre_shown: metre_shown || index == 0,
            key_shown: key_shown || index == 0,
            tempo: tempo(index, measures, losses),
            mark: mark(index, measures, losses),
            double: measures.iter().any(|measure| measure.signs.double),
        };
        self.start = bar.end();
        bar
    }

    fn read_metre(
        &mut self,
        index: usize,
        measures: &[&mut RawMeasure],
        losses: &mut Losses,
    ) -> bool {
        let named: Vec<&RawMetre> =
            measures.iter().filter_map(|measure| measure.signs.metre.as_ref()).collect();
        let Some(first) = named.first() else { return false };
        if named.iter().any(|metre| metre != first) {
            losses.changed("metres that differ between the parts, written as one", None, index);
        }
        let before = self.metre;
        self.metre = match first {
            RawMetre::None => None,
            RawMetre::Written(metre) => Some(*metre),
            RawMetre::Plain(count, unit) => {
                let metre = u8::try_from(*count)
                    .ok()
                    .zip(u8::try_from(*unit).ok())
                    .and_then(|(count, unit)| Metre::new(count, unit));
                if metre.is_none() {
                    losses.changed(
                        format!("metre {count}/{unit}, which is not valid"),
                        None,
                        index,
                    );
                }
                metre
            }
        };
        self.metre.unwrap_or(COMMON) != before.unwrap_or(COMMON)
    }

    /// The key that most parts have where they sound.
    fn read_key(&mut self, index: usize, measures: &[&mut RawMeasure]) -> bool {
        let mut named: HashMap<(i32, Option<bool>), usize> = HashMap::new();
        for key in measures.iter().filter_map(|measure| measure.signs.key) {
            *named.entry(key).or_default() += 1;
        }
        let Some(fifths) = most(named.iter().map(|((fifths, _), n)| (*fifths, *n))) else {
            return false;
        };
        let of_these = named.iter().filter(|((other, _), _)| *other == fifths);
        let major = most(of_these.filter_map(|((_, major), n)| major.map(|major| (major, *n))));
        let key = key_of(fifths, major.unwrap_or(true));
        if major.is_none() {
            self.modeless.push(index);
        }
        let new = key != self.key || major.is_none();
        self.key = key;
        new
    }

    /// How long a bar is: as its music, or as its metre where nothing stands in it.
    fn length(
        &self,
        index: usize,
        measures: &[&mut RawMeasure],
        count: usize,
        losses: &mut Losses,
    ) -> Time {
        let full = self.metre.map(Metre::bar_length);
        let counted = || measures.iter().filter(|m| m.counted);
        let music = counted().map(|m| m.length).max().map(|longest| {
            // Rests beyond the metre do not lengthen a bar in which another part has none.
            let sounding =
                counted().flat_map(|m| &m.notes).filter(|note| note.kind != RawKind::Rest);
            let sounding = sounding.map(|note| note.at + note.length).max();
            let shortest = counted().map(|m| m.length).min();
            let needed = [sounding, shortest].into_iter().flatten().chain(full).max();
            needed.filter(|_| full.is_some()).map_or(longest, |needed| longest.min(needed))
        });
        let rest = measures.iter().map(|m| m.length).max().unwrap_or(Time::ZERO);
        let length = match (music, full) {
            (Some(music), _) => music,
            // A free bar in which nobody plays: the rest of a bar is no value that is too long by mistake.
            (None, Some(full))
                if rest >= full + full
                    && measures.iter().all(|m| m.unmeasured && m.length == rest) =>
            {
                rest
            }
            (None, Some(full)) if rest == Time::ZERO || rest > full => full,
            // All parts say so.
            (None, Some(_)) if measures.iter().all(|m| m.silent && m.length == rest) => rest,
            // A rest of a whole bar may be said to last as long as a pick-up.
            (None, Some(full)) if index > 0 && index + 1 < count => full,
            (None, None) if rest == Time::ZERO => COMMON.bar_length(),
            (None, _) => rest,
        };
        let writable = writable_length(length);
        if writable != length {
            losses.changed("bars of a length that is no value, filled up with a rest", None, index);
        }
        writable
    }
}

/// The commonest; of two equally common ones the smaller.
fn most<K: Ord + Copy>(counted: impl Iterator<Item = (K, usize)>) -> Option<K> {
    let mut sums: std::collections::BTreeMap<K, usize> = std::collections::BTreeMap::new();
    counted.for_each(|(key, n)| *sums.entry(key).or_default() += n);
    sums.into_iter().max_by_key(|(key, n)| (*n, std::cmp::Reverse(*key))).map(|(key, _)| key)
}

/// The key of a signature.
pub(super) fn key_of(fifths: i32, major: bool) -> Key {
    let (mode, above) = if major { (Mode::Major, 0) } else { (Mode::Minor, 3) };
    let tonic = PitchName::from_fifths(fifths.clamp(-7, 7) + above);
    tonic.and_then(|tonic| Key::new(tonic, mode)).unwrap_or(Key::C_MAJOR)
}

/// The shortest time that is at least as long and that `length` can say: up to 64 of a 128th or a
/// longer part of a whole note.
pub(super) fn writable_length(length: Time) -> Time {
    let (numerator, denominator) = length.fraction();
    if denominator <= 128 && denominator.count_ones() == 1 && numerator <= 64 {
        return length;
    }
    (0..=7)
        .rev()
        .find_map(|power| {
            let unit = Time::of(1, 1 << power);
            let count = length.div_floor(unit) + i64::from(length % unit != Time::ZERO);
            (count <= 64).then(|| unit * count)
        })
        .unwrap_or(Time::of(64, 1))
}

fn tempo(index: usize, measures: &[&mut RawMeasure], losses: &mut Losses) -> Option<RawTempo> {
    let mut chosen: Option<RawTempo> = None;
    for (at, tempo) in measures.iter().flat_map(|measure| &measure.signs.tempos) {
        let beat =
            tempo.beat.filter(|(value, count)| (5.0..=600.0).contains(count) && is_plain(*value));
        if tempo.beat.is_some() && beat.is_none() {
            losses.left_out("tempos out of range", None, index);
        }
        let tempo = RawTempo { beat, words: tempo.words.clone(), printed: tempo.printed };
        match &mut chosen {
            None if tempo == RawTempo::default() => {}
            None => {
                if *at > Time::ZERO {
                    losses.changed(
                        "changes of tempo inside a bar, written at its beginning",
                        None,
                        index,
                    );
                }
                chosen = Some(tempo);
            }
            Some(chosen) if *at == Time::ZERO => {
                // What is printed counts before what a file says of its sound.
                let first = chosen.beat.filter(|_| chosen.printed || !tempo.printed);
                chosen.beat = first.or(tempo.beat).or(chosen.beat);
                chosen.printed |= tempo.printed;
                chosen.words = chosen.words.take().or(tempo.words);
            }
            Some(chosen) if chosen.beat == tempo.beat && tempo.words.is_none() => {}
            Some(_) => losses.left_out("a second tempo in a bar", None, index),
        }
    }
    chosen
}

fn mark(index: usize, measures: &[&mut RawMeasure], losses: &mut Losses) -> Option<String> {
    let mut marks: Vec<&String> = measures.iter().flat_map(|m| &m.signs.marks).collect();
    marks.dedup();
    let first = marks.first().map(|mark| (*mark).clone());
    if marks.iter().any(|mark| Some(*mark) != first.as_ref()) {
        losses.left_out("a second rehearsal mark at a bar", None, index);
    }
    first
}

/// What the bar lines of the parts say together of repeats.
#[derive(Default)]
struct Lines {
    starts: bool,
    ends: bool,
    times: Option<u32>,
    ending: Option<String>,
    ending_ends: bool,
}

fn repeats(raw: &RawScore, score: &mut Score, losses: &mut Losses) {
    let lines: Vec<Lines> = (0..score.bars.len()).map(|index| lines_of(raw, index)).collect();
    let last = lines.len().saturating_sub(1);
    let mut section = 0;
    let mut open: Option<usize> = None;
    let mut ending: Option<(usize, (u8, u8))> = None;
    for (index, line) in lines.iter().enumerate() {
        if line.starts && open.replace(index).is_some() {
            losses.left_out("repeats without an end", None, index);
        }
        if let Some(number) = &line.ending {
            let digits: String = number.chars().take_while(char::is_ascii_digit).collect();
            let first = digits.parse().unwrap_or(0);
            let last = number.rsplit(|c: char| !c.is_ascii_digit()).find(|part| !part.is_empty());
            let last = last.and_then(|last| last.parse().ok()).unwrap_or(first).max(first);
            ending = Some((index, (first, last)));
        }
        let closes = ending.is_some()
            && (line.ending_ends
                || line.ends
                || index == last
                || lines[index + 1].ending.is_some());
        let second = ending.is_some_and(|(_, (first, _))| first > 1);
        if line.ends {
            let last = ending.map_or(0, |(_, (_, last))| last);
            let more = lines.get(index + 1).and_then(|next| next.ending.as_deref());
            let more = more.is_some_and(|next| next.starts_with(&(last + 1).to_string()));
            if second && open.is_none() {
                // A further ending says by itself that this one leads back.
                if !more {
                    losses.left_out("repeats of the last ending", None, index);
                }
            } else {
                let first = open.take().unwrap_or(section);
                score.repeats.push(BarIndices::new(first, index + 1));
                times(line, ending.is_some(), index, score, losses);
            }
            section = index + 1;
        }
        if closes && let Some((first, (from, to))) = ending.take() {
            let follows = first > 0
                && score
                    .endings
                    .last()
                    .is_some_and(|(bars, (_, before))| bars.after == first && before + 1 == from);
            let leads_back = first > 0 && (lines[first - 1].ends);
            let fits = if from == 1 { line.ends } else { follows && leads_back };
            if fits && to <= Sign::MOST_TIMES {
                score.endings.push((BarIndices::new(first, index + 1), (from, to)));
                section = section.max(index + 1);
            } else {
                losses.left_out("endings that close no repeat", None, first);
            }
        }
    }
    if let Some(open) = open {
        losses.left_out("repeats without an end", None, open);
    }
}

/// How often a passage is played that ends with a bar.
fn times(line: &Lines, has_ending: bool, index: usize, score: &mut Score, losses: &mut Losses) {
    let Some(times) = line.times.filter(|times| *times > 2) else { return };
    match u8::try_from(times).ok().filter(|times| *times <= Sign::MOST_TIMES && !has_ending) {
        Some(times) => score.times.push((index, times)),
        // Endings say how often.
        None if has_ending => {}
        None => losses.changed("passages played too often, written as twice", None, index),
    }
}

fn lines_of(raw: &RawScore, index: usize) -> Lines {
    let mut lines = Lines::default();
    for measure in raw.parts.iter().filter_map(|part| part.measures.get(index)) {
        lines.starts |= measure.signs.repeat_starts;
        lines.ends |= measure.signs.repeat_ends;
        lines.times = lines.times.max(measure.signs.times);
        lines.ending_ends |= measure.signs.ending_ends;
        if lines.ending.is_none() {
            lines.ending.clone_from(&measure.signs.ending_starts);
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_length_that_is_no_value_is_filled_up() {
        assert_eq!(writable_length(Time::of(3, 4)), Time::of(3, 4));
        assert_eq!(writable_length(Time::of(1, 3)), Time::of(43, 128));
        assert_eq!(writable_length(Time::of(65, 64)), Time::of(33, 32));
    }

    #[test]
    fn the_commonest_key_holds_and_of_two_the_smaller() {
        assert_eq!(most([(2, 1), (0, 3), (2, 1)].into_iter()), Some(0));
        assert_eq!(most([(2, 1), (-1, 1)].into_iter()), Some(-1));
    }

    #[test]
    fn minor_keys_have_the_signature_of_their_relatives() {
        assert_eq!(key_of(-1, false).to_string(), "D minor");
        assert_eq!(key_of(7, true).to_string(), "C# major");
    }
}

//! Room along the line: what stands at one time stands in one column, columns follow one another by
//! duration, and no two things of a staff touch.

use std::ops::Range;

use ripieno_compiler::music::{Metre, MetreSign, Time};
use ripieno_compiler::resolve::BarLine;
use ripieno_writers::notate::ElementKind;

use super::chord::{Chord, Look, chords, clef_sign};
use super::hung::{WAVED, is_waved};
use super::measures::{AFTER_BAR_LINE, AIR, BAR_LINE, BAR_LINE_GAP, SMALL_CLEF, THICK_LINE, space};
use super::over::{WithinLine, before_next, jump_room, tempo_width, up_to_tempo, within_line};
use super::voices::{join_spreads, part_voices};
use crate::glyphs::Glyph;
use crate::rows::Stretch;
use crate::sheet::{Bar, Sheet, SheetPlace, SpanKind, Staff};

mod even;
mod line;
mod shown;

pub(super) use line::{Line, PlacedBar, place_line};
pub(super) use shown::{Shown, standing};

/// So many times the ideal room of a note is that of a longer one.
const LONGER: f64 = 1.2;
/// Room that a rest of several bars takes, and one of a single bar.
const MULTI_REST: f64 = 11.0;
const BAR_REST: f64 = 7.0;
/// How much of the ideal room is left where a line is as full as can be. Our heuristic.
pub(super) const TIGHTEST: f64 = 0.64;
/// From head to head at the least, in staff spaces, where the notes are long enough for it: a little less
/// than a sixteenth takes by itself, so that runs give way with what is longer and no bar of a full line is
/// far denser than another. Our heuristic.
const LEAST_STEP: f64 = 1.55;
/// The same for a short note by itself, as a sixteenth behind a dotted eighth, in a line that has its ideal room: what
/// is longer has more than that there. Our heuristic: what a sixteenth takes.
const LONE_STEP: f64 = 1.75;
/// The same where the lines of a part are chosen: that runs may give way is no reason for more bars in a line, which
/// would tear cues and phrases elsewhere; in a score it leads to systems of whole phrases. Our heuristic.
const LEAST_STEP_CHOSEN: f64 = 1.75;

/// A bar before it has a place in a line.
#[derive(Debug)]
pub(super) struct BarSpace<'a> {
    /// Notes and rests of each staff.
    pub chords: Vec<Vec<Chord<'a>>>,
    /// For each staff, the column of each chord.
    pub column_of: Vec<Vec<usize>>,
    /// For each voice the other one of its staff.
    pub beside: Vec<Option<usize>>,
    /// Onsets with the ideal room from each to the next (the last to the bar line).
    pub columns: Vec<(Time, f64)>,
    /// Which steps from note to note are of one length.
    pub even: Vec<(Time, Vec<(usize, usize)>)>,
    /// Room for a signature, metre or repeat within a line, and at the beginning of one.
    pub lead: Lead,
    pub start: Lead,
    /// Room before the bar line for clefs that change with the next bar.
    pub tail: f64,
    /// Room that a courtesy signature or metre of this bar takes at the end of the line before.
    pub courtesy: Lead,
    /// Width of the bar line at its end.
    pub line: f64,
    /// Width of a bar without columns.
    pub empty: f64,
    /// Room that orders ask for behind their columns.
    pub orders: Vec<super::orders::Need>,
    /// The tempo over it in one line, and how far before its bar line words must end because a tempo or a
    /// rehearsal mark stands over it.
    pub said: Option<WithinLine>,
    pub said_before: f64,
    /// Width of the words over it, and how wide it must be with its line because others follow.
    pub words: f64,
    pub worded: f64,
    /// The staves that it has in a line by itself.
    pub usual: Shown,
    /// Ideal and least width without the lead.
    pub natural: f64,
    pub least: f64,
}

/// How wide a bar is: all that the choice of lines asks of it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Widths {
    /// See [`BarSpace`].
    pub lead: Lead,
    pub start: Lead,
    pub courtesy: Lead,
    pub words: f64,
    pub natural: f64,
    pub least: f64,
}

/// Widths of what stands before the notes of a bar, in their order.
#[derive(Clone, Copy, Default, Debug)]
pub(super) struct Lead {
    pub clef: f64,
    pub key: f64,
    pub metre: f64,
    pub repeat: f64,
    /// Room for ties and ends of slurs that come from the line before.
    pub carried: f64,
}

impl Lead {
    pub(super) fn width(self) -> f64 {
        self.clef + self.key + self.behind_key()
    }

    /// From the end of the signature to the notes.
    pub(super) fn behind_key(self) -> f64 {
        self.metre + self.repeat + self.carried
    }
}

/// Room for ties that come from the line before, so that they can be seen.
const TIES: f64 = 1.1;
/// The same for a slur that ends with the first note: its half lies between the signature and that. That it begins
/// behind clef and signature is common practice.
const SLURS: f64 = 1.6;

/// Width of the sign with which a repeat begins.
const REPEAT_START: f64 = THICK_LINE + BAR_LINE_GAP + BAR_LINE + 0.75;

/// Width of the bar line of that kind with all its strokes and dots.
pub(super) fn bar_line_width(bar: &Bar) -> f64 {
    if bar.goes_on {
        return 0.0;
    }
    if bar.repeat_ends {
        return 0.4 + 0.35 + BAR_LINE + BAR_LINE_GAP + THICK_LINE;
    }
    match bar.line {
        BarLine::Plain => BAR_LINE,
        BarLine::Double => 2.0 * BAR_LINE + BAR_LINE_GAP,
        BarLine::Final => BAR_LINE + BAR_LINE_GAP + THICK_LINE,
    }
}

/// Width of a signature: its own signs, or naturals where it takes all of the old one back.
pub(super) fn key_width(key: i32, before: Option<i32>) -> f64 {
    let (count, sign) = key_signs(key, before);
    if count == 0 { 0.0 } else { count as f64 * key_step(sign) + 0.7 }
}

/// How many signs of which kind a signature has.
pub(super) fn key_signs(key: i32, before: Option<i32>) -> (usize, Glyph) {
    match (key, before) {
        (0, Some(before)) => (before.unsigned_abs() as usize, Glyph::AccidentalNatural),
        (0, None) => (0, Glyph::AccidentalNatural),
        (1.., _) => (key.unsigned_abs() as usize, Glyph::AccidentalSharp),
        _ => (key.unsigned_abs() as usize, Glyph::AccidentalFlat),
    }
}

/// From one sign of a signature to the next.
pub(super) fn key_step(sign: Glyph) -> f64 {
    sign.width() - 0.02 + if sign == Glyph::AccidentalNatural { 0.12 } else { 0.0 }
}

/// Width of a metre.
pub(super) fn metre_width(bar: &Bar) -> f64 {
    if !bar.metre_shown {
        return 0.0;
    }
    metre_rows(bar.metre).iter().map(|row| figures_width(row)).fold(0.0, f64::max) + 0.8
}

/// The signs of a metre: one row, or one over the other.
pub(super) fn metre_rows(metre: Metre) -> Vec<Vec<Glyph>> {
    match metre.sign {
        MetreSign::Common => vec![vec![Glyph::TimeSigCommon]],
        MetreSign::Cut => vec![vec![Glyph::TimeSigCutCommon]],
        MetreSign::Figures => {
            vec![Glyph::figures(&metre.upper()), Glyph::digits(u32::from(metre.unit))]
        }
    }
}

pub(super) fn digits_width(number: u32) -> f64 {
    figures_width(&Glyph::digits(number))
}

/// How wide a row of figures is.
pub(super) fn figures_width(figures: &[Glyph]) -> f64 {
    figures.iter().map(|figure| figure_step(*figure)).sum()
}

/// Air on both sides of a plus sign between figures: closer, and it would touch them. Our heuristic.
pub(super) const BESIDE_PLUS: f64 = 0.25;

/// From the place of a figure to that of the next one.
pub(super) fn figure_step(figure: Glyph) -> f64 {
    figure.width() + if figure == Glyph::TimeSigPlus { 2.0 * BESIDE_PLUS } else { 0.08 }
}

/// All bars of a sheet with their columns.
pub(super) fn bar_spaces(sheet: &Sheet) -> Stretch<BarSpace<'_>> {
    spaces_of(sheet, 0..sheet.bars.len())
}

/// Some bars of a sheet with their columns.
pub(super) fn spaces_of(sheet: &Sheet, bars: Range<usize>) -> Stretch<BarSpace<'_>> {
    let first = bars.start;
    let mut spaces: Vec<BarSpace> = bars.map(|bar| bar_space(sheet, bar)).collect();
    make_room_for_words(sheet, (first, &mut spaces));
    Stretch::new(first, spaces)
}

/// How many bars on the next tempo or rehearsal mark may follow on a tempo for which bars give way.
const FOLLOWED: usize = 4;

/// The bar of the next tempo or rehearsal mark after a tempo, if it follows soon.
fn next_said(sheet: &Sheet, bar: usize) -> Option<usize> {
    let said = |bar: &usize| sheet.bars[*bar].tempo.is_some() || sheet.bars[*bar].mark.is_some();
    (bar + 1..sheet.bars.len().min(bar + 1 + FOLLOWED)).find(said)
}

/// Some bars with those that share the room for a tempo with them.
pub(super) fn with_words(sheet: &Sheet, bars: Range<usize>) -> Range<usize> {
    let has_tempo = |bar: &usize| sheet.bars[*bar].tempo.is_some();
    let before = (bars.start.saturating_sub(FOLLOWED)..bars.start).find(has_tempo);
    let start = before.unwrap_or(bars.start);
    let last = (start..bars.end).rfind(has_tempo);
    let next = last.and_then(|last| next_said(sheet, last));
    start..next.map_or(bars.end, |next| next.max(bars.end))
}

/// Bars under a tempo that is soon followed by another one or by a rehearsal mark become so wide that each
/// stands over its own bar: first bars of rest, else all of them alike.
fn make_room_for_words(sheet: &Sheet, (first, spaces): (usize, &mut [BarSpace])) {
    for bar in (0..spaces.len()).filter(|&bar| sheet.bars[first + bar].tempo.is_some()) {
        let Some(next) = next_said(sheet, first + bar) else { continue };
        let before = before_next(&sheet.bars[next]);
        let next = next - first;
        if next > spaces.len() {
            continue;
        }
        let wanted = spaces[bar].words + before;
        let there: f64 = spaces[bar..next].iter().map(|space| space.least).sum();
        let lack = (wanted - there).min(MOST_WORDS);
        if lack <= 0.0 {
            continue;
        }
        let rests: Vec<usize> = (bar..next).filter(|&one| spaces[one].columns.is_empty()).collect();
        let widths: Vec<(usize, f64)> = if rests.is_empty() {
            let bars = &spaces[bar..next];
            let need = |stretch| bars.iter().map(|space| space.width(stretch)).sum::<f64>();
            let stretch = line::filling(&need, there + lack);
            (bar..next).map(|one| (one, spaces[one].width(stretch))).collect()
        } else {
            let each = lack / rests.len() as f64;
            rests.into_iter().map(|one| (one, spaces[one].least + each)).collect()
        };
        for (one, width) in widths {
            let space = &mut spaces[one];
            space.worded = space.worded.max(width);
            space.measure(sheet.is_part);
        }
    }
}

fn bar_space(sheet: &Sheet, index: usize) -> BarSpace<'_> {
    let bar = &sheet.bars[index];
    let mut all: Vec<Vec<Chord>> = Vec::new();
    let mut beside: Vec<Option<usize>> = Vec::new();
    for staff in &sheet.staves {
        let bar = &staff.bars[index];
        let begin = all.len();
        for lane in 0..staff.lanes.len() {
            let mut chords = bar.voices.get(lane).map_or_else(Vec::new, |voice| chords(bar, voice));
            for chord in chords.iter_mut().filter(|chord| is_waved(chord)) {
                chord.right = chord.right.max(WAVED);
            }
            for said in &bar.directions {
                let Some(number) = super::orders::before_small(&said.kind) else { continue };
                for chord in chords.iter_mut().filter(|chord| chord.at() == said.at) {
                    let small = chord.graces.first().map_or(f64::MIN, |(x, _)| number - x);
                    chord.left = chord.left.max(small);
                }
            }
            all.push(chords);
        }
        if let [upper, lower] = &mut all[begin..] {
            part_voices(upper, lower);
            beside.extend([Some(begin + 1), Some(begin)]);
        } else {
            beside.resize(all.len(), None);
        }
    }
    for pair in sheet.staves.windows(2).filter(|pair| pair[0].part == pair[1].part) {
        let (above, below) = all.split_at_mut(pair[1].lanes.start);
        for upper in &mut above[pair[0].lanes.clone()] {
            for lower in below.iter_mut().take(pair[1].lanes.len()) {
                join_spreads(upper, lower);
            }
        }
    }
    let counted = bar.count > 1;
    let timed = |chord: &&Chord| !matches!(chord.look, Look::Rest { whole_bar: true, .. });
    let mut times: Vec<Time> = all.iter().flatten().filter(timed).map(Chord::at).collect();
    times.sort_unstable();
    times.dedup();
    if counted {
        times.clear();
    }
    let quarters = |time: Time| time.to_f64() * 4.0;
    let mut columns: Vec<(Time, f64)> = Vec::with_capacity(times.len());
    for (n, &time) in times.iter().enumerate() {
        let next = times.get(n + 1).copied().unwrap_or(bar.length);
        let covers = |chord: &&Chord| {
            let element = &chord.event.element;
            element.at <= time && time < element.at + element.length
        };
        let sounding = all.iter().filter_map(|staff| staff.iter().filter(timed).find(covers));
        let shortest = sounding.map(|chord| chord.event.element.length).min();
        let way = quarters(next - time);
        let shortest = quarters(shortest.unwrap_or(next - time)).max(way.min(1.0 / 64.0));
        columns.push((time, space(shortest) * way / shortest));
    }
    let column = |chord: &Chord| times.partition_point(|time| *time < chord.at());
    let column_of = all.iter().map(|staff| staff.iter().map(column).collect()).collect();
    let widest = |of: &dyn Fn(&Staff) -> f64| sheet.staves.iter().map(of).fold(0.0, f64::max);
    let metre = metre_width(bar);
    let repeat = if bar.repeat_starts { REPEAT_START } else { 0.0 };
    let changed = |staff: &Staff| {
        let bar = &staff.bars[index];
        bar.key_change.map_or(0.0, |before| key_width(bar.key, Some(before)))
    };
    let key_changes = widest(&changed);
    let told = widest(&|staff| if staff.new_lines(index) { 0.0 } else { changed(staff) });
    let key = widest(&|staff| key_width(staff.bars[index].key, None));
    let clef_width = |staff: &Staff| clef_sign(staff.bars[index].clef).0.width() + 1.0;
    let clef = widest(&clef_width);
    let anew = widest(&|staff| if staff.new_lines(index) { clef_width(staff) } else { 0.0 });
    let changes_clef = |staff: &Staff| -> f64 {
        let Some(next) = staff.bars.get(index + 1) else { return 0.0 };
        let other = staff.new_lines(index + 1);
        let first = next.clefs.iter().find(|(at, _)| *at == Time::ZERO && !other);
        first.map_or(0.0, |(_, clef)| clef_sign(*clef).0.width() * SMALL_CLEF + 0.6)
    };
    let tied = |chord: &Chord| chord.at() == Time::ZERO && chord.note().is_some_and(|n| n.tie_from);
    let lanes = |staff: &Staff| all[staff.lanes.clone()].iter().flatten();
    // A tied note has its accidental again at the beginning of a line.
    let sign = widest(&|staff| {
        let key = staff.bars[index].key;
        let signs = lanes(staff).filter(|chord| tied(chord)).flat_map(|chord| {
            chord.heads().iter().filter_map(move |head| super::chord::restated(chord, head, key))
        });
        signs.map(|sign| sign.width() + 0.4).sum::<f64>()
    });
    let ties = if all.iter().flatten().any(tied) { TIES + sign } else { 0.0 };
    let slurs = if sheet.staves.iter().any(|staff| ends_slur(staff, index)) { SLURS } else { 0.0 };
    let carried = ties.max(slurs);
    // Into a later ending no tie comes from the bar before it, only from where both part.
    let before = index.checked_sub(1).map(|before| &sheet.bars[before]);
    let parted = bar.ending_starts.is_some() && before.is_some_and(|bar| bar.ending_ends.is_some());
    let orders = super::orders::needs(sheet, index, &times);
    let mut space = BarSpace {
        orders,
        chords: all,
        column_of,
        beside,
        columns,
        even: Vec::new(),
        lead: Lead {
            clef: anew,
            key: key_changes,
            metre,
            repeat,
            carried: if parted { ties } else { 0.0 },
        },
        start: Lead { clef, key, metre, repeat, carried },
        tail: widest(&changes_clef),
        courtesy: Lead { clef: 0.0, key: told, metre, repeat: 0.0, carried: 0.0 },
        line: bar_line_width(bar),
        empty: if counted { MULTI_REST + 2.5 * f64::from(bar.count).log10() } else { BAR_REST },
        said: bar.tempo.as_ref().map(|tempo| within_line(bar, before, tempo)),
        said_before: match bar.tempo.is_some() || bar.mark.is_some() {
            true => before_next(bar),
            false => 0.0,
        },
        words: bar.tempo.as_ref().map_or(0.0, |tempo| {
            let lead = clef + key;
            let mark = bar.mark.as_ref().map_or(0.0, |mark| up_to_tempo(mark, before, lead));
            (mark + tempo_width(tempo)).min(MOST_WORDS)
        }),
        worded: jump_room(sheet, index, digits_width(bar.count)),
        usual: Shown::alone(sheet, index),
        natural: 0.0,
        least: 0.0,
    };
    if index == 0 || !bar.headings.is_empty() {
        space.courtesy = Lead::default();
    }
    space.even = even::steps(&space, bar.length);
    space.measure(sheet.is_part);
    space
}

/// Does a slur that came from the bar before end with the first note of a bar?
fn ends_slur(staff: &Staff, bar: usize) -> bool {
    let first = |place: SheetPlace| {
        let voice = staff.bars[bar].voices.get(place.voice);
        let events = voice.map_or(&[][..], |voice| &voice.events[..]);
        let first =
            events.iter().position(|event| matches!(event.element.kind, ElementKind::Note(_)));
        place.bar == bar && first == Some(place.element)
    };
    staff.spans.touching(bar, bar).into_iter().any(|span| match span.kind {
        SpanKind::Slur(from, to) => from.bar < bar && first(to),
        SpanKind::SlurArrives(from, to) => from.0 < bar && first(to),
        _ => false,
    })
}

/// So wide are words for which a bar gives way, in staff spaces; longer ones go on over the next.
const MOST_WORDS: f64 = 36.0;

/// How far the room behind a syllable may go over the bar line: what follows in the next bar has room of its own
/// there. Our heuristic.
const OVER_LINE: f64 = 0.5;

/// From the strokes of a tremolo to the bar line, at the least: nearer they seem to lean against it. Our heuristic.
const BEHIND_STROKES: f64 = 0.85;

impl BarSpace<'_> {
    pub(super) fn widths(&self) -> Widths {
        Widths {
            lead: self.lead,
            start: self.start,
            courtesy: self.courtesy,
            words: self.words,
            natural: self.natural,
            least: self.least,
        }
    }

    /// How far what stands in a column reaches to the left.
    pub(super) fn before(&self, column: usize) -> f64 {
        let voices = self.chords.iter().zip(&self.column_of);
        let there = voices.flat_map(|(chords, of)| chords.iter().zip(of));
        there.filter(|(_, of)| **of == column).map(|(chord, _)| chord.left).fold(0.0, f64::max)
    }

    /// Places of the columns from the end of the lead, and the width up to the end of the bar line,
    /// when the ideal room is stretched by a factor, in a line that shows those staves.
    pub(super) fn place(&self, stretch: f64, shown: &Shown) -> (Vec<f64>, f64) {
        self.placed(stretch, shown, |_| LEAST_STEP)
    }

    /// The same width in a line by itself.
    pub(super) fn width(&self, stretch: f64) -> f64 {
        self.place(stretch, &self.usual).1
    }

    /// Where columns stand that are not squeezed below [`LONE_STEP`] if what is in them is short and by itself.
    pub(super) fn place_roomy(&self, stretch: f64, shown: &Shown) -> (Vec<f64>, f64) {
        let least = |column| if self.is_lone(column, shown) { LONE_STEP } else { LEAST_STEP };
        self.placed(stretch, shown, least)
    }

    /// Does a note go from a column to the next that is shorter than what is before and behind, as the sixteenth
    /// behind a dotted eighth?
    fn is_lone(&self, column: usize, shown: &Shown) -> bool {
        let longer = |other: usize| {
            let ideal = self.columns.get(other).map(|(_, ideal)| *ideal);
            ideal.is_none_or(|ideal| ideal > LONGER * self.columns[column].1)
        };
        let goes = |lane: &usize| {
            let pairs = self.chords[*lane].windows(2).zip(self.column_of[*lane].windows(2));
            pairs.into_iter().any(|(chords, of)| {
                *of == [column, column + 1] && chords.iter().all(|chord| chord.note().is_some())
            })
        };
        column > 0 && longer(column - 1) && longer(column + 1) && shown.lanes.iter().any(goes)
    }

    /// Takes its ideal and its least width, by which lines are chosen.
    fn measure(&mut self, is_part: bool) {
        self.natural = self.width(1.0);
        let least_step = if is_part { LEAST_STEP_CHOSEN } else { LEAST_STEP };
        self.least = self.placed(TIGHTEST, &self.usual, |_| least_step).1;
    }

    /// See [`BarSpace::place`]; what is short keeps so much from head to head in each column.
    fn placed(
        &self,
        stretch: f64,
        shown: &Shown,
        least_step: impl Fn(usize) -> f64,
    ) -> (Vec<f64>, f64) {
        let orders = || self.orders.iter().filter(|need| shown.has(need.staff));
        if self.columns.is_empty() {
            let width = self.empty * stretch.max(TIGHTEST + 0.1) + self.tail;
            let orders = orders().map(|need| need.width).fold(0.0, f64::max);
            return (Vec::new(), (width.max(orders) + self.line).max(self.worded));
        }
        let mut places = Vec::with_capacity(self.columns.len());
        // Where each staff is free again.
        let mut free: Vec<f64> = vec![0.4; self.chords.len()];
        // Which half-spaces the last note or rest of each voice takes.
        let mut bands: Vec<Option<(i32, i32)>> = vec![None; self.chords.len()];
        let mut next: Vec<usize> = vec![0; self.chords.len()];
        // Where the last syllable of each verse of a voice ends, with the room behind it.
        let mut sung: Vec<(usize, u8, f64)> = Vec::new();
        // Where strokes of a tremolo end.
        let mut struck: f64 = 0.0;
        let mut x = AFTER_BAR_LINE * (0.6 + 0.4 * stretch).clamp(0.7, 1.3);
        for (column, (_, ideal)) in self.columns.iter().enumerate() {
            let mut at = x;
            for &lane in &shown.lanes {
                let chords = &self.chords[lane];
                let (n, of) = (next[lane], &self.column_of[lane]);
                if n < chords.len() && of[n] == column && !is_bar_rest(&chords[n]) {
                    at = at.max(free[lane] + chords[n].left);
                    for words in &chords[n].sung {
                        let before = sung
                            .iter()
                            .find(|(voice, verse, _)| (*voice, *verse) == (lane, words.verse));
                        at = before.map_or(at, |(.., end)| at.max(end + words.left));
                    }
                    if let Some(other) = self.beside[lane]
                        && let (Some(own), Some(there)) = (chords[n].taken(), bands[other])
                        && own.0 <= there.1
                        && own.1 >= there.0
                    {
                        at = at.max(free[other] + chords[n].left);
                    }
                }
            }
            for &lane in &shown.lanes {
                let chords = &self.chords[lane];
                let of = &self.column_of[lane];
                while next[lane] < chords.len() && of[next[lane]] <= column {
                    let chord = &chords[next[lane]];
                    if !is_bar_rest(chord) {
                        free[lane] = at + chord.right + AIR;
                        bands[lane] = chord.taken();
                        struck = chord.struck().map_or(struck, |right| struck.max(at + right));
                    }
                    for words in &chord.sung {
                        sung.retain(|(voice, verse, _)| (*voice, *verse) != (lane, words.verse));
                        sung.push((lane, words.verse, at + words.right));
                    }
                    next[lane] += 1;
                }
            }
            places.push(at);
            // What is short is squeezed little: a sixteenth would stand at the head behind it.
            x = at + (ideal * stretch).max(ideal.min(least_step(column)));
        }
        let last = free.iter().copied().fold(0.0, f64::max) + 0.35;
        let last = sung.iter().map(|(.., end)| end - OVER_LINE).fold(last, f64::max);
        let last = if struck > 0.0 { last.max(struck + BEHIND_STROKES) } else { last };
        let end = super::orders::end(orders(), &mut places, (x - 0.35).max(last) + self.tail);
        if end + self.line < self.worded {
            let to = self.worded - self.line;
            let begin = places[0];
            let wider = (to - begin) / (end - begin);
            places.iter_mut().for_each(|place| *place = begin + (*place - begin) * wider);
            return (places, self.worded);
        }
        (places, end + self.line)
    }
}

pub(super) fn is_bar_rest(chord: &Chord) -> bool {
    matches!(chord.look, Look::Rest { whole_bar: true, .. })
}

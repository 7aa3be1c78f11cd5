//! What is known of each bar before lines and pages are chosen.

use ripieno_compiler::diagnostics::Span;
use ripieno_compiler::music::Time;
use ripieno_writers::edition::DirectionKind;
use ripieno_writers::notate::ElementKind;

use super::breaking::Torn;
use super::heading;
use super::measures::{HEADING_GAP, STAFF_GAP};
use super::music::{Music, Window};
use super::spacing::{BarSpace, Widths};
use super::splitting::is_divided;
use crate::rows::Stretch;
use crate::sheet::{Event, Sheet, SpanKind, Staff};

/// A bar as far as lines and pages depend on it: what is in it need not be at hand.
#[derive(Debug)]
pub(super) struct Surveyed {
    pub widths: Widths,
    /// How far a system with it reaches above its first and below its last line.
    pub reach: (f64, f64),
    /// For each staff, does nobody play on it?
    pub silent: Box<[bool]>,
    /// For each staff, is there nothing to read on it but rests?
    pub idle: Box<[bool]>,
    /// The staves that are not there.
    pub absent: Box<[usize]>,
    /// Rest at its beginning and at its end that all staves share.
    pub rests: (Time, Time),
    /// What a line that begins with it tears, on all staves.
    pub torn: Torn,
    /// Where the last note of it stands in the source.
    pub last_note: Option<Span>,
}

/// Bars that are looked at together.
const TOGETHER: usize = 64;

/// Looks at all bars.
pub(super) fn all(music: &mut Music) -> Vec<Surveyed> {
    look(music, &|_, _| true).unwrap_or_default()
}

/// Looks at all bars, if each has room in a line of that width or cannot be divided.
pub(super) fn all_within(music: &mut Music, width: f64) -> Option<Vec<Surveyed>> {
    look(music, &|window, bar| !is_divided(window.sheet, window.spaces(), bar, width))
}

fn look(music: &mut Music, fits: &dyn Fn(&Window, usize) -> bool) -> Option<Vec<Surveyed>> {
    let bars = music.sheet().bars.len();
    let mut surveyed = Vec::with_capacity(bars);
    for first in (0..bars).step_by(TOGETHER) {
        let together = first..bars.min(first + TOGETHER);
        let window = music.open(together.clone());
        for bar in together {
            if !fits(&window, bar) {
                return None;
            }
            surveyed.push(looked_at(&window, bar));
        }
    }
    Some(surveyed)
}

fn looked_at(window: &Window, bar: usize) -> Surveyed {
    let (sheet, spaces) = (window.sheet, window.spaces());
    let notes = || sheet.staves.iter().flat_map(move |staff| notes(staff, bar));
    let last = notes().max_by_key(|event| event.element.at);
    Surveyed {
        widths: spaces[bar].widths(),
        reach: reach(sheet, spaces, bar),
        silent: sheet.staves.iter().map(|staff| staff.bars[bar].is_silent()).collect(),
        idle: sheet.staves.iter().map(|staff| staff.bars[bar].is_idle()).collect(),
        absent: (0..sheet.staves.len()).filter(|&n| sheet.staves[n].bars[bar].absent).collect(),
        rests: rests(sheet, bar),
        torn: torn(sheet, bar),
        last_note: last.and_then(|event| event.origin.source),
    }
}

/// The notes that are to be played from a staff in a bar.
fn notes(staff: &Staff, bar: usize) -> impl Iterator<Item = &Event> {
    let events = staff.bars[bar].voices.iter().flat_map(|voice| &voice.events);
    events.filter(|event| !event.element.cue && matches!(event.element.kind, ElementKind::Note(_)))
}

/// Rest at the beginning and at the end of a bar that all staves share.
fn rests(sheet: &Sheet, bar: usize) -> (Time, Time) {
    let length = sheet.bars[bar].length;
    let all = || sheet.staves.iter().flat_map(move |staff| notes(staff, bar));
    let end = |event: &Event| (event.element.at + event.element.length).min(length);
    let before = all().map(|event| event.element.at).min().unwrap_or(length);
    let behind = all().map(|event| length - end(event)).min().unwrap_or(length);
    (before, behind)
}

/// Slurs, hairpins, ties and cues that go on from the bar before. A hairpin that ends where the bar begins ends with
/// the line before.
fn torn(sheet: &Sheet, bar: usize) -> Torn {
    let mut torn = Torn::default();
    let add = |count: &mut u8| *count = count.saturating_add(1);
    for staff in sheet.staves.iter().filter(|staff| staff.is_usual()) {
        let spans = staff.spans.touching(bar, bar);
        for span in spans.into_iter().filter(|span| span.bars().0 < bar) {
            match span.kind {
                SpanKind::Slur(..) | SpanKind::SlurLeaves(..) => add(&mut torn.slurs),
                SpanKind::Hairpin { to, .. } if to > (bar, Time::ZERO) => add(&mut torn.hairpins),
                _ => {}
            }
        }
        let held = |event: &&Event| match &event.element.kind {
            ElementKind::Note(note) => note.tie_from && event.element.at == Time::ZERO,
            _ => false,
        };
        notes(staff, bar).filter(held).for_each(|_| add(&mut torn.ties));
        // A cue that goes on has its name again at the head of the line.
        let named = staff.bars[bar].said_again().filter(|_| bar > 0);
        if named.is_some_and(|named| matches!(named.kind, DirectionKind::CueName(_))) {
            add(&mut torn.cues);
        }
    }
    torn
}

/// How far a system with this bar reaches above its first and below its last line, as far as it can
/// be said before it is drawn.
fn reach(sheet: &Sheet, spaces: &Stretch<BarSpace>, bar: usize) -> (f64, f64) {
    let what = &sheet.bars[bar];
    let side = |staff: usize, upper: bool| -> f64 {
        let mut out: f64 = 0.0;
        let lanes = &spaces[bar].chords[sheet.staves[staff].lanes.clone()];
        for chord in lanes.iter().flatten() {
            let (low, high) = chord.span();
            let head = if upper { f64::from(high) / 2.0 } else { -f64::from(low) / 2.0 } + 0.5;
            let stem = match (chord.is_stemmed(), chord.is_up() == upper) {
                (true, true) => {
                    if upper {
                        -chord.stem_end()
                    } else {
                        chord.stem_end()
                    }
                }
                _ => 0.0,
            };
            let hung = match chord.note() {
                Some(note) if !note.marks.is_empty() && upper => 1.6,
                Some(note) if note.slur_starts || note.slur_ends => 0.9,
                Some(note) if !note.lyrics.is_empty() && !upper => 3.0,
                _ => 0.0,
            };
            out = out.max(head + hung - 2.0).max(stem - 2.0);
        }
        let said = &sheet.staves[staff].bars[bar].directions;
        if said.iter().any(|direction| {
            direction.above == upper && !matches!(direction.kind, DirectionKind::CueName(_))
        }) {
            out += if upper { 2.3 } else { 2.6 };
        }
        out
    };
    let is_there = |staff: &usize| !sheet.staves[*staff].bars[bar].absent;
    let last = (0..sheet.staves.len()).rev().find(is_there).unwrap_or(0);
    let mut top = side(0, true);
    top += heading::LINE * what.headings.len() as f64;
    top += if bar > 0 && !what.headings.is_empty() { HEADING_GAP } else { 0.0 };
    // A mark stands beside its tempo, and not nearer to the line above than to its own.
    top += match (what.mark.is_some(), what.tempo.is_some()) {
        (true, true) => 5.4,
        (true, false) => 5.0,
        (false, true) => 3.0,
        (false, false) => 0.0,
    };
    top += if what.ending_starts.is_some() { 2.5 } else { 0.0 };
    let below = if bar + 1 == sheet.bars.len() { sheet.closing.len() } else { 0 };
    // Players who cross have one staff more.
    let parted = sheet.staves.iter().filter(|staff| staff.bars[bar].parted).count() as f64;
    let parted = parted * (4.0 + STAFF_GAP);
    (top, side(last, false) + heading::LINE * below as f64 + parted)
}

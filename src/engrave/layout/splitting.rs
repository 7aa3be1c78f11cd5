//! Bars that are longer than a line, such as cadenzas: they are divided, and go on in the next line
//! without a bar line between (Gould, chapter 14, "Dividing a bar between systems", from memory).

use std::collections::HashMap;

use ripieno_compiler::music::Time;
use ripieno_writers::notate::{Beam, ElementKind};

use super::chord::{alter, clef_at};
use super::spacing::{BarSpace, bar_spaces};
use crate::rows::{Spans, Stretch};
use crate::sheet::{Bar, BarVoice, Event, Sheet, SheetPlace, Span, SpanKind, StaffBar};

/// How many times bars are divided at most; what is then still too long is squeezed.
const ROUNDS: usize = 64;

/// The sheet with all bars divided that need more than a line of that width, if there are any.
pub(super) fn split(sheet: &Sheet, spaces: &Stretch<BarSpace>, width: f64) -> Option<Sheet> {
    let mut divided = divide(sheet, spaces, width)?;
    for _ in 1..ROUNDS {
        let Some(next) = divide(&divided, &bar_spaces(&divided), width) else { break };
        divided = next;
    }
    Some(divided)
}

/// Is a bar too long for a line of that width, and can be divided?
pub(super) fn is_divided(
    sheet: &Sheet,
    spaces: &Stretch<BarSpace>,
    bar: usize,
    width: f64,
) -> bool {
    cut_of(sheet, spaces, bar, width).is_some()
}

/// Where a bar is divided that needs more than a line of that width.
fn cut_of(sheet: &Sheet, spaces: &Stretch<BarSpace>, bar: usize, width: f64) -> Option<Time> {
    let space = &spaces[bar];
    let room = width - space.start.width() - next_courtesy(spaces, bar);
    if space.least > room { cut(sheet, space, bar, room) } else { None }
}

/// Divides each bar once that is too long.
fn divide(sheet: &Sheet, spaces: &Stretch<BarSpace>, width: f64) -> Option<Sheet> {
    let bars = 0..sheet.bars.len();
    let cut = |bar: usize| Some((bar, cut_of(sheet, spaces, bar, width)?));
    let cuts: Vec<(usize, Time)> = bars.filter_map(cut).collect();
    if cuts.is_empty() {
        return None;
    }
    let mut divided = sheet.clone();
    let mut spans: Vec<Vec<Span>> = divided
        .staves
        .iter_mut()
        .map(|staff| std::mem::take(&mut staff.spans).into_all())
        .collect();
    for &(bar, at) in cuts.iter().rev() {
        divide_bar(&mut divided, &mut spans, bar, at);
    }
    for (staff, spans) in divided.staves.iter_mut().zip(spans) {
        staff.spans = Spans::new(spans);
    }
    Some(divided)
}

fn next_courtesy(spaces: &Stretch<BarSpace>, bar: usize) -> f64 {
    spaces.get(bar + 1).map_or(0.0, |next| next.courtesy.width())
}

/// Where a bar is best divided: late in the line, but rather not within tuplets, beams and notes.
fn cut(sheet: &Sheet, space: &BarSpace, bar: usize, room: f64) -> Option<Time> {
    let (places, _) = space.place(super::spacing::TIGHTEST, &space.usual);
    let mut best: Option<(f64, Time)> = None;
    for (column, (at, _)) in space.columns.iter().enumerate().skip(1) {
        // The notes before it and their air must find room.
        let end = places[column] - space.before(column) + 0.5;
        let full = end / room;
        if full > 1.0 && best.is_some() {
            break;
        }
        let cost =
            (1.0 - full).powi(2) * 4.0 + (full - 1.0).max(0.0) * 100.0 + crossed(sheet, bar, *at);
        if best.is_none_or(|(least, _)| cost < least) {
            best = Some((cost, *at));
        }
    }
    best.map(|(_, at)| at)
}

/// What it costs that notes, beams and tuplets go on over a time.
fn crossed(sheet: &Sheet, bar: usize, at: Time) -> f64 {
    let beat = sheet.bars[bar].metre.beat();
    let since = sheet.bars[bar].begins_at + at;
    let beats = since.to_f64() / beat.to_f64();
    let mut cost = if (beats - beats.round()).abs() > 1e-9 { 0.2 } else { 0.0 };
    for staff in &sheet.staves {
        for voice in &staff.bars[bar].voices {
            let (mut tuplet, mut beamed) = (false, false);
            for event in voice.events.iter().take_while(|event| event.element.at < at) {
                let element = &event.element;
                tuplet = element.tuplet.is_some_and(|tuplet| !tuplet.ends);
                beamed = match element.beams.first() {
                    Some(beam) => *beam != Beam::Ends,
                    None => beamed,
                };
                let sounds = element.at + element.length > at;
                let rests = matches!(element.kind, ElementKind::BarRest { .. });
                cost += if sounds && !rests { 0.5 } else { 0.0 };
            }
            cost += if tuplet { 3.0 } else { 0.0 };
            cost += if beamed && !tuplet { 0.6 } else { 0.0 };
        }
    }
    cost
}

/// Makes two bars of one; the spans of each staff are given.
fn divide_bar(sheet: &mut Sheet, spans: &mut [Vec<Span>], bar: usize, at: Time) {
    let whole = sheet.bars[bar].clone();
    let (ends, begins): (Vec<_>, Vec<_>) =
        whole.signs.iter().copied().partition(|sign| sign.stands_at_end());
    let rest = Bar {
        begins_at: whole.begins_at + at,
        length: whole.length - at,
        metre_shown: false,
        headings: Vec::new(),
        tempo: None,
        mark: None,
        repeat_starts: false,
        ending_starts: None,
        signs: ends,
        ..whole.clone()
    };
    sheet.bars[bar] = Bar {
        length: at,
        goes_on: true,
        repeat_ends: false,
        ending_ends: None,
        signs: begins,
        ..whole
    };
    sheet.bars.insert(bar + 1, rest);
    for (staff, spans) in sheet.staves.iter_mut().zip(spans) {
        let rest = divide_staff(&mut staff.bars[bar], at);
        let goes_on = |place: &SheetPlace| {
            let voice = rest.voices.get(place.voice);
            voice.is_some_and(|voice| {
                let mut elements = voice.events.iter().map(|event| event.origin.element);
                elements.any(|element| usize::from(element) == place.element)
            })
        };
        spans.iter_mut().for_each(|span| move_span(span, bar, at, &goes_on));
        staff.bars.insert(bar + 1, rest);
    }
}

/// Takes what lies behind a time out of a bar.
fn divide_staff(bar: &mut StaffBar, at: Time) -> StaffBar {
    let clef = clef_at(bar, at);
    let later = |time: Time| time >= at;
    let voices = bar.voices.iter_mut().map(|voice| {
        let behind = voice.events.iter().position(|event| later(event.element.at));
        let mut events = voice.events.split_off(behind.unwrap_or(voice.events.len()));
        if let [rest] = &mut voice.events[..]
            && let ElementKind::BarRest { fermata } = &mut rest.element.kind
        {
            // Who rests does so on both lines, and waits for the end.
            let held = std::mem::take(fermata);
            let mut behind = rest.clone();
            behind.element.kind = ElementKind::BarRest { fermata: held };
            behind.element.at = at;
            behind.element.length = rest.element.length - at;
            rest.element.length = at;
            events.push(behind);
        }
        events.iter_mut().for_each(|event| event.element.at -= at);
        close_beams(&mut voice.events);
        close_beams(&mut events);
        BarVoice { side: voice.side, events }
    });
    let mut voices: Vec<BarVoice> = voices.collect();
    state_accidentals(&mut voices, bar.key);
    let mut clefs = Vec::new();
    bar.clefs.retain(|&(time, clef)| {
        let stays = !later(time);
        if !stays {
            clefs.push((time - at, clef));
        }
        stays
    });
    let mut directions = Vec::new();
    for mut direction in std::mem::take(&mut bar.directions) {
        if later(direction.at) {
            direction.at -= at;
            directions.push(direction);
        } else {
            bar.directions.push(direction);
        }
    }
    StaffBar {
        lines: bar.lines,
        clef,
        key: bar.key,
        key_change: None,
        clefs,
        voices,
        directions,
        parted: bar.parted,
        absent: bar.absent,
        who: None,
    }
}

/// States the accidentals again that hold from before the division: a line is read as its signature says. What is
/// held over the division says its own at the tie. Common practice.
fn state_accidentals(voices: &mut [BarVoice], fifths: i32) {
    let elements = voices.iter_mut().flat_map(|voice| &mut voice.events);
    let mut elements: Vec<_> = elements.map(|event| &mut event.element).collect();
    elements.sort_by_key(|element| element.at);
    let mut stated: HashMap<i32, i8> = HashMap::new();
    for element in elements {
        let ElementKind::Note(note) = &mut element.kind else { continue };
        if note.tie_from {
            continue;
        }
        for head in &mut note.heads {
            let pitch = head.pitch;
            let before = stated.insert(pitch.step(), pitch.alter);
            if before.unwrap_or_else(|| alter(fifths, pitch.letter)) != pitch.alter {
                (head.accidental_shown, head.courtesy) = (true, false);
            }
        }
    }
}

/// Gives beams that the division has cut through their beginnings and ends; a note that is left alone
/// has flags.
fn close_beams(events: &mut [Event]) {
    let most = events.iter().map(|event| event.element.beams.len()).max().unwrap_or(0);
    for level in 0..most {
        let mut run: Vec<usize> = Vec::new();
        for n in 0..=events.len() {
            let beam = events.get(n).and_then(|event| event.element.beams.get(level).copied());
            let unbeamed = events.get(n).is_some_and(|event| event.element.beams.is_empty());
            let goes_on = match beam {
                Some(Beam::Continues | Beam::Ends) => true,
                _ => unbeamed && !run.is_empty(),
            };
            if !goes_on {
                close_run(events, level, &run);
                run.clear();
            }
            if matches!(beam, Some(Beam::Begins | Beam::Continues | Beam::Ends)) {
                run.push(n);
            }
            if beam == Some(Beam::Ends) {
                close_run(events, level, &run);
                run.clear();
            }
        }
    }
}

fn close_run(events: &mut [Event], level: usize, run: &[usize]) {
    let (Some(&first), Some(&last)) = (run.first(), run.last()) else { return };
    if first < last {
        events[first].element.beams[level] = Beam::Begins;
        events[last].element.beams[level] = Beam::Ends;
        return;
    }
    let beams = &mut events[first].element.beams;
    if level == 0 {
        beams.clear();
    } else {
        let ends = beams.first() == Some(&Beam::Ends);
        beams[level] = if ends { Beam::HookBackward } else { Beam::HookForward };
    }
}

fn move_span(span: &mut Span, bar: usize, at: Time, goes_on: &dyn Fn(&SheetPlace) -> bool) {
    let place = |place: &mut SheetPlace| {
        if place.bar > bar || place.bar == bar && goes_on(place) {
            place.bar += 1;
        }
    };
    let time = |time: &mut (usize, Time), ends: bool| {
        if time.0 > bar {
            time.0 += 1;
        } else if time.0 == bar && (time.1 > at || time.1 == at && !ends) {
            *time = (bar + 1, time.1 - at);
        }
    };
    match &mut span.kind {
        SpanKind::Slur(from, to) | SpanKind::Trill(from, to) => {
            place(from);
            place(to);
        }
        SpanKind::SlurLeaves(from, to) => {
            place(from);
            time(to, false);
        }
        SpanKind::SlurArrives(from, to) => {
            time(from, false);
            place(to);
        }
        SpanKind::Hairpin { from, to, .. } | SpanKind::Octave { from, to, .. } => {
            time(from, false);
            time(to, true);
        }
    }
}

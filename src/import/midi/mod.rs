//! Reads Standard MIDI Files (MIDI Association, "Standard MIDI Files 1.0"): what was struck when,
//! and from it what a person would write.
//!
//! `file` reads the bytes, `grid` finds the values, `metre` the bars where the file does not tell
//! them, `contigs` the voices and `spelling` the names of the notes. Whatever is concluded and not
//! read is told with how sure it is.

mod contigs;
mod file;
mod grid;
mod metre;
mod spelling;
mod spread;
mod voices;

use smallvec::SmallVec;

use super::keys::{self, how_sure};
use super::loss::{Losses, NOWHERE};
use super::players::{drum_of_key, usual_drum};
use super::raw::{RawInstrument, RawTempo};
use super::score::{Bar, Note, Part, PartLine, Score};
use super::{Error, frame};
use crate::limits;
use crate::music::{Interval, Key, Metre, Pitch, Time};

use contigs::Sounding;
use file::{File, Stroke, Track};
use grid::FileGrid;

/// A track with its notes in times of notation.
struct Brought {
    track: Track,
    /// Beginning, end and key of each note, in order.
    notes: Vec<(Time, Time, u8)>,
    /// Notes that belong to a spread chord have its number.
    spread: Vec<Option<usize>>,
}

/// Reads a file into a piece.
pub(super) fn read(
    bytes: &[u8],
    losses: &mut Losses,
    guesses: &mut Vec<String>,
) -> Result<Score, Error> {
    let mut file = file::read(bytes, losses)?;
    let mut tracks = std::mem::take(&mut file.tracks);
    let count: usize = tracks.iter().map(|track| track.notes.len()).sum();
    if count == 0 {
        return Err(Error::new("there is no music in the file: no track has a note"));
    }
    let mut spread: Vec<Vec<Option<usize>>> = tracks
        .iter_mut()
        .map(|track| match track.drums {
            true => vec![None; track.notes.len()],
            false => spread::gather(&mut track.notes, file.quarter),
        })
        .collect();
    let parts: Vec<&[Stroke]> = tracks.iter().map(|track| track.notes.as_slice()).collect();
    let mut grid = FileGrid::of(file.quarter, &parts);
    let mut brought: Vec<Brought> = tracks
        .into_iter()
        .zip(spread.drain(..))
        .map(|(track, spread)| {
            let times = grid.bring(&track.notes);
            let keys = track.notes.iter().map(|note| note.key);
            let notes = times.into_iter().zip(keys).map(|((s, e), key)| (s, e, key)).collect();
            Brought { track, notes, spread }
        })
        .collect();
    if !grid.exact.1 {
        brought.iter_mut().for_each(|part| let_go(&mut part.notes));
    }
    guesses.push(grid.words(count, mean_tempo(&file)));
    if file.in_seconds {
        guesses.push(
            "beats: the file counts in seconds; half a second is read as a quarter, in doubt"
                .to_string(),
        );
    }
    losses.left_out("how loud each note was struck", None, NOWHERE);
    let mut score = Score::default();
    score.head.title = file.title.take();
    let shift = bars(&file, &brought, &mut score, guesses, losses)?;
    for (start, end, _) in brought.iter_mut().flat_map(|part| &mut part.notes) {
        (*start, *end) = (*start - shift, *end - shift);
    }
    let found = find_keys(&file, &brought, &mut score, shift, guesses);
    tempos(&file, &mut score, shift, guesses, losses);
    parts_of(brought, &mut score, found, guesses, losses);
    Ok(score)
}

/// The time of a tick where no note stands: the nearest thirty-second.
fn near(file: &File, tick: i64) -> Time {
    let count = (tick * 16 + file.quarter).div_euclid(file.quarter * 2);
    Time::of(1, 32) * count
}

/// Notes that are let go a little after the next one begins end with its beginning.
fn let_go(notes: &mut [(Time, Time, u8)]) {
    let starts: Vec<Time> = notes.iter().map(|(start, ..)| *start).collect();
    for (start, end, _) in notes.iter_mut() {
        let next = starts.partition_point(|other| *other <= *start);
        if let Some(next) = starts.get(next)
            && *end > *next
            && *end - *next <= Time::of(1, 16)
            && (*end - *next) * 4 <= *end - *start
        {
            *end = *next;
        }
    }
}

/// Microseconds of a quarter, on the whole.
fn mean_tempo(file: &File) -> f64 {
    if file.tempos.is_empty() {
        return 500_000.0;
    }
    file.tempos.iter().map(|(_, micros)| f64::from(*micros)).sum::<f64>() / file.tempos.len() as f64
}

fn soundings(brought: &[Brought]) -> Vec<Sounding> {
    let pitched = brought.iter().filter(|part| !part.track.drums);
    let mut all: Vec<Sounding> = pitched
        .flat_map(|part| &part.notes)
        .map(|(start, end, key)| Sounding { start: *start, end: *end, key: i32::from(*key) })
        .collect();
    if all.is_empty() {
        all = brought
            .iter()
            .flat_map(|part| &part.notes)
            .map(|(start, end, key)| Sounding { start: *start, end: *end, key: i32::from(*key) })
            .collect();
    }
    all.sort_by_key(|note| (note.start, note.key));
    all
}

/// Lays the bars out; gives back by how much everything moves to the front.
fn bars(
    file: &File,
    brought: &[Brought],
    score: &mut Score,
    guesses: &mut Vec<String>,
    losses: &mut Losses,
) -> Result<Time, Error> {
    let mut notes = soundings(brought);
    let every = || brought.iter().flat_map(|part| &part.notes);
    let first = every().map(|(start, ..)| *start).min().unwrap_or(Time::ZERO);
    let end = every().map(|(_, end, _)| *end).max().unwrap_or(Time::WHOLE);
    for note in &mut notes {
        (note.start, note.end) = (note.start - first, note.end - first);
    }
    let accents = metre::Accents::of(&notes);
    let mut changes: Vec<(Time, Metre)> = Vec::new();
    for (tick, count, unit) in &file.metres {
        let metre = u8::try_from(*unit).ok().and_then(|unit| Metre::new(*count, unit));
        match metre {
            Some(metre) => {
                let at = near(file, *tick);
                changes.retain(|(other, _)| *other != at);
                changes.push((at, metre));
            }
            None => losses.left_out("metres that are not valid", None, NOWHERE),
        }
    }
    let named = changes.first().is_some_and(|(at, _)| *at <= first);
    let mut pick_up = Time::ZERO;
    if !named {
        let (metre, eighths, better) = accents.find();
        pick_up = Time::EIGHTH * eighths as i64;
        changes.insert(0, (Time::ZERO, metre));
        guesses.push(format!(
            "the metre: {metre}, from the accents of the notes, {}",
            how_sure(better)
        ));
    }
    let metre = changes[0].1;
    changes[0].0 = Time::ZERO;
    let bar = metre.bar_length();
    // Silence before the first note: whole bars go, and what is left of a bar is its beginning.
    let mut shift = Time::ZERO;
    let silent = first.div_floor(bar);
    if named && first > Time::ZERO {
        shift = bar * silent;
        let into = first - shift;
        let rest = frame::writable_length(bar - into);
        if into * 2 >= bar && rest < bar {
            pick_up = rest;
            shift += bar - rest;
        }
    } else if !named {
        shift = first;
    }
    if silent > 0 && shift > Time::ZERO {
        guesses.push(format!("{silent} bars of silence before the first note are left out"));
    }
    if named && pick_up == Time::ZERO && first == Time::ZERO {
        let (eighths, better) = accents.pick_up(metre);
        // Our heuristic: the file is believed unless the notes speak clearly.
        if eighths > 0 && better > 0.12 {
            pick_up = Time::EIGHTH * eighths as i64;
        }
        if pick_up > Time::ZERO {
            guesses.push(format!(
                "the pick-up: {pick_up}, from the accents of the notes, {}",
                how_sure(better)
            ));
        }
    } else if pick_up > Time::ZERO {
        guesses.push(format!("the pick-up: {pick_up}, from the place of the first note, likely"));
    }
    lay(score, &changes, shift, pick_up, end - shift)?;
    Ok(shift)
}

/// Makes the bars up to the end.
fn lay(
    score: &mut Score,
    changes: &[(Time, Metre)],
    shift: Time,
    pick_up: Time,
    end: Time,
) -> Result<(), Error> {
    let mut at = Time::ZERO;
    let mut next = 0;
    let mut metre = changes[0].1;
    let mut number = i32::from(pick_up == Time::ZERO);
    while at < end {
        let mut shown = score.bars.is_empty();
        while let Some((_, new)) = changes.get(next).filter(|(time, _)| *time - shift <= at) {
            shown |= *new != metre;
            metre = *new;
            next += 1;
        }
        let mut length = metre.bar_length();
        if at == Time::ZERO && pick_up > Time::ZERO {
            length = pick_up;
        }
        // A new metre ends the bar in which it comes.
        if let Some((time, _)) = changes.get(next)
            && *time - shift > at
            && *time - shift < at + length
            && at > Time::ZERO
        {
            length = frame::writable_length(*time - shift - at).min(length);
        }
        let longest = Time::of(i64::from(limits::BARS), 1);
        if score.bars.len() >= limits::BARS as usize || at + length > longest {
            return Err(Error::new(
                "the piece has more than 20,000 bars or whole notes; a source may have that many",
            ));
        }
        score.bars.push(Bar {
            number,
            label: number.to_string(),
            start: at,
            length,
            metre,
            key: Key::C_MAJOR,
            metre_shown: shown,
            key_shown: score.bars.is_empty(),
            tempo: None,
            mark: None,
            double: false,
        });
        at += length;
        number += 1;
    }
    steady(&mut score.bars);
    // A pick-up alone is no piece.
    if score.bars.len() == 1 && score.bars[0].number == 0 {
        score.bars[0].number = 1;
    }
    Ok(())
}

/// A metre that lasts for a bar or two and then goes back is a bar of another length: files tell a
/// pick-up and the bar before a repeat so.
fn steady(bars: &mut [Bar]) {
    // The first bar is a pick-up of the metre that follows.
    if bars.len() > 2
        && bars[1].metre_shown
        && bars[0].length < bars[1].metre.bar_length()
        && bars[0].length == bars[0].metre.bar_length()
    {
        bars[0].metre = bars[1].metre;
        bars[1].metre_shown = false;
        let from = i32::from(bars[0].number == 1);
        bars.iter_mut().for_each(|bar| bar.number -= from);
    }
    let mut index = 1;
    while index < bars.len() {
        let metre = bars[index - 1].metre;
        let other = bars[index..].iter().take_while(|bar| bar.metre != metre).count();
        let goes_back = bars.get(index + other).is_some_and(|bar| bar.metre == metre);
        let shorter = bars[index..index + other].iter().all(|bar| bar.length < metre.bar_length());
        if (1..=2).contains(&other) && goes_back && shorter {
            for bar in &mut bars[index..=index + other] {
                bar.metre = metre;
                bar.metre_shown = false;
            }
        }
        index += other.max(1);
    }
}

/// Sets the keys, by the file or from the notes; gives back the signature for spelling.
fn find_keys(
    file: &File,
    brought: &[Brought],
    score: &mut Score,
    shift: Time,
    guesses: &mut Vec<String>,
) -> i32 {
    let notes = soundings(brought);
    let mut weights = [0.0; 12];
    for note in &notes {
        weights[(note.key.rem_euclid(12)) as usize] += (note.end - note.start).to_f64();
    }
    let end = notes.iter().map(|note| note.end).max();
    let last = notes.iter().filter(|note| Some(note.end) == end).map(|note| note.key).min();
    let last = last.and_then(|key| u8::try_from(key).ok());
    let named: Vec<(Time, Key)> = file
        .keys
        .iter()
        .map(|(tick, fifths, minor)| {
            let at = (near(file, *tick) - shift).max(Time::ZERO);
            (at, frame::key_of(i32::from(*fifths), !minor))
        })
        .collect();
    let (found, better) = keys::find(&weights, last);
    // Many programs write C major where nothing was said.
    let said = |(at, key): &(Time, Key)| *at == Time::ZERO && *key != Key::C_MAJOR;
    let believed = named.len() > 1
        || named.first().is_some_and(said)
        || named
            .first()
            .is_some_and(|(_, key)| keys::fit(&weights, *key) > keys::fit(&weights, found) - 0.15);
    if !named.is_empty() && believed {
        for (at, key) in &named {
            let index = score.bars.partition_point(|bar| bar.end() <= *at);
            let Some(from) = score.bars.get_mut(index..) else { continue };
            let before = if index == 0 { None } else { from.first().map(|bar| bar.key) };
            if let Some(first) = from.first_mut() {
                first.key_shown = before != Some(*key);
            }
            from.iter_mut().for_each(|bar| bar.key = *key);
        }
        return score.bars.first().map_or(0, |bar| bar.key.fifths());
    }
    let why =
        if named.is_empty() { "from the notes" } else { "from the notes; the file says C major" };
    guesses.push(format!("the key: {found}, {why}, {}", how_sure(better)));
    score.bars.iter_mut().for_each(|bar| bar.key = found);
    found.fifths()
}

fn tempos(
    file: &File,
    score: &mut Score,
    shift: Time,
    guesses: &mut Vec<String>,
    losses: &mut Losses,
) {
    let per_minute = |micros: f64| (60_000_000.0 / micros * 100.0).round() / 100.0;
    let count = file.tempos.len();
    // Our heuristic: a tempo in more than every second bar was played, not written.
    if count > 3 && count * 2 > score.bars.len() {
        let last = file.tempos.last().map_or(0, |(tick, _)| *tick);
        let ends = file.tempos.iter().skip(1).map(|(tick, _)| *tick).chain([last + file.quarter]);
        let (mut micros, mut ticks) = (0.0, 0.0);
        for ((tick, of_quarter), end) in file.tempos.iter().zip(ends) {
            micros += f64::from(*of_quarter) * (end - tick) as f64;
            ticks += (end - tick) as f64;
        }
        let mean = per_minute(micros / f64::max(ticks, 1.0)).round();
        guesses.push(format!(
            "the tempo: {count} changes read as free playing and written as one, 1/4 at {mean}"
        ));
        let beat = Some((Time::QUARTER, mean.clamp(5.0, 600.0)));
        score.bars[0].tempo = Some(RawTempo { beat, ..RawTempo::default() });
        return;
    }
    let mut before = 0.0;
    for (tick, micros) in &file.tempos {
        let count = per_minute(f64::from(*micros));
        if !(5.0..=600.0).contains(&count) {
            losses.left_out("tempos out of range", None, NOWHERE);
            continue;
        }
        let at = (near(file, *tick) - shift).max(Time::ZERO);
        let index = score.bars.partition_point(|bar| bar.end() <= at);
        let Some(bar) = score.bars.get_mut(index).filter(|_| (count - before).abs() > 0.005) else {
            continue;
        };
        before = count;
        if bar.start != at {
            losses.changed("changes of tempo inside a bar, written at its beginning", None, index);
        }
        let beat = Some((Time::QUARTER, count));
        bar.tempo = Some(RawTempo { beat, ..RawTempo::default() });
    }
    for (tick, text) in &file.markers {
        let at = (near(file, *tick) - shift).max(Time::ZERO);
        let index = score.bars.partition_point(|bar| bar.end() <= at);
        match score.bars.get_mut(index).filter(|_| !text.is_empty()) {
            Some(bar) if bar.mark.is_none() => bar.mark = Some(text.clone()),
            _ => losses.left_out("a second rehearsal mark at a bar", None, index),
        }
    }
}

/// Voices and spelling.
fn parts_of(
    brought: Vec<Brought>,
    score: &mut Score,
    fifths: i32,
    guesses: &mut Vec<String>,
    losses: &mut Losses,
) {
    // All parts are spelled together, since they sound together.
    let mut all: Vec<(Time, u8, usize, usize)> = Vec::new();
    for (part, of_part) in brought.iter().enumerate().filter(|(_, part)| !part.track.drums) {
        let notes = of_part.notes.iter().enumerate();
        all.extend(notes.map(|(index, (start, _, key))| (*start, *key, part, index)));
    }
    all.sort_unstable();
    let keys: Vec<u8> = all.iter().map(|(_, key, ..)| *key).collect();
    let mut spelled: Vec<Vec<Pitch>> = brought
        .iter()
        .map(|part| part.notes.iter().map(|(.., key)| Pitch::from_midi(i32::from(*key))).collect())
        .collect();
    for ((.., part, index), pitch) in all.iter().zip(spelling::spell(&keys, fifths)) {
        spelled[*part][*index] = pitch;
    }
    guesses.push("the spelling of the notes: by the method ps13".to_string());
    let end = score.end();
    let mut separated = 0;
    for (of_part, pitches) in brought.into_iter().zip(spelled) {
        let Brought { track, notes, spread } = of_part;
        let mut part = Part {
            name: track.name,
            instruments: vec![RawInstrument { program: track.program, ..RawInstrument::default() }],
            staves: 1,
            transposition: Interval::UNISON,
            has_chords: false,
            lines: Vec::new(),
        };
        if track.drums {
            drums(&mut part, &notes, end);
        } else {
            part.lines = voices::lines(&notes, &spread, &pitches, losses);
            separated += usize::from(part.lines.len() > 1);
        }
        score.parts.push(part);
    }
    if separated > 0 {
        guesses.push(format!(
            "the voices of {separated} {}: separated by contig mapping",
            if separated == 1 { "part" } else { "parts" }
        ));
    }
}

/// One line for each instrument without pitch. How long a stroke is said to last means nothing.
fn drums(part: &mut Part, notes: &[(Time, Time, u8)], end: Time) {
    part.instruments.clear();
    let mut kinds: Vec<(&str, Vec<Time>)> = Vec::new();
    for (start, _, key) in notes {
        let id = drum_of_key(*key).map_or(usual_drum(), |(id, _)| id);
        match kinds.iter_mut().find(|(other, _)| *other == id) {
            Some((_, starts)) if starts.last() == Some(start) => {}
            Some((_, starts)) => starts.push(*start),
            None => {
                part.instruments
                    .push(RawInstrument { key: Some(*key), ..RawInstrument::default() });
                kinds.push((id, vec![*start]));
            }
        }
    }
    for (index, (_, starts)) in kinds.into_iter().enumerate() {
        let ends = starts.iter().skip(1).copied().chain([end]);
        let notes = starts.iter().zip(ends).map(|(start, end)| {
            Note::plain(
                *start,
                end.min(*start + Time::QUARTER).max(*start + Time::of(1, 32)),
                SmallVec::new(),
            )
        });
        part.lines.push(PartLine {
            staff: 1,
            stroke: u8::try_from(index).ok(),
            notes: notes.collect(),
            ..PartLine::default()
        });
    }
}

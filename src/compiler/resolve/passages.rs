//! What of the piece a scoring line claims: bars, beats, and phrases with their up-beats.

use super::dynamics::time_of;
use super::form::{backwards, bad_value, exact};
use super::piece::{Line, Music, Note, Piece, Verb};
use super::{Resolver, scoring_voice};
use crate::diagnostics::{Diagnostic, Span};
use crate::music::Time;
use crate::syntax::{BarRange, Modifier, PassageTree, WithUpBeat};

/// The first note of an up-beat that leads without a rest to the note of that index: at most
/// `longest` long, after a rest or a note that is at least that long and twice as long as it. Notes
/// with which a slur from before ends belong to what they are slurred to. (What counts as the
/// beginning of a phrase is our heuristic.)
#[must_use]
pub fn up_beat(notes: &[Note], index: usize, longest: Time) -> Option<usize> {
    let at = notes.get(index)?.start;
    let mut first = index;
    while first > 0 {
        let before = &notes[first - 1];
        let joined = before.start + before.length == notes[first].start;
        if !joined || at - before.start > longest {
            break;
        }
        first -= 1;
    }
    let slurred = notes[first..index].iter().find_map(|note| {
        let slur = &note.attached;
        (slur.slur_starts || slur.slur_ends).then_some(slur.slur_ends)
    });
    if first == index || slurred == Some(true) {
        return None;
    }
    let Some(before) = first.checked_sub(1).map(|before| &notes[before]) else {
        return Some(first);
    };
    let rests = before.start + before.length < notes[first].start;
    let up = at - notes[first].start;
    let long = before.length >= longest && before.length >= up * 2;
    (rests || long).then_some(first)
}

/// Does one of the passages begin or end within a bar, or with an up-beat?
pub(super) fn within_bars(bars: &Modifier) -> bool {
    let Modifier::Bars(list, with) = bars else { return false };
    let beat = |passage: &PassageTree| passage.first.beat.is_some() || passage.last.beat.is_some();
    with.is_some() || list.iter().any(beat)
}

/// Takes over what `bars …` says.
pub(super) fn read(
    cx: &mut Resolver,
    piece: &Piece,
    line: &mut Line,
    list: &[PassageTree],
    with: Option<WithUpBeat>,
) {
    let mut times = Vec::with_capacity(list.len());
    for passage in list {
        let (first, last) = (passage.first, passage.last);
        if last.bar < first.bar {
            cx.push(backwards(BarRange { first: first.bar, last: last.bar, span: passage.span }));
            continue;
        }
        let Some(from) = time_of(cx, &piece.form, first, false) else { continue };
        // A passage that runs past the end still means the bars that exist.
        let to = if (first.bar, first.beat) == (last.bar, last.beat) {
            super::dynamics::end_of(&piece.form, last)
        } else {
            time_of(cx, &piece.form, last, true)
        };
        let to = to.unwrap_or_else(|| piece.form.end());
        if to <= from {
            cx.push(
                Diagnostic::error("bars/backwards", passage.span, "This passage ends before it begins.")
                    .with_help("Write the earlier beat first: `bars 7 beat 2..7 beat 4`; the last beat belongs to the passage."),
            );
            continue;
        }
        times.push((from, to));
    }
    times.sort_unstable();
    if let Some(with) = with {
        line.up_beats = phrases(cx, piece, line, &mut times, with);
    }
    line.times = times;
}

/// Moves the passages to the up-beats before their first bar and before the bar behind their last;
/// gives back the up-beats with which they begin.
fn phrases(
    cx: &mut Resolver,
    piece: &Piece,
    line: &Line,
    times: &mut [(Time, Time)],
    with: WithUpBeat,
) -> Vec<(Time, Time)> {
    let said = match with.length.map(|(value, span)| (exact(value), span)) {
        Some((Ok(length), _)) => Some(length),
        Some((Err(message), span)) => {
            cx.push(bad_value(span, message));
            return Vec::new();
        }
        None => None,
    };
    let voices = voices(piece, line);
    let end = piece.form.end();
    let mut up_beats = Vec::new();
    let mut moved = false;
    for (from, to) in times {
        if let Some(up) = begins(piece, &voices, *from, said) {
            up_beats.push((up, *from));
            *from = up;
            moved = true;
        }
        if *to < end
            && let Some(up) = begins(piece, &voices, *to, said).filter(|up| up > from)
        {
            *to = up;
            moved = true;
        }
    }
    if !moved && piece.form.unsure_from.is_none() {
        cx.push(
            Diagnostic::warning("bars/no-up-beat", with.span, "No up-beat leads into these bars or the bar after them.")
                .with_help("Say how long the up-beat is (`with up-beat 1/8`), or name the beat where the passage begins (`bars 8 beat 4..16`)."),
        );
    }
    up_beats
}

/// The voices in which an up-beat is looked for: the one that the line plays, or all.
fn voices<'p>(piece: &'p Piece, line: &Line) -> Vec<&'p Music> {
    match scoring_voice(&line.verb) {
        Some(voice) => vec![&piece.voices[voice].music],
        None => piece.voices.iter().map(|voice| &voice.music).collect(),
    }
}

/// Where the up-beat that leads to a bar line begins.
fn begins(piece: &Piece, voices: &[&Music], at: Time, said: Option<Time>) -> Option<Time> {
    let form = &piece.form;
    let bars = &form.bars;
    let first = bars.first()?;
    if at <= first.start {
        return None;
    }
    if let Some(length) = said {
        return Some((at - length).max(first.start));
    }
    let pick_up =
        (first.number == 0 && first.length < first.metre.bar_length()).then_some(first.length);
    let bar = &bars[form.index_at(at).checked_sub(1)?];
    // Where the form says how long it is, nothing is to be found out.
    if bar.up_beat.is_some() && bar.start + bar.length == at {
        return Some(bar.start);
    }
    let longest = pick_up.map_or(bar.metre.beat(), |length| length.max(bar.metre.beat()));
    let found = voices.iter().find_map(|music| {
        let index = music.notes.begun_before(at);
        music.notes.get(index).filter(|note| note.start == at)?;
        // One note before all that may belong to it tells whether it does.
        let first = music.notes.begun_before(at - longest).saturating_sub(1);
        let near: Vec<Note> = music.notes.within(first..index + 1).collect();
        up_beat(&near, index - first, longest).map(|first| near[first].start)
    });
    // In a piece with a pick-up, phrases begin with one of that length.
    found.or_else(|| {
        let start = at - pick_up?;
        let strikes = |music: &&&Music| music.notes.iter().any(|note| note.start == start);
        voices.iter().find(strikes).map(|_| start)
    })
}

/// Narrows written bars to what `bars …` says of them.
pub(super) fn narrow(
    cx: &mut Resolver,
    piece: &Piece,
    line: &mut Line,
    whole: &[(Time, Time)],
    span: Span,
) {
    let said = std::mem::take(&mut line.times);
    let inside = |&(from, to): &(Time, Time)| whole.iter().any(|&(a, b)| a <= from && to <= b);
    line.times = said.iter().copied().filter(inside).collect();
    let Verb::Writes(music) = &line.verb else { return };
    let claimed = |note: &Note| {
        let end = note.start + note.length;
        line.times.iter().any(|&(from, to)| from <= note.start && end <= to)
    };
    let beyond = music.notes.iter().find(|note| !claimed(note));
    if line.times.len() < said.len() || beyond.is_some() {
        let mut finding = Diagnostic::error(
            "bars/claimed-twice",
            span,
            "`bars` and the written bars do not agree.",
        )
        .with_help(
            "The passage may leave out rests at the ends of the written bars, and nothing else.",
        );
        if let Some(note) = beyond {
            let place = piece.form.place(note.start);
            finding = finding.with_label(note.span, format!("{place}: outside the passage"));
        }
        cx.push(finding);
        line.times = whole.to_vec();
        line.up_beats.clear();
    }
}

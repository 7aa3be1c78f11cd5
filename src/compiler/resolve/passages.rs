//! What of the piece a scoring line claims: bars, beats, and phrases with their up-beats.

use super::dynamics::time_of;
use super::form::{backwards, bad_value, exact};
use super::piece::{Line, Music, Note, Piece, Verb};
use super::{Resolver, scoring_voice};
use crate::diagnostics::{Diagnostic, Span};
use crate::music::Time;
use crate::syntax::{BarRange, Modifier, PassageTree, WithUpBeat};

/// So many notes before an up-beat are looked at for the beginning of a slur. (Our heuristic.)
const LOOK_BACK: usize = 64;

/// The first note of an up-beat that leads without a rest to the note of that index: at most
/// `longest` long, after a rest or a note that is at least that long and twice as long as it. Notes
/// into which a slur comes from before belong to what they are slurred to. (What counts as the
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
    if first == index || is_slurred_to(&notes[..=index], first) {
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

/// Does a slur come into the note of that index from before it? Of the notes before it the last with an end of a slur
/// says so, or else the first of those behind them.
fn is_slurred_to(notes: &[Note], index: usize) -> bool {
    let (before, there) = notes.split_at(index);
    let has_end = |note: &&Note| note.attached.slur_starts || note.attached.slur_ends;
    if let Some(last) = before.iter().rev().take(LOOK_BACK).find(has_end) {
        return last.attached.slur_starts;
    }
    // It may have begun before all these notes.
    there.iter().find(has_end).is_some_and(|next| next.attached.slur_ends)
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
        // The notes before all that may belong to it tell whether it does.
        let first = music.notes.begun_before(at - longest).saturating_sub(LOOK_BACK);
        let near: Vec<Note> = music.notes.within(first..index + 1).collect();
        up_beat(&near, index - first, longest).map(|first| near[first].start)
    });
    // Heuristic: in a piece with a pick-up, phrases begin with one of that length, where no slur comes from the phrase
    // before. Of several voices the first counts that strikes there.
    found.or_else(|| {
        let start = at - pick_up?;
        let strikes = |music: &&Music| {
            let index = music.notes.begun_before(start);
            music.notes.get(index).filter(|note| note.start == start)?;
            let first = index.saturating_sub(LOOK_BACK);
            let near: Vec<Note> = music.notes.within(first..music.notes.begun_before(at)).collect();
            Some(is_slurred_to(&near, index - first))
        };
        let slurred = voices.iter().find_map(strikes)?;
        (!slurred).then_some(start)
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

#[cfg(test)]
mod tests {
    use crate::diagnostics::Sources;
    use crate::resolve::{NoFiles, resolve};

    /// The places where the second of two lines begins, which has bars 3 and 4 with their up-beat, from the notes
    /// that lead there; and the codes of what is found.
    fn begins(bar: &str, more: &str, line: &str) -> (String, Vec<&'static str>) {
        let source = format!(
            "piece \"Weir\" {{ }}\n\
             form {{ 0 metre 3/4, key G major, pick-up 1/4\n 4 end }}\n\
             voice tune {{ 0: 1/4 D5 | 1: 1/4 G5 B A | {bar} | 4: 1/2. G5 | }}\n{more}\n\
             ensemble pair {{ era 1810\n flute, oboe }}\n\
             scoring pair for pair {{\n flute plays tune bars 0..2 as melody\n oboe {line} }}\n"
        );
        let mut sources = Sources::new();
        let file = sources.add("weir.ripieno", source);
        let (piece, findings) = resolve(&mut sources, file, &mut NoFiles);
        let from = piece.scorings[0].lines[1].times[0].0;
        (piece.form.place(from).to_string(), findings.iter().map(|finding| finding.code).collect())
    }

    #[test]
    fn the_end_of_a_slur_is_no_up_beat_in_a_piece_with_a_pick_up() {
        let line = "plays tune bars 3..4 with up-beat as melody";
        let tune = |bar: &str| begins(bar, "", line);
        let none = ("bar 3, beat 1".to_string(), vec!["bars/no-up-beat"]);
        let up_beat = ("bar 2, beat 3".to_string(), vec![]);
        assert_eq!(tune("2: 1/4 C6 {B5 A} | 3: 1/4 G5 B A"), none);
        assert_eq!(
            tune("2: 1/4 {C6 B5 A | 3: G5} B A"),
            none,
            "the slur goes on over the bar line"
        );
        assert_eq!(tune("2: 1/2 {C6 1/8 B5 A | 3: 1/4 G5} B A"), none, "from a long note");
        assert_eq!(tune("2: 1/4 {C6 1/8 B5 C6 B A} | 3: 1/4 G5 B A"), none);
        // Behind the end of a slur, or with a slur of its own, it is one, as it is where nothing is slurred.
        assert_eq!(tune("2: 1/4 {C6 B5} A | 3: 1/4 G5 B A"), up_beat);
        assert_eq!(tune("2: 1/4 {C6 B5} {1/8 A B} | 3: 1/4 G5 B A"), up_beat);
        assert_eq!(tune("2: 1/4 C6 B5 {1/8 A B | 3: 1/4 G5} B A"), up_beat);
        assert_eq!(tune("2: 1/4 C6 B5 A | 3: 1/4 G5 B A"), up_beat);
    }

    #[test]
    fn of_voices_of_which_none_is_named_the_first_that_strikes_says_whether_it_is_slurred() {
        let bass = "voice bass { 0: rest | 1: 1/4 G3 G G | 2: 1/4 D3 D D | 3: 1/4 G3 G G | 4: 1/2. G3 | }\n\
                    harmony { 0: rest | 1: G | 2: D | 3: G | 4: G | }";
        let line = "sustains bars 3..4 with up-beat";
        let (slurred, _) = begins("2: 1/4 C6 {B5 A} | 3: 1/4 G5 B A", bass, line);
        assert_eq!(slurred, "bar 3, beat 1");
        let (free, _) = begins("2: 1/4 C6 B5 A | 3: 1/4 G5 B A", bass, line);
        assert_eq!(free, "bar 2, beat 3");
    }
}

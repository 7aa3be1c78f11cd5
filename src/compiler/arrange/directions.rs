//! Which dynamics, hairpins, techniques and words a part gets.
//!
//! A part hears what is said to everybody, unless the line that it plays brings dynamics of its
//! own: those of the voice, of the written notes, or an `at` behind the line. Where such a line
//! ends, the dynamic of everybody is said again, and the rest of their hairpin. Pizzicato and
//! mutes are taken back in the same way; where a line takes up a voice that plucks or is muted there, so does it, and
//! is told what was said to hold on ("sempre stacc.").

use super::idiom::leave_out_words;
use super::{GivenLine, Part, Run, has_technique, words};
use crate::diagnostics::Span;
use crate::lists::put_in_order;
use crate::music::Time;
use crate::resolve::{
    Direction, DirectionKind, Directions, Dynamic, Music, Piece, Technique, Verb,
};

/// Bars of rest over which the words of a line still hold for who then goes on with it ("solo"). Our heuristic.
const REMEMBERED: usize = 8;

pub(super) fn directions(piece: &Piece, lines: &[GivenLine], part: &mut Part, runs: &[Run]) {
    let mut out: Vec<Direction> = Vec::new();
    let everybody = &piece.dynamics;
    let mut heard_to = Time::ZERO;
    let mut own_before = false;
    let mut before = None;
    let (mut plucked, mut muted) = (false, false);
    // The last words of how to play that were for those who play here.
    let mut last_words = None;
    // Hairpins of voices that are left amid them: where each begins, and where its player leaves the voice.
    let mut left = Vec::new();
    for run in runs {
        let line = &lines[run.line.index()].line;
        let music = match &line.verb {
            Verb::Plays { voice, .. } => Some(&piece.voices[*voice].music),
            Verb::Writes(music) => Some(music),
            _ => None,
        };
        copy(everybody, heard_to, run.from, &mut out);
        let mut own = own_directions(music, run);
        // A voice says what those can do who have the means; others go without.
        if matches!(line.verb, Verb::Plays { .. }) {
            own.retain(|direction| match direction.kind {
                DirectionKind::Technique(technique) => {
                    has_technique(part.instrument_at(direction.at), technique)
                }
                _ => true,
            });
            leave_out_words(&mut own, |at| part.instrument_at(at));
        }
        let loudness = own.iter().any(|d| is_loudness(&d.kind));
        let cut = own.iter().filter(|said| ends_behind(said, run.to));
        left.extend(cut.map(|said| (said.at, said.span, run.to)));
        let loud_at = |directions: &[Direction], at| {
            directions.iter().any(|d| d.at == at && is_loudness(&d.kind))
        };
        // Where the voice says its own loudness, that of everybody is silent, with the words that came with it.
        let mut general = Vec::new();
        copy(everybody, run.from, run.to, &mut general);
        let of_loudness = |said: &Direction| {
            is_loudness(&said.kind)
                || words::is_words(&said.kind) && words::came_with_loudness(everybody, said.at)
        };
        general.retain(|d| !of_loudness(d) || !loud_at(&own, d.at));
        let mut start: Vec<Direction> = Vec::new();
        let say = |kind, span| Direction { at: run.from, kind, span };
        if let Some((dynamic, span)) = line.dynamic {
            end_hairpins(&mut out, run.from);
            start.push(say(DirectionKind::Dynamic(dynamic), span));
        } else if let Some((dynamic, span)) = taken_up(music, everybody, run.from)
            && !loud_at(&general, run.from)
            && !loud_at(&own, run.from)
        {
            start.push(say(DirectionKind::Dynamic(dynamic), span));
        } else if own_before
            && !loud_at(&general, run.from)
            && !loud_at(&own, run.from)
            && let Some((dynamic, said)) = everybody.level_at(run.from)
        {
            start.push(say(DirectionKind::Dynamic(dynamic), said.span));
            let since = words::of_level(everybody, said.at, run.from);
            start.extend(since.into_iter().map(|said| say(said.kind, said.span)));
            // What everybody is in the midst of, he goes on with.
            if let Some((kind, span)) = in_progress(everybody, run.from) {
                start.push(say(kind, span));
            }
        }
        // Techniques of the line's own go before those in which the voice is.
        let mut techniques = line.techniques.clone();
        for (technique, span) in held(music, run.from) {
            let said = |other: Technique| is_of_mutes(other) == is_of_mutes(technique);
            let own_says = own.iter().any(|direction| match direction.kind {
                DirectionKind::Technique(other) => direction.at == run.from && said(other),
                _ => false,
            });
            if !own_says
                && !line.techniques.iter().any(|(other, _)| said(*other))
                && has_technique(part.instrument_at(run.from), technique)
            {
                techniques.push((technique, span));
            }
        }
        let wants = |technique| techniques.iter().any(|(t, _)| *t == technique);
        if plucked && !wants(Technique::Pizzicato) {
            start.push(say(DirectionKind::Technique(Technique::Arco), line.span));
            plucked = false;
        }
        if muted && !wants(Technique::Muted) {
            start.push(say(DirectionKind::Technique(Technique::Unmuted), line.span));
            muted = false;
        }
        for (technique, span) in &techniques {
            let needless = (*technique == Technique::Pizzicato && plucked)
                || (*technique == Technique::Muted && muted);
            if !needless {
                start.push(say(DirectionKind::Technique(*technique), *span));
            }
        }
        let goes_on = before.is_some_and(|before: &Run| {
            before.line == run.line && bars_between(piece, before.to, run.from) <= REMEMBERED
        });
        if !matches!(line.verb, Verb::Rests) {
            before = Some(run);
        }
        for (words, span) in line.words.iter().filter(|_| !goes_on) {
            start.push(say(DirectionKind::words(words), *span));
        }
        if matches!(line.verb, Verb::Plays { .. }) && line.words.is_empty() {
            let mut held = words_taken_up(piece, music, run);
            leave_out_words(&mut held, |at| part.instrument_at(at));
            start.extend(held.into_iter().filter(|held| last_words != Some(held.span)));
        }
        for direction in start.iter().chain(&own) {
            if words::says_how(&direction.kind) {
                last_words = Some(direction.span);
            }
            match direction.kind {
                DirectionKind::Technique(Technique::Pizzicato) => plucked = true,
                DirectionKind::Technique(Technique::Arco) => plucked = false,
                DirectionKind::Technique(Technique::Muted) => muted = true,
                DirectionKind::Technique(Technique::Unmuted) => muted = false,
                _ => {}
            }
        }
        let mut within = start;
        if line.dynamic.is_none() {
            behind(&mut within, general);
            behind(&mut within, own);
        } else {
            // Words and techniques stay; other loudness gives way to the line's own.
            general.retain(|d| !of_loudness(d));
            own.retain(|d| !is_loudness(&d.kind));
            within.extend(general.into_iter().chain(own));
        }
        put_in_order(&mut within, |direction| direction.at);
        behind(&mut out, within);
        out.extend(left_unfinished(music, run));
        own_before = line.dynamic.is_some() || loudness;
        heard_to = run.to;
    }
    copy(everybody, heard_to, piece.form.end() + Time::WHOLE, &mut out);
    put_in_order(&mut out, |direction| direction.at);
    left.into_iter().for_each(|left| end_at_next(&mut out, left));
    part.directions = out;
}

/// How many bars begin between two times.
fn bars_between(piece: &Piece, from: Time, to: Time) -> usize {
    let bars = &piece.form.bars;
    let before = |time: Time| bars.partition_point(|bar| bar.start < time);
    before(to).saturating_sub(before(from))
}

/// The hairpin in which everybody is at a time, which began before it.
fn in_progress(everybody: &Directions, at: Time) -> Option<(DirectionKind, Span)> {
    let mut said = everybody.within(0..everybody.before(at)).rev();
    let said = said.find(|said| is_loudness(&said.kind))?;
    let goes_on = matches!(said.kind, DirectionKind::Hairpin { to, .. } if to > at);
    goes_on.then_some((said.kind, said.span))
}

/// Ends the hairpins of everybody where a line with a loudness of its own begins: they lead to a dynamic that
/// it never reads.
fn end_hairpins(out: &mut [Direction], at: Time) {
    for direction in out {
        if let DirectionKind::Hairpin { to, .. } = &mut direction.kind {
            *to = (*to).min(at);
        }
    }
}

/// Is it a hairpin that goes on behind a time?
fn ends_behind(said: &Direction, time: Time) -> bool {
    matches!(said.kind, DirectionKind::Hairpin { to, .. } if to > time)
}

/// Ends a hairpin of a voice where its player is told something else of loudness once he has left the voice: that is
/// where it leads, for him.
fn end_at_next(out: &mut [Direction], (at, span, until): (Time, Span, Time)) {
    let first = out.partition_point(|said| said.at < until);
    let next = out[first..].iter().find(|said| match said.kind {
        DirectionKind::Dynamic(dynamic) => dynamic.lasting().is_some(),
        DirectionKind::Hairpin { .. } => true,
        _ => false,
    });
    let Some(next) = next.map(|next| next.at) else { return };
    for said in &mut out[..first] {
        if let DirectionKind::Hairpin { to, .. } = &mut said.kind
            && (said.at, said.span) == (at, span)
        {
            *to = (*to).min(next);
        }
    }
}

pub(super) fn is_loudness(kind: &DirectionKind) -> bool {
    matches!(kind, DirectionKind::Dynamic(_) | DirectionKind::Hairpin { .. })
}

fn copy(from: &Directions, start: Time, end: Time, to: &mut Vec<Direction>) {
    let first = from.before(start);
    let behind = from.before(end).max(first);
    to.reserve_exact(behind - first);
    to.extend(from.within(first..behind));
}

/// Puts directions behind others, which may be none: there may be very many.
fn behind(all: &mut Vec<Direction>, more: Vec<Direction>) {
    match all.is_empty() {
        true => *all = more,
        false => all.extend(more),
    }
}

fn own_directions(music: Option<&Music>, run: &Run) -> Vec<Direction> {
    let mut own = Vec::new();
    if let Some(music) = music {
        copy(&music.directions, run.from, run.to, &mut own);
    }
    own
}

/// What a hairpin of the voice leads to, for whoever leaves the voice where it ends.
fn left_unfinished(music: Option<&Music>, run: &Run) -> Option<Direction> {
    let said = &music?.directions;
    let end = said.before(run.to);
    let within = said.within(said.before(run.from)..end);
    let leads = within.rev().any(|direction| match direction.kind {
        DirectionKind::Hairpin { to, .. } => to == run.to,
        _ => false,
    });
    let there = said.within(end..said.len()).take_while(|direction| direction.at == run.to);
    let mut goals = there.filter(|told| matches!(told.kind, DirectionKind::Dynamic(_)));
    goals.next().filter(|_| leads)
}

/// The dynamic that the voice itself has said where somebody takes it up, if everybody was told nothing
/// since.
fn taken_up(music: Option<&Music>, everybody: &Directions, at: Time) -> Option<(Dynamic, Span)> {
    let (dynamic, own) = music?.directions.level_at(at)?;
    let since = everybody.level_at(at).is_none_or(|(_, general)| general.at < own.at);
    since.then_some((dynamic, own.span))
}

/// Words of a voice that were said before it is taken up and hold on, at the first note that is played of it.
fn words_taken_up(piece: &Piece, music: Option<&Music>, run: &Run) -> Vec<Direction> {
    let held = music.zip(run.notes.first()).and_then(|(music, first)| {
        let at = run.from.max(first.start());
        let held = words::held(piece, &music.directions, (run.from, at))?;
        Some(Direction { at, ..held })
    });
    held.into_iter().collect()
}

/// Is a voice plucked or muted where it is taken up, and where is that written?
fn held(music: Option<&Music>, at: Time) -> impl Iterator<Item = (Technique, Span)> {
    let told = music.into_iter().flat_map(move |music| {
        let said = &music.directions;
        said.within(0..said.before(at)).rev()
    });
    let mut last: [Option<(Technique, Span)>; 2] = [None; 2];
    for direction in told {
        if let DirectionKind::Technique(technique) = direction.kind {
            last[usize::from(is_of_mutes(technique))].get_or_insert((technique, direction.span));
            if last.iter().all(Option::is_some) {
                break;
            }
        }
    }
    let on = |(technique, _): &(Technique, Span)| {
        matches!(technique, Technique::Pizzicato | Technique::Muted)
    };
    last.into_iter().flatten().filter(on)
}

/// Is it said of mutes, not of plucking and bowing?
fn is_of_mutes(technique: Technique) -> bool {
    matches!(technique, Technique::Muted | Technique::Unmuted)
}

#[cfg(test)]
mod tests {
    use super::super::arrange;
    use super::super::tests::piece;
    use super::*;

    #[test]
    fn who_leaves_a_voice_amid_its_hairpin_has_it_up_to_what_he_is_told_next() {
        let piece = piece(
            "voice own {\n1: [p cresc] 1/2 C5 |\n2: 1/2 D5 |\n3: 1/2 E5 |\n4: [mf] 1/2 D5 |\n}
scoring one for small {
  oboe.1 plays own bars 1..2 as melody
  oboe.1 plays upper bars 3..4 as harmony
  oboe.2 plays own as melody
  violin-1 plays thirds as harmony
}",
        );
        let arrangement = arrange(&piece, &piece.scorings[0]);
        let ends = |player: &str| {
            let part = arrangement.parts.iter().find(|part| part.player.id == player).unwrap();
            let ends = part.directions.iter().filter_map(|said| match said.kind {
                DirectionKind::Hairpin { to, .. } => Some(to),
                _ => None,
            });
            ends.collect::<Vec<_>>()
        };
        assert_eq!(ends("oboe.1"), [Time::WHOLE], "to the f of everybody in bar 3");
        assert_eq!(ends("oboe.2"), [Time::of(3, 2)], "to the mf of the voice");
    }
}

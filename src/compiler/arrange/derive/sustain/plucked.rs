//! Chords for harp and keyboard: both hands, each chord near the one before.
//!
//! The right hand has the whole chord in close position about the middle of its staff, never above
//! the tune; the left hand the bass, in octaves where the hand reaches them easily; off the beat the
//! right hand answers the bass alone. On the harp the
//! chords are rolled at the first of each harmony, and have only what the pedals can set in time. (Common practice for the shape, from memory: E.
//! Prout, The Orchestra, vol. 1, 1898; the weights are our heuristic.)

use smallvec::SmallVec;

use super::super::search::{Choice, cheapest};
use super::super::supply::Supplies;
use super::super::texture::{Texture, beats_from, off_beats};
use super::super::{Request, chord_at};
use super::cost::Wants;
use super::told;
use crate::arrange::SoundingNote;
use crate::diagnostics::Diagnostic;
use crate::instruments::{Family, Feet};
use crate::music::{Chord, Pitch, Time};
use crate::narrow::Narrow;
use crate::resolve::{Clock, Mark, Pitches, Restrike, Sound};

/// About here the top of the right hand likes to lie, and the bass of the left.
const TOP: i32 = 71;
const BOTTOM: i32 = 43;

/// What it costs that a seventh or a suspended fourth does not fall (our heuristic).
const HANGS: u32 = 60;

/// No hand plays wider than this, and no right hand lower.
const SPAN: i32 = 12;
const LOWEST: i32 = 53;

/// The chords of one player.
pub(super) fn chords(
    request: &Request,
    player: usize,
    restrike: Restrike,
    texture: &Texture,
    diagnostics: &mut Vec<Diagnostic>,
) -> Vec<SoundingNote> {
    let form = &request.piece.form;
    let supplies = Supplies::new(request.parts[player], request.era);
    let mut strokes: Vec<(Time, Time, Chord, crate::diagnostics::Span, bool)> = Vec::new();
    for bars in request.own_bars(player) {
        for bar in bars.range() {
            let (from, to) = request.bar_times(bar);
            let mut at = from;
            while at < to {
                let Some(event) = chord_at(request.harmony, at) else {
                    at = request
                        .harmony
                        .iter()
                        .map(|event| event.start)
                        .find(|start| *start > at)
                        .map_or(to, |start| start.min(to));
                    continue;
                };
                let end = (event.start + event.length).min(to);
                let new = event.start == at || at == from;
                // With the last notes of the voices a figure comes to rest.
                let restrike = match texture.rests_from() {
                    Some(last) if at >= last && restrike != Restrike::Broken => Restrike::EachChord,
                    _ => restrike,
                };
                for (index, (start, stop)) in
                    struck(form, at, end, restrike).into_iter().enumerate()
                {
                    strokes.push((start, stop, event.chord, event.span, new && index == 0));
                }
                at = end;
            }
        }
    }
    let silent = |start: Time, end: Time| {
        let gaps = texture.silences(start, end);
        gaps.iter().any(|(from, to)| *from <= start && *to >= end)
    };
    strokes.retain(|(start, end, ..)| !silent(*start, *end));
    // Under the lowest of the tune while one chord is struck: its layout stays the same.
    let ceiling = |at: Time| texture.outer(at).map_or(TOP + 12, |outer| outer.high.midi());
    let ceilings = strokes.chunk_by(|one, other| one.3 == other.3).flat_map(|strokes| {
        let lowest = strokes.iter().map(|(start, ..)| ceiling(*start)).min().unwrap_or(TOP + 12);
        std::iter::repeat_n(lowest, strokes.len())
    });
    let stages: Vec<Vec<Choice<SmallVec<[Pitch; 4]>>>> = strokes
        .iter()
        .zip(ceilings)
        .map(|((start, _, chord, ..), ceiling)| right_hand(chord, ceiling, &supplies, *start))
        .collect();
    let far = |a: &[Pitch], b: &[Pitch]| -> u32 {
        let tops = a.iter().rev().zip(b.iter().rev());
        tops.map(|(a, b)| (a.midi() - b.midi()).unsigned_abs()).sum()
    };
    let wants: Vec<Option<Wants>> = strokes
        .iter()
        .map(|(start, _, chord, ..)| {
            let event = chord_at(request.harmony, *start)?;
            Some(Wants::new(chord, event.key))
        })
        .collect();
    let hangs = |stage: usize, a: &[Pitch], b: &[Pitch]| -> u32 {
        let (Some(before), Some(then)) = (&wants[stage - 1], &wants[stage]) else { return 0 };
        let falls = |pitch: &&Pitch| before.left_hanging(pitch.midi(), b, then);
        HANGS * a.iter().filter(falls).count().narrow::<u32>()
    };
    let way = cheapest(&stages, |stage, a, b, _| Some(3 * far(a, b) + hangs(stage, a, b)));
    let Some((_, way)) = way else { return Vec::new() };
    let clock = Clock::new(form);
    let instrument = request.instrument(player);
    let rolled = instrument.family == Family::Harp;
    let mut feet = instrument.pedals.as_ref().map(Feet::new);
    let mut left_out = Vec::new();
    let mut notes = Vec::with_capacity(strokes.len());
    for (index, (start, end, chord, span, first)) in strokes.into_iter().enumerate() {
        let left = left_hand(&over_the_bass(chord, texture, start), &supplies, start);
        // A figure begins with one note of the bass, the nearer one where it goes on through the chord.
        let at_rest = texture.rests_from().is_some_and(|last| start >= last);
        let broken = restrike == Restrike::Broken && !at_rest;
        let short = broken && is_short(&clock, form, start, end);
        let of_left = match (broken, short) {
            // Between the beats the right hand answers the bass.
            _ if restrike == Restrike::OffBeat && !at_rest => &[],
            (false, _) => &left[..],
            (true, false) => &left[left.len().max(1) - 1..],
            (true, true) => &left[..left.len().min(1)],
        };
        let mut pitches: Pitches = of_left.iter().copied().collect();
        pitches.extend(stages[index][way[index]].state.iter().copied());
        pitches.sort_unstable();
        pitches.dedup();
        let figure = |count: usize| {
            let whole = || vec![(start, end, (0..count).collect())];
            if broken { of_figure(&clock, form, start, end, count) } else { whole() }
        };
        if let Some(feet) = &mut feet {
            let order = |count| {
                figure(count).into_iter().flat_map(|(at, _, notes)| {
                    let at = clock.seconds_at(at);
                    notes.into_iter().map(move |note| (at, note))
                })
            };
            let gone = super::feet::settle(feet, &mut pitches, order);
            left_out.extend(gone.into_iter().map(|pitch| (start, pitch)));
        }
        for (at, until, strings) in figure(pitches.len()) {
            let struck: Pitches = strings.into_iter().map(|string| pitches[string]).collect();
            let Some(&lowest) = struck.first() else { continue };
            let mut note = request.note(at, until, Some(lowest), span);
            note.sound = Sound::Pitches(struck);
            if rolled && first && !broken {
                note.attached.marks.insert(Mark::Arpeggio);
            }
            notes.push(note);
        }
    }
    told::left_out(request, player, &left_out, diagnostics);
    notes
}

/// From so many notes on a figure tells the chord.
const TELLS: usize = 3;

/// Has a figure too few notes to tell the chord?
fn is_short(clock: &Clock, form: &crate::resolve::Form, from: Time, to: Time) -> bool {
    super::figures::broken(clock, form, from, to, TELLS).len() < TELLS
}

/// What is struck one after the other where a chord of so many notes is broken: from when to when, and
/// which of its notes. A figure of one or two notes is the bass and then the chord above it (common
/// practice).
fn of_figure(
    clock: &Clock,
    form: &crate::resolve::Form,
    from: Time,
    to: Time,
    notes: usize,
) -> Vec<(Time, Time, SmallVec<[usize; 4]>)> {
    let figure = super::figures::broken(clock, form, from, to, notes);
    if figure.len() >= TELLS || notes <= figure.len() {
        let one = |(start, end, note)| (start, end, SmallVec::from_iter([note]));
        return figure.into_iter().map(one).collect();
    }
    match *figure.as_slice() {
        [(start, border, _), (_, end, _)] => {
            vec![(start, border, SmallVec::from_iter([0])), (border, end, (1..notes).collect())]
        }
        _ => vec![(from, to, (0..notes).collect())],
    }
}

/// When a chord is struck.
fn struck(
    form: &crate::resolve::Form,
    from: Time,
    to: Time,
    restrike: Restrike,
) -> Vec<(Time, Time)> {
    match restrike {
        // A plucked string is not bowed: what is held or trembles is struck once.
        Restrike::Never | Restrike::EachChord | Restrike::Tremolo | Restrike::Broken => {
            vec![(from, to)]
        }
        Restrike::Each(value) => beats_from(form, from, to)
            .into_iter()
            .flat_map(|(at, beat)| super::figures::repeated(at, at + beat, value))
            .collect(),
        Restrike::EachBeat => {
            let all = beats_from(form, from, to).into_iter();
            all.map(|(at, beat)| (at, at + beat)).collect()
        }
        Restrike::OffBeat => off_beats(form, from, to),
    }
}

/// The chord in close position, by each of its notes as the highest.
fn right_hand(
    chord: &Chord,
    ceiling: i32,
    supplies: &Supplies,
    at: Time,
) -> Vec<Choice<SmallVec<[Pitch; 4]>>> {
    let supply = supplies.at(at);
    let mut members = chord.members();
    members.truncate(4);
    let mut has: Vec<Pitch> = supply.of_chord(chord);
    has.retain(|pitch| members.iter().any(|member| member.class() == pitch.name().class()));
    let mut choices: Vec<Choice<SmallVec<[Pitch; 4]>>> = Vec::new();
    for (index, _) in has.iter().enumerate() {
        let below: SmallVec<[Pitch; 4]> =
            has[..=index].iter().rev().take(members.len()).rev().copied().collect();
        let (Some(low), Some(high)) = (below.first(), below.last()) else { continue };
        let whole = below.len() == members.len();
        if low.midi() < LOWEST || high.midi() - low.midi() > SPAN || !whole {
            continue;
        }
        let above = (high.midi() - ceiling).max(0).unsigned_abs();
        let cost = 2 * (high.midi() - TOP).unsigned_abs() + 10 * above;
        choices.push(Choice { state: below, cost });
    }
    if choices.is_empty() {
        choices.push(Choice { state: SmallVec::new(), cost: 0 });
    }
    choices
}

/// A chord as it stands over the bass that sounds with it, if that is one of its notes: where the bass
/// goes on within the chord, the left hand goes with it. (Common practice.)
fn over_the_bass(chord: Chord, texture: &Texture, at: Time) -> Chord {
    let low = texture.outer(at).filter(|_| texture.has_bass(at)).map(|outer| outer.low);
    let class = low.map(|low| low.name().class());
    let bass = chord.members().into_iter().find(|member| Some(member.class()) == class);
    Chord { bass: bass.or(chord.bass), ..chord }
}

/// The bass, and its octave where both lie below the right hand.
fn left_hand(chord: &Chord, supplies: &Supplies, at: Time) -> SmallVec<[Pitch; 2]> {
    let supply = supplies.at(at);
    let bass = chord.bass_note();
    let all = (0..9i8).map(|octave| bass.at(octave)).filter(|pitch| supply.has(*pitch));
    let Some(low) = all.min_by_key(|pitch| (pitch.midi() - BOTTOM).abs()) else {
        return SmallVec::new();
    };
    let octave = low.octaves_up(1);
    let mut hand: SmallVec<[Pitch; 2]> = SmallVec::new();
    hand.push(low);
    if octave.midi() < LOWEST && supply.has(octave) {
        hand.push(octave);
    }
    hand
}

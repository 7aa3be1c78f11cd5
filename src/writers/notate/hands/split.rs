//! Which hand plays what.
//!
//! A chord is divided where its widest gap leaves each hand no more than a tenth and no more than
//! half of the notes that the player can sound at once, and the right hand the fewest ledger lines under its
//! staff from the third on; of gaps alike in that, nearest to middle C; where no gap does, at middle C. In a
//! part in which most chords leave the bass alone to the left hand,
//! as a thorough bass is played, they all do where the right hand grips the rest with ease. So do chords that are
//! the bass of the scoring with what is played to it, and single notes of such a bass are the left hand's as
//! far as its staff reaches. What one hand can grip may stay in one hand: a chord within an
//! octave easily, one within a tenth at a pinch, and of course a single note.
//!
//! Notes and chords that one hand could grip with ease, and that follow each other without a rest
//! and without a leap of an octave or more, make a run. A run stays in its hand; a tuplet does so even over rests
//! and leaps. A slur decides nothing: it says how notes are played, and not by which hand.
//! Only where a run goes far beyond its staff does it pass to the other hand, at a beat. Broken
//! chords that are wider than a hand are divided [beat after beat alike](super::figures).
//!
//! Among all ways to divide a part by these rules the cheapest is taken. Each ledger line in the
//! usual clef of a staff costs a point, from the third on two; the other costs stand below. Of ways
//! alike the one that changes hands least, so that equal bars are divided alike, and at the
//! beginning the right hand. (Octave and tenth: common practice. All
//! costs: our heuristic.)

use std::cmp::Reverse;

use smallvec::SmallVec;

use crate::arrange::{PackedNote, Part};
use crate::instruments::Clef;
use crate::music::{Pitch, Time};
use crate::resolve::{Role, Tuplet};

use super::super::{FrameBar, clefs, tuplets};
use super::figures::figures;

/// Semitones that a hand grips with ease, and at a pinch.
pub(super) const OCTAVE: i32 = 12;
const TENTH: i32 = 16;
/// The MIDI key of middle C.
const MIDDLE_C: i32 = 60;

/// Ledger lines that are read with ease; those beyond cost twice as much.
const FAR: u32 = 2;
/// A chord between an octave and a tenth in one hand.
pub(super) const STRETCH: u32 = 4;
/// A chord in two hands that one could grip.
const NEEDLESS: u32 = 2;
/// A note of the bass in the right hand, in a part that has chords to it.
const BASS: u32 = 6;
/// A chord in one hand after one in two, or the other way round.
const REGROUPED: u32 = 1;
/// From one hand to the other after a rest or over an octave; over a wider leap the hand must move anyhow.
pub(super) const AFRESH: u32 = 1;
/// From one hand to the other in the middle of a run, at a beat.
const PASSED: u32 = 5;

/// A hand, and the staff on which it reads.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Hand {
    /// The right hand, as a rule.
    Upper,
    /// The left hand, as a rule.
    Lower,
}

/// How a note or chord lies in the hands.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Grip {
    /// How many pitches the lower hand has, from the lowest up.
    pub(super) below: usize,
    /// How many there are.
    count: usize,
    /// Is it more than one hand grips with ease?
    wide: bool,
    /// The hand that goes on with the line, and has the grace notes.
    pub(super) leads: Hand,
}

impl Grip {
    pub(super) fn has(self, hand: Hand) -> bool {
        // A stroke without pitch lies in the upper hand.
        match hand {
            Hand::Upper => self.below < self.count.max(1),
            Hand::Lower => self.below > 0,
        }
    }

    pub(super) fn is_shared(self) -> bool {
        self.has(Hand::Upper) && self.has(Hand::Lower)
    }
}

/// The grips of one note, with what they cost: upper hand, lower hand, both with either leading.
type Choices = [Option<(Grip, u32)>; 4];

/// The cheapest way to each choice of a note: its costs and its changes of hand, and the choice
/// before it.
type Ways = [Option<((u32, u32), usize)>; 4];

/// How each note of a part lies in the hands.
pub(super) fn split(part: &Part, frame: &[FrameBar]) -> Vec<Grip> {
    let notes = &part.notes;
    let over_bass = OverBass {
        mostly: is_over_bass(part),
        chords: notes
            .iter()
            .any(|note| note.role() == Role::Bass && note.sound().pitches().len() > 2),
    };
    let bound = bound(part);
    let figures = figures(part, &bound, frame);
    let choices: Vec<Choices> = notes
        .iter()
        .zip(&figures)
        .map(|(note, &hand)| of_figure(choices(part, note, over_bass), hand))
        .collect();
    let mut ways: Vec<Ways> = Vec::with_capacity(notes.len());
    for (index, own) in choices.iter().enumerate() {
        let mut way = [None; 4];
        for (choice, &option) in own.iter().enumerate() {
            let Some((grip, cost)) = option else { continue };
            let Some(before) = index.checked_sub(1) else {
                way[choice] = Some(((cost, 0), 0));
                continue;
            };
            // The same choice first: of ways alike the one that keeps the hand.
            for earlier in [choice, choice ^ 2, choice ^ 1, choice ^ 3] {
                let (Some((from, _)), Some(((sum, changes), _))) =
                    (choices[before][earlier], ways[before][earlier])
                else {
                    continue;
                };
                let pair = (&notes[before], &notes[index]);
                let within = figures[before].is_some() && figures[index].is_some();
                let step = step(pair, (from, grip), bound[index], frame);
                let Some(step) = (if within { Some(0) } else { step }) else { continue };
                let changes = changes + u32::from(from.leads != grip.leads);
                let total = (sum.saturating_add(step).saturating_add(cost), changes);
                if way[choice].is_none_or(|(best, _)| total < best) {
                    way[choice] = Some((total, earlier));
                }
            }
        }
        ways.push(way);
    }
    let mut grips = Vec::with_capacity(notes.len());
    let last = ways.last().and_then(|way| {
        let open = (0..4).filter_map(|choice| way[choice].map(|(cost, _)| (cost, choice)));
        open.min().map(|(_, choice)| choice)
    });
    let mut choice = last.unwrap_or(0);
    for (own, way) in choices.iter().zip(&ways).rev() {
        let chosen = own[choice].or_else(|| own.iter().copied().flatten().next());
        grips.extend(chosen.map(|(grip, _)| grip));
        choice = way[choice].map_or(0, |(_, earlier)| earlier);
    }
    grips.reverse();
    grips
}

/// Of four chords so many leave the bass alone in a part that is played like a thorough bass (our
/// heuristic).
const MOSTLY: usize = 3;
/// So many semitones below the others it stands by itself.
const FIFTH: i32 = 7;

/// Is a part played like a thorough bass?
#[derive(Clone, Copy)]
struct OverBass {
    /// Do most of its chords leave the bass alone to the left hand?
    mostly: bool,
    /// Has it chords that are the bass of the scoring, with what is played to it?
    chords: bool,
}

/// Do most chords of a player of two staves leave the bass alone to the left hand?
fn is_over_bass(part: &Part) -> bool {
    let fingers = |note: &PackedNote| {
        let instrument = part.instrument_at(note.start());
        (instrument.staves > 1).then_some(usize::from(instrument.voices / 2).max(1))
    };
    let apart = |note: &PackedNote| {
        let pitches = note.sound().pitches();
        let cut = cut(pitches, fingers(note)?, |upper| far_below(part, note, upper));
        Some(cut == 1 && pitches[1].midi() - pitches[0].midi() >= FIFTH)
    };
    let chords = part.notes.iter().filter(|note| note.sound().pitches().len() > 2);
    let (alone, all) = chords
        .filter_map(apart)
        .fold((0, 0), |(alone, all), apart| (alone + usize::from(apart), all + 1));
    all > 0 && alone * 4 >= all * MOSTLY
}

/// Those of the choices of a note that leave it in the hand in which a figure has it.
fn of_figure(mut choices: Choices, hand: Option<Hand>) -> Choices {
    if let Some(hand) = hand {
        let holds = |grip: Grip| grip.leads == hand && !grip.is_shared();
        choices.iter_mut().for_each(|choice| *choice = choice.filter(|&(grip, _)| holds(grip)));
    }
    choices
}

fn choices(part: &Part, note: &PackedNote, over_bass: OverBass) -> Choices {
    let pitches = note.sound().pitches();
    let count = pitches.len();
    let instrument = part.instrument_at(note.start());
    if instrument.staves < 2 {
        let upper = Grip { below: 0, count, wide: false, leads: Hand::Upper };
        return [Some((upper, 0)), None, None, None];
    }
    let lines = |pitches: &[Pitch], hand| lines(part, note, pitches, hand);
    let graces = |hand| -> u32 {
        let graces = note.attached().graces.into_iter().flat_map(|graces| &graces.notes);
        graces.map(|(_, pitches)| lines(pitches, hand)).sum()
    };
    let fingers = usize::from(instrument.voices / 2).max(1);
    let reach = span(pitches);
    let wide = count > fingers || reach > OCTAVE;
    let grip = |below, leads| Grip { below, count, wide, leads };
    let mut choices: Choices = [None; 4];
    if count <= fingers && reach <= TENTH {
        let stretch = if wide { STRETCH } else { 0 };
        let bass = over_bass.chords && note.role() == Role::Bass;
        let role = |hand| match count {
            0 | 1 if bass && hand == Hand::Upper => BASS,
            3.. if bass => NEEDLESS,
            _ => 0,
        };
        let alone = |hand| stretch + role(hand) + lines(pitches, hand) + graces(hand);
        choices[0] = Some((grip(0, Hand::Upper), alone(Hand::Upper)));
        // A stroke without pitch has nothing for the lower hand.
        if count > 0 {
            choices[1] = Some((grip(count, Hand::Lower), alone(Hand::Lower)));
        }
    }
    if count > 1 {
        let right = &pitches[1..];
        let realised = over_bass.chords && note.role() == Role::Bass && count > 2;
        let bass =
            (over_bass.mostly || realised) && right.len() <= fingers && span(right) <= OCTAVE;
        let far = |upper: &[Pitch]| far_below(part, note, upper);
        let below = if bass { 1 } else { cut(pitches, fingers, far) };
        let needless = if wide || bass { 0 } else { NEEDLESS };
        let both = needless
            + lines(&pitches[..below], Hand::Lower)
            + lines(&pitches[below..], Hand::Upper);
        choices[2] = Some((grip(below, Hand::Upper), both + graces(Hand::Upper)));
        choices[3] = Some((grip(below, Hand::Lower), both + graces(Hand::Lower)));
    }
    choices
}

/// What the ledger lines of a note's pitches cost on the staff of that hand.
pub(super) fn lines(part: &Part, note: &PackedNote, pitches: &[Pitch], hand: Hand) -> u32 {
    ledger_lines(part, note, pitches, hand).map(|lines| lines + lines.saturating_sub(FAR)).sum()
}

/// How many ledger lines under the upper staff pitches need beyond those that are read with ease.
fn far_below(part: &Part, note: &PackedNote, pitches: &[Pitch]) -> u32 {
    let low = pitches.partition_point(|pitch| pitch.midi() < MIDDLE_C);
    let lines = ledger_lines(part, note, &pitches[..low], Hand::Upper);
    lines.map(|lines| lines.saturating_sub(FAR)).sum()
}

fn ledger_lines(
    part: &Part,
    note: &PackedNote,
    pitches: &[Pitch],
    hand: Hand,
) -> impl Iterator<Item = u32> {
    let instrument = part.instrument_at(note.start());
    let clef = match hand {
        Hand::Upper => instrument.clefs.first().map_or(Clef::Treble, |own| own.clef),
        Hand::Lower => instrument.clefs.get(1).map_or(Clef::Bass, |own| own.clef),
    };
    let written = pitches.iter().map(move |&pitch| part.written(pitch, note.start()));
    written.map(move |pitch| clefs::ledger_lines(pitch, clef))
}

pub(super) fn span(pitches: &[Pitch]) -> i32 {
    match pitches {
        [first, .., last] => last.midi() - first.midi(),
        _ => 0,
    }
}

/// How many notes of a chord the lower hand takes: at least one, and not all. `far` says how many ledger
/// lines under its staff the upper hand would need beyond those that are read with ease.
fn cut(pitches: &[Pitch], fingers: usize, far: impl Fn(&[Pitch]) -> u32) -> usize {
    let widest = |cuts: &mut dyn Iterator<Item = usize>| {
        cuts.max_by_key(|&cut| {
            let (low, high) = (pitches[cut - 1].midi(), pitches[cut].midi());
            (high - low, Reverse((high + low - 2 * MIDDLE_C).abs()), Reverse(cut))
        })
    };
    let fits = |hand: &[Pitch]| hand.len() <= fingers && span(hand) <= TENTH;
    let fitting = (1..pitches.len()).filter_map(|cut| {
        let (lower, upper) = pitches.split_at(cut);
        (fits(lower) && fits(upper)).then(|| (cut, far(upper)))
    });
    let fitting: SmallVec<[(usize, u32); 8]> = fitting.collect();
    let least = fitting.iter().map(|(_, off)| *off).min();
    let mut nearest = fitting.iter().filter(|(_, off)| Some(*off) == least).map(|(cut, _)| *cut);
    let at_middle = pitches.partition_point(|pitch| pitch.midi() < MIDDLE_C);
    let at_middle = (1..pitches.len()).contains(&at_middle).then_some(at_middle);
    widest(&mut nearest).or(at_middle).or_else(|| widest(&mut (1..pitches.len()))).unwrap_or(1)
}

/// For each note, whether it must be led by the same hand as the one before it: within a tuplet.
fn bound(part: &Part) -> Vec<bool> {
    let notes = &part.notes;
    let mut bound = vec![false; notes.len()];
    let tuplets = tuplets::needed(&part.tuplets, notes);
    let mut tuplets = tuplets.iter().peekable();
    let end = |tuplet: &Tuplet| tuplet.start + tuplet.length;
    for index in 1..notes.len() {
        while tuplets.next_if(|tuplet| end(tuplet) <= notes[index].start()).is_some() {}
        let shared = tuplets.peek().is_some_and(|tuplet| tuplet.start < notes[index - 1].end());
        bound[index] |= shared;
    }
    bound
}

/// What it costs to go from one grip to the next; `None` where the hand must not change.
fn step(
    (before, note): (&PackedNote, &PackedNote),
    (from, to): (Grip, Grip),
    bound: bool,
    frame: &[FrameBar],
) -> Option<u32> {
    if from.leads == to.leads {
        let chords = from.count > 1 && to.count > 1;
        return Some(if chords && from.is_shared() != to.is_shared() { REGROUPED } else { 0 });
    }
    if bound {
        return None;
    }
    // A chord for two hands is the end of a run and the beginning of another.
    let parts = |grip: Grip| grip.wide && grip.is_shared();
    if parts(from) || parts(to) {
        return Some(0);
    }
    let leap = leap(before.sound().pitches(), note.sound().pitches());
    if leap > OCTAVE {
        return Some(0);
    }
    if leap == OCTAVE || before.end() < note.start() {
        return Some(AFRESH);
    }
    is_beat(note.start(), frame).then_some(PASSED)
}

/// How many semitones lie between the nearest notes of two grips; 0 or less where they overlap.
fn leap(before: &[Pitch], after: &[Pitch]) -> i32 {
    let ends = |pitches: &[Pitch]| Some((pitches.first()?.midi(), pitches.last()?.midi()));
    let (Some(before), Some(after)) = (ends(before), ends(after)) else { return 0 };
    (after.0 - before.1).max(before.0 - after.1)
}

fn is_beat(time: Time, frame: &[FrameBar]) -> bool {
    let index = frame.partition_point(|bar| bar.start <= time);
    index.checked_sub(1).is_some_and(|index| {
        let bar = &frame[index];
        (time - bar.start + bar.missing()) % bar.metre.beat() == Time::ZERO
    })
}

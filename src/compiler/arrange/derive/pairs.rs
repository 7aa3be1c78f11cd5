//! Notes for one player, a pair or three of a kind at given moments: signals and highlights.
//!
//! Sources: horn fifths and the two players' ranges, Prout, The Orchestra, vol. 1, 1898, ch. IX
//! (from memory); trumpets and drums on tonic and dominant, common practice. The weights are our
//! heuristic.

mod thirds;

use std::rc::Rc;

use smallvec::SmallVec;

use super::search::{Choice, cheapest_on_the_way};
use super::supply::{Supplies, Supply};
use super::sustain::{KnownWants, Wants};
use super::texture::{Texture, beats};
use super::{Request, chord_at};
use crate::instruments::Loudness;
use crate::music::{Chord, Interval, Pitch, Time};
use crate::narrow::Narrow;
use crate::resolve::{HarmonyEvent, Role};

/// A moment at which the players are wanted.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Point {
    pub(super) at: Time,
    /// Which way the tune that is followed has come: -1 down, 0 none, 1 up; `None` where nothing
    /// is followed (a bass is not: its leaps are not those of a call).
    pub(super) contour: Option<i32>,
    /// Does it belong together with the point before?
    pub(super) joined: bool,
    /// Is it the last chord of the piece?
    pub(super) ends: bool,
    /// Until when what is struck is wanted, through all chords, if that matters.
    pub(super) through: Option<Time>,
}

/// Heights of the first and the second player's note; [`REST`] for one who rests.
type Pair = [i16; 2];

const REST: i16 = -1;

/// What each player of a group sounds at a point; `None` beyond its number.
pub(super) type Chosen = [Option<Pitch>; 3];

/// What each of at most three players sounds at each point, from the highest down. `fellows` is what
/// others of their kind have there who play above them, if there are any.
///
/// Three are led as an outer pair with a third note that makes the chord whole.
pub(super) fn choose(
    request: &Request,
    group: &[usize],
    points: &[Point],
    harmony: &[HarmonyEvent],
    texture: &Texture,
    fellows: &[Chosen],
) -> Vec<Chosen> {
    let supplies: SmallVec<[Supplies; 3]> =
        group.iter().map(|&player| Supplies::new(request.parts[player], request.era)).collect();
    let is_drum = !request.instrument(group[0]).drums.is_empty();
    let mut notes: Vec<[Vec<Pitch>; 3]> = Vec::with_capacity(points.len());
    let mut known = KnownWants::default();
    let wants: Vec<Option<Rc<Wants>>> = points
        .iter()
        .map(|point| chord_at(harmony, point.at).map(|event| known.of(&event.chord, event.key)))
        .collect();
    let stages = points.iter().enumerate().map(|(index, point)| {
        let chord = chord_at(harmony, point.at).map(|event| event.chord);
        let own: [Vec<Pitch>; 3] =
            std::array::from_fn(|place| match (chord, supplies.get(place)) {
                (Some(chord), Some(supply)) if request.claims(group[place], point.at) => {
                    let mut notes = supply.at(point.at).of_chord(&chord);
                    keep_what_lasts(&mut notes, point, harmony);
                    suited(request, group, notes, point, &chord, texture)
                }
                _ => Vec::new(),
            });
        let stage = match chord {
            Some(chord) => {
                let fellows = fellows.get(index);
                let heard = (harmony, texture);
                stage(request, group, (&supplies, fellows), &own, point, &chord, heard)
            }
            None => vec![Choice { state: [REST; 2], cost: 0 }],
        };
        notes.push(own);
        stage
    });
    let way = cheapest_on_the_way(stages, |to, a, b| {
        let unresolved = match (&wants[to - 1], &wants[to]) {
            (Some(from), Some(next)) if points[to].joined => (0..2)
                .map(|place| {
                    from.unresolved(a[place], b[place], next, place == 0)
                        + from.leap(a[place], b[place], next)
                })
                .sum(),
            _ => 0,
        };
        // A stroke of the drum is found as easily on one as on another, and follows no tune.
        let way = if is_drum { comes_or_goes(points[to], a, b) } else { step(points[to], a, b) };
        way + unresolved
    });
    let Some(outer) = way else { return Vec::new() };
    let led: Vec<[i16; 3]> = if group.len() < 3 {
        outer.iter().map(|&[first, second]| [first, second, REST]).collect()
    } else {
        thirds::with_a_third(points, &outer, &notes, &wants)
    };
    led.iter()
        .zip(&notes)
        .map(|(heights, notes)| {
            std::array::from_fn(|place| {
                notes[place].iter().copied().find(|p| p.midi() == i32::from(heights[place]))
            })
        })
        .collect()
}

/// Leaves only what all chords have through which a note is wanted, if there is any such note.
fn keep_what_lasts(notes: &mut Vec<Pitch>, point: &Point, harmony: &[HarmonyEvent]) {
    let Some(until) = point.through else { return };
    let first = harmony.partition_point(|event| event.start <= point.at);
    let lasts = |note: &Pitch| {
        let later = harmony[first..].iter().take_while(|event| event.start < until);
        later
            .flat_map(|event| {
                let class = note.name().class();
                std::iter::once(event.chord.members().iter().any(|member| member.class() == class))
            })
            .all(|has| has)
    };
    if notes.iter().any(lasts) {
        notes.retain(lasts);
    }
}

/// The notes of a player that may sound at a point: drums have only the root and the perfect fifth
/// of the chord, and nobody goes below the bass, where he would change the inversion
/// (drums are not heard as a bass; common practice). Trumpets without valves stand in the tonic and
/// are silent in chords of which they have neither root nor fifth (common practice).
fn suited(
    request: &Request,
    group: &[usize],
    mut notes: Vec<Pitch>,
    point: &Point,
    chord: &Chord,
    texture: &Texture,
) -> Vec<Pitch> {
    let instrument = request.parts[group[0]].instrument_at(point.at);
    let is_drum = !instrument.drums.is_empty();
    let above = |note: &Pitch| (note.midi() - chord.root.class()).rem_euclid(12);
    let firm = |note: &Pitch| matches!(above(note), 0 | 7);
    if is_drum {
        notes.retain(firm);
    } else if request.line.role != Some(Role::Bass)
        && let Some(outer) = texture.outer(point.at)
    {
        let above = outer.low.midi();
        notes.retain(|note| note.midi() >= above || (above - note.midi()) % 12 == 0);
    }
    let stands_in_the_tonic = instrument.natural.is_some() && instrument.loudness != Loudness::Horn;
    if stands_in_the_tonic && !notes.iter().any(firm) {
        notes.clear();
    }
    notes
}

/// All that the outer pair of a group can sound at a point.
fn stage(
    request: &Request,
    group: &[usize],
    (supplies, fellows): (&[Supplies], Option<&Chosen>),
    own: &[Vec<Pitch>; 3],
    point: &Point,
    chord: &Chord,
    (harmony, texture): (&[HarmonyEvent], &Texture),
) -> Vec<Choice<Pair>> {
    let key = chord_at(harmony, point.at).map(|event| event.key);
    let leading = key.and_then(|key| super::sustain::leading_class(chord, key));
    let outer = texture.outer(point.at);
    let instrument = request.parts[group[0]].instrument_at(point.at);
    let (natural, is_drum) = (instrument.natural.is_some(), !instrument.drums.is_empty());
    // Another leading note beside that of the tune or of those who hold one.
    let hung = match leading {
        Some(leading) if !is_drum => heard_twice(request, harmony, texture, point.at, leading),
        _ => 0,
    };
    let under = drum_class(request, point, chord, texture);
    let to_written = -request.parts[group[0]].transposition_at(point.at);
    let single = |place: usize| -> SmallVec<[(i16, u32); 16]> {
        // The first alone may call; the second alone leaves a hole above.
        let rest = match (own[place].is_empty(), place) {
            (true, _) => 0,
            (false, 0) => 90,
            (false, _) => 60,
        };
        let supply = supplies.get(place).map(|supply| supply.at(point.at));
        std::iter::once((REST, rest))
            .chain(own[place].iter().map(|&pitch| {
                let sits = supply.filter(|_| !is_drum).map_or(0, |s| sits(s, pitch, place));
                let mut cost = sits + fits(pitch, chord, leading, outer);
                if leading == Some(pitch.name().class()) {
                    cost += hung;
                }
                if is_drum && pitch.name().class() != under {
                    cost += AGAINST_THE_BASS;
                }
                cost += fellows.map_or(0, |fellows| beside(pitch, fellows));
                (pitch.midi().narrow::<i16>(), cost)
            }))
            .collect()
    };
    let (firsts, seconds) = (single(0), single(1));
    let mut choices = Vec::with_capacity(firsts.len() * seconds.len());
    for &(first, first_cost) in &firsts {
        for &(second, second_cost) in &seconds {
            let mut cost = first_cost + second_cost;
            if first != REST && second != REST {
                if second > first {
                    continue;
                }
                let class = i32::from(first.rem_euclid(12));
                if (first - second) % 12 == 0 && leading == Some(class) {
                    continue;
                }
                cost += together(first - second);
                if group.len() > 2 && (first - second) > SIXTH {
                    cost += TOO_WIDE;
                }
                if natural && first != second {
                    cost += horn_fifths(first, second, to_written);
                }
            }
            if point.ends {
                let is_root = |note: i16| i32::from(note.rem_euclid(12)) == chord.root.class();
                let lowest = if second == REST { first } else { second };
                cost += match (is_root(lowest), is_root(first)) {
                    _ if lowest == REST => 0,
                    (true, _) => 0,
                    (false, true) => WITHOUT_ROOT / 2,
                    (false, false) => WITHOUT_ROOT,
                };
            }
            choices.push(Choice { state: [first, second], cost });
        }
    }
    choices
}

/// What it costs more to stand wider than a sixth where a third player wants a place in a close
/// chord. (Our heuristic.)
const TOO_WIDE: u32 = 14;
const SIXTH: i16 = 9;

/// What it costs a drum to sound another note than the bass: more than any other way. A drum sounds
/// as a bass: the root where the chord stands on it, the dominant under a six-four chord. (Common
/// practice.)
const AGAINST_THE_BASS: u32 = 48;

/// The pitch class on which a drum stands at a point: of the bass, if that has the root or the fifth
/// of the chord, or else of the root.
fn drum_class(request: &Request, point: &Point, chord: &Chord, texture: &Texture) -> i32 {
    let root = chord.root.class();
    let firm = |class: &i32| matches!((class - root).rem_euclid(12), 0 | 7);
    let on_a_beat = request.piece.form.weight(point.at) > 0;
    let sounds = on_a_beat && texture.has_bass(point.at);
    let low = texture.outer(point.at).filter(|_| sounds).map(|outer| outer.low.name().class());
    let declared = chord.bass_note().class();
    low.filter(firm).or(Some(declared).filter(firm)).unwrap_or(root)
}

/// What a note costs beside those of a higher pair of the same kind: the octave below or a note of
/// its own is better than the unison, and nobody goes above the first. (Common practice; the weights
/// are our heuristic.)
fn beside(pitch: Pitch, fellows: &Chosen) -> u32 {
    let heights = || fellows.iter().flatten().map(|fellow| fellow.midi());
    let above_all = heights().max().is_some_and(|top| pitch.midi() > top);
    let above_one = heights().min().is_some_and(|low| pitch.midi() > low);
    let unison = if heights().any(|height| height == pitch.midi()) { 14 } else { 0 };
    unison + if above_all { 24 } else { 0 } + if above_one { 10 } else { 0 }
}

/// What it costs a pair to end a piece without the root, or with it in the upper part alone.
const WITHOUT_ROOT: u32 = 24;

/// What it costs to take the leading note that others have already: more than to rest; in a tutti
/// little, from so many players on who accompany. (Our heuristic.)
const LEADING_TWICE: u32 = 100;
const IN_TUTTI: u32 = 15;
const TUTTI: usize = 6;

/// What it costs to take a note of this pitch class, if a voice has it, or somebody whose notes are
/// written or kept.
fn heard_twice(
    request: &Request,
    harmony: &[HarmonyEvent],
    texture: &Texture,
    at: Time,
    class: i32,
) -> u32 {
    let is_class = |pitch: &Pitch| pitch.name().class() == class;
    let around = || {
        request.around.iter().filter_map(|(_, notes)| {
            let note = notes.get(notes.partition_point(|note| note.end() <= at));
            note.filter(|note| note.start() <= at)
        })
    };
    // Where a voice has it while the chord stands, on a beat, it has it for the whole chord.
    let bar = request.piece.form.bar_at(at);
    let (from, to) = chord_at(harmony, at).map_or((at, at + bar.metre.beat()), |event| {
        (event.start.max(bar.start), (event.start + event.length).min(bar.start + bar.length))
    });
    let on_beats = beats(&request.piece.form, from, to).into_iter().map(|(at, _)| at);
    let in_voices = std::iter::once(at)
        .chain(on_beats)
        .any(|at| texture.sounding(at).flat_map(|note| note.sound().pitches()).any(is_class));
    if !in_voices && !around().any(|note| note.sound().pitches().iter().any(is_class)) {
        0
    } else if around().count() + request.parts.len() >= TUTTI {
        IN_TUTTI
    } else {
        LEADING_TWICE
    }
}

/// What a note costs by its place in what the player has: the first lies above the middle, the
/// second about it or below.
fn sits(supply: &Supply, pitch: Pitch, place: usize) -> u32 {
    let best = supply.middle() + if place == 0 { 4 } else { -2 };
    (pitch.midi() - best).unsigned_abs()
}

/// What a note costs by its place in the chord and against the outer voices.
fn fits(
    pitch: Pitch,
    chord: &Chord,
    leading: Option<i32>,
    outer: Option<super::texture::Outer>,
) -> u32 {
    let class = pitch.name().class();
    let member = chord.members().iter().position(|member| member.class() == class);
    let mut cost: u32 = match member {
        Some(0) => 0,
        Some(2) => 2,
        Some(1) => 5,
        _ => 18,
    };
    if leading == Some(class) {
        cost += 10;
    }
    if let Some(outer) = outer {
        let rubs = |voice: Pitch| matches!((voice.midi() - pitch.midi()).rem_euclid(12), 1 | 11);
        cost += if rubs(outer.high) { 20 } else { 0 } + if rubs(outer.low) { 15 } else { 0 };
        if pitch.midi() > outer.high.midi() {
            cost += 6;
        }
        if outer.low.name().class() == class {
            cost = cost.saturating_sub(1);
        }
    }
    cost
}

/// What the interval between the two players costs.
fn together(interval: i16) -> u32 {
    match interval {
        3 | 4 | 8 | 9 => 0,
        7 => 2,
        12 => 4,
        15 | 16 => 6,
        5 => 14,
        0 => 16,
        24 => 20,
        _ => 28,
    }
}

/// The intervals of two natural horns that go together: third, fifth and sixth on E-C, D-G and
/// C-E (written), their fellows above, and the octave on G and C. Others cost a little.
fn horn_fifths(first: i16, second: i16, to_written: Interval) -> u32 {
    let written = |height: i16| i32::from(height) + to_written.semitones;
    match (written(first), written(second)) {
        (76, 72) | (74, 67) | (72, 64) | (79, 76) | (67, 55) | (72, 60) | (67, 64) => 0,
        _ => 5,
    }
}

/// What it costs that a player comes in or falls silent within what belongs together.
fn comes_or_goes(to: Point, a: &Pair, b: &Pair) -> u32 {
    let alone = |place: &usize| {
        to.joined && a[*place] != b[*place] && (a[*place] == REST || b[*place] == REST)
    };
    12 * (0..2usize).filter(alone).count().narrow::<u32>()
}

/// What going from one point to the next costs.
fn step(to: Point, a: &Pair, b: &Pair) -> u32 {
    let mut cost = comes_or_goes(to, a, b);
    for place in 0..2 {
        let (from, to_note) = (a[place], b[place]);
        if from == REST || to_note == REST {
            continue;
        }
        let way = i32::from(to_note - from);
        let size = way.unsigned_abs();
        // Between notes that stand alone a leap is easily found.
        cost += if to.joined { size + 4 * size.saturating_sub(7) } else { size / 4 };
        if let Some(contour) = to.contour.filter(|_| place == 0 && to.joined) {
            cost += match (contour, way.signum()) {
                (voice, own) if voice == own => 0,
                (0, _) => 12,
                (_, 0) => 5,
                _ => 14,
            };
        }
    }
    cost
}

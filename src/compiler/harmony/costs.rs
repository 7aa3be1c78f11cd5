//! What it costs to hear a beat as a chord, and to go from one chord to the next.
//!
//! All figures are our heuristic, set by hand for full textures; those for one voice and two are
//! learned (`thin`). `tests/outside/check_harmony.py` says how far they agree with
//! analyses made by people.

use super::evidence::{Bass, Slot, Texture};
use super::thin::Learned;
use crate::music::{ChordQuality, Key, Mode};
use crate::narrow::Narrow;

/// A chord as the search knows it: a root class and a quality.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Candidate {
    /// Pitch class of the root, 0 to 11.
    pub(super) root: i32,
    pub(super) quality: ChordQuality,
}

/// Number of qualities that the search tries.
pub(super) const QUALITIES: usize = SHAPES.len();
/// Number of chords that the search tries.
pub(super) const CANDIDATES: usize = 12 * QUALITIES;

/// A cost for each of them.
pub(super) type Costs = [f32; CANDIDATES];

/// The chord of an index below [`CANDIDATES`]; those of one root stand together.
pub(super) fn candidate(index: usize) -> Candidate {
    Candidate {
        root: (index / QUALITIES).narrow::<i32>(),
        quality: SHAPES[index % QUALITIES].quality,
    }
}

/// A member of a chord above its root.
pub(super) struct Member {
    pub(super) semitones: i32,
    /// Way along the line of fifths.
    pub(super) fifths: i8,
    /// What it costs if it does not sound.
    missing: f32,
    /// What it costs if it lies in the bass.
    in_bass: f32,
}

pub(super) struct Shape {
    quality: ChordQuality,
    pub(super) members: &'static [Member],
    /// What the quality costs on each semitone above the tonic of a major key …
    major: [f32; 12],
    /// … and of a minor key.
    minor: [f32; 12],
}

const fn member(semitones: i32, fifths: i8, missing: f32, in_bass: f32) -> Member {
    Member { semitones, fifths, missing, in_bass }
}

const ROOT: Member = member(0, 0, 0.5, 0.0);
const MAJOR_THIRD: Member = member(4, 4, 0.35, 0.15);
const MINOR_THIRD: Member = member(3, -3, 0.35, 0.15);
const FIFTH: Member = member(7, 1, 0.1, 0.45);
const DIMINISHED_FIFTH: Member = member(6, -6, 0.5, 0.3);
const AUGMENTED_FIFTH: Member = member(8, 8, 0.6, 0.4);
const MINOR_SEVENTH: Member = member(10, -2, 0.6, 0.3);
const MAJOR_SEVENTH: Member = member(11, 5, 0.6, 0.4);
const DIMINISHED_SEVENTH: Member = member(9, -9, 0.6, 0.3);

pub(super) static SHAPES: [Shape; 9] = [
    Shape {
        quality: ChordQuality::Major,
        members: &[ROOT, MAJOR_THIRD, FIFTH],
        major: [0.0, 1.1, 0.5, 0.9, 0.55, 0.05, 1.2, 0.0, 0.8, 0.55, 0.5, 0.8],
        minor: [0.5, 0.8, 0.6, 0.1, 1.1, 0.45, 1.2, 0.0, 0.1, 1.1, 0.2, 1.1],
    },
    Shape {
        quality: ChordQuality::Minor,
        members: &[ROOT, MINOR_THIRD, FIFTH],
        major: [0.7, 1.2, 0.1, 1.2, 0.3, 0.6, 1.2, 0.6, 1.2, 0.1, 1.1, 0.7],
        minor: [0.0, 1.2, 0.6, 1.1, 1.1, 0.05, 1.2, 0.3, 1.1, 1.1, 0.8, 1.2],
    },
    Shape {
        quality: ChordQuality::Diminished,
        members: &[ROOT, MINOR_THIRD, DIMINISHED_FIFTH],
        major: [1.2, 0.6, 0.7, 0.8, 0.8, 1.2, 0.6, 1.2, 0.6, 1.0, 1.2, 0.2],
        minor: [1.2, 1.2, 0.2, 1.2, 0.6, 1.2, 0.6, 0.7, 1.2, 0.6, 1.2, 0.2],
    },
    Shape {
        quality: ChordQuality::Augmented,
        members: &[ROOT, MAJOR_THIRD, AUGMENTED_FIFTH],
        major: [0.8, 1.2, 1.2, 1.2, 1.2, 1.0, 1.2, 0.8, 1.2, 1.2, 1.2, 1.2],
        minor: [1.0, 1.2, 1.2, 0.6, 1.2, 1.2, 1.2, 1.0, 1.2, 1.2, 1.2, 1.2],
    },
    Shape {
        quality: ChordQuality::DominantSeventh,
        members: &[ROOT, MAJOR_THIRD, FIFTH, MINOR_SEVENTH],
        major: [0.5, 1.2, 0.45, 1.2, 0.5, 0.8, 1.2, 0.05, 1.2, 0.5, 0.9, 0.7],
        minor: [0.5, 1.2, 0.5, 0.5, 1.2, 0.7, 1.2, 0.05, 1.0, 1.2, 0.3, 1.2],
    },
    Shape {
        quality: ChordQuality::MinorSeventh,
        members: &[ROOT, MINOR_THIRD, FIFTH, MINOR_SEVENTH],
        major: [1.2, 1.2, 0.15, 1.2, 0.45, 0.9, 1.2, 0.7, 1.2, 0.3, 1.2, 0.8],
        minor: [0.4, 1.2, 0.8, 1.2, 1.2, 0.3, 1.2, 0.6, 1.2, 1.2, 1.0, 1.2],
    },
    Shape {
        quality: ChordQuality::MajorSeventh,
        members: &[ROOT, MAJOR_THIRD, FIFTH, MAJOR_SEVENTH],
        major: [0.35, 1.2, 1.2, 1.2, 1.2, 0.3, 1.2, 1.0, 1.2, 1.2, 1.0, 1.2],
        minor: [1.2, 1.0, 1.2, 0.4, 1.2, 1.2, 1.2, 1.2, 0.3, 1.2, 0.9, 1.2],
    },
    Shape {
        quality: ChordQuality::HalfDiminishedSeventh,
        members: &[ROOT, MINOR_THIRD, DIMINISHED_FIFTH, MINOR_SEVENTH],
        major: [1.2, 1.0, 0.8, 1.2, 0.9, 1.2, 0.5, 1.2, 0.9, 1.0, 1.2, 0.25],
        minor: [1.2, 1.2, 0.15, 1.2, 0.9, 1.2, 0.9, 0.9, 1.2, 0.6, 1.2, 0.8],
    },
    Shape {
        quality: ChordQuality::DiminishedSeventh,
        members: &[ROOT, MINOR_THIRD, DIMINISHED_FIFTH, DIMINISHED_SEVENTH],
        major: [1.0, 0.5, 1.0, 0.6, 0.6, 1.0, 0.5, 1.0, 0.5, 1.0, 1.0, 0.4],
        minor: [1.0, 1.0, 0.9, 1.0, 0.5, 1.0, 0.5, 0.9, 1.0, 0.7, 1.0, 0.2],
    },
];

/// Weight of what the key expects.
const KEY: f32 = 0.6;
/// A note in the bass that the chord does not hold.
const FOREIGN_BASS: f32 = 0.6;
/// Share of the bass costs where one voice sounds alone.
const LONE_BASS: f32 = 0.3;
/// A member foreign to the key that none of at most [`THIN`] voices sounds: who would think of it?
const UNHEARD: f32 = 0.3;
/// Two voices leave it to the key what else belongs to the chord; more of them spell the chord.
const THIN: f32 = 2.0;
/// A diminished triad over its own root, of at most [`THIN`] voices: the leading note in the bass is
/// the third of a dominant far more often. (That the triad stands in its first inversion: E. Prout,
/// Harmony, 1889, the chapter on the diatonic triads, from memory; the figure is our heuristic.)
const DIMINISHED_ON_ROOT: f32 = 0.6;
/// What speaks for the root from which a bass of two voices falls by steps: what it passes is the
/// seventh of that root. (A dominant keeps its harmony over the fourth of the scale that falls to the
/// third, in the rule of the octave: F. Campion, Traité d'accompagnement, 1716, from memory; the
/// figure is our heuristic.)
const PASSING_SEVENTH: f32 = 0.5;
/// A member that the voices spell otherwise (G# for Ab).
const MISSPELLED: f32 = 0.2;

/// What it costs to hear a slot as each of the candidates; `ends` with the piece.
pub(super) fn of_slot(slot: &Slot, ends: bool) -> Costs {
    let mut costs = of_full(slot);
    if let Some((learned, share)) = Learned::of(slot) {
        // Learned figures say the root; which chord stands on it is said by hand, since chorales have
        // few sevenths.
        let roots = learned.slot(slot, ends);
        for (by_hand, learned) in costs.chunks_mut(QUALITIES).zip(roots.chunks(QUALITIES)) {
            let least = |costs: &[f32]| costs.iter().copied().fold(f32::INFINITY, f32::min);
            let more = share * (least(learned) - least(by_hand));
            by_hand.iter_mut().for_each(|cost| *cost += more);
        }
    }
    if slot.texture == Texture::Two
        && let Some(root) = slot.bass.as_ref().and_then(Bass::passes_from)
    {
        for (place, shape) in SHAPES.iter().enumerate() {
            if shape.members.iter().any(|member| member.semitones == MINOR_SEVENTH.semitones) {
                costs[root as usize * QUALITIES + place] -= PASSING_SEVENTH;
            }
        }
    }
    costs
}

/// The same by the figures that are set by hand.
fn of_full(slot: &Slot) -> Costs {
    let mut costs = [0.0; CANDIDATES];
    let all_foreign: f32 = slot.foreign.iter().sum();
    let silent = slot.bass.is_none();
    let tonic = slot.key.tonic.class();
    let thin = slot.sounding.iter().sum::<f32>() <= THIN;
    let unheard = scale(slot.key).map(|in_key| if thin && !in_key { UNHEARD } else { 0.0 });
    for root in 0..12 {
        let root_fifths = slot.names[root as usize]
            .unwrap_or_else(|| slot.key.spelling(root).fifths().narrow::<i8>());
        let degree = (root - tonic).rem_euclid(12) as usize;
        for (place, shape) in SHAPES.iter().enumerate() {
            let expected = match slot.key.mode {
                Mode::Major => shape.major[degree],
                Mode::Minor => shape.minor[degree],
            };
            let mut cost = KEY * expected;
            if thin && shape.quality == ChordQuality::Diminished && on_root(slot, root) {
                cost += DIMINISHED_ON_ROOT;
            }
            if !silent {
                cost += fit(slot, shape, root, root_fifths, all_foreign, &unheard);
            }
            costs[root as usize * QUALITIES + place] = cost;
        }
    }
    costs
}

/// Does another voice sound above this root?
fn on_root(slot: &Slot, root: i32) -> bool {
    slot.bass.as_ref().is_some_and(|bass| bass.supports && bass.name.class() == root)
}

/// The classes of the scale of a key, with the raised leading note in minor.
pub(super) fn scale(key: Key) -> [bool; 12] {
    let mut scale = [false; 12];
    let names = (1..=7).map(|degree| key.degree(degree)).chain([key.leading_note()]);
    names.for_each(|name| scale[name.class() as usize] = true);
    scale
}

fn fit(
    slot: &Slot,
    shape: &Shape,
    root: i32,
    root_fifths: i8,
    all_foreign: f32,
    unheard: &[f32; 12],
) -> f32 {
    let mut cost = all_foreign;
    let mut in_bass = None;
    for member in shape.members {
        let class = ((root + member.semitones) % 12) as usize;
        cost -= slot.foreign[class];
        cost += (member.missing + unheard[class]) * (1.0 - slot.present[class]);
        if slot.names[class].is_some_and(|name| name != root_fifths + member.fifths) {
            cost += MISSPELLED;
        }
        if slot.bass.as_ref().is_some_and(|bass| bass.name.class() as usize == class) {
            in_bass = Some(member.in_bass);
        }
    }
    if let Some(bass) = &slot.bass {
        let share = if bass.supports { 1.0 } else { LONE_BASS };
        cost += share * in_bass.unwrap_or(FOREIGN_BASS * bass.foreign);
    }
    cost
}

/// What any change of chord costs on a beat of this weight in the metre.
fn of_change(weight: u8) -> f32 {
    [1.2, 0.6, 0.45, 0.3][usize::from(weight.min(3))]
}

/// What it costs to come to a slot.
pub(super) struct Way {
    /// From one root to another.
    pub(super) roots: [[f32; 12]; 12],
    /// To another quality of the same.
    pub(super) same_root: f32,
}

impl Way {
    pub(super) fn to(slot: &Slot) -> Way {
        let change = of_change(slot.weight);
        let mut roots: [[f32; 12]; 12] = std::array::from_fn(|from| {
            std::array::from_fn(|to| change + ROOT_MOTION[(12 + to - from) % 12])
        });
        if let Some((learned, share)) = Learned::of(slot) {
            let mix = |by_hand: f32, learned: f32| (1.0 - share) * by_hand + share * learned;
            let ways = learned.way(slot);
            for (cost, way) in roots.iter_mut().flatten().zip(ways.iter().flatten()) {
                *cost = mix(*cost, *way);
            }
        }
        Way { roots, same_root: SAME_ROOT * change }
    }
}

/// What a new quality on the same root costs, as a share of a change.
const SAME_ROOT: f32 = 0.8;

/// What the way of the root costs besides, by semitones upwards: falling fifths come first.
const ROOT_MOTION: [f32; 12] = [0.0, 0.2, 0.1, 0.2, 0.2, 0.0, 0.4, 0.1, 0.15, 0.1, 0.2, 0.2];

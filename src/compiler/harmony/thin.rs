//! What it costs to hear a beat of one voice or of two as a chord, and to go on to the next.
//!
//! Where so few voices sound, most of the chord is left to what usually follows what: the figures
//! are learned from music that people analysed ([`learned`](super::learned) says which), not set by
//! hand.

use super::costs::{CANDIDATES, Costs, QUALITIES, SHAPES, scale};
use super::evidence::{Slot, Texture};
use super::learned::{FINAL, ONE, TWO};
use crate::music::Mode;
use crate::narrow::Narrow;

/// Figures for one texture, as logarithms of what is likely: the greater, the likelier.
pub(super) struct Learned {
    /// A chord by mode, by semitones above the tonic and by quality.
    pub(super) chord: [[[f32; QUALITIES]; 12]; 2],
    /// A root by mode and degree on the first beat of a bar …
    pub(super) down: [[f32; 12]; 2],
    /// … and where the tune rests.
    pub(super) goal: [[f32; 12]; 2],
    /// Notes outside the chord, by what excuses them.
    pub(super) foreign: [f32; 7],
    /// Members of the chord that nobody sounds, by [kind](kind).
    pub(super) missing: [f32; KINDS],
    /// Members in the bass, and a foreign bass without and with an excuse.
    pub(super) bass: [f32; KINDS],
    pub(super) foreign_bass: [f32; 2],
    /// Members in the tune.
    pub(super) top: [f32; KINDS],
    /// A member that is spelled otherwise.
    pub(super) misspelled: f32,
    /// A member foreign to the key that nobody sounds.
    pub(super) unheard: f32,
    /// A note outside the chord that sounds throughout, without and with an excuse.
    pub(super) foreign_throughout: [f32; 2],
    /// A new root, by weight in the metre.
    pub(super) change: [f32; 4],
    /// A change where no note begins, and a new root over a bass that is held.
    pub(super) still: f32,
    pub(super) over_held_bass: f32,
    /// The way of the root by semitones upwards.
    pub(super) motion: [f32; 12],
    /// From degree to degree, by mode.
    pub(super) degrees: [[[f32; 12]; 12]; 2],
}

/// Kinds of members: root, major and minor third, perfect, diminished and augmented fifth, minor,
/// major and diminished seventh.
pub(super) const KINDS: usize = 9;

/// The kind of a member, by semitones and its way along the line of fifths.
fn kind(semitones: i32, fifths: i8) -> usize {
    match (semitones, fifths) {
        (0, _) => 0,
        (4, _) => 1,
        (3, _) => 2,
        (7, _) => 3,
        (6, _) => 4,
        (8, _) => 5,
        (10, _) => 6,
        (11, _) => 7,
        _ => 8,
    }
}

/// How much of a logarithm is a cost, beside those that are set by hand (our heuristic).
const SCALE: f32 = -0.5;

/// Two voices say much of a chord themselves, so the figures set by hand count too: they know other
/// music than chorales and madrigals (our heuristic).
const OF_TWO: f32 = 0.5;

/// What sounds for this much of a slot sounds throughout.
const THROUGHOUT: f32 = 0.9;

impl Learned {
    /// The figures for a slot, if few voices sound in it, and how much they count beside those that are
    /// set by hand.
    pub(super) fn of(slot: &Slot) -> Option<(&'static Learned, f32)> {
        match slot.texture {
            Texture::One => Some((&ONE, 1.0)),
            Texture::Two => Some((&TWO, OF_TWO)),
            Texture::Silent | Texture::More => None,
        }
    }

    /// What it costs to hear a slot as each of the candidates; `ends` with the piece.
    pub(super) fn slot(&self, slot: &Slot, ends: bool) -> Costs {
        let mut costs = [0.0; CANDIDATES];
        let tonic = slot.key.tonic.class();
        let mode = mode(slot.key.mode);
        let in_key = scale(slot.key);
        let mut excused = [0.0f32; 12];
        let mut excuses = [0.0f32; 12];
        let mut all_excused = 0.0;
        for heard in &slot.heard {
            let class = usize::from(heard.class);
            let cost = self.foreign[heard.excuse as usize] * heard.share;
            excused[class] += cost;
            all_excused += cost;
            if heard.share > excuses[class].abs() {
                let plain = heard.excuse as usize == 0;
                excuses[class] = if plain { heard.share } else { -heard.share };
            }
        }
        let throughout = slot.sounding.map(|share| share >= THROUGHOUT);
        for root in 0..12 {
            let degree = (root - tonic).rem_euclid(12) as usize;
            let root_fifths = slot.names[root as usize]
                .unwrap_or_else(|| slot.key.spelling(root).fifths().narrow::<i8>());
            let mut of_root = if slot.goal { self.goal[mode][degree] } else { 0.0 };
            of_root += if slot.weight == 3 { self.down[mode][degree] } else { 0.0 };
            of_root += if ends { FINAL[mode][degree] } else { 0.0 };
            for (place, shape) in SHAPES.iter().enumerate() {
                let mut likely = of_root + self.chord[mode][degree][place] + all_excused;
                let mut bass = None;
                let mut foreign_full = [0.0f32; 2];
                let mut members = [false; 12];
                for member in shape.members {
                    let class = ((root + member.semitones) % 12) as usize;
                    let kind = kind(member.semitones, member.fifths);
                    members[class] = true;
                    likely -= excused[class];
                    let absent = 1.0 - slot.present[class];
                    likely += self.missing[kind] * absent;
                    likely += if in_key[class] { 0.0 } else { self.unheard * absent };
                    if slot.names[class].is_some_and(|name| name != root_fifths + member.fifths) {
                        likely += self.misspelled;
                    }
                    if slot.top.as_ref().is_some_and(|top| usize::from(top.class) == class) {
                        likely += self.top[kind];
                    }
                    if slot.bass.as_ref().is_some_and(|b| b.name.class() as usize == class) {
                        bass = Some(self.bass[kind]);
                    }
                }
                if let Some(lowest) = slot.bass.as_ref().filter(|bass| bass.supports) {
                    let excused = usize::from(lowest.excuse as usize != 0);
                    likely += bass.unwrap_or(self.foreign_bass[excused]);
                }
                for class in (0..12).filter(|class| throughout[*class] && !members[*class]) {
                    foreign_full[usize::from(excuses[class] < 0.0)] += 1.0;
                }
                let [plain, with_excuse] = self.foreign_throughout;
                likely += plain * foreign_full[0] + with_excuse * foreign_full[1];
                costs[root as usize * QUALITIES + place] = SCALE * likely;
            }
        }
        costs
    }

    /// What it costs to come to a slot from one root to another.
    pub(super) fn way(&self, slot: &Slot) -> [[f32; 12]; 12] {
        let tonic = slot.key.tonic.class();
        let mode = mode(slot.key.mode);
        let held = slot.bass.as_ref().is_some_and(|bass| bass.held);
        let change = self.change[usize::from(slot.weight.min(3))]
            + if slot.struck { 0.0 } else { self.still }
            + if held { self.over_held_bass } else { 0.0 };
        let degree = |root: usize| (root + 12 - tonic as usize) % 12;
        std::array::from_fn(|from| {
            std::array::from_fn(|to| {
                let motion = self.motion[(12 + to - from) % 12];
                SCALE * (change + motion + self.degrees[mode][degree(from)][degree(to)])
            })
        })
    }
}

fn mode(mode: Mode) -> usize {
    match mode {
        Mode::Major => 0,
        Mode::Minor => 1,
    }
}

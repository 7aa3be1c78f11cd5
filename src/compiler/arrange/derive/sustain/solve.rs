//! The cheapest way through the voicings of a passage.

use std::rc::Rc;

use super::choirs::{self, Choirs};
use super::cost::{self, MOST, REST, Row, Wants};
use super::voicings::{Known, Voicings};
use super::{Slot, Supplies};
use crate::arrange::derive::Request;
use crate::arrange::derive::search::{Choice, cheapest_within};
use crate::arrange::derive::texture::{Outer, Texture, beats, weight};
use crate::music::{Chord, Pitch, Time};
use crate::resolve::Form;

/// How many voicings of each slot are looked at first.
const BEAM: usize = 16;

/// Up to so many slots without a break the way found is the cheapest of all, not of the beam only.
const SHORT: usize = 16;

/// What it costs to hold the leading note that a source voice or another choir holds too, or
/// sounds on a strong beat, or the seventh of another choir: more than a player who rests, and
/// what he leaves open.
const DOUBLES_TENDER: u32 = 300;

/// What it costs a player to move in parallels with one of another choir: less than a rest, since
/// choirs may double each other in octaves.
const FOLLOWS_CHOIR: u32 = 30;

/// What parallels with an outer voice cost that come about from a passing note off the beat.
const FROM_PASSING: u32 = 40;

/// Heights that MIDI key numbers name.
const HEIGHTS: usize = 128;

/// A slot with what the source voices do meanwhile.
pub(super) struct Stage {
    /// Does it follow on the slot before without a gap?
    pub(super) joined: bool,
    /// Outer notes where it begins.
    outer: Option<(i16, i16)>,
    /// Outer notes just before, each with whether it bears on the ear: a note of the chord that
    /// holds, or one that was struck on a beat.
    before: Option<[(i16, bool); 2]>,
    /// How players of other choirs move to this slot.
    choirs: Vec<(i16, i16)>,
    voicings: Rc<Voicings>,
    /// For each height, what it costs against the source voices.
    against: [u16; HEIGHTS],
}

/// What each leader holds at a slot.
pub(super) type Chosen = [Option<Pitch>; MOST];

/// What each leader holds at each of the stages.
pub(super) fn solve(stages: &[Stage]) -> Vec<Chosen> {
    let mut chosen = Vec::with_capacity(stages.len());
    let mut first = 0;
    while first < stages.len() {
        let mut after = first + 1;
        while after < stages.len() && stages[after].joined {
            after += 1;
        }
        let passage = &stages[first..after];
        let (_, rows) = way(passage);
        for (stage, row) in passage.iter().zip(rows) {
            chosen.push(std::array::from_fn(|player| {
                let notes = &stage.voicings.notes[player];
                notes.iter().copied().find(|note| note.midi() == i32::from(row[player]))
            }));
        }
        first = after;
    }
    chosen
}

pub(super) fn stages(
    request: &Request,
    slots: &[Slot],
    leaders: &[usize],
    supplies: &[Supplies],
    texture: &Texture,
) -> Vec<Stage> {
    let mut known = Known::default();
    let heights = |outer: Outer| (outer.low.midi() as i16, outer.high.midi() as i16);
    let other_choirs = Choirs::new(request);
    let mut choirs_before = Vec::new();
    let mut last_end = None;
    let chords_before = std::iter::once(None).chain(slots.iter().map(|slot| Some(&slot.chord)));
    slots
        .iter()
        .zip(chords_before)
        .map(|(slot, chord_before)| {
            let voicings = known.voicings(slot, leaders, supplies);
            let outer = texture.outer(slot.start).map(heights);
            let watched = watched(&request.piece.form, slot, texture);
            let heard = Heard {
                outer,
                has_bass: texture.has_bass(slot.start),
                classes: classes(&request.piece.form, slot, texture),
                watched,
                choirs: other_choirs.heights(slot.start, slot.end),
            };
            let mut costs = [0; HEIGHTS];
            for note in voicings.notes.iter().flatten() {
                let height = note.midi() as i16;
                let Some(cost) = usize::try_from(height).ok().and_then(|h| costs.get_mut(h)) else {
                    continue;
                };
                if *cost == 0 {
                    *cost = against(height, &voicings.wants, &heard, slot) as u16;
                }
            }
            let joined = last_end == Some(slot.start);
            last_end = Some(slot.end);
            let moves =
                if joined { choirs::moves(&choirs_before, &heard.choirs) } else { Vec::new() };
            choirs_before = heard.choirs;
            let chord_before = if joined { chord_before } else { None };
            let before = before(&request.piece.form, slot.start, chord_before, texture);
            Stage { joined, outer, before, choirs: moves, voicings, against: costs }
        })
        .collect()
}

/// The outer notes that a held note must live with: those on strong beats and those that are held
/// for a beat, each with whether it belongs to the chord.
fn watched(form: &Form, slot: &Slot, texture: &Texture) -> Vec<(i16, bool)> {
    let mut found: Vec<(i16, bool)> = Vec::new();
    let mut watch = |pitch: Pitch| {
        let entry = (pitch.midi() as i16, slot.chord.has_class(pitch.name().class()));
        if !found.contains(&entry) {
            found.push(entry);
        }
    };
    for (at, beat) in beats(form, slot.start, slot.end) {
        let Some(outer) = texture.outer(at) else { continue };
        let strong = at == slot.start || weight(form, at) >= 2;
        if strong || texture.top_note(at).is_some_and(|note| note.length >= beat) {
            watch(outer.high);
        }
        if strong {
            watch(outer.low);
        }
    }
    found
}

/// The outer notes just before a time; `chord` is the one that holds then.
fn before(
    form: &Form,
    time: Time,
    chord: Option<&Chord>,
    texture: &Texture,
) -> Option<[(i16, bool); 2]> {
    let outer = texture.outer_before(time)?;
    let bears = |pitch: Pitch| {
        let struck = texture.struck_before(time, pitch).is_some_and(|at| weight(form, at) >= 1);
        struck || chord.is_some_and(|chord| chord.has_class(pitch.name().class()))
    };
    Some([outer.low, outer.high].map(|pitch| (pitch.midi() as i16, bears(pitch))))
}

/// The pitch classes that any voice sounds on a strong beat or for a beat, as a set of bits.
fn classes(form: &Form, slot: &Slot, texture: &Texture) -> u16 {
    let mut classes = 0;
    for (at, beat) in beats(form, slot.start, slot.end) {
        let strong = at == slot.start || weight(form, at) >= 2;
        for note in texture.sounding(at).filter(|note| strong || note.length >= beat) {
            for pitch in note.sound.pitches() {
                classes |= 1 << pitch.midi().rem_euclid(12);
            }
        }
    }
    classes
}

/// What is heard besides the players of the line while a chord is held.
struct Heard {
    outer: Option<(i16, i16)>,
    /// Is the lower of the outer notes a bass?
    has_bass: bool,
    /// Pitch classes of all voices, as a set of bits.
    classes: u16,
    watched: Vec<(i16, bool)>,
    /// What other choirs hold.
    choirs: Vec<i16>,
}

/// What one held note costs against what else is heard.
fn against(height: i16, wants: &Wants, heard: &Heard, slot: &Slot) -> u32 {
    let mut cost = 0;
    for &(voice, of_chord) in &heard.watched {
        if matches!((voice - height).rem_euclid(12), 1 | 11) {
            // The major seventh of a chord rubs by nature, a suspension must not.
            let rub = if of_chord { 20 } else { 70 };
            cost += if (voice - height).abs() <= 13 { rub * 2 } else { rub };
        }
    }
    let same = |voice: i16| (voice - height).rem_euclid(12) == 0;
    // Rather a gap in the chord than the leading note of a source voice twice.
    let of_voice = heard.classes >> height.rem_euclid(12) & 1 == 1;
    let of_choir = heard.choirs.iter().any(|&other| other != REST && same(other));
    if (wants.leading(height) && of_voice) || (wants.tender(height) && of_choir) {
        cost += DOUBLES_TENDER;
    }
    let Some((low, high)) = heard.outer else { return cost };
    if same(high) || same(low) {
        cost += if wants.tender(height) { 60 } else { 12 };
    }
    if height > high {
        cost += 15 + u32::from((height - high).unsigned_abs());
    }
    if height < low {
        if !heard.has_bass {
            return cost;
        }
        let bass = i32::from(height.rem_euclid(12)) == slot.chord.bass_note().class();
        cost += if bass { 25 } else { 120 };
    } else if cost::muddy(low, height) && !same(low) {
        cost += 20;
    }
    cost
}

impl Stage {
    fn cost_against(&self, row: &Row) -> u32 {
        let of = |note: &i16| usize::try_from(*note).ok().and_then(|n| self.against.get(n));
        row.iter().filter_map(of).map(|cost| u32::from(*cost)).sum()
    }

    #[cfg(test)]
    pub(super) fn all_rows(&self) -> impl Iterator<Item = (u32, Row)> {
        self.voicings.rows.iter().map(|(cost, row)| (cost + self.cost_against(row), *row))
    }

    /// The cheapest voicings, at least `count` and all that cost no more than `limit`.
    fn choices(&self, count: usize, limit: u32) -> Vec<Choice<Row>> {
        let mut found: Vec<(u32, Row)> = Vec::with_capacity(count + 1);
        for &(cost, row) in &self.voicings.rows {
            let full = found.len() >= count;
            if full && found.last().is_some_and(|(last, _)| cost > limit.max(*last)) {
                break;
            }
            let cost = cost + self.cost_against(&row);
            if full && found.last().is_some_and(|last| cost > limit && (cost, row) >= *last) {
                continue;
            }
            let place = found.partition_point(|entry| *entry < (cost, row));
            found.insert(place, (cost, row));
            if found.len() > count && found.last().is_some_and(|(last, _)| *last > limit) {
                found.pop();
            }
        }
        // From silence there is always a way on.
        if let Some(&(cost, row)) = self.voicings.rows.iter().find(|(_, r)| *r == [REST; MOST])
            && !found.iter().any(|(_, other)| *other == row)
        {
            found.push((cost, row));
        }
        found.into_iter().map(|(cost, state)| Choice { state, cost }).collect()
    }
}

/// What going from one stage to the next costs, with the source voices in mind; `None` where
/// parallels forbid it or it costs more than `budget`.
pub(super) fn step(from: &Stage, to: &Stage, a: &Row, b: &Row, budget: u32) -> Option<u32> {
    let mut cost = cost::movement(a, b);
    if cost > budget || cost::has_parallels(a, b) {
        return None;
    }
    for player in 0..MOST {
        if a[player] == REST || b[player] == REST || a[player] == b[player] {
            continue;
        }
        let moved = (a[player], b[player]);
        cost += along_voices(from, to, moved)?;
        if to.choirs.iter().any(|&other| cost::parallel(moved, other)) {
            cost += FOLLOWS_CHOIR;
        }
    }
    Some(cost)
}

/// What one player's movement from one stage to the next costs against the outer voices; `None`
/// where parallels forbid it.
pub(super) fn along_voices(from: &Stage, to: &Stage, moved: (i16, i16)) -> Option<u32> {
    let Some((low, high)) = to.outer else { return Some(0) };
    if let Some(from) = from.outer
        && (with_voice(moved, (from.0, low)) || with_voice(moved, (from.1, high)))
    {
        return None;
    }
    let mut cost = 0;
    for ((leaving, bears), voice) in to.before.into_iter().flatten().zip([low, high]) {
        if with_voice(moved, (leaving, voice)) {
            if bears {
                return None;
            }
            cost += FROM_PASSING;
        }
    }
    Some(cost)
}

/// Parallels with a source voice; here even a unison is one, since the voice is another's.
pub(super) fn with_voice(player: (i16, i16), voice: (i16, i16)) -> bool {
    cost::parallel(player, voice)
        || (player.0 != player.1 && player.0 == voice.0 && player.1 == voice.1)
}

/// The cheapest way through a passage and what it costs.
pub(super) fn way(passage: &[Stage]) -> (u32, Vec<Row>) {
    let go = |choices: &[Vec<Choice<Row>>], limit| {
        cheapest_within(choices, limit, |stage, a, b, budget| {
            step(&passage[stage - 1], &passage[stage], a, b, budget)
        })
    };
    let mut choices: Vec<Vec<Choice<Row>>> =
        passage.iter().map(|stage| stage.choices(BEAM, 0)).collect();
    let Some(mut found) = go(&choices, u32::MAX) else {
        return (0, vec![[REST; MOST]; passage.len()]);
    };
    if passage.len() <= SHORT {
        // No way through a voicing can be cheaper than that voicing and the cheapest of all other
        // slots, so what lies above the cost found can be left out without loss.
        let least: Vec<u32> =
            choices.iter().map(|c| c.iter().map(|choice| choice.cost).min().unwrap_or(0)).collect();
        let floor: u32 = least.iter().sum();
        let slack = found.0.saturating_sub(floor);
        let wider: Vec<Vec<Choice<Row>>> =
            passage.iter().zip(&least).map(|(s, least)| s.choices(BEAM, least + slack)).collect();
        if let Some(better) = go(&wider, found.0) {
            found = better;
            choices = wider;
        }
    }
    let rows = found.1.iter().zip(&choices).map(|(&index, stage)| stage[index].state).collect();
    (found.0, rows)
}

//! The rhythm of a voice on the notes that a horn, trumpet or drum has.

use super::cadences::piece_ends;
use super::findings::{self, Silent};
use super::pairs::{Chosen, Point, choose};
use super::reduce::{Manner, Onset, reduce};
use super::supply::supply;
use super::texture::Texture;
use super::{Derived, ROLL, Reach, Request, chord_at};
use crate::arrange::PackedNote;
use crate::diagnostics::Diagnostic;
use crate::instruments::{Family, Loudness};
use crate::lists::push_slowly;
use crate::music::{Pitch, Time};
use crate::resolve::{Form, HarmonyEvent};

/// How fast a player is of whom the catalogue says nothing.
const USUAL_SPEED: u8 = 5;

/// So many notes a second a signal has at most, however fast the player is: it calls, it does not
/// run. (Our heuristic.)
const CALLING_SPEED: u8 = 6;

/// The notes of `signals`, one entry for each player of the line.
pub(super) fn signal(
    request: &Request,
    harmony: &[HarmonyEvent],
    voice: usize,
    diagnostics: &mut Vec<Diagnostic>,
) -> Vec<Derived> {
    let texture = Texture::of(request);
    let mut parts: Vec<Vec<PackedNote>> = request.parts.iter().map(|_| Vec::new()).collect();
    let bars = request.bars();
    if bars.is_empty() {
        return request.parts.iter().map(|_| Derived::default()).collect();
    }
    let mut any = false;
    let mut without_chord = false;
    // What the higher players of the same kind have.
    let mut above: (Option<&str>, Vec<Chosen>) = (None, Vec::new());
    for pair in pairs(request) {
        let manner = manner(request, pair[0]);
        let onsets: Vec<Onset> = bars
            .iter()
            .flat_map(|&bars| reduce(&request.voices[voice], &request.piece.form, bars, manner))
            .collect();
        any |= !onsets.is_empty();
        if request.instrument(pair[0]).unpitched {
            for &player in &pair {
                strokes(request, player, &onsets, &mut parts[player]);
            }
            continue;
        }
        without_chord |= onsets.iter().any(|onset| chord_at(harmony, onset.start).is_none());
        let kind = request.parts[pair[0]].player.line_name.as_str();
        if above.0 != Some(kind) {
            above = (Some(kind), Vec::new());
        }
        let points = points(&onsets, &texture, &request.piece.form);
        let chosen = choose(request, &pair, &points, harmony, &texture, &above.1);
        for (onset, notes) in onsets.iter().zip(&chosen) {
            for (&player, pitch) in pair.iter().zip(notes) {
                let Some(pitch) = *pitch else { continue };
                let Some(end) = agrees_until(request, player, harmony, onset, pitch) else {
                    continue;
                };
                let mut note = request.note(onset.start, end, Some(pitch), onset.span);
                note.attached.marks = onset.marks;
                let beat = request.piece.form.bar_at(onset.start).metre.beat();
                let is_drum = !request.instrument(player).drums.is_empty();
                if is_drum && note.length > beat {
                    note.attached.tremolo = ROLL;
                }
                push_slowly(&mut parts[player], PackedNote::from(note));
            }
        }
        above.1 = chosen;
    }
    if !any {
        diagnostics.push(findings::no_rhythm(request, voice));
    } else if without_chord && parts.iter().all(Vec::is_empty) {
        diagnostics.push(findings::no_harmony(request, &bars));
    } else {
        let silent: Vec<(usize, Silent)> = (0..parts.len())
            .filter(|&player| parts[player].is_empty())
            .filter(|&player| request.own_bars(player).next().is_some())
            .map(|player| (player, Silent::NoNote))
            .collect();
        findings::silent(request, &silent, diagnostics);
    }
    parts.into_iter().map(|notes| Derived::settled(notes, request.piece)).collect()
}

/// First and second players of a kind together, in the order of the line; a third with whom nobody is
/// left to pair goes with them.
pub(super) fn pairs(request: &Request) -> Vec<Vec<usize>> {
    let mut pairs: Vec<Vec<usize>> = Vec::new();
    for (player, part) in request.parts.iter().enumerate() {
        let first = pairs.last().filter(|pair| pair.len() == 1).map(|pair| pair[0]);
        let together = first.is_some_and(|first| {
            let first = &request.parts[first].player;
            first.line_name == part.player.line_name && !first.is_second()
        });
        match pairs.last_mut() {
            Some(pair) if together => pair.push(player),
            _ => pairs.push(vec![player]),
        }
    }
    let kind = |group: &[usize]| &request.parts[group[0]].player.line_name;
    let mut groups: Vec<Vec<usize>> = Vec::with_capacity(pairs.len());
    for group in pairs {
        match groups.last_mut() {
            Some(pair) if pair.len() == 2 && group.len() == 1 && kind(pair) == kind(&group) => {
                pair.extend(group);
            }
            _ => groups.push(group),
        }
    }
    groups
}

fn manner(request: &Request, player: usize) -> Manner {
    let instrument = request.instrument(player);
    let marks_only =
        instrument.loudness == Loudness::HeavyBrass || instrument.family == Family::Percussion;
    let repeated = instrument.agility.as_ref().map_or(USUAL_SPEED, |agility| agility.repeated);
    Manner { marks_only, repeated: repeated.min(CALLING_SPEED) }
}

fn points(onsets: &[Onset], texture: &Texture, form: &Form) -> Vec<Point> {
    let mut before: Option<&Onset> = None;
    onsets
        .iter()
        .map(|onset| {
            let from = before.and_then(|before| before.top);
            let contour = match (from, onset.top) {
                (Some(from), Some(to)) => {
                    let on_top = texture.outer(onset.start).is_some_and(|outer| outer.high == to);
                    on_top.then_some((to.midi() - from.midi()).signum())
                }
                _ => None,
            };
            // After a longer pause the line begins anew.
            let joined = before.is_some_and(|b| onset.start - b.end < Time::of(1, 2));
            before = Some(onset);
            let bar = form.index_at(onset.start);
            let ends = piece_ends(form, bar) && onset.end == form.end_of_bar_at(onset.start);
            Point { at: onset.start, contour, joined, ends, through: None }
        })
        .collect()
}

fn strokes(request: &Request, player: usize, onsets: &[Onset], part: &mut Vec<PackedNote>) {
    for onset in onsets {
        if request.claims(player, onset.start) {
            let mut note = request.note(onset.start, onset.end, None, onset.span);
            note.attached.marks = onset.marks;
            push_slowly(part, PackedNote::from(note));
        }
    }
}

/// A held note ends where the chord changes to one that does not have it, or where the player
/// changes his crook; `None` if it would not sound at all.
fn agrees_until(
    request: &Request,
    player: usize,
    harmony: &[HarmonyEvent],
    onset: &Onset,
    pitch: Pitch,
) -> Option<Time> {
    let end = held_until(request, player, harmony, onset.start, onset.end, pitch);
    (end > onset.start).then_some(end)
}

/// How far a note can be held from `start`, at most to `end`: while the chords have it, the bars
/// are the player's, and the player has the note.
pub(super) fn held_until(
    request: &Request,
    player: usize,
    harmony: &[HarmonyEvent],
    start: Time,
    end: Time,
    pitch: Pitch,
) -> Time {
    let mut until = start;
    while until < end {
        let bar = request.piece.form.index_at(until);
        if !request.claims(player, until)
            || !supply(request.parts[player], request.era, until, Reach::Comfortable).has(pitch)
        {
            break;
        }
        let Some(event) = chord_at(harmony, until) else { break };
        if !event.chord.members().iter().any(|member| member.class() == pitch.name().class()) {
            break;
        }
        let (_, bar_end) = request.bar_times(bar);
        until = (event.start + event.length).min(bar_end).min(end);
    }
    until
}

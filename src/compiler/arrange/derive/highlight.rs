//! Notes at moments: strokes of the drum, chords of the brass, the piccolo above the tune.

use super::findings::{self, Silent};
use super::moments::{Found, Kind, chord_until, moments};
use super::pairs::{Point, choose};
use super::signal::{held_until, pairs};
use super::supply::{Reach, supply};
use super::sustain::{Choir, Lasting, Struck, at_moments};
use super::texture::{Texture, ends_by};
use super::{DerivedPart, ROLL, Request, chord_at};
use crate::arrange::{PackedNote, SoundingNote};
use crate::diagnostics::{Diagnostic, Span};
use crate::instruments::Limit;
use crate::music::{Pitch, Time};
use crate::resolve::{HarmonyEvent, Mark, Moment, Verb};

/// A `highlights` line with the moments that it asks for.
struct Marked<'r, 'q, 'a> {
    request: &'r Request<'q, 'a>,
    named: &'r [Moment],
    found: Vec<Found>,
}

/// The notes of all `highlights` lines of a scoring, line by line one entry for each player.
///
/// Whoever strikes whole chords does so together, whatever the lines: those of a line of three and
/// more, and those of a family that has three and more on all lines. A pair is led as a pair.
pub(super) fn highlight(
    requests: &[Request],
    diagnostics: &mut Vec<Diagnostic>,
) -> Vec<Vec<DerivedPart>> {
    let marked: Vec<Marked> = requests.iter().map(Marked::new).collect();
    let chords = chords(&marked);
    marked.iter().zip(&chords).map(|(line, chords)| line.parts(chords, diagnostics)).collect()
}

/// What each player of each line strikes at each of its moments, together with all others; `None`
/// for lines without chords.
fn chords(marked: &[Marked]) -> Vec<Option<Struck>> {
    let strikers = |line: &Marked| {
        let request = line.request;
        let all = (0..request.parts.len()).filter(|&player| strikes(request, player));
        all.map(|player| Choir::of(request.instrument(player))).collect::<Vec<Choir>>()
    };
    let choirs: Vec<Vec<Choir>> = marked.iter().map(strikers).collect();
    let together = |own: &Vec<Choir>| {
        let of_choir =
            |choir: &Choir| choirs.iter().flatten().filter(|other| *other == choir).count();
        own.len() >= CHORD || own.iter().any(|choir| of_choir(choir) >= CHORD)
    };
    let lines: Vec<usize> = (0..marked.len()).filter(|&line| together(&choirs[line])).collect();
    let mut struck: Vec<Option<Struck>> = marked.iter().map(|_| None).collect();
    let asked: Vec<(&Request, Vec<Lasting>)> = lines
        .iter()
        .map(|&line| {
            let ends = |moment: &Found| matches!(moment.kind, Kind::Cadence { .. });
            let found = marked[line].found.iter();
            let lasting = found.map(|moment| (moment.at, moment.until, ends(moment)));
            (marked[line].request, lasting.collect())
        })
        .collect();
    for (&line, chords) in lines.iter().zip(at_moments(&asked)) {
        struck[line] = Some(chords);
    }
    struck
}

/// Is this somebody who strikes notes of the chord: no drum, no cymbals, no piccolo?
fn strikes(request: &Request, player: usize) -> bool {
    let instrument = request.instrument(player);
    !instrument.unpitched && instrument.drums.is_empty() && !above_the_tune(request, player)
}

impl<'r, 'q, 'a> Marked<'r, 'q, 'a> {
    fn new(request: &'r Request<'q, 'a>) -> Self {
        let named = match &request.line.verb {
            Verb::Highlights { moments } => &moments[..],
            _ => &[],
        };
        let bars = request.bars();
        let form = &request.piece.form;
        let own = |moment: &Found| {
            let bar = form.index_at(moment.at);
            bars.iter().any(|bars| bars.contains(bar))
        };
        let found = if bars.is_empty() {
            Vec::new()
        } else {
            moments(request.piece, &request.voices, request.harmony, named)
                .into_iter()
                .filter(own)
                .collect()
        };
        Marked { request, named, found }
    }

    /// The notes of the line, one entry for each player; `chords` are what they strike together with
    /// others, if they do.
    fn parts(
        &self,
        chords: &Option<Struck>,
        diagnostics: &mut Vec<Diagnostic>,
    ) -> Vec<DerivedPart> {
        let Marked { request, named, found } = self;
        let harmony = request.harmony;
        let mut parts: Vec<DerivedPart> =
            request.parts.iter().map(|_| DerivedPart::default()).collect();
        let bars = request.bars();
        if bars.is_empty() {
            return parts;
        }
        if found.is_empty() {
            diagnostics.push(findings::no_moment(request));
            return parts;
        }
        let texture = Texture::of(request);
        let mut silent: Vec<(usize, Silent)> = Vec::new();
        let mut without_chord = false;
        let points: Vec<Point> = found.iter().map(point).collect();
        for pair in pairs(request) {
            if request.instrument(pair[0]).unpitched {
                for &player in &pair {
                    parts[player].notes = strokes(request, player, found, named, harmony);
                }
                continue;
            }
            if above_the_tune(request, pair[0]) {
                for &player in &pair {
                    parts[player].notes = octave_above(request, player, found, &texture);
                }
                continue;
            }
            without_chord |= found.iter().all(|moment| chord_at(harmony, moment.at).is_none());
            let together = chords.as_ref().filter(|_| strikes(request, pair[0]));
            let chosen = match together {
                Some(_) => Vec::new(),
                None => choose(request, &pair, &points, harmony, &texture, &[]),
            };
            for (place, &player) in pair.iter().enumerate() {
                let pitches: Vec<Option<Pitch>> = match together {
                    Some(chords) => chords[player].clone(),
                    None => chosen.iter().map(|notes| notes[place]).collect(),
                };
                let pitches = pitches.into_iter();
                parts[player].notes = struck(request, player, found, pitches, harmony, &texture);
                let claims = |m: &Found| request.claims(player, m.at);
                if parts[player].notes.is_empty() && found.iter().any(claims) {
                    silent.push((player, Silent::NoNote));
                }
            }
        }
        if without_chord && parts.iter().all(|part| part.notes.is_empty()) {
            diagnostics.push(findings::no_harmony(request, &bars));
        } else {
            findings::silent(request, &silent, diagnostics);
        }
        parts
    }
}

/// So many players can strike a whole chord.
const CHORD: usize = 3;

fn point(moment: &Found) -> Point {
    Point {
        at: moment.at,
        contour: None,
        joined: false,
        ends: matches!(moment.kind, Kind::Cadence { last: true }),
        through: (moment.kind == Kind::Dominant).then_some(moment.until),
    }
}

/// Chord notes at the moments: a beat long, at a cadence held to its end; drums roll what they
/// hold.
fn struck(
    request: &Request,
    player: usize,
    found: &[Found],
    pitches: impl Iterator<Item = Option<Pitch>>,
    harmony: &[HarmonyEvent],
    texture: &Texture,
) -> Vec<SoundingNote> {
    let form = &request.piece.form;
    let is_drum = !request.instrument(player).drums.is_empty();
    let mut notes = Vec::new();
    for (index, (moment, pitch)) in found.iter().zip(pitches).enumerate() {
        let (Some(pitch), Some(event)) = (pitch, chord_at(harmony, moment.at)) else { continue };
        let wanted = match moment.kind {
            // Nobody holds on after the voices have ended.
            Kind::Cadence { .. } => texture.top_sounds_until(moment.at, moment.until),
            Kind::Dominant => moment.until,
            // A drum rolls through the chord of a peak.
            Kind::Peak if is_drum => chord_until(form, harmony, moment.at),
            _ => moment.until,
        };
        let next = found.get(index + 1).map_or(wanted, |next| next.at);
        let wanted = ends_by(form, moment.at, wanted.min(next));
        let end = held_until(request, player, harmony, moment.at, wanted, pitch);
        if end <= moment.at {
            continue;
        }
        let mut note = request.note(moment.at, end, Some(pitch), event.span);
        let beat = form.bar_at(moment.at).metre.beat();
        let rolls = matches!(moment.kind, Kind::Cadence { .. } | Kind::Peak);
        if is_drum && rolls && note.length >= beat * 2 {
            note.attached.tremolo = ROLL;
        } else if is_drum && note.length > beat {
            note.length = beat;
        }
        notes.push(note);
    }
    notes
}

/// Strokes without pitch. Cymbals and bass drum wear out soon, so without a word of the line they
/// mark only peaks and the end. (Common practice.)
fn strokes(
    request: &Request,
    player: usize,
    found: &[Found],
    named: &[Moment],
    harmony: &[HarmonyEvent],
) -> Vec<SoundingNote> {
    let form = &request.piece.form;
    let marked: Vec<&Found> = found
        .iter()
        .filter(|moment| {
            !named.is_empty() || moment.peak || matches!(moment.kind, Kind::Cadence { last: true })
        })
        .filter(|moment| request.claims(player, moment.at))
        .collect();
    let stroke = |(index, moment): (usize, &&Found)| {
        let beat = form.bar_at(moment.at).metre.beat();
        let (_, bar_end) = request.bar_times(form.index_at(moment.at));
        // Peaks of two voices may lie closer than a beat.
        let next = marked.get(index + 1).map_or(bar_end, |next| next.at);
        let end = (moment.at + beat).min(bar_end).min(next);
        let span = source(request, harmony, moment.at);
        (end > moment.at).then(|| request.note(moment.at, end, None, span))
    };
    marked.iter().enumerate().filter_map(stroke).collect()
}

/// What a stroke comes from: the chord, or the note of a voice, or the line itself.
fn source(request: &Request, harmony: &[HarmonyEvent], at: Time) -> Span {
    let voice = || Texture::of(request).top_note(at).map(|note| note.source());
    chord_at(harmony, at).map(|event| event.span).or_else(voice).unwrap_or(request.line.span)
}

/// From this sounding note up an instrument lies above the tune (piccolo, glockenspiel) and
/// doubles it an octave higher instead of taking a chord note. (Our heuristic.)
const HIGH: i32 = 72;

fn above_the_tune(request: &Request, player: usize) -> bool {
    let part = request.parts[player];
    let instrument = request.instrument(player);
    let up = if instrument.compass_is_written {
        part.transposition_at(request.begins(player)).semitones
    } else {
        0
    };
    let compass = instrument.compass(Limit::Custom, request.era);
    instrument.drums.is_empty() && compass.is_some_and(|c| c.low.midi() + up >= HIGH)
}

/// The top of the tune an octave higher, from the moment to its end; the head of an entry whole.
fn octave_above(
    request: &Request,
    player: usize,
    found: &[Found],
    texture: &Texture,
) -> Vec<SoundingNote> {
    let mut notes: Vec<SoundingNote> = Vec::new();
    for moment in found {
        let (mut at, until) = match moment.kind {
            Kind::Entry { head: Some(head) } => head,
            _ => (moment.at, moment.until.min(request.piece.form.end_of_bar_at(moment.at))),
        };
        if notes.last().is_some_and(|last| last.end() > at) {
            continue;
        }
        while at < until {
            let bar = request.piece.form.index_at(at);
            let (_, bar_end) = request.bar_times(bar);
            if !request.claims(player, at) {
                at = bar_end;
                continue;
            }
            let has = supply(request.parts[player], request.era, at, Reach::Comfortable);
            let Some(note) = texture.top_note(at) else { break };
            let Some(top) = note.sound().pitches().last().map(|p| p.octaves_up(1)) else { break };
            let end = (note.start() + note.length()).min(bar_end);
            if has.has(top) && note.start() == at {
                notes.push(doubled(request, note, end, top));
            }
            at = end.max(at + Time::of(1, 1024));
        }
    }
    notes
}

fn doubled(request: &Request, note: &PackedNote, end: Time, pitch: Pitch) -> SoundingNote {
    let mut doubled = request.note(note.start(), end, Some(pitch), note.source());
    for mark in [Mark::Staccato, Mark::Accent, Mark::Marcato, Mark::Tenuto] {
        if note.attached().marks.has(mark) {
            doubled.attached.marks.insert(mark);
        }
    }
    doubled
}

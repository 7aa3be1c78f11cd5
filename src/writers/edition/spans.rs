//! Slurs, hairpins and lines of trills as spans.

use crate::instruments::Clef;
use crate::music::Time;
use crate::notate::{
    Element, ElementKind, Measure, Origin, StaffDirectionKind, StaffNote, Stem, stems,
};
use crate::resolve::Mark;

use super::{EditionStaff, Spanner, SpannerKind, StaffPlace, Stems};

/// The slurs and trill lines of all voices of a staff.
pub(super) fn of_voices(staff: &EditionStaff) -> Vec<Spanner> {
    let mut spans = Vec::new();
    for number in 1..=2 {
        of_voice(staff, number, &mut spans);
    }
    spans
}

fn of_voice(staff: &EditionStaff, number: u8, spans: &mut Vec<Spanner>) {
    let mut slur: Option<(StaffPlace, Sides)> = None;
    let mut trill: Option<(StaffPlace, StaffPlace)> = None;
    let mut grace: Option<StaffPlace> = None;
    let mut clef = Clef::Treble;
    for (bar, staff_bar) in staff.bars.iter().enumerate() {
        let clefs = staff_bar.clefs.as_slice();
        let clef_at = |before: Clef, time: Time| {
            clefs.iter().rev().find(|(at, _)| *at <= time).map_or(before, |(_, clef)| *clef)
        };
        for (voice, voice_bar) in staff_bar.voices.iter().enumerate() {
            // A slur goes on where two voices become one, or the other way.
            if voice_bar.number != number {
                continue;
            }
            for (element, printed) in voice_bar.elements.iter().enumerate() {
                let ElementKind::Note(note) = &printed.kind else { continue };
                let place = StaffPlace { bar, voice, element };
                if note.grace.is_some() {
                    grace = grace.or(Some(place));
                } else if let Some(from) = grace.take()
                    && slur.is_none()
                    && !note.heads.is_empty()
                {
                    // Grace notes are slurred to their note, below, whatever else begins there; those of an upper
                    // voice above, away from the lower one (Gould, Behind Bars, 2011, grace notes, from memory).
                    let above = voice_bar.stems == Stems::Up;
                    spans.push(span(SpannerKind::Slur { from, to: place }, above));
                }
                if let Some((_, sides)) = &mut slur {
                    sides.take(stem_of(printed, clef_at(clef, printed.at)));
                }
                if note.slur_ends
                    && let Some((from, sides)) = slur.take()
                {
                    let above = sides.above(voice_bar.stems);
                    spans.push(span(SpannerKind::Slur { from, to: place }, above));
                }
                if note.slur_starts {
                    let mut sides = Sides::default();
                    sides.take(stem_of(printed, clef_at(clef, printed.at)));
                    slur = Some((place, sides));
                }
                follow_trill(note, place, &mut trill, spans);
            }
        }
        clef = clef_at(clef, Time::MAX);
    }
}

/// A trill that is tied on has a line to its last note.
fn follow_trill(
    note: &StaffNote,
    place: StaffPlace,
    trill: &mut Option<(StaffPlace, StaffPlace)>,
    spans: &mut Vec<Spanner>,
) {
    if note.grace.is_some() {
        return;
    }
    let begins = note.marks.has(Mark::Trill);
    if note.tie_from
        && !begins
        && let Some((_, last)) = trill
    {
        *last = place;
    } else {
        *trill = begins.then_some((place, place));
    }
    if !note.tie_to
        && let Some((from, to)) = trill.take()
        && from != to
    {
        spans.push(span(SpannerKind::TrillLine { from, to }, true));
    }
}

/// Adds the slurs that go over notes of both staves of a player: to each end its part of the slur.
pub(super) fn across(staves: &mut [EditionStaff]) {
    let mut ends: Vec<((usize, Time), bool, usize, StaffPlace)> = Vec::new();
    for (staff, own) in staves.iter().enumerate() {
        for (bar, staff_bar) in own.bars.iter().enumerate() {
            for (voice, voice_bar) in staff_bar.voices.iter().enumerate() {
                for (element, printed) in voice_bar.elements.iter().enumerate() {
                    let ElementKind::Note(note) = &printed.kind else { continue };
                    let place = StaffPlace { bar, voice, element };
                    let at = (bar, printed.at);
                    // Where one ends on the note on which the next begins, it does so first.
                    ends.extend(note.slur_arrives.then_some((at, false, staff, place)));
                    ends.extend(note.slur_leaves.then_some((at, true, staff, place)));
                }
            }
        }
    }
    ends.sort_by_key(|(at, begins, ..)| (*at, *begins));
    for pair in ends.windows(2) {
        let [(start, true, leaves, from), (end, false, arrives, to)] = *pair else { continue };
        // Outwards of both staves, where it is broken at the edge of a line.
        let leaving = SpannerKind::SlurLeaves { from, to: end };
        staves[leaves].spans.push(span(leaving, leaves == 0));
        let arriving = SpannerKind::SlurArrives { from: start, to };
        staves[arrives].spans.push(span(arriving, arrives == 0));
    }
}

/// The hairpins of a staff as it was notated.
pub(super) fn hairpins(measures: &[Measure]) -> Vec<Spanner> {
    let mut spans = Vec::new();
    let mut open: Option<((usize, Time), bool, Origin)> = None;
    for (bar, measure) in measures.iter().enumerate() {
        for direction in &measure.directions {
            match direction.kind {
                StaffDirectionKind::HairpinStarts { grows } => {
                    open = Some(((bar, direction.at), grows, direction.origin));
                }
                StaffDirectionKind::HairpinEnds => {
                    if let Some((from, grows, origin)) = open.take() {
                        let to = (bar, direction.at);
                        let kind = SpannerKind::Hairpin { from, to, grows };
                        spans.push(Spanner { origin, ..span(kind, false) });
                    }
                }
                _ => {}
            }
        }
    }
    spans
}

fn span(kind: SpannerKind, above: bool) -> Spanner {
    Spanner { kind, above, number: 1, origin: Origin::default() }
}

/// Puts the spans of the staves of one part in order, and gives those of a kind that overlap
/// numbers that differ.
pub(super) fn number(staves: &mut [EditionStaff]) {
    for staff in staves.iter_mut() {
        staff.spans.sort_by_key(|span| reach(&span.kind).0);
    }
    let mut all: Vec<(usize, usize)> = Vec::new();
    for (staff, own) in staves.iter().enumerate() {
        all.extend((0..own.spans.len()).map(|span| (staff, span)));
    }
    all.sort_by_key(|&(staff, span)| reach(&staves[staff].spans[span].kind).0);
    // For each kind, in which staff and voice the last span of each number lies and where it ends.
    let mut ends: [Vec<(usize, usize, Key)>; 4] = Default::default();
    // Where slurs over both staves end, with their numbers.
    let mut across: Vec<((usize, Time), u8)> = Vec::new();
    for (staff, span) in all {
        let spanner = &mut staves[staff].spans[span];
        let (from, to) = reach(&spanner.kind);
        let (staff, voice) = match spanner.kind {
            SpannerKind::SlurArrives { .. } => continue,
            SpannerKind::SlurLeaves { .. } => (BOTH, 0),
            _ => (staff, voice(&spanner.kind)),
        };
        let ends = &mut ends[kind(&spanner.kind)];
        // In a file the voices of a bar stand one after another, so those of others must be over
        // by the bar.
        let is_free = |end: &(usize, usize, Key)| {
            let alone = (end.0, end.1) == (staff, voice) && staff != BOTH;
            if alone { end.2 < from } else { end.2.0 < from.0 }
        };
        let number = ends.iter().position(is_free).unwrap_or(ends.len());
        match ends.get_mut(number) {
            Some(end) => *end = (staff, voice, to),
            None => ends.push((staff, voice, to)),
        }
        spanner.number = u8::try_from(number + 1).unwrap_or(u8::MAX);
        if let SpannerKind::SlurLeaves { to, .. } = spanner.kind {
            across.push((to, spanner.number));
        }
    }
    for staff in staves {
        for spanner in &mut staff.spans {
            let SpannerKind::SlurArrives { to, .. } = spanner.kind else { continue };
            let at = staff.bars[to.bar].voices[to.voice].elements[to.element].at;
            let own = across.iter().find(|(end, _)| *end == (to.bar, at));
            spanner.number = own.map_or(1, |(_, number)| *number);
        }
    }
}

/// The staff of what lies on both.
const BOTH: usize = usize::MAX;

fn kind(kind: &SpannerKind) -> usize {
    match kind {
        SpannerKind::Slur { .. }
        | SpannerKind::SlurLeaves { .. }
        | SpannerKind::SlurArrives { .. } => 0,
        SpannerKind::Hairpin { .. } => 1,
        SpannerKind::TrillLine { .. } => 2,
        SpannerKind::OctaveLine { .. } => 3,
    }
}

fn voice(kind: &SpannerKind) -> usize {
    match kind {
        SpannerKind::Slur { from, .. }
        | SpannerKind::SlurLeaves { from, .. }
        | SpannerKind::TrillLine { from, .. } => from.voice,
        SpannerKind::SlurArrives { to, .. } => to.voice,
        SpannerKind::Hairpin { .. } | SpannerKind::OctaveLine { .. } => 0,
    }
}

/// An order among ends of spans of one kind.
type Key = (usize, Time, usize);

fn reach(kind: &SpannerKind) -> (Key, Key) {
    let place = |place: &StaffPlace| (place.bar, Time::ZERO, place.element);
    let time = |(bar, at): &(usize, Time)| (*bar, *at, 0);
    match kind {
        SpannerKind::Slur { from, to } | SpannerKind::TrillLine { from, to } => {
            (place(from), place(to))
        }
        SpannerKind::SlurLeaves { from, to } => (place(from), time(to)),
        SpannerKind::SlurArrives { from, to } => (time(from), place(to)),
        SpannerKind::Hairpin { from, to, .. } | SpannerKind::OctaveLine { from, to, .. } => {
            (time(from), time(to))
        }
    }
}

/// The sides on which the stems under a slur stand.
#[derive(Clone, Copy, Default)]
struct Sides {
    up: bool,
    down: bool,
}

/// The way of a note's stem; a note without one takes its side as if it had it.
fn stem_of(printed: &Element, clef: Clef) -> Stem {
    let ElementKind::Note(note) = &printed.kind else { return Stem::None };
    let middle = stems::middle_step(clef);
    let places = note.heads.iter().map(|head| head.pitch.step() - middle);
    match (printed.stem, places.clone().min(), places.max()) {
        (Stem::None, Some(low), Some(high)) if high < -low => Stem::Up,
        (Stem::None, Some(_), Some(_)) => Stem::Down,
        (stem, ..) => stem,
    }
}

impl Sides {
    fn take(&mut self, stem: Stem) {
        self.up |= stem == Stem::Up;
        self.down |= stem == Stem::Down;
    }

    /// Slurs stand at the heads, above where stems differ; those of two voices outside. Source:
    /// Ross, The Art of Music Engraving and Processing, 1970, from memory.
    fn above(self, stems: Stems) -> bool {
        match stems {
            Stems::Up => true,
            Stems::Down => false,
            Stems::Free => self.down || !self.up,
        }
    }
}

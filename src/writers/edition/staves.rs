//! A player's staves as they were notated, on staves of his own.

use std::borrow::Cow;

use smallvec::smallvec;

use crate::instruments::Instrument;
use crate::music::says_how_loud;
use crate::notate::{Measure, Staff, StaffDirection, StaffDirectionKind};

use super::{
    DirectionKind, Edition, EditionDirection, EditionPart, EditionPlayer, EditionStaff, Kind,
    StaffBar, Stems, VoiceBar, cast, hairpin_words, lifted, octaves, spans,
};

/// Adds a player with staves of his own.
pub(super) fn add_player<'a>(edition: &mut Edition<'a>, staff: &'a Staff, index: usize) {
    let player = edition.players.len();
    let part = edition.parts.len();
    let first = edition.staves.len();
    edition.players.push(EditionPlayer {
        index,
        id: staff.id.clone(),
        name: staff.name.clone(),
        short: staff.abbreviation.clone(),
        instruments: staff.instruments.clone(),
        count: staff.players,
        part,
    });
    let braced = staff.is_braced();
    let mut rows = vec![&staff.measures];
    rows.extend(braced.then_some(&staff.lower));
    for measures in rows {
        let own = own_staff(
            edition,
            measures,
            (staff.instrument, staff.key_name.as_deref()),
            (player, part),
        );
        edition.staves.push(own);
    }
    spans::across(&mut edition.staves[first..]);
    spans::number(&mut edition.staves[first..]);
    edition.parts.push(EditionPart {
        name: cast::name(staff),
        short: staff.abbreviation.clone(),
        players: player..player + 1,
        staves: first..edition.staves.len(),
    });
}

/// One staff of a player by himself: of that index among the players, in the part of that index.
pub(super) fn own_staff<'a>(
    edition: &Edition<'a>,
    measures: &'a [Measure],
    (instrument, key_name): (&'static Instrument, Option<&str>),
    (player, part): (usize, usize),
) -> EditionStaff<'a> {
    let bars = bars(measures, player, instrument);
    let mut own = EditionStaff { part, bars, spans: Vec::new() };
    if !matches!(edition.kind, Kind::Part(_)) {
        leave_to_name(&mut own.bars, key_name);
    }
    own.spans = spans::of_voices(&own);
    own.spans.extend(spans::hairpins(measures));
    lifted::lift(&mut own);
    hairpin_words::join(&mut own, None);
    let octaves = octaves::lines(&mut own, edition.bars, instrument);
    own.spans.extend(octaves);
    own
}

/// In a score the name before the first system says in which key or crook a player begins: it is not
/// said again over his first bar.
pub(super) fn leave_to_name(bars: &mut [StaffBar], key_name: Option<&str>) {
    let Some(first) = bars.first_mut() else { return };
    first.directions.retain(|said| match &said.kind {
        DirectionKind::Change(words) => Some(words.as_str()) != key_name,
        _ => true,
    });
}

fn bars<'a>(
    measures: &'a [Measure],
    player: usize,
    first: &'static Instrument,
) -> Vec<StaffBar<'a>> {
    let mut lines = 0;
    let mut instrument = first;
    let bar = |measure: &'a Measure| {
        instrument = measure.instrument.unwrap_or(instrument);
        let now = lines_of(instrument);
        let changed = std::mem::replace(&mut lines, now) != now;
        StaffBar {
            lines: changed.then_some(now),
            instrument: measure.instrument,
            transposition: measure.transposition,
            key: measure.key,
            clefs: measure.clefs.clone(),
            voices: smallvec![VoiceBar {
                number: 1,
                stems: Stems::Free,
                players: player..player + 1,
                elements: Cow::Borrowed(&measure.elements),
            }],
            directions: measure.directions.iter().filter_map(direction).collect(),
            multi_rest: 0,
            counted: false,
            who: None,
            absent: measure.absent,
        }
    };
    measures.iter().map(bar).collect()
}

/// Lines of a staff.
pub(super) fn lines_of(instrument: &Instrument) -> u8 {
    if instrument.unpitched { 1 } else { 5 }
}

/// Do words of the arranger say nothing but who plays? They look like what the pages say of it.
fn says_who(words: &str) -> bool {
    const WHO: [&str; 9] =
        ["solo", "soli", "tutti", "div.", "divisi", "non div.", "unis.", "unisono", "a 2"];
    let words = words.trim();
    WHO.iter().any(|who| who.eq_ignore_ascii_case(words))
}

/// What is said at a place; hairpins are spans.
pub(super) fn direction(said: &StaffDirection) -> Option<EditionDirection> {
    let kind = match &said.kind {
        StaffDirectionKind::Dynamic(dynamic) => DirectionKind::Dynamic(*dynamic),
        StaffDirectionKind::Technique(technique) => DirectionKind::Technique(*technique),
        StaffDirectionKind::Words(words) if says_who(words) => DirectionKind::Who(words.clone()),
        StaffDirectionKind::Words(words) => DirectionKind::Words(words.clone()),
        StaffDirectionKind::Change(words) => DirectionKind::Change(words.clone()),
        StaffDirectionKind::Chord(chord) => DirectionKind::Chord(*chord),
        StaffDirectionKind::Figures(figures) => DirectionKind::Figures(figures.clone()),
        StaffDirectionKind::Who(who) => DirectionKind::Who((*who).into()),
        StaffDirectionKind::HairpinStarts { .. } | StaffDirectionKind::HairpinEnds => return None,
    };
    let above = match &kind {
        DirectionKind::Dynamic(_) | DirectionKind::Figures(_) => false,
        DirectionKind::Words(words) => !says_how_loud(words),
        _ => true,
    };
    Some(EditionDirection { at: said.at, kind, above, origin: said.origin })
}

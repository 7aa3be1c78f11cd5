//! A player's staves as they were notated, on staves of his own.

use std::borrow::Cow;

use smallvec::smallvec;

use crate::instruments::Instrument;
use crate::notate::{Measure, Staff, StaffDirection, StaffDirectionKind};

use super::{
    DirectionKind, Edition, EditionDirection, EditionPart, EditionPlayer, EditionStaff, Kind,
    StaffBar, Stems, VoiceBar, cast, hairpin_words, octaves, spans, sung,
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
    sung::lift(&mut own);
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

/// Words that say how much, or how, something grows or is loud. (Common practice.)
const BESIDE: [&str; 13] = [
    "poco", "a", "molto", "sempre", "più", "piu", "meno", "assai", "subito", "sub", "al", "niente",
    "un",
];

fn each_word(words: &str) -> impl Iterator<Item = &str> {
    words.split_whitespace().map(|word| word.trim_end_matches(['.', ',']))
}

/// Do words of the arranger say nothing but how something else goes: "poco a poco", "al niente"? With a hairpin they
/// are of that.
#[must_use]
pub fn says_how_it_goes(words: &str) -> bool {
    let words = words.to_lowercase();
    let mut each = each_word(&words).peekable();
    each.peek().is_some() && each.all(|word| BESIDE.contains(&word))
}

/// Do words of the arranger say nothing but how loud it is or becomes: "crescendo", "poco a poco dim.",
/// "morendo", "più f"? They stand with the dynamics (common practice).
#[must_use]
pub fn says_how_loud(words: &str) -> bool {
    const LOUDNESS: [&str; 7] =
        ["cresc", "decresc", "dimin", "morend", "smorz", "perdend", "mancand"];
    const DYNAMICS: [&str; 9] = ["dim", "p", "pp", "ppp", "mp", "mf", "f", "ff", "fff"];
    let words = words.to_lowercase();
    let each = || each_word(&words);
    let loud = |word: &str| {
        DYNAMICS.contains(&word) || LOUDNESS.iter().any(|known| word.starts_with(known))
    };
    each().any(loud) && each().all(|word| loud(word) || BESIDE.contains(&word))
}

/// Do words of the arranger say that it becomes louder or softer from there on, and which? "crescendo", "molto dim."
pub(crate) fn says_growth(words: &str) -> Option<bool> {
    let words = words.to_lowercase();
    let mut each = words.split(|letter: char| !letter.is_alphabetic());
    each.find_map(|word| match word {
        "dim" => Some(false),
        _ if word.starts_with("cresc") => Some(true),
        _ if word.starts_with("decresc") || word.starts_with("dimin") => Some(false),
        _ => None,
    })
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

#[cfg(test)]
mod tests {
    use super::{says_how_it_goes, says_how_loud};

    #[test]
    fn words_of_loudness_are_told_from_others() {
        for words in ["crescendo", "cresc.", "poco a poco dim.", "morendo", "più f", "sempre pp"] {
            assert!(says_how_loud(words), "{words}");
        }
        for words in ["dolce", "cresc. ed accel.", "poco a poco", "espressivo", "a piacere", ""] {
            assert!(!says_how_loud(words), "{words}");
        }
    }

    #[test]
    fn words_of_how_a_hairpin_goes_say_nothing_else() {
        for words in ["poco a poco", "al niente", "molto", "sempre più"] {
            assert!(says_how_it_goes(words), "{words}");
        }
        for words in ["poco rit.", "molto espressivo", "poco a poco cresc.", "al fine", ""] {
            assert!(!says_how_it_goes(words), "{words}");
        }
    }
}

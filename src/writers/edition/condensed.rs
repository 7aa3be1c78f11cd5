//! A condensed score: players of a kind share a staff.
//!
//! Who shares: two neighbours of one ensemble line (flutes 1 and 2, horns 3 and 4) who read the
//! same instrument in the same key from first to last, on one staff each. A trio is a pair and a
//! third. Cellos and the double basses below them share a staff where they mostly read the same. Bar by bar they are written
//! - as one voice where they read the same ("a 2"), or where only one plays ("1.", "2.");
//! - as chords on one stem where they have the same rhythm, ties, slurs and signs, and the first is
//!   nowhere below the second;
//! - as two voices elsewhere, the first with its stems up. Where they cross or lie far apart,
//!   `partings` has them by themselves too.
//!
//! What is said to both alike stands once. (Common practice.)

use crate::narrow::Narrow;
use std::borrow::Cow;
use std::ops::Range;

use smallvec::{SmallVec, smallvec};

use crate::instruments::Clef;
use crate::music::{Interval, Key, Time};
use crate::notate::accidentals::{self, Accidentals};
use crate::notate::clefs::of_two;
use crate::notate::{Element, ElementKind, Measure, Score, Staff, StaffNote, Stem, stems};

use super::divided::Divided;
use super::shared_hairpins::Pins;
use super::{
    Edition, EditionPart, EditionPlayer, EditionStaff, StaffBar, Stems, VoiceBar, hairpin_words,
    in_common, levels, lifted, partings, shared_words, spans, staves,
};

/// The players that share a staff: neighbours in the score.
pub(super) fn pairs(score: &Score) -> Vec<Range<usize>> {
    let mut pairs: Vec<Range<usize>> = Vec::new();
    let mut index = 0;
    while index < score.staves.len() {
        let fits =
            score.staves.get(index + 1).is_some_and(|next| share(&score.staves[index], next));
        let end = index + 1 + usize::from(fits);
        pairs.push(index..end);
        index = end;
    }
    pairs
}

/// The number of a player among those of a kind: 3 of the third horn.
pub(super) fn number(staff: &Staff) -> Option<u32> {
    staff.id.rsplit_once('.').and_then(|(_, number)| number.parse().ok())
}

/// Do two neighbours of a score share a staff in a condensed one?
#[must_use]
pub fn share(first: &Staff, second: &Staff) -> bool {
    are_halves(first, second) || of_a_kind(first, second) || have_one_bass(first, second)
}

/// Are they the halves of a section that divides? They read from one page.
pub(super) fn are_of_one_section(first: &Staff, second: &Staff) -> bool {
    let line = |staff: &Staff| staff.id.rsplit_once('.').map(|(line, _)| line.to_owned());
    first.half_of.is_some() && second.half_of.is_some() && line(first) == line(second)
}

/// Can they read from one staff, too?
pub(super) fn are_halves(first: &Staff, second: &Staff) -> bool {
    are_of_one_section(first, second)
        && !first.is_braced()
        && !second.is_braced()
        && read_alike(first, second)
}

/// Do they read the same instrument in the same key from first to last?
fn read_alike(first: &Staff, second: &Staff) -> bool {
    in_common::taken([first, second]).is_some()
}

/// Of the bars in which either plays, cellos and basses must read the same in so many of four to
/// share a staff (our heuristic).
const MOSTLY: usize = 3;

/// Are these bowed strings of which the second sounds an octave lower than the first from the same
/// written notes, and do they mostly read the same: cellos and double basses?
fn have_one_bass(first: &Staff, second: &Staff) -> bool {
    let bowed = |staff: &Staff| !staff.instrument.open_strings.is_empty() && !staff.is_braced();
    let below = first.instrument.transposition == Interval::UNISON
        && second.instrument.transposition == Interval::octaves(-1);
    let same = |(a, b): (&Measure, &Measure)| a.key == b.key;
    let one_key = || first.measures.iter().zip(&second.measures).all(same);
    if !(bowed(first) && bowed(second) && below && one_key()) {
        return false;
    }
    let mut count = [0, 0];
    for bar in 0..first.measures.len() {
        match way([first, second], bar) {
            Way::Rest => {}
            Way::Unison => count[1] += 1,
            _ => count[0] += 1,
        }
    }
    count[1] > 0 && count[1] * 4 >= (count[0] + count[1]) * MOSTLY
}

/// Do they read the same instrument in the same key from first to last, as a pair of wind does?
pub(super) fn of_a_kind(first: &Staff, second: &Staff) -> bool {
    let line = |staff: &Staff| staff.id.rsplit_once('.').map(|(line, _)| line.to_owned());
    line(first).is_some()
        && line(first) == line(second)
        && number(first).is_some_and(|number| number % 2 == 1)
        && !first.is_braced()
        && !second.is_braced()
        && first.players == 1
        && second.players == 1
        && read_alike(first, second)
}

/// How two players stand on a staff in a bar.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Way {
    /// Nobody plays.
    Rest,
    /// Only this one plays (0 or 1).
    Alone(usize),
    /// Both play the same.
    Unison,
    /// Both, on one stem.
    Chords,
    /// Both, each with stems of his own.
    Apart,
}

/// Adds two players on one staff.
pub(super) fn add_pair<'a>(edition: &mut Edition<'a>, pair: [&'a Staff; 2], index: usize) {
    let player = edition.players.len();
    let part = edition.parts.len();
    let number = edition.staves.len();
    for (place, staff) in pair.iter().enumerate() {
        edition.players.push(EditionPlayer {
            index: index + place,
            id: staff.id.clone(),
            name: staff.name.clone(),
            short: staff.abbreviation.clone(),
            instruments: staff.instruments.clone(),
            count: staff.players,
            part,
        });
    }
    let mut bars: Vec<StaffBar> = Vec::with_capacity(edition.bars.len());
    let read = levels::read_together(pair);
    let read = [&*read[0], &*read[1]];
    let pins = Pins::of(read);
    let stays = levels::first_stays(read, pins.alone(1));
    let mut told = levels::told_apart(read);
    for (bar, apart) in told.iter_mut().enumerate() {
        *apart |= stays[bar].is_some() || pins.differ_in(bar);
    }
    let otherwise = partings::plays_otherwise(pair);
    let ways: Vec<Way> = (0..edition.bars.len())
        .map(|bar| match way(pair, bar) {
            // On one stem nobody could tell whose dynamic is whose, or who of them plucks.
            Way::Unison | Way::Chords
                if told[bar] || otherwise[bar] || shared_words::stressed_alone(read, bar) =>
            {
                Way::Apart
            }
            way => way,
        })
        .collect();
    let unsettled = smooth(pair, &ways);
    let clefs = clefs(pair);
    let names = shared_words::names(pair);
    // Cellos and basses read one key, each from instruments of their own.
    let taken = in_common::taken(pair).unwrap_or_else(|| in_common::own(pair[0]));
    let (mut lines, mut instrument) = (0, pair[0].instrument);
    for (bar, taken) in taken.into_iter().enumerate().take(edition.bars.len()) {
        let (first, second) = (&pair[0].measures[bar], &pair[1].measures[bar]);
        instrument = taken.instrument.unwrap_or(instrument);
        let now = staves::lines_of(instrument);
        let changed = std::mem::replace(&mut lines, now) != now;
        bars.push(StaffBar {
            lines: changed.then_some(now),
            instrument: taken.instrument,
            transposition: taken.transposition,
            key: taken.key,
            clefs: clefs[bar].clone(),
            voices: voices(unsettled[bar], [first, second], player),
            directions: {
                let read = read.map(|staff| &staff.measures[bar]);
                shared_words::said(unsettled[bar], read, (told[bar], stays[bar]), &names)
            },
            multi_rest: 0,
            counted: false,
            who: None,
            absent: false,
        });
    }
    let divided = are_halves(pair[0], pair[1]).then(|| Divided::of(pair, &unsettled));
    match &divided {
        Some(divided) => divided.say(&unsettled, &mut bars),
        None => {
            let together = |place| pins.set_out_together(place);
            shared_words::label(pair, &unsettled, &together, &mut bars);
        }
    }
    pins.name_second(&names[1], read[0], &mut bars);
    let [first, second] = pair;
    let earlier = if first_bar(second) < first_bar(first) { second } else { first };
    staves::leave_to_name(&mut bars, earlier.key_name.as_deref());
    settle(&mut bars);
    let mut staff = EditionStaff { part, bars, spans: Vec::new() };
    staff.spans = spans::of_voices(&staff);
    staff.spans.extend(pins.placed(read, &names[1], &mut staff.bars));
    lifted::lift(&mut staff);
    hairpin_words::join(&mut staff, Some(read));
    edition.staves.push(staff);
    spans::number(&mut edition.staves[number..]);
    edition.parts.push(EditionPart {
        name: match &first.half_of {
            Some(whole) => whole.name.clone(),
            None => shared_name(pair.map(|staff| &staff.name), earlier),
        },
        short: match &first.half_of {
            Some(whole) => whole.abbreviation.clone(),
            None => shared_short(pair.map(|staff| &staff.abbreviation)),
        },
        players: player..player + 2,
        staves: number..number + 1,
    });
    partings::add(edition, pair, (player, part), divided.as_ref());
}

/// The first bar in which somebody plays.
fn first_bar(staff: &Staff) -> usize {
    staff.measures.iter().position(|measure| !rests(measure)).unwrap_or(usize::MAX)
}

/// "Horns 1, 2 in D" from "Horn 1" and "Horn 2"; both names in full where they do not end alike.
fn shared_name([first, second]: [&String; 2], of: &Staff) -> String {
    let key = of.key_name.as_ref().map_or_else(String::new, |key| format!(" {key}"));
    match (first.rsplit_once(' '), second.rsplit_once(' ')) {
        (Some((name, one)), Some((other, two))) if name == other => {
            let named = name == of.instrument.name;
            let name = if named { &of.instrument.plural } else { name };
            format!("{name} {one}, {two}{key}")
        }
        _ => format!("{first}, {second}{key}"),
    }
}

/// "Hn. 1, 2" from "Hn. 1" and "Hn. 2".
fn shared_short([first, second]: [&String; 2]) -> String {
    match (first.rsplit_once(' '), second.rsplit_once(' ')) {
        (Some((name, one)), Some((other, two))) if name == other => format!("{name} {one}, {two}"),
        _ => format!("{first}, {second}"),
    }
}

pub(super) fn rests(measure: &Measure) -> bool {
    measure.elements.iter().all(|element| !matches!(element.kind, ElementKind::Note(_)))
}

fn way(pair: [&Staff; 2], bar: usize) -> Way {
    let [first, second] = [&pair[0].measures[bar], &pair[1].measures[bar]];
    match (rests(first), rests(second)) {
        (true, true) => Way::Rest,
        (false, true) => Way::Alone(0),
        (true, false) => Way::Alone(1),
        (false, false) if alike(first, second, Heads::Same) => Way::Unison,
        (false, false) if alike(first, second, Heads::Above) => Way::Chords,
        (false, false) => Way::Apart,
    }
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Heads {
    /// The same pitches.
    Same,
    /// Those of the first nowhere below those of the second, and never a third part between.
    Above,
}

/// Have two players the same signs in a bar, but for the pitches?
fn alike(first: &Measure, second: &Measure, heads: Heads) -> bool {
    first.elements.len() == second.elements.len()
        && first.elements.iter().zip(&second.elements).all(|(a, b)| {
            let same = (a.at, a.length, a.value, a.tuplet) == (b.at, b.length, b.value, b.tuplet);
            same && match (&a.kind, &b.kind) {
                (ElementKind::Note(a), ElementKind::Note(b)) => notes_alike(a, b, heads),
                (a, b) => a == b,
            }
        })
}

fn notes_alike(a: &StaffNote, b: &StaffNote, heads: Heads) -> bool {
    let signs = |note: &StaffNote| {
        let touched = note.harmonic.is_some();
        (note.grace, note.marks, note.tremolo, note.tie_from, note.tie_to, note.paired, touched)
    };
    let slurs = (a.slur_starts, a.slur_ends) == (b.slur_starts, b.slur_ends);
    let pitches = match heads {
        Heads::Same => {
            a.heads.iter().map(|head| head.pitch).eq(b.heads.iter().map(|head| head.pitch))
        }
        // A trill or turn would be read for both notes.
        Heads::Above => match (a.heads.first(), b.heads.last()) {
            (Some(a), Some(b)) => a.pitch.step() > b.pitch.step(),
            (a, b) => a.is_none() && b.is_none(),
        },
    };
    let ornamented = heads == Heads::Above && a.ornament_accidental != b.ornament_accidental;
    // Of two artificial harmonics on one stem nobody could tell which fingers are whose.
    let touched = heads == Heads::Above && a.harmonic.is_some();
    signs(a) == signs(b) && slurs && pitches && !ornamented && !touched
}

/// Of a player, is he under a slur at the end of each bar, and does a tie go over it?
fn over_bar_lines(staff: &Staff) -> Vec<(bool, bool)> {
    let mut open = false;
    let measures = staff.measures.iter();
    measures
        .map(|measure| {
            for element in &measure.elements {
                let ElementKind::Note(note) = &element.kind else { continue };
                open = (open && !note.slur_ends) || note.slur_starts;
            }
            let last = measure.elements.last().map(|element| &element.kind);
            (open, matches!(last, Some(ElementKind::Note(note)) if note.tie_to))
        })
        .collect()
}

/// What the second player has under a slur or tie over a bar-line would be cut where his voice becomes one
/// with the first's, or the other way: such bars are all written apart. So are those in the midst of a slur
/// that only one of them has. The first has the upper voice always: where he plays alone nothing is cut.
fn smooth(pair: [&Staff; 2], ways: &[Way]) -> Vec<Way> {
    let mut ways = ways.to_vec();
    let [first, second] = pair.map(over_bar_lines);
    for (bar, way) in ways.iter_mut().enumerate() {
        let slurs = |end: usize| first[end].0 != second[end].0;
        let differ = slurs(bar) || bar.checked_sub(1).is_some_and(slurs);
        if differ && matches!(way, Way::Unison | Way::Chords) {
            *way = Way::Apart;
        }
    }
    let joined = |bar: usize| second[bar].0 || second[bar].1;
    for bar in 1..ways.len() {
        if joined(bar - 1) && ways[bar - 1] == Way::Apart {
            ways[bar] = Way::Apart;
        }
    }
    for bar in (1..ways.len()).rev() {
        if joined(bar - 1) && ways[bar] == Way::Apart {
            ways[bar - 1] = Way::Apart;
        }
    }
    ways
}

fn voices<'a>(way: Way, measures: [&'a Measure; 2], player: usize) -> SmallVec<[VoiceBar<'a>; 1]> {
    let one = |measure: &'a Measure, players| VoiceBar {
        number: 1,
        stems: Stems::Free,
        players,
        elements: Cow::Borrowed(&measure.elements[..]),
    };
    let both = player..player + 2;
    match way {
        Way::Rest | Way::Unison => smallvec![one(measures[0], both)],
        Way::Alone(who) => smallvec![one(measures[who], player + who..player + who + 1)],
        Way::Chords => {
            let elements = measures[0].elements.iter().zip(&measures[1].elements);
            let elements = elements.map(|(first, second)| chord(first, second)).collect();
            smallvec![VoiceBar {
                number: 1,
                stems: Stems::Free,
                players: both,
                elements: Cow::Owned(elements),
            }]
        }
        Way::Apart => {
            let voice = |who: usize, stem, stems| {
                let mut elements = measures[who].elements.clone();
                force(&mut elements, stem);
                VoiceBar {
                    number: who.narrow::<u8>() + 1,
                    stems,
                    players: player + who..player + who + 1,
                    elements: Cow::Owned(elements),
                }
            };
            smallvec![voice(0, Stem::Up, Stems::Up), voice(1, Stem::Down, Stems::Down)]
        }
    }
}

/// Sets all stems of one bar one way, for one of two voices.
fn force(elements: &mut [Element], stem: Stem) {
    for element in elements {
        let has_one = matches!(element.kind, ElementKind::Note(_)) && element.value.log2 >= 1;
        element.stem = if has_one { stem } else { Stem::None };
    }
}

/// The notes of both on one stem.
fn chord(first: &Element, second: &Element) -> Element {
    let mut both = second.clone();
    if let (ElementKind::Note(lower), ElementKind::Note(upper)) = (&mut both.kind, &first.kind) {
        lower.heads.extend(upper.heads.iter().copied());
        lower.lyrics.clone_from(&upper.lyrics);
    }
    both
}

/// The clefs of the first player; where another of the same kind has others, such as suit both, but for the
/// bars in which they lie so far apart that each has a staff of his own.
fn clefs(pair: [&Staff; 2]) -> Vec<SmallVec<[(Time, Clef); 1]>> {
    let [first, second] = pair.map(|staff| &staff.measures[..]);
    let alike = first.iter().zip(second).all(|(first, second)| first.clefs == second.clefs);
    if alike || pair[0].instrument.clefs.len() < 2 || !read_alike(pair[0], pair[1]) {
        return first.iter().map(|measure| measure.clefs.clone()).collect();
    }
    of_two([first, second], pair[0].instrument, &partings::lie_far_apart(pair))
}

/// Decides accidentals and stems anew for the whole staff: both players read the same bars, and where each has a
/// voice of his own, an accidental of the other does not hold for him (Gould, Behind Bars, 2011, from memory).
fn settle(bars: &mut [StaffBar]) {
    let mut accidentals = Accidentals::new();
    let (mut key, mut clef) = (Key::C_MAJOR, Clef::Treble);
    for bar in bars {
        key = bar.key.unwrap_or(key);
        let mut elements: Vec<&mut Element> =
            bar.voices.iter_mut().flat_map(|voice| voice.elements.to_mut()).collect();
        elements.sort_by_key(|element| element.at);
        accidentals.mark_bar(elements, key, bar.key.is_some(), bar.transposition.is_some());
        let voices = bar.voices.iter_mut();
        accidentals::mark_alone(
            voices.map(|voice| (&mut voice.elements.to_mut()[..], voice.players.len() > 1)),
            key,
        );
        let before = clef;
        for voice in &mut bar.voices {
            let forced = voice.stems;
            let elements = voice.elements.to_mut();
            if forced == Stems::Free {
                clef = stems::set_bar(elements, &bar.clefs, before);
            } else {
                clef = bar.clefs.last().map_or(before, |(_, last)| *last);
            }
        }
    }
}

#[cfg(test)]
#[path = "condensed_tests.rs"]
mod tests;

//! What stands in one bar of one staff, in short strings.

use crate::music::Time;
use crate::notate::{Element, ElementKind, Grace, StaffNote, Syllable};

use super::words;

/// A note or a rest as it is shown.
#[derive(Clone, Debug)]
pub(super) struct Cell {
    /// Times from the bar's beginning.
    pub(super) at: Time,
    pub(super) end: Time,
    pub(super) kind: CellKind,
    /// Name with octave and grace notes; empty for a rest.
    pub(super) name: String,
    /// Name with octave as it is repeated when a line begins with a held note; else empty.
    pub(super) held_name: String,
    /// The value as the source writes it, where it must be said; else empty.
    pub(super) value: String,
    pub(super) signs: String,
    /// Syllables, each with its verse.
    pub(super) lyrics: Vec<(u8, String)>,
    pub(super) tie_to: bool,
    pub(super) slur_starts: bool,
    pub(super) slur_ends: bool,
    /// A slur that goes over both staves of the player begins here, or ends.
    pub(super) slur_across: (bool, bool),
    pub(super) tuplet_starts: Option<String>,
    pub(super) tuplet_ends: bool,
    /// Does somebody else play it?
    pub(super) cue: bool,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum CellKind {
    Struck,
    /// Held on from the note before.
    Held,
    Rest,
    BarRest,
}

/// The cells of a voice in a bar, in order. The octave is shown at the first note of the bar and where
/// it changes.
pub(super) fn of_voice(elements: &[Element]) -> Vec<Cell> {
    let mut cells = Vec::with_capacity(elements.len());
    let mut octave = None;
    let mut graces = Graces::default();
    for element in elements {
        let ElementKind::Note(note) = &element.kind else {
            cells.push(rest(element));
            continue;
        };
        if let Some(grace) = note.grace {
            graces.add(note, grace, &mut octave);
            continue;
        }
        cells.push(sounding(element, note, &mut graces, &mut octave));
    }
    cells
}

/// Says values in a bar in which the beats over it do not: each where it changes, and it holds until
/// the next, as in a source. `marked` tells whether something stands over a time of the bar.
pub(super) fn say_values(
    cells: &mut [Cell],
    elements: &[Element],
    length: Time,
    marked: impl Fn(Time) -> bool,
) {
    let is_seen = |at: Time| at == length || marked(at);
    // Grace notes are part of the cell of their note.
    let timed = || elements.iter().filter(|element| element.length.is_positive());
    let says_itself = |(cell, element): (&Cell, &Element)| {
        cell.kind == CellKind::BarRest
            || element.tuplet.is_none() && is_seen(cell.at) && is_seen(cell.end)
    };
    if cells.iter().zip(timed()).all(says_itself) {
        return;
    }
    let mut in_force = None;
    for (cell, element) in cells.iter_mut().zip(timed()) {
        if in_force.replace(element.value) != Some(element.value) {
            cell.value = words::value(element.value);
        }
    }
}

/// Grace notes that wait for their note.
#[derive(Default)]
struct Graces {
    names: String,
    slur_starts: bool,
}

impl Graces {
    fn add(&mut self, note: &StaffNote, grace: Grace, octave: &mut Option<i8>) {
        let opening = match grace {
            _ if !self.names.is_empty() => " ",
            Grace::Plain => "(",
            Grace::Crushed => "(/",
        };
        self.names.push_str(opening);
        self.names.push_str(&heads(note, octave));
        self.slur_starts |= note.slur_starts;
    }

    fn take(&mut self) -> (String, bool) {
        let taken = std::mem::take(self);
        let names = if taken.names.is_empty() { String::new() } else { taken.names + ")" };
        (names, taken.slur_starts)
    }
}

fn sounding(
    element: &Element,
    note: &StaffNote,
    graces: &mut Graces,
    octave: &mut Option<i8>,
) -> Cell {
    let (grace_names, grace_slur) = graces.take();
    let (mut name, mut held_name) = (String::new(), String::new());
    if note.tie_from {
        held_name = format!("…{}", heads(note, &mut None));
        // The name is not repeated inside a line, so the next note says its octave again.
        *octave = None;
    } else {
        name = grace_names + &heads(note, octave);
    }
    // A slur from a grace note to its own note is understood.
    let within = grace_slur && note.slur_ends;
    Cell {
        kind: if note.tie_from { CellKind::Held } else { CellKind::Struck },
        name,
        held_name,
        signs: words::signs(note),
        lyrics: note
            .lyrics
            .iter()
            .map(|syllable| {
                let number = if note.verses_numbered {
                    format!("{}. ", syllable.verse)
                } else {
                    String::new()
                };
                (syllable.verse, number + &sung(syllable))
            })
            .collect(),
        tie_to: note.tie_to,
        slur_starts: note.slur_starts || (grace_slur && !within),
        slur_ends: note.slur_ends && !within,
        slur_across: (note.slur_leaves, note.slur_arrives),
        ..rest(element)
    }
}

/// A syllable as it stands under its note: with a hyphen where the word goes on, with a line where
/// it is held.
fn sung(syllable: &Syllable) -> String {
    let after = match (syllable.goes_on, syllable.melisma) {
        (true, _) => "-",
        (false, true) => "_",
        (false, false) => "",
    };
    format!("{}{after}", syllable.text)
}

fn rest(element: &Element) -> Cell {
    let (kind, fermata) = match &element.kind {
        ElementKind::BarRest { fermata } => (CellKind::BarRest, *fermata),
        ElementKind::Rest { fermata } => (CellKind::Rest, *fermata),
        ElementKind::Note(_) => (CellKind::Rest, false),
    };
    let tuplet = element.tuplet;
    Cell {
        at: element.at,
        end: element.at + element.length,
        kind,
        name: String::new(),
        held_name: String::new(),
        value: String::new(),
        signs: if fermata { "ferm.".to_string() } else { String::new() },
        lyrics: Vec::new(),
        tie_to: false,
        slur_starts: false,
        slur_ends: false,
        slur_across: (false, false),
        tuplet_starts: tuplet
            .filter(|tuplet| tuplet.starts)
            .map(|tuplet| words::ratio(tuplet.actual, tuplet.normal)),
        tuplet_ends: tuplet.is_some_and(|tuplet| tuplet.ends),
        cue: element.cue,
    }
}

/// The names of a note's heads from the lowest up; a cross for a stroke without pitch.
fn heads(note: &StaffNote, octave: &mut Option<i8>) -> String {
    words::pitches(note, |head| head.accidental_shown, octave)
}

//! Notes that the pedals of the harp cannot give.
//!
//! # What it finds
//! Two notes of one letter at once with different accidentals (C and C sharp are one string), changes
//! of pedals that come too quickly (each foot changes one pedal at a time), and double sharps and
//! flats, which no pedal sets.
//!
//! # Why it matters
//! The harp has seven strings to the octave. Chromatic runs, which are easy on a keyboard, need a
//! pedal for every second note; the harpist leaves notes out.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 120
//!   4 end }
//! voice tune { 1: 1/1 C5 | 2: 1/16 C5 C# D D# E F F# G G# A A# B C6 B A G | 3: 1/1 C5 | 4: 1/1 C5 | }
//! ensemble few { era 1885
//!   harp }
//! scoring few for few {
//!   harp plays tune as harmony
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 120
//!   4 end }
//! voice tune { 1: 1/1 C5 | 2: 1/8 C5 E G C6 B5 G E D | 3: 1/1 C5 | 4: 1/1 C5 | }
//! ensemble few { era 1885
//!   harp }
//! scoring few for few {
//!   harp plays tune as harmony
//! }
//! ```
//!
//! # Source
//! Pedals for D, C and B under the left foot, for E, F, G and A under the right one: common
//! practice. The time that a change takes is stated in the catalogue and is our heuristic.

use crate::arrange::PackedNote;
use crate::check::alternatives::all_pitches;
use crate::check::context::{Context, Stretch};
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::Severity;
use crate::instruments::{Feet, Pedals, Unset, respelled};
use crate::music::Pitch;

pub const RULE: Rule = Rule {
    code: "agility/pedals",
    severity: Severity::Warning,
    scope: Scope::Player(check),
    grounds: Grounds::Notes,
    absence: false,
    cause: Cause::Line,
    text: include_str!("pedals.rs"),
};

/// What is wrong with a note.
#[derive(Clone, Copy)]
enum Fault {
    /// Two notes of one string at once.
    OneString(Pitch, Pitch),
    /// Seconds that there are and that the changes need.
    NoTime(f64, f64),
    /// A double accidental, and the same note under a letter that has it.
    NoPedal(Pitch, Option<Pitch>),
}

impl Fault {
    fn kind(&self) -> u8 {
        match self {
            Fault::OneString(..) => 0,
            Fault::NoTime(..) => 1,
            Fault::NoPedal(..) => 2,
        }
    }

    /// What is said of a passage of such faults, and what to do.
    fn words(self, name: &str, place: &str) -> (String, String) {
        match self {
            Fault::OneString(one, two) => (
                format!("{name}: {one} and {two} in {place} are on one string."),
                format!(
                    "Write one of them with another letter ({two} may be respelled), or leave it out."
                ),
            ),
            Fault::NoTime(has, needs) => (
                format!(
                    "{name}: {has:.1} seconds for changes of pedals that take about {needs:.1}, before {place}."
                ),
                "Spell the passage with fewer letters that change, write it slower, or give the chromatic notes to others.".to_string(),
            ),
            Fault::NoPedal(note, other) => (
                format!("{name}: no pedal sets {note} in {place}: the harp has flats, naturals and sharps."),
                match other {
                    Some(other) => format!("Spell it {other}."),
                    None => "Spell it with another letter.".to_string(),
                },
            ),
        }
    }
}

fn check(cx: &Context, findings: &mut Findings) {
    for stretch in cx.stretches() {
        let Stretch { player, part, instrument, .. } = stretch;
        let Some(pedals) = &instrument.pedals else { continue };
        let offences =
            cx.offences_of_stretch(&RULE, &stretch, || faults(cx, player, stretch.range(), pedals));
        for passage in cx.passages_by(&RULE, player, offences, Fault::kind) {
            let place = cx.form.place(passage.first().start());
            let place = format!("{place}{}", passage.and_more());
            let (message, help) = passage.detail().words(&part.player.name, &place);
            let finding = cx.finding(&RULE, &passage, message).with_help(help);
            findings.push_passage(cx, &passage, cx.with_allow_for(finding, &passage));
        }
    }
}

/// Walks through the notes with the pedals as they were last used.
fn faults(
    cx: &Context,
    player: usize,
    notes: std::ops::Range<usize>,
    pedals: &Pedals,
) -> Vec<(usize, Fault)> {
    let (part, times) = (cx.part(player), cx.times(player));
    let mut feet = Feet::new(pedals);
    let needs = feet.one();
    let mut found = Vec::new();
    for index in notes {
        let note = &part.notes[index];
        if let Some((a, b)) = one_string(note) {
            found.push((index, Fault::OneString(a, b)));
            continue;
        }
        for pitch in all_pitches(note) {
            match feet.play(pitch, times.begin(index)) {
                Ok(()) => {}
                Err(Unset::NoTime(has)) => found.push((index, Fault::NoTime(has, needs))),
                Err(Unset::NoPedal) => {
                    found.push((index, Fault::NoPedal(pitch, respelled(pitch).next())));
                }
            }
        }
    }
    found.dedup_by_key(|(index, _)| *index);
    found
}

fn one_string(note: &PackedNote) -> Option<(Pitch, Pitch)> {
    let pitches = note.sound().pitches();
    pitches.iter().enumerate().find_map(|(index, one)| {
        let clash = |two: &&Pitch| {
            one.name().letter == two.name().letter && one.name().alter != two.name().alter
        };
        pitches[index + 1..].iter().find(clash).map(|two| (*one, *two))
    })
}

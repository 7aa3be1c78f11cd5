//! A slur that is longer than the bow.
//!
//! # What it finds
//! Slurs of bowed strings that last longer than one bow: about twelve seconds at piano and seven at
//! forte, between the two in proportion (our heuristic). Of the breath of wind players
//! `endurance/no-breath` applies.
//!
//! # Why it matters
//! The players change the bow anyway, each where they like, and the phrase is broken where nobody
//! intended it. A slur over the phrase is the composer's breath; the bowing wants shorter ones.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 60
//!   4 end }
//! dynamics { 1 f }
//! voice tune { 1: {1/2 G4 A4 | 2: B4 C5 | 3: 1/1 D5} | 4: 1/1 G4 | }
//! ensemble few { era 1885
//!   violin-1 12 players }
//! scoring few for few {
//!   violin-1 plays tune as melody
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 60
//!   4 end }
//! dynamics { 1 f }
//! voice tune { 1: {1/2 G4 A4} | 2: {B4 C5} | 3: 1/1 D5 | 4: 1/1 G4 | }
//! ensemble few { era 1885
//!   violin-1 12 players }
//! scoring few for few {
//!   violin-1 plays tune as melody
//! }
//! ```
//!
//! # Source
//! Common practice; the seconds are our heuristic.

use crate::check::context::{Context, Stretch};
use crate::check::loudness::Degree;
use crate::check::{Cause, Findings, Grounds, Rule, Scope, words};
use crate::diagnostics::Severity;

pub const RULE: Rule = Rule {
    code: "strings/slur-too-long",
    severity: Severity::Advice,
    scope: Scope::Player(check),
    grounds: Grounds::Notes,
    absence: false,
    cause: Cause::Line,
    text: include_str!("slur_too_long.rs"),
};

/// Seconds that a bow lasts at piano and at forte. Our heuristic.
const BOW: (f64, f64) = (12.0, 7.0);

fn check(cx: &Context, findings: &mut Findings) {
    for stretch in cx.stretches() {
        let Stretch { player, part, instrument, .. } = stretch;
        if !instrument.bowed() {
            continue;
        }
        let offences = cx.offences_of_stretch(&RULE, &stretch, || too_long(cx, &stretch));
        for passage in cx.passages(&RULE, player, offences) {
            let (seconds, bow) = *passage.detail();
            let message = format!(
                "{}: the slur from {} on lasts {seconds:.0} seconds ({}), and a bow about {bow:.0} here.",
                part.player.name,
                cx.form.place(passage.first().start()),
                words::bars(&passage.bars),
            );
            let finding = cx
                .finding(&RULE, &passage, message)
                .with_help("Divide the slur where the bow may change, on a strong beat.");
            findings.push_line(cx, passage.line, cx.with_allow_for(finding, &passage));
        }
    }
}

/// The notes of slurs for which no bow is long enough, each with the seconds of its slur and those
/// of a bow.
fn too_long(cx: &Context, stretch: &Stretch) -> Vec<(usize, (f64, f64))> {
    let Stretch { player, part, .. } = *stretch;
    let times = cx.times(player);
    let mut offences: Vec<(usize, (f64, f64))> = Vec::new();
    let mut began: Option<usize> = None;
    for (index, note) in stretch.notes() {
        if note.attached().slur_starts && began.is_none() {
            began = Some(index);
        }
        let Some(first) = began.filter(|_| note.attached().slur_ends) else { continue };
        began = None;
        let seconds = times.end(index) - times.begin(first);
        let degrees = part.notes[first..=index]
            .iter()
            .map(|note| (cx.degree(player, note.start()), note.length()));
        let degree = Degree::mean(degrees).unwrap_or(Degree::USUAL).to_f64();
        let louder = ((degree - 2.0) / 3.0).clamp(0.0, 1.0);
        let bow = (BOW.0 + (BOW.1 - BOW.0) * louder) * cx.limit(&RULE) / 100.0;
        if seconds > bow {
            offences.extend((first..=index).map(|note| (note, (seconds, bow))));
        }
    }
    offences
}

//! The bass is too thin for what it carries.
//!
//! # What it finds
//! Stretches of four seconds or more in which eight or more players sound from mezzo forte up and
//! those with the bass make up less than a twentieth of the whole strength (our heuristic),
//! weighed as for `balance/melody-covered`. Whoever plays the notes of the bass in another role, as a
//! tune for example, carries it too. Passages without any bass line are taken as intended.
//!
//! # Why it matters
//! The harmony loses its ground: chords sound in the inversion of the lowest note one happens to
//! hear.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! dynamics { 1 f }
//! voice tune { 1: 1/1 E5 | 2: 1/1 E5 | 3: 1/1 E5 | 4: 1/1 E5 | }
//! voice fill { 1: 1/1 C4 | 2: 1/1 C4 | 3: 1/1 C4 | 4: 1/1 C4 | }
//! voice low { 1: 1/1 C3 | 2: 1/1 C3 | 3: 1/1 C3 | 4: 1/1 C3 | }
//! ensemble few { era 1885
//!   flute 2, oboe 2, horn 4 in F, trumpet 2 in C, tenor-trombone 2, violin-1 12 players, cello 6 players, bassoon 2 }
//! scoring few for few {
//!   violin-1, flute, oboe plays tune as melody
//!   horn, trumpet, tenor-trombone plays fill as harmony
//!   bassoon.1 plays low as bass
//!   cello, bassoon.2 rests
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! dynamics { 1 f }
//! voice tune { 1: 1/1 E5 | 2: 1/1 E5 | 3: 1/1 E5 | 4: 1/1 E5 | }
//! voice fill { 1: 1/1 C4 | 2: 1/1 C4 | 3: 1/1 C4 | 4: 1/1 C4 | }
//! voice low { 1: 1/1 C3 | 2: 1/1 C3 | 3: 1/1 C3 | 4: 1/1 C3 | }
//! ensemble few { era 1885
//!   flute 2, oboe 2, horn 4 in F, trumpet 2 in C, tenor-trombone 2, violin-1 12 players, cello 6 players, bassoon 2 }
//! scoring few for few {
//!   violin-1, flute, oboe plays tune as melody
//!   horn, trumpet, tenor-trombone plays fill as harmony
//!   bassoon.1 plays low as bass
//!   cello, bassoon.2 plays low as bass
//! }
//! ```
//!
//! # Source
//! Equivalences: Rimsky-Korsakov, Principles of Orchestration, tr. Agate, 1922, ch. I. The
//! threshold is our heuristic.

use crate::check::context::Context;
use crate::check::slices::{Slice, Sounding};
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::Severity;
use crate::resolve::{Dynamic, Role};

pub const RULE: Rule = Rule {
    code: "balance/bass-thin",
    severity: Severity::Advice,
    scope: Scope::Moment(check),
    grounds: Grounds::Strength,
    absence: false,
    cause: Cause::Line,
    text: include_str!("bass_thin.rs"),
};

/// Players from which a bass is asked for. Our heuristic.
const PLAYERS: usize = 8;
/// Seconds from which it counts. Our heuristic.
const LONG: f64 = 4.0;

fn check(cx: &Context, findings: &mut Findings) {
    let moments = cx.moments(&RULE, |slice, found: &mut Vec<(Sounding, f64)>| {
        found.extend(thin(cx, slice));
    });
    let offences = super::in_runs(cx, moments, LONG, 0.0);
    for (player, offences) in offences.into_iter().enumerate() {
        for passage in cx.passages(&RULE, player, offences) {
            let message = format!(
                "{}: the bass is too thin from {} on ({}): about 1/{} of the total weight.",
                passage.part.player.name,
                cx.form.place(passage.first().start()),
                crate::check::words::bars(&passage.bars),
                (1.0 / passage.detail().max(0.001)).round(),
            );
            let finding = cx.finding(&RULE, &passage, message).with_help(
                "Let cellos, double basses, bassoons or the bass trombone play the bass line too.",
            );
            findings.push_line(cx, passage.line, cx.with_allow_for(finding, &passage));
        }
    }
}

fn thin(cx: &Context, slice: Slice) -> Option<(Sounding, f64)> {
    if slice.sounding.len() < PLAYERS {
        return None;
    }
    let parts = &cx.arrangement.parts;
    let is_bass = |one: &&Sounding| one.of(parts).role() == Role::Bass;
    let first = slice.sounding.iter().find(is_bass)?;
    let is_loud = |one: &&Sounding| cx.degree(one.player(), slice.start).reaches(Dynamic::Mf);
    if slice.sounding.iter().filter(is_loud).count() < PLAYERS {
        return None;
    }
    let (mut whole, mut bass) = (0.0, 0.0);
    for one in slice.sounding {
        let strength = super::strength(cx, *one, slice.start);
        whole += strength;
        if is_bass(&one) {
            bass += strength;
        }
    }
    let enough = cx.limit(&RULE) / 100.0 * whole;
    if bass >= enough {
        return None;
    }
    // Whoever plays the notes of the bass in another role carries it too.
    let of_bass = |one: &&Sounding| {
        let same = |bass: &Sounding| bass.of(parts).source() == one.of(parts).source();
        !is_bass(one) && slice.sounding.iter().filter(is_bass).any(same)
    };
    let carriers = slice.sounding.iter().filter(of_bass);
    bass += carriers.map(|one| super::strength(cx, *one, slice.start)).sum::<f64>();
    (bass < enough).then_some((*first, bass / whole))
}

//! High and loud for long.
//!
//! # What it finds
//! Wind players who, at forte or louder, stay in the taxing register of their instrument for more
//! than twelve seconds without a rest of three. Where the catalogue names none, it is the highest
//! fourth (brass: major third) of the custom of the era (our heuristic).
//!
//! # Why it matters
//! It costs the lips and the breath more than anything else, goes sharp, and wears out its own
//! effect. This is a caution, not a measurement: the players and local noise-at-work rules decide.
//! NIOSH recommends 85 dB(A) as an average over eight hours, 3 dB more halving the time; Directive
//! 2003/10/EC has action values of 80 and 85 dB(A) and a limit of 87 dB(A).
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 60
//!   8 end }
//! dynamics { 1 f }
//! voice tune { 1: 1/2 C6 1/4 D6 rest | 2: 1/2 C6 1/4 D6 rest | 3: 1/2 C6 1/4 D6 rest | 4: 1/2 C6 1/4 D6 rest | 5: 1/1 D5 | 6: rest | 7: 1/1 C5 | 8: C5 | }
//! ensemble few { era 1810
//!   oboe }
//! scoring few for few {
//!   oboe plays tune as harmony
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 60
//!   8 end }
//! dynamics { 1 f }
//! voice tune { 1: 1/2 C6 1/4 D6 rest | 2: 1/2 C6 1/4 D6 rest | 3: rest | 4: 1/2 C5 1/4 B4 rest | 5: 1/1 D5 | 6: rest | 7: 1/1 C5 | 8: C5 | }
//! ensemble few { era 1810
//!   oboe }
//! scoring few for few {
//!   oboe plays tune as harmony
//! }
//! ```
//!
//! # Source
//! Common practice; the figures are our heuristic. On exposure: NIOSH, criteria of 1998;
//! Directive 2003/10/EC, art. 3.

use crate::check::alternatives::{all_pitches, custom, height};
use crate::check::context::{Context, Stretch};
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::Severity;
use crate::instruments::Family;
use crate::resolve::Dynamic;

pub const RULE: Rule = Rule {
    code: "compass/high-and-loud",
    severity: Severity::Advice,
    scope: Scope::Player(check),
    grounds: Grounds::Loudness,
    absence: false,
    cause: Cause::Line,
    text: include_str!("high_and_loud.rs"),
};

/// Seconds of a rest that ends a stretch. Our heuristic.
const REST: f64 = 3.0;
/// Semitones below the top of custom that count as high: a major third of the brass, whose top is
/// nearer to every day, a fourth of the woodwind. Our heuristic.
const TOP: (i32, i32) = (4, 5);

fn check(cx: &Context, findings: &mut Findings) {
    for stretch in cx.stretches() {
        let Stretch { player, part, instrument, .. } = stretch;
        if !instrument.breathes {
            continue;
        }
        let Some(compass) = custom(instrument, false, cx.era) else { continue };
        let below = if instrument.family == Family::Brass { TOP.0 } else { TOP.1 };
        let top = compass.high.midi() - below;
        let high = instrument.taxing(cx.era).map_or(top, |taxing| taxing.low.midi());
        let offences = too_long(cx, player, &high_and_loud(cx, &stretch, high));
        for passage in cx.passages(&RULE, player, offences) {
            let message = format!(
                "{} stays high and loud for {:.0} seconds from {} on ({}).",
                part.player.name,
                passage.detail(),
                cx.form.place(passage.first().start()),
                crate::check::words::bars(&passage.bars),
            );
            let finding = cx.finding(&RULE, &passage, message).with_help(
                "Let the player rest in between, or take turns with the second; keep the height for the peak. The players decide what can be asked.",
            );
            findings.push_line(cx, passage.line, cx.with_allow_for(finding, &passage));
        }
    }
}

/// The notes from a pitch on (MIDI, as compasses count) at forte.
fn high_and_loud(cx: &Context, stretch: &Stretch, high: i32) -> Vec<(usize, ())> {
    let Stretch { player, part, .. } = *stretch;
    cx.offences_of_notes(&RULE, stretch, |note| {
        all_pitches(note).any(|p| height(part, p, note.start()) >= high)
            && cx.degree(player, note.start()).reaches(Dynamic::F)
    })
}

/// Those that follow one another for too long, with the seconds of their run.
fn too_long(cx: &Context, player: usize, notes: &[(usize, ())]) -> Vec<(usize, f64)> {
    let times = cx.times(player);
    let goes_on = |(one, ()): &(usize, ()), (next, ()): &(usize, ())| {
        one + 1 == *next && times.begin(*next) - times.end(*one) < REST
    };
    let runs = notes.chunk_by(goes_on).filter_map(|run| {
        let (first, last) = (run.first()?.0, run.last()?.0);
        let seconds = times.end(last) - times.begin(first);
        (seconds > cx.limit(&RULE)).then(|| (first..=last).map(move |note| (note, seconds)))
    });
    runs.flatten().collect()
}

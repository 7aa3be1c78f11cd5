//! A note that the instrument does not have.
//!
//! # What it finds
//! Notes and grace notes below or above everything that the instrument of the era gives, and notes
//! within its ends that it lacks (the C sharp above middle C on the oboe before 1770). The octave
//! in which the player reads does not matter: the catalogue says whether a compass is meant in
//! written or in sounding pitch. Brass without valves and timpani have rules of their own for the notes
//! between the ends.
//!
//! # Why it matters
//! The note cannot be played. Somebody will leave it out, or guess another octave.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 2/4, key G major
//!   2 end }
//! voice tune { 1: 1/2 G4 | 2: G3 | }
//! ensemble pair { era 1770
//!   oboe }
//! scoring pair for pair {
//!   oboe plays tune as melody
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 2/4, key G major
//!   2 end }
//! voice tune { 1: 1/2 G4 | 2: G3 | }
//! ensemble pair { era 1770
//!   oboe }
//! scoring pair for pair {
//!   oboe plays tune 8va as melody
//! }
//! ```
//!
//! # Source
//! The catalogue of instruments names its source beside every compass (`ripieno instruments`):
//! Johnstone, Instruments of the Modern Symphony Orchestra, 1917; Grove, A Dictionary of Music and
//! Musicians; Prout, The Orchestra, vol. 1, 1898, and others.

use crate::arrange::{PackedNote, Part};
use crate::check::alternatives::{Outside, advise, all_pitches, in_compass_pitch, outside, tuned};
use crate::check::context::{Context, Stretch};
use crate::check::passage::Passage;
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::Severity;
use crate::instruments::Limit;
use crate::music::{Interval, Pitch};

pub const RULE: Rule = Rule {
    code: "compass/beyond-instrument",
    severity: Severity::Error,
    scope: Scope::Player(check),
    grounds: Grounds::Notes,
    absence: false,
    cause: Cause::Line,
    text: include_str!("beyond_instrument.rs"),
};

fn check(cx: &Context, findings: &mut Findings) {
    for stretch in cx.stretches() {
        let Stretch { player, part, instrument, .. } = stretch;
        let Some(compass) = instrument.compass(Limit::Instrument, cx.era) else { continue };
        if instrument.unpitched {
            continue;
        }
        let look = |(index, note): (usize, &PackedNote)| {
            // Of a drum that is not tuned another rule speaks.
            if !instrument.drums.is_empty() && all_pitches(note).any(|p| !tuned(part, p, note)) {
                return None;
            }
            let found: Option<(Pitch, Outside)> = all_pitches(note)
                .find_map(|p| outside(part, compass, p, note.start()).map(|side| (p, side)));
            found.map(|found| (index, found))
        };
        // How drums are tuned is not a matter of the notes alone.
        let offences = if instrument.drums.is_empty() {
            cx.offences(&RULE, &stretch, 0, |range| {
                stretch.within(range).filter_map(look).collect()
            })
        } else {
            stretch.notes().filter_map(look).collect()
        };
        for passage in cx.passages_by(&RULE, player, offences, |(_, side)| *side as u8) {
            let &(pitch, side) = passage.detail();
            let note = passage.first();
            let name = instrument.name.to_lowercase();
            let why = match side {
                Outside::Below => format!("the {name} of {} begins at {}", cx.era, compass.low),
                Outside::Above => format!("the {name} of {} ends at {}", cx.era, compass.high),
                Outside::Missing => format!(
                    "the {name} of {} has no {}",
                    cx.era,
                    in_compass_pitch(part, pitch, note.start())
                ),
            };
            let written = if instrument.compass_is_written && side != Outside::Missing {
                " as written"
            } else {
                ""
            };
            let message = format!(
                "{} cannot play {} in {}{}: {why}{written}.",
                part.player.name,
                cx.both(part, pitch, note),
                cx.form.place(note.start()),
                passage.and_more(),
            );
            let finding = cx.finding(&RULE, &passage, message);
            let ways = at_pitch(cx, &passage).into_iter().collect();
            findings.push_passage(cx, &passage, advise(cx, &passage, finding, ways));
        }
    }
}

/// Where double basses read a bass line an octave below those who have it at pitch: what copyists
/// did.
fn at_pitch<T>(cx: &Context, passage: &Passage<T>) -> Option<String> {
    let part = passage.part;
    let first = passage.first();
    if part.instrument_at(first.start()).transposition != -Interval::OCTAVE {
        return None;
    }
    let lowest = |note: &PackedNote| note.sound().pitches().first().map(|pitch| pitch.midi());
    let at_pitch = |(_, other): &(usize, &Part)| {
        other.notes.iter().any(|note| {
            note.source() == first.source()
                && note.start() == first.start()
                && lowest(note) == lowest(first).map(|height| height + 12)
        })
    };
    let (_, other) = cx.parts().find(at_pitch)?;
    Some(format!(
        "write these notes at pitch for {}, with {}: name the bars in a line of their own without \
         `8vb`",
        part.player.name, other.player.name
    ))
}

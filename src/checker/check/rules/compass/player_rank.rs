//! A note that suits the other player of a pair.
//!
//! # What it finds
//! First horns below, and second horns above, what players of their rank are asked for: the first
//! player of a pair of natural brass below the lowest partial of the high player, and with valves
//! the figures of the catalogue. For second players of natural brass that are written too high
//! see `natural-brass/second-player-high`. Solos are exempt.
//!
//! # Why it matters
//! High and low players have other mouthpieces, other lips and another sense of pitch. What one of
//! them plays without a thought costs the other one the note before and the note after.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! voice tune { 1: 1/1 C5 | 2: 1/2 D5 C5 | 3: 1/1 G4 | 4: 1/1 C5 | }
//! voice fill { 1: 1/1 G4 | 2: 1/2 A4 G4 | 3: 1/1 E4 | 4: 1/1 G4 | }
//! ensemble few { era 1885
//!   horn 2 in F }
//! scoring few for few {
//!   horn.1 plays fill as harmony
//!   horn.2 plays tune as melody
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   4 end }
//! voice tune { 1: 1/1 C5 | 2: 1/2 D5 C5 | 3: 1/1 G4 | 4: 1/1 C5 | }
//! voice fill { 1: 1/1 G4 | 2: 1/2 A4 G4 | 3: 1/1 E4 | 4: 1/1 G4 | }
//! ensemble few { era 1885
//!   horn 2 in F }
//! scoring few for few {
//!   horn.1 plays tune as melody
//!   horn.2 plays fill as harmony
//! }
//! ```
//!
//! # Source
//! High and low players: Domnich, Méthode de premier et de second cor, 1808, from memory; their
//! ranges with valves: the catalogue, from memory.

use crate::arrange::PackedNote;
use crate::check::alternatives::{all_pitches, custom, height, outside};
use crate::check::context::{Context, Stretch};
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::Severity;
use crate::music::Pitch;

pub const RULE: Rule = Rule {
    code: "compass/player-rank",
    severity: Severity::Advice,
    scope: Scope::Player(check),
    grounds: Grounds::Notes,
    absence: false,
    cause: Cause::Line,
    text: include_str!("player_rank.rs"),
};

fn check(cx: &Context, findings: &mut Findings) {
    for stretch in cx.stretches() {
        let Stretch { player, part, instrument, .. } = stretch;
        if part.player.number == 0 {
            continue;
        }
        let second = part.player.is_second();
        let limit = match (&instrument.natural, instrument.ranks(cx.era)) {
            (Some(series), _) if !second => series.written(series.first.0),
            (None, Some(ranks)) => Some(if second { ranks.second_high } else { ranks.first_low }),
            _ => None,
        };
        let (Some(limit), Some(compass)) = (limit, custom(instrument, false, cx.era)) else {
            continue;
        };
        let far = |note: &PackedNote| {
            let far = |pitch: &Pitch| {
                let height = height(part, *pitch, note.start());
                let far = if second { height > limit.midi() } else { height < limit.midi() };
                // Of what nobody in the pair is asked for another rule speaks.
                far && outside(part, compass, *pitch, note.start()).is_none()
            };
            all_pitches(note).find(far).filter(|_| !note.solo())
        };
        let offences: Vec<(usize, Pitch)> = cx.offences_by_rank(&RULE, &stretch, 0, |range| {
            let notes = stretch.within(range);
            notes.filter_map(|(index, note)| Some((index, far(note)?))).collect()
        });
        for passage in cx.passages(&RULE, player, offences) {
            let (pitch, note) = (*passage.detail(), passage.first());
            let message = format!(
                "{}: {} in {}{} {} {} written {limit}, where the {} player of the pair is at home.",
                part.player.name,
                cx.both(part, pitch, note),
                cx.form.place(note.start()),
                passage.and_more(),
                passage.verb("is", "are"),
                if second { "above" } else { "below" },
                if second { "first" } else { "second" },
            );
            let finding = cx.finding(&RULE, &passage, message).with_help(
                "Exchange the notes of the two players, or give the passage to the other pair.",
            );
            findings.push_line(cx, passage.line, cx.with_allow_for(finding, &passage));
        }
    }
}

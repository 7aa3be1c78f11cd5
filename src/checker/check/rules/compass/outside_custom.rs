//! A note that orchestral players of the era were not asked for.
//!
//! # What it finds
//! Notes that the instrument has, but that lie outside what an orchestral player of that year was
//! asked day by day: an oboe of 1770 above D6 or below D4, rank-and-file violins above the
//! third position. A line marked `solo` is judged by what a soloist of the era could do instead.
//! Harmonics are left alone.
//!
//! # Why it matters
//! One player at the desk can reach the note; the others hope. The passage will be out of tune or
//! missing, and it will sound of another time than the rest.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 2/4, key G major
//!   2 end }
//! voice tune { 1: 1/2 G5 | 2: E6 | }
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
//! voice tune { 1: 1/2 G5 | 2: E6 | }
//! ensemble pair { era 1770
//!   oboe }
//! scoring pair for pair {
//!   oboe plays tune as melody solo
//! }
//! ```
//!
//! # Source
//! The catalogue names its source beside every compass, mostly common practice of the era; that
//! about 1770 orchestral oboes were kept between D4 and D6 is common practice.

use crate::arrange::{LineId, PackedNote, Part};
use crate::check::alternatives::{Outside, advise, all_pitches, custom, outside, tuned};
use crate::check::context::{Context, Stretch};
use crate::check::{Cause, Findings, Grounds, Rule, Scope, words};
use crate::diagnostics::{Severity, Span};
use crate::instruments::Limit;
use crate::music::Pitch;
use crate::resolve::{Mark, Verb};

pub const RULE: Rule = Rule {
    code: "compass/outside-custom",
    severity: Severity::Warning,
    scope: Scope::Player(check),
    grounds: Grounds::Notes,
    absence: false,
    cause: Cause::Line,
    text: include_str!("outside_custom.rs"),
};

fn check(cx: &Context, findings: &mut Findings) {
    for stretch in cx.stretches() {
        let Stretch { player, part, instrument, .. } = stretch;
        let Some(whole) = instrument.compass(Limit::Instrument, cx.era) else { continue };
        if instrument.unpitched {
            continue;
        }
        let (Some(orchestral), Some(soloist)) =
            (custom(instrument, false, cx.era), custom(instrument, true, cx.era))
        else {
            continue;
        };
        let look = |(index, note): (usize, &PackedNote)| {
            let compass = if note.solo() { soloist } else { orchestral };
            let (pitch, side) = all_pitches(note)
                .find_map(|p| outside(part, compass, p, note.start()).map(|side| (p, side)))?;
            // Of what the instrument does not have at all other rules speak.
            let drums = !instrument.drums.is_empty();
            let lacks = |p: Pitch| {
                outside(part, whole, p, note.start()).is_some() || drums && !tuned(part, p, note)
            };
            let harmonic = note.attached().marks.has(Mark::Harmonic);
            (!harmonic && !all_pitches(note).any(lacks)).then_some((index, (pitch, side)))
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
            let compass = if note.solo() { soloist } else { orchestral };
            let where_to = match side {
                Outside::Below => "below",
                Outside::Above => "above",
                Outside::Missing => "outside",
            };
            let player_kind = if note.solo() { "a soloist" } else { "an orchestral player" };
            let message = format!(
                "{}: {} in {}{} {} {where_to} what {player_kind} on {} of {} was expected to play ({} to {}{}).",
                part.player.name,
                cx.both(part, pitch, note),
                cx.form.place(note.start()),
                passage.and_more(),
                passage.verb("lies", "lie"),
                words::a(&instrument.name.to_lowercase()),
                cx.era,
                compass.low,
                compass.high,
                if instrument.compass_is_written { " as written" } else { "" },
            );
            let mut ways = Vec::new();
            let room = passage.notes().all(|note| {
                all_pitches(note).all(|p| outside(part, soloist, p, note.start()).is_none())
            });
            if !note.solo() && room {
                ways.push("mark the line `solo` if one good player has it".to_string());
            }
            let finding = cx.finding(&RULE, &passage, message);
            let mut finding = advise(cx, &passage, finding, ways);
            if let Some(place) = solo_place(cx, part, passage.line).filter(|_| room) {
                let title = "mark the line `solo`, for a good player";
                finding = finding.with_fix(title, place, " solo", false);
            }
            findings.push_passage(cx, &passage, cx.with_allow_for(finding, &passage));
        }
    }
}

/// Where `solo` can be written so that the whole line of one player is within what soloists had.
fn solo_place(cx: &Context, part: &Part, id: LineId) -> Option<Span> {
    let line = cx.line(id).filter(|line| !line.solo && !matches!(line.verb, Verb::Writes(_)))?;
    let mut alone =
        cx.parts().filter(|(_, other)| other.notes.iter().any(|n| other.line_of(n) == id));
    let single = part.player.count == 1 && alone.next().is_some() && alone.next().is_none();
    let has = part.notes.iter().filter(|note| part.line_of(note) == id).all(|note| {
        custom(part.instrument_at(note.start()), true, cx.era).is_some_and(|soloist| {
            all_pitches(note).all(|pitch| outside(part, soloist, pitch, note.start()).is_none())
        })
    });
    (single && has).then(|| line.span.after())
}

//! A trill or turn that the instrument does not have.
//!
//! # What it finds
//! Trills, mordents and turns on timpani, on slide trombones, and on brass without valves below
//! partial 8, where the neighbours lie more than a tone apart; and on any instrument a trill or turn
//! whose upper note, a mordent or turn whose lower note, is one that it does not have.
//!
//! # Why it matters
//! There is no finger to trill with: the neighbour does not exist, or the whole slide would have
//! to shake.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 120
//!   4 end }
//! voice tune { 1: 1/1 D4 | 2: C4[trill] | 3: D4 | 4: D4 | }
//! ensemble few { era 1810
//!   tenor-trombone }
//! scoring few for few {
//!   tenor-trombone plays tune as harmony
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 120
//!   4 end }
//! voice tune { 1: 1/1 D4 | 2: C4 | 3: D4 | 4: D4 | }
//! ensemble few { era 1810
//!   tenor-trombone }
//! scoring few for few {
//!   tenor-trombone plays tune as harmony
//! }
//! ```
//!
//! # Source
//! Common practice; the distances of the partials follow from the series.

use crate::arrange::{PackedNote, Part};
use crate::check::alternatives::{in_compass_pitch, outside};
use crate::check::context::{Context, Stretch};
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::Severity;
use crate::instruments::{Limit, PartialClass, TrillBy};
use crate::music::{Key, Letter, Pitch};
use crate::resolve::Mark;

pub const RULE: Rule = Rule {
    code: "agility/impossible-trill",
    severity: Severity::Warning,
    scope: Scope::Player(check),
    grounds: Grounds::Notes,
    absence: false,
    cause: Cause::Line,
    text: include_str!("impossible_trill.rs"),
};

/// The lowest partial from which a lip trill with the next one is a tone or less (derived: 9 to 8).
const LIP_TRILL: u8 = 8;

fn check(cx: &Context, findings: &mut Findings) {
    for stretch in cx.stretches() {
        let Stretch { player, part, instrument, .. } = stretch;
        let drums = !instrument.drums.is_empty();
        let look = |(index, note): (usize, &PackedNote)| {
            let marks = note.attached().marks;
            let mark =
                [Mark::Trill, Mark::Mordent, Mark::Turn].into_iter().find(|m| marks.has(*m))?;
            Some((index, (mark, fault(cx, part, note, mark)?)))
        };
        let offences = cx
            .offences(&RULE, &stretch, 0, |range| stretch.within(range).filter_map(look).collect());
        for passage in cx.passages(&RULE, player, offences) {
            let (mark, lacks) = *passage.detail();
            let word = match mark {
                Mark::Trill => "trill",
                Mark::Mordent => "mordent",
                _ => "turn",
            };
            let why = match lacks {
                Some(pitch) => {
                    format!(": there is no {} to it", cx.both(part, pitch, passage.first()))
                }
                None => String::new(),
            };
            let message = format!(
                "{} cannot play a {word} in {}{}{why}.",
                part.player.name,
                cx.form.place(passage.first().start()),
                passage.and_more(),
            );
            let help = if drums {
                "For a roll, write `tremolo`.".to_string()
            } else {
                format!("Leave the {word} to the others and write the plain note.")
            };
            let finding = cx.finding(&RULE, &passage, message).with_help(help);
            findings.push_line(cx, passage.line, cx.with_allow_for(finding, &passage));
        }
    }
}

/// Why a note cannot take an ornament: the neighbour that the instrument lacks, or (within) that
/// nothing on it can make one. `None` if it can.
fn fault(cx: &Context, part: &Part, note: &PackedNote, mark: Mark) -> Option<Option<Pitch>> {
    let instrument = part.instrument_at(note.start());
    let by = instrument.trills.as_ref().map_or(TrillBy::Fingers, |trills| trills.by);
    if by == TrillBy::Nothing {
        return Some(None);
    }
    let (low, high) = (note.sound().pitches().first()?, note.sound().pitches().last()?);
    if let Some(series) = &instrument.natural {
        let lip_trill = match series.classify(part.written(*low, note.start()), cx.era) {
            PartialClass::OpenInTune(partial) | PartialClass::OpenOutOfTune(partial) => {
                partial >= LIP_TRILL
            }
            _ => false,
        };
        return (!lip_trill).then_some(None);
    }
    let compass =
        instrument.compass(Limit::Instrument, cx.era).filter(|_| !instrument.unpitched)?;
    let key = cx.form.bar_at(note.start()).key;
    let above = neighbour(*high, 1, key).filter(|_| mark != Mark::Mordent);
    let below = neighbour(*low, -1, key).filter(|_| mark != Mark::Trill);
    let none_on = instrument.trills.as_ref().map_or(&[][..], |trills| &trills.none_on);
    let lowest = in_compass_pitch(part, *low, note.start()).midi();
    if none_on.iter().any(|pitch| pitch.midi() == lowest) {
        return Some(None);
    }
    // A note that is itself beyond the instrument is told as that.
    let lacks = |pitch: &Pitch| outside(part, compass, *pitch, note.start()).is_some();
    if lacks(low) || lacks(high) {
        return None;
    }
    above.into_iter().chain(below).find(lacks).map(Some)
}

/// The next note of the scale in force, a step up (1) or down (-1).
fn neighbour(pitch: Pitch, way: i32, key: Key) -> Option<Pitch> {
    let letter = Letter::from_step(pitch.step() + way);
    let octave = (pitch.step() + way).div_euclid(7);
    Some(Pitch::new(letter, key.alter(letter), i8::try_from(octave).ok()?))
}

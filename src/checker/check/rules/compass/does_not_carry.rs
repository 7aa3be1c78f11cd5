//! A melody in a register that does not carry through the tutti.
//!
//! # What it finds
//! Melody notes outside the register in which the instrument projects while eight or more other players
//! sound at forte or louder, brass among them, unless another player has the same note of the
//! melody in a register that does. Where an instrument gains strength upwards, as flute and
//! clarinet do, everything above carries.
//!
//! # Why it matters
//! A flute's lowest octave under a full orchestra is seen, not heard.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   2 end }
//! dynamics { 1 f }
//! voice tune { 1: 1/1 E4 | 2: E4 | }
//! voice fill { 1: 1/1 C4 | 2: C4 | }
//! ensemble few { era 1885
//!   flute, oboe 2, bassoon 2, horn 2 in F, trumpet 2 in C, violin-1 8 players, viola 4 players }
//! scoring few for few {
//!   flute plays tune as melody
//!   oboe, bassoon, horn, trumpet plays fill as harmony
//!   violin-1, viola plays fill as harmony
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   2 end }
//! dynamics { 1 f }
//! voice tune { 1: 1/1 E4 | 2: E4 | }
//! voice fill { 1: 1/1 C4 | 2: C4 | }
//! ensemble few { era 1885
//!   flute, oboe 2, bassoon 2, horn 2 in F, trumpet 2 in C, violin-1 8 players, viola 4 players }
//! scoring few for few {
//!   flute plays tune 8va as melody
//!   oboe, bassoon, horn, trumpet plays fill as harmony
//!   violin-1, viola plays fill as harmony
//! }
//! ```
//!
//! # Source
//! In a full ensemble the flute projects from about C5 to G6: common practice. The registers of the
//! others are in the catalogue, mostly as our heuristic; how many players make a tutti is our
//! heuristic.

use crate::arrange::PackedNote;
use crate::check::context::Context;
use crate::check::slices::Sounding;
use crate::check::words;
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::Severity;
use crate::instruments::Family;
use crate::narrow::Narrow;
use crate::resolve::{Dynamic, Role};

pub const RULE: Rule = Rule {
    code: "compass/does-not-carry",
    severity: Severity::Advice,
    scope: Scope::Moment(check),
    grounds: Grounds::Loudness,
    absence: false,
    cause: Cause::Line,
    text: include_str!("does_not_carry.rs"),
};

fn check(cx: &Context, findings: &mut Findings) {
    let parts = &cx.arrangement.parts;
    let tutti = cx.limit(&RULE).narrow::<usize>();
    let tells = |player: usize, note: &PackedNote| {
        let instrument = parts[player].instrument_at(note.start());
        note.sound().pitches().last().is_none_or(|pitch| instrument.carries(*pitch))
    };
    let moments = cx.moments(&RULE, |slice, found: &mut Vec<Sounding>| {
        if slice.sounding.len() <= tutti {
            return;
        }
        let loud = slice
            .sounding
            .iter()
            .filter(|s| cx.degree(s.player(), slice.start).reaches(Dynamic::F));
        let (mut count, mut brass) = (0, false);
        for sounding in loud {
            count += 1;
            let part = &parts[sounding.player()];
            brass |= part.first_instrument().family == Family::Brass;
        }
        if count <= tutti || !brass {
            return;
        }
        for sounding in slice.sounding {
            let note = sounding.of(parts);
            let player = sounding.player();
            if note.role() != Role::Melody || note.start() != slice.start || tells(player, note) {
                continue;
            }
            let class =
                |n: &PackedNote| n.sound().pitches().last().map(|p| p.midi().rem_euclid(12));
            let helped = slice.sounding.iter().any(|other| {
                let with = other.of(parts);
                other != sounding
                    && with.role() == Role::Melody
                    && class(with) == class(note)
                    && tells(other.player(), with)
            });
            if !helped {
                found.push(*sounding);
            }
        }
    });
    let mut offences: Vec<Vec<(usize, ())>> = vec![Vec::new(); parts.len()];
    for sounding in moments.into_iter().map(|moment| moment.what) {
        offences[sounding.player()].push((sounding.note(), ()));
    }
    for (player, offences) in offences.into_iter().enumerate() {
        let part = cx.part(player);
        for passage in cx.passages(&RULE, player, offences) {
            let note = passage.first();
            let instrument = part.instrument_at(note.start());
            let Some(telling) = &instrument.telling else { continue };
            let message = format!(
                "{}: the melody at {} in {}{} does not carry through the tutti; {} projects best from {} to {} (sounding).",
                part.player.name,
                note.sound().pitches().last().map_or(String::new(), |p| cx.both(part, *p, note)),
                cx.form.place(note.start()),
                passage.and_more(),
                words::a(&instrument.name.to_lowercase()),
                telling.low,
                telling.high,
            );
            let finding = cx.finding(&RULE, &passage, message).with_help(
                "Set the melody an octave away, double it with an instrument that projects there, or thin the others out.",
            );
            findings.push_line(cx, passage.line, cx.with_allow_for(finding, &passage));
        }
    }
}

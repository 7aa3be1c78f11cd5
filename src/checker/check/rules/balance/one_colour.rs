//! One colour alone for too long.
//!
//! # What it finds
//! The melody stays with the same instruments for more than forty bars and more than a minute and
//! a half, though four or more kinds of instruments that could take it are there (our heuristic).
//!
//! # Why it matters
//! The ear stops listening to a colour that does not change. A larger orchestra is hired for
//! its colours.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   60 end }
//! voice tune { 1: 1/2 E5 1/4 D5 rest | 2: 1/2 E5 1/4 D5 rest | 3: 1/2 E5 1/4 D5 rest | 4: 1/2 E5 1/4 D5 rest | 5: 1/2 E5 1/4 D5 rest | 6: 1/2 E5 1/4 D5 rest | 7: 1/2 E5 1/4 D5 rest | 8: 1/2 E5 1/4 D5 rest | 9: 1/2 E5 1/4 D5 rest | 10: 1/2 E5 1/4 D5 rest | 11: 1/2 E5 1/4 D5 rest | 12: 1/2 E5 1/4 D5 rest | 13: 1/2 E5 1/4 D5 rest | 14: 1/2 E5 1/4 D5 rest | 15: 1/2 E5 1/4 D5 rest | 16: 1/2 E5 1/4 D5 rest | 17: 1/2 E5 1/4 D5 rest | 18: 1/2 E5 1/4 D5 rest | 19: 1/2 E5 1/4 D5 rest | 20: 1/2 E5 1/4 D5 rest | 21: 1/2 E5 1/4 D5 rest | 22: 1/2 E5 1/4 D5 rest | 23: 1/2 E5 1/4 D5 rest | 24: 1/2 E5 1/4 D5 rest | 25: 1/2 E5 1/4 D5 rest | 26: 1/2 E5 1/4 D5 rest | 27: 1/2 E5 1/4 D5 rest | 28: 1/2 E5 1/4 D5 rest | 29: 1/2 E5 1/4 D5 rest | 30: 1/2 E5 1/4 D5 rest | 31: 1/2 E5 1/4 D5 rest | 32: 1/2 E5 1/4 D5 rest | 33: 1/2 E5 1/4 D5 rest | 34: 1/2 E5 1/4 D5 rest | 35: 1/2 E5 1/4 D5 rest | 36: 1/2 E5 1/4 D5 rest | 37: 1/2 E5 1/4 D5 rest | 38: 1/2 E5 1/4 D5 rest | 39: 1/2 E5 1/4 D5 rest | 40: 1/2 E5 1/4 D5 rest | 41: 1/2 E5 1/4 D5 rest | 42: 1/2 E5 1/4 D5 rest | 43: 1/2 E5 1/4 D5 rest | 44: 1/2 E5 1/4 D5 rest | 45: 1/2 E5 1/4 D5 rest | 46: 1/2 E5 1/4 D5 rest | 47: 1/2 E5 1/4 D5 rest | 48: 1/2 E5 1/4 D5 rest | 49: 1/2 E5 1/4 D5 rest | 50: 1/2 E5 1/4 D5 rest | 51: 1/2 E5 1/4 D5 rest | 52: 1/2 E5 1/4 D5 rest | 53: 1/2 E5 1/4 D5 rest | 54: 1/2 E5 1/4 D5 rest | 55: 1/2 E5 1/4 D5 rest | 56: 1/2 E5 1/4 D5 rest | 57: 1/2 E5 1/4 D5 rest | 58: 1/2 E5 1/4 D5 rest | 59: 1/2 E5 1/4 D5 rest | 60: 1/2 E5 1/4 D5 rest | }
//! ensemble few { era 1810
//!   flute, oboe, clarinet in Bb, violin-1 8 players }
//! scoring few for few {
//!   violin-1 plays tune as melody
//!   flute, oboe, clarinet rests
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   60 end }
//! voice tune { 1: 1/2 E5 1/4 D5 rest | 2: 1/2 E5 1/4 D5 rest | 3: 1/2 E5 1/4 D5 rest | 4: 1/2 E5 1/4 D5 rest | 5: 1/2 E5 1/4 D5 rest | 6: 1/2 E5 1/4 D5 rest | 7: 1/2 E5 1/4 D5 rest | 8: 1/2 E5 1/4 D5 rest | 9: 1/2 E5 1/4 D5 rest | 10: 1/2 E5 1/4 D5 rest | 11: 1/2 E5 1/4 D5 rest | 12: 1/2 E5 1/4 D5 rest | 13: 1/2 E5 1/4 D5 rest | 14: 1/2 E5 1/4 D5 rest | 15: 1/2 E5 1/4 D5 rest | 16: 1/2 E5 1/4 D5 rest | 17: 1/2 E5 1/4 D5 rest | 18: 1/2 E5 1/4 D5 rest | 19: 1/2 E5 1/4 D5 rest | 20: 1/2 E5 1/4 D5 rest | 21: 1/2 E5 1/4 D5 rest | 22: 1/2 E5 1/4 D5 rest | 23: 1/2 E5 1/4 D5 rest | 24: 1/2 E5 1/4 D5 rest | 25: 1/2 E5 1/4 D5 rest | 26: 1/2 E5 1/4 D5 rest | 27: 1/2 E5 1/4 D5 rest | 28: 1/2 E5 1/4 D5 rest | 29: 1/2 E5 1/4 D5 rest | 30: 1/2 E5 1/4 D5 rest | 31: 1/2 E5 1/4 D5 rest | 32: 1/2 E5 1/4 D5 rest | 33: 1/2 E5 1/4 D5 rest | 34: 1/2 E5 1/4 D5 rest | 35: 1/2 E5 1/4 D5 rest | 36: 1/2 E5 1/4 D5 rest | 37: 1/2 E5 1/4 D5 rest | 38: 1/2 E5 1/4 D5 rest | 39: 1/2 E5 1/4 D5 rest | 40: 1/2 E5 1/4 D5 rest | 41: 1/2 E5 1/4 D5 rest | 42: 1/2 E5 1/4 D5 rest | 43: 1/2 E5 1/4 D5 rest | 44: 1/2 E5 1/4 D5 rest | 45: 1/2 E5 1/4 D5 rest | 46: 1/2 E5 1/4 D5 rest | 47: 1/2 E5 1/4 D5 rest | 48: 1/2 E5 1/4 D5 rest | 49: 1/2 E5 1/4 D5 rest | 50: 1/2 E5 1/4 D5 rest | 51: 1/2 E5 1/4 D5 rest | 52: 1/2 E5 1/4 D5 rest | 53: 1/2 E5 1/4 D5 rest | 54: 1/2 E5 1/4 D5 rest | 55: 1/2 E5 1/4 D5 rest | 56: 1/2 E5 1/4 D5 rest | 57: 1/2 E5 1/4 D5 rest | 58: 1/2 E5 1/4 D5 rest | 59: 1/2 E5 1/4 D5 rest | 60: 1/2 E5 1/4 D5 rest | }
//! ensemble few { era 1810
//!   flute, oboe, clarinet in Bb, violin-1 8 players }
//! scoring few for few {
//!   violin-1 plays tune bars 1..30 as melody
//!   flute plays tune bars 31..60 as melody
//!   oboe, clarinet rests
//! }
//! ```
//!
//! # Source
//! Common practice; the figures are our heuristic.

use smallvec::SmallVec;

use crate::arrange::Part;
use crate::check::context::Context;
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::{BarNumbers, Severity};
use crate::instruments::{Family, Instrument};
use crate::resolve::{BarIndices, Role};

pub const RULE: Rule = Rule {
    code: "balance/one-colour",
    severity: Severity::Advice,
    scope: Scope::Scoring(check),
    grounds: Grounds::Strength,
    absence: false,
    cause: Cause::Line,
    text: include_str!("one_colour.rs"),
};

/// Seconds that are too many. Our heuristic.
const SECONDS: f64 = 90.0;
/// Year before which the violins lead all through, and nobody minds: common practice.
const COLOURS: i32 = 1790;
/// Kinds of instruments that must be there. Our heuristic.
const KINDS: usize = 4;

/// A bar in which a player has the melody.
struct Song {
    bar: usize,
    /// Index of his first note of it there.
    note: usize,
    instrument: &'static Instrument,
}

/// The bars in which a part has the melody, once for each instrument.
fn songs(cx: &Context, part: &Part) -> Vec<Song> {
    let mut songs: Vec<Song> = Vec::new();
    let bars = &cx.form.bars;
    let mut bar = 0;
    for (index, note) in part.notes.iter().enumerate() {
        if note.role() == Role::Melody {
            while bars.get(bar + 1).is_some_and(|next| next.start <= note.start()) {
                bar += 1;
            }
            let instrument = part.instrument_at(note.start());
            let same = |song: &Song| song.bar == bar && std::ptr::eq(song.instrument, instrument);
            if !songs.last().is_some_and(same) {
                songs.push(Song { bar, note: index, instrument });
            }
        }
    }
    songs
}

fn check(cx: &Context, findings: &mut Findings) {
    let mut kinds: Vec<&str> = Vec::new();
    for (_, part) in cx.parts() {
        let instrument = part.first_instrument();
        let sings = matches!(instrument.family, Family::Woodwind | Family::Brass | Family::Strings)
            && instrument.natural.is_none();
        if sings && !kinds.contains(&instrument.id.as_str()) {
            kinds.push(&instrument.id);
        }
    }
    if kinds.len() < KINDS {
        return;
    }
    // For each bar the kinds of instruments with the melody, and one player and note of it.
    let mut colours: Vec<SmallVec<[&str; 6]>> = vec![SmallVec::new(); cx.form.bars.len()];
    let mut singers: Vec<Option<(usize, usize)>> = vec![None; cx.form.bars.len()];
    for (player, _) in cx.parts() {
        for &Song { bar, note, instrument } in &*cx.of_part(&RULE, player, |part| songs(cx, part)) {
            if !colours[bar].contains(&instrument.id.as_str()) {
                colours[bar].push(&instrument.id);
            }
            singers[bar].get_or_insert((player, note));
        }
    }
    let mut first = 0;
    while first < colours.len() {
        let mut after = first + 1;
        // A bar in which the melody rests changes nothing.
        while after < colours.len()
            && (colours[after] == colours[first] || colours[after].is_empty())
        {
            after += 1;
        }
        let end = cx.form.bars[after - 1].start + cx.form.bars[after - 1].length;
        let seconds = cx.seconds_at(end) - cx.seconds_at(cx.form.bars[first].start);
        let strings_lead = |player: usize, note: usize| {
            let note = &cx.part(player).notes[note];
            cx.part(player).instrument_at(note.start()).family == Family::Strings
        };
        if let Some((player, note)) = singers[first]
            && !(cx.era < COLOURS && strings_lead(player, note))
            && (after - first) as f64 > cx.limit(&RULE)
            && seconds > SECONDS
            && !cx.allowed(RULE.code, Some(player), BarIndices::new(first, after))
        {
            let note = &cx.part(player).notes[note];
            let message = format!(
                "The melody stays with {} for {} bars ({seconds:.0} seconds), {}.",
                cx.part(player).player.name,
                after - first,
                crate::check::words::bars(&[BarNumbers::new(
                    cx.number(first),
                    cx.number(after - 1)
                )]),
            );
            let finding = cx
                .chain(&RULE, player, note, message)
                .with_bars(cx.number(first), cx.number(after - 1))
                .with_help(
                    "Give a phrase of it to another colour, or let one double it for a while.",
                );
            let line = cx.part(player).line_of(note);
            findings.push_line(cx, line, cx.with_allow(finding, line));
        }
        first = after;
    }
}

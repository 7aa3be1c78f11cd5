//! A clarinet, or another instrument of several keys, in the worse one.
//!
//! # What it finds
//! Players whose part has five or more sharps or flats in the (written) key signature through most
//! of what they play, where another key in which the instrument is built would have three fewer or
//! more.
//!
//! # Why it matters
//! Clarinets are built in several keys so that no part needs to be hard to finger: in E major the
//! player of a B flat clarinet reads six sharps, that of an A clarinet one.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key E major, tempo 1/4 at 96
//!   4 end }
//! voice tune { 1: 1/1 E5 | 2: 1/2 F#5 E5 | 3: 1/1 G#4 | 4: 1/1 E5 | }
//! ensemble few { era 1885
//!   clarinet in Bb }
//! scoring few for few {
//!   clarinet plays tune as melody
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key E major, tempo 1/4 at 96
//!   4 end }
//! voice tune { 1: 1/1 E5 | 2: 1/2 F#5 E5 | 3: 1/1 G#4 | 4: 1/1 E5 | }
//! ensemble few { era 1885
//!   clarinet in A }
//! scoring few for few {
//!   clarinet plays tune as melody
//! }
//! ```
//!
//! # Source
//! That clarinets are chosen by the key of the music: common practice. The figures are our
//! heuristic.

use crate::arrange::{PackedNote, Part};
use crate::check::context::{Context, Stretch};
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::Severity;
use crate::instruments::{Family, Instrument, Limit, Tuning};

pub const RULE: Rule = Rule {
    code: "notation/worse-key",
    severity: Severity::Advice,
    scope: Scope::Player(check),
    grounds: Grounds::Notes,
    absence: false,
    cause: Cause::Line,
    text: include_str!("worse_key.rs"),
};

/// Sharps or flats from which a key is hard to finger. Our heuristic.
const MANY: f64 = 4.5;
/// How many fewer another key must have. Our heuristic.
const FEWER: f64 = 3.0;

/// What a player reads on average in the key that he has, and in a better one.
#[derive(Clone)]
struct Reads {
    now: f64,
    own: &'static Tuning,
    best: f64,
    better: &'static Tuning,
}

fn check(cx: &Context, findings: &mut Findings) {
    for stretch in cx.stretches() {
        let Stretch { player, part, instrument, .. } = stretch;
        // With valves the lips do the work, and a key is a matter of habit.
        if instrument.family != Family::Woodwind || instrument.keys.len() < 2 {
            continue;
        }
        let offences = cx.offences_of_stretch(&RULE, &stretch, || {
            let notes: Vec<(usize, &PackedNote)> = stretch.notes().collect();
            let tuning =
                |note: &PackedNote| part.tuning_at(note.start()).map(|tuning| &tuning.name);
            let runs = notes.chunk_by(|one, next| tuning(one.1) == tuning(next.1));
            runs.filter_map(|run| look(cx, part, instrument, run)).collect()
        });
        for offence in offences {
            for passage in cx.passages(&RULE, player, vec![offence]) {
                let Reads { now, own, best, better } = passage.detail();
                let message = format!(
                    "{} in {} reads {now:.0} sharps or flats; in {} it would be {best:.0}.",
                    part.player.name, own.name, better.name
                );
                let finding = cx.finding(&RULE, &passage, message).with_help(format!(
                    "Write `in {}`, or let the player change with `takes` in a long rest.",
                    better.name
                ));
                findings.push_line(cx, passage.line, cx.with_allow_for(finding, &passage));
            }
        }
    }
}

/// Looks at notes that are played in one key: the first of them, if another key is better.
fn look(
    cx: &Context,
    part: &Part,
    instrument: &'static Instrument,
    run: &[(usize, &PackedNote)],
) -> Option<(usize, Reads)> {
    let (first, note) = run.first().copied()?;
    let own = part.tuning_at(note.start())?;
    let accidentals = |tuning: &Tuning| {
        let (mut sum, mut count) = (0.0, 0.0);
        for (_, note) in run {
            let key = cx.form.bar_at(note.start()).key.transposed(-tuning.transposition);
            sum += f64::from(key.fifths().abs());
            count += 1.0;
        }
        sum / f64::max(count, 1.0)
    };
    let has_all = |tuning: &&Tuning| {
        instrument.compass(Limit::Custom, cx.era).is_none_or(|compass| {
            run.iter().flat_map(|(_, note)| note.sound().pitches()).all(|pitch| {
                let written = pitch.transposed_or_respelled(-tuning.transposition).midi();
                (compass.low.midi()..=compass.high.midi()).contains(&written)
            })
        })
    };
    let in_use = |tuning: &&Tuning| {
        tuning.from.is_none_or(|from| cx.era >= from) && tuning.to.is_none_or(|to| cx.era <= to)
    };
    // The usual keys are those whose top is not marked as a risk.
    let usual = |tuning: &&Tuning| tuning.safe_high.is_none();
    let now = accidentals(own);
    if now < MANY {
        return None;
    }
    let better = instrument
        .keys
        .iter()
        .filter(|tuning| tuning.name != own.name)
        .filter(in_use)
        .filter(usual)
        .filter(has_all)
        .map(|tuning| (accidentals(tuning), tuning))
        .min_by(|a, b| a.0.total_cmp(&b.0));
    let (best, better) = better?;
    (now - best >= FEWER).then_some((first, Reads { now, own, best, better }))
}

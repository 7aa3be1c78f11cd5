//! An instrument of rare effect sounds too often.
//!
//! # What it finds
//! Trumpets that sound in more than seven tenths of the bars of a piece of sixteen bars or more,
//! timpani in more than six tenths, trombones and tuba in more than half, triangle, tambourine
//! and side drum in more than a third, cymbals, bass drum and tam-tam in more than a fifth (our
//! heuristic). Bands without strings and woodwind are exempt. A line `budget cymbals 10%` in
//! the ensemble sets another share, for any player and for pieces of any length.
//!
//! # Why it matters
//! What sounds all the time is no longer an event. Trumpets and timpani are used with thrift,
//! cymbals and bass drum with the greatest thrift.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   16 end }
//! voice tune { 1: 1/2 E5 1/4 D5 rest | 2: 1/2 E5 1/4 D5 rest | 3: 1/2 E5 1/4 D5 rest | 4: 1/2 E5 1/4 D5 rest | 5: 1/2 E5 1/4 D5 rest | 6: 1/2 E5 1/4 D5 rest | 7: 1/2 E5 1/4 D5 rest | 8: 1/2 E5 1/4 D5 rest | 9: 1/2 E5 1/4 D5 rest | 10: 1/2 E5 1/4 D5 rest | 11: 1/2 E5 1/4 D5 rest | 12: 1/2 E5 1/4 D5 rest | 13: 1/2 E5 1/4 D5 rest | 14: 1/2 E5 1/4 D5 rest | 15: 1/2 E5 1/4 D5 rest | 16: 1/2 E5 1/4 D5 rest | }
//! voice stroke { 1: 1/4 x rest rest rest | 2: 1/4 x rest rest rest | 3: 1/4 x rest rest rest | 4: 1/4 x rest rest rest | 5: 1/4 x rest rest rest | 6: 1/4 x rest rest rest | 7: 1/4 x rest rest rest | 8: 1/4 x rest rest rest | 9: rest | 10: rest | 11: rest | 12: rest | 13: rest | 14: rest | 15: rest | 16: rest | }
//! ensemble few { era 1885
//!   violin-1 12 players, cymbals }
//! scoring few for few {
//!   violin-1 plays tune as melody
//!   cymbals plays stroke as highlight
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   16 end }
//! voice tune { 1: 1/2 E5 1/4 D5 rest | 2: 1/2 E5 1/4 D5 rest | 3: 1/2 E5 1/4 D5 rest | 4: 1/2 E5 1/4 D5 rest | 5: 1/2 E5 1/4 D5 rest | 6: 1/2 E5 1/4 D5 rest | 7: 1/2 E5 1/4 D5 rest | 8: 1/2 E5 1/4 D5 rest | 9: 1/2 E5 1/4 D5 rest | 10: 1/2 E5 1/4 D5 rest | 11: 1/2 E5 1/4 D5 rest | 12: 1/2 E5 1/4 D5 rest | 13: 1/2 E5 1/4 D5 rest | 14: 1/2 E5 1/4 D5 rest | 15: 1/2 E5 1/4 D5 rest | 16: 1/2 E5 1/4 D5 rest | }
//! voice stroke { 1: 1/4 x rest rest rest | 2: 1/4 x rest rest rest | 3: rest | 4: rest | 5: rest | 6: rest | 7: rest | 8: rest | 9: rest | 10: rest | 11: rest | 12: rest | 13: rest | 14: rest | 15: rest | 16: rest | }
//! ensemble few { era 1885
//!   violin-1 12 players, cymbals }
//! scoring few for few {
//!   violin-1 plays tune as melody
//!   cymbals plays stroke as highlight
//! }
//! ```
//!
//! # Source
//! Common practice; the shares are our heuristic.

use crate::arrange::Part;
use crate::check::context::Context;
use crate::check::words;
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::Severity;
use crate::instruments::Family;
use crate::resolve::{BarIndices, Bars};

pub const RULE: Rule = Rule {
    code: "economy/overused",
    severity: Severity::Advice,
    scope: Scope::Scoring(check),
    grounds: Grounds::Whole,
    absence: false,
    cause: Cause::Line,
    text: include_str!("overused.rs"),
};

/// Bars from which a share means something, where the ensemble sets no budget. Our
/// heuristic.
const BARS: usize = 16;

/// The bars in which a part sounds.
fn sounds(cx: &Context, part: &Part) -> Bars {
    let mut sounds = Bars::new();
    let bars = &cx.form.bars;
    let mut first = 0;
    for note in &part.notes {
        while bars.get(first + 1).is_some_and(|next| next.start <= note.start()) {
            first += 1;
        }
        let held = bars[first + 1..].iter().take_while(|bar| bar.start < note.end()).count();
        BarIndices::new(first, first + 1 + held).add(&mut sounds);
    }
    sounds
}

fn check(cx: &Context, findings: &mut Findings) {
    let count = cx.form.bars.len();
    let set = &cx.arrangement.piece.ensembles[cx.arrangement.scoring.ensemble].budgets;
    let budget_of = |part: &crate::arrange::Part| {
        let own = set.iter().find(|(name, _)| *name == part.player.line_name);
        match own {
            Some((_, percent)) => Some(f64::from(*percent) / 100.0),
            None if count < BARS => None,
            None => {
                let sparing = part.player.instrument.sparing(cx.era);
                sparing.map(|sparing| f64::from(sparing.percent) / 100.0)
            }
        }
    };
    // Thrift is for those who have others to play in the meantime.
    let others = |part: &std::sync::Arc<crate::arrange::Part>| {
        matches!(part.player.instrument.family, Family::Woodwind | Family::Strings)
            && !part.notes.is_empty()
    };
    if !cx.arrangement.parts.iter().any(others) {
        return;
    }
    let mut desks: Vec<(&str, Vec<bool>, usize)> = Vec::new();
    for (player, part) in cx.parts() {
        if budget_of(part).is_none() || part.notes.is_empty() {
            continue;
        }
        let name = part.player.line_name.as_str();
        let place = desks.iter().position(|(desk, ..)| *desk == name).unwrap_or_else(|| {
            desks.push((name, vec![false; count], player));
            desks.len() - 1
        });
        for bars in &*cx.of_part(&RULE, player, |part| sounds(cx, part)) {
            desks[place].1[bars.first..bars.after].fill(true);
        }
    }
    for (_, sounds, player) in desks {
        let part = cx.part(player);
        let Some(budget) = budget_of(part) else { continue };
        let bars = sounds.iter().filter(|sounds| **sounds).count();
        let share = bars as f64 / count as f64;
        let Some(note) = part.notes.first() else { continue };
        if share <= budget || cx.allowed(RULE.code, Some(player), BarIndices::all(cx.form)) {
            continue;
        }
        let single =
            cx.parts().filter(|(_, other)| other.player.line_name == part.player.line_name).count()
                == 1;
        let message = format!(
            "{} {} in {bars} of {count} bars; more than {:.0} in a hundred wears the effect out.",
            if single { &part.player.name } else { &part.player.instrument.plural },
            if single && !words::is_plural(&part.player) { "sounds" } else { "sound" },
            budget * 100.0,
        );
        let finding = cx
            .chain(&RULE, player, note, message)
            .with_bars(cx.number(0), cx.number(count - 1))
            .with_help("Keep the instrument for the entries, the cadences and the peaks: `highlights cadences`, or fewer bars.");
        let line = part.line_of(note);
        findings.push_line(cx, line, cx.with_allow(finding, line));
    }
}

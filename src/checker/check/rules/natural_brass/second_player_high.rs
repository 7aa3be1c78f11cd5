//! The second player of a pair is written too high.
//!
//! # What it finds
//! Notes of a second (or fourth) player of natural brass above the highest partial of the low
//! player, partial 12, written G5.
//!
//! # Why it matters
//! The pair is divided into a high and a low player with different mouthpieces and different
//! training. The second has the low leaps, not the high register.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   3 end }
//! voice tune { 1: 1/1 D4 | 2: A4 | 3: D4 | }
//! ensemble few { era 1770
//!   horn 2 crook D }
//! scoring few for few {
//!   horn.1 plays tune as harmony
//!   horn.2 plays tune bars 1..2 as harmony
//!   horn.2 plays tune 8va bars 3 as harmony
//! }
//! ```
//!
//! # Fixed
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 4/4, key C major, tempo 1/4 at 96
//!   3 end }
//! voice tune { 1: 1/1 D4 | 2: A4 | 3: D4 | }
//! ensemble few { era 1770
//!   horn 2 crook D }
//! scoring few for few {
//!   horn.1 plays tune as harmony
//!   horn.2 plays tune as harmony
//! }
//! ```
//!
//! # Source
//! Second horn (cor basse), partials 2 to 12: Domnich, Méthode de premier et de second cor, 1808,
//! and Dauprat, 1824, from memory.

use crate::arrange::PackedNote;
use crate::check::alternatives::advise;
use crate::check::alternatives::all_pitches;
use crate::check::context::{Context, Stretch};
use crate::check::{Cause, Findings, Grounds, Rule, Scope};
use crate::diagnostics::Severity;

pub const RULE: Rule = Rule {
    code: "natural-brass/second-player-high",
    severity: Severity::Warning,
    scope: Scope::Player(check),
    grounds: Grounds::Notes,
    absence: false,
    cause: Cause::Line,
    text: include_str!("second_player_high.rs"),
};

fn check(cx: &Context, findings: &mut Findings) {
    for stretch in cx.stretches() {
        let Stretch { player, part, instrument, .. } = stretch;
        let Some(series) = &instrument.natural else { continue };
        let Some(top) = series.written(series.second.1) else { continue };
        if !part.player.is_second() {
            continue;
        }
        let look = |(index, note): (usize, &PackedNote)| {
            let pitch = all_pitches(note).max()?;
            let high = part.written(pitch, note.start()).midi() > top.midi();
            (high && !note.solo()).then_some((index, pitch))
        };
        let offences = cx.offences_by_rank(&RULE, &stretch, 0, |range| {
            stretch.within(range).filter_map(look).collect()
        });
        for passage in cx.passages(&RULE, player, offences) {
            let (pitch, note) = (*passage.detail(), passage.first());
            let message = format!(
                "{}: {} in {}{} {} above written {top}, the top of a second player.",
                part.player.name,
                cx.both(part, pitch, note),
                cx.form.place(note.start()),
                passage.and_more(),
                passage.verb("lies", "lie"),
            );
            let finding = cx.finding(&RULE, &passage, message);
            let ways =
                vec!["exchange the notes of the pair: the first has the high register".to_string()];
            let finding = advise(cx, &passage, finding, ways);
            findings.push_line(cx, passage.line, cx.with_allow_for(finding, &passage));
        }
    }
}

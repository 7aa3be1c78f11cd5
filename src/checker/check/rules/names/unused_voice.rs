//! A voice that no scoring uses.
//!
//! # What it finds
//! Voices that no line of any scoring plays or signals.
//!
//! # Why it matters
//! Music that nobody will hear: a line was forgotten, or the voice is left over from an earlier
//! draft.
//!
//! # Example
//! ```ripieno
//! piece "Ferry" { composer "House copyist" }
//! form { 1 metre 2/4, key G major
//!   2 end }
//! voice tune { 1: 1/2 G4 | 2: B4 | }
//! voice under { 1: 1/2 E4 | 2: G4 | }
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
//! voice tune { 1: 1/2 G4 | 2: B4 | }
//! voice under { 1: 1/2 E4 | 2: G4 | }
//! ensemble pair { era 1770
//!   oboe, violin-1 4 players }
//! scoring pair for pair {
//!   oboe     plays tune  as melody
//!   violin-1 plays under as harmony
//! }
//! ```
//!
//! # Source
//! Common practice.

use crate::check::{Cause, Grounds, Rule, Scope};
use crate::diagnostics::{Diagnostic, Severity};
use crate::lists::push_slowly;
use crate::resolve::{Piece, Verb};

pub const RULE: Rule = Rule {
    code: "names/unused-voice",
    severity: Severity::Advice,
    scope: Scope::Piece(check),
    grounds: Grounds::Whole,
    absence: true,
    cause: Cause::Line,
    text: include_str!("unused_voice.rs"),
};

fn check(piece: &Piece, findings: &mut Vec<Diagnostic>) {
    let mut used = vec![false; piece.voices.len()];
    for line in piece.scorings.iter().flat_map(|scoring| &scoring.lines) {
        if let Verb::Plays { voice, .. } | Verb::Signals { voice } | Verb::Realises { voice } =
            &line.verb
            && let Some(used) = used.get_mut(*voice)
        {
            *used = true;
        }
    }
    // Any player who is there serves as an example.
    let player = piece
        .ensembles
        .iter()
        .flat_map(|ensemble| &ensemble.players)
        .find(|player| !player.instrument.unpitched)
        .map_or("somebody", |player| &player.line_name);
    for (voice, _) in piece.voices.iter().zip(used).filter(|(_, used)| !used) {
        let message = match piece.scorings.len() {
            0 => format!("No player has the voice `{}`: there is no scoring yet.", voice.name),
            1 => format!("No player has the voice `{}` in the scoring.", voice.name),
            many => {
                format!("No player has the voice `{}` in any of the {many} scorings.", voice.name)
            }
        };
        let help = format!(
            "Give it to a player: `{player} plays {} as melody`; or remove the voice.",
            voice.name
        );
        let finding = Diagnostic::new(RULE.severity, RULE.code, voice.span, message);
        push_slowly(findings, finding.with_help(help));
    }
}

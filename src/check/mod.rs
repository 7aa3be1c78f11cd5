//! What will not work in the rehearsal, with the span and the source.

use crate::arrange::arrange;
use crate::diagnostics::Diagnostic;
use crate::resolve::{Piece, Scoring};

/// What the user asks of the checker.
#[derive(Clone, Debug, Default)]
pub struct Options {}

/// Arranges scorings and tells what was found on the way; the same finding in several scorings is
/// told once.
#[must_use]
pub fn check_scorings(piece: &Piece, scorings: &[&Scoring], _: &Options) -> Vec<Diagnostic> {
    let mut findings: Vec<Diagnostic> = Vec::new();
    for scoring in scorings {
        for finding in arrange(piece, scoring).diagnostics {
            if !findings.contains(&finding) {
                findings.push(finding);
            }
        }
    }
    findings
}

//! All findings of a source together, as a person reads them.

use super::{Options, check_scorings};
use crate::diagnostics::{Diagnostic, Severity};
use crate::resolve::{Piece, Scoring};

/// Rules that tell of something missing: where the source has errors, what is missing may only
/// not have been understood.
const OF_ABSENCE: [&str; 3] = ["allow/unused", "names/idle-player", "names/unused-voice"];

/// What was found while a source was read and resolved, together with what the checker finds in
/// its scorings, in the order of the source.
#[must_use]
pub fn report(
    piece: &Piece,
    of_source: Vec<Diagnostic>,
    scorings: &[&Scoring],
    options: &Options,
) -> Vec<Diagnostic> {
    let mut findings = check_scorings(piece, scorings, options);
    let not_understood = |finding: &Diagnostic| {
        finding.severity == Severity::Error && super::find(finding.code).is_none()
    };
    if of_source.iter().chain(&findings).any(not_understood) {
        findings.retain(|finding| !OF_ABSENCE.contains(&finding.code));
    }
    let mut all = options.apply(of_source);
    all.extend(findings);
    all.sort_by_key(|finding| (finding.primary.span.file, finding.primary.span.start));
    all
}

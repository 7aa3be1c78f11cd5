//! All findings of a source together, as a person reads them.

use std::borrow::Borrow;
use std::sync::Arc;

use super::{Kept, Options, check_again};
use crate::arrange::{Arrangement, arrange};
use crate::diagnostics::{Diagnostic, FileId, Severity, Sources, thin_out};
use crate::resolve::{Piece, Scoring};

/// What was found while a source was read and resolved, together with what the checker finds in
/// its scorings, in the order of the source.
#[must_use]
pub fn report(
    piece: &Arc<Piece>,
    of_source: Vec<Diagnostic>,
    scorings: &[&Arc<Scoring>],
    options: &Options,
    sources: &Sources,
) -> Vec<Diagnostic> {
    let mut all = report_again(
        piece,
        of_source,
        scorings.iter().map(|scoring| arrange(piece, scoring)),
        options,
        &mut Kept { forgets: true, ..Kept::default() },
    );
    in_order(&mut all, sources, |file| file);
    all
}

/// Puts findings in the order of the source, as a reader meets them from the top; what stands at one
/// byte goes by its code, so that the order does not hang on how the text came to be what it is.
/// The files stand in the order of what `rank` gives for them.
pub(crate) fn in_order<R: Ord>(
    all: &mut [Diagnostic],
    sources: &Sources,
    rank: impl Fn(FileId) -> R,
) {
    all.sort_by_cached_key(|finding| {
        let span = finding.primary.span;
        (rank(span.file), sources.range(span).start, finding.code)
    });
}

/// The same for scorings that are worked out, with what an earlier run kept, in the order in which
/// it was found.
pub(crate) fn report_again(
    piece: &Piece,
    of_source: Vec<Diagnostic>,
    arrangements: impl IntoIterator<Item = impl Borrow<Arrangement>>,
    options: &Options,
    kept: &mut Kept,
) -> Vec<Diagnostic> {
    let mut findings = check_again(piece, arrangements, options, kept);
    let not_understood = |finding: &Diagnostic| {
        finding.severity == Severity::Error && super::find(finding.code).is_none()
    };
    if of_source.iter().chain(&findings).any(not_understood) {
        findings.retain(|finding| super::find(finding.code).is_none_or(|rule| !rule.absence));
    }
    let mut all = options.apply(of_source);
    all.extend(findings);
    thin_out(&mut all);
    all
}

//! Changes that mend findings: one at a time, or all that are safe.

use std::ops::Range;

use super::workspace::Place;
use crate::diagnostics::{Care, Diagnostic, FileId, Fix};
use crate::session::Session;

/// A change with the finding that it mends.
#[derive(Clone, PartialEq, Debug)]
pub struct Change {
    /// What it does, as an order.
    pub title: String,
    /// The finding.
    pub finding: Diagnostic,
    /// Is it the one to take, if any? It is the first that needs no look.
    pub preferred: bool,
    /// Places and what to put there.
    pub edits: Vec<(Place, String)>,
}

/// The changes for the findings of a root that touch some bytes of a file.
pub fn fixes(session: &mut Session, root: FileId, file: FileId, bytes: &Range<usize>) -> Vec<Change> {
    let findings = session.findings(root);
    let touches = |finding: &&Diagnostic| {
        let span = finding.primary.span;
        let range = session.sources().range(span);
        span.file == file && range.start <= bytes.end && bytes.start <= range.end
    };
    let mut changes = Vec::new();
    for finding in findings.iter().filter(touches) {
        for (index, fix) in finding.fixes.iter().enumerate() {
            changes.push(Change {
                title: title(fix),
                finding: finding.clone(),
                preferred: index == 0 && fix.care == Care::Unseen,
                edits: edits(session, fix),
            });
        }
    }
    changes
}

/// All changes of a file that may be applied unseen, in order, none over another.
pub fn all_safe(session: &mut Session, root: FileId, file: FileId) -> Vec<(Place, String)> {
    let findings = session.findings(root);
    let safe = findings.iter().filter_map(|finding| {
        let fix = finding.fixes.iter().find(|fix| fix.care == Care::Unseen)?;
        Some(edits(session, fix))
    });
    let mut all: Vec<(Place, String)> = Vec::new();
    for fix in safe {
        let clear = fix.iter().all(|(place, _)| {
            let apart = |(other, _): &(Place, String)| {
                other.range.end < place.range.start || place.range.end < other.range.start
            };
            place.file == file && all.iter().all(apart)
        });
        if clear {
            all.extend(fix);
        }
    }
    all.sort();
    all
}

fn edits(session: &Session, fix: &Fix) -> Vec<(Place, String)> {
    let place = |edit: &crate::diagnostics::Edit| {
        let range = session.sources().range(edit.span);
        (Place { file: edit.span.file, range }, edit.text.clone())
    };
    fix.edits.iter().map(place).collect()
}

fn title(fix: &Fix) -> String {
    let mut title = fix.title.clone();
    if let Some(first) = title.get(..1).map(str::to_uppercase) {
        title.replace_range(..1, &first);
    }
    match fix.care {
        Care::Unseen => title,
        Care::Look => format!("{title} (check before you keep it)"),
        Care::Reason => format!("{title} (write your reason)"),
    }
}

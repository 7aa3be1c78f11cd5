//! Changes that mend findings: one at a time, or all that are safe.

use std::ops::Range;

use super::workspace::{At, TextPlace};
use crate::diagnostics::{Care, Diagnostic, FileId, Fix};
use crate::resolve::Verb;
use crate::session::Session;
use ripieno_checker::write_out::{Asked, write_out};

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
    pub edits: Vec<(TextPlace, String)>,
}

/// The changes for the findings of a root that touch some bytes of a file.
pub fn fixes(
    session: &mut Session,
    root: FileId,
    file: FileId,
    bytes: &Range<usize>,
) -> Vec<Change> {
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
pub fn all_safe(session: &mut Session, root: FileId, file: FileId) -> Vec<(TextPlace, String)> {
    let findings = session.findings(root);
    let safe = findings.iter().filter_map(|finding| {
        let fix = finding.fixes.iter().find(|fix| fix.care == Care::Unseen)?;
        Some(edits(session, fix))
    });
    let mut all: Vec<(TextPlace, String)> = Vec::new();
    for fix in safe {
        let clear = fix.iter().all(|(place, _)| {
            let apart = |(other, _): &(TextPlace, String)| {
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

/// Is there a line at a place whose notes are computed, so that they can be written out? Then the
/// name of its scoring.
pub fn computed_line(session: &mut Session, at: At) -> Option<String> {
    session.arrangements(at.root).iter().find_map(|arrangement| {
        let lines = arrangement.scoring.lines.iter();
        let mut computed = lines.filter(|line| {
            matches!(
                line.verb,
                Verb::Sustains { .. }
                    | Verb::Signals { .. }
                    | Verb::Highlights { .. }
                    | Verb::Realises { .. }
            )
        });
        let here = |line: &std::sync::Arc<crate::resolve::Line>| {
            let range = session.sources().range(line.span);
            line.span.file == at.file && range.start <= at.offset && at.offset <= range.end
        };
        computed.any(here).then(|| arrangement.scoring.name.clone())
    })
}

/// The edits that write the computed line at a place out: its notes in `writes` blocks, and
/// whoever would change with it.
///
/// # Errors
/// Says why it cannot be done.
pub fn written_out(
    session: &mut Session,
    at: At,
    scoring: String,
) -> Result<Vec<(TextPlace, String)>, String> {
    let asked = Asked { scoring, at: Some((at.file, at.offset)), ..Asked::default() };
    let written = write_out(session, at.root, &asked).map_err(|why| why.to_string())?;
    let file = written.file;
    Ok(written.edits.into_iter().map(|(range, text)| (TextPlace { file, range }, text)).collect())
}

fn edits(session: &Session, fix: &Fix) -> Vec<(TextPlace, String)> {
    let place = |edit: &crate::diagnostics::Edit| {
        let range = session.sources().range(edit.span);
        (TextPlace { file: edit.span.file, range }, edit.text.clone())
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{FORM, changed, text};

    #[test]
    fn a_fix_is_offered_where_its_finding_stands() {
        let source = format!(
            "{FORM}ensemble duo {{\n  era 1770\n  oboe 2\n}}\nscoring small for duo {{\n  obeo.1 rests bars 1\n}}\n"
        );
        let (mut session, at) = text(&source);
        let start = source.find("obeo").unwrap();
        let found = fixes(&mut session, at.root, at.file, &(start..start));
        let fix = found.iter().find(|change| change.finding.code == "names/unknown").unwrap();
        assert!(fix.title.starts_with("Write `"), "{}", fix.title);
        assert!(changed(&session, at.file, &fix.edits).contains("  oboe"));
        assert!(fixes(&mut session, at.root, at.file, &(0..0)).is_empty());
    }

    #[test]
    fn all_that_is_safe_is_mended_at_once_and_nothing_else() {
        let source = format!(
            "{FORM}voice upper {{\n  1: 1/1 D5\n  2: 1/1 E5\n  3: 1/1 F5 |\n  4: 1/1 D5 |\n}}\n"
        );
        let (mut session, at) = text(&source);
        let safe: usize = session
            .findings(at.root)
            .iter()
            .filter(|finding| finding.fixes.iter().any(|fix| fix.care == Care::Unseen))
            .count();
        let edits = all_safe(&mut session, at.root, at.file);
        assert!(
            edits.len() <= safe && edits.windows(2).all(|w| w[0].0.range.end <= w[1].0.range.start)
        );
        let mended = changed(&session, at.file, &edits);
        assert!(mended.contains("1: 1/1 D5 |\n  2: 1/1 E5 |\n"), "{mended}");
        let (mut session, at) = text(&mended);
        assert!(all_safe(&mut session, at.root, at.file).is_empty(), "{mended}");
    }
}

//! Which rules run, and which findings are raised to errors.

use super::RULES;
use crate::diagnostics::{CODES, Diagnostic, Severity, nearest};

/// What the command line asks of the checker. Each word is a rule (`compass/outside-custom`), a
/// family (`compass`), `all`, or a severity (`errors`, `warnings`, `advice`; in the
/// singular too).
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Options {
    /// Findings to raise to errors.
    pub deny: Vec<String>,
    /// Findings to leave out, unless they are errors of the source itself.
    pub allow: Vec<String>,
    /// If not empty: the only findings to report.
    pub only: Vec<String>,
}

/// Does a word of an `allow` line or of the command line mean this rule?
///
/// It does if it is the rule's code or its family.
#[must_use]
pub fn matches(word: &str, code: &str) -> bool {
    code.strip_prefix(word).is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
}

/// The names of all findings: of the rules, then of the stages before the checker.
fn names() -> impl Iterator<Item = &'static str> + Clone {
    RULES.iter().map(|rule| rule.code).chain(CODES.iter().map(|code| code.code))
}

/// Is there such a finding or family of findings?
pub(super) fn is_known(word: &str) -> bool {
    names().any(|code| matches(word, code))
}

/// Is the word one for findings of a severity (or of all), and is this one of them?
fn by_severity(word: &str, severity: Severity) -> Option<bool> {
    Some(match word {
        "all" => true,
        "errors" | "error" => severity == Severity::Error,
        "warnings" | "warning" => severity == Severity::Warning,
        "advice" => severity == Severity::Advice,
        _ => return None,
    })
}

/// The known rule or family nearest to a word.
pub(super) fn meant(word: &str) -> Option<&'static str> {
    let families = names().filter_map(|code| code.split('/').next());
    nearest(word, names().chain(families)).or_else(|| {
        // Whoever knows the second half of a name only.
        let last = word.rsplit('/').next().unwrap_or(word);
        names().find(|code| code.ends_with(&format!("/{last}")))
    })
}

impl Options {
    /// Words that mean no rule, each with a sentence about what may have been meant.
    #[must_use]
    pub fn unknown(&self) -> Vec<(String, String)> {
        let words = self.deny.iter().chain(&self.allow).chain(&self.only);
        words
            .filter(|word| !is_known(word) && by_severity(word, Severity::Advice).is_none())
            .map(|word| {
                let help = match meant(word) {
                    Some(code) => format!("Did you mean `{code}`?"),
                    None => "`ripieno rules` lists all rules.".to_string(),
                };
                (word.clone(), help)
            })
            .collect()
    }

    /// Need a rule run at all?
    pub(super) fn runs(&self, code: &str) -> bool {
        let says = |words: &[String]| words.iter().any(|word| matches(word, code));
        // A severity among the words is judged finding by finding.
        let severity = |word: &String| by_severity(word, Severity::Advice).is_some();
        !says(&self.allow)
            && (self.only.is_empty() || says(&self.only) || self.only.iter().any(severity))
    }

    /// Filters and raises findings of whatever stage. Errors of the source itself (families
    /// `syntax`, `use`, `bars`, `names`) are never left out: nothing after them can be trusted.
    #[must_use]
    pub fn apply(&self, findings: Vec<Diagnostic>) -> Vec<Diagnostic> {
        let means = |words: &[String], finding: &Diagnostic| {
            words.iter().any(|word| {
                by_severity(word, finding.severity).unwrap_or_else(|| matches(word, finding.code))
            })
        };
        let of_source = |finding: &Diagnostic| {
            finding.severity == Severity::Error && super::find(finding.code).is_none()
        };
        findings
            .into_iter()
            .filter(|finding| {
                of_source(finding)
                    || !means(&self.allow, finding)
                        && (self.only.is_empty() || means(&self.only, finding))
            })
            .map(|mut finding| {
                if means(&self.deny, &finding) {
                    finding.severity = Severity::Error;
                }
                finding
            })
            .collect()
    }
}

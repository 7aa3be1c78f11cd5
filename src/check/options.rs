//! Which rules run, and which findings are raised to errors.

use super::RULES;
use crate::diagnostics::{Diagnostic, Severity, nearest};

/// Families of findings that stages before the checker report.
const EARLIER: [&str; 7] =
    ["arrange", "bars", "harmony", "names", "natural-brass", "syntax", "use"];

/// What the command line asks of the checker. Each word is a rule (`compass/outside-custom`), a
/// family (`compass`), `all`, or a severity (`warnings`, `advice`).
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

/// Is there such a rule or family that an `allow` line can name? Of what `arrange` advises any
/// name is taken.
pub(super) fn is_known(word: &str) -> bool {
    matches("arrange", word) || RULES.iter().any(|rule| matches(word, rule.code))
}

/// The known rule or family nearest to a word.
pub(super) fn meant(word: &str) -> Option<&'static str> {
    let families = RULES.iter().map(|rule| rule.family());
    nearest(word, RULES.iter().map(|rule| rule.code).chain(families)).or_else(|| {
        // Whoever knows the second half of a name only.
        let last = word.rsplit('/').next().unwrap_or(word);
        RULES.iter().map(|rule| rule.code).find(|code| code.ends_with(&format!("/{last}")))
    })
}

impl Options {
    /// Words that mean no rule, each with a sentence about what may have been meant.
    #[must_use]
    pub fn unknown(&self) -> Vec<(String, String)> {
        let words = self.deny.iter().chain(&self.allow).chain(&self.only);
        words
            .filter(|word| {
                let family = word.split('/').next().unwrap_or(word);
                let severity = matches!(word.as_str(), "all" | "warnings" | "advice");
                !is_known(word) && !EARLIER.contains(&family) && !severity
            })
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
        let by_severity = |word: &String| matches!(word.as_str(), "all" | "warnings" | "advice");
        !says(&self.allow)
            && (self.only.is_empty() || says(&self.only) || self.only.iter().any(by_severity))
    }

    /// Filters and raises findings of whatever stage. Errors of the source itself (families
    /// `syntax`, `use`, `bars`, `names`) are never left out: nothing after them can be trusted.
    #[must_use]
    pub fn apply(&self, findings: Vec<Diagnostic>) -> Vec<Diagnostic> {
        let means = |words: &[String], finding: &Diagnostic| {
            words.iter().any(|word| match word.as_str() {
                "all" => true,
                "warnings" => finding.severity == Severity::Warning,
                "advice" => finding.severity == Severity::Advice,
                word => matches(word, finding.code),
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

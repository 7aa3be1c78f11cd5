//! Many findings of one kind: the first are told, the others counted. Nobody reads ten thousand
//! times that a line cannot be read, and memory stays in proportion to the source.

use std::collections::HashMap;

use super::Diagnostic;
use crate::limits;

/// Counts findings by their kind while they are found.
#[derive(Clone, Default, Debug)]
pub struct Crowd {
    /// How many of each kind were found.
    found: HashMap<&'static str, usize>,
    /// How many of them are beyond the bound: nothing but their number is kept.
    beyond: HashMap<&'static str, usize>,
}

impl Crowd {
    /// Counts a finding of a kind, and says whether it is within the bound: one beyond it is let go.
    pub fn holds(&mut self, code: &'static str) -> bool {
        let found = self.found.entry(code).or_default();
        *found += 1;
        let within = *found <= limits::FINDINGS;
        if !within {
            *self.beyond.entry(code).or_default() += 1;
        }
        within
    }

    /// Is there anything beyond the bound?
    #[must_use]
    pub fn is_crowded(&self) -> bool {
        self.beyond.values().any(|count| *count > 0)
    }

    /// How many of a kind are beyond the bound.
    #[must_use]
    pub fn beyond(&self, code: &str) -> usize {
        self.beyond.get(code).copied().unwrap_or_default()
    }

    /// How many of all kinds are beyond the bound.
    #[must_use]
    pub fn all_beyond(&self) -> usize {
        self.beyond.values().sum()
    }

    /// Adds what was counted elsewhere, and is beyond the bound already.
    pub fn add_beyond(&mut self, other: &Crowd) {
        for (code, count) in &other.beyond {
            *self.beyond.entry(code).or_default() += count;
        }
    }

    /// One of those beyond the bound is told after all, or is no fault.
    pub fn take_beyond(&mut self, code: &'static str) {
        if let Some(count) = self.beyond.get_mut(code) {
            *count = count.saturating_sub(1);
        }
    }

    /// What was found since an earlier count and is beyond the bound, by its kind.
    pub fn beyond_since(&self, before: &Crowd) -> Vec<(&'static str, usize)> {
        let since = self.beyond.iter().map(|(code, count)| (*code, count - before.beyond(code)));
        let mut since: Vec<_> = since.filter(|(_, count)| *count > 0).collect();
        since.sort_unstable();
        since
    }

    /// Leaves out what goes beyond the bound for each kind; the last one that is told says how many
    /// there are more, those that were only counted among them.
    pub fn thin_out(&self, findings: &mut Vec<Diagnostic>) {
        thin(findings, &self.beyond);
    }
}

/// Leaves out what goes beyond the bound for each kind; the last one that is told says how many there
/// are more.
pub fn thin_out(findings: &mut Vec<Diagnostic>) {
    thin(findings, &HashMap::new());
}

fn thin(findings: &mut Vec<Diagnostic>, beyond: &HashMap<&'static str, usize>) {
    let told_in_full = |one: &Diagnostic| !one.message.is_empty();
    if findings.len() <= limits::FINDINGS
        && findings.iter().all(told_in_full)
        && beyond.values().all(|count| *count == 0)
    {
        return;
    }
    // Of each kind: how many are told, how many are not, and the last one that is.
    let counted = beyond.iter().map(|(code, count)| (*code, (0, *count, 0)));
    let mut counts: HashMap<&'static str, (usize, usize, usize)> = counted.collect();
    let mut kept = 0;
    findings.retain(|finding| {
        let (told, more, last) = counts.entry(finding.code).or_default();
        let within = *told < limits::FINDINGS && told_in_full(finding);
        if within {
            (*told, *last) = (*told + 1, kept);
            kept += 1;
        } else {
            *more += 1;
        }
        within
    });
    for (_, more, last) in counts.into_values().filter(|(told, ..)| *told > 0) {
        let message = &mut findings[last].message;
        match more {
            0 => {}
            1 => message.push_str(" There is one more like it."),
            more => {
                message.push_str(&format!(" There are {} more like it.", limits::spaced(more)));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::diagnostics::Span;

    fn finding(code: &'static str, at: u32) -> Diagnostic {
        Diagnostic::error(code, Span { start: at, ..Span::default() }, "This is wrong.")
    }

    #[test]
    fn the_first_are_told_and_the_last_of_them_says_how_many_there_are_more() {
        let mut crowd = Crowd::default();
        let mut findings = Vec::new();
        let many = limits::FINDINGS + 1234;
        for at in 0..many {
            let one = finding("bars/too-long", u32::try_from(at).unwrap());
            if crowd.holds(one.code) {
                findings.push(one);
            }
        }
        assert_eq!((findings.len(), crowd.all_beyond()), (limits::FINDINGS, 1234));
        findings.push(finding("bars/hold", 7));
        crowd.thin_out(&mut findings);
        assert_eq!(findings.len(), limits::FINDINGS + 1);
        assert_eq!(findings[limits::FINDINGS - 2].message, "This is wrong.");
        let last = &findings[limits::FINDINGS - 1];
        assert_eq!(last.message, "This is wrong. There are 1,234 more like it.");
        assert_eq!(findings[limits::FINDINGS].code, "bars/hold");
        let once = findings.clone();
        thin_out(&mut findings);
        assert_eq!(findings, once, "to thin out again changes nothing");
    }
}

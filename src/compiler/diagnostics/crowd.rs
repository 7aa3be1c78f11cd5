//! Many findings of one kind: the first are told, the others counted. Nobody reads ten thousand
//! times that a line cannot be read, and memory stays in proportion to the source.

use std::collections::HashMap;

use super::Diagnostic;
use crate::limits;

/// Counts findings by their kind while they are found.
#[derive(Clone, Default, Debug)]
pub struct Crowd(HashMap<&'static str, usize>);

impl Crowd {
    /// Counts a finding. One beyond the bound keeps its kind and its place, but loses its words, which
    /// nobody will read. Gives back whether it is one.
    pub fn count(&mut self, finding: &mut Diagnostic) -> bool {
        let count = self.0.entry(finding.code).or_default();
        *count += 1;
        let beyond = *count > limits::FINDINGS;
        if beyond {
            let span = finding.primary.span;
            let bars = finding.bars;
            *finding = Diagnostic::new(finding.severity, finding.code, span, String::new());
            finding.bars = bars;
        }
        beyond
    }
}

/// Leaves out what goes beyond the bound for each kind; the last one that is told says how many there
/// are more.
pub fn thin_out(findings: &mut Vec<Diagnostic>) {
    if findings.len() <= limits::FINDINGS && findings.iter().all(|one| !one.message.is_empty()) {
        return;
    }
    // Of each kind: how many are told, how many are not, and the last one that is.
    let mut counts: HashMap<&'static str, (usize, usize, usize)> = HashMap::new();
    let mut kept = 0;
    findings.retain(|finding| {
        let (told, more, last) = counts.entry(finding.code).or_default();
        let within = *told < limits::FINDINGS && !finding.message.is_empty();
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
            let mut one = finding("bars/too-long", u32::try_from(at).unwrap());
            assert_eq!(crowd.count(&mut one), at >= limits::FINDINGS);
            assert_eq!(one.message.is_empty(), at >= limits::FINDINGS);
            findings.push(one);
        }
        findings.push(finding("bars/hold", 7));
        thin_out(&mut findings);
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

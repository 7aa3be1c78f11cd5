//! The figures of rules that an ensemble may set for itself: `limits endurance/lips 90 seconds "…"`.
//!
//! Every figure here is our heuristic, unless the page of its rule names a source.

use super::Rule;
use super::rules::{RULES, limits_no_effect};
use crate::diagnostics::{Diagnostic, did_you_mean};
use crate::resolve::{Piece, SetLimit};

/// The figure of a rule.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Limit {
    /// The code of the rule.
    pub rule: &'static str,
    /// What the figure means.
    pub means: &'static str,
    /// Its unit, as it is written behind the figure.
    pub unit: &'static str,
    /// What it is where nobody sets it.
    pub usual: f64,
    /// The least that it may be.
    pub least: f64,
    /// The most that it may be.
    pub most: f64,
}

const fn limit(
    rule: &'static str,
    (usual, unit): (f64, &'static str),
    (least, most): (f64, f64),
    means: &'static str,
) -> Limit {
    Limit { rule, means, unit, usual, least, most }
}

/// The figures that can be set.
pub const LIMITS: &[Limit] = &[
    limit(
        "agility/drum-sticking",
        (0.125, "seconds"),
        (0.05, 1.0),
        "time to change from drum to drum",
    ),
    limit(
        "agility/leap",
        (100.0, "%"),
        (25.0, 400.0),
        "of the time that the catalogue gives a leap",
    ),
    limit("agility/slide", (100.0, "%"), (25.0, 400.0), "of the time that the slide takes"),
    limit("agility/too-fast", (100.0, "%"), (25.0, 400.0), "of the speed that the catalogue gives"),
    limit(
        "balance/bass-thin",
        (5.0, "%"),
        (1.0, 50.0),
        "of the whole weight that the bass has at least",
    ),
    limit("balance/one-colour", (40.0, "bars"), (8.0, 999.0), "for which one family may lead"),
    limit(
        "compass/does-not-carry",
        (8.0, "players"),
        (2.0, 99.0),
        "that make a tutti beside the melody",
    ),
    limit(
        "compass/high-and-loud",
        (12.0, "seconds"),
        (2.0, 600.0),
        "of high and loud playing without a break",
    ),
    limit(
        "endurance/lips",
        (60.0, "seconds"),
        (10.0, 600.0),
        "of brass playing at mezzo forte without a break",
    ),
    limit(
        "endurance/loud-for-long",
        (30.0, "seconds"),
        (5.0, 600.0),
        "of loud playing beside the others' ears",
    ),
    limit(
        "endurance/no-breath",
        (100.0, "%"),
        (25.0, 200.0),
        "of the breath that the catalogue gives",
    ),
    limit("harmony/cross-relation", (0.33, "seconds"), (0.05, 10.0), "from which a clash counts"),
    limit("harmony/muddy", (0.4, "seconds"), (0.05, 10.0), "from which a close interval counts"),
    limit("natural-brass/no-time-to-change", (8.0, "seconds"), (2.0, 60.0), "to change a crook"),
    limit(
        "natural-brass/out-of-tune",
        (0.5, "seconds"),
        (0.05, 10.0),
        "from which the note is long",
    ),
    limit("notation/ledger-lines", (3.0, "lines"), (1.0, 9.0), "that are read with ease"),
    limit(
        "strings/no-time-to-change",
        (100.0, "%"),
        (25.0, 400.0),
        "of the time that each change takes",
    ),
    limit("strings/slur-too-long", (100.0, "%"), (25.0, 400.0), "of the length of a bow"),
];

/// The figure of a rule, if it has one that can be set.
#[must_use]
pub fn limit_of(rule: &Rule) -> Option<&'static Limit> {
    LIMITS.iter().find(|limit| limit.rule == rule.code)
}

impl Limit {
    /// A figure with its unit: `60 seconds`, `100%`.
    fn figure(&self, value: f64) -> String {
        match self.unit {
            "%" => format!("{value}%"),
            unit => format!("{value} {unit}"),
        }
    }

    /// What it is, what it may be and how it is written, in one sentence or two.
    #[must_use]
    pub fn in_words(&self) -> String {
        format!(
            "{} {}. An ensemble sets it, from {} to {}, with `limits {} {} \"reason\"`.",
            self.figure(self.usual),
            self.means,
            self.least,
            self.figure(self.most),
            self.rule,
            self.figure(self.usual),
        )
    }

    /// What is wrong with a figure, and what to do; `None` if it can be set.
    fn fault(&self, set: &SetLimit) -> Option<(String, String)> {
        let written =
            |value| format!("Write for example `limits {} {}`.", self.rule, self.figure(value));
        let singular = self.unit.strip_suffix('s') == Some(&*set.unit);
        if set.unit != self.unit && !singular {
            let unit = if set.unit.is_empty() { "no unit" } else { &set.unit };
            return Some((
                format!(
                    "`{}` is counted in {}, and this figure has {unit}.",
                    self.rule,
                    self.name()
                ),
                written(self.usual),
            ));
        }
        (!(self.least..=self.most).contains(&set.value)).then(|| {
            (
                format!(
                    "{} is out of range for `{}` ({} to {}).",
                    self.figure(set.value),
                    self.rule,
                    self.least,
                    self.figure(self.most)
                ),
                written(set.value.clamp(self.least, self.most)),
            )
        })
    }

    fn name(&self) -> &'static str {
        if self.unit == "%" { "percent" } else { self.unit }
    }
}

/// The figure of a rule for players who may have set it.
pub(super) fn in_force(rule: &Rule, set: &[SetLimit]) -> f64 {
    let Some(limit) = limit_of(rule) else { return 0.0 };
    let own = set.iter().find(|own| own.rule == rule.code && limit.fault(own).is_none());
    own.map_or(limit.usual, |own| own.value)
}

/// Reports `limits` lines that set nothing.
pub(super) fn without_effect(piece: &Piece, findings: &mut Vec<Diagnostic>) {
    let rule = &limits_no_effect::RULE;
    let mut seen = Vec::new();
    for set in piece.ensembles.iter().flat_map(|ensemble| &ensemble.limits) {
        if seen.contains(&set.rule_span) {
            continue;
        }
        seen.push(set.rule_span);
        let known = LIMITS.iter().find(|limit| limit.rule == set.rule);
        let (span, message, help) = match known {
            Some(limit) => match limit.fault(set) {
                Some((message, help)) => (set.value_span, message, help),
                None => continue,
            },
            None if RULES.iter().any(|rule| rule.code == set.rule) => (
                set.rule_span,
                format!("`{}` has no figure that can be set.", set.rule),
                "`ripieno explain` names the figure of a rule; `allow` in a scoring suppresses a finding."
                    .to_string(),
            ),
            None => {
                let codes: Vec<&str> = LIMITS.iter().map(|limit| limit.rule).collect();
                let message = format!("Unknown rule `{}`: this line sets nothing.", set.rule);
                (set.rule_span, message, did_you_mean(&set.rule, &codes, "rule"))
            }
        };
        let finding = Diagnostic::new(rule.severity, rule.code, span, message).with_help(help);
        findings.push(finding);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::find;
    use crate::check::tests::findings;

    const LONG: &str = "piece \"Ferry\" { composer \"House copyist\" }\n\
        form { 1 metre 4/4, key C major, tempo 1/4 at 60\n 8 end }\n\
        voice tune { 1: 1/1 {D5 | 2: E5 | 3: 1/2 D5} 1/2 rest | 4: 1/1 {D5 | 5: E5 | 6: 1/2 D5} 1/2 rest | 7: rest | 8: 1/1 D5 | }\n\
        ensemble few { era 1770\n oboe\n LIMIT }\n\
        ensemble more extends few { era 1770\n flute }\n\
        scoring few for more {\n oboe plays tune as harmony\n flute rests\n}\n";

    fn codes(limit: &str) -> Vec<(String, String)> {
        let found = findings(&LONG.replace("LIMIT", limit));
        found.into_iter().map(|f| (f.code.to_string(), f.message)).collect()
    }

    #[test]
    fn every_figure_belongs_to_a_rule_and_lies_within_its_bounds() {
        for limit in LIMITS {
            assert!(find(limit.rule).is_some(), "{}", limit.rule);
            assert!((limit.least..=limit.most).contains(&limit.usual), "{}", limit.rule);
        }
        assert!(LIMITS.windows(2).all(|pair| pair[0].rule < pair[1].rule));
    }

    #[test]
    fn an_ensemble_sets_a_figure_for_itself_and_for_those_that_extend_it() {
        assert_eq!(codes(""), []);
        let shorter = codes("limits endurance/no-breath 60% \"after an illness\"");
        assert_eq!(shorter.len(), 1, "{shorter:?}");
        assert_eq!(shorter[0].0, "endurance/no-breath");
    }

    #[test]
    fn what_sets_nothing_is_reported_once_with_the_right_range() {
        for (limit, says) in [
            ("limits endurance/no-breth 60% \"so\"", "Unknown rule"),
            ("limits names/unused-voice 60% \"so\"", "no figure"),
            ("limits endurance/no-breath 60 \"so\"", "percent"),
            ("limits endurance/no-breath 8 seconds \"so\"", "percent"),
            ("limits endurance/no-breath 900% \"so\"", "25 to 200%"),
            ("limits endurance/lips 1 second \"so\"", "10 to 600 seconds"),
        ] {
            let found = codes(limit);
            assert_eq!(found.len(), 1, "{limit}: {found:?}");
            assert!(found[0].1.contains(says), "{limit}: {found:?}");
        }
    }
}

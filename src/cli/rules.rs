//! `ripieno rules` and `ripieno explain`.

use super::table::table;
use super::{End, Failure, Outcome, print};
use crate::check::{self, RULES};
use crate::diagnostics::did_you_mean;

/// What `rules` takes.
#[derive(clap::Args)]
pub(super) struct RulesArguments {
    /// List only this family, for example `compass`.
    family: Option<String>,
}

/// What `explain` takes.
#[derive(clap::Args)]
pub(super) struct ExplainArguments {
    /// The rule, for example `compass/outside-custom`.
    rule: String,
}

pub(super) fn rules(arguments: &RulesArguments) -> Outcome {
    let mut rows = vec![["rule", "severity", "what it finds"].map(String::from).to_vec()];
    for rule in RULES {
        if arguments.family.as_ref().is_none_or(|family| family == rule.family()) {
            let severity = rule.severity.word().to_string();
            rows.push(vec![rule.code.to_string(), severity, rule.summary()]);
        }
    }
    if rows.len() == 1 {
        let mut families: Vec<&str> = RULES.iter().map(check::Rule::family).collect();
        families.dedup();
        let family = arguments.family.as_deref().unwrap_or_default();
        return Err(Failure(format!(
            "there is no family of rules called `{family}`. {}",
            did_you_mean(family, &families, "family")
        )));
    }
    print(&format!("{}\n`ripieno explain RULE` tells more of one.\n", table(&rows)))?;
    Ok(End::Fine)
}

pub(super) fn explain(arguments: &ExplainArguments) -> Outcome {
    let Some(rule) = check::find(&arguments.rule) else {
        let known: Vec<&str> = RULES.iter().map(|rule| rule.code).collect();
        return Err(Failure(format!(
            "there is no rule called `{}`. {}",
            arguments.rule,
            did_you_mean(&arguments.rule, &known, "rule")
        )));
    };
    print(&format!("{}\n", check::explain(rule).trim_end()))?;
    Ok(End::Fine)
}

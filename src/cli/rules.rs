//! `ripieno rules` and `ripieno explain`.

use super::{End, Failure, Outcome, print};
use ripieno_checker::advise::table;
use ripieno_checker::check::{self, RULES};
use ripieno_compiler::diagnostics::{CODES, did_you_mean};

/// What `rules` takes.
#[derive(clap::Args)]
pub(super) struct RulesArguments {
    /// List only this family, for example `compass`.
    family: Option<String>,
}

/// What `explain` takes.
#[derive(clap::Args)]
pub(super) struct ExplainArguments {
    /// The rule or finding, for example `compass/outside-custom`.
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
    let wanted = arguments.family.as_deref();
    let mut earlier = vec![["finding", "what it finds"].map(String::from).to_vec()];
    for code in CODES {
        let family = code.code.split('/').next();
        if wanted.is_none() || family == wanted {
            earlier.push(vec![code.code.to_string(), code.finds.to_string()]);
        }
    }
    if rows.len() == 1 && earlier.len() == 1 {
        let mut families: Vec<&str> = RULES.iter().map(check::Rule::family).collect();
        families.extend(CODES.iter().filter_map(|code| code.code.split('/').next()));
        families.sort_unstable();
        families.dedup();
        let family = wanted.unwrap_or_default();
        return Err(Failure(format!(
            "unknown family of rules `{family}`. {}",
            did_you_mean(family, &families, "family")
        )));
    }
    let mut text = String::new();
    if rows.len() > 1 {
        text.push_str(&format!("Rules of the checker\n{}\n", table(&rows)));
    }
    if earlier.len() > 1 {
        text.push_str(&format!("Findings of the stages before it\n{}\n", table(&earlier)));
    }
    print(&format!("{text}`ripieno explain NAME` explains one.\n"))?;
    Ok(End::Fine)
}

pub(super) fn explain(arguments: &ExplainArguments) -> Outcome {
    if let Some(code) = CODES.iter().find(|code| code.code == arguments.rule) {
        print(&check::explain_code(code))?;
        return Ok(End::Fine);
    }
    let Some(rule) = check::find(&arguments.rule) else {
        let mut known: Vec<&str> = RULES.iter().map(|rule| rule.code).collect();
        known.extend(CODES.iter().map(|code| code.code));
        return Err(Failure(format!(
            "unknown rule `{}`. {}",
            arguments.rule,
            did_you_mean(&arguments.rule, &known, "rule")
        )));
    };
    print(&format!("{}\n", check::explain(rule).trim_end()))?;
    Ok(End::Fine)
}

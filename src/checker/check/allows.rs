//! The `allow` lines: what they silence, and what is said of those that silence nothing.

use super::context::Context;
use super::options::{is_known, meant};
use super::rules::{allow_unknown_rule, allow_unused};
use super::{Finding, Options, RULES, matches};
use crate::arrange::Arrangement;
use crate::diagnostics::{Diagnostic, Severity, Span};
use crate::resolve::{Allow, BarIndices, Scoring};

/// Is a finding of an earlier stage allowed? Errors never are: nothing could be written.
pub(super) fn silences(cx: &Context, finding: &Diagnostic) -> bool {
    if finding.severity == Severity::Error {
        return false;
    }
    let player = finding.player.as_ref().and_then(|id| cx.player(id));
    let bars = finding.bars.and_then(|bars| BarIndices::of_numbers(cx.form, bars));
    let bars = bars.unwrap_or(BarIndices::one(0));
    cx.allowed(finding.code, player, bars)
}

/// Is a finding about the printed pages allowed by a scoring or one that it keeps?
#[must_use]
pub fn is_allowed(arrangement: &Arrangement, finding: &Diagnostic) -> bool {
    let form = &arrangement.piece.form;
    let bars = finding.bars.and_then(|bars| BarIndices::of_numbers(form, bars));
    let allowed = |scoring: &Scoring, allow: &Allow| {
        let ensemble = arrangement.piece.ensembles.get(scoring.ensemble);
        let means = |name: &str| {
            let players = ensemble.map_or(Vec::new(), |ensemble| ensemble.players_named(name));
            let mut players = players.iter().filter_map(|player| ensemble?.players.get(*player));
            players.any(|player| Some(&player.id) == finding.player.as_ref())
        };
        matches(&allow.rule, finding.code)
            && (allow.who.is_empty() || allow.who.iter().any(|(name, _)| means(name)))
            && bars.is_none_or(|bars| {
                allow.bars.is_empty() || allow.bars.iter().any(|own| own.contains(bars.first))
            })
    };
    finding.severity < Severity::Error
        && arrangement
            .piece
            .layers(&arrangement.scoring)
            .into_iter()
            .any(|scoring| scoring.allows.iter().any(|allow| allowed(scoring, allow)))
}

/// What is found only once pages are laid out: whether an `allow` of it silences something is not
/// known before.
const ON_PAGES: [&str; 3] = ["layout/no-character", "layout/small-staves", "notation/page-turn"];

/// What is to be said of the `allow` lines of scorings themselves, the kept ones not included.
pub(super) fn findings<'a>(
    scorings: impl IntoIterator<Item = &'a Scoring>,
    used: &[Span],
    options: &Options,
) -> Vec<Finding> {
    let mut found = Vec::new();
    let own = |scoring: &'a Scoring| scoring.allows.iter().map(move |allow| (scoring, allow));
    for (scoring, allow) in scorings.into_iter().flat_map(own) {
        let mut diagnostic = if !is_known(&allow.rule) {
            let rule = &allow_unknown_rule::RULE;
            let finding = Diagnostic::new(
                rule.severity,
                rule.code,
                allow.rule_span,
                format!("Unknown rule `{}`: this `allow` has no effect.", allow.rule),
            );
            match meant(&allow.rule) {
                Some(code) => finding.with_help(format!("Did you mean `{code}`?")).with_fix(
                    format!("write `{code}`"),
                    allow.rule_span,
                    code,
                    false,
                ),
                None => finding.with_help("`ripieno rules` lists all rules and families."),
            }
        } else if !used.contains(&allow.span)
            && !ON_PAGES.contains(&allow.rule.as_str())
            && all_ran(&allow.rule, options)
        {
            let rule = &allow_unused::RULE;
            Diagnostic::new(
                rule.severity,
                rule.code,
                allow.span,
                format!("This `allow {}` suppresses nothing.", allow.rule),
            )
            .with_help("Remove the line, or check whether its players and bars are still right.")
            .with_fix("remove the line", allow.span, "", false)
        } else {
            continue;
        };
        if options.runs(diagnostic.code) {
            diagnostic.scoring = Some(scoring.name.clone());
            found.push(Finding::alone(diagnostic));
        }
    }
    found
}

/// Did every rule run that the word means?
fn all_ran(word: &str, options: &Options) -> bool {
    RULES.iter().filter(|rule| matches(word, rule.code)).all(|rule| options.runs(rule.code))
}

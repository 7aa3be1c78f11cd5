//! What an experienced orchestrator would say of an arrangement, with the span and the source.
//!
//! One rule is one file under `rules/`, in the folder of its family, and stands in one table,
//! [`RULES`]. A rule looks at an arrangement, never changes it, and reports passages, not notes:
//! forty notes of one scoring line out of compass are one finding with its bars.
//!
//! # How to add a rule
//!
//! 1. Copy the file of a neighbour. Its leading comment is the documentation that `rules`,
//!    `explain` and `grammar/rules.md` show: one sentence, then the sections *What it finds*,
//!    *Why it matters*, *Example*, *Fixed* and *Source*.
//!    Its [`Rule`] says what it looks at (scope), what it concludes from (grounds), whether it tells
//!    of something missing (absence), and what makes two of its findings one (cause).
//! 2. Add the module and one line to the table in `rules/mod.rs`.
//! 3. Run `cargo test --lib check`: it compiles the example, wants to see exactly this finding in
//!    it and none in the mended one. `RIPIENO_WRITE_RULES=1 cargo test --lib check` writes
//!    `grammar/rules.md` anew.

mod alike;
mod allows;
mod alternatives;
#[cfg(test)]
mod cases;
#[cfg(test)]
mod computed_tests;
mod context;
mod documentation;
mod doubt;
mod facts;
#[cfg(test)]
mod handbook;
#[cfg(test)]
mod idioms;
mod jumps;
mod limits;
mod loudness;
mod memory;
#[cfg(test)]
mod mutations;
mod options;
#[cfg(test)]
mod part_writing;
mod passage;
mod report;
mod rules;
mod sharing;
mod slices;
#[cfg(test)]
mod tests;
mod words;

use std::borrow::Borrow;
use std::collections::HashMap;
use std::sync::Arc;

use crate::arrange::{Arrangement, arrange};
use crate::cores::on_all_cores;
use crate::diagnostics::{BarNumbers, Care, Diagnostic, Label, Severity, Span};
use crate::resolve::{Piece, Scoring};

use context::Context;

pub use allows::is_allowed;
pub use documentation::{Documentation, documentation, explain, explain_code, page};
pub use limits::{LIMITS, Limit, limit_of};
pub use options::{Options, matches};
pub use report::report;
pub(crate) use report::{in_order, report_again};
pub use rules::{Heard, RULES, heard_at};

/// A rule: its name, how bad its findings are, its documentation and what it does.
#[derive(Clone, Copy)]
pub struct Rule {
    /// Family and name in words: `compass/beyond-instrument`.
    pub code: &'static str,
    /// How bad a finding is.
    pub severity: Severity,
    /// What it looks at at a time.
    scope: Scope,
    /// What a finding is concluded from: where that could not be understood, it is not told.
    pub grounds: Grounds,
    /// Does it tell of something missing? In a source with errors, what is missing may only not have
    /// been understood.
    pub absence: bool,
    /// What makes two of its findings one.
    pub cause: Cause,
    /// The source text of the rule's file, whose leading comment is its documentation.
    pub text: &'static str,
}

impl Rule {
    /// The family: `compass` for `compass/beyond-instrument`.
    #[must_use]
    pub fn family(&self) -> &'static str {
        self.code.split('/').next().unwrap_or(self.code)
    }

    /// One sentence about it, for lists.
    #[must_use]
    pub fn summary(&self) -> String {
        documentation(self).title
    }
}

/// What a rule looks at at a time, and how it does so.
///
/// The narrower it is, the less is looked at again after an edit: of a player the notes that
/// changed and those beside them ([`Context::offences`]), of the moments those that changed
/// ([`Context::moments`]). A rule of the scoring or of the piece runs whole.
#[derive(Clone, Copy)]
enum Scope {
    /// The notes of one player after the other.
    Player(fn(&Context, &mut Findings)),
    /// What sounds together, moment by moment.
    Moment(fn(&Context, &mut Findings)),
    /// One scoring as a whole.
    Scoring(fn(&Context, &mut Findings)),
    /// The piece with all its scorings.
    Piece(fn(&Piece, &mut Vec<Diagnostic>)),
    /// The `allow` lines of a scoring, once all other rules have run.
    Allows,
}

/// What the findings of a rule are concluded from.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Grounds {
    /// The player's own notes in the bars of the finding and beside them.
    Notes,
    /// The same, and how loud they are.
    Loudness,
    /// All that sounds in the bars of the finding.
    Together,
    /// All that sounds in these bars, and how loud it is.
    Strength,
    /// The whole scoring.
    Whole,
}

/// What makes two findings of a rule one, which is told once.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Cause {
    /// The same scoring line does the same to a player, in scorings that keep one another.
    Line,
    /// The same place of the source, whoever plays it: two notes of the source are what makes it.
    Source,
}

/// What a finding is concluded from, and what makes two of its kind one, by its code. A finding of
/// an earlier stage is about a scoring line and concluded from all that stands in the source.
fn nature(code: &str) -> (Grounds, Cause) {
    find(code).map_or((Grounds::Whole, Cause::Line), |rule| (rule.grounds, rule.cause))
}

/// The rule of that code.
#[must_use]
pub fn find(code: &str) -> Option<&'static Rule> {
    RULES.iter().find(|rule| rule.code == code)
}

/// A finding with what is needed to tell whether a kept scoring has the same.
struct Finding {
    diagnostic: Diagnostic,
    /// The scoring line that it is about, if it is about one.
    line: Option<Span>,
    /// The kind of cause, where a rule knows several.
    kind: u8,
    /// Other players with whom it is the same.
    others: Vec<Sharer>,
}

/// A player with whom a finding about another one is the same, in some or all of its bars.
struct Sharer {
    /// Index of the part.
    player: usize,
    /// The scoring line that gives him the notes.
    line: Span,
    /// The bars that he shares.
    bars: Vec<BarNumbers>,
    /// Does he share the whole of it?
    whole: bool,
}

impl Finding {
    /// A finding that is about no scoring line.
    fn alone(diagnostic: Diagnostic) -> Finding {
        Finding { diagnostic, line: None, kind: 0, others: Vec::new() }
    }
}

/// Where rules put what they find.
#[derive(Default)]
struct Findings(Vec<Finding>);

impl Findings {
    fn push(&mut self, diagnostic: Diagnostic) {
        self.0.push(Finding::alone(diagnostic));
    }
}

/// Arranges scorings and runs all rules over them and over the piece; see [`check_piece`].
#[must_use]
pub fn check_scorings(
    piece: &Arc<Piece>,
    scorings: &[&Arc<Scoring>],
    options: &Options,
) -> Vec<Diagnostic> {
    let arrangements = scorings.iter().map(|scoring| arrange(piece, scoring));
    check_again(piece, arrangements, options, &mut Kept { forgets: true, ..Kept::default() })
}

/// Runs all rules over one arranged scoring and gives back what they find.
///
/// What `arrange` itself found is not among it, nor are the findings about the whole piece; see
/// [`check_piece`] for both.
#[must_use]
pub fn check(arrangement: &Arrangement, options: &Options) -> Vec<Diagnostic> {
    let cx = Context::new(arrangement);
    let mut findings = one_scoring(&cx, options);
    for finding in &mut findings {
        finding.diagnostic.scoring = Some(arrangement.scoring.name.clone());
    }
    let used: Vec<Span> = cx.used_allows().collect();
    findings.extend(allows::findings([&*arrangement.scoring], &used, options));
    options.apply(findings.into_iter().map(|finding| finding.diagnostic).collect())
}

/// Runs all rules over a piece and its arranged scorings.
///
/// What `arrange` found in them is among the findings, so that `allow` lines and options hold for
/// it too. A finding that a scoring shares with one that it keeps is told once, with the names of
/// the others.
#[must_use]
pub fn check_piece(
    piece: &Piece,
    arrangements: &[Arrangement],
    options: &Options,
) -> Vec<Diagnostic> {
    check_again(piece, arrangements, options, &mut Kept { forgets: true, ..Kept::default() })
}

/// What one run of the rules keeps for the next.
#[derive(Default)]
pub(crate) struct Kept {
    /// By name of the scoring.
    scorings: HashMap<String, memory::Memory>,
    /// Will there be no next run?
    pub(crate) forgets: bool,
}

/// The same with what an earlier run kept. Each scoring is asked for when the one before is done
/// with, so that they need not all be there at once.
fn check_again(
    piece: &Piece,
    arrangements: impl IntoIterator<Item = impl Borrow<Arrangement>>,
    options: &Options,
    kept: &mut Kept,
) -> Vec<Diagnostic> {
    let mut all = Vec::new();
    for rule in RULES {
        if let Scope::Piece(check) = rule.scope
            && options.runs(rule.code)
        {
            check(piece, &mut all);
        }
    }
    let mut told = AllTold::default();
    let (mut scorings, mut used) = (Vec::new(), Vec::new());
    for arrangement in arrangements {
        let arrangement: &Arrangement = arrangement.borrow();
        scorings.push(Arc::clone(&arrangement.scoring));
        let name = &arrangement.scoring.name;
        let memory = kept.scorings.entry(name.clone()).or_default();
        memory.forgets = kept.forgets;
        let changed = memory.begin(arrangement);
        let cx = Context::again(arrangement, memory, changed);
        for finding in one_scoring(&cx, options) {
            told.tell(finding, &arrangement.scoring.name);
        }
        for diagnostic in &arrangement.diagnostics {
            let conclusion = diagnostic.severity < Severity::Error;
            if allows::silences(&cx, diagnostic) || (conclusion && doubt::follows(&cx, diagnostic))
            {
                continue;
            }
            let finding = Finding::alone(diagnostic.clone());
            told.tell(finding, &arrangement.scoring.name);
        }
        used.extend(cx.used_allows());
        if kept.forgets {
            drop(cx);
            kept.scorings.clear();
        }
    }
    all.extend(told.told.into_iter().map(|told| told.finish().diagnostic));
    let scorings = scorings.iter().map(|scoring| &**scoring);
    let unused = allows::findings(scorings, &used, options);
    all.extend(unused.into_iter().map(|finding| finding.diagnostic));
    options.apply(all)
}

fn one_scoring(cx: &Context, options: &Options) -> Vec<Finding> {
    let checks: Vec<fn(&Context, &mut Findings)> = RULES
        .iter()
        .filter(|rule| options.runs(rule.code))
        .filter_map(|rule| match rule.scope {
            Scope::Player(check) | Scope::Moment(check) | Scope::Scoring(check) => Some(check),
            Scope::Piece(_) | Scope::Allows => None,
        })
        .collect();
    let found = on_all_cores(&checks, cx.arrangement.notes(), |check| {
        let mut findings = Findings::default();
        check(cx, &mut findings);
        findings.0
    });
    let mut findings: Vec<Finding> = found.into_iter().flatten().collect();
    findings.retain(|finding| !doubt::follows(cx, &finding.diagnostic));
    players_together(findings, cx)
}

/// Tells once what one scoring line does to several players in the same bars.
fn players_together(findings: Vec<Finding>, cx: &Context) -> Vec<Finding> {
    let mut together: Vec<Finding> = Vec::new();
    let mut seen = HashMap::new();
    for finding in findings {
        let told = &finding.diagnostic;
        let key = (told.code, finding.line, told.primary.span, told.bars);
        let player = told.player.as_ref().and_then(|id| cx.player(id));
        let (Some(line), Some(player)) = (finding.line, player) else {
            together.push(finding);
            continue;
        };
        let index = *seen.entry(key).or_insert(together.len());
        match together.get_mut(index) {
            Some(first) => {
                let bars = told.bars.into_iter().collect();
                first.others.push(Sharer { player, line, bars, whole: true });
                first.others.extend(finding.others);
            }
            None => together.push(finding),
        }
    }
    together.into_iter().map(|finding| with_others(finding, cx)).collect()
}

/// Names the other players with whom a finding is the same.
fn with_others(mut finding: Finding, cx: &Context) -> Finding {
    let told = &mut finding.diagnostic;
    let Some(player) = told.player.clone().filter(|_| !finding.others.is_empty()) else {
        return finding;
    };
    finding.others.sort_by_key(|other| other.player);
    finding.others.dedup_by_key(|other| other.player);
    let mut ids = vec![player.as_str()];
    let mut names = Vec::new();
    for other in &finding.others {
        let part = cx.part(other.player);
        ids.push(&part.player.id);
        names.push(match other.whole {
            true => part.player.name.clone(),
            false => format!("{} ({})", part.player.name, words::bars(&other.bars)),
        });
        let places = [
            (other.line, format!("this line also covers {}", part.player.name)),
            (part.player.span, part.player.name.clone()),
        ];
        for (span, text) in places {
            if told.labels.iter().all(|label| label.span != span) {
                told.labels.push(Label { span, text });
            }
        }
    }
    told.message.push_str(&format!(" This also applies to {}.", words::list(&names, "and")));
    // A change that allows it must name them all.
    for fix in told.fixes.iter_mut().filter(|fix| fix.care == Care::Reason) {
        let text = passage::allow_line(told.code, &ids, &fix.bars);
        fix.edits.iter_mut().for_each(|edit| edit.text.clone_from(&text));
    }
    finding
}

/// A finding, the scoring that has it in the most bars, and the others that share it.
struct Told {
    finding: Finding,
    scoring: String,
    others: Vec<String>,
}

/// What was found in the scorings so far, each thing once.
#[derive(Default)]
struct AllTold {
    told: Vec<Told>,
    /// Indices of what may be the same, by what must agree.
    alike: HashMap<Alike, Vec<usize>>,
}

/// What agrees in findings that are one: code, kind of cause, and the place in the source (for
/// harmony), or the player with the scoring line or, without one, the place.
type Alike = (&'static str, u8, Option<String>, Option<Span>, Option<Span>);

impl AllTold {
    fn tell(&mut self, finding: Finding, scoring: &str) {
        let candidates = alike(&finding);
        let mut known: Vec<usize> =
            candidates.iter().filter_map(|key| self.alike.get(key)).flatten().copied().collect();
        known.sort_unstable();
        let same = |index: &usize| is_same(&self.told[*index], &finding, scoring);
        let index = known.into_iter().find(same).unwrap_or(self.told.len());
        match self.told.get_mut(index) {
            None => {
                self.told.push(Told { finding, scoring: scoring.to_string(), others: Vec::new() });
            }
            Some(known) => {
                if within(finding.diagnostic.bars, known.finding.diagnostic.bars) {
                    return known.others.push(scoring.to_string());
                }
                known.finding = finding;
                known.others.push(std::mem::replace(&mut known.scoring, scoring.to_string()));
            }
        }
        for key in candidates {
            self.alike.entry(key).or_default().push(index);
        }
    }
}

fn alike(finding: &Finding) -> Vec<Alike> {
    let told = &finding.diagnostic;
    let (code, kind, primary) = (told.code, finding.kind, Some(told.primary.span));
    let place = if finding.line.is_some() { None } else { primary };
    let mut keys = vec![(code, kind, told.player.clone(), finding.line, place)];
    if nature(code).1 == Cause::Source {
        keys.push((code, kind, None, Some(Span::default()), primary));
    }
    keys
}

fn is_same(other: &Told, finding: &Finding, scoring: &str) -> bool {
    let (a, b) = (&other.finding.diagnostic, &finding.diagnostic);
    // What two notes of the source make together is one cause, whoever plays them.
    let of_source = nature(a.code).1 == Cause::Source && a.primary.span == b.primary.span;
    let place = match (other.finding.line, finding.line) {
        _ if of_source => true,
        (Some(one), Some(two)) => one == two,
        (None, None) => a.primary.span == b.primary.span,
        _ => false,
    };
    let bars = within(b.bars, a.bars) || within(a.bars, b.bars);
    let cause = a.code == b.code && other.finding.kind == finding.kind;
    let elsewhere = other.scoring != scoring && !other.others.iter().any(|o| o == scoring);
    cause && (of_source || a.player == b.player) && place && bars && elsewhere
}

fn within(inner: Option<BarNumbers>, outer: Option<BarNumbers>) -> bool {
    match (inner, outer) {
        (Some(inner), Some(outer)) => inner.is_within(outer),
        (None, None) => true,
        _ => false,
    }
}

impl Told {
    fn finish(mut self) -> Finding {
        self.others.dedup();
        self.others.retain(|other| *other != self.scoring);
        let told = &mut self.finding.diagnostic;
        told.scoring = Some(self.scoring);
        told.also_in = self.others;
        self.finding
    }
}

//! `ripieno reprint`: which parts to print again after a change.

use std::path::PathBuf;

use clap::ValueEnum;
use serde::Serialize;

use super::source::{self, has_errors};
use super::{End, Failure, Outcome, print};
use ripieno_checker::advise::table;
use ripieno_compiler::arrange::{Arrangement, Part, arrange};
use ripieno_compiler::diagnostics::BarNumbers;
use ripieno_compiler::resolve::{Piece, Verb};
use ripieno_writers::edition::{self, BarNews, Cueing, Edition};
use ripieno_writers::notate::{Score, notate};

/// What `reprint` takes.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The source from which the parts on the stands were built.
    old: PathBuf,
    /// The source as it is now.
    new: PathBuf,
    /// Compare only this scoring (may be given several times).
    #[arg(long, value_name = "NAME")]
    scoring: Vec<String>,
    /// How the changes are shown.
    #[arg(long, value_enum, default_value = "table")]
    format: Form,
    /// Bars of rest from which on an entry has a cue, as the parts were built.
    #[arg(long, value_name = "BARS", default_value_t = 8)]
    cues: u32,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Form {
    /// A line for each part.
    Table,
    /// Data.
    Json,
    /// A letter to the librarian.
    Letter,
}

/// What became of one part.
#[derive(Serialize)]
struct Change {
    scoring: String,
    part: String,
    name: String,
    /// What to do with the printed part.
    action: Action,
    /// Bars with other notes or signs.
    bars: Vec<Bar>,
    /// About how many pages the new part has (our heuristic: 45 bars or rests a page).
    pages: usize,
}

#[derive(Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
enum Action {
    /// Nothing of it is new.
    Keep,
    /// Only the layout is: the old print sounds the same.
    KeepLayout,
    /// Some bars are new.
    Print,
    /// A part that was not there.
    New,
    /// A part that is no longer there.
    Withdraw,
}

#[derive(Serialize)]
struct Bar {
    number: i32,
    /// "notes", "signs", or both.
    what: String,
    /// Where the change lies: a voice, or the scoring line.
    why: String,
}

pub(super) fn run(arguments: &Arguments) -> Outcome {
    let (old, new) = (piece(&arguments.old)?, piece(&arguments.new)?);
    let mut changes = Vec::new();
    for scoring in source::scorings(&new, &arguments.scoring)? {
        let now = Side::new(&new, scoring);
        let before = old.scorings.iter().find(|other| other.name == scoring.name);
        let before = before.map(|scoring| Side::new(&old, scoring));
        compare(before.as_ref(), &now, arguments.cues, &mut changes);
    }
    match arguments.format {
        Form::Table => print(&as_table(&changes))?,
        Form::Letter => print(&letter(&new, &changes))?,
        Form::Json => {
            let json = serde_json::to_string_pretty(&changes)
                .map_err(|error| Failure(error.to_string()))?;
            print(&(json + "\n"))?;
        }
    }
    Ok(End::Fine)
}

/// Reads a source; one with errors cannot be compared.
fn piece(path: &std::path::Path) -> Result<std::sync::Arc<Piece>, Failure> {
    let (mut session, file) = source::session(path, None)?;
    if has_errors(&session.findings(file)) {
        return Err(Failure(format!(
            "{} has errors; fix them (`ripieno check` reports them), then compare",
            path.display()
        )));
    }
    Ok(session.piece(file))
}

/// A scoring worked out.
struct Side<'a> {
    piece: &'a Piece,
    arrangement: Arrangement,
    score: Score,
}

impl<'a> Side<'a> {
    fn new(
        piece: &'a std::sync::Arc<Piece>,
        scoring: &std::sync::Arc<ripieno_compiler::resolve::Scoring>,
    ) -> Side<'a> {
        let arrangement = arrange(piece, scoring);
        let score = notate(&arrangement);
        Side { piece, arrangement, score }
    }

    fn find(&self, id: &str) -> Option<usize> {
        self.arrangement.parts.iter().position(|part| part.player.id == id)
    }

    fn edition(&self, part: usize, cues: u32) -> Edition<'_> {
        let cueing = Cueing { after_bars: cues };
        edition::part_with_cues(&self.arrangement, &self.score, part, cueing)
    }

    /// What a part does in a bar, in words of the language, and what it goes by.
    fn doing(&self, part: &Part, bar: usize) -> (String, String) {
        let within =
            self.score.frame.get(bar).map(|frame| (frame.start, frame.start + frame.length));
        let claim = within.and_then(|(start, end)| {
            part.claims.iter().rev().find(|claim| claim.from < end && start < claim.to)
        });
        let Some(line) = claim.and_then(|claim| self.arrangement.line(claim.line)) else {
            return ("rests".into(), "the scoring".into());
        };
        let voice = |index: usize| {
            self.piece.voices.get(index).map_or_else(String::new, |voice| voice.name.clone())
        };
        let (does, by) = match &line.verb {
            Verb::Plays { voice: index, octaves, .. } => {
                (format!("plays {} {octaves}", voice(*index)), format!("voice {}", voice(*index)))
            }
            Verb::Signals { voice: index } => {
                (format!("signals {}", voice(*index)), format!("voice {}", voice(*index)))
            }
            Verb::Realises { voice: index } => (
                format!("realises {}", voice(*index)),
                format!("voice {} and the harmony", voice(*index)),
            ),
            Verb::Doubles { part, octaves, .. } => {
                (format!("doubles {part} {octaves}"), format!("what {part} plays"))
            }
            Verb::Sustains { restrike } => {
                (format!("sustains {restrike:?}"), "the harmony or its neighbours".into())
            }
            Verb::Highlights { moments } => {
                (format!("highlights {moments:?}"), "the moments of the piece".into())
            }
            Verb::Writes(_) => ("writes".into(), "notes written in the scoring".into()),
            Verb::Rests => ("rests".into(), "the scoring".into()),
            Verb::Takes { .. } | Verb::Unknown => ("takes".into(), "the scoring".into()),
        };
        (format!("{does} {:?} {:?}", line.role, line.dynamic.map(|(dynamic, _)| dynamic)), by)
    }
}

fn compare(before: Option<&Side>, now: &Side, cues: u32, changes: &mut Vec<Change>) {
    let scoring = now.arrangement.scoring.name.clone();
    for (index, part) in now.arrangement.parts.iter().enumerate() {
        let edition = now.edition(index, cues);
        let mut change = Change {
            scoring: scoring.clone(),
            part: part.player.id.clone(),
            name: part.player.name.clone(),
            action: Action::New,
            bars: Vec::new(),
            pages: pages(&edition),
        };
        let other = before.and_then(|side| Some((side, side.find(&part.player.id)?)));
        if let Some((side, other)) = other {
            let old = side.edition(other, cues);
            match edition::news(&old, &edition) {
                None => change.action = Action::Print,
                Some(news) => {
                    let heard = news.iter().any(|news| news.notes || news.signs);
                    let head =
                        old.head.keys != edition.head.keys || old.head.name != edition.head.name;
                    change.action = match (heard || head, news.is_empty()) {
                        (true, _) => Action::Print,
                        (false, false) => Action::KeepLayout,
                        (false, true) => Action::Keep,
                    };
                    let old_part = &side.arrangement.parts[other];
                    change.bars = news
                        .iter()
                        .filter(|news| news.notes || news.signs)
                        .map(|news| bar(news, (side, old_part), (now, part), &edition))
                        .collect();
                }
            }
        }
        changes.push(change);
    }
    let Some(before) = before else { return };
    for part in &before.arrangement.parts {
        if now.find(&part.player.id).is_none() {
            changes.push(Change {
                scoring: scoring.clone(),
                part: part.player.id.clone(),
                name: part.player.name.clone(),
                action: Action::Withdraw,
                bars: Vec::new(),
                pages: 0,
            });
        }
    }
}

fn bar(
    news: &BarNews,
    (before, old): (&Side, &Part),
    (now, new): (&Side, &Part),
    edition: &Edition,
) -> Bar {
    let what = match (news.notes, news.signs) {
        (true, true) => "notes and signs",
        (true, false) => "notes",
        _ => "signs",
    };
    let ((did, _), (does, by)) = (before.doing(old, news.bar), now.doing(new, news.bar));
    let why = match () {
        () if did != does => "scoring line".to_owned(),
        () if news.notes => by,
        () => "dynamics, words or form".to_owned(),
    };
    Bar { number: edition.bars[news.bar].number, what: what.into(), why }
}

/// About how many pages a part has.
fn pages(edition: &Edition) -> usize {
    let shown = edition.staves.iter().flat_map(|staff| &staff.bars).filter(|bar| !bar.counted);
    shown.count().div_ceil(45).max(1)
}

/// Bar numbers with neighbours joined: "3, 7–9".
fn numbers(bars: &[Bar]) -> String {
    let mut runs: Vec<BarNumbers> = Vec::new();
    bars.iter().for_each(|bar| BarNumbers::add(&mut runs, bar.number));
    let shown = runs.iter().map(|BarNumbers { first, last }| match first == last {
        true => first.to_string(),
        false => format!("{first}–{last}"),
    });
    shown.collect::<Vec<_>>().join(", ")
}

fn reasons(bars: &[Bar]) -> String {
    let mut reasons: Vec<&str> = bars.iter().map(|bar| bar.why.as_str()).collect();
    reasons.sort_unstable();
    reasons.dedup();
    reasons.join("; ")
}

fn action(change: &Change) -> &'static str {
    match change.action {
        Action::Keep => "keep",
        Action::KeepLayout => "keep (only the layout differs)",
        Action::Print => "print again",
        Action::New => "print: new",
        Action::Withdraw => "withdraw",
    }
}

fn as_table(changes: &[Change]) -> String {
    let head = ["scoring", "part", "do", "bars", "because of", "pages"];
    let mut rows = vec![head.map(str::to_owned).to_vec()];
    for change in changes {
        let whole = change.action == Action::Print && change.bars.is_empty();
        rows.push(vec![
            change.scoring.clone(),
            change.part.clone(),
            action(change).into(),
            if whole { "all".into() } else { numbers(&change.bars) },
            if whole { "other bars or keys".into() } else { reasons(&change.bars) },
            match change.action {
                Action::Print | Action::New => format!("about {}", change.pages),
                _ => String::new(),
            },
        ]);
    }
    let to_print = changes.iter().filter(|c| matches!(c.action, Action::Print | Action::New));
    let (parts, pages) = to_print.fold((0, 0), |(parts, pages), c| (parts + 1, pages + c.pages));
    table(&rows) + &format!("{parts} of {} parts to print, about {pages} pages\n", changes.len())
}

fn letter(piece: &Piece, changes: &[Change]) -> String {
    let mut text = format!("To the librarian\n\n{}: changes to the parts.\n", piece.title);
    let mut scorings: Vec<&str> = changes.iter().map(|change| change.scoring.as_str()).collect();
    scorings.dedup();
    for scoring in scorings {
        text.push_str(&format!("\nScoring {scoring}\n"));
        let of = |wanted: fn(Action) -> bool| {
            changes.iter().filter(move |c| c.scoring == scoring && wanted(c.action))
        };
        let mut any = false;
        for change in of(|action| matches!(action, Action::Print | Action::New)) {
            any = true;
            let bars = match (change.action, change.bars.is_empty()) {
                (Action::New, _) => "a new part".to_owned(),
                (_, true) => "the whole part: other bars or keys".to_owned(),
                (_, false) => format!("bars {}", numbers(&change.bars)),
            };
            text.push_str(&format!("  Please replace {}: {bars}.\n", change.name));
        }
        for change in of(|action| action == Action::Withdraw) {
            any = true;
            text.push_str(&format!("  Please take {} from the stands.\n", change.name));
        }
        let kept: Vec<&str> = of(|action| matches!(action, Action::Keep | Action::KeepLayout))
            .map(|change| change.name.as_str())
            .collect();
        if !any {
            text.push_str("  Nothing to print: all parts are still right.\n");
        } else if !kept.is_empty() {
            text.push_str(&format!("  Still right: {}.\n", kept.join(", ")));
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn neighbouring_bars_are_joined() {
        let bars = [3, 7, 8, 9, 12].map(|number| Bar {
            number,
            what: "notes".into(),
            why: "voice tune".into(),
        });
        assert_eq!(numbers(&bars), "3, 7–9, 12");
        assert_eq!(reasons(&bars), "voice tune");
    }
}

//! `ripieno reprint`: which parts to print again after a change.

mod past;
mod told;

use std::path::PathBuf;
use std::sync::Arc;

use clap::ValueEnum;
use serde::Serialize;

use super::output::Inputs;
use super::revision::Revised;
use super::{End, Failure, Outcome, print, source};
use ripieno_compiler::arrange::{Arrangement, Part};
use ripieno_compiler::resolve::Verb;
use ripieno_writers::edition::{self, BarNews, Cueing, Edition};
use ripieno_writers::notate::{Score, notate};
use ripieno_writers::render;

pub(super) use past::Past;
use past::{Before, Build};

/// What `reprint` takes.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// What the parts on the stands were built from: a source, a source in a revision of a checkout
    /// (`v2:weir.ripieno`), or the folder of the build with its `ripieno.json`.
    old: PathBuf,
    /// The source as it is now, or in another revision; of a build it is known.
    new: Option<PathBuf>,
    /// Compare only this scoring (may be given several times).
    #[arg(long, value_name = "NAME")]
    scoring: Vec<String>,
    /// How the changes are shown.
    #[arg(long, value_enum, default_value = "table")]
    format: Form,
    /// Bars of rest after which an entry gets a cue, as the parts were built.
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
    /// Why the whole part is to be printed, where it cannot be said bar by bar.
    whole: Option<&'static str>,
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
    /// The movement in which it stands, in a piece that has several.
    #[serde(skip_serializing_if = "Option::is_none")]
    movement: Option<String>,
    /// "notes", "signs", or both.
    what: String,
    /// Where the change lies: a voice, or the scoring line.
    why: String,
}

pub(super) fn run(arguments: &Arguments) -> Outcome {
    let mut old = Past::read(&arguments.old)?;
    let new = match (&arguments.new, &old) {
        (Some(new), _) => new,
        (None, Past::Build(build)) => &build.source.clone(),
        (None, Past::Source(_)) => {
            return Err(Failure(
                "name the source as it is now after the old one: `ripieno reprint OLD NEW`".into(),
            ));
        }
    };
    let (mut session, file) = match Revised::of(new) {
        Some(revised) => revised.session()?,
        None => source::session(new, None)?,
    };
    let inputs = Inputs::of_session(&mut session, file);
    let new = past::without_errors(new, (session, file))?;
    let mut changes = Vec::new();
    for scoring in source::scorings(&new.piece, &arguments.scoring)? {
        let Some(arranged) = new.scoring(&scoring.name) else { continue };
        let known = old.scoring((&arranged, &inputs));
        let now = Side::new(arranged);
        match (known, &old) {
            (Before::Arranged(before), _) => {
                let before = before.map(Side::new);
                compare(before.as_ref(), &now, arguments.cues, &mut changes);
            }
            (Before::Files, Past::Build(build)) => {
                compare_files(build, &now, arguments.cues, &mut changes);
            }
            (Before::Files | Before::Nothing, _) => {
                compare(None, &now, arguments.cues, &mut changes);
            }
        }
    }
    match arguments.format {
        Form::Table => print(&told::table(&changes))?,
        Form::Letter => print(&told::letter(&new.piece, &changes))?,
        Form::Json => {
            let json = serde_json::to_string_pretty(&changes)
                .map_err(|error| Failure(error.to_string()))?;
            print(&(json + "\n"))?;
        }
    }
    Ok(End::Fine)
}

/// The bars of each part of a scoring, by their indices, that are new since `old`: what a build
/// marks. A part that is new as a whole has none.
pub(super) fn new_bars(
    old: &mut Past,
    (arrangement, inputs): (&Arc<Arrangement>, &Inputs),
    cues: u32,
) -> Vec<Vec<usize>> {
    let none = || vec![Vec::new(); arrangement.parts.len()];
    let Before::Arranged(Some(before)) = old.scoring((arrangement, inputs)) else {
        return none();
    };
    let before = Side::new(before);
    let now = Side::new(Arc::clone(arrangement));
    let bars = now.arrangement.parts.iter().enumerate().map(|(index, part)| {
        let news = before.find(part.player.part().0).and_then(|other| {
            edition::news(&before.edition(other, cues), &now.edition(index, cues))
        });
        let news = news.into_iter().flatten().filter(|news| news.notes || news.signs);
        news.map(|news| news.bar).collect()
    });
    bars.collect()
}

/// A scoring worked out.
struct Side {
    arrangement: Arc<Arrangement>,
    score: Score,
}

impl Side {
    fn new(arrangement: Arc<Arrangement>) -> Side {
        let score = notate(&arrangement);
        Side { arrangement, score }
    }

    fn find(&self, id: &str) -> Option<usize> {
        self.arrangement.parts.iter().position(|part| part.player.part().0 == id)
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
            self.arrangement
                .piece
                .voices
                .get(index)
                .map_or_else(String::new, |voice| voice.name.clone())
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
    for index in now.arrangement.desks().map(|desk| desk.start) {
        let part = &now.arrangement.parts[index];
        let (id, name) = part.player.part();
        let edition = now.edition(index, cues);
        let mut change = Change {
            scoring: scoring.clone(),
            part: id.to_owned(),
            name: name.to_owned(),
            action: Action::New,
            bars: Vec::new(),
            whole: None,
            pages: pages(&edition),
        };
        let other = before.and_then(|side| Some((side, side.find(id)?)));
        if let Some((side, other)) = other {
            let old = side.edition(other, cues);
            match edition::news(&old, &edition) {
                None => {
                    change.action = Action::Print;
                    change.whole = Some(OTHER_BARS);
                }
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
                    if change.action == Action::Print && change.bars.is_empty() {
                        change.whole = Some(OTHER_BARS);
                    }
                }
            }
        }
        changes.push(change);
    }
    let Some(before) = before else { return };
    for desk in before.arrangement.desks() {
        let (id, name) = before.arrangement.parts[desk.start].player.part();
        if now.find(id).is_none() {
            changes.push(Change {
                scoring: scoring.clone(),
                part: id.to_owned(),
                name: name.to_owned(),
                action: Action::Withdraw,
                bars: Vec::new(),
                whole: None,
                pages: 0,
            });
        }
    }
}

/// Compares with files of which it is not known what they were built from: a part is the same to
/// the byte, or it is to be printed.
fn compare_files(build: &Build, now: &Side, cues: u32, changes: &mut Vec<Change>) {
    let scoring = &now.arrangement.scoring.name;
    let mut gone = build.players(scoring);
    for index in now.arrangement.desks().map(|desk| desk.start) {
        let part = &now.arrangement.parts[index];
        let (id, name) = part.player.part();
        let slug = render::slug(id);
        let was_there = gone.contains(&slug);
        gone.retain(|other| *other != slug);
        let same = build.is_same(&now.arrangement, index, cues);
        let (action, whole) = match (was_there, same) {
            (false, _) => (Action::New, None),
            (true, Some(true)) => (Action::Keep, None),
            (true, Some(false)) => (Action::Print, Some(NO_REVISION)),
            (true, None) => (Action::Print, Some(NO_FILE)),
        };
        changes.push(Change {
            scoring: scoring.clone(),
            part: id.to_owned(),
            name: name.to_owned(),
            action,
            bars: Vec::new(),
            whole,
            pages: pages(&now.edition(index, cues)),
        });
    }
    changes.extend(gone.into_iter().map(|slug| Change {
        scoring: scoring.clone(),
        part: slug.clone(),
        name: slug,
        action: Action::Withdraw,
        bars: Vec::new(),
        whole: None,
        pages: 0,
    }));
}

/// Reasons why a whole part is new.
const OTHER_BARS: &str = "other bars or keys";
const NO_REVISION: &str = "the old source is not known";
const NO_FILE: &str = "no text or MusicXML to compare with";

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
    let movement = edition.movements.get(edition.movement_of(news.bar));
    let movement = movement.and_then(|movement| movement.title.clone());
    Bar { number: edition.bars[news.bar].number, movement, what: what.into(), why }
}

/// About how many pages a part has.
fn pages(edition: &Edition) -> usize {
    let shown = edition.staves.iter().flat_map(|staff| &staff.bars).filter(|bar| !bar.counted);
    shown.count().div_ceil(45).max(1)
}

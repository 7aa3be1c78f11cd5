//! A draft of a whole scoring: a beginning to argue with.
//!
//! The piece is cut into sections, at marks, double bars and repeats, else every eight bars, each
//! with the up-beat of the tune. Every line of the ensemble gets a task in every section, chosen by
//! what it is good for, by how far the piece has grown, and by chance (a seed makes it repeatable).
//! Then the draft is compiled and checked like any other text, and whatever a finding speaks of
//! gives way to the next task of its list, and a voice that nobody plays is given to somebody, until
//! no error and no warning is left. The core stays: the strings that have tune and bass, or who alone
//! has them, give way to nobody, and what only these bring between them is allowed, with that reason.
//! Whoever would rest throughout gets something to do in the end, if nothing is wrong with it; advice is
//! left for the arranger to weigh. Where something is left all the same, the best draft found is shown as
//! a comment that says so. (Tasks by practice; all weights are our heuristic.)

mod bench;
mod plan;
mod tasks;
#[cfg(test)]
mod tests;

use crate::narrow::Narrow;
use std::collections::BTreeSet;
use std::fmt;
use std::sync::Arc;

use crate::diagnostics::{BarNumbers, Diagnostic, FileId, Severity};
use crate::format::{self, bars_words};
use crate::instruments::{Family, Limit, Loudness};
use crate::music::Time;
use crate::resolve::{
    DirectionKind, Dynamic, Ensemble, Form, Note, Piece, Player, Role, Verb, up_beat,
};
use crate::session::Session;
use crate::syntax::{Declaration, Document};
use bench::{Bench, Found};
use plan::Plan;
use tasks::{growth, is_forte, rank, rows, sections, tasks, voices};

/// What a draft should be like.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum Lean {
    /// As few players as the piece needs at each moment.
    Lean,
    /// Everybody takes part.
    #[default]
    Full,
    /// The colour changes from section to section.
    Colourful,
}

/// What is asked for.
#[derive(Clone, Debug, Default)]
pub struct Asked {
    /// The ensemble.
    pub ensemble: String,
    /// The scoring whose notes are kept.
    pub keep: Option<String>,
    /// What the draft should be like.
    pub lean: Lean,
    /// Another number gives another draft; the same one gives the same.
    pub seed: u64,
}

/// Why there is no draft.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Refusal {
    /// There is no ensemble of that name; these there are.
    NoEnsemble(Vec<String>),
    /// There is no scoring of that name to keep; these there are.
    NoScoring(Vec<String>),
    /// The source has errors or no voice that can be scored.
    NotReady(String),
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Refusal::NoEnsemble(known) => {
                write!(f, "there is no such ensemble; the piece has {}", known.join(", "))
            }
            Refusal::NoScoring(known) => {
                write!(f, "there is no such scoring to keep; the piece has {}", known.join(", "))
            }
            Refusal::NotReady(why) => write!(f, "{why}"),
        }
    }
}

/// So many bars make a section where nothing else divides the piece.
const SECTION: usize = 8;
/// Why a draft allows a finding about two voices that are both played as they are written.
const OWN: &str = "the voices are written so";
/// Why it allows notes that lie too low for the basses (common practice).
const TAKEN_UP: &str = "what lies too low is taken an octave higher";
/// So often a draft is compiled before it is given up.
const MOST_RUNS: usize = 160;
/// So many sections are tried for somebody who rests throughout, the loudest first.
const TRIED_FOR_IDLE: usize = 3;

/// What a line of the ensemble can be given to do in a section.
#[derive(Clone, PartialEq, Eq, Debug)]
struct Task {
    /// From the verb on, without bars and role: `plays upper 8va`.
    deed: String,
    /// `melody`; empty where the verb has its own.
    role: &'static str,
    reason: &'static str,
}

fn task(deed: impl Into<String>, role: &'static str, reason: &'static str) -> Task {
    Task { deed: deed.into(), role, reason }
}

/// The place of one line of the ensemble in one section.
struct Slot {
    /// Index of the row.
    row: usize,
    section: usize,
    /// The tasks in the order in which they are tried; the last one is to rest.
    tasks: Vec<Task>,
    chosen: usize,
}

/// Players who do everything together: a line of the ensemble, or one player of it.
struct Row {
    name: String,
    players: Vec<usize>,
}

/// Numbers by chance from a seed (splitmix64, after Steele, Lea and Flood 2014, from memory).
struct Chance(u64);

impl Chance {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    fn below(&mut self, count: usize) -> usize {
        if count == 0 { 0 } else { (self.next() % count as u64).narrow::<usize>() }
    }
}

/// Drafts a scoring as a block ready to paste: one without an error and without a warning, or else
/// the best that was found, as a comment that says what is left. The texts of the session stay as
/// they are.
///
/// # Errors
/// Says why there is none.
pub fn draft(session: &mut Session, root: FileId, asked: &Asked) -> Result<String, Refusal> {
    let piece = session.piece(root);
    let Some(ensemble) = piece.ensembles.iter().find(|e| e.name == asked.ensemble).cloned() else {
        return Err(Refusal::NoEnsemble(piece.ensembles.iter().map(|e| e.name.clone()).collect()));
    };
    let kept = match &asked.keep {
        Some(name) => match piece.scorings.iter().find(|s| s.name == *name) {
            Some(kept) => Some(Arc::clone(kept)),
            None => {
                return Err(Refusal::NoScoring(
                    piece.scorings.iter().map(|s| s.name.clone()).collect(),
                ));
            }
        },
        None => None,
    };
    let severe = |d: &Diagnostic| d.severity == Severity::Error;
    if session.findings_of_source(root).iter().any(severe) {
        return Err(Refusal::NotReady("the source has errors; fix them first".into()));
    }
    let sounding = piece.voices.iter().any(|voice| !voice.music.notes.is_empty());
    if !sounding || piece.form.bars.is_empty() {
        return Err(Refusal::NotReady("the piece has no voice with notes to score".into()));
    }
    let mut plan = Plan::new(&piece, &ensemble, kept.as_deref(), asked);
    let name = free_name(&piece, &asked.ensemble);
    let formatted = |text: &str| format::format(&Document::new(FileId(0), text));
    let needed: Vec<String> = kept
        .iter()
        .flat_map(|kept| piece.layers(kept))
        .map(|scoring| scoring.name.clone())
        .collect();
    let others = take_out_others(session, root, &needed);
    let base = session.document(root).text().len();
    let mut bench = Bench { session, root, base, name: &name, asked, tried: 0 };
    let text = match bench.settle(&mut plan) {
        Ok(text) => formatted(&bench.employ(&mut plan, text)),
        Err((text, left)) => as_comment(&formatted(&text), &left),
    };
    for (at, text) in others.into_iter().rev() {
        session.edit(root, at..at, &text);
    }
    Ok(text)
}

/// Takes the scorings out of the text that a draft does not need, so that they are not worked out with
/// each trial and have no say in it; gives back where each stood, the last one first, with its text.
fn take_out_others(session: &mut Session, root: FileId, needed: &[String]) -> Vec<(usize, String)> {
    let document = session.document(root);
    let text_of = |block| {
        let mut items = document.items_of(block);
        let first = items.next().map_or(0, |(start, _)| start);
        let last = items.last().map_or(first, |(start, item)| start + item.length());
        (first, document.text().get(first..last).unwrap_or_default().to_string())
    };
    let others = document.blocks().iter().rev().filter(|block| match &*block.declaration {
        Declaration::Scoring(tree) => !needed.contains(&tree.name.value),
        _ => false,
    });
    let others: Vec<(usize, String)> = others.map(text_of).collect();
    for (at, text) in &others {
        session.edit(root, *at..at + text.len(), "");
    }
    others
}

/// Where a line of a draft begins in its text, and which slots it has.
type Span = (usize, Vec<usize>);

/// A draft that is not clean, as a comment that says what is left.
fn as_comment(draft: &str, left: &BTreeSet<String>) -> String {
    let mut text = String::from(
        "\n// No draft without a warning was found. This is the best one, as a comment; what is left:\n",
    );
    for line in left.iter().map(|left| format!("- {left}")).chain([String::new()]) {
        text.push_str(format!("// {line}").trim_end());
        text.push('\n');
    }
    for line in draft.trim_matches('\n').lines() {
        text.push_str(format!("// {line}").trim_end());
        text.push('\n');
    }
    text
}

fn free_name(piece: &Piece, ensemble: &str) -> String {
    let base = format!("{ensemble}-draft");
    let taken = |name: &str| piece.scorings.iter().any(|scoring| scoring.name == name);
    let mut name = base.clone();
    let mut number = 2;
    while taken(&name) {
        name = format!("{base}-{number}");
        number += 1;
    }
    name
}

/// What the music of a section asks for.
struct Music<'a> {
    piece: &'a Piece,
    /// Indices of voices: tune, bass, the others.
    tune: usize,
    bass: Option<usize>,
    inner: Vec<usize>,
    from: Time,
    to: Time,
    /// How far the piece has grown here: 0 quiet, 1 middle, 2 the climax.
    growth: u8,
    /// Is it forte or more, or nobody knows?
    forte: bool,
}

//! From the tree to the piece: names linked, times exact, bars counted.
//!
//! Nothing here reads a file: sources come in through one [`Loader`].

mod counting;
mod dynamics;
mod ensemble;
mod form;
mod gather;
mod harmony;
mod jumps;
mod kept;
mod layout;
mod loader;
mod local_keys;
mod lost;
mod lyrics;
mod movements;
mod music;
mod own_instruments;
mod passages;
mod piece;
mod scoring;
#[cfg(test)]
mod tests;

use std::collections::HashMap;
use std::sync::Arc;

use crate::diagnostics::{Crowd, Diagnostic, FileId, Severity, Sources, Span};
use crate::instruments::{self, Instrument};
use crate::limits;
use crate::syntax::{Declaration, EnsembleLine, Tree, Word};

pub use kept::Kept;
pub use loader::{LoadError, Loader, NoFiles, Shelf, read_file};
pub use local_keys::hear;
pub use movements::{Joined, is_same_chair, join, moved, moved_line, without_scorings};
pub use music::MOMENTARY_DIRECTIONS;
pub use passages::up_beat;
pub use piece::*;
use scoring::voice_of as scoring_voice;

/// Reads a source text that is already among the sources, follows what it uses, and links it all
/// to a piece.
///
/// Whatever is wrong is left out of the piece and told in the findings; the rest is usable.
#[must_use]
pub fn resolve(
    sources: &mut Sources,
    root: FileId,
    loader: &mut dyn Loader,
) -> (Arc<Piece>, Vec<Diagnostic>) {
    let mut once = Kept { forgets: true, ..Kept::default() };
    resolve_again(&mut loader::Once::new(sources, root, loader), root, &mut once)
}

/// The same for the files of a shelf, with what an earlier run kept; what comes out equal to what
/// came out then is the same `Arc`.
#[must_use]
pub fn resolve_again(
    shelf: &mut dyn Shelf,
    root: FileId,
    kept: &mut Kept,
) -> (Arc<Piece>, Vec<Diagnostic>) {
    let mut cx = Resolver::default();
    let (mut tree, instruments) = loader::read_all(shelf, root, &mut cx);
    cx.instruments = instruments;
    within_limits(&mut cx, &mut tree);
    let movements = movements::movements(&mut cx, shelf, &tree, root);
    shelf.let_go();
    let piece = Arc::new(link(&mut cx, &tree, root, (movements, kept)));
    kept.piece = Arc::clone(&piece);
    cx.crowd.thin_out(&mut cx.diagnostics);
    (piece, cx.diagnostics)
}

/// What the steps of this stage share.
#[derive(Default)]
struct Resolver {
    /// What is told; of very many of one kind the others are only counted.
    diagnostics: Vec<Diagnostic>,
    crowd: Crowd,
    /// How many findings there were, and how many of them errors, told or counted.
    found: usize,
    errors: usize,
    /// The instruments of the user.
    instruments: loader::UsersInstruments,
    told: lost::ToldBefore,
    counted: music::Counted,
}

impl Resolver {
    /// Tells a finding; of very many of its kind it is only counted.
    fn push(&mut self, diagnostic: Diagnostic) {
        self.push_and_know(diagnostic);
    }

    /// The same, for who says more of it later: gives back its index among those that are told.
    fn push_and_know(&mut self, diagnostic: Diagnostic) -> Option<usize> {
        self.found += 1;
        self.errors += usize::from(diagnostic.severity == Severity::Error);
        self.crowd.holds(diagnostic.code).then(|| {
            self.diagnostics.push(diagnostic);
            self.diagnostics.len() - 1
        })
    }

    /// The instrument of that word: one of the user's or of the catalogue.
    fn instrument(&self, word: &str) -> Option<&'static Instrument> {
        let called = |i: &&&'static Instrument| i.id == word || i.aliases.iter().any(|a| a == word);
        self.instruments.known.iter().find(called).copied().or_else(|| instruments::find(word))
    }

    /// Is it the name of an instrument, perhaps with the number of a section?
    fn is_instrument(&self, line: &str) -> bool {
        let kind = line.trim_end_matches(|c: char| c.is_ascii_digit()).trim_end_matches('-');
        self.instrument(line).or_else(|| self.instrument(kind)).is_some()
    }

    /// Were there more errors than so many?
    fn errors_since(&self, before: usize) -> bool {
        self.errors > before
    }
}

/// Takes what is too much for what was lost, and tells it.
fn within_limits(cx: &mut Resolver, tree: &mut Tree) {
    let [mut voices, mut ensembles, mut scorings] = [0; 3];
    for declaration in &mut tree.declarations {
        shorten(cx, declaration);
        let (count, most, what, word) = match &**declaration {
            Declaration::Voice(voice) => (&mut voices, limits::VOICES, "voice", &voice.name),
            Declaration::Ensemble(ensemble) => {
                (&mut ensembles, limits::ENSEMBLES, "ensemble", &ensemble.name)
            }
            Declaration::Scoring(scoring) => {
                (&mut scorings, limits::SCORINGS, "scoring", &scoring.name)
            }
            _ => continue,
        };
        *count += 1;
        if *count == most + 1 {
            let message = format!("With `{}` there are more than {most} {what}s.", word.value);
            cx.push(
                Diagnostic::error("names/too-many", word.span, message)
                    .with_help("What stands from here on is not read. Make several pieces of it."),
            );
        }
        if *count > most {
            *declaration = Arc::new(Declaration::Lost(Some(what)));
        }
    }
}

/// How many names a line of an ensemble has in its groups, budgets and the like.
fn names_in(line: &EnsembleLine) -> usize {
    match line {
        EnsembleLine::Group(_, members) => members.len(),
        EnsembleLine::Budget(items) => items.len(),
        EnsembleLine::Without(names) => names.len(),
        EnsembleLine::Players(players) => players.joins.len(),
        EnsembleLine::Era(_) | EnsembleLine::Limits(_) => 0,
    }
}

/// Leaves out what an ensemble says beyond the bounds of its lines and of what they name.
fn shorten(cx: &mut Resolver, declaration: &mut Arc<Declaration>) {
    let Declaration::Ensemble(ensemble) = &**declaration else { return };
    let mut names = 0;
    let fits = ensemble.lines.iter().take(limits::ENSEMBLE_LINES).take_while(|line| {
        names += names_in(line);
        names <= limits::NAMES
    });
    let fits = fits.count();
    if fits == ensemble.lines.len() {
        return;
    }
    let name = &ensemble.name;
    let (much, help) = match fits {
        limits::ENSEMBLE_LINES => (
            format!("has more than {} lines", limits::spaced(limits::ENSEMBLE_LINES)),
            "What stands beyond them is not read. Put players, groups and budgets into one line each.",
        ),
        _ => (
            format!(
                "has more than {} names in its groups and budgets",
                limits::spaced(limits::NAMES)
            ),
            "What stands beyond them is not read. A group may name a line of the ensemble for all its players.",
        ),
    };
    let message = format!("The ensemble `{}` {much}.", name.value);
    cx.push(Diagnostic::error("names/too-many", name.span, message).with_help(help));
    let mut shorter = ensemble.clone();
    let unread = shorter.lines.split_off(fits);
    // What was named there may be meant elsewhere.
    let named = unread.into_iter().filter_map(|line| match line {
        EnsembleLine::Group(name, _) => Some(name),
        EnsembleLine::Players(players) => Some(players.name),
        _ => None,
    });
    shorter.broken.extend(named);
    *declaration = Arc::new(Declaration::Ensemble(shorter));
}

fn link(
    cx: &mut Resolver,
    tree: &Tree,
    root: FileId,
    ((movements, through), kept): ((Vec<Movement>, Through), &mut Kept),
) -> Piece {
    let mut piece = Piece { span: Span::new(root, 0, 0), ..Piece::default() };
    cx.told = lost::ToldBefore::of(tree);
    own_instruments::instruments(cx, tree);
    // A file that holds nothing but ensembles is there to be used: it need not be a piece.
    let only_ensembles = !tree.declarations.is_empty()
        && tree.declarations.iter().all(|declaration| {
            matches!(
                **declaration,
                Declaration::Ensemble(_)
                    | Declaration::Instrument(_)
                    | Declaration::Lost(Some("ensemble" | "instrument"))
            )
        });
    if only_ensembles {
        piece.ensembles = kept.ensembles(ensemble::ensembles(cx, tree));
        return piece;
    }
    head(cx, tree, &mut piece);
    if names_movements(tree) {
        (piece.movements, piece.through) = (movements, through);
        piece.layouts = layout::layouts(cx, tree, &piece, true);
        return piece;
    }
    let voices = (form::longest_voice(tree), form::last_of_voices(tree));
    let forms: Vec<_> =
        tree.declarations.iter().filter_map(|declaration| form_of(declaration)).collect();
    one_only(cx, &forms.iter().map(|f| f.span).collect::<Vec<_>>(), "form");
    piece.form = kept.form(form::form(cx, forms.first().copied(), voices, piece.span));
    let mut voices = Vec::new();
    for declaration in &tree.declarations {
        match &**declaration {
            Declaration::Voice(voice) => {
                let own = kept.voice(cx, declaration, voice, &piece.form);
                piece.voices.push(own.replay(cx));
                if !kept.forgets {
                    voices.push(own);
                }
            }
            Declaration::Harmony(tree) => {
                if !piece.harmony.is_empty() {
                    cx.push(twice("harmony", tree.span, piece.harmony[0].span));
                }
                let harmony = harmony::harmony(cx, tree, &piece.form);
                (piece.harmony, piece.harmony_unsure) = harmony;
            }
            Declaration::Dynamics(tree) => {
                let (directions, unsure) = dynamics::dynamics(cx, tree, &piece.form);
                match piece.dynamics.is_empty() {
                    true => piece.dynamics = directions,
                    false => piece.dynamics.extend(directions.iter()),
                }
                piece.dynamics_unsure.extend(unsure);
            }
            _ => {}
        }
    }
    let all = BarIndices::all(&piece.form);
    let declared = |kind: fn(&Declaration) -> bool| {
        tree.declarations.iter().any(|declaration| kind(declaration))
    };
    if cx.told.may_be_lost("harmony") && !declared(|d| matches!(d, Declaration::Harmony(_))) {
        piece.harmony_unsure.push(all);
    }
    if cx.told.may_be_lost("dynamics") && !declared(|d| matches!(d, Declaration::Dynamics(_))) {
        piece.dynamics_unsure.push(all);
    }
    piece.dynamics = std::mem::take(&mut piece.dynamics).in_order();
    piece.lyrics = kept.lyrics(lyrics::lyrics(cx, tree, &piece));
    let names: Vec<(&str, Span)> = piece.voices.iter().map(|v| (v.name.as_str(), v.span)).collect();
    distinct(cx, &names, "voice");
    piece.ensembles = kept.ensembles(ensemble::ensembles(cx, tree));
    kept.voices = voices;
    piece.scorings = kept.scorings(scoring::scorings(cx, tree, &piece));
    piece.layouts = layout::layouts(cx, tree, &piece, false);
    cx.counted.gather(&piece.form, &mut cx.diagnostics, &mut cx.crowd);
    piece
}

/// Is it a piece in movements, whether or not they can be read?
fn names_movements(tree: &Tree) -> bool {
    tree.declarations.iter().any(|declaration| match &**declaration {
        Declaration::Piece(head) => !head.movements.is_empty(),
        _ => false,
    })
}

fn form_of(declaration: &Declaration) -> Option<&crate::syntax::FormTree> {
    match declaration {
        Declaration::Form(form) => Some(form),
        _ => None,
    }
}

/// Title, composer and the other lines of `piece`.
fn head(cx: &mut Resolver, tree: &Tree, piece: &mut Piece) {
    const LINES: [&str; 5] = ["subtitle", "composer", "arranger", "licence", "revision"];
    let mut spans = Vec::new();
    let mut said = Vec::new();
    for declaration in &tree.declarations {
        let Declaration::Piece(head) = &**declaration else { continue };
        spans.push(head.title.span);
        if spans.len() > 1 {
            continue;
        }
        piece.title.clone_from(&head.title.value);
        piece.span = head.title.span;
        for (what, text) in &head.lines {
            let line = match what.value.as_str() {
                "subtitle" => &mut piece.subtitle,
                "composer" => &mut piece.composer,
                "arranger" => &mut piece.arranger,
                "licence" => &mut piece.licence,
                "revision" => &mut piece.revision,
                other => {
                    cx.push(unknown(what, &LINES, "line of a piece", other));
                    continue;
                }
            };
            let known = LINES.iter().find(|line| **line == what.value).copied();
            if known.is_some_and(|what_line| {
                said_twice(cx, &mut said, what_line, what.span.to(text.span))
            }) {
                continue;
            }
            *line = Some(text.value.clone());
        }
    }
    one_only(cx, &spans, "piece");
    if spans.is_empty() && !cx.told.may_be_lost("piece") {
        cx.push(
            Diagnostic::error("names/no-piece", piece.span, "There is no `piece` declaration.")
                .with_help("Write `piece \"Title\" { composer \"…\" }` at its head."),
        );
    }
    if piece.title.trim().is_empty() {
        piece.title = "Untitled".to_string();
    }
}

fn one_only(cx: &mut Resolver, spans: &[Span], what: &'static str) {
    if let [first, second, ..] = spans {
        cx.push(twice(what, *second, *first));
    }
}

fn twice(what: &str, second: Span, first: Span) -> Diagnostic {
    Diagnostic::error("names/twice", second, format!("There is a second {what}."))
        .with_label(first, "the first is here")
        .with_help(format!("A source has one {what}; remove one of them."))
}

/// Tells of something that a line or a block says a second time, and offers to remove it.
fn said_twice(
    cx: &mut Resolver,
    said: &mut Vec<(&'static str, Span)>,
    what: &'static str,
    span: Span,
) -> bool {
    match said.iter().find(|(before, _)| *before == what) {
        Some((_, first)) => {
            cx.push(Diagnostic::twice(what, span, *first));
            true
        }
        None => {
            said.push((what, span));
            false
        }
    }
}

/// Says where a name is given twice.
fn distinct(cx: &mut Resolver, names: &[(&str, Span)], what: &str) {
    let mut firsts: HashMap<&str, &Span> = HashMap::with_capacity(names.len());
    for (name, span) in names {
        let first = *firsts.entry(name).or_insert(span);
        if !std::ptr::eq(first, span) {
            cx.push(
                Diagnostic::error(
                    "names/twice",
                    *span,
                    format!("The {what} `{name}` is declared twice."),
                )
                .with_label(*first, "the first is here")
                .with_help("Give it another name."),
            );
        }
    }
}

/// A name that nothing declares.
fn unknown(word: &Word, known: &[&str], what: &str, name: &str) -> Diagnostic {
    // "player or group in spa" names the place after the name.
    let message = match what.split_once(" in ") {
        Some((what, place)) => format!("Unknown {what} `{name}` in {place}."),
        None => format!("Unknown {what} `{name}`."),
    };
    let diagnostic = Diagnostic::error("names/unknown", word.span, message)
        .with_help(crate::diagnostics::did_you_mean(name, known, what));
    // A word of the trade is surer than one that looks alike.
    if let Some(meant) = crate::diagnostics::instead_of(name).filter(|word| known.contains(word)) {
        return diagnostic.with_help(format!("Ripieno calls it `{meant}`.")).with_fix(
            format!("write `{meant}`"),
            word.span,
            meant,
            false,
        );
    }
    match crate::diagnostics::nearest(name, known.iter().copied()) {
        Some(meant) => diagnostic.with_fix(format!("write `{meant}`"), word.span, meant, false),
        None => diagnostic,
    }
}

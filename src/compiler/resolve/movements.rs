//! Pieces in movements: the sources that a piece names, and the whole that their pieces make.
//!
//! Each movement is a piece of its own, resolved, arranged and checked by itself; only what all of
//! them print together is joined here, one behind the other in written time.

mod chairs;

use std::sync::Arc;

pub use chairs::is_same_chair;

use super::piece::{
    Bar, BarIndices, Direction, DirectionKind, Ensemble, Form, FormMovement, Layout, Line,
    Movement, Music, Note, Nudge, Overridden, Override, Pages, Piece, Scoring, Through, Verb,
    Voice, roman,
};
use super::{Resolver, Shelf, loader, said_twice};
use crate::diagnostics::{Diagnostic, FileId, Span};
use crate::limits;
use crate::music::{Sign, Time};
use crate::syntax::{Declaration, PieceTree, Spanned, Tree};

/// The movements that a piece names, and what goes on from one to the next.
pub(super) fn movements(
    cx: &mut Resolver,
    shelf: &mut dyn Shelf,
    tree: &Tree,
    root: FileId,
) -> (Vec<Movement>, Through) {
    let Some(head) = heads(tree).next().filter(|head| !head.movements.is_empty()) else {
        numbering(cx, tree, false);
        return (Vec::new(), Through::default());
    };
    let through = numbering(cx, tree, true);
    let mut movements = Vec::new();
    for movement in &head.movements {
        let path = &movement.path;
        if movements.len() == limits::MOVEMENTS {
            cx.push(
                Diagnostic::error(
                    "names/too-many",
                    path.span,
                    format!("With this there are more than {} movements.", limits::MOVEMENTS),
                )
                .with_help("What stands from here on is not read. Make several pieces of it."),
            );
            break;
        }
        let file = match shelf.find(&path.value, root) {
            Ok(file) => file,
            Err(error) => {
                cx.push(loader::cannot_use(path, &error));
                continue;
            }
        };
        let inner = shelf.document(file).tree();
        if file == root || heads(&inner).any(|head| !head.movements.is_empty()) {
            let name = shelf.name(file);
            cx.push(
                Diagnostic::error(
                    "movements/nested",
                    path.span,
                    format!("`{name}` is itself a piece in movements."),
                )
                .with_help("Name its movements here, one a line: a movement has none of its own."),
            );
            continue;
        }
        movements.push(Movement {
            file,
            title: movement.title.as_ref().map(|title| title.value.clone()),
            attacca: movement.attacca.is_some(),
            span: path.span,
        });
    }
    if let Some(attacca) = head.movements.last().and_then(|movement| movement.attacca) {
        let message = "`attacca` leads to the next movement, and this is the last.";
        cx.push(
            Diagnostic::warning("movements/attacca", attacca, message)
                .with_help("Remove it, or write it at the movement before.")
                .with_fix("remove it", attacca, "", true),
        );
    }
    music_beside(cx, tree, head.title.span);
    (movements, through)
}

fn heads(tree: &Tree) -> impl Iterator<Item = &PieceTree> {
    tree.declarations.iter().filter_map(|declaration| match &**declaration {
        Declaration::Piece(head) => Some(head),
        _ => None,
    })
}

fn numbering(cx: &mut Resolver, tree: &Tree, has_movements: bool) -> Through {
    let mut through = Through::default();
    let mut said = Vec::new();
    let Some(head) = heads(tree).next() else { return through };
    for line in &head.numbering {
        let what = if line.marks { "marks" } else { "bars" };
        if said_twice(cx, &mut said, what, line.span) {
            continue;
        }
        if !has_movements {
            let message = format!("`{what}` says how {what} go on from movement to movement.");
            cx.push(
                Diagnostic::error("movements/none", line.span, message)
                    .with_help("This piece names no `movement`; remove the line.")
                    .with_fix("remove the line", line.span, "", false),
            );
        }
        let which = if line.marks { &mut through.marks } else { &mut through.bars };
        *which = line.through;
    }
    through
}

/// What belongs to a movement stands in its source.
fn music_beside(cx: &mut Resolver, tree: &Tree, piece: Span) {
    for declaration in &tree.declarations {
        let (what, span) = match &**declaration {
            Declaration::Form(form) => ("a form", form.span),
            Declaration::Harmony(harmony) => ("a harmony", harmony.span),
            Declaration::Dynamics(dynamics) => ("dynamics", dynamics.span),
            Declaration::Voice(voice) => ("a voice", voice.name.span),
            Declaration::Lyrics(lyrics) => ("lyrics", lyrics.voice.span),
            Declaration::Scoring(scoring) => ("a scoring", scoring.name.span),
            _ => continue,
        };
        let help = "Move it into the source of the movement to which it belongs: each movement \
                    has its own form, voices and scorings.";
        cx.push(
            Diagnostic::error(
                "movements/music",
                span,
                format!("A piece in movements has {what} of its own."),
            )
            .with_label(piece, "this piece names movements")
            .with_help(help),
        );
    }
}

/// The scorings that some movements have and others do not: there they are left out.
#[must_use]
pub fn without_scorings(whole: &Piece, movements: &[Arc<Piece>]) -> Vec<Diagnostic> {
    let names = scoring_names(movements);
    let mut told = Vec::new();
    for (movement, piece) in whole.movements.iter().zip(movements) {
        let has = |name: &str| piece.scorings.iter().any(|scoring| scoring.name == *name);
        let missing: Vec<String> =
            names.iter().filter(|name| !has(name)).map(|name| format!("`{name}`")).collect();
        let (message, help) = match (missing.as_slice(), piece.scorings.is_empty()) {
            ([], false) => continue,
            (_, true) => (
                format!("\"{}\" has no scoring.", piece.title),
                "Write a `scoring` in its source, or do not name it here.".to_owned(),
            ),
            (missing, false) => (
                format!(
                    "\"{}\" has no scoring {}, which other movements have; it is left out there.",
                    piece.title,
                    missing.join(", ")
                ),
                "Write the scoring in its source, under the same name.".to_owned(),
            ),
        };
        told.push(
            Diagnostic::warning("movements/no-scoring", movement.span, message).with_help(help),
        );
    }
    told.extend(unknown_in_layouts(whole, movements));
    told
}

/// Scorings and players of the layouts of a whole that no movement has.
fn unknown_in_layouts(whole: &Piece, movements: &[Arc<Piece>]) -> Vec<Diagnostic> {
    let scorings = scoring_names(movements);
    let ensembles = || movements.iter().flat_map(|piece| &piece.ensembles);
    let mut told = Vec::new();
    for layout in whole.layouts.iter().filter(|one| one.span.file == whole.span.file) {
        if let Some(name) = layout.scoring.as_ref().filter(|name| !scorings.contains(name)) {
            let known: Vec<&str> = scorings.iter().map(String::as_str).collect();
            let word = Spanned { value: name.clone(), span: layout.span };
            told.push(super::unknown(&word, &known, "scoring", name));
            continue;
        }
        for line in &layout.lines {
            let named = match &line.pages {
                Pages::Players(names) => names.as_slice(),
                _ => &[],
            };
            let hidden = match &line.what {
                Overridden::HideEmpty(names) => names.as_slice(),
                _ => &[],
            };
            for (name, span) in named.iter().chain(hidden) {
                let knows = |ensemble: &Arc<Ensemble>| {
                    !ensemble.players_named(name).is_empty() || ensemble.may_have(name)
                };
                if !ensembles().any(knows) {
                    let mut known: Vec<&str> = ensembles().flat_map(|one| one.names()).collect();
                    known.sort_unstable();
                    known.dedup();
                    let word = Spanned { value: name.clone(), span: *span };
                    told.push(super::unknown(&word, &known, "player or group", name));
                }
            }
        }
    }
    told
}

/// What the layouts of a movement say of its bars, for the pages of the whole: paper and staves are
/// chosen there. Groups are named by their players, for a whole has none.
fn moved_layouts(piece: &Piece, first: usize) -> Vec<Layout> {
    let moved = |line: &Override, layout: &Layout| {
        let what = match &line.what {
            Overridden::Break(bars) => {
                Overridden::Break(bars.iter().map(|(bar, span)| (bar + first, *span)).collect())
            }
            Overridden::Turn(bars) => {
                Overridden::Turn(bars.iter().map(|(bar, span)| (bar + first, *span)).collect())
            }
            Overridden::Nudge(nudge) => {
                Overridden::Nudge(Nudge { bar: nudge.bar + first, ..nudge.clone() })
            }
            _ => return None,
        };
        let pages = match &line.pages {
            Pages::Players(names) => {
                Pages::Players(names.iter().flat_map(|one| ungrouped(piece, layout, one)).collect())
            }
            other => other.clone(),
        };
        Some(Override { pages, what, span: line.span })
    };
    let layouts = piece.layouts.iter().map(|layout| Layout {
        lines: layout.lines.iter().filter_map(|line| moved(line, layout)).collect(),
        ..layout.clone()
    });
    layouts.filter(|layout| !layout.lines.is_empty()).collect()
}

/// The players of a group, or whoever else is named.
fn ungrouped(piece: &Piece, layout: &Layout, (name, span): &(String, Span)) -> Vec<(String, Span)> {
    let scorings = piece.scorings.iter();
    let holds =
        |scoring: &&Arc<Scoring>| layout.scoring.as_ref().is_none_or(|s| *s == scoring.name);
    let ensembles = scorings.filter(holds).filter_map(|one| piece.ensembles.get(one.ensemble));
    let mut players: Vec<(String, Span)> = Vec::new();
    for ensemble in ensembles.filter(|one| one.groups.iter().any(|(group, _)| group == name)) {
        for player in ensemble.players_named(name) {
            let id = ensemble.players.get(player).map(|player| player.id.clone());
            let known = |id: &String| players.iter().any(|(known, _)| known == id);
            players.extend(id.filter(|id| !known(id)).map(|id| (id, *span)));
        }
    }
    if players.is_empty() { vec![(name.clone(), *span)] } else { players }
}

/// The names of the scorings of movements, each once, in the order in which they come.
fn scoring_names(movements: &[Arc<Piece>]) -> Vec<String> {
    let mut names: Vec<String> = Vec::new();
    for scoring in movements.iter().flat_map(|piece| &piece.scorings) {
        if !names.contains(&scoring.name) {
            names.push(scoring.name.clone());
        }
    }
    names
}

/// A movement that is joined to others: its number in the whole, counted from 0, and its piece.
pub type Joined<'a> = (usize, &'a Arc<Piece>);

/// The whole that some movements make: `whole` is the piece that names them.
#[must_use]
pub fn join(whole: &Piece, movements: &[Joined]) -> Piece {
    // `whole` may be one that was joined before, of movements as they were then.
    let mut joined = Piece { voices: Vec::new(), ..whole.clone() };
    joined.harmony.clear();
    joined.layouts.retain(|layout| layout.span.file == whole.span.file);
    let mut form = Form::default();
    let mut lyrics = super::piece::Lyrics::default();
    let mut counted = Counted::default();
    for &(number, piece) in movements {
        let Some(movement) = whole.movements.get(number) else { continue };
        let (start, first) = (form.end(), form.bars.len());
        let title = movement.title.clone();
        form.movements.push(FormMovement {
            first,
            title: title.unwrap_or_else(|| format!("{}. {}", roman(number + 1), piece.title)),
            attacca: movement.attacca,
        });
        let bars = piece.form.bars.iter().map(|bar| moved_bar(bar, start));
        form.bars.extend(bars);
        let is_last = movements.last().is_some_and(|(last, _)| *last == number);
        // Where the movement is over when it is played, which is at the Fine after a da capo.
        let end = piece.form.playing_order().last().map(|bar| first + bar);
        let end = end.and_then(|bar| form.bars.get_mut(bar));
        if let Some(bar) = end.filter(|_| movement.attacca && !is_last) {
            bar.signs.push(Sign::Attacca);
        }
        counted.number(&mut form.bars[first..], whole.through);
        if let Some(unsure) = piece.form.unsure_from {
            form.unsure_from = form.unsure_from.or(Some(first + unsure));
        }
        joined.harmony.extend(piece.harmony.iter().map(|event| {
            let mut event = event.clone();
            event.start += start;
            event
        }));
        let voices = piece.voices.iter().map(|voice| {
            let music = moved_music(&voice.music, start, first);
            Arc::new(Voice { name: voice.name.clone(), span: voice.span, music })
        });
        joined.voices.extend(voices);
        joined.layouts.extend(moved_layouts(piece, first));
        let sung = piece.lyrics.by_note.iter();
        lyrics.held.extend(&piece.lyrics.held);
        lyrics.unsure |= piece.lyrics.unsure;
        lyrics.by_note.extend(sung.map(|(note, syllables)| (*note, syllables.clone())));
    }
    joined.form = Arc::new(form);
    joined.lyrics = Arc::new(lyrics);
    let pieces: Vec<Arc<Piece>> = movements.iter().map(|(_, piece)| Arc::clone(piece)).collect();
    joined.ensembles = Vec::new();
    joined.scorings = Vec::new();
    for name in scoring_names(&pieces) {
        let Some(ensemble) = chairs::everybody(&name, &pieces) else { continue };
        let first = pieces.iter().flat_map(|piece| &piece.scorings).find(|s| s.name == name);
        joined.scorings.push(Arc::new(Scoring {
            name: name.clone(),
            span: first.map_or(whole.span, |scoring| scoring.span),
            ensemble: joined.ensembles.len(),
            keep: None,
            keeps_lines: false,
            lines: Vec::new(),
            allows: Vec::new(),
            adrift: false,
        }));
        joined.ensembles.push(Arc::new(ensemble));
    }
    joined
}

fn moved_bar(bar: &Bar, by: Time) -> Bar {
    let mut bar = bar.clone();
    bar.start += by;
    bar
}

fn moved_music(music: &Music, by: Time, first: usize) -> Music {
    let mut music = music.clone();
    let later = |note: Note| Note { start: note.start + by, ..note };
    music.notes = music.notes.iter().map(later).collect();
    music.tuplets.iter_mut().for_each(|tuplet| tuplet.start += by);
    music.rests.iter_mut().for_each(|rest| rest.start += by);
    music.directions = music.directions.iter().map(|direction| moved(&direction, by)).collect();
    for bars in music.bars.iter_mut().chain(&mut music.unsure) {
        *bars = BarIndices::new(bars.first + first, bars.after + first);
    }
    music
}

/// A direction at a later time.
#[must_use]
pub fn moved(direction: &Direction, by: Time) -> Direction {
    let kind = match &direction.kind {
        DirectionKind::Hairpin { grows, to } => {
            DirectionKind::Hairpin { grows: *grows, to: *to + by }
        }
        other => other.clone(),
    };
    Direction { at: direction.at + by, kind, span: direction.span }
}

/// A scoring line of a movement among those of the whole: its voice and bars stand behind those of
/// the movements before it.
#[must_use]
pub fn moved_line(line: &Line, by: Time, first: usize, voices: usize) -> Line {
    let mut line = line.clone();
    match &mut line.verb {
        Verb::Plays { voice, .. } | Verb::Realises { voice } | Verb::Signals { voice } => {
            *voice += voices;
        }
        Verb::Takes { from: Some(bar), .. } => *bar += first,
        Verb::Writes(music) => *music = moved_music(music, by, first),
        _ => {}
    }
    for (from, to) in line.times.iter_mut().chain(&mut line.up_beats) {
        *from += by;
        *to += by;
    }
    line
}

/// Bars and rehearsal marks that were counted in the movements before.
#[derive(Default)]
struct Counted {
    bars: i32,
    marks: usize,
}

impl Counted {
    /// Numbers the bars of the next movement.
    fn number(&mut self, bars: &mut [Bar], through: Through) {
        let (bars_before, marks_before) = (self.bars, self.marks);
        for bar in bars {
            // A pick-up is counted nowhere.
            if through.bars && bar.number > 0 {
                bar.number += bars_before;
                self.bars = self.bars.max(bar.number);
            }
            if let Some(mark) = bar.mark.as_mut().filter(|_| through.marks)
                && let Some(place) = place_of(mark)
            {
                self.marks = self.marks.max(marks_before + place);
                *mark =
                    mark_at(marks_before + place, mark.starts_with(|c: char| c.is_ascii_digit()));
            }
        }
    }
}

/// The place of a rehearsal mark among its like, from 1: "A", "Z", "AA" or "12"; `None` for words.
fn place_of(mark: &str) -> Option<usize> {
    if let Ok(number) = mark.parse::<usize>() {
        return (number > 0 && number < 10_000).then_some(number);
    }
    let letter = mark.chars().next().filter(char::is_ascii_uppercase)?;
    let times = mark.len();
    let same = mark.chars().all(|other| other == letter);
    (same && times <= 9).then_some((letter as usize - 'A' as usize) + 1 + 26 * (times - 1))
}

/// The rehearsal mark of that place: a number, or letters that double behind Z.
fn mark_at(place: usize, number: bool) -> String {
    if number {
        return place.to_string();
    }
    let (rounds, letter) = ((place - 1) / 26, (place - 1) % 26);
    let letter = (b'A'..=b'Z').nth(letter).map_or('A', char::from);
    letter.to_string().repeat(rounds + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rehearsal_marks_go_on_through_the_alphabet_and_beyond() {
        for (mark, place) in [("A", 1), ("Z", 26), ("AA", 27), ("7", 7)] {
            assert_eq!(place_of(mark), Some(place));
            assert_eq!(mark_at(place, mark == "7"), mark);
        }
        assert_eq!([place_of("Trio"), place_of("0"), place_of("AB")], [None; 3]);
    }
}

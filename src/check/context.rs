//! What the rules share about one arranged scoring: who gave a note, how fast it goes, what is
//! allowed.

use std::cell::Cell;
use std::collections::HashMap;

use super::options::matches;
use crate::arrange::{Arrangement, LineId, Part, SoundingNote};
use crate::diagnostics::Span;
use crate::resolve::{Allow, Form, Line, Piece, Scoring};

/// One arranged scoring with what the rules ask of it again and again.
pub(super) struct Context<'a> {
    pub arrangement: &'a Arrangement<'a>,
    pub form: &'a Form,
    pub era: i32,
    lines: Vec<Option<&'a Line>>,
    allows: Vec<GivenAllow<'a>>,
}

struct GivenAllow<'a> {
    allow: &'a Allow,
    /// Indices of the players; `None` for everybody.
    players: Option<Vec<usize>>,
    used: Cell<bool>,
}

/// A scoring and those that it keeps.
pub(super) fn layers<'a>(piece: &'a Piece, scoring: &'a Scoring) -> Vec<&'a Scoring> {
    let mut layers = vec![scoring];
    let mut at = scoring;
    while let Some((kept, _)) = at.keep
        && layers.len() <= piece.scorings.len()
        && let Some(next) = piece.scorings.get(kept)
    {
        at = next;
        layers.push(at);
    }
    layers
}

impl<'a> Context<'a> {
    pub fn new(arrangement: &'a Arrangement<'a>) -> Context<'a> {
        let piece = arrangement.piece;
        let layers = layers(piece, arrangement.scoring);
        let by_span: HashMap<Span, &Line> =
            layers.iter().flat_map(|s| &s.lines).map(|line| (line.span, line)).collect();
        let ensemble = &piece.ensembles[arrangement.scoring.ensemble];
        let allows = layers
            .iter()
            .flat_map(|scoring| &scoring.allows)
            .map(|allow| GivenAllow {
                allow,
                players: (!allow.who.is_empty()).then(|| {
                    allow.who.iter().flat_map(|(name, _)| ensemble.players_named(name)).collect()
                }),
                used: Cell::new(false),
            })
            .collect();
        Context {
            arrangement,
            form: &piece.form,
            era: arrangement.era,
            lines: arrangement.lines.iter().map(|l| by_span.get(&l.span).copied()).collect(),
            allows,
        }
    }

    pub fn parts(&self) -> impl Iterator<Item = (usize, &'a Part<'a>)> + use<'a> {
        self.arrangement.parts.iter().enumerate()
    }

    pub fn part(&self, index: usize) -> &'a Part<'a> {
        &self.arrangement.parts[index]
    }

    /// The scoring line of that number.
    pub fn line(&self, id: LineId) -> Option<&'a Line> {
        self.lines.get(usize::from(id.0)).copied().flatten()
    }

    /// Where the scoring line of that number is written.
    pub fn line_span(&self, id: LineId) -> Span {
        self.arrangement.lines.get(usize::from(id.0)).map_or_else(Span::default, |line| line.span)
    }

    /// Index of the bar in which a note begins.
    pub fn bar(&self, note: &SoundingNote) -> usize {
        self.form.index_at(note.start)
    }

    /// Number of the bar of that index.
    pub fn number(&self, bar: usize) -> i32 {
        self.form.bars.get(bar).map_or(0, |bar| bar.number)
    }

    /// Does the arranger allow this to this player in all of these bars (indices, first and last)?
    /// Remembers that the line was of use.
    pub fn allowed(&self, code: &str, player: Option<usize>, bars: (usize, usize)) -> bool {
        let mut allowed = false;
        for given in &self.allows {
            let names = match (&given.players, player) {
                (None, _) => true,
                (Some(players), Some(player)) => players.contains(&player),
                (Some(_), None) => false,
            };
            if names && matches(&given.allow.rule, code) && covers(&given.allow.bars, bars) {
                given.used.set(true);
                allowed = true;
            }
        }
        allowed
    }

    /// The `allow` lines that silenced something.
    pub fn used_allows(&self) -> impl Iterator<Item = Span> + '_ {
        self.allows.iter().filter(|given| given.used.get()).map(|given| given.allow.span)
    }
}

/// Do ranges of bar indices (first, one past last) hold a whole passage (first, last)?
fn covers(ranges: &[(usize, usize)], (first, last): (usize, usize)) -> bool {
    let mut reached = first;
    let mut sorted = ranges.to_vec();
    sorted.sort_unstable();
    for (from, after) in sorted {
        if from <= reached && reached < after {
            reached = after;
        }
    }
    reached > last
}

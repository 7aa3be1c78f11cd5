//! Which line gives a player his notes in which bar.

use std::sync::Arc;

use super::smaller::speaks_to;
use super::{Claim, GivenLine, LineId};
use crate::diagnostics::Diagnostic;
use crate::music::Time;
use crate::resolve::{Ensemble, Line, Piece, Player, Scoring, Verb};

/// All lines with the players of the ensemble to whom they speak.
pub(super) fn lines(
    piece: &Piece,
    ensemble: &Ensemble,
    layers: &[&Arc<Scoring>],
    diagnostics: &mut Vec<Diagnostic>,
) -> Vec<GivenLine> {
    let mut lines = Vec::new();
    // The ensemble to whose players a kept line keeps: that of the innermost scoring whose notes are
    // kept; where only lines are kept, they speak to all who have the name further out.
    let mut smaller: Option<&Ensemble> = None;
    for (layer, scoring) in layers.iter().enumerate() {
        if layer.checked_sub(1).is_some_and(|outer| !layers[outer].keeps_lines) {
            smaller = Some(&piece.ensembles[scoring.ensemble]);
        }
        for line in &scoring.lines {
            let speaks = |name: &str, player: &Player| {
                smaller.is_none_or(|smaller| speaks_to(line, name, player, smaller))
            };
            let (players, octaves) = players(ensemble, line, layer, layers, &speaks, diagnostics);
            lines.push(GivenLine { line: Arc::clone(line), players, octaves, layer });
        }
    }
    lines
}

fn players(
    ensemble: &Ensemble,
    line: &Line,
    layer: usize,
    layers: &[&Arc<Scoring>],
    speaks: &dyn Fn(&str, &Player) -> bool,
    diagnostics: &mut Vec<Diagnostic>,
) -> (Vec<usize>, Vec<i8>) {
    let mut players = Vec::new();
    let mut octaves = Vec::new();
    for (name, span) in &line.who {
        let found = ensemble.players_named(name);
        let at_home =
            ensemble.without.iter().any(|gone| gone == name.split('.').next().unwrap_or(name));
        // Where the ensemble could not be read as a whole, the player may be on what is missing.
        if found.is_empty() && !at_home && !ensemble.adrift && ensemble.unread.is_empty() {
            let mut finding = Diagnostic::error(
                "names/kept-player",
                *span,
                format!(
                    "`{}` keeps a line of `{name}`, but {} has no such player.",
                    layers[0].name, ensemble.name
                ),
            )
            .with_text("the kept line")
            .with_label(ensemble.span, "the ensemble")
            .with_help(format!(
                "Make {} `extends` the smaller ensemble, so that its players are kept; where this one \
                 stays at home, write `without {}` in it.",
                ensemble.name,
                name.split('.').next().unwrap_or(name)
            ));
            if let Some((_, keep)) = layers.get(layer.wrapping_sub(1)).and_then(|above| above.keep)
            {
                finding = finding.with_label(keep, "kept here");
            }
            diagnostics.push(finding);
        }
        for player in found {
            if !players.contains(&player) && speaks(name, &ensemble.players[player]) {
                players.push(player);
                octaves.push(ensemble.octaves_in(name, player));
            }
        }
    }
    (players, octaves)
}

const NOBODY: u32 = u32::MAX;

/// For each player which line claims what, without a break.
pub(super) fn claims(
    piece: &Piece,
    ensemble: &Ensemble,
    lines: &[GivenLine],
    diagnostics: &mut Vec<Diagnostic>,
) -> Vec<Vec<Claim>> {
    let borders = borders(piece, lines);
    let pieces = borders.len().saturating_sub(1);
    let mut claims = vec![vec![NOBODY; pieces]; ensemble.players.len()];
    let mut conflicts: Vec<Conflict> = Vec::new();
    // From the scoring's own lines inwards: who comes first keeps the bar.
    let mut order: Vec<(usize, &GivenLine)> = lines.iter().enumerate().collect();
    order.sort_by_key(|(_, given)| (given.layer, given.line.unread));
    for (id, given) in order {
        if matches!(given.line.verb, Verb::Takes { .. }) {
            continue;
        }
        // What could not be understood holds back kept lines, and disputes no bar with its own.
        let unsure = |line: &Line| line.verb == Verb::Unknown || line.unsure.bars;
        let is_up_beat = |line: &Line, piece: usize| {
            line.up_beats.iter().any(|&(from, to)| from <= borders[piece] && borders[piece] < to)
        };
        for &player in &given.players {
            for &(from, to) in &given.line.times {
                let first = borders.partition_point(|border| *border < from);
                let after = borders.partition_point(|border| *border < to).min(pieces);
                let held = claims[player].get_mut(first..after).unwrap_or_default();
                for (place, holder) in (first..).zip(held) {
                    match *holder {
                        NOBODY => *holder = LineId::new(id).0,
                        other if other as usize == id => {}
                        other if unsure(&given.line) || unsure(&lines[other as usize].line) => {
                            let same = lines[other as usize].layer == given.layer;
                            if same && lines[other as usize].line.verb == Verb::Unknown {
                                *holder = LineId::new(id).0;
                            }
                        }
                        other if lines[other as usize].layer == given.layer => {
                            // The up-beat to a line goes before the end of another one.
                            let other = other as usize;
                            match (
                                is_up_beat(&lines[other].line, place),
                                is_up_beat(&given.line, place),
                            ) {
                                (true, false) => {}
                                (false, true) => *holder = LineId::new(id).0,
                                _ => conflict(&mut conflicts, other, id, player, borders[place]),
                            }
                        }
                        _ => {}
                    }
                }
            }
        }
    }
    diagnostics.extend(conflicts.iter().map(|conflict| conflict.finding(piece, ensemble, lines)));
    claims.iter().map(|held| runs(held, &borders)).collect()
}

/// All bar lines, and all times between them at which a line begins or ends.
fn borders(piece: &Piece, lines: &[GivenLine]) -> Vec<Time> {
    let mut borders: Vec<Time> = piece.form.bars.iter().map(|bar| bar.start).collect();
    borders.push(piece.form.end());
    let count = borders.len();
    for (from, to) in lines.iter().flat_map(|given| &given.line.times) {
        for time in [from, to] {
            if borders[..count].binary_search(time).is_err() {
                borders.push(*time);
            }
        }
    }
    borders.sort_unstable();
    borders.dedup();
    borders
}

fn runs(held: &[u32], borders: &[Time]) -> Vec<Claim> {
    let mut runs: Vec<Claim> = Vec::new();
    for (&line, ends) in held.iter().zip(borders.windows(2)) {
        let (from, to) = (ends[0], ends[1]);
        match runs.last_mut() {
            Some(last) if last.to == from && last.line.0 == line => last.to = to,
            _ if line != NOBODY => runs.push(Claim { from, to, line: LineId(line) }),
            _ => {}
        }
    }
    runs
}

/// Two lines of one scoring that claim the same player in the same bars.
struct Conflict {
    first: usize,
    second: usize,
    players: Vec<usize>,
    times: (Time, Time),
}

fn conflict(conflicts: &mut Vec<Conflict>, first: usize, second: usize, player: usize, at: Time) {
    let known = conflicts.iter_mut().rev().find(|c| c.first == first && c.second == second);
    match known {
        Some(conflict) => {
            if !conflict.players.contains(&player) {
                conflict.players.push(player);
            }
            conflict.times = (conflict.times.0.min(at), conflict.times.1.max(at));
        }
        None => conflicts.push(Conflict { first, second, players: vec![player], times: (at, at) }),
    }
}

impl Conflict {
    fn finding(&self, piece: &Piece, ensemble: &Ensemble, lines: &[GivenLine]) -> Diagnostic {
        let names: Vec<&str> =
            self.players.iter().map(|&player| ensemble.players[player].id.as_str()).collect();
        let first = piece.form.bar_at(self.times.0).number;
        let last = piece.form.bar_at(self.times.1).number;
        let where_to =
            if first == last { format!("bar {first}") } else { format!("bars {first} to {last}") };
        Diagnostic::error(
            "names/conflict",
            lines[self.second].line.span,
            format!("Two lines claim {} in {where_to}.", names.join(", ")),
        )
        .with_text("this line claims the player …")
        .with_label(lines[self.first].line.span, "… already claimed by this line")
        .with_help("Give each line its own bars: `bars 1..8`.")
        .with_bars(first, last)
        .with_player(names.first().copied().unwrap_or_default())
    }
}

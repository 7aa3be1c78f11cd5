//! Where something else may sound than what is known.
//!
//! Whatever could not be understood leaves a gap: a line without notes, a player who is missing, a
//! bar that could not be read. What is concluded from such a gap would be a second finding about
//! one mistake, and a wrong one. So every gap is noted by bar and player, and the checker asks.

use super::{GivenLine, Part};
use crate::resolve::{Piece, Scoring, Verb};

/// Where something else may sound than what is known: nowhere, in a source without errors.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Doubt {
    /// For each bar: may somebody sound something else? Empty where nobody does anywhere.
    bars: Vec<bool>,
    /// For each player and bar: may he sound something else?
    players: Vec<Vec<bool>>,
    /// For each bar: may it be louder or softer?
    loudness: Vec<bool>,
}

impl Doubt {
    /// Is there any doubt at all?
    #[must_use]
    pub fn any(&self) -> bool {
        !self.bars.is_empty()
    }

    /// May somebody sound something else in these bars (indices, first and last)?
    #[must_use]
    pub fn in_bars(&self, bars: (usize, usize)) -> bool {
        within(&self.bars, bars)
    }

    /// May this player sound something else in these bars?
    #[must_use]
    pub fn of_player(&self, player: usize, bars: (usize, usize)) -> bool {
        self.players.get(player).is_some_and(|own| within(own, bars))
    }

    /// May these bars be louder or softer?
    #[must_use]
    pub fn of_loudness(&self, bars: (usize, usize)) -> bool {
        within(&self.loudness, bars)
    }
}

fn within(marked: &[bool], (first, last): (usize, usize)) -> bool {
    let last = last.min(marked.len().saturating_sub(1));
    marked.get(first..=last).is_some_and(|bars| bars.contains(&true))
}

fn mark(bars: &mut [bool], first: usize, after: usize) {
    let after = after.min(bars.len());
    bars.get_mut(first..after).unwrap_or_default().fill(true);
}

/// What is doubtful in a scoring.
pub(super) fn doubt(
    piece: &Piece,
    layers: &[&Scoring],
    lines: &[GivenLine],
    parts: &[Part],
) -> Doubt {
    let ensemble = &piece.ensembles[layers[0].ensemble];
    let count = piece.form.bars.len();
    let everything = piece.form.unsure_from.is_some()
        || ensemble.adrift
        || layers.iter().any(|layer| layer.adrift);
    let mut doubt = Doubt {
        bars: vec![everything || !ensemble.unread.is_empty(); count],
        players: vec![vec![everything; count]; parts.len()],
        loudness: vec![everything; count],
    };
    for &(first, after) in &piece.dynamics_unsure {
        mark(&mut doubt.loudness, first, after);
    }
    for &(first, after) in &piece.harmony_unsure {
        mark(&mut doubt.bars, first, after);
    }
    for (own, part) in doubt.players.iter_mut().zip(parts) {
        if ensemble.unsure.contains(&part.player.line_name) {
            own.fill(true);
        }
    }
    for given in lines.iter().filter(|given| given.line.unsure.any()) {
        let all = [(0, count)];
        // Another instrument or crook is kept to the end.
        let lasts = given.line.unsure.bars || matches!(given.line.verb, Verb::Takes { .. });
        let bars = if lasts { &all } else { &given.line.bars[..] };
        for &(first, after) in bars {
            mark(&mut doubt.bars, first, after);
            for &player in &given.players {
                mark(&mut doubt.players[player], first, after);
            }
        }
    }
    for (player, part) in parts.iter().enumerate() {
        for &(first, after, id) in &part.claims {
            for (from, to) in gaps(piece, &lines[usize::from(id.0)].line.verb, (first, after)) {
                mark(&mut doubt.players[player], from.max(first), to.min(after));
            }
        }
    }
    // Who doubles a player of whom something is not known shares the doubt, and whoever doubles
    // him again.
    for _ in 0..parts.len() {
        let before = doubt.players.clone();
        for (player, part) in parts.iter().enumerate() {
            for &(first, after, id) in &part.claims {
                let Verb::Doubles { part: source, .. } = &lines[usize::from(id.0)].line.verb else {
                    continue;
                };
                for source in ensemble.players_named(source) {
                    for bar in (first..after).filter(|&bar| before[source][bar]) {
                        doubt.players[player][bar] = true;
                    }
                }
            }
        }
        if doubt.players == before {
            break;
        }
    }
    for bar in 0..count {
        doubt.bars[bar] |= doubt.players.iter().any(|own| own[bar]);
    }
    let marked = |bars: &[bool]| bars.contains(&true);
    let any = marked(&doubt.bars) || marked(&doubt.loudness);
    if any { doubt } else { Doubt::default() }
}

/// The bars of a run in which what the line gives is not certain.
fn gaps(piece: &Piece, verb: &Verb, run: (usize, usize)) -> Vec<(usize, usize)> {
    let touches = |gaps: &[(usize, usize)]| gaps.iter().any(|gap| gap.0 < run.1 && run.0 < gap.1);
    let whole = |doubtful: bool| if doubtful { vec![run] } else { Vec::new() };
    match verb {
        Verb::Plays { voice, .. } => piece.voices[*voice].music.unsure.clone(),
        Verb::Writes(music) => music.unsure.clone(),
        Verb::Sustains { .. } => whole(touches(&piece.harmony_unsure)),
        Verb::Signals { voice } => {
            whole(touches(&piece.harmony_unsure) || touches(&piece.voices[*voice].music.unsure))
        }
        // Moments are found by looking at the whole piece.
        Verb::Highlights { .. } => whole(
            !piece.harmony_unsure.is_empty()
                || !piece.dynamics_unsure.is_empty()
                || piece.voices.iter().any(|voice| !voice.music.unsure.is_empty()),
        ),
        Verb::Unknown => vec![run],
        Verb::Doubles { .. } | Verb::Rests | Verb::Takes { .. } => Vec::new(),
    }
}

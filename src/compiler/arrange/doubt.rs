//! Where something else may sound than what is known.
//!
//! Whatever could not be understood leaves a gap: a line without notes, a player who is missing, a
//! bar that could not be read. What is concluded from such a gap would be a second finding about
//! one mistake, and a wrong one. So every gap is noted by bar and player, and the checker asks.

use std::sync::Arc;

use super::{GivenLine, Part};
use crate::resolve::{BarIndices, Bars, Piece, Scoring, Verb};

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

    /// May somebody sound something else in these bars?
    #[must_use]
    pub fn in_bars(&self, bars: BarIndices) -> bool {
        within(&self.bars, bars)
    }

    /// May this player sound something else in these bars?
    #[must_use]
    pub fn of_player(&self, player: usize, bars: BarIndices) -> bool {
        self.players.get(player).is_some_and(|own| within(own, bars))
    }

    /// May these bars be louder or softer?
    #[must_use]
    pub fn of_loudness(&self, bars: BarIndices) -> bool {
        within(&self.loudness, bars)
    }
}

fn within(marked: &[bool], bars: BarIndices) -> bool {
    let after = bars.after.min(marked.len());
    marked.get(bars.first..after).is_some_and(|bars| bars.contains(&true))
}

fn mark(marked: &mut [bool], bars: BarIndices) {
    let after = bars.after.min(marked.len());
    marked.get_mut(bars.first..after).unwrap_or_default().fill(true);
}

/// What is doubtful in a scoring.
pub(super) fn doubt(
    piece: &Piece,
    layers: &[&Arc<Scoring>],
    lines: &[GivenLine],
    parts: &[Arc<Part>],
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
    piece.dynamics_unsure.iter().for_each(|&bars| mark(&mut doubt.loudness, bars));
    piece.harmony_unsure.iter().for_each(|&bars| mark(&mut doubt.bars, bars));
    for (own, part) in doubt.players.iter_mut().zip(parts) {
        if ensemble.unsure.contains(&part.player.line_name) {
            own.fill(true);
        }
    }
    for given in lines.iter().filter(|given| given.line.unsure.any()) {
        // Another instrument or crook is kept to the end.
        let lasts = given.line.unsure.bars || matches!(given.line.verb, Verb::Takes { .. });
        let form = &piece.form;
        let named = given.line.times.iter().map(|&(from, to)| form.bars_between(from, to));
        let claimed: Bars = if lasts { vec![BarIndices::all(form)] } else { named.collect() };
        for bars in claimed {
            mark(&mut doubt.bars, bars);
            // A line that gives another instrument to nobody known, or is not understood, may mean
            // anybody.
            let nobody = given.line.unsure.who
                && given.players.is_empty()
                && matches!(given.line.verb, Verb::Unknown | Verb::Takes { .. });
            for (player, own) in doubt.players.iter_mut().enumerate() {
                if nobody || given.players.contains(&player) {
                    mark(own, bars);
                }
            }
        }
    }
    for (player, part) in parts.iter().enumerate() {
        for claim in &part.claims {
            let run = piece.form.bars_between(claim.from, claim.to);
            let verb = &lines[claim.line.index()].line.verb;
            for gap in gaps(piece, verb, run) {
                mark(&mut doubt.players[player], gap.and(run));
            }
        }
    }
    // Who doubles a player of whom something is not known shares the doubt, and whoever doubles
    // him again.
    for _ in 0..parts.len() {
        let before = doubt.players.clone();
        for (player, part) in parts.iter().enumerate() {
            for claim in &part.claims {
                let line = &lines[claim.line.index()].line;
                let Verb::Doubles { part: source, .. } = &line.verb else { continue };
                let run = piece.form.bars_between(claim.from, claim.to);
                for source in ensemble.players_named(source) {
                    for bar in run.range().filter(|&bar| before[source][bar]) {
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
fn gaps(piece: &Piece, verb: &Verb, run: BarIndices) -> Bars {
    let touches = |gaps: &[BarIndices]| gaps.iter().any(|gap| gap.meets(run));
    let whole = |doubtful: bool| if doubtful { vec![run] } else { Vec::new() };
    match verb {
        Verb::Plays { voice, .. } => piece.voices[*voice].music.unsure.clone(),
        Verb::Writes(music) => music.unsure.clone(),
        Verb::Sustains { .. } => whole(touches(&piece.harmony_unsure)),
        Verb::Signals { voice } | Verb::Realises { voice } => {
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::arrange::arrange;
    use crate::diagnostics::Sources;
    use crate::resolve::{NoFiles, resolve};

    /// The doubt in a piece of four bars in which an oboe plays a voice, a flute doubles it and a
    /// viola rests.
    fn doubt_of(voice: &str, lines: &str) -> Doubt {
        let source = format!(
            "piece \"Gap\" {{ }}\nform {{\n 1 metre 2/4, key C major\n 4 end\n}}\n\
             voice tune {{\n{voice}\n}}\nensemble few {{\n era 1810\n flute, oboe, viola 2 players\n}}\n\
             scoring s for few {{\n{lines}\n}}\n"
        );
        let mut sources = Sources::new();
        let file = sources.add("gap.ripieno", source);
        let (piece, _) = resolve(&mut sources, file, &mut NoFiles);
        arrange(&piece, &piece.scorings[0]).doubt
    }

    /// The bars of these indices, the last one too.
    fn bars(first: usize, last: usize) -> BarIndices {
        BarIndices::new(first, last + 1)
    }

    const TUNE: &str = "1: 1/2 C5 |\n2: D5 |\n3: E5 |\n4: C5 |";
    const LINES: &str = "oboe plays tune as melody\nflute doubles oboe\nviola rests";
    const FLUTE: usize = 0;
    const OBOE: usize = 1;
    const VIOLA: usize = 2;

    #[test]
    fn a_source_in_order_leaves_no_doubt() {
        assert_eq!(doubt_of(TUNE, LINES), Doubt::default());
    }

    #[test]
    fn a_broken_bar_is_doubtful_for_who_plays_it_and_who_doubles_him() {
        let doubt = doubt_of(&TUNE.replace("D5", "D5 Q"), LINES);
        for (bar, doubtful) in [(0, false), (1, true), (2, false)] {
            assert_eq!(doubt.of_player(OBOE, BarIndices::one(bar)), doubtful, "bar {bar}");
            assert_eq!(doubt.of_player(FLUTE, BarIndices::one(bar)), doubtful, "bar {bar}");
            assert!(!doubt.of_player(VIOLA, BarIndices::one(bar)));
            assert_eq!(doubt.in_bars(BarIndices::one(bar)), doubtful);
        }
    }

    #[test]
    fn a_line_that_is_not_understood_claims_the_bars_and_players_that_it_names() {
        let line = "viola palys tune bars 2..3 as bass";
        let doubt = doubt_of(TUNE, &LINES.replace("viola rests", line));
        assert!(doubt.of_player(VIOLA, bars(1, 2)) && !doubt.of_player(VIOLA, bars(3, 3)));
        assert!(!doubt.of_player(OBOE, bars(0, 3)));
        assert!(doubt.in_bars(bars(2, 2)) && !doubt.in_bars(bars(0, 0)));
    }

    #[test]
    fn a_voice_or_player_that_nobody_knows_leaves_a_gap() {
        let doubt = doubt_of(TUNE, &LINES.replace("viola rests", "viola plays tnue as bass"));
        assert!(doubt.of_player(VIOLA, bars(0, 3)) && !doubt.of_player(OBOE, bars(0, 3)));
        let doubt = doubt_of(TUNE, &LINES.replace("viola rests", "voila rests bars 1"));
        assert!(doubt.in_bars(bars(0, 0)) && !doubt.in_bars(bars(1, 3)));
        assert!(!doubt.of_player(VIOLA, bars(0, 3)));
    }
}

//! Between notation and writers: which staves, voices and signs stand on which pages.
//!
//! From one arrangement come a full score ([`full_score`]; at concert pitch from a score that was
//! notated so), a condensed score ([`condensed_score`]) and the part of each player ([`part`]). An
//! [`Edition`] says all that a page shows; writers put it into their format and decide nothing.

mod cast;
mod model;
mod rests;
mod spans;
mod staves;

use crate::notate::Score;

pub use model::*;
pub use rests::rest_runs;

/// The full score: each player on staves of his own. Of a score that was notated at concert pitch
/// ([`notate_at`](crate::notate::notate_at)) it is one at concert pitch.
#[must_use]
pub fn full_score(score: &Score) -> Edition<'_> {
    let kind = if score.concert { Kind::ConcertScore } else { Kind::Score };
    of_players(score, kind, 0..score.staves.len())
}

/// One player's part: rests counted together, all keys and crooks at the head.
///
/// # Panics
/// If the score has no staff of that index.
#[must_use]
pub fn part(score: &Score, player: usize) -> Edition<'_> {
    let mut edition = of_players(score, Kind::Part(player), player..player + 1);
    rests::count(&mut edition);
    edition
}

fn of_players(score: &Score, kind: Kind, players: std::ops::Range<usize>) -> Edition<'_> {
    let mut edition = Edition {
        kind,
        head: cast::head(score, kind),
        bars: &score.frame,
        movements: vec![Movement { title: None, bars: 0..score.frame.len(), tacet: false }],
        players: Vec::with_capacity(players.len()),
        parts: Vec::with_capacity(players.len()),
        staves: Vec::with_capacity(players.len() + 2),
        groups: Vec::new(),
    };
    for index in players {
        staves::add_player(&mut edition, &score.staves[index], index);
    }
    edition.groups = cast::groups(&edition);
    edition
}

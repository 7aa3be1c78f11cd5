//! The instrumentation line as orchestral libraries print it.

use std::sync::Arc;

use serde::Serialize;

use crate::instruments::{Family, Instrument, catalogue, find};
use crate::resolve::{Ensemble, Player};

/// An instrument that a player takes, or could take, beside his own.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct Doubling {
    /// The player: `flute.2`.
    pub player: String,
    /// The other instrument: `piccolo`.
    pub takes: String,
}

/// The instrumentation of an ensemble: woodwind, brass, drums and percussion, others, strings.
/// `taken` says which players (by id) take which other instruments.
pub(super) fn line_up(ensemble: &Ensemble, taken: &[Doubling]) -> String {
    let players = &ensemble.players;
    let mut groups = Vec::new();
    if players.iter().any(|p| matches!(p.instrument.family, Family::Woodwind | Family::Brass)) {
        let woodwind = desks(Family::Woodwind).map(|main| desk(players, taken, main));
        groups.push(woodwind.collect::<Vec<_>>().join("."));
        let brass = desks(Family::Brass).map(|main| people(players, |p| of(p) == main).to_string());
        groups.push(brass.collect::<Vec<_>>().join("."));
    }
    groups.extend(others(players, |family| matches!(family, Family::Woodwind | Family::Brass)));
    groups.extend(drums(players));
    groups.extend(others(players, |family| {
        matches!(family, Family::Harp | Family::Plucked | Family::Keyboard | Family::Voice)
    }));
    groups.extend(strings(players));
    groups.join(" – ")
}

/// The desks of a family that are always printed, in score order.
fn desks(family: Family) -> impl Iterator<Item = &'static str> {
    let mut seen: Vec<&str> = Vec::new();
    catalogue()
        .iter()
        .filter(move |instrument| instrument.family == family)
        .filter_map(|instrument| instrument.desk.as_ref().filter(|desk| desk.always))
        .map(|desk| desk.of.as_str())
        .filter(move |of| {
            let new = !seen.contains(of);
            seen.push(of);
            new
        })
}

/// Whose desk a player sits at.
fn of(player: &Player) -> &str {
    player.instrument.desk.as_ref().map_or(&player.instrument.id, |desk| &desk.of)
}

/// The short name of an instrument in the line.
fn short(instrument: &Instrument) -> &str {
    instrument.desk.as_ref().map_or(&instrument.id, |desk| &desk.short)
}

fn id(player: &Player) -> &str {
    &player.instrument.id
}

fn people(players: &[Arc<Player>], which: impl Fn(&Player) -> bool) -> u32 {
    players.iter().filter(|p| which(p)).map(|p| u32::from(p.count.max(1))).sum()
}

/// `2`, or with a companion `3[1.2.pic]`, or where a player takes it as well `2[1.2/pic]`.
fn desk(players: &[Arc<Player>], taken: &[Doubling], main: &str) -> String {
    let leader = find(main).map_or(main, short);
    let plain = |p: &Player| of(p) == main && short(p.instrument) == leader;
    let companions = || {
        let here = |i: &&Instrument| i.desk.as_ref().is_some_and(|desk| desk.of == main);
        let known = catalogue().iter().filter(here);
        known.filter(|instrument| short(instrument) != leader)
    };
    let mut seats: Vec<String> = Vec::new();
    for player in players.iter().filter(|p| plain(p)) {
        let takes = |companion: &&Instrument| {
            taken.iter().any(|one| one.player == player.id && one.takes == companion.id)
        };
        let with: String =
            companions().filter(takes).map(|other| format!("/{}", short(other))).collect();
        let first = seats.len() + 1;
        seats.extend((0..usize::from(player.count.max(1))).map(|n| format!("{}{with}", first + n)));
    }
    let doubled = seats.iter().any(|seat| seat.contains('/'));
    let plain_players = seats.len();
    for player in players.iter().filter(|p| of(p) == main && !plain(p)) {
        seats.extend((0..player.count.max(1)).map(|_| short(player.instrument).to_string()));
    }
    if seats.len() == plain_players && !doubled {
        plain_players.to_string()
    } else {
        format!("{}[{}]", seats.len(), seats.join("."))
    }
}

/// `timp`, `timp+2`, `2perc`.
fn drums(players: &[Arc<Player>]) -> Option<String> {
    let tuned = |p: &Player| !p.instrument.drums.is_empty();
    let timpani = people(players, tuned);
    let others = people(players, |p| p.instrument.family == Family::Percussion && !tuned(p));
    let drums = match timpani {
        1 => "timp".to_string(),
        count => format!("{count}timp"),
    };
    match (timpani, others) {
        (0, 0) => None,
        (0, 1) => Some("perc".to_string()),
        (0, count) => Some(format!("{count}perc")),
        (_, 0) => Some(drums),
        (_, count) => Some(format!("{drums}+{count}")),
    }
}

/// `hp`, `2hp`, `hpd`, each a group of its own; of wind those that have no desk of their own.
fn others(players: &[Arc<Player>], which: impl Fn(Family) -> bool) -> Vec<String> {
    let mut seen: Vec<&Player> = Vec::new();
    for player in players {
        let at_a_desk =
            player.instrument.desk.as_ref().is_some_and(|desk| {
                desks(player.instrument.family).any(|always| always == desk.of)
            });
        let other = which(player.instrument.family) && !at_a_desk;
        if other && !seen.iter().any(|known| id(known) == id(player)) {
            seen.push(player);
        }
    }
    seen.into_iter()
        .map(|one| match people(players, |p| id(p) == id(one)) {
            1 => short(one.instrument).to_string(),
            count => format!("{count}{}", short(one.instrument)),
        })
        .collect()
}

/// `str (8.6.4.3.2)`: the desks in score order, first and second violins apart.
fn strings(players: &[Arc<Player>]) -> Option<String> {
    let desks: Vec<String> = players
        .iter()
        .filter(|p| p.instrument.family == Family::Strings)
        .map(|p| p.count.max(1).to_string())
        .collect();
    (!desks.is_empty()).then(|| format!("str ({})", desks.join(".")))
}

//! The instrumentation line as orchestral libraries print it.

use std::sync::Arc;

use serde::Serialize;

use crate::instruments::Family;
use crate::resolve::{Ensemble, Player};

/// An instrument that a player takes, or could take, beside his own.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct Doubling {
    /// The player: `flute.2`.
    pub player: String,
    /// The other instrument: `piccolo`.
    pub takes: String,
}

/// A desk of the woodwind: the instrument, and its companions with their short names.
/// Source: common practice of orchestral libraries, from memory.
const WOODWIND: [(&str, &[(&str, &str)]); 4] = [
    ("flute", &[("piccolo", "pic")]),
    ("oboe", &[("cor-anglais", "ca")]),
    ("clarinet", &[("bass-clarinet", "bcl")]),
    ("bassoon", &[("contrabassoon", "cbn")]),
];

/// The desks of the brass.
const BRASS: [&[&str]; 4] = [
    &["natural-horn", "horn"],
    &["natural-trumpet", "trumpet"],
    &["alto-trombone", "tenor-trombone", "bass-trombone"],
    &["tuba"],
];

/// Short names of harps and keyboards; others go by the name of the catalogue.
const OTHERS: [(&str, &str); 2] = [("harp", "hp"), ("harpsichord", "hpd")];

/// The instrumentation of an ensemble: woodwind, brass, drums and percussion, others, strings.
/// `taken` says which players (by id) take which other instruments.
pub(super) fn line_up(ensemble: &Ensemble, taken: &[Doubling]) -> String {
    let players = &ensemble.players;
    let mut groups = Vec::new();
    if players.iter().any(|p| matches!(p.instrument.family, Family::Woodwind | Family::Brass)) {
        groups.push(WOODWIND.map(|(main, others)| desk(players, taken, main, others)).join("."));
        groups
            .push(BRASS.map(|ids| people(players, |p| ids.contains(&id(p))).to_string()).join("."));
    }
    groups.extend(drums(players));
    groups.extend(others(players));
    groups.extend(strings(players));
    groups.join(" – ")
}

fn id(player: &Player) -> &str {
    &player.instrument.id
}

fn people(players: &[Arc<Player>], which: impl Fn(&Player) -> bool) -> u32 {
    players.iter().filter(|p| which(p)).map(|p| u32::from(p.count.max(1))).sum()
}

/// `2`, or with a companion `3[1.2.pic]`, or where a player takes it as well `2[1.2/pic]`.
fn desk(
    players: &[Arc<Player>],
    taken: &[Doubling],
    main: &str,
    companions: &[(&str, &str)],
) -> String {
    let plain = people(players, |p| id(p) == main);
    let mut seats: Vec<String> = Vec::new();
    for player in players.iter().filter(|p| id(p) == main) {
        let takes = |companion: &str| {
            taken.iter().any(|one| one.player == player.id && one.takes == companion)
        };
        let with: String = companions
            .iter()
            .filter(|(companion, _)| takes(companion))
            .map(|(_, short)| format!("/{short}"))
            .collect();
        let first = seats.len() + 1;
        seats.extend((0..usize::from(player.count.max(1))).map(|n| format!("{}{with}", first + n)));
    }
    let doubled = seats.iter().any(|seat| seat.contains('/'));
    for (companion, short) in companions {
        let count = people(players, |p| id(p) == *companion);
        seats.extend((0..count).map(|_| (*short).to_string()));
    }
    if seats.len() as u32 == plain && !doubled {
        plain.to_string()
    } else {
        format!("{}[{}]", seats.len(), seats.join("."))
    }
}

/// `timp`, `timp+2`, `2perc`.
fn drums(players: &[Arc<Player>]) -> Option<String> {
    let timpani = people(players, |p| id(p) == "timpani");
    let others =
        people(players, |p| p.instrument.family == Family::Percussion && id(p) != "timpani");
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

/// `hp`, `2hp`, `hpd`, each a group of its own.
fn others(players: &[Arc<Player>]) -> Vec<String> {
    let mut seen: Vec<&str> = Vec::new();
    for player in players {
        let other = matches!(player.instrument.family, Family::Harp | Family::Keyboard);
        if other && !seen.contains(&id(player)) {
            seen.push(id(player));
        }
    }
    let short = |word: &str| {
        OTHERS.iter().find(|(id, _)| *id == word).map_or(word, |(_, short)| short).to_string()
    };
    seen.into_iter()
        .map(|word| match people(players, |p| id(p) == word) {
            1 => short(word),
            count => format!("{count}{}", short(word)),
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

//! Proposals in an ensemble.

use super::{Proposal, Sort, keywords};
use crate::check::{LIMITS, Limit};
use crate::context::Cursor;
use crate::instruments::{Instrument, Tuning, catalogue, find};
use crate::session::Session;
use crate::workspace::At;

const LINES: [(&str, &str); 5] = [
    ("era", "the year whose instruments and customs hold"),
    ("group", "players together: group basso = cello, double-bass 8vb"),
    ("without", "players of the smaller ensemble stay at home"),
    ("budget", "in how many bars of a hundred players may sound"),
    ("limits", "a limit of a rule that suits these players, and why"),
];
const OPTIONS: [(&str, &str); 8] = [
    ("players", "they share one part"),
    ("divisi", "the section is two halves, `viola.1` and `viola.2`, who read from one page"),
    ("crook", "without valves: the crook, or one for each pair"),
    ("in", "the key in which it is built"),
    ("tuned", "the notes of the drums"),
    ("joins", "adds the players to a group"),
    ("as", "a name on paper"),
    ("without signature", "accidentals at the notes in place of a key signature"),
];

pub(super) fn proposals(session: &mut Session, at: At, cursor: &Cursor) -> Vec<Proposal> {
    let Some(last) = cursor.before.last().map(String::as_str) else {
        let mut all = instruments(session, at, cursor);
        all.extend(keywords(&LINES));
        return all;
    };
    let first = cursor.before[0].as_str();
    match (first, last) {
        ("era", _) => Vec::new(),
        ("without" | "budget", "without" | "budget" | ",") | ("group", "=" | ",") => {
            own_players(session, at, cursor)
        }
        ("limits", "limits") => rules(),
        ("group" | "without" | "budget" | "limits", _) => Vec::new(),
        (_, "crook" | "in") => tunings(instrument_of(cursor), last, era(session, at, cursor)),
        (_, "joins") => groups(session, at, cursor),
        (_, "without") => keywords(&[("signature", "")]),
        (_, ",") => match list_of(cursor) {
            Some(word @ ("crook" | "in")) => {
                let mut all = tunings(instrument_of(cursor), word, era(session, at, cursor));
                all.extend(instruments(session, at, cursor));
                all
            }
            _ => instruments(session, at, cursor),
        },
        _ => {
            let instrument = instrument_of(cursor);
            let fits = |word: &str| match word {
                "crook" => instrument.is_none_or(|i| natural(i).is_some()),
                "in" => instrument.is_none_or(|i| !i.keys.is_empty()),
                "tuned" => instrument.is_none_or(|i| !i.drums.is_empty()),
                _ => true,
            };
            let fitting: Vec<_> = OPTIONS.into_iter().filter(|(word, _)| fits(word)).collect();
            keywords(&fitting)
        }
    }
}

/// The rules whose figures can be set.
fn rules() -> Vec<Proposal> {
    let line = |l: &Limit| Proposal::new(l.rule, Sort::Value, l.in_words());
    LIMITS.iter().map(line).collect()
}

/// The instruments of the catalogue.
pub(super) fn all_instruments() -> Vec<Proposal> {
    catalogue().iter().map(|i| Proposal::new(&i.id, Sort::Value, &i.name)).collect()
}

/// The instrument whose line, or part of a line, is being typed.
fn instrument_of(cursor: &Cursor) -> Option<&'static Instrument> {
    // `horn 4 crook D, F` is one line; what begins another kind of players is an instrument.
    cursor.before.iter().rev().find_map(|word| find(word).or_else(|| find(section(word))))
}

/// `violin` of `violin-1`.
fn section(word: &str) -> &str {
    word.rsplit_once('-')
        .filter(|(_, n)| n.chars().all(|c| c.is_ascii_digit()))
        .map_or(word, |(line, _)| line)
}

/// The option whose list a comma goes on with.
fn list_of(cursor: &Cursor) -> Option<&str> {
    cursor
        .before
        .iter()
        .rev()
        .map(String::as_str)
        .find(|word| matches!(*word, "crook" | "in" | "tuned" | "joins") || find(word).is_some())
}

/// The instrument without valves of that name.
pub(super) fn natural(instrument: &'static Instrument) -> Option<&'static Instrument> {
    if instrument.crooks.is_empty() { instrument.without_valves() } else { Some(instrument) }
}

/// The crooks or keys of an instrument that were in use in a year.
pub(super) fn tunings(
    instrument: Option<&'static Instrument>,
    word: &str,
    era: Option<i32>,
) -> Vec<Proposal> {
    let Some(instrument) = instrument else { return Vec::new() };
    let all: &[Tuning] = match word {
        "crook" => natural(instrument).map_or(&[], |natural| &natural.crooks),
        _ => &instrument.keys,
    };
    let used = |tuning: &&Tuning| {
        era.is_none_or(|era| {
            tuning.from.is_none_or(|from| from <= era) && tuning.to.is_none_or(|to| era <= to)
        })
    };
    let about = |tuning: &Tuning| match tuning.transposition.semitones {
        0 => "sounds as written".to_string(),
        moved => {
            let way = if moved < 0 { "lower" } else { "higher" };
            format!("sounds {} {way}", tuning.transposition.with_article())
        }
    };
    let propose = |tuning: &Tuning| Proposal::new(&tuning.name, Sort::Value, about(tuning));
    all.iter().filter(used).map(propose).collect()
}

/// The year of the ensemble around a cursor, as far as it is known.
fn era(session: &mut Session, at: At, cursor: &Cursor) -> Option<i32> {
    let piece = session.piece(at.root);
    let of = |name: &String| piece.ensembles.iter().find(|e| e.name == *name).map(|e| e.era);
    cursor.name.as_ref().and_then(of).or_else(|| cursor.ensemble.as_ref().and_then(of))
}

/// Instruments of the era that stand in no line yet.
fn instruments(session: &mut Session, at: At, cursor: &Cursor) -> Vec<Proposal> {
    let piece = session.piece(at.root);
    let own = piece.ensembles.iter().find(|e| Some(&e.name) == cursor.name.as_ref());
    let era = own.map(|ensemble| ensemble.era);
    let mut all = Vec::new();
    for instrument in catalogue() {
        // `horn crook D` is how one without valves is written.
        if instrument.id.starts_with("natural-")
            || era.is_some_and(|era| {
                era < instrument.from
                    && natural(instrument).is_none_or(|natural| era < natural.from)
            })
        {
            continue;
        }
        let taken = own.is_some_and(|own| own.players.iter().any(|p| p.line_name == instrument.id));
        if !taken {
            all.push(Proposal::new(&instrument.id, Sort::Instrument, &instrument.name));
        }
    }
    all
}

fn own_players(session: &mut Session, at: At, cursor: &Cursor) -> Vec<Proposal> {
    let piece = session.piece(at.root);
    let mut names: Vec<String> = Vec::new();
    for name in [&cursor.name, &cursor.ensemble].into_iter().flatten() {
        let Some(ensemble) = piece.ensembles.iter().find(|e| e.name == *name) else { continue };
        for player in &ensemble.players {
            if !names.contains(&player.line_name) {
                names.push(player.line_name.clone());
            }
        }
    }
    names.into_iter().map(|name| Proposal::new(name, Sort::Players, "")).collect()
}

fn groups(session: &mut Session, at: At, cursor: &Cursor) -> Vec<Proposal> {
    let piece = session.piece(at.root);
    let mut names: Vec<String> = Vec::new();
    for name in [&cursor.name, &cursor.ensemble].into_iter().flatten() {
        let Some(ensemble) = piece.ensembles.iter().find(|e| e.name == *name) else { continue };
        for (group, _) in &ensemble.groups {
            if !names.contains(group) {
                names.push(group.clone());
            }
        }
    }
    names.into_iter().map(|name| Proposal::new(name, Sort::Players, "group")).collect()
}

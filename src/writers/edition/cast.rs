//! Who plays: heads, names and brackets.

use std::ops::Range;

use crate::instruments::{Family, Instrument};
use crate::notate::{Score, Staff};

use super::{Edition, Group, GroupSign, Head, Kind};

/// The head of the pages.
pub(super) fn head(score: &Score, kind: Kind) -> Head {
    let player = match kind {
        Kind::Part(player) => score.staff_of(player),
        _ => None,
    };
    let name = match (kind, player) {
        (_, Some(Staff { half_of: Some(whole), .. })) => whole.name.clone(),
        (_, Some(player)) => player.instrument_name.clone(),
        (Kind::ConcertScore, _) => "Score at concert pitch".into(),
        (Kind::CondensedScore, _) => "Condensed score".into(),
        _ => "Score".into(),
    };
    Head {
        title: score.title.clone(),
        subtitle: score.subtitle.clone(),
        composer: score.composer.clone(),
        arranger: score.arranger.clone(),
        licence: score.licence.clone(),
        revision: score.revision.clone(),
        scoring: score.scoring.clone(),
        ensemble: score.ensemble.clone(),
        name,
        keys: player.and_then(keys),
        also: player.and_then(also),
        source: score.source.clone(),
        readers: player.map_or(1, |player| {
            player.half_of.as_ref().map_or(player.players, |whole| whole.count)
        }),
    }
}

/// "in D, G": all that the player needs. Of drums each tuning is told: "in D, A; in C, G". Nothing where the name
/// says it, or where it is said behind the name of the instrument that stands in it.
fn keys(player: &Staff) -> Option<String> {
    all_keys(player).filter(|keys| !says(&player.instrument_name, keys) && !key_of_other(player))
}

fn all_keys(player: &Staff) -> Option<String> {
    let names = &player.key_names;
    let drums = !player.instrument.drums.is_empty();
    let first = names.first()?;
    if names.len() == 1 {
        return Some(first.clone());
    }
    if drums {
        return Some(names.join("; "));
    }
    let rest = names[1..].iter().map(|name| name.strip_prefix("in ").unwrap_or(name));
    Some(rest.fold(first.clone(), |all, name| format!("{all}, {name}")))
}

/// Does a name end with a key, as "Clarinet in A" does?
fn says(name: &str, key: &str) -> bool {
    name.strip_suffix(key).is_some_and(|before| before.ends_with(' '))
}

/// Is the part named after this instrument?
fn is_named(player: &Staff, instrument: &Instrument) -> bool {
    [&instrument.name, &instrument.plural].into_iter().any(|name| {
        player.name.strip_prefix(name).is_some_and(|rest| rest.is_empty() || rest.starts_with(' '))
    })
}

/// Does the part say its first instrument behind its name, so that the key of this one follows there: where it
/// is named after another one, or after none of several?
fn key_of_other(player: &Staff) -> bool {
    match player.own_name {
        true => player.instruments.len() > 1,
        false => !player.instruments.iter().take(1).any(|first| is_named(player, first)),
    }
}

/// "also Piccolo, Alto flute"; "begins on Cor anglais in F" where a player has another one in hand at first than
/// the part is named after, "plays Cor anglais in F" where he takes that one never; "Triangle, Cymbals" where it is
/// named after none of them.
fn also(player: &Staff) -> Option<String> {
    let (first, rest) = player.instruments.split_first()?;
    let key = all_keys(player).filter(|_| key_of_other(player));
    let first_name = match key {
        Some(key) if !says(&first.name, &key) => format!("{} {key}", first.name),
        _ => first.name.clone(),
    };
    let names = |all: &[&'static Instrument]| -> Vec<String> {
        all.iter().map(|instrument| instrument.name.clone()).collect()
    };
    if player.own_name && !rest.is_empty() {
        return Some([vec![first_name], names(rest)].concat().join(", "));
    }
    let mut others = rest.to_vec();
    others.retain(|instrument| !is_named(player, instrument));
    let verb = if others.len() < rest.len() { "begins on" } else { "plays" };
    let begins = !player.own_name && !is_named(player, first);
    let begins = begins.then(|| format!("{verb} {first_name}"));
    let also = (!others.is_empty()).then(|| format!("also {}", names(&others).join(", ")));
    let said: Vec<String> = begins.into_iter().chain(also).collect();
    (!said.is_empty()).then(|| said.join(", "))
}

/// The name of a part in a score: with the key that it begins in, unless it says so itself.
pub(super) fn name(staff: &Staff) -> String {
    match &staff.key_name {
        Some(key) if !says(&staff.name, key) => format!("{} {key}", staff.name),
        _ => staff.name.clone(),
    }
}

/// Families stand in a bracket and players of a kind within them in a thin one; two staves of one
/// player in a brace. Harps, keyboards and plucked instruments have no bracket. (Common practice.)
pub(super) fn groups(edition: &Edition) -> Vec<Group> {
    let mut groups = Vec::new();
    let family =
        |part: usize| edition.players[edition.parts[part].players.start].instruments[0].family;
    let kind = |part: usize| {
        let player = &edition.players[edition.parts[part].players.start];
        let instrument = player.instruments[0];
        // A soloist who has a name of his own is none of the section beside him.
        let named =
            [&instrument.name, &instrument.plural].map(|name| player.name.starts_with(name));
        (instrument.id.as_str(), section(&player.id).to_owned(), named.contains(&true))
    };
    let alike = |a: usize, b: usize| kind(a) == kind(b);
    if !matches!(edition.kind, Kind::Part(_)) {
        for family_parts in runs(0..edition.parts.len(), |a, b| family(a) == family(b)) {
            let bracketed = !matches!(
                family(family_parts.start),
                Family::Harp | Family::Keyboard | Family::Plucked
            );
            if bracketed && family_parts.len() > 1 {
                let whole = family_parts.clone();
                groups.push(group(edition, whole.clone(), GroupSign::Bracket));
                for kind_parts in runs(family_parts, alike) {
                    if kind_parts.len() > 1 && kind_parts != whole {
                        groups.push(group(edition, kind_parts, GroupSign::SubBracket));
                    }
                }
            }
        }
    }
    for (index, part) in edition.parts.iter().enumerate() {
        if part.staves.len() > 1 {
            groups.push(group(edition, index..index + 1, GroupSign::Brace));
        }
    }
    groups.sort_by_key(|group| (group.staves.start, std::cmp::Reverse(group.staves.end)));
    groups
}

/// What the first and second violins have in common: the name of the player without its number.
fn section(id: &str) -> &str {
    id.trim_end_matches(|c: char| c.is_ascii_digit()).trim_end_matches(['.', '-'])
}

fn group(edition: &Edition, parts: Range<usize>, sign: GroupSign) -> Group {
    let first = edition.parts[parts.start].staves.start;
    let last = edition.parts[parts.end - 1].staves.end;
    // Singers have their words between the staves.
    let singers = edition.players[edition.parts[parts.start].players.start].instruments[0].family
        == Family::Voice;
    Group { staves: first..last, parts, sign, bar_lines: !singers }
}

/// Ranges of neighbours that belong together.
fn runs(range: Range<usize>, together: impl Fn(usize, usize) -> bool) -> Vec<Range<usize>> {
    let mut runs: Vec<Range<usize>> = Vec::new();
    for index in range {
        match runs.last_mut() {
            Some(run) if together(run.start, index) => run.end = index + 1,
            _ => runs.push(index..index + 1),
        }
    }
    runs
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::arrange::{Arrangement, arrange};
    use crate::diagnostics::Sources;
    use crate::edition::full_score;
    use crate::notate::notate;
    use crate::resolve::{NoFiles, resolve};

    fn arranged(players: &str, lines: &str) -> Arrangement {
        let text = format!(
            "piece \"Ferry\" {{ composer \"House copyist\" }}\nform {{ 1 metre 4/4, key C major\n 4 end }}\n\
             voice tune {{ 1: 1/1 C4 | 2: D4 | 3: E4 | 4: F4 | }}\n\
             ensemble few {{ era 1885\n {players} }}\nscoring few for few {{\n{lines}\n }}\n"
        );
        let mut sources = Sources::new();
        let root = sources.add("ferry", &*text);
        let (piece, _) = resolve(&mut sources, root, &mut NoFiles);
        arrange(&piece, &piece.scorings[0])
    }

    /// Name, keys and other instruments at the head of the first part.
    fn head_of(player: &str, lines: &str) -> (String, Option<String>, Option<String>, String) {
        let score = notate(&arranged(player, lines));
        let head = head(&score, Kind::Part(0));
        (head.name, head.keys, head.also, full_score(&score).parts[0].name.clone())
    }

    /// The names of a score from above, and those within a thin bracket.
    fn names(players: &str, lines: &str) -> (Vec<String>, Vec<String>) {
        let score = notate(&arranged(players, lines));
        let edition = full_score(&score);
        let thin = edition.groups.iter().find(|group| group.sign == GroupSign::SubBracket);
        let all: Vec<String> = edition.parts.iter().map(|part| part.name.clone()).collect();
        let within = thin.map_or(Vec::new(), |group| all[group.parts.clone()].to_vec());
        (all, within)
    }

    #[test]
    fn a_key_that_the_name_says_is_not_said_again() {
        let plays = "clarinet plays tune as melody";
        let (name, keys, _, in_score) = head_of("clarinet in A as \"Clarinet in A\"", plays);
        assert_eq!((&*name, keys, &*in_score), ("Clarinet in A", None, "Clarinet in A"));
        let (_, keys, _, in_score) = head_of("clarinet in A", plays);
        assert_eq!((keys.as_deref(), &*in_score), (Some("in A"), "Clarinet in A"));
    }

    #[test]
    fn a_key_stands_with_the_instrument_that_stands_in_it() {
        let takes = "oboe plays tune as melody\noboe takes cor-anglais bar 1";
        let (name, keys, also, _) = head_of("oboe", &format!("{takes}\noboe takes oboe bar 3"));
        assert_eq!((&*name, keys), ("Oboe", None));
        assert_eq!(also.as_deref(), Some("begins on Cor anglais in F"));
        let (_, keys, also, _) = head_of("oboe", takes);
        assert_eq!((keys, also.as_deref()), (None, Some("plays Cor anglais in F")));
        // What is taken later says its key when it is taken.
        let later = "oboe plays tune as melody\noboe takes cor-anglais bar 3";
        let (_, keys, also, _) = head_of("oboe", later);
        assert_eq!((keys, also.as_deref()), (None, Some("also Cor anglais")));
    }

    #[test]
    fn a_soloist_stands_above_the_sections_of_his_instrument_and_outside_their_bracket() {
        let names = |third: &str| {
            names(
                &format!("flute\n violin-1 8 players\n violin-2 6 players\n {third}\n cello"),
                "violin-1, violin-2, violin-3, flute, cello play tune as melody",
            )
        };
        let (all, thin) = names("violin-3 as \"Solo violin\"");
        assert_eq!(all[1..4], ["Solo violin", "Violins I", "Violins II"]);
        assert_eq!(thin, ["Violins I", "Violins II"]);
        // A single player without a name of his own is a section of one.
        let (all, thin) = names("violin-3 1 player");
        assert_eq!(all[1..4], thin);
        assert!(all[1].starts_with("Violins I") && all[3].starts_with("Violin"), "{all:?}");
    }

    #[test]
    fn a_keyboard_stands_at_the_foot_of_chamber_music_and_above_the_strings_of_an_orchestra() {
        let names = |violins: &str| {
            let players = format!("piano\n {violins}\n cello");
            names(&players, "piano, violin-1, cello play tune as melody").0
        };
        assert_eq!(names("violin-1 1 player")[2], "Piano");
        assert_eq!(names("violin-1 8 players")[0], "Piano");
    }
}

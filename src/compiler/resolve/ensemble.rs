//! Ensembles: who plays, with which instrument, in which crook.

mod crooks;
mod drums;

use std::borrow::Borrow;
use std::collections::{HashMap, HashSet};
use std::ops::RangeInclusive;
use std::sync::Arc;

pub(super) use crooks::{crook, key, needs_key};
pub(super) use drums::tuned_notes;

use super::gather::{gather, places};
use super::piece::{Ensemble, HALVES, Player, SetLimit, WholeSection};
use super::{Resolver, distinct, lost, unknown};
use crate::diagnostics::{Diagnostic, Span, nearest};
use crate::instruments::{self, Family, Instrument, catalogue};
use crate::limits;
use crate::narrow::Narrow;
use crate::syntax::{Declaration, EnsembleLine, EnsembleTree, PlayersTree, Tree, Word};

pub(super) fn ensembles(cx: &mut Resolver, tree: &Tree) -> Vec<Arc<Ensemble>> {
    let trees: Vec<&EnsembleTree> = tree
        .declarations
        .iter()
        .filter_map(|declaration| match &**declaration {
            Declaration::Ensemble(ensemble) => Some(ensemble),
            _ => None,
        })
        .collect();
    let names: Vec<(&str, Span)> =
        trees.iter().map(|t| (t.name.value.as_str(), t.name.span)).collect();
    distinct(cx, &names, "ensemble");
    for tree in &trees {
        check_lines(cx, tree);
    }
    let places = places(&trees);
    trees.iter().map(|tree| Arc::new(ensemble(cx, &trees, &places, tree))).collect()
}

/// What is wrong with the lines of one ensemble by themselves; told once, however many ensembles
/// extend it.
fn check_lines(cx: &mut Resolver, tree: &EnsembleTree) {
    let mut eras = Vec::new();
    let mut seen: HashMap<&str, &Word> = HashMap::new();
    let mut groups: HashMap<&str, &Word> = HashMap::new();
    for line in &tree.lines {
        match line {
            EnsembleLine::Era(year) => {
                eras.push(year.span);
                if !YEARS.contains(&year.value.narrow()) {
                    cx.push(
                        Diagnostic::error(
                            "names/era",
                            year.span,
                            format!("The year {} is outside 1600 to 2100.", year.value),
                        )
                        .with_help("Write a year from 1600 to 2100."),
                    );
                }
            }
            EnsembleLine::Players(players) => {
                let first = *seen.entry(&players.name.value).or_insert(&players.name);
                if first.span != players.name.span {
                    cx.push(
                        Diagnostic::error(
                            "names/twice",
                            players.name.span,
                            format!("This ensemble names `{}` twice.", players.name.value),
                        )
                        .with_label(first.span, "the first time is here")
                        .with_help("Give the number on one line: `oboe 2`."),
                    );
                }
            }
            EnsembleLine::Group(name, _) => {
                let first = *groups.entry(&name.value).or_insert(name);
                if first.span != name.span {
                    cx.push(
                        Diagnostic::error(
                            "names/twice",
                            name.span,
                            format!("This ensemble has two groups called `{}`.", name.value),
                        )
                        .with_label(first.span, "the first is here")
                        .with_help("Name all its players on one line, or give it another name."),
                    );
                }
            }
            EnsembleLine::Without(_) | EnsembleLine::Limits(_) => {}
            EnsembleLine::Budget(items) => {
                for (_, percent) in items.iter().filter(|(_, percent)| percent.value > 100) {
                    cx.push(
                        Diagnostic::error("names/budget", percent.span, "A budget is at most 100%.")
                            .with_help("Write in how many bars of a hundred they may sound: `budget cymbals 10%`."),
                    );
                }
            }
        }
    }
    if let [first, second, ..] = eras[..] {
        cx.push(super::twice("era", second, first));
    }
}

/// The years that an ensemble may be of.
const YEARS: RangeInclusive<i32> = 1600..=2100;

/// With so many names that no line declares the names after them are compared. Our guess: who has
/// more has lost more than a line.
const COMPARED: usize = 100;

fn ensemble<'t>(
    cx: &mut Resolver,
    trees: &[&'t EnsembleTree],
    places: &HashMap<&'t str, usize>,
    tree: &'t EnsembleTree,
) -> Ensemble {
    let gathered = gather(cx, trees, places, tree);
    let mut adrift = gathered.adrift;
    let mut unread = gathered.unread;
    let mut unsure = Vec::new();
    let era = gathered.era.unwrap_or_else(|| {
        if !adrift && unread.is_empty() {
            cx.push(no_era(tree));
        }
        adrift = true;
        1800
    });
    // Of another year nothing of compass and customs holds.
    adrift |= !YEARS.contains(&era) || unread.iter().any(|word| says_era(word));
    // What an extended ensemble says is told where that ensemble itself is resolved.
    let own = |span: Span| {
        tree.lines.iter().any(|line| matches!(line, EnsembleLine::Players(p) if p.span == span))
    };
    let mut players = Vec::new();
    for line in &gathered.players {
        let mut silent = Resolver { instruments: cx.instruments.clone(), ..Resolver::default() };
        let told = if own(line.span) { &mut *cx } else { &mut silent };
        let before = told.errors;
        let made = line_players(told, line);
        if told.errors_since(before) {
            let list = if made.is_empty() { &mut unread } else { &mut unsure };
            list.push(line.name.value.clone());
        }
        players.extend(made);
        if players.len() > limits::PARTS {
            let message = format!(
                "The ensemble `{}` has more than {} parts.",
                tree.name.value,
                limits::PARTS
            );
            cx.push(
                Diagnostic::error("names/too-many", tree.name.span, message)
                    .with_help("Let players share a part: `violin-1 8 players` are one."),
            );
            players.truncate(limits::PARTS);
            adrift = true;
            break;
        }
    }
    // Score order, first violins before second ones; lines that are alike in this stay as written.
    let places: HashMap<Span, _> =
        players.iter().map(|player| (player.span, score_place(player, &players))).collect();
    players.sort_by_key(|player| places.get(&player.span).copied());
    // A line that could not be read may have said otherwise of players who were taken over: those
    // whom it names, and those whose name it misspells, if that is what is nearest.
    let lines = line_names(&players);
    let others = || catalogue().iter().map(|instrument| instrument.id.as_str());
    let meant: HashSet<&str> = unread
        .iter()
        .take(COMPARED)
        .filter_map(|word| nearest(word, lines.iter().copied().chain(others())))
        .collect();
    for name in lines {
        let taken_over = || gathered.players.iter().any(|l| l.name.value == name && !own(l.span));
        let otherwise =
            unread.iter().any(|word| word == name) || (meant.contains(name) && taken_over());
        if otherwise && !unsure.iter().any(|line| line == name) {
            unsure.push(name.to_owned());
        }
    }
    let players: Vec<Arc<Player>> = players.into_iter().map(Arc::new).collect();
    let mut groups = Vec::new();
    let own_groups: HashSet<Span> = tree
        .lines
        .iter()
        .filter_map(|line| match line {
            EnsembleLine::Group(name, _) => Some(name.span),
            _ => None,
        })
        .collect();
    let mut too_many = false;
    for (name, members) in &gathered.groups {
        let mut indices = Vec::new();
        for (member, octaves) in members {
            let found = named(&players, &member.value);
            if found.is_empty() {
                if own_groups.contains(&name.span)
                    && !lost::may_have(&member.value, &unread, adrift)
                {
                    let known = line_names(&players);
                    cx.push_unknown(member, &known, "player of this ensemble");
                }
                // What is named later may be one of these, as far as they are compared.
                match unread.len() < COMPARED {
                    true => unread.push(member.value.clone()),
                    false => too_many = true,
                }
            }
            indices.extend(found.into_iter().map(|player| (player, *octaves)));
        }
        indices.sort_unstable();
        indices.dedup_by_key(|(player, _)| *player);
        groups.push((name.value.clone(), indices));
    }
    adrift |= too_many;
    let limits = gathered.limits.iter().map(|tree| SetLimit {
        rule: tree.rule.value.clone(),
        rule_span: tree.rule.span,
        value: tree.value.value,
        unit: tree.unit.as_ref().map(|unit| unit.value.clone()).unwrap_or_default(),
        value_span: tree.unit.as_ref().map_or(tree.value.span, |u| tree.value.span.to(u.span)),
        reason: tree.reason.value.clone(),
    });
    let limits = limits.collect();
    let mut budgets = Vec::new();
    for (name, percent) in &gathered.budgets {
        let own = tree.lines.iter().any(|line| {
            matches!(line, EnsembleLine::Budget(items) if items.iter().any(|(n, _)| n.span == name.span))
        });
        let here = players.iter().any(|player| player.line_name == name.value);
        if own && !here && !lost::may_have(&name.value, &unread, adrift) {
            let known = line_names(&players);
            cx.push(unknown(name, &known, "player of this ensemble", &name.value));
        }
        budgets.push((name.value.clone(), *percent));
    }
    let (name, span) = (tree.name.value.clone(), tree.name.span);
    let without = gathered.without;
    Ensemble { name, span, era, players, without, budgets, limits, groups, unread, unsure, adrift }
}

/// Where a player stands in a score: keyboards of chamber music at the foot (common practice), else by his instrument,
/// soloists above the sections of theirs (common practice), and by the number of his section.
pub(super) fn score_place<P: Borrow<Player>>(
    player: &Player,
    among: &[P],
) -> (bool, u16, bool, u8) {
    let section = player.line_name.rsplit('-').next().and_then(|number| number.parse().ok());
    let soloist = is_soloist(player, among);
    let foot = player.instrument.family == Family::Keyboard && are_few(among);
    (foot, player.instrument.score_order, !soloist, section.unwrap_or(0))
}

/// Players of chamber music: no more than nine beside a keyboard. Our heuristic.
const FEW: usize = 10;

/// Do players make chamber music, with nobody else at their part?
fn are_few<P: Borrow<Player>>(players: &[P]) -> bool {
    players.len() <= FEW && players.iter().all(|player| player.borrow().count == 1)
}

/// Is a player one who has a name of his own beside sections of the same instrument: `violin-3 as "Solo violin"`?
/// Our heuristic.
fn is_soloist<P: Borrow<Player>>(player: &Player, among: &[P]) -> bool {
    let mut sections = among
        .iter()
        .map(Borrow::borrow)
        .filter(|other| other.count > 1 && std::ptr::eq(other.instrument, player.instrument));
    let named = |name: &str| {
        let numbers = |rest: &str| rest.chars().all(|c| " IV".contains(c) || c.is_ascii_digit());
        player.name.strip_prefix(name).is_some_and(numbers)
    };
    let instrument = player.instrument;
    player.count == 1
        && !(named(&instrument.name) || named(&instrument.plural))
        && sections.next().is_some()
}

/// Is that word of a line that could not be read one of a line that gives the era?
fn says_era(word: &str) -> bool {
    word == "era" || word.parse().is_ok_and(|year| YEARS.contains(&year))
}

fn no_era(tree: &EnsembleTree) -> Diagnostic {
    Diagnostic::error(
        "names/era",
        tree.name.span,
        format!("The ensemble `{}` has no era.", tree.name.value),
    )
    .with_help("Write a year, for example `era 1770`: compass and customs depend on it.")
}

/// Indices of the players of that id or ensemble line.
fn named(players: &[Arc<Player>], name: &str) -> Vec<usize> {
    (0..players.len()).filter(|&i| players[i].id == name || players[i].line_name == name).collect()
}

fn line_names<P: Borrow<Player>>(players: &[P]) -> Vec<&str> {
    let mut names: Vec<&str> =
        players.iter().map(|player| player.borrow().line_name.as_str()).collect();
    names.dedup();
    names
}

impl Ensemble {
    /// Indices of the players that a name of a scoring line means: a player, an ensemble line or
    /// a group; empty if the ensemble knows no such name.
    #[must_use]
    pub fn players_named(&self, name: &str) -> Vec<usize> {
        let found = named(&self.players, name);
        if !found.is_empty() {
            return found;
        }
        let group = self.groups.iter().find(|(group, _)| group == name);
        group.map_or(Vec::new(), |(_, members)| members.iter().map(|(player, _)| *player).collect())
    }

    /// Octaves up by which a player plays what a line gives to `name`: 0 unless that is a group
    /// in which he stands in another octave.
    #[must_use]
    pub fn octaves_in(&self, name: &str, player: usize) -> i8 {
        let group = self.groups.iter().find(|(group, _)| group == name);
        let member = group.and_then(|(_, members)| members.iter().find(|(m, _)| *m == player));
        member.map_or(0, |(_, octaves)| *octaves)
    }

    /// All names that a scoring line may use: ensemble lines, groups and single players.
    #[must_use]
    pub fn names(&self) -> Vec<&str> {
        let mut names = line_names(&self.players);
        names.extend(self.groups.iter().map(|(name, _)| name.as_str()));
        names.extend(self.players.iter().map(|player| player.id.as_str()));
        names.dedup();
        names
    }
}

/// The players that one ensemble line makes.
fn line_players(cx: &mut Resolver, line: &PlayersTree) -> Vec<Player> {
    let Some((instrument, section_number)) = instrument_of(cx, line) else { return Vec::new() };
    let count = line.count.as_ref().map_or(1, |count| count.value);
    let most = if line.section { limits::SECTION } else { limits::PLAYERS };
    if count == 0 || count > most {
        let span = line.count.as_ref().map_or(line.span, |count| count.span);
        cx.push(
            Diagnostic::error("names/count", span, format!("{count} players are out of range."))
                .with_help(format!(
                    "Write 1 to {} single players, or up to {} `players` of one part.",
                    limits::PLAYERS,
                    limits::SECTION
                )),
        );
        return Vec::new();
    }
    let divisi = line.divisi.filter(|span| {
        let can = line.section && count > 1;
        if !can {
            cx.push(one_cannot_divide(line, *span));
        }
        can
    });
    let parts = match (divisi, line.section) {
        (Some(_), _) => 2,
        (None, true) => 1,
        (None, false) => count,
    };
    let tunings = crooks::tunings(cx, line, instrument, parts);
    let drums = drums::drums(cx, line, instrument);
    let section = line.section || (line.count.is_none() && section_number > 0);
    // One who is called a section stands alone under its number: "Violoncello I".
    let several = section && !(line.section && count == 1);
    (1..=parts)
        .map(|number| {
            let number = if parts == 1 { 0 } else { number.narrow::<u8>() };
            let suffix = if number == 0 { String::new() } else { format!(".{number}") };
            let half = divisi.and(usize::from(number).checked_sub(1));
            let printed = if half.is_some() { 0 } else { number };
            let (mut name, mut abbreviation) =
                paper_names(line, instrument, several, section_number, printed);
            let half_of =
                half.and_then(|half| Some((half, HALVES.get(half)?))).map(|(half, word)| {
                    let (whole, short) = (name.clone(), abbreviation.clone());
                    name = format!("{whole}, {word}");
                    abbreviation = format!("{short} {}", half + 1);
                    Arc::new(WholeSection {
                        name: whole,
                        abbreviation: short,
                        count: count.narrow(),
                    })
                });
            // Of an odd number the upper half has one more.
            let people = match half {
                Some(0) => count.div_ceil(2),
                Some(_) => count / 2,
                None if line.section => count,
                None => 1,
            };
            Player {
                id: format!("{}{suffix}", line.name.value),
                line_name: line.name.value.clone(),
                name,
                abbreviation,
                instrument,
                number,
                count: people.narrow::<u16>(),
                section,
                half_of,
                tuning: tunings.get(usize::from(number.max(1)) - 1).copied().flatten(),
                without_signature: line.without_signature,
                drums: drums.clone(),
                span: line.span,
            }
        })
        .collect()
}

fn one_cannot_divide(line: &PlayersTree, span: Span) -> Diagnostic {
    let name = &line.name.value;
    let help = if line.count.as_ref().is_some_and(|count| count.value > 1) {
        format!(
            "Players with a part each have numbers already: `{name}.1`, `{name}.2`. A section is `{name} 6 players divisi`."
        )
    } else {
        format!("Say how many share the part: `{name} 6 players divisi`.")
    };
    Diagnostic::error("names/count", span, "Only a section of two players and more divides.")
        .with_help(help)
}

/// The instrument of an ensemble line, and the number of the section (`violin-2`: 2).
fn instrument_of(cx: &mut Resolver, line: &PlayersTree) -> Option<(&'static Instrument, u8)> {
    let word = line.name.value.as_str();
    // Nothing but the number of a section may follow a name: `violin-2`.
    let section = |digits: &str| digits.parse::<u8>().ok().filter(|number| *number > 0);
    let numbered = word.rsplit_once('-').and_then(|(base, digits)| {
        Some((base, section(digits).filter(|_| cx.instrument(base).is_some())?))
    });
    let (base, section) = match numbered {
        Some(numbered) if cx.instrument(word).is_none() => numbered,
        _ => (word, 0),
    };
    let base = Word { value: base.to_string(), span: line.name.span };
    let year = line.count.as_ref().is_some_and(|count| count.value >= 1600);
    if year && cx.instrument(&base.value).is_none() {
        cx.push(unknown(&base, &["era"], "instrument", word));
        return None;
    }
    Some((instrument_named(cx, &base, !line.crooks.is_empty())?, section))
}

/// The instrument of that word, or a finding. A horn or trumpet with a crook is the one without valves;
/// with `in`, the valved one.
pub(super) fn instrument_named(
    cx: &mut Resolver,
    word: &Word,
    crooked: bool,
) -> Option<&'static Instrument> {
    let plain = cx.instrument(&word.value);
    let natural = plain.filter(|_| crooked).and_then(Instrument::without_valves);
    let found = natural.or(plain);
    let lost = cx.instruments.is_lost(&word.value) || cx.told.may_be_lost("instrument");
    if found.is_none() && !lost {
        let own = cx.instruments.known.iter().copied();
        let known: Vec<&str> = own.chain(catalogue()).map(|i| i.id.as_str()).collect();
        let finding = unknown(word, &known, "instrument", &word.value);
        cx.push(match instruments::meant(&word.value) {
            Some(meant) => Diagnostic { fixes: Vec::new(), ..finding }
                .with_help(format!("Ripieno calls it `{meant}`."))
                .with_fix(format!("write `{meant}`"), word.span, meant, false),
            None => finding,
        });
    }
    found
}

/// Name and abbreviation as they are printed: "Oboe 2", of `several` "Violins I", "Violas".
fn paper_names(
    line: &PlayersTree,
    instrument: &Instrument,
    several: bool,
    section_number: u8,
    number: u8,
) -> (String, String) {
    let roman =
        ["", " I", " II", " III", " IV"].get(usize::from(section_number)).copied().unwrap_or("");
    let number = if number == 0 { String::new() } else { format!(" {number}") };
    if let Some(name) = &line.paper_name {
        return (format!("{}{number}", name.value), format!("{}{number}", name.value));
    }
    let name = if several && instrument.plural != instrument.name {
        &instrument.plural
    } else {
        &instrument.name
    };
    (format!("{name}{roman}{number}"), format!("{}{roman}{number}", instrument.abbreviation))
}

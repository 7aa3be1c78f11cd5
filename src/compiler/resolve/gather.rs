//! An ensemble's lines with those of the ensembles that it extends.

use std::collections::{HashMap, HashSet};

use super::{Resolver, lost};
use crate::diagnostics::{Diagnostic, nearest};
use crate::limits;
use crate::syntax::{EnsembleLine, EnsembleTree, LimitTree, PlayersTree, Word};

/// The lines of an ensemble with those that it extends worked in.
#[derive(Default)]
pub(super) struct Gathered<'t> {
    pub(super) era: Option<i32>,
    pub(super) players: Vec<&'t PlayersTree>,
    pub(super) groups: Vec<(&'t Word, Vec<(&'t Word, i8)>)>,
    /// Names that groups have or had.
    known_groups: HashSet<&'t str>,
    pub(super) without: Vec<String>,
    pub(super) budgets: Vec<(&'t Word, u32)>,
    pub(super) limits: Vec<&'t LimitTree>,
    pub(super) unread: Vec<String>,
    pub(super) adrift: bool,
}

impl Gathered<'_> {
    /// Lets players of the extended ensemble stay at home.
    fn leave(&mut self, cx: &mut Resolver, name: &Word, outermost: bool) {
        if self.players.iter().all(|line| line.name.value != name.value) {
            if outermost && !lost::may_have(&name.value, &self.unread, self.adrift) {
                let known: Vec<&str> = self.players.iter().map(|p| p.name.value.as_str()).collect();
                cx.push_unknown(name, &known, "player of the extended ensemble");
            }
            return;
        }
        self.players.retain(|line| line.name.value != name.value);
        for (_, members) in &mut self.groups {
            members.retain(|(member, _)| member.value != name.value);
        }
        self.without.push(name.value.clone());
    }
}

/// Where in a row of ensembles the first of each name stands.
pub(super) fn places<'t>(trees: &[&'t EnsembleTree]) -> HashMap<&'t str, usize> {
    trees.iter().enumerate().rev().map(|(place, tree)| (&*tree.name.value, place)).collect()
}

/// The lines of an ensemble and of all that it builds on, however many they are.
pub(super) fn gather<'t>(
    cx: &mut Resolver,
    trees: &[&'t EnsembleTree],
    places: &HashMap<&'t str, usize>,
    tree: &'t EnsembleTree,
) -> Gathered<'t> {
    let mut gathered = Gathered::default();
    let mut chain = vec![tree];
    let mut open = HashSet::from([tree.name.value.as_str()]);
    while let Some(extends) = chain.last().and_then(|last| last.extends.as_ref()) {
        // Only the first ensemble of the circle speaks; the others in it would say the same.
        if extends.value == tree.name.value {
            let place = |tree: &EnsembleTree| places.get(tree.name.value.as_str());
            if chain.iter().all(|other| place(tree) <= place(other)) {
                cx.push(extends_itself(extends));
            }
            break;
        }
        match places.get(extends.value.as_str()) {
            // Of a chain that is too deep, the link that makes it so is told; those that build on
            // it are in doubt.
            Some(_) if chain.len() > limits::DEPTH + 1 => {
                gathered.adrift = true;
                chain.truncate(1);
                break;
            }
            Some(&base) if open.insert(&extends.value) => chain.push(trees[base]),
            Some(_) => break,
            None => {
                gathered.adrift = true;
                if chain.len() == 1 {
                    let known: Vec<&str> = trees.iter().map(|t| t.name.value.as_str()).collect();
                    cx.push_unknown(extends, &known, "ensemble");
                }
                break;
            }
        }
    }
    if chain.len() > limits::DEPTH {
        if chain.len() == limits::DEPTH + 1
            && let Some(extends) = &tree.extends
        {
            let message = format!("Ensembles extend one another more than {} deep.", limits::DEPTH);
            cx.push(
                Diagnostic::error("names/too-many", extends.span, message)
                    .with_help("Let this ensemble extend one nearer to the first."),
            );
        }
        gathered.adrift = true;
        chain.truncate(1);
    }
    for (place, tree) in chain.iter().enumerate().rev() {
        work_in(cx, &mut gathered, tree, place == 0);
    }
    gathered
}

/// Works the lines of an ensemble into those that it extends.
fn work_in<'t>(
    cx: &mut Resolver,
    gathered: &mut Gathered<'t>,
    tree: &'t EnsembleTree,
    outermost: bool,
) {
    gathered.unread.extend(tree.broken.iter().flat_map(lost::words));
    for line in &tree.lines {
        match line {
            EnsembleLine::Era(year) => gathered.era = i32::try_from(year.value).ok(),
            EnsembleLine::Group(name, members) => {
                if !gathered.known_groups.insert(&name.value) {
                    gathered.groups.retain(|(other, _)| other.value != name.value);
                }
                let members = members.iter().map(|m| (&m.name, m.octaves)).collect();
                gathered.groups.push((name, members));
            }
            EnsembleLine::Budget(items) => {
                for (name, percent) in items {
                    gathered.budgets.retain(|(other, _)| other.value != name.value);
                    gathered.budgets.push((name, percent.value.min(100)));
                }
            }
            EnsembleLine::Limits(limit) => {
                gathered.limits.retain(|other| other.rule.value != limit.rule.value);
                gathered.limits.push(limit);
            }
            EnsembleLine::Without(names) => {
                for name in names {
                    gathered.leave(cx, name, outermost);
                }
            }
            EnsembleLine::Players(players) => {
                if !cx.is_instrument(&players.name.value) {
                    gathered.unread.push(players.name.value.clone());
                }
                gathered.without.retain(|name| *name != players.name.value);
                let same = gathered.players.iter_mut().find(|p| p.name.value == players.name.value);
                match same {
                    Some(place) => *place = players,
                    None => gathered.players.push(players),
                }
                for joined in &players.joins {
                    let (group, octaves) = (&joined.name, joined.octaves);
                    match gathered.groups.iter_mut().find(|(name, _)| name.value == group.value) {
                        Some((_, members)) => {
                            members.retain(|(member, _)| member.value != players.name.value);
                            members.push((&players.name, octaves));
                        }
                        None => {
                            let known = gathered.groups.iter().map(|(name, _)| &name.value[..]);
                            let known: Vec<&str> = known.collect();
                            if outermost && nearest(&group.value, known.clone()).is_some() {
                                cx.push_unknown(group, &known, "group");
                                gathered.unread.push(group.value.clone());
                            }
                            gathered.known_groups.insert(&group.value);
                            gathered.groups.push((group, vec![(&players.name, octaves)]));
                        }
                    }
                }
            }
        }
    }
}

fn extends_itself(extends: &Word) -> Diagnostic {
    Diagnostic::error("names/cycle", extends.span, format!("`{}` extends itself.", extends.value))
        .with_help("The smaller ensemble must not extend the larger.")
}

//! An ensemble's lines with those of the ensembles that it extends.

use super::{Context, lost};
use crate::diagnostics::{Diagnostic, nearest};
use crate::syntax::{EnsembleLine, EnsembleTree, PlayersTree, Word};

/// The lines of an ensemble with those that it extends worked in.
#[derive(Default)]
pub(super) struct Gathered<'t> {
    pub(super) era: Option<i32>,
    pub(super) players: Vec<&'t PlayersTree>,
    pub(super) groups: Vec<(&'t Word, Vec<(&'t Word, i8)>)>,
    pub(super) without: Vec<String>,
    pub(super) budgets: Vec<(&'t Word, u32)>,
    pub(super) unread: Vec<String>,
    pub(super) adrift: bool,
}

impl Gathered<'_> {
    /// Lets players of the extended ensemble stay at home.
    fn leave(&mut self, cx: &mut Context, name: &Word, outermost: bool) {
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

pub(super) fn gather<'t>(
    cx: &mut Context,
    trees: &[&'t EnsembleTree],
    tree: &'t EnsembleTree,
    open: &mut Vec<&'t str>,
) -> Gathered<'t> {
    let mut gathered = Gathered::default();
    open.push(&tree.name.value);
    if let Some(extends) = &tree.extends {
        let base = trees.iter().find(|other| other.name.value == extends.value);
        match base {
            // Only the first ensemble of the circle speaks; the others in it would say the same.
            _ if open[0] == extends.value => {
                let place = |name: &str| trees.iter().position(|t| t.name.value == name);
                if open.iter().all(|other| place(open[0]) <= place(other)) {
                    cx.push(extends_itself(extends));
                }
            }
            _ if open.contains(&extends.value.as_str()) => {}
            Some(base) => gathered = gather(cx, trees, base, open),
            None => {
                gathered.adrift = true;
                if open.len() == 1 {
                    let known: Vec<&str> = trees.iter().map(|t| t.name.value.as_str()).collect();
                    cx.push_unknown(extends, &known, "ensemble");
                }
            }
        }
    }
    open.pop();
    gathered.unread.extend(tree.broken.iter().flat_map(lost::words));
    for line in &tree.lines {
        match line {
            EnsembleLine::Era(year) => gathered.era = i32::try_from(year.value).ok(),
            EnsembleLine::Group(name, members) => {
                gathered.groups.retain(|(other, _)| other.value != name.value);
                let members = members.iter().map(|m| (&m.name, m.octaves)).collect();
                gathered.groups.push((name, members));
            }
            EnsembleLine::Budget(items) => {
                for (name, percent) in items {
                    gathered.budgets.retain(|(other, _)| other.value != name.value);
                    gathered.budgets.push((name, percent.value.min(100)));
                }
            }
            EnsembleLine::Without(names) => {
                for name in names {
                    gathered.leave(cx, name, open.is_empty());
                }
            }
            EnsembleLine::Players(players) => {
                if !lost::is_instrument(&players.name.value) {
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
                            if open.is_empty() && nearest(&group.value, known.clone()).is_some() {
                                cx.push_unknown(group, &known, "group");
                                gathered.unread.push(group.value.clone());
                            }
                            gathered.groups.push((group, vec![(&players.name, octaves)]));
                        }
                    }
                }
            }
        }
    }
    gathered
}

fn extends_itself(extends: &Word) -> Diagnostic {
    Diagnostic::error("names/cycle", extends.span, format!("`{}` extends itself.", extends.value))
        .with_help("The smaller ensemble must not extend the larger.")
}

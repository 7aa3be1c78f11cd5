//! The names of a source: where each is declared and where it is used.

use std::ops::Range;

use super::workspace::{At, TextPlace};
use crate::diagnostics::{FileId, Span};
use crate::session::Session;
use crate::syntax::{
    Declaration, EnsembleLine, LayoutItem, LayoutTree, PagesTree, ScoringTree, VerbTree, Word,
    is_name,
};

/// What a name stands for.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Kind {
    /// A voice.
    Voice,
    /// An ensemble.
    Ensemble,
    /// A scoring.
    Scoring,
    /// Players of an ensemble by the name of their line, which is that of an instrument.
    Players,
    /// A group of players.
    Group,
    /// Players or a group: a use says only the name.
    Part,
    /// An instrument: one that a source declares, or that a player takes.
    Instrument,
    /// A rule or a family of rules.
    Rule,
    /// A file.
    File,
}

/// A name where it stands.
#[derive(Clone, PartialEq, Debug)]
pub struct Name {
    /// What it stands for.
    pub kind: Kind,
    /// The name; of one player (`oboe.1`) that of his line.
    pub text: String,
    /// The player among those of his line, from 1, where one is named.
    pub number: Option<u8>,
    /// Where it stands, without the number of a player.
    pub place: TextPlace,
    /// Is it declared here?
    pub declares: bool,
    /// The ensemble whose players are meant.
    pub ensemble: Option<String>,
}

struct Collector<'s> {
    session: &'s Session,
    names: Vec<Name>,
}

impl Collector<'_> {
    fn range(&self, span: Span) -> Range<usize> {
        self.session.sources().range(span)
    }

    fn push(&mut self, kind: Kind, word: &Word, declares: bool, ensemble: Option<&str>) {
        let mut range = self.range(word.span);
        let mut text = word.value.as_str();
        let mut number = None;
        if let (Kind::Part, Some((line, player))) = (kind, text.split_once('.')) {
            range.end = range.start + line.len();
            (text, number) = (line, player.parse().ok());
        }
        let place = TextPlace { file: word.span.file, range };
        let ensemble = ensemble.map(String::from);
        self.names.push(Name { kind, text: text.to_string(), number, place, declares, ensemble });
    }

    fn scoring(&mut self, scoring: &ScoringTree) {
        let ensemble = Some(scoring.ensemble.value.as_str());
        self.push(Kind::Scoring, &scoring.name, true, None);
        self.push(Kind::Ensemble, &scoring.ensemble, false, None);
        for kept in &scoring.keeps {
            self.push(Kind::Scoring, kept, false, None);
        }
        for line in &scoring.lines {
            for who in &line.who {
                self.push(Kind::Part, who, false, ensemble);
            }
            match &line.verb {
                VerbTree::Plays(voice, _)
                | VerbTree::Signals(voice)
                | VerbTree::Realises(voice) => {
                    self.push(Kind::Voice, voice, false, None);
                }
                VerbTree::Doubles(part, _) => self.push(Kind::Part, part, false, ensemble),
                VerbTree::Takes { instrument: Some(instrument), .. } => {
                    self.push(Kind::Instrument, instrument, false, ensemble);
                }
                _ => {}
            }
        }
        for allow in &scoring.allows {
            self.push(Kind::Rule, &allow.rule, false, None);
            for who in &allow.who {
                self.push(Kind::Part, who, false, ensemble);
            }
        }
    }

    /// A layout; the ensemble is that of its scoring.
    fn layout(&mut self, layout: &LayoutTree, ensemble: Option<&str>) {
        if let Some(scoring) = &layout.scoring {
            self.push(Kind::Scoring, scoring, false, None);
        }
        for line in &layout.lines {
            if let PagesTree::Players(players) = &line.pages {
                for player in players {
                    self.push(Kind::Part, player, false, ensemble);
                }
            }
            match &line.what {
                LayoutItem::HideEmpty(players) => {
                    for player in players {
                        self.push(Kind::Part, player, false, ensemble);
                    }
                }
                LayoutItem::Nudge(nudge) => {
                    if let Some(player) = &nudge.of {
                        self.push(Kind::Part, player, false, ensemble);
                    }
                }
                _ => {}
            }
        }
    }

    fn ensemble_line(&mut self, line: &EnsembleLine, owner: &str) {
        let owner = Some(owner);
        match line {
            EnsembleLine::Era(_) => {}
            EnsembleLine::Limits(limit) => self.push(Kind::Rule, &limit.rule, false, owner),
            EnsembleLine::Group(name, members) => {
                self.push(Kind::Group, name, true, owner);
                for member in members {
                    self.push(Kind::Part, &member.name, false, owner);
                }
            }
            EnsembleLine::Budget(items) => {
                for (name, _) in items {
                    self.push(Kind::Part, name, false, owner);
                }
            }
            EnsembleLine::Without(names) => {
                for name in names {
                    self.push(Kind::Part, name, false, owner);
                }
            }
            EnsembleLine::Players(players) => {
                self.push(Kind::Players, &players.name, true, owner);
                for group in &players.joins {
                    self.push(Kind::Part, &group.name, false, owner);
                }
            }
        }
    }
}

/// The ensemble of a scoring that stands in the same file.
fn ensemble_of(session: &Session, file: FileId, scoring: &str) -> Option<String> {
    session.document(file).blocks().iter().find_map(|block| match &*block.declaration {
        Declaration::Scoring(tree) if tree.name.value == scoring => {
            Some(tree.ensemble.value.clone())
        }
        _ => None,
    })
}

/// All names of a file, declaration by declaration.
#[must_use]
pub fn names(session: &Session, file: FileId) -> Vec<Name> {
    let mut collector = Collector { session, names: Vec::new() };
    for block in session.document(file).blocks() {
        match &*block.declaration {
            Declaration::Use(path) => collector.push(Kind::File, path, false, None),
            Declaration::Piece(piece) => {
                for movement in &piece.movements {
                    collector.push(Kind::File, &movement.path, false, None);
                }
            }
            Declaration::Voice(voice) => collector.push(Kind::Voice, &voice.name, true, None),
            Declaration::Lyrics(lyrics) => collector.push(Kind::Voice, &lyrics.voice, false, None),
            Declaration::Instrument(instrument) => {
                collector.push(Kind::Instrument, &instrument.name, true, None);
                collector.push(Kind::Instrument, &instrument.like, false, None);
            }
            Declaration::Ensemble(ensemble) => {
                collector.push(Kind::Ensemble, &ensemble.name, true, None);
                if let Some(extends) = &ensemble.extends {
                    collector.push(Kind::Ensemble, extends, false, None);
                }
                for line in &ensemble.lines {
                    collector.ensemble_line(line, &ensemble.name.value);
                }
            }
            Declaration::Scoring(scoring) => collector.scoring(scoring),
            Declaration::Layout(layout) => {
                let scoring = layout.scoring.as_ref().map(|word| word.value.as_str());
                let of = scoring.and_then(|name| ensemble_of(session, file, name));
                collector.layout(layout, of.as_deref());
            }
            _ => {}
        }
    }
    collector.names
}

/// The name that stands at a place, or ends there.
#[must_use]
pub fn name_at(session: &Session, at: At) -> Option<Name> {
    let mut touching: Vec<Name> = names(session, at.file)
        .into_iter()
        .filter(|name| name.place.range.start <= at.offset && at.offset <= name.place.range.end)
        .collect();
    let within = touching.iter().position(|name| at.offset < name.place.range.end);
    (!touching.is_empty()).then(|| touching.swap_remove(within.unwrap_or(0)))
}

/// The file that a path names in another file, if the session has read it.
#[must_use]
pub fn used_file(session: &Session, path: &str, from: FileId) -> Option<FileId> {
    let from = &session.sources().find(from)?.name;
    let mut folders: Vec<&str> = from.split('/').collect();
    folders.pop();
    for part in path.split('/') {
        match part {
            "." | "" => {}
            ".." => {
                folders.pop()?;
            }
            name => folders.push(name),
        }
    }
    session.file(&folders.join("/"))
}

/// An ensemble and those that it extends, itself first, by name, as the files of a root have them.
fn lineage(session: &Session, files: &[FileId], ensemble: &str) -> Vec<String> {
    let mut lineage = vec![ensemble.to_string()];
    let trees: Vec<_> = files.iter().flat_map(|file| session.document(*file).blocks()).collect();
    let extends = |name: &str| {
        trees.iter().find_map(|block| match &*block.declaration {
            Declaration::Ensemble(tree) if tree.name.value == name => {
                tree.extends.as_ref().map(|extends| extends.value.clone())
            }
            _ => None,
        })
    };
    while let Some(next) = lineage.last().and_then(|name| extends(name)) {
        if lineage.contains(&next) {
            break;
        }
        lineage.push(next);
    }
    lineage
}

/// Where a name is declared. Of players and groups that several ensembles of a row declare, that
/// which holds comes first.
pub fn declarations(session: &mut Session, root: FileId, name: &Name) -> Vec<Name> {
    let files = session.files_of(root);
    let all = files.iter().flat_map(|file| names(session, *file)).filter(|name| name.declares);
    match name.kind {
        Kind::Voice | Kind::Ensemble | Kind::Scoring | Kind::Instrument => {
            all.filter(|other| other.kind == name.kind && other.text == name.text).collect()
        }
        Kind::Players | Kind::Group | Kind::Part => {
            let all: Vec<Name> = all
                .filter(|other| matches!(other.kind, Kind::Players | Kind::Group))
                .filter(|other| other.text == name.text)
                .collect();
            let lineage = lineage(session, &files, name.ensemble.as_deref().unwrap_or_default());
            let mut ordered = Vec::new();
            for ensemble in &lineage {
                let own = all.iter().filter(|name| name.ensemble.as_ref() == Some(ensemble));
                ordered.extend(own.cloned());
            }
            ordered
        }
        Kind::Rule | Kind::File => Vec::new(),
    }
}

/// Where what stands at a place is declared: the name, or the beginning of a used file.
pub fn definition(session: &mut Session, at: At) -> Vec<TextPlace> {
    let Some(name) = name_at(session, at) else { return Vec::new() };
    if name.kind == Kind::File {
        let file = used_file(session, &name.text, at.file);
        return file.map(|file| TextPlace { file, range: 0..0 }).into_iter().collect();
    }
    let declared = declarations(session, at.root, &name);
    // Players of an instrument that a source declares lead there from the line that names them.
    if name.kind == Kind::Players {
        let section = |text: &str| {
            let kind = text.trim_end_matches(|c: char| c.is_ascii_digit());
            kind.strip_suffix('-').unwrap_or(text).to_string()
        };
        for text in [name.text.clone(), section(&name.text)] {
            let asked = Name { kind: Kind::Instrument, text, ..name.clone() };
            let own = declarations(session, at.root, &asked);
            if !own.is_empty() {
                return own.into_iter().map(|name| name.place).collect();
            }
        }
    }
    match name.kind {
        // The line that holds is what is meant.
        Kind::Part => declared.into_iter().take(1).map(|name| name.place).collect(),
        _ => declared.into_iter().map(|name| name.place).collect(),
    }
}

/// Do two names mean the same, in files that are read together?
fn same(session: &Session, files: &[FileId], declared: &Name, other: &Name) -> bool {
    if declared.text != other.text {
        return false;
    }
    let part = |kind| matches!(kind, Kind::Players | Kind::Group | Kind::Part);
    if !part(declared.kind) {
        return declared.kind == other.kind;
    }
    let (Some(mine), Some(theirs)) = (&declared.ensemble, &other.ensemble) else { return false };
    // Ensembles of one row have their players and groups in common.
    part(other.kind)
        && (lineage(session, files, theirs).contains(mine)
            || lineage(session, files, mine).contains(theirs))
}

/// All places of what is named at a place, in the pieces of these roots: declarations and uses.
/// `None` where no name stands that is declared somewhere.
pub fn references(session: &mut Session, roots: &[FileId], at: At) -> Option<Vec<Name>> {
    let name = name_at(session, at)?;
    let declared = declarations(session, at.root, &name);
    let homes: Vec<FileId> = declared.iter().map(|name| name.place.file).collect();
    let first = declared.first()?.clone();
    let mut found: Vec<Name> = Vec::new();
    let mut roots = roots.to_vec();
    roots.push(at.root);
    roots.sort_unstable();
    roots.dedup();
    for root in roots {
        let files = session.files_of(root);
        if !files.iter().any(|file| homes.contains(file)) {
            continue;
        }
        for file in &files {
            for other in names(session, *file) {
                if !found.iter().any(|known| known.place == other.place)
                    && same(session, &files, &first, &other)
                {
                    found.push(other);
                }
            }
        }
    }
    found.sort_by(|a, b| a.place.cmp(&b.place));
    Some(found)
}

/// What a rename at a place would rename: the place of the name and the name, or why it cannot be
/// renamed.
///
/// # Errors
/// A sentence for the user.
pub fn renamable(session: &mut Session, at: At) -> Result<Name, String> {
    let name = name_at(session, at).ok_or("There is no name here that could be changed.")?;
    let declared = declarations(session, at.root, &name);
    let Some(first) = declared.first() else {
        return Err(match name.kind {
            Kind::Rule => "Rules have their names from the checker.".to_string(),
            Kind::Instrument => "Instruments have their names from the catalogue.".to_string(),
            Kind::File => "Rename the file in its folder.".to_string(),
            _ => format!("`{}` is not declared anywhere.", name.text),
        });
    };
    match first.kind {
        Kind::Instrument => Err(
            "Players are called by it in ensembles and scorings; give it another name there too."
                .into(),
        ),
        Kind::Players => Err(
            "Players are called by their instrument; `as \"…\"` gives them another name on paper."
                .into(),
        ),
        _ => Ok(name),
    }
}

/// The changes that give another name to what is named at a place, in the pieces of these roots.
///
/// # Errors
/// A sentence for the user: it cannot be renamed, or the name is none or is taken.
pub fn rename(
    session: &mut Session,
    roots: &[FileId],
    at: At,
    new: &str,
) -> Result<Vec<(TextPlace, String)>, String> {
    let name = renamable(session, at)?;
    if !is_name(new) {
        return Err(format!(
            "`{new}` is not a name: names begin with a small letter and go on with letters, digits and hyphens."
        ));
    }
    let asked = Name { text: new.to_string(), ..name.clone() };
    let taken = declarations(session, at.root, &asked);
    if new != name.text && !taken.is_empty() {
        return Err(format!("There is another `{new}` already."));
    }
    let group = matches!(name.kind, Kind::Part | Kind::Group);
    if group && crate::instruments::find(new).is_some() {
        return Err(format!("`{new}` is an instrument."));
    }
    let found = references(session, roots, at).unwrap_or_default();
    Ok(found.into_iter().map(|name| (name.place, new.to_string())).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{changed, line, text, texts};

    const PIECE: &str = "use \"forces.ripieno\"\nvoice upper {\n  1: 1/1 D5 |\n}\nensemble spa extends village {\n  era 1770\n  oboe 2\n  bassoon joins basso\n}\nscoring small for village {\n  violin-1 plays upper as melody\n  basso plays upper 15mb as bass\n}\nscoring large for spa {\n  keep small\n  oboe.1 doubles violin-1\n  allow compass on basso \"so\"\n}\n";
    const FORCES: &str = "ensemble village {\n  era 1725\n  violin-1 4 players, cello 2 players\n  group basso = cello\n}\n";

    fn at(mark: &str) -> (Session, At) {
        let cursor = |text: &str| match text.find(mark) {
            Some(start) => format!("{}‸{}", &text[..start + 1], &text[start + 1..]),
            None => text.to_string(),
        };
        let other = if PIECE.contains(mark) { FORCES.to_string() } else { cursor(FORCES) };
        texts(&[("piece.ripieno", &cursor(PIECE)), ("forces.ripieno", &other)])
    }

    fn defined(mark: &str) -> Vec<String> {
        let (mut session, at) = at(mark);
        definition(&mut session, at).iter().map(|place| line(&session, place)).collect()
    }

    #[test]
    fn a_use_leads_to_what_is_declared_in_another_file_too() {
        assert_eq!(defined("upper as"), ["2: upper"]);
        assert_eq!(defined("village {\n  viol"), ["1: village"]);
        assert_eq!(defined("small\n  oboe"), ["10: small"]);
        assert_eq!(defined("oboe.1"), ["7: oboe"]);
        assert_eq!(defined("basso plays"), ["4: basso"]);
        assert_eq!(defined("violin-1\n"), ["3: violin-1"]);
        assert_eq!(defined("\"forces").len(), 1);
        assert!(defined("era 1770").is_empty());
    }

    #[test]
    fn a_group_is_found_wherever_ensembles_have_it_in_common() {
        let (mut session, at) = at("basso = cello");
        let piece = session.file("piece.ripieno").unwrap();
        let found = references(&mut session, &[piece], at).unwrap();
        let found: Vec<String> = found.iter().map(|name| line(&session, &name.place)).collect();
        assert_eq!(found, ["8: basso", "12: basso", "17: basso", "4: basso"]);
    }

    #[test]
    fn a_rename_reaches_the_files_that_use_the_declaration() {
        let (mut session, at) = at("village {\n  era");
        let piece = session.file("piece.ripieno").unwrap();
        let edits = rename(&mut session, &[piece], at, "dorf-am-wehr").unwrap();
        let text = changed(&session, piece, &edits);
        assert!(text.contains("ensemble spa extends dorf-am-wehr {"));
        assert!(text.contains("scoring small for dorf-am-wehr {"));
        let forces = session.file("forces.ripieno").unwrap();
        assert!(changed(&session, forces, &edits).starts_with("ensemble dorf-am-wehr {"));
    }

    #[test]
    fn what_cannot_be_renamed_is_told() {
        let refused = |mark: &str, new: &str| {
            let (mut session, at) = at(mark);
            let piece = session.file("piece.ripieno").unwrap();
            rename(&mut session, &[piece], at, new).unwrap_err()
        };
        assert!(refused("upper as", "Upper").contains("is not a name"));
        assert!(refused("small for", "large").contains("another"));
        assert!(refused("oboe.1", "flute").contains("instrument"));
        assert!(refused("basso plays", "cello").contains("cello"));
        assert!(refused("compass on", "x").contains("Rules"));
        assert!(refused("as melody", "x").contains("no name"));
    }

    #[test]
    fn a_name_ends_where_the_cursor_stands_behind_it() {
        let (session, at) = text("voice upper‸ {\n}\n");
        assert_eq!(name_at(&session, at).unwrap().text, "upper");
    }
}

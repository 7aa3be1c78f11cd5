//! What could not be understood, and what is therefore not told: one mistake makes one finding.

use super::piece::Ensemble;
use super::{Resolver, unknown};
use crate::diagnostics::{Diagnostic, Edit, Label, nearest};
use crate::instruments;
use crate::syntax::{Declaration, Tree, Word};

/// Places of one unknown name that are shown beside the first.
const MOST_PLACES: usize = 3;

/// What the findings need to know of what was told before.
#[derive(Default)]
pub(super) struct ToldBefore {
    /// Unknown names: kind, name, index of the finding if it is told, how often since.
    names: Vec<(String, String, Option<usize>, usize)>,
    /// The keywords of declarations that could not be read; `None` where even that is not known.
    lost: Vec<Option<&'static str>>,
    /// Has it been told that all voices end before the form does?
    pub(super) all_end_early: bool,
}

impl ToldBefore {
    pub(super) fn of(tree: &Tree) -> ToldBefore {
        let lost = tree.declarations.iter().filter_map(|declaration| match &**declaration {
            Declaration::Lost(keyword) => Some(*keyword),
            _ => None,
        });
        ToldBefore { lost: lost.collect(), ..ToldBefore::default() }
    }

    /// What a voice by itself needs to know.
    pub(super) fn of_voice(all_end_early: bool) -> ToldBefore {
        ToldBefore { all_end_early, ..ToldBefore::default() }
    }

    /// May a declaration of this kind be among those that could not be read?
    pub(super) fn may_be_lost(&self, kind: &str) -> bool {
        self.lost.iter().any(|lost| lost.is_none_or(|lost| lost == kind || lost == "use"))
    }
}

impl Resolver {
    /// Tells of a name that nothing declares: once, however often it is used, and not at all where
    /// a declaration of its kind could not be read. The kind is the first word of `what`.
    pub(super) fn push_unknown(&mut self, word: &Word, known: &[&str], what: &str) {
        let kind = what.split(' ').next().unwrap_or(what);
        // Players and groups share their names.
        let kind = if kind == "group" { "player" } else { kind };
        if self.told.may_be_lost(kind) {
            return;
        }
        let same = |(k, name, ..): &&mut (String, String, Option<usize>, usize)| {
            k == kind && *name == word.value
        };
        let Some((.., index, again)) = self.told.names.iter_mut().find(same) else {
            let index = self.push_and_know(unknown(word, known, what, &word.value));
            self.told.names.push((kind.to_string(), word.value.clone(), index, 0));
            return;
        };
        *again += 1;
        let Some(finding) = index.and_then(|index| self.diagnostics.get_mut(index)) else { return };
        repeat(finding, word, *again);
    }
}

impl Resolver {
    /// Tells of a second player where the ensemble engages one: once for each ensemble line, and
    /// not where that line may be among those that could not be read.
    pub(super) fn push_no_such_number(&mut self, word: &Word, line: &str, ensemble: &Ensemble) {
        if ensemble.adrift || nearest(line, ensemble.unread.iter().map(String::as_str)).is_some() {
            return;
        }
        let key = |t: &&mut (String, String, Option<usize>, usize)| t.0 == "number" && t.1 == line;
        if let Some((.., index, again)) = self.told.names.iter_mut().find(key) {
            *again += 1;
            let again = *again;
            if let Some(finding) = index.and_then(|index| self.diagnostics.get_mut(index)) {
                repeat(finding, word, again);
            }
            return;
        }
        let players = ensemble.players_named(line);
        let engaged = ensemble.players[players[0]].span;
        let number = word.value.rsplit('.').next().unwrap_or_default();
        let (one, help) = match players.len() {
            1 if ensemble.players[players[0]].section => {
                ("one part for several".to_string(), format!("Call the whole section: `{line}`."))
            }
            1 => (
                "one player".to_string(),
                format!("Call this player `{line}`, or ask for more: `{line} {number}`."),
            ),
            2 => ("two players".to_string(), format!("They are `{line}.1` and `{line}.2`.")),
            many => (format!("{many} players"), format!("They are `{line}.1` to `{line}.{many}`.")),
        };
        let index = self.push_and_know(
            Diagnostic::error(
                "names/unknown",
                word.span,
                format!("There is no `{}` in {}.", word.value, ensemble.name),
            )
            .with_label(engaged, format!("`{line}` means {one}"))
            .with_help(help),
        );
        self.told.names.push(("number".to_string(), line.to_string(), index, 0));
    }
}

/// Adds a further place of an unknown name to its finding.
fn repeat(finding: &mut Diagnostic, word: &Word, again: usize) {
    let text = |again| match again {
        1 => "and here".to_string(),
        _ => "and in more places from here on".to_string(),
    };
    if again <= MOST_PLACES {
        finding.labels.push(Label { span: word.span, text: text(1) });
    } else if let Some(last) = finding.labels.last_mut() {
        last.text = text(again);
    }
    for fix in &mut finding.fixes {
        if let Some(first) = fix.edits.first().map(|edit| edit.text.clone()) {
            fix.edits.push(Edit { span: word.span, text: first });
        }
    }
}

/// The words of a line that could not be read, in small letters; never none.
pub(super) fn words(line: &Word) -> Vec<String> {
    let name = |c: char| c.is_alphanumeric() || c == '-';
    let mut words: Vec<String> =
        line.value.split(|c| !name(c)).filter(|w| !w.is_empty()).map(str::to_lowercase).collect();
    if words.is_empty() {
        words.push(line.value.to_lowercase());
    }
    words
}

/// The words of a line without `beat` and its number.
fn without_beats(text: &str) -> String {
    let mut plain = String::with_capacity(text.len());
    let mut rest = text;
    while let Some((before, behind)) = rest.split_once(" beat ") {
        plain.push_str(before);
        rest = behind.trim_start().trim_start_matches(|c: char| c.is_ascii_digit());
    }
    plain.push_str(rest);
    plain
}

/// The bars that a scoring line that could not be read seems to speak of; `None` where it names
/// none.
pub(super) fn bars(line: &Word) -> Option<Vec<(u32, u32)>> {
    // Beats within the bars are of no account here.
    let plain = without_beats(&line.value);
    let (_, behind) = plain.split_once("bar")?;
    let behind = behind.strip_prefix('s').unwrap_or(behind);
    let end = behind.find(|c: char| !(c.is_ascii_digit() || " ,.".contains(c)));
    let (list, rest) = behind.split_at(end.unwrap_or(behind.len()));
    // A list with a hole, or with a sign in it, may have named any bars there.
    if rest.starts_with(|c: char| !c.is_alphabetic()) {
        return None;
    }
    let list = list.trim_end_matches([' ', ',']);
    list.split(',')
        .map(|range| {
            let (first, last) = range.split_once("..").unwrap_or((range, range));
            Some((first.trim().parse().ok()?, last.trim().parse().ok()?))
        })
        .collect()
}

impl Ensemble {
    /// May the ensemble have a player or group of that name, on a line that could not be read?
    pub(super) fn may_have(&self, name: &str) -> bool {
        let empty = !self.unread.is_empty() && self.groups.iter().any(|(group, _)| group == name);
        empty || may_have(name, &self.unread, self.adrift)
    }
}

/// Does the catalogue have an instrument of that name, perhaps with the number of a section?
pub(super) fn is_instrument(line: &str) -> bool {
    let kind = line.trim_end_matches(|c: char| c.is_ascii_digit()).trim_end_matches('-');
    instruments::find(line).or_else(|| instruments::find(kind)).is_some()
}

/// May one of the words that could not be read be the line of that player or group?
pub(super) fn may_have(name: &str, unread: &[String], adrift: bool) -> bool {
    let line = name.split('.').next().unwrap_or(name);
    let near = |word| nearest(word, unread.iter().map(String::as_str)).is_some();
    adrift || near(line) || (!unread.is_empty() && (is_instrument(line) || near("group")))
}

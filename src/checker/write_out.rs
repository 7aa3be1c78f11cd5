//! Computed lines replaced by the notes that they gave.
//!
//! A line that sustains, realises, signals or highlights becomes one `writes` block for each of its players.
//! Lines are computed together, so what is written out of one may change what another one gives;
//! whoever would change is written out with it, until every part of the scoring is what it was.

use std::collections::BTreeSet;
use std::fmt;
use std::ops::Range;
use std::sync::Arc;

use crate::arrange::{Arrangement, Claim, LineId, Part};
use crate::diagnostics::{BarNumbers, FileId};
use crate::format::{bars_words, written_bars};
use crate::music::Time;
use crate::resolve::{BarIndices, Form, Line, Role, Verb};
use crate::session::Session;
use crate::syntax::{Declaration, Modifier, ScoringLine};

/// What is to be written out.
#[derive(Clone, Debug, Default)]
pub struct Asked {
    /// The scoring.
    pub scoring: String,
    /// Players, ensemble lines or groups; empty for everybody.
    pub players: Vec<String>,
    /// Only what lies in these bars (numbers, the last one included).
    pub bars: Option<BarNumbers>,
    /// Only the line in which this byte of its file stands.
    pub at: Option<(FileId, usize)>,
}

/// What was written out.
#[derive(Clone, Debug)]
pub struct WrittenOut {
    /// The file of the scoring.
    pub file: FileId,
    /// Bytes of it and what takes their place, in order, none over another.
    pub edits: Vec<(Range<usize>, String)>,
    /// The players whose notes were written out, by their names.
    pub players: Vec<String>,
    /// Those of them who were not asked for: their notes depended on the others'.
    pub also: Vec<String>,
    /// Other scorings that sound otherwise now, because they work kept lines out afresh.
    pub others: Vec<String>,
}

/// Why nothing was written out.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Refusal {
    /// There is no scoring of that name; these there are.
    NoScoring(Vec<String>),
    /// No such player, group or ensemble line; these there are.
    NoPlayer(String, Vec<String>),
    /// The source has errors: what is computed may change when they are fixed.
    Errors,
    /// Nothing of what is asked for is computed.
    NothingComputed,
    /// A line begins or ends where no beat is, or has times that no value reaches.
    CannotWrite(String),
    /// The scoring would sound otherwise.
    WouldChange(Vec<String>),
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Refusal::NoScoring(known) => {
                write!(f, "there is no such scoring; the piece has {}", known.join(", "))
            }
            Refusal::NoPlayer(name, known) => {
                write!(f, "there is no player or group `{name}`; there are {}", known.join(", "))
            }
            Refusal::Errors => write!(f, "the source has errors; fix them first"),
            Refusal::NothingComputed => write!(
                f,
                "no line of this scoring computes notes there (`sustains`, `signals`, `highlights`); lines that `keep` brings in are written out in the scoring that has them"
            ),
            Refusal::CannotWrite(who) => write!(
                f,
                "the line of {who} begins or ends between two beats; give it bars and beats (`bars 7 beat 4..14`) first"
            ),
            Refusal::WouldChange(who) => {
                write!(f, "written out, {} would not sound the same", who.join(", "))
            }
        }
    }
}

/// A computed line and one of its players.
type Share = (LineId, usize);

/// Passages in written time, from each beginning up to its end.
type Times = Vec<(Time, Time)>;

/// Writes computed lines out. The texts of the session stay as they are: the edits are for the
/// caller to make.
///
/// # Errors
/// Says why it cannot be done.
pub fn write_out(
    session: &mut Session,
    root: FileId,
    asked: &Asked,
) -> Result<WrittenOut, Refusal> {
    let before = session.arrangements(root);
    let Some(old) = before.iter().find(|found| found.scoring.name == asked.scoring).cloned() else {
        return Err(Refusal::NoScoring(before.iter().map(|a| a.scoring.name.clone()).collect()));
    };
    let severe =
        |d: &crate::diagnostics::Diagnostic| d.severity == crate::diagnostics::Severity::Error;
    if session.findings_of_source(root).iter().chain(&old.diagnostics).any(severe) {
        return Err(Refusal::Errors);
    }
    let work = Work { old: &old, form: &old.piece.form };
    let wanted = work.wanted(session, asked)?;
    if wanted.is_empty() {
        return Err(Refusal::NothingComputed);
    }
    let mut passage = asked.bars;
    let mut shares = wanted.clone();
    loop {
        let made = work.edits(session, &shares, passage)?;
        let new =
            with_edits(session, old.scoring.span.file, &made, |session| session.arrangements(root));
        let changed = match new.iter().find(|found| found.scoring.name == asked.scoring) {
            Some(new) => changed(&old, new),
            None => (0..old.parts.len()).collect(),
        };
        if changed.is_empty() {
            let others = before.iter().zip(&new);
            let others = others
                .filter(|(old, _)| old.scoring.name != asked.scoring)
                .filter(|(old, new)| !self::changed(old, new).is_empty())
                .map(|(old, _)| old.scoring.name.clone())
                .collect();
            let named = |all: &mut dyn Iterator<Item = usize>| {
                let players: BTreeSet<usize> = all.collect();
                let name = |player: usize| old.parts[player].player.name.clone();
                players.into_iter().map(name).collect::<Vec<String>>()
            };
            let also = shares.difference(&wanted).map(|(_, player)| *player);
            let asked_for: BTreeSet<usize> = wanted.iter().map(|(_, player)| *player).collect();
            return Ok(WrittenOut {
                file: old.scoring.span.file,
                edits: made,
                players: named(&mut shares.iter().map(|(_, player)| *player)),
                also: named(&mut also.filter(|player| !asked_for.contains(player))),
                others,
            });
        }
        // Whoever changed is written out too; then whole lines; then all that is computed.
        let known = shares.len();
        let of_changed = work.computed().filter(|(_, player)| changed.contains(player));
        shares.extend(of_changed);
        if shares.len() == known && passage.take().is_none() {
            shares.extend(work.computed());
            if shares.len() == known {
                let name = |player: &usize| old.parts[*player].player.name.clone();
                return Err(Refusal::WouldChange(changed.iter().map(name).collect()));
            }
        }
    }
}

/// Makes edits, asks something, and takes the edits back.
fn with_edits<T>(
    session: &mut Session,
    file: FileId,
    edits: &[(Range<usize>, String)],
    ask: impl FnOnce(&mut Session) -> T,
) -> T {
    let mut back: Vec<(Range<usize>, String)> = Vec::with_capacity(edits.len());
    // From the end, so that places before stay where they are.
    for (range, text) in edits.iter().rev() {
        let old = session.document(file).text()[range.clone()].to_string();
        session.edit(file, range.clone(), text);
        back.push((range.start..range.start + text.len(), old));
    }
    let answer = ask(session);
    for (range, text) in back.into_iter().rev() {
        session.edit(file, range, &text);
    }
    answer
}

/// The players whose parts differ in anything that can be heard or is printed.
fn changed(old: &Arrangement, new: &Arrangement) -> BTreeSet<usize> {
    let all = 0..old.parts.len().max(new.parts.len());
    let same = |player: &usize| match (old.parts.get(*player), new.parts.get(*player)) {
        (Some(old), Some(new)) => is_same(old, new),
        _ => false,
    };
    all.filter(|player| !same(player)).collect()
}

fn is_same(old: &Part, new: &Part) -> bool {
    if std::ptr::eq(old, new) {
        return true;
    }
    let notes = old.notes.iter().zip(&new.notes).all(|(a, b)| {
        (a.start(), a.length(), &a.sound(), &a.attached(), a.role(), a.solo())
            == (b.start(), b.length(), &b.sound(), &b.attached(), b.role(), b.solo())
    });
    let directions =
        old.directions.iter().zip(&new.directions).all(|(a, b)| (a.at, &a.kind) == (b.at, &b.kind));
    notes
        && directions
        && old.notes.len() == new.notes.len()
        && old.directions.len() == new.directions.len()
        && old.tuplets == new.tuplets
}

struct Work<'a> {
    old: &'a Arc<Arrangement>,
    form: &'a Form,
}

impl Work<'_> {
    /// All shares of the scoring's own computed lines.
    fn computed(&self) -> impl Iterator<Item = Share> {
        let ids = (0..self.old.lines.len()).map(LineId::new);
        let own = ids.filter(|id| {
            let origin = self.old.lines[id.index()];
            !origin.kept && self.old.line(*id).is_some_and(|line| is_computed(line))
        });
        own.flat_map(|id| self.old.players_of(id).iter().map(move |player| (id, *player)))
            .filter(|share| !self.claims(*share).is_empty())
    }

    /// What is asked for.
    fn wanted(&self, session: &Session, asked: &Asked) -> Result<BTreeSet<Share>, Refusal> {
        let ensemble = &self.old.piece.ensembles[self.old.scoring.ensemble];
        let mut players: Option<Vec<usize>> = None;
        for name in &asked.players {
            let named = ensemble.players_named(name);
            if named.is_empty() {
                let known = ensemble.names().iter().map(ToString::to_string).collect();
                return Err(Refusal::NoPlayer(name.clone(), known));
            }
            players.get_or_insert_default().extend(named);
        }
        let times = asked.bars.map(|bars| self.times(bars));
        let here = |id: LineId| {
            asked.at.is_none_or(|(file, offset)| {
                let span = self.old.lines[id.index()].span;
                let range = session.sources().range(span);
                span.file == file && range.start <= offset && offset <= range.end
            })
        };
        let touches = |share: Share| {
            times.is_none_or(|(from, to)| {
                self.claims(share).iter().any(|claim| claim.from < to && from < claim.to)
            })
        };
        Ok(self
            .computed()
            .filter(|(_, player)| players.as_ref().is_none_or(|all| all.contains(player)))
            .filter(|share| here(share.0) && touches(*share))
            .collect())
    }

    fn times(&self, asked: BarNumbers) -> (Time, Time) {
        let bars = &self.form.bars;
        let first = bars.partition_point(|bar| bar.number < asked.first);
        let after = bars.partition_point(|bar| bar.number <= asked.last);
        self.form.times_of(BarIndices::new(first, after.max(first)))
    }

    fn claims(&self, (id, player): Share) -> Vec<Claim> {
        let part = self.old.parts.get(player);
        let claims = part.iter().flat_map(|part| &part.claims);
        claims.filter(|claim| claim.line == id).copied().collect()
    }

    /// What of a share is written out, and what is left to compute. A passage grows until no note
    /// lies over its ends.
    fn divided(&self, share: Share, passage: Option<BarNumbers>) -> [Vec<(Time, Time)>; 2] {
        let claims = self.claims(share);
        let whole = || claims.iter().map(|claim| (claim.from, claim.to)).collect();
        let Some(bars) = passage else { return [whole(), Vec::new()] };
        let (mut from, mut to) = self.times(bars);
        if let Some(part) = self.old.by_itself(share.1) {
            let over = |at: Time| {
                part.notes.iter().any(|note| {
                    part.line_of(note) == share.0 && note.start() < at && at < note.end()
                })
            };
            while from > Time::ZERO && over(from) {
                from = self.form.bars[self.form.index_at(from).saturating_sub(1)].start;
            }
            while to < self.form.end() && over(to) {
                to = self.form.end_of_bar_at(to);
            }
        }
        let (mut written, mut left) = (Vec::new(), Vec::new());
        for claim in &claims {
            let (start, end) = (claim.from.max(from), claim.to.min(to));
            if start >= end {
                left.push((claim.from, claim.to));
                continue;
            }
            written.push((start, end));
            left.extend([(claim.from, start), (end, claim.to)].into_iter().filter(|(a, b)| a < b));
        }
        [written, left]
    }

    /// The edits that write some shares out.
    fn edits(
        &self,
        session: &Session,
        shares: &BTreeSet<Share>,
        passage: Option<BarNumbers>,
    ) -> Result<Vec<(Range<usize>, String)>, Refusal> {
        let mut edits = Vec::new();
        let ids: BTreeSet<LineId> = shares.iter().map(|(id, _)| *id).collect();
        for id in ids {
            let Some(line) = self.old.line(id) else { continue };
            let tree = tree_of(session, line);
            let Some(tree) = tree else { continue };
            let range = session.sources().range(line.span);
            let mut texts: Vec<String> = Vec::new();
            // What is left to compute: players with the same times share a line.
            let mut left: Vec<(Times, Vec<usize>)> = Vec::new();
            let mut written: Vec<(usize, Times)> = Vec::new();
            for &player in self.old.players_of(id) {
                let share = (id, player);
                let [out, rest] = if shares.contains(&share) {
                    self.divided(share, passage)
                } else {
                    let all = self.claims(share).iter().map(|c| (c.from, c.to)).collect();
                    [Vec::new(), all]
                };
                if !rest.is_empty() {
                    match left.iter_mut().find(|(times, _)| *times == rest) {
                        Some((_, players)) => players.push(player),
                        None => left.push((rest, vec![player])),
                    }
                }
                if !out.is_empty() {
                    written.push((player, out));
                }
            }
            for (times, players) in &left {
                texts.push(self.rest_of(session, line, tree, times, players)?);
            }
            for (player, times) in &written {
                texts.push(self.written(line, id, *player, times)?);
            }
            edits.push((range, texts.join("\n  ")));
        }
        edits.sort_by_key(|(range, _)| range.start);
        Ok(edits)
    }

    /// The line as it stands, for fewer players or bars.
    fn rest_of(
        &self,
        session: &Session,
        line: &Line,
        tree: &ScoringLine,
        times: &[(Time, Time)],
        players: &[usize],
    ) -> Result<String, Refusal> {
        let sources = session.sources();
        let text = &sources.get(line.span.file).text;
        let verb = sources.range(tree.verb_span);
        let names: Vec<&str> =
            players.iter().map(|&p| self.old.parts[p].player.id.as_str()).collect();
        let names = names.join(", ");
        let mut deed = text[verb.clone()].to_string();
        let mut end = verb.end;
        let mut says_bars = false;
        for modifier in &tree.modifiers {
            let range = sources.range(modifier.span);
            if matches!(modifier.value, Modifier::Bars(..)) {
                deed.push_str(&text[end..range.start]);
                deed.push_str(&self.bars(&names, times)?);
                says_bars = true;
            } else {
                deed.push_str(&text[end..range.end]);
            }
            end = range.end;
        }
        let all = [(Time::ZERO, self.form.end())];
        if !says_bars && times != all {
            deed = format!("{deed} {}", self.bars(&names, times)?);
        }
        Ok(format!("{names:<13} {deed}"))
    }

    fn bars(&self, who: &str, times: &[(Time, Time)]) -> Result<String, Refusal> {
        let words = bars_words(self.form, times);
        words.map(|words| format!("bars {words}")).ok_or_else(|| Refusal::CannotWrite(who.into()))
    }

    /// The `writes` block of one player.
    fn written(
        &self,
        line: &Line,
        id: LineId,
        player: usize,
        times: &[(Time, Time)],
    ) -> Result<String, Refusal> {
        let part = &self.old.parts[player];
        let name = &part.player.id;
        let mut said = Vec::new();
        let whole = times
            .iter()
            .all(|&(from, to)| self.form.times_of(self.form.bars_between(from, to)) == (from, to));
        if !whole {
            said.push(self.bars(name, times)?);
        }
        let usual = match line.verb {
            Verb::Sustains { .. } => Role::Harmony,
            Verb::Signals { .. } => Role::Rhythm,
            Verb::Realises { .. } => Role::Bass,
            _ => Role::Highlight,
        };
        said.push(format!("as {}", line.role.unwrap_or(usual).word()));
        if line.solo {
            said.push("solo".to_string());
        }
        if let Some((dynamic, _)) = line.dynamic {
            let words = crate::resolve::Dynamic::WORDS;
            let word = words.iter().find(|(known, _)| *known == dynamic);
            said.extend(word.map(|(_, word)| format!("at {word}")));
        }
        for (technique, _) in &line.techniques {
            said.push(technique.word().to_string());
        }
        for (words, _) in &line.words {
            said.push(format!("\"{words}\""));
        }
        let by_itself = self.old.by_itself(player);
        let notes: Vec<_> = by_itself
            .iter()
            .flat_map(|part| part.notes.iter().filter(|note| part.line_of(note) == id))
            .cloned()
            .collect();
        let tuplets = by_itself.map_or(&[][..], |part| &part.tuplets[..]);
        let bars = written_bars(self.form, &notes, tuplets, times)
            .ok_or_else(|| Refusal::CannotWrite(part.player.name.clone()))?;
        let mut text = format!("{name:<13} writes {} {{\n", said.join(" "));
        for bar in bars {
            let (number, music) = bar.split_once(": ").unwrap_or(("", &bar));
            text.push_str(&format!("    {number:>3}: {music}\n"));
        }
        text.push_str("  }");
        Ok(text)
    }
}

/// Are the notes of a line computed?
fn is_computed(line: &Line) -> bool {
    matches!(
        line.verb,
        Verb::Sustains { .. }
            | Verb::Signals { .. }
            | Verb::Highlights { .. }
            | Verb::Realises { .. }
    )
}

/// The tree of a line.
fn tree_of<'s>(session: &'s Session, line: &Line) -> Option<&'s ScoringLine> {
    let document = session.document(line.span.file);
    document.blocks().iter().find_map(|block| match &*block.declaration {
        Declaration::Scoring(scoring) => {
            scoring.lines.iter().find(|tree| tree.span == line.span).map(|tree| &**tree)
        }
        _ => None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::resolve::NoFiles;

    const PIECE: &str = "piece \"Ferry\" { }\nform {\n  0         metre 3/4, key G minor, tempo 1/4 at 100, pick-up 1/4\n  8         length 2/4, end\n}\n\
        voice tune {\n    0: 1/4 D5 |\n    1: 1/4 G5 A Bb | 2: 1/4 A5 F# D | 3: 1/4 G5 A Bb | 4: 1/2 A5 1/4 D5 |\n    5: 3:2(1/4 Bb5 A G) 1/4 G | 6: 1/4 F#5 G A | 7: 1/4 G5 Bb A | 8: 1/2 G5[fermata] |\n}\n\
        voice bass {\n    0: rest |\n    1: 1/2. G3 | 2: 1/2. D3 | 3: 1/2. G3 | 4: 1/2. D3 |\n    5: 1/2. G3 | 6: 1/2. D3 | 7: 1/2 Eb3 1/4 D3 | 8: 1/2 G3 |\n}\n\
        harmony {\n    0: D7 | 1: Gm | 2: D | 3: Gm | 4: D | 5: Gm | 6: D7 | 7: 1/2 Eb 1/4 D7 | 8: Gm |\n}\n\
        ensemble few {\n  era 1770\n  oboe 2, bassoon, horn 2 crook Bb alto\n  violin-1 4 players, violin-2 4 players, viola 2 players, cello 2 players, harpsichord\n}\n";
    const LINES: &str = "  violin-1      plays tune                    as melody\n  bassoon, cello play bass                    as bass\n  oboe, viola sustain bars 1..7\n  violin-2      sustains each beat bars 1 beat 2..7 beat 2, at p \"dolce\"  // held back\n  horn          signals tune bars 1..4\n  horn          highlights cadences bars 5..8\n  harpsichord   sustains each chord\n  oboe rest bars 0, 8\n";

    fn open(lines: &str) -> (Session, FileId) {
        open_piece(PIECE, lines)
    }

    fn open_piece(piece: &str, lines: &str) -> (Session, FileId) {
        let mut session = Session::new(NoFiles);
        let text = format!("{piece}scoring all for few {{\n{lines}}}\n");
        let file = session.open("ferry.ripieno", &text);
        (session, file)
    }

    fn asked() -> Asked {
        Asked { scoring: "all".into(), ..Asked::default() }
    }

    #[test]
    fn a_whole_scoring_is_written_out_and_every_part_stays() {
        let (mut session, file) = open(LINES);
        let old = session.arrangements(file);
        let out = write_out(&mut session, file, &asked()).unwrap();
        assert_eq!(out.also, Vec::<String>::new());
        for (range, text) in out.edits.iter().rev() {
            session.edit(file, range.clone(), text);
        }
        let text = session.document(file).text().to_string();
        assert!(!text.contains("sustain") && !text.contains("signals"), "{text}");
        assert!(text.contains("at p \"dolce\" {"), "{text}");
        assert!(text.contains("}  // held back"), "{text}");
        let new = session.arrangements(file);
        assert_eq!(changed(&old[0], &new[0]), BTreeSet::new(), "{text}");
        let document = crate::syntax::Document::new(FileId(0), text.as_str());
        let formatted = crate::format::format(&document);
        assert_eq!(formatted.matches("writes").count(), text.matches("writes").count());
        assert!(
            write_out(&mut session, file, &asked()).is_err_and(|e| e == Refusal::NothingComputed)
        );
    }

    #[test]
    fn bars_that_a_line_divides_are_written_out_whole() {
        let piece =
            PIECE.replace("  8         length", "  5         up-beat 1/4\n  8         length");
        for bars in [None, Some(BarNumbers::new(4, 4)), Some(BarNumbers::new(5, 6))] {
            let (mut session, file) = open_piece(&piece, LINES);
            let old = session.arrangements(file);
            let out = write_out(&mut session, file, &Asked { bars, ..asked() });
            for (range, text) in out.unwrap().edits.iter().rev() {
                session.edit(file, range.clone(), text);
            }
            let text = session.document(file).text().to_string();
            let new = session.arrangements(file);
            assert_eq!(changed(&old[0], &new[0]), BTreeSet::new(), "{bars:?}\n{text}");
            assert_eq!(text.matches("up-beat 1/4").count(), 1, "{text}");
        }
    }

    #[test]
    fn one_player_or_a_passage_is_written_out_and_the_others_stay() {
        for (players, bars) in [
            (vec!["viola".to_string()], None),
            (vec!["horn.1".to_string()], None),
            (vec!["violin-2".to_string()], Some(BarNumbers::new(2, 3))),
            (vec![], Some(BarNumbers::new(3, 4))),
            (vec!["oboe".to_string(), "harpsichord".to_string()], Some(BarNumbers::new(5, 6))),
        ] {
            let (mut session, file) = open(LINES);
            let old = session.arrangements(file);
            let asked = Asked { players: players.clone(), bars, ..asked() };
            let out = write_out(&mut session, file, &asked);
            let out = out.unwrap_or_else(|why| panic!("{players:?} {bars:?}: {why}"));
            for (range, text) in out.edits.iter().rev() {
                session.edit(file, range.clone(), text);
            }
            let text = session.document(file).text().to_string();
            let new = session.arrangements(file);
            assert_eq!(changed(&old[0], &new[0]), BTreeSet::new(), "{players:?} {bars:?}\n{text}");
        }
    }

    #[test]
    fn what_cannot_be_done_is_said_and_the_text_stays() {
        let (mut session, file) = open(LINES);
        let text = session.document(file).text().to_string();
        let nobody = Asked { players: vec!["tuba".into()], ..asked() };
        assert!(matches!(write_out(&mut session, file, &nobody), Err(Refusal::NoPlayer(..))));
        let elsewhere = Asked { scoring: "none".into(), ..asked() };
        assert!(matches!(write_out(&mut session, file, &elsewhere), Err(Refusal::NoScoring(_))));
        write_out(&mut session, file, &asked()).unwrap();
        assert_eq!(session.document(file).text(), text);
    }
}

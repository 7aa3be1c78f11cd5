//! A draft of a whole scoring: a beginning to argue with.
//!
//! The piece is cut into sections, at marks, double bars and repeats, else every eight bars, each
//! with the up-beat of the tune. Every line of the ensemble gets a task in every section, chosen by
//! what it is good for, by how far the piece has grown, and by chance (a seed makes it repeatable).
//! Then the draft is compiled and checked like any other text, and whatever a finding speaks of
//! gives way to the next task of its list, and a voice that nobody plays is given to somebody, until
//! no error and no warning is left. The core stays: the strings that have tune and bass, or who alone
//! has them, give way to nobody, and what only these bring between them is allowed, with that reason.
//! Whoever would rest throughout gets something to do in the end, if nothing is wrong with it; advice is
//! left for the arranger to weigh. Where something is left all the same, the best draft found is shown as
//! a comment that says so. (Tasks by practice; all weights are our heuristic.)

mod tasks;
#[cfg(test)]
mod tests;

use crate::narrow::Narrow;
use std::collections::BTreeSet;
use std::fmt;
use std::sync::Arc;

use crate::diagnostics::{BarNumbers, Diagnostic, FileId, Severity};
use crate::format::{self, bars_words};
use crate::instruments::{Family, Limit, Loudness};
use crate::music::Time;
use crate::resolve::{
    DirectionKind, Dynamic, Ensemble, Form, Note, Piece, Player, Role, Verb, up_beat,
};
use crate::session::Session;
use crate::syntax::Document;
use tasks::{growth, is_forte, rank, rows, sections, tasks, voices};

/// What a draft should be like.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum Lean {
    /// As few players as the piece needs at each moment.
    Lean,
    /// Everybody takes part.
    #[default]
    Full,
    /// The colour changes from section to section.
    Colourful,
}

/// What is asked for.
#[derive(Clone, Debug, Default)]
pub struct Asked {
    /// The ensemble.
    pub ensemble: String,
    /// The scoring whose notes are kept.
    pub keep: Option<String>,
    /// What the draft should be like.
    pub lean: Lean,
    /// Another number gives another draft; the same one gives the same.
    pub seed: u64,
}

/// Why there is no draft.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Refusal {
    /// There is no ensemble of that name; these there are.
    NoEnsemble(Vec<String>),
    /// There is no scoring of that name to keep; these there are.
    NoScoring(Vec<String>),
    /// The source has errors or no voice that can be scored.
    NotReady(String),
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Refusal::NoEnsemble(known) => {
                write!(f, "there is no such ensemble; the piece has {}", known.join(", "))
            }
            Refusal::NoScoring(known) => {
                write!(f, "there is no such scoring to keep; the piece has {}", known.join(", "))
            }
            Refusal::NotReady(why) => write!(f, "{why}"),
        }
    }
}

/// So many bars make a section where nothing else divides the piece.
const SECTION: usize = 8;
/// Why a draft allows a finding about two voices that are both played as they are written.
const OWN: &str = "the voices are written so";
/// Why it allows notes that lie too low for the basses (common practice).
const TAKEN_UP: &str = "what lies too low is taken an octave higher";
/// So often a draft is compiled before it is given up.
const MOST_RUNS: usize = 160;
/// So many sections are tried for somebody who rests throughout, the loudest first.
const TRIED_FOR_IDLE: usize = 3;

/// What a line of the ensemble can be given to do in a section.
#[derive(Clone, PartialEq, Eq, Debug)]
struct Task {
    /// From the verb on, without bars and role: `plays upper 8va`.
    deed: String,
    /// `melody`; empty where the verb has its own.
    role: &'static str,
    reason: &'static str,
}

fn task(deed: impl Into<String>, role: &'static str, reason: &'static str) -> Task {
    Task { deed: deed.into(), role, reason }
}

/// The place of one line of the ensemble in one section.
struct Slot {
    /// Index of the row.
    row: usize,
    section: usize,
    /// The tasks in the order in which they are tried; the last one is to rest.
    tasks: Vec<Task>,
    chosen: usize,
}

/// Players who do everything together: a line of the ensemble, or one player of it.
struct Row {
    name: String,
    players: Vec<usize>,
}

/// Numbers by chance from a seed (splitmix64, after Steele, Lea and Flood 2014, from memory).
struct Chance(u64);

impl Chance {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    fn below(&mut self, count: usize) -> usize {
        if count == 0 { 0 } else { (self.next() % count as u64).narrow::<usize>() }
    }
}

/// Drafts a scoring as a block ready to paste: one without an error and without a warning, or else
/// the best that was found, as a comment that says what is left. The texts of the session stay as
/// they are.
///
/// # Errors
/// Says why there is none.
pub fn draft(session: &mut Session, root: FileId, asked: &Asked) -> Result<String, Refusal> {
    let piece = session.piece(root);
    let Some(ensemble) = piece.ensembles.iter().find(|e| e.name == asked.ensemble).cloned() else {
        return Err(Refusal::NoEnsemble(piece.ensembles.iter().map(|e| e.name.clone()).collect()));
    };
    let kept = match &asked.keep {
        Some(name) => match piece.scorings.iter().find(|s| s.name == *name) {
            Some(kept) => Some(Arc::clone(kept)),
            None => {
                return Err(Refusal::NoScoring(
                    piece.scorings.iter().map(|s| s.name.clone()).collect(),
                ));
            }
        },
        None => None,
    };
    let severe = |d: &Diagnostic| d.severity == Severity::Error;
    if session.findings_of_source(root).iter().any(severe) {
        return Err(Refusal::NotReady("the source has errors; fix them first".into()));
    }
    let sounding = piece.voices.iter().any(|voice| !voice.music.notes.is_empty());
    if !sounding || piece.form.bars.is_empty() {
        return Err(Refusal::NotReady("the piece has no voice with notes to score".into()));
    }
    let mut plan = Plan::new(&piece, &ensemble, kept.as_deref(), asked);
    let base = session.document(root).text().len();
    let name = free_name(&piece, &asked.ensemble);
    let formatted = |text: &str| format::format(&Document::new(FileId(0), text));
    let mut bench = Bench { session, root, base, name: &name, asked, tried: 0 };
    Ok(match bench.settle(&mut plan) {
        Ok(text) => formatted(&bench.employ(&mut plan, text)),
        Err((text, left)) => as_comment(&formatted(&text), &left),
    })
}

/// Where a line of a draft begins in its text, and which slots it has.
type Span = (usize, Vec<usize>);

/// Where drafts are compiled and checked.
struct Bench<'a> {
    session: &'a mut Session,
    root: FileId,
    /// Where in the text the draft stands.
    base: usize,
    name: &'a str,
    asked: &'a Asked,
    /// How many drafts were tried.
    tried: usize,
}

impl Bench<'_> {
    /// The errors and warnings of a draft, with its text and where its lines stand.
    fn wrong(&mut self, plan: &Plan) -> (String, Vec<Span>, Vec<Found>) {
        self.tried += 1;
        let (text, spans) = plan.text(self.name, self.asked);
        let mut found = findings(self.session, self.root, self.base, &text, self.name);
        found.retain(|found| found.severity != Severity::Advice);
        (text, spans, found)
    }

    /// Lets give way whatever an error or a warning speaks of, until there is none; or else the draft that
    /// has the fewest, with what they say. Advice is left for the arranger to weigh.
    fn settle(&mut self, plan: &mut Plan) -> Result<String, (String, BTreeSet<String>)> {
        let mut least: Option<(usize, String, BTreeSet<String>)> = None;
        loop {
            let (text, spans, wrong) = self.wrong(plan);
            if wrong.is_empty() {
                return Ok(text);
            }
            if least.as_ref().is_none_or(|(least, ..)| wrong.len() < *least) {
                let left = wrong.iter().map(|found| found.message.clone()).collect();
                least = Some((wrong.len(), text, left));
            }
            let mut moved = false;
            for found in &wrong {
                moved |= plan.give_way(found, &spans, self.base);
            }
            if !moved || self.tried >= MOST_RUNS {
                let (_, text, left) = least.unwrap_or_default();
                return Err((text, left));
            }
        }
    }

    /// Gives whoever rests throughout something to do that brings no error and no warning, and gives the
    /// draft back; `text` is what it is without.
    fn employ(&mut self, plan: &mut Plan, text: String) -> String {
        let mut best = text;
        for row in 0..plan.rows.len() {
            if !plan.rests_throughout(row) || self.asked.lean == Lean::Lean {
                continue;
            }
            for (slot, task) in plan.could_do(row) {
                if self.tried >= MOST_RUNS {
                    return best;
                }
                let before = std::mem::replace(&mut plan.slots[slot].chosen, task);
                let (text, _, wrong) = self.wrong(plan);
                if wrong.is_empty() {
                    best = text;
                    break;
                }
                plan.slots[slot].chosen = before;
            }
        }
        best
    }
}

/// A draft that is not clean, as a comment that says what is left.
fn as_comment(draft: &str, left: &BTreeSet<String>) -> String {
    let mut text = String::from(
        "\n// No draft without a warning was found. This is the best one, as a comment; what is left:\n",
    );
    for line in left.iter().map(|left| format!("- {left}")).chain([String::new()]) {
        text.push_str(format!("// {line}").trim_end());
        text.push('\n');
    }
    for line in draft.trim_matches('\n').lines() {
        text.push_str(format!("// {line}").trim_end());
        text.push('\n');
    }
    text
}

fn free_name(piece: &Piece, ensemble: &str) -> String {
    let base = format!("{ensemble}-draft");
    let taken = |name: &str| piece.scorings.iter().any(|scoring| scoring.name == name);
    let mut name = base.clone();
    let mut number = 2;
    while taken(&name) {
        name = format!("{base}-{number}");
        number += 1;
    }
    name
}

/// A finding about the draft.
struct Found {
    code: &'static str,
    severity: Severity,
    message: String,
    /// Bytes of the text of its places.
    places: Vec<usize>,
    bars: Option<BarNumbers>,
    player: Option<String>,
}

/// What is found about a draft at the end of the text.
fn findings(
    session: &mut Session,
    root: FileId,
    base: usize,
    text: &str,
    name: &str,
) -> Vec<Found> {
    session.edit(root, base..base, text);
    let all = session.findings(root);
    let sources = session.sources();
    let found = all
        .iter()
        .filter(|finding| {
            let primary = finding.primary.span;
            let inside = primary.file == root && sources.range(primary).start >= base;
            inside
                || finding.scoring.as_deref() == Some(name)
                || finding.also_in.iter().any(|scoring| scoring == name)
        })
        // What the kept scoring has too is no fault of the draft.
        .filter(|finding| finding.scoring.is_none() || finding.scoring.as_deref() == Some(name))
        .map(|finding| {
            let spans = std::iter::once(&finding.primary).chain(&finding.labels);
            let places = spans
                .filter(|label| label.span.file == root)
                .map(|label| sources.range(label.span).start)
                .filter(|start| *start >= base)
                .collect();
            Found {
                code: finding.code,
                severity: finding.severity,
                message: finding.message.clone(),
                places,
                bars: finding.bars,
                player: finding.player.clone(),
            }
        })
        .collect();
    session.edit(root, base..base + text.len(), "");
    found
}

/// What the draft is made of.
struct Plan<'a> {
    piece: &'a Piece,
    ensemble: &'a Ensemble,
    rows: Vec<Row>,
    /// Where the sections begin and end.
    sections: Vec<(Time, Time)>,
    slots: Vec<Slot>,
    /// Voices that were given to a slot because nobody played them.
    given: Vec<(usize, usize)>,
    /// Codes and bars of what the voices themselves bring, whoever plays them.
    allowed: Vec<(&'static str, BarNumbers)>,
    voices: (usize, Option<usize>, Vec<usize>),
    /// How far the piece has grown in each section.
    growth: Vec<u8>,
}

/// What the music of a section asks for.
struct Music<'a> {
    piece: &'a Piece,
    /// Indices of voices: tune, bass, the others.
    tune: usize,
    bass: Option<usize>,
    inner: Vec<usize>,
    from: Time,
    to: Time,
    /// How far the piece has grown here: 0 quiet, 1 middle, 2 the climax.
    growth: u8,
    /// Is it forte or more, or nobody knows?
    forte: bool,
}

impl<'a> Plan<'a> {
    fn new(
        piece: &'a Piece,
        ensemble: &'a Ensemble,
        kept: Option<&crate::resolve::Scoring>,
        asked: &Asked,
    ) -> Plan<'a> {
        let all = voices(piece);
        let (tune, bass, inner) = all.clone();
        let sections = sections(&piece.form, &piece.voices[tune].music.notes.unpacked());
        let growth = growth(piece, tune, &sections);
        let forte: Vec<bool> = sections.iter().map(|section| is_forte(piece, *section)).collect();
        let rows = rows(piece, ensemble, kept);
        let mut chance = Chance(asked.seed ^ ((asked.lean as u64) << 32));
        let mut slots = Vec::new();
        for (row, line) in rows.iter().enumerate() {
            // Each line begins its round of tasks at another place.
            let turn = chance.below(6);
            for (section, &(from, to)) in sections.iter().enumerate() {
                let music = Music {
                    piece,
                    tune,
                    bass,
                    inner: inner.clone(),
                    from,
                    to,
                    growth: growth[section],
                    forte: forte[section],
                };
                let who = &ensemble.players[line.players[0]];
                let rank = rank(ensemble, line);
                let tasks =
                    tasks(&music, ensemble, who, rank, kept.is_none(), asked.lean, turn + section);
                slots.push(Slot { row, section, tasks, chosen: 0 });
            }
        }
        Plan {
            piece,
            ensemble,
            rows,
            sections,
            slots,
            given: Vec::new(),
            allowed: Vec::new(),
            voices: all,
            growth,
        }
    }

    /// The draft as text, and for each of its lines where it begins in it and which slots it has; what
    /// it allows stands last and has none.
    fn text(&self, name: &str, asked: &Asked) -> (String, Vec<Span>) {
        let mut text = String::from("\n// A draft: a beginning to argue with, and nothing more.\n");
        text.push_str(&format!("scoring {name} for {} {{\n", asked.ensemble));
        if let Some(keep) = &asked.keep {
            text.push_str(&format!("  keep {keep}\n"));
        }
        let mut spans = Vec::new();
        for (row, line) in self.rows.iter().enumerate() {
            let own: Vec<usize> =
                (0..self.slots.len()).filter(|slot| self.slots[*slot].row == row).collect();
            let mut done: Vec<&Task> = Vec::new();
            for &slot in &own {
                let task = self.task(slot);
                if done.iter().any(|known| (&known.deed, known.role) == (&task.deed, task.role)) {
                    continue;
                }
                done.push(task);
                let same: Vec<usize> = own
                    .iter()
                    .copied()
                    .filter(|other| {
                        let other = self.task(*other);
                        (&other.deed, other.role) == (&task.deed, task.role)
                    })
                    .collect();
                spans.push((text.len(), same.clone()));
                text.push_str(&self.line(line, task, &same));
            }
        }
        for (code, bars) in &self.allowed {
            spans.push((text.len(), Vec::new()));
            let why = if code.starts_with("compass/") { TAKEN_UP } else { OWN };
            text.push_str(&format!("  allow {code} bars {bars} \"{why}\"\n"));
        }
        text.push_str("}\n");
        (text, spans)
    }

    fn task(&self, slot: usize) -> &Task {
        let slot = &self.slots[slot];
        &slot.tasks[slot.chosen]
    }

    fn line(&self, row: &Row, task: &Task, slots: &[usize]) -> String {
        let mut times: Vec<(Time, Time)> = Vec::new();
        for &slot in slots {
            let (from, to) = self.sections[self.slots[slot].section];
            match times.last_mut() {
                Some(last) if last.1 == from => last.1 = to,
                _ => times.push((from, to)),
            }
        }
        let whole = times == [(Time::ZERO, self.piece.form.end())];
        let bars = if whole { None } else { bars_words(&self.piece.form, &times) };
        let bars = bars.map_or(String::new(), |bars| format!(" bars {bars}"));
        let deed = format!("{}{bars}", task.deed);
        let role = if task.role.is_empty() { String::new() } else { format!("as {}", task.role) };
        let line = if role.is_empty() {
            format!("  {:<13} {deed}", row.name)
        } else {
            format!("  {:<13} {deed:<28}  {role}", row.name)
        };
        // Whoever waits plays afterwards.
        let reason = if whole && task.deed == "rests" { "has no part here" } else { task.reason };
        format!("{line}  // {reason}\n")
    }

    /// Gives a voice that nobody plays to somebody who can play it and has no voice yet.
    fn gives(&mut self, found: &Found) -> bool {
        let named = |name: &str| found.message.contains(&format!("`{name}`"));
        let Some(voice) = self.piece.voices.iter().position(|voice| named(&voice.name)) else {
            return false;
        };
        let form = &self.piece.form;
        let missing = |section: usize| {
            let (from, to) = self.sections[section];
            let numbers = form.bars_between(from, to).numbers(form);
            found.bars.is_none_or(|bars| numbers.is_some_and(|numbers| numbers.meets(bars)))
        };
        let (tune, bass, inner) = &self.voices;
        let role = match () {
            () if voice == *tune => "melody",
            () if Some(voice) == *bass => "bass",
            () => "harmony",
        };
        let mut found: Option<(u8, usize, Task)> = None;
        for (index, slot) in self.slots.iter().enumerate() {
            let task = &slot.tasks[slot.chosen];
            if !missing(slot.section)
                || task.deed.starts_with("plays")
                || self.given.contains(&(index, voice))
            {
                continue;
            }
            let player = &self.ensemble.players[self.rows[slot.row].players[0]];
            let Some(reach) = tasks::reach(player, self.ensemble.era) else { continue };
            if player.instrument.natural.is_some() || !player.instrument.drums.is_empty() {
                continue;
            }
            let (from, to) = self.sections[slot.section];
            let music = Music {
                piece: self.piece,
                tune: *tune,
                bass: *bass,
                inner: inner.clone(),
                from,
                to,
                growth: 0,
                forte: false,
            };
            let reason = "otherwise no player has this voice";
            let Some(task) = music.plays(voice, reach, &[0, 1, -1], role, reason) else { continue };
            let rank = match player.instrument.family {
                Family::Strings => 0,
                Family::Woodwind => 1,
                _ => 2,
            };
            if found.as_ref().is_none_or(|(best, ..)| rank < *best) {
                found = Some((rank, index, task));
            }
        }
        let Some((_, index, task)) = found else { return false };
        self.given.push((index, voice));
        let slot = &mut self.slots[index];
        slot.tasks.insert(slot.chosen, task);
        true
    }

    /// Allows a finding in some bars; not twice.
    fn allow(&mut self, code: &'static str, bars: BarNumbers) -> bool {
        let is_new = !self.allowed.contains(&(code, bars));
        if is_new {
            self.allowed.push((code, bars));
        }
        is_new
    }

    /// Takes out what was allowed and is found no more.
    fn allows_no_more(&mut self, found: &Found, spans: &[Span], base: usize) -> bool {
        let line = found
            .places
            .first()
            .and_then(|place| spans.iter().rposition(|(start, _)| *start <= place - base));
        let first = spans.len() - self.allowed.len();
        let Some(index) = line.and_then(|line| line.checked_sub(first)) else { return false };
        self.allowed.remove(index);
        true
    }

    /// Has a slot the tune or the bass?
    fn leads(&self, slot: usize) -> bool {
        matches!(self.task(slot).role, "melody" | "bass")
    }

    /// Does a slot belong to the core: a string that leads, or who alone has the tune or the bass?
    fn is_core(&self, slot: usize) -> bool {
        let player = &self.ensemble.players[self.rows[self.slots[slot].row].players[0]];
        self.leads(slot) && (player.instrument.bowed() || self.is_alone(slot))
    }

    /// Does a row rest from beginning to end?
    fn rests_throughout(&self, row: usize) -> bool {
        let mut own = (0..self.slots.len()).filter(|slot| self.slots[*slot].row == row);
        own.all(|slot| self.task(slot).deed == "rests")
    }

    /// What a row could do, section by section from where the piece has grown most: slots, and indices
    /// of their tasks.
    fn could_do(&self, row: usize) -> Vec<(usize, usize)> {
        let mut own: Vec<usize> =
            (0..self.slots.len()).filter(|slot| self.slots[*slot].row == row).collect();
        own.sort_by_key(|slot| std::cmp::Reverse(self.growth[self.slots[*slot].section]));
        let mut all = Vec::new();
        for slot in own.into_iter().take(TRIED_FOR_IDLE) {
            let tasks = self.slots[slot].tasks.iter().enumerate();
            let deeds = tasks.filter(|(_, task)| task.deed != "rests");
            all.extend(deeds.map(|(task, _)| (slot, task)));
        }
        all
    }

    /// Is it the only one of its section that has its voice?
    fn is_alone(&self, slot: usize) -> bool {
        let voice = |slot: usize| self.task(slot).deed.split(' ').nth(1);
        let (section, own) = (self.slots[slot].section, voice(slot));
        let others = (0..self.slots.len()).filter(|other| *other != slot);
        !others.into_iter().any(|other| {
            self.slots[other].section == section && self.leads(other) && voice(other) == own
        })
    }

    /// Lets a slot that a finding speaks of take its next task, or if need be any slot of its bars.
    fn give_way(&mut self, found: &Found, spans: &[Span], base: usize) -> bool {
        if found.code.starts_with("coverage/") && self.gives(found) {
            return true;
        }
        if found.code == "allow/unused" {
            return self.allows_no_more(found, spans, base);
        }
        let form = &self.piece.form;
        let touches = |slot: &Slot| {
            found.bars.is_none_or(|bars| {
                let (from, to) = self.sections[slot.section];
                let section = form.bars_between(from, to).numbers(form);
                section.is_some_and(|section| section.meets(bars))
            })
        };
        let can = |slot: &usize| {
            let slot = &self.slots[*slot];
            slot.chosen + 1 < slot.tasks.len() && touches(slot)
        };
        // The core keeps what it has while others can give way.
        let core = |slot: &usize| self.is_core(*slot);
        // The lines that the finding shows …
        let shown = found.places.iter().filter_map(|place| {
            let at = place - base;
            spans.iter().rev().find(|(start, _)| *start <= at).map(|(_, slots)| slots)
        });
        let mut culprits: Vec<usize> = shown.flatten().copied().filter(|s| can(s)).collect();
        // … or the player whom it names …
        if culprits.is_empty()
            && let Some(player) = &found.player
        {
            let is_his = |slot: &usize| {
                let row = &self.rows[self.slots[*slot].row];
                row.players.iter().any(|p| self.ensemble.players[*p].id == *player)
            };
            culprits = (0..self.slots.len()).filter(|s| is_his(s) && can(s)).collect();
        }
        // … or whoever is heaviest in these bars.
        if culprits.is_empty() || culprits.iter().all(core) && found.code.starts_with("balance/") {
            let weight = |slot: &usize| {
                let row = &self.rows[self.slots[*slot].row];
                match self.ensemble.players[row.players[0]].instrument.loudness {
                    Loudness::HeavyBrass => 4,
                    Loudness::Percussion => 3,
                    Loudness::Horn => 2,
                    _ => 1,
                }
            };
            let heaviest = (0..self.slots.len()).filter(|s| can(s) && !core(s)).max_by_key(weight);
            culprits.extend(heaviest);
        }
        if !culprits.iter().all(core) {
            culprits.retain(|slot| !core(slot));
        } else if let Some(bars) = found.bars.filter(|_| found.code.starts_with("harmony/")) {
            // Tune and bass against one another are as they are written.
            return self.allow(found.code, bars);
        } else if let Some(bars) = found.bars {
            // The core may take another octave, but it does not fall silent.
            let leads_on = |slot: &usize| {
                let slot = &self.slots[*slot];
                matches!(slot.tasks[slot.chosen + 1].role, "melody" | "bass")
            };
            let goes = culprits.iter().copied().filter(leads_on).collect::<Vec<_>>();
            if goes.is_empty() {
                return self.allow(found.code, bars);
            }
            culprits = goes;
        }
        culprits.sort_unstable();
        culprits.dedup();
        for &slot in &culprits {
            self.slots[slot].chosen += 1;
        }
        !culprits.is_empty()
    }
}

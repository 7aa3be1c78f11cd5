//! What the rules share about one arranged scoring: who gave a note, how fast it goes, what is
//! allowed.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, OnceLock};

use super::Rule;
use super::alike::Alike;
use super::facts::{Facts, Times};
use super::limits;
use super::loudness::Degree;
use super::memory::{Changes, Memory, Moment};
use super::options::matches;
use super::rules::Doubled;
use super::slices::{Slices, Sounding};
use crate::arrange::{Arrangement, LineId, PackedNote, Part, VoiceCoverage, coverage_again};
use crate::diagnostics::Span;
use crate::instruments::{Family, Instrument};
use crate::music::Time;
use crate::resolve::{
    Allow, BarIndices, Clock, DirectionKind, Ensemble, Form, Line, Piece, SetLimit, Technique, Verb,
};

/// One arranged scoring with what the rules ask of it again and again.
pub(super) struct Context<'a> {
    pub arrangement: &'a Arrangement,
    pub piece: &'a Piece,
    pub form: &'a Form,
    pub era: i32,
    lines: Vec<Option<&'a Line>>,
    /// For each bar: seconds from the beginning, seconds that a whole note lasts.
    clock: Clock<'a>,
    /// For each part what is asked of it again and again.
    facts: Vec<Arc<Facts>>,
    /// What an earlier run found, and what has changed since.
    memory: Option<(&'a Memory, Changes)>,
    /// Who has the same part.
    pub alike: Alike,
    slices_within: OnceLock<Slices>,
    slices: OnceLock<Slices>,
    coverage: OnceLock<Vec<Arc<VoiceCoverage>>>,
    doubled_tones: OnceLock<Vec<Moment<Doubled>>>,
    allows: Vec<GivenAllow<'a>>,
    /// Whether each player has no drums and bells in hand, or always; `None` where that changes.
    pitched: Vec<Option<bool>>,
}

/// Notes of one player, one after the other, that he plays on one instrument.
pub(super) struct Stretch<'a> {
    pub player: usize,
    pub part: &'a Part,
    pub instrument: &'static Instrument,
    /// How many instruments the player had in hand before.
    pub place: usize,
    /// Index of the first note, and of the first one after the last.
    first: usize,
    after: usize,
}

impl<'a> Stretch<'a> {
    /// The notes with their indices in the part.
    pub fn notes(&self) -> impl Iterator<Item = (usize, &'a PackedNote)> + use<'a> {
        (self.first..self.after).zip(&self.part.notes[self.first..self.after])
    }

    /// Those of a range of indices.
    pub fn within(
        &self,
        range: std::ops::Range<usize>,
    ) -> impl Iterator<Item = (usize, &'a PackedNote)> + use<'a> {
        range.clone().zip(&self.part.notes[range])
    }

    /// The indices of the notes in the part.
    pub fn range(&self) -> std::ops::Range<usize> {
        self.first..self.after
    }

    /// Does the note of that index follow on another one of the same stretch?
    pub fn goes_on(&self, index: usize) -> bool {
        (self.first + 1..self.after).contains(&index)
    }
}

struct GivenAllow<'a> {
    allow: &'a Allow,
    /// Indices of the players; `None` for everybody.
    players: Option<Vec<usize>>,
    used: AtomicBool,
}

impl<'a> Context<'a> {
    pub fn new(arrangement: &'a Arrangement) -> Context<'a> {
        Context::with(arrangement, Facts::of_all(&arrangement.parts), None)
    }

    /// The same with what the last run remembered.
    pub fn again(
        arrangement: &'a Arrangement,
        memory: &'a Memory,
        (changes, facts): (Changes, Vec<Arc<Facts>>),
    ) -> Context<'a> {
        Context::with(arrangement, facts, Some((memory, changes)))
    }

    fn with(
        arrangement: &'a Arrangement,
        facts: Vec<Arc<Facts>>,
        memory: Option<(&'a Memory, Changes)>,
    ) -> Context<'a> {
        let piece = &*arrangement.piece;
        let layers = piece.layers(&arrangement.scoring);
        let ensemble = &piece.ensembles[arrangement.scoring.ensemble];
        let allows = layers
            .iter()
            .flat_map(|scoring| &scoring.allows)
            .map(|allow| GivenAllow {
                allow,
                players: (!allow.who.is_empty()).then(|| {
                    allow.who.iter().flat_map(|(name, _)| ensemble.players_named(name)).collect()
                }),
                used: AtomicBool::new(false),
            })
            .collect();
        Context {
            arrangement,
            piece,
            form: &piece.form,
            era: arrangement.era,
            lines: (0..arrangement.lines.len())
                .map(|id| arrangement.line(LineId::new(id)).map(|line| &**line))
                .collect(),
            clock: Clock::new(&piece.form),
            facts,
            memory,
            alike: Alike::new(&arrangement.parts),
            slices_within: OnceLock::new(),
            slices: OnceLock::new(),
            coverage: OnceLock::new(),
            doubled_tones: OnceLock::new(),
            allows,
            pitched: arrangement.parts.iter().map(|part| pitched(part)).collect(),
        }
    }

    /// What sounds together, moment by moment.
    pub fn slices(&self) -> &Slices {
        self.slices.get_or_init(|| Slices::new(&self.arrangement.parts))
    }

    /// The same between two times, which are those of all calls.
    pub fn slices_within(&self, window: (Time, Time)) -> &Slices {
        self.slices_within.get_or_init(|| Slices::within(&self.arrangement.parts, window))
    }

    /// Who plays the notes of the voices, voice by voice.
    pub fn coverage(&self) -> &[Arc<VoiceCoverage>] {
        self.coverage.get_or_init(|| match self.memory() {
            Some((memory, changes)) => memory.coverage(self.arrangement, changes),
            None => coverage_again(self.arrangement, &[], None),
        })
    }

    /// The leading notes and sevenths of dominants that are doubled, found once for both rules.
    pub fn doubled_tones(&self, find: impl FnOnce() -> Vec<Moment<Doubled>>) -> &[Moment<Doubled>] {
        self.doubled_tones.get_or_init(find)
    }

    /// Does a note belong to the harmony: pitched, and not of a drum or bell?
    pub fn is_pitched(&self, sounding: Sounding) -> bool {
        let player = sounding.player();
        self.pitched[player].unwrap_or_else(|| {
            let note = sounding.of(&self.arrangement.parts);
            self.part(player).instrument_at(note.start()).family != Family::Percussion
        })
    }

    /// What the last run remembered, and what has changed since.
    pub fn memory(&self) -> Option<(&Memory, &Changes)> {
        self.memory.as_ref().map(|(memory, changes)| (*memory, changes))
    }

    /// Seconds from the beginning at which each note of a part begins and ends, repeats once.
    pub fn times(&self, player: usize) -> Times<'_> {
        Times { notes: &self.part(player).notes, clock: &self.clock }
    }

    /// How loud a player is at a time, on the way of a hairpin too; mezzo forte where nothing is
    /// said.
    pub fn degree(&self, player: usize, time: Time) -> Degree {
        self.facts[player].loudness.degree(time)
    }

    /// Is a player plucking at a time?
    pub fn plucks(&self, player: usize, time: Time) -> bool {
        plucked(&self.facts[player].techniques, time)
    }

    /// The changes of technique of a player that have a sense for bow and mute, in order.
    pub fn techniques(&self, player: usize) -> &[(Time, Technique, Span)] {
        &self.facts[player].techniques
    }

    /// Seconds from the beginning to a written time, repeats once.
    pub fn seconds_at(&self, time: Time) -> f64 {
        self.clock.seconds_at(time)
    }

    /// All scoring lines in force, those of kept scorings too.
    pub fn lines(&self) -> impl Iterator<Item = (LineId, &'a Line)> + '_ {
        let lines = self.lines.iter().enumerate();
        lines.filter_map(|(index, line)| Some((LineId::new(index), (*line)?)))
    }

    pub fn parts(&self) -> impl Iterator<Item = (usize, &'a Part)> + use<'a> {
        self.arrangement.parts.iter().map(|part| &**part).enumerate()
    }

    /// The notes of every player who has any, instrument by instrument.
    pub fn stretches(&self) -> impl Iterator<Item = Stretch<'a>> + use<'a> {
        self.parts().flat_map(|(player, part)| {
            part.instruments.iter().enumerate().filter_map(move |(place, (from, instrument))| {
                let until = part.instruments.get(place + 1).map(|(until, _)| *until);
                let index = |time| part.notes.partition_point(|note| note.start() < time);
                let first = if place == 0 { 0 } else { index(*from) };
                let after = until.map_or(part.notes.len(), index);
                (first < after).then_some(Stretch { player, part, instrument, place, first, after })
            })
        })
    }

    pub fn part(&self, index: usize) -> &'a Part {
        &self.arrangement.parts[index]
    }

    /// The `takes` line that speaks to a player and holds from a time on.
    pub fn takes_line(&self, player: usize, at: Time) -> Option<Span> {
        let ensemble = self.ensemble();
        self.lines().map(|(_, line)| line).find_map(|line| {
            let Verb::Takes { from, .. } = &line.verb else { return None };
            let start = from.map_or(Time::ZERO, |bar| self.form.bars[bar].start);
            let names = line.who.iter();
            let named = names.flat_map(|(name, _)| ensemble.players_named(name));
            (start == at && named.into_iter().any(|p| p == player)).then_some(line.span)
        })
    }

    /// Index of the player whom scoring lines call so.
    pub fn player(&self, id: &str) -> Option<usize> {
        self.parts().find(|(_, part)| part.player.id == id).map(|(player, _)| player)
    }

    /// The scoring line of that number.
    pub fn line(&self, id: LineId) -> Option<&'a Line> {
        self.lines.get(id.index()).copied().flatten()
    }

    /// The scoring line that gave what sounds.
    pub fn line_of(&self, sounding: Sounding) -> Option<&'a Line> {
        let note = sounding.of(&self.arrangement.parts);
        self.line(self.part(sounding.player()).line_of(note))
    }

    /// Where the scoring line of that number is written.
    pub fn line_span(&self, id: LineId) -> Span {
        self.arrangement.lines.get(id.index()).map_or_else(Span::default, |line| line.span)
    }

    /// From the bar in which a note begins to the one in which another does.
    pub fn bars_from(&self, note: &PackedNote, other: &PackedNote) -> BarIndices {
        BarIndices::new(self.bar(note), self.bar(other) + 1)
    }

    /// Index of the bar in which a note begins.
    pub fn bar(&self, note: &PackedNote) -> usize {
        self.form.index_at(note.start())
    }

    /// Numbers of the bars in which a note sounds.
    pub fn bars_of(&self, note: &PackedNote) -> impl Iterator<Item = i32> + use<'a> {
        let form = self.form;
        let (first, mut last) = (form.index_at(note.start()), form.index_at(note.end()));
        if last > first && form.bars[last].start >= note.end() {
            last -= 1;
        }
        (first..=last).filter_map(|bar| form.bars.get(bar)).map(|bar| bar.number)
    }

    /// Number of the bar of that index.
    pub fn number(&self, bar: usize) -> i32 {
        self.form.bars.get(bar).map_or(0, |bar| bar.number)
    }

    /// The figure of a rule: the usual one, or that of the ensemble.
    pub fn limit(&self, rule: &Rule) -> f64 {
        limits::in_force(rule, &self.ensemble().limits)
    }

    /// The line of the ensemble that sets the figure of a rule.
    pub fn limit_set(&self, rule: &Rule) -> Option<&'a SetLimit> {
        self.ensemble().limits.iter().find(|set| set.rule == rule.code)
    }

    /// The ensemble that plays.
    fn ensemble(&self) -> &'a Ensemble {
        &self.piece.ensembles[self.arrangement.scoring.ensemble]
    }

    /// Does the arranger allow this to this player in all of these bars? Remembers that the line
    /// was of use.
    pub fn allowed(&self, code: &str, player: Option<usize>, bars: BarIndices) -> bool {
        let mut allowed = false;
        for given in &self.allows {
            let names = match (&given.players, player) {
                (None, _) => true,
                (Some(players), Some(player)) => players.contains(&player),
                (Some(_), None) => false,
            };
            if names && matches(&given.allow.rule, code) && bars.are_among(&given.allow.bars) {
                given.used.store(true, Ordering::Relaxed);
                allowed = true;
            }
        }
        allowed
    }

    /// The `allow` lines that silenced something.
    pub fn used_allows(&self) -> impl Iterator<Item = Span> + '_ {
        self.allows
            .iter()
            .filter(|given| given.used.load(Ordering::Relaxed))
            .map(|given| given.allow.span)
    }
}

/// Is a player without drums and bells (or always with them)?
fn pitched(part: &Part) -> Option<bool> {
    let first = part.first_instrument().family != Family::Percussion;
    let same = |instrument: &Instrument| (instrument.family != Family::Percussion) == first;
    part.instruments.iter().all(|(_, instrument)| same(instrument)).then_some(first)
}

/// Changes of technique of a part that have a sense for bow and mute, in order.
pub(super) fn techniques(part: &Part) -> Vec<(Time, Technique, Span)> {
    part.directions
        .iter()
        .filter_map(|direction| match direction.kind {
            DirectionKind::Technique(technique) => Some((direction.at, technique, direction.span)),
            _ => None,
        })
        .collect()
}

/// Is a part plucked at a time, by its changes of technique?
pub(super) fn plucked(changes: &[(Time, Technique, Span)], time: Time) -> bool {
    changes
        .iter()
        .take_while(|(at, ..)| *at <= time)
        .filter(|(_, technique, _)| matches!(technique, Technique::Pizzicato | Technique::Arco))
        .last()
        .is_some_and(|(_, technique, _)| *technique == Technique::Pizzicato)
}

//! Computed lines and kept notes within the work on one scoring: who is asked when, and what is
//! around him.

use std::collections::HashMap;
use std::sync::Arc;

use super::derive::{self, Derived};
use super::kept::Event;
use super::taking::Same;
use super::{Claim, LineId, Notes, Part, Run, Work, empty_run, smaller, stretches, taking};
use crate::diagnostics::Diagnostic;
use crate::harmony::harmony_of;
use crate::music::Time;
use crate::resolve::{BarIndices, Line, Role, Tuplet, Verb};

/// How many doublings of doublings are followed.
const DOUBLINGS: usize = 4;

/// What sounds around players and accompanies as they do.
type Around = Arc<[(derive::Choir, Notes)]>;

/// The notes of the voices side by side, and of written lines that lead, by their index.
#[derive(Default)]
pub(super) struct AtHand {
    voices: Arc<[Notes]>,
    written: HashMap<usize, Notes>,
}

/// Notes that are taken from voices to be looked at, once for all who have the same.
type Taken = HashMap<Same, Notes>;

impl<'a> Work<'a> {
    /// Gives a run of a kept line the notes of the smaller scoring; `false` where its notes are not
    /// kept.
    pub(super) fn keeps_notes(&self, index: usize, id: LineId, run: &mut Run) -> bool {
        let smaller = self.smaller.as_ref().filter(|_| self.keeps(index, id));
        smaller.is_some_and(|smaller| smaller.give(&self.parts[index], self.ensemble.era, run))
    }

    /// Has a player of a kept line the notes that he has in the smaller scoring? Where his
    /// instrument has not got one of them, the whole line is worked out afresh for him.
    fn keeps(&self, index: usize, id: LineId) -> bool {
        let given = &self.lines[id.index()];
        let Some(smaller) = &self.smaller else { return false };
        if given.layer == 0 || !smaller::comes_from_elsewhere(&given.line) {
            return false;
        }
        let part = &self.parts[index];
        let own = part.claims.iter().filter(|claim| claim.line == id);
        own.map(|claim| empty_run(*claim))
            .all(|run| smaller.can_give(part, self.ensemble.era, &run))
    }

    /// What was found about the lines whose notes are kept.
    pub(super) fn tell_kept(&mut self) {
        let Some(smaller) = &self.smaller else { return };
        let found: Vec<Diagnostic> = smaller
            .diagnostics(self.lines)
            .filter(|found| !self.diagnostics.contains(found))
            .cloned()
            .collect();
        self.diagnostics.extend(found);
    }

    /// Melodies and basses that the scoring writes by hand, and that no line takes over whole.
    fn written(&self) -> Vec<Notes> {
        let leads = |line: &Line| matches!(line.role, Some(Role::Melody | Role::Bass));
        let claims = |id: usize| {
            let mut claims = self.parts.iter().flat_map(|part| &part.claims);
            claims.any(|claim| claim.line.index() == id)
        };
        let lines = self.lines.iter().map(|given| &*given.line).enumerate();
        lines
            .filter(|(id, line)| leads(line) && claims(*id))
            .filter_map(|(id, _)| self.at_hand.written.get(&id).cloned())
            .collect()
    }

    /// Does a computed line give somebody notes? Cymbals take none from the harmony.
    fn asks_for_chords(&self) -> bool {
        let pitched = |&player: &usize| !self.parts[player].player.instrument.unpitched;
        self.lines.iter().any(|given| {
            let computed = matches!(
                given.line.verb,
                Verb::Sustains { .. } | Verb::Highlights { .. } | Verb::Signals { .. }
            );
            computed && given.players.iter().any(pitched)
        })
    }

    /// The basses: voices and written lines that play as bass somewhere in this scoring.
    fn basses(&self) -> Vec<Notes> {
        let lines = self.lines.iter().map(|given| &*given.line).enumerate();
        lines
            .filter(|(_, line)| line.role == Some(Role::Bass))
            .filter_map(|(id, line)| match &line.verb {
                Verb::Plays { voice, .. } | Verb::Realises { voice } => {
                    Some(self.at_hand.voices[*voice].clone())
                }
                _ => self.at_hand.written.get(&id).cloned(),
            })
            .collect()
    }

    /// Infers the harmony, where it will be asked for, before anything is taken from the voices: its
    /// evidence and what is taken are the most that is held, and neither needs the other.
    pub(super) fn infer_ahead(&mut self) {
        let mut claims = self.parts.iter().flat_map(|part| &part.claims);
        let asks = claims.any(|claim| {
            let given = &self.lines[claim.line.index()];
            given.layer == 0 && smaller::is_computed(&given.line)
        });
        self.computes = asks;
        if asks && self.before.is_none() {
            self.harmony_ahead = Some(harmony_of(self.piece));
        }
    }

    /// Brings the notes of the voices and of the lines that lead side by side.
    fn look_at_voices(&mut self) {
        let leads = |line: &Line| matches!(line.role, Some(Role::Melody | Role::Bass));
        let written = self.lines.iter().enumerate().filter(|(_, given)| leads(&given.line));
        let written = written.filter_map(|(id, given)| match &given.line.verb {
            Verb::Writes(music) => Some((id, taking::at_hand(&music.notes))),
            _ => None,
        });
        let voices = self.piece.voices.iter().enumerate();
        let voices = voices.map(|(index, voice)| match self.taken_whole(index) {
            Some(notes) => notes,
            None => taking::at_hand(&voice.music.notes),
        });
        self.at_hand = AtHand { voices: voices.collect(), written: written.collect() };
    }

    /// The notes of a voice as they were taken for somebody who plays all of it as it stands.
    fn taken_whole(&self, voice: usize) -> Option<Notes> {
        let end = self.piece.form.end();
        let whole = |(&(index, _), run): (&(usize, usize), &Run)| {
            let given = &self.lines[run.line.index()];
            let as_it_stands = match given.line.verb {
                Verb::Plays { voice: played, octaves, .. } => {
                    played == voice && octaves + given.octaves_of(index) == 0
                }
                _ => false,
            };
            (as_it_stands && run.from <= Time::ZERO && run.to >= end).then(|| run.notes.clone())
        };
        self.taken.iter().find_map(whole)
    }

    pub(super) fn derive(&mut self, index: usize, id: LineId, run: &mut Run) {
        let given = &self.lines[id.index()];
        if !self.derived.contains_key(&id) {
            let before = self.diagnostics.len();
            if self.harmony.is_none() {
                let ahead = self.harmony_ahead.take();
                let harmony = ahead.unwrap_or_else(|| harmony_of(self.piece));
                let told =
                    self.smaller.as_ref().is_some_and(|smaller| smaller.tells("harmony/inferred"));
                if let Some(inferred) = derive::inferred(self.piece, &harmony, &given.line)
                    && !told
                    && self.asks_for_chords()
                {
                    self.diagnostics.push(inferred);
                }
                self.harmony = Some(harmony);
            }
            if self.at_hand.voices.is_empty() {
                self.look_at_voices();
            }
            match given.line.verb {
                Verb::Sustains { .. } => self.sustain(id),
                Verb::Highlights { .. } => self.highlight(id),
                _ => self.derive_line(id),
            }
            let said = self.diagnostics[before..].iter().cloned().map(Event::Said);
            self.events[index].extend(said);
        }
        let given = &self.lines[id.index()];
        let place = given.players.iter().position(|&player| player == index).unwrap_or(0);
        if let Some(derived) = self.derived.get(&id).and_then(|parts| parts.get(place)) {
            taking::cut(&derived.notes, run);
            run.tuplets.extend(
                derived
                    .tuplets
                    .iter()
                    .filter(|t: &&Tuplet| t.start >= run.from && t.start < run.to),
            );
        }
    }

    /// Asks for the notes of a line in bars in which nobody takes another instrument.
    fn request<'r>(
        &'r self,
        id: LineId,
        within: BarIndices,
        written: &[Notes],
        basses: &[Notes],
        around: &Around,
    ) -> derive::Request<'r, 'a> {
        let given = &self.lines[id.index()];
        derive::Request {
            piece: self.piece,
            harmony: self.harmony.as_deref().unwrap_or_default(),
            era: self.ensemble.era,
            line: &given.line,
            line_id: id,
            voices: Arc::clone(&self.at_hand.voices),
            written: written.to_vec(),
            basses: basses.to_vec(),
            within,
            parts: given.players.iter().map(|&player| &*self.parts[player]).collect(),
            kept: given.players.iter().map(|&player| self.keeps(player, id)).collect(),
            around: Arc::clone(around),
        }
    }

    /// Works out all `highlights` lines whose notes are not kept, together.
    fn highlight(&mut self, asked: LineId) {
        let wanted = |id: &LineId| {
            let claimed =
                self.parts.iter().any(|part| part.claims.iter().any(|claim| claim.line == *id));
            let highlights = matches!(self.lines[id.index()].line.verb, Verb::Highlights { .. });
            let open = !self.derived.contains_key(id) && claimed && !self.is_kept(*id);
            *id == asked || (highlights && open)
        };
        let ids: Vec<LineId> = (0..self.lines.len()).map(LineId::new).filter(wanted).collect();
        self.derive_together(ids, derive::highlight);
    }

    /// Works out a line of signals or of a realised bass.
    fn derive_line(&mut self, id: LineId) {
        self.derive_together(vec![id], |requests, diagnostics| {
            requests.iter().map(|request| derive::derive(request, diagnostics)).collect()
        });
    }

    /// Works out lines with what is known before, in stretches in which none of their players takes
    /// another instrument.
    fn derive_together(
        &mut self,
        ids: Vec<LineId>,
        work: impl Fn(&[derive::Request], &mut Vec<Diagnostic>) -> Vec<Vec<Derived>>,
    ) {
        let players = |id: &LineId| self.lines[id.index()].players.iter();
        let parts: Vec<&Part> = ids.iter().flat_map(players).map(|&p| &*self.parts[p]).collect();
        let mut derived: Vec<Vec<Derived>> =
            ids.iter().map(|id| players(id).map(|_| Derived::default()).collect()).collect();
        let (written, basses) = (self.written(), self.basses());
        let mut diagnostics = Vec::new();
        let around: Around = self.around(&ids, &mut self.taken_so_far()).into();
        for within in stretches(&self.piece.form, &parts) {
            let requests: Vec<derive::Request> = ids
                .iter()
                .map(|&id| self.request(id, within, &written, &basses, &around))
                .collect();
            let more = work(&requests, &mut diagnostics);
            derived.iter_mut().zip(more).for_each(|(all, more)| add(all, more));
        }
        self.diagnostics.extend(diagnostics);
        self.derived.extend(ids.into_iter().zip(derived));
    }

    /// Works out all `sustains` lines whose notes are not kept, together, after all else that is
    /// computed.
    fn sustain(&mut self, asked: LineId) {
        let claims = |id: LineId| {
            self.parts.iter().any(|part| part.claims.iter().any(|claim| claim.line == id))
        };
        let mut lines: Vec<LineId> = Vec::new();
        let mut before: Vec<LineId> = Vec::new();
        for (index, given) in self.lines.iter().enumerate() {
            let id = LineId::new(index);
            match given.line.verb {
                _ if self.derived.contains_key(&id) || !claims(id) => {}
                Verb::Sustains { .. } if id == asked || !self.is_kept(id) => lines.push(id),
                Verb::Signals { .. } | Verb::Highlights { .. } | Verb::Realises { .. }
                    if !self.is_kept(id) =>
                {
                    before.push(id);
                }
                _ => {}
            }
        }
        for id in before {
            if matches!(self.lines[id.index()].line.verb, Verb::Highlights { .. }) {
                if !self.derived.contains_key(&id) {
                    self.highlight(id);
                }
            } else {
                self.derive_line(id);
            }
        }
        let players: Vec<&Part> = lines
            .iter()
            .flat_map(|id| &self.lines[id.index()].players)
            .map(|&player| &*self.parts[player])
            .collect();
        let (written, basses) = (self.written(), self.basses());
        let mut taken = self.taken_so_far();
        let (around, leading) = (self.around(&lines, &mut taken), self.leading(&mut taken));
        let around = derive::Sounding { around, leading };
        drop(taken);
        let mut diagnostics = Vec::new();
        let mut derived: Vec<Vec<Derived>> = lines
            .iter()
            .map(|id| self.lines[id.index()].players.iter())
            .map(|players| players.map(|_| Derived::default()).collect())
            .collect();
        let none: Around = Arc::new([]);
        let settled = || self.settled.take().map_or_else(Default::default, Arc::unwrap_or_clone);
        let mut settled = (!self.once).then(settled);
        for within in stretches(&self.piece.form, &players) {
            let requests: Vec<derive::Request> = lines
                .iter()
                .map(|&id| self.request(id, within, &written, &basses, &none))
                .collect();
            let settled = (self.settled_before.as_deref(), settled.as_mut());
            let more = derive::sustain(&requests, &around, settled, &mut diagnostics);
            derived.iter_mut().zip(more).for_each(|(all, more)| add(all, more));
        }
        self.settled = settled.map(Arc::new);
        self.diagnostics.extend(diagnostics);
        self.derived.extend(lines.into_iter().zip(derived));
    }

    /// Does a kept line give all its players the notes of the smaller scoring?
    fn is_kept(&self, id: LineId) -> bool {
        let given = &self.lines[id.index()];
        given.layer > 0 && given.players.iter().all(|&player| self.keeps(player, id))
    }

    /// What a player has on a claim as far as it is known before anything is held: what is written,
    /// played from a voice, kept or computed already.
    fn known(&self, index: usize, run: &mut Run, taken: &mut Taken) {
        let given = &self.lines[run.line.index()];
        if let Verb::Writes(music) = &given.line.verb {
            taking::take(music, &given.line, given.octaves_of(index), run);
        } else if let Verb::Plays { voice, octaves, .. } = &given.line.verb {
            let music = &self.piece.voices[*voice].music;
            let octaves = *octaves + given.octaves_of(index);
            let same = taking::same(*voice, (run.from, run.to), octaves, &given.line);
            let notes = taken.entry(same).or_insert_with(|| {
                taking::take(music, &given.line, octaves, run);
                run.notes.clone()
            });
            run.notes = notes.clone();
        } else if let Some(derived) = self.derived.get(&run.line) {
            let place = given.players.iter().position(|&player| player == index);
            if let Some(derived) = place.and_then(|place| derived.get(place)) {
                taking::cut(&derived.notes, run);
            }
        } else if smaller::is_computed(&given.line) {
            self.keeps_notes(index, run.line, run);
        }
    }

    /// What is taken from the voices.
    fn taken_so_far(&self) -> Taken {
        let taken = self.taken.iter().filter_map(|(&(index, _), run)| {
            let given = &self.lines[run.line.index()];
            let Verb::Plays { voice, octaves, .. } = given.line.verb else { return None };
            let octaves = octaves + given.octaves_of(index);
            let same = taking::same(voice, (run.from, run.to), octaves, &given.line);
            Some((same, run.notes.clone()))
        });
        taken.collect()
    }

    /// What each player has of the melody and the bass, and what he doubles of them, in the octave
    /// of whom he doubles.
    fn leading(&self, taken: &mut Taken) -> Vec<(derive::Choir, Notes)> {
        let mut all = Vec::new();
        for (index, part) in self.parts.iter().enumerate() {
            let choir = derive::Choir::of(part.first_instrument());
            let mut notes = Notes::default();
            for claim in &part.claims {
                let mut run = empty_run(*claim);
                self.leads(index, &mut run, DOUBLINGS, taken);
                notes.add(run.notes);
            }
            if !notes.is_empty() {
                all.push((choir, notes));
            }
        }
        all
    }

    fn leads(&self, index: usize, run: &mut Run, doublings: usize, taken: &mut Taken) {
        let given = &self.lines[run.line.index()];
        let leads = matches!(given.line.role, Some(Role::Melody | Role::Bass));
        let Verb::Doubles { part, .. } = &given.line.verb else {
            if leads {
                self.known(index, run, taken);
            }
            return;
        };
        let sources = self.ensemble.players_named(part);
        let place = given.players.iter().position(|&player| player == index).unwrap_or(0);
        let source = sources.get(place.min(sources.len().saturating_sub(1)));
        let Some((&source, doublings)) = source.zip(doublings.checked_sub(1)) else { return };
        for claim in &self.parts[source].claims {
            let (from, to) = (claim.from.max(run.from), claim.to.min(run.to));
            if from < to {
                let mut within = empty_run(Claim { from, to, line: claim.line });
                self.leads(source, &mut within, doublings, taken);
                run.notes.add(within.notes);
            }
        }
    }

    /// What sounds around the players of some lines and accompanies as they do: notes that are
    /// written for others, kept, or computed already.
    fn around(&self, but: &[LineId], taken: &mut Taken) -> Vec<(derive::Choir, Notes)> {
        let mut around = Vec::new();
        for (index, part) in self.parts.iter().enumerate() {
            let choir = derive::Choir::of(part.first_instrument());
            let mut notes = Notes::default();
            for claim in &part.claims {
                let id = claim.line;
                let given = &self.lines[id.index()];
                let leads = matches!(given.line.role, Some(Role::Melody | Role::Bass));
                if leads || (but.contains(&id) && !self.keeps(index, id)) {
                    continue;
                }
                let mut run = empty_run(*claim);
                self.known(index, &mut run, taken);
                notes.add(run.notes);
            }
            if !notes.is_empty() {
                around.push((choir, notes));
            }
        }
        around
    }
}

/// Puts what the players of a line have in one stretch behind what they have before.
fn add(derived: &mut [Derived], more: Vec<Derived>) {
    for (part, more) in derived.iter_mut().zip(more) {
        part.notes.add(more.notes);
        part.tuplets.extend(more.tuplets);
    }
}

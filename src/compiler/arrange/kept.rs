//! What one run of this stage keeps for the next, and which parts the next may take over.
//!
//! A part depends on its claims, on the lines that claim it, on the voices that they play, on the
//! parts that they double, on what is said to everybody, and on form and ensemble. Where all of
//! that is the same, the part is, and what happened while it was filled happens again; where a line
//! was put in or taken out before, the others have other numbers. What is
//! computed (`sustains`, `signals`, `highlights`) looks at everything, and is taken over only where
//! no voice, chord, line or claim is another.

use std::collections::HashMap;
use std::sync::Arc;

use super::derive::Settled;
use super::doubling::Folded;
use super::{Arrangement, GivenLine, LineId, Part};
use crate::diagnostics::Diagnostic;
use crate::music::Time;
use crate::resolve::{Ensemble, Fermata, Line, Piece, Verb};

/// What an arrangement keeps for the next run.
#[derive(Clone, Debug, Default)]
pub(super) struct KeptWork {
    pub(super) lines: Vec<GivenLine>,
    /// The parts as they were before they got the fermatas of all voices: what is doubled.
    pub(super) before_fermatas: Vec<Arc<Part>>,
    pub(super) events: Vec<Vec<Event>>,
    pub(super) held: Vec<Fermata>,
    /// The smaller scoring whose notes are kept.
    pub(super) smaller: Option<Arc<Arrangement>>,
    /// Passages of held lines that are worked out.
    pub(super) settled: Option<Arc<Settled>>,
}

/// What happens while a part is filled, besides its notes.
#[derive(Clone, Debug)]
pub(super) enum Event {
    /// A part is filled that this one doubles.
    Fill(usize),
    /// There is something to tell once of a line.
    Tell(Once, LineId, Diagnostic),
    /// A computed line tells something.
    Said(Diagnostic),
    /// A doubling line leaves notes out at these times.
    LeftOut(LineId, Vec<Time>),
    /// A doubling line moves notes of a part into another octave.
    Moved(LineId, usize, Folded),
    /// The part doubles itself; who is told depends on who comes first.
    Circle,
}

/// What is told once a line.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub(super) enum Once {
    /// A pitched instrument is given strokes.
    Strokes,
    /// Notes of chords are left out.
    Thinned,
    /// Parts double each other in a circle.
    Circle,
}

/// An earlier run, and what of it holds now.
pub(super) struct Before<'a> {
    arrangement: &'a Arrangement,
    /// May each part be taken over, as far as that is known?
    keeps: Vec<Option<bool>>,
    /// The same, but for the parts that it doubles.
    alone: Vec<bool>,
    /// The number that each line of then has now, if it is the same.
    now: Vec<Option<LineId>>,
}

impl<'a> Before<'a> {
    /// What holds of an earlier run; `None` where form, ensemble or what is said to everybody is
    /// another. `parts` have their claims and no notes yet.
    pub(super) fn new(
        arrangement: &'a Arrangement,
        piece: &Piece,
        ensemble: &Arc<Ensemble>,
        lines: &[GivenLine],
        parts: &[Arc<Part>],
    ) -> Option<Before<'a>> {
        let old = &*arrangement.piece;
        let kept = &arrangement.kept;
        let same_ground = Arc::ptr_eq(&old.form, &piece.form)
            && Arc::ptr_eq(old.ensembles.get(arrangement.scoring.ensemble)?, ensemble)
            && old.dynamics == piece.dynamics
            && old.span == piece.span
            && kept.before_fermatas.len() == parts.len();
        if !same_ground {
            return None;
        }
        let same_voice = |voice: usize| match (old.voices.get(voice), piece.voices.get(voice)) {
            (Some(old), Some(new)) => Arc::ptr_eq(old, new),
            _ => false,
        };
        let known = kept.lines.iter().enumerate().map(|(id, old)| (Arc::as_ptr(&old.line), id));
        let known: HashMap<*const Line, usize> = known.collect();
        let mut now = vec![None; kept.lines.len()];
        for (id, given) in lines.iter().enumerate() {
            let old = known.get(&Arc::as_ptr(&given.line));
            if let Some(&old) = old.filter(|old| kept.lines[**old].is_same(given)) {
                now[old] = Some(LineId::new(id));
            }
        }
        let mut same_lines = vec![false; lines.len()];
        now.iter().flatten().for_each(|id| same_lines[id.index()] = true);
        let in_place = now.iter().enumerate().all(|(old, now)| *now == Some(LineId::new(old)));
        let claims = parts.iter().zip(&kept.before_fermatas);
        let same_claims: Vec<bool> =
            claims.map(|(new, old)| is_claimed_alike(new, old, &now)).collect();
        let circles = kept.events.iter().flatten().any(|event| matches!(event, Event::Circle));
        let computed = !circles
            && kept.lines.len() == lines.len()
            && in_place
            && same_claims.iter().all(|same| *same)
            && old.voices.len() == piece.voices.len()
            && (0..piece.voices.len()).all(same_voice)
            && old.harmony == piece.harmony
            && old.ensembles.len() == piece.ensembles.len()
            && old.ensembles.iter().zip(&piece.ensembles).all(|(old, new)| Arc::ptr_eq(old, new));
        let alone = |(part, same): (&Arc<Part>, &bool)| {
            *same
                && part.claims.iter().all(|claim| {
                    let id = claim.line.index();
                    same_lines[id]
                        && match &lines[id].line.verb {
                            Verb::Plays { voice, .. } => same_voice(*voice),
                            Verb::Sustains { .. }
                            | Verb::Signals { .. }
                            | Verb::Realises { .. }
                            | Verb::Highlights { .. } => computed,
                            // What is kept of a smaller scoring depends on all of that.
                            Verb::Doubles { .. } if lines[id].layer > 0 => computed,
                            Verb::Doubles { .. }
                            | Verb::Writes(_)
                            | Verb::Rests
                            | Verb::Takes { .. }
                            | Verb::Unknown => true,
                        }
                })
        };
        let alone = parts.iter().zip(&same_claims).map(alone).collect();
        Some(Before { arrangement, keeps: vec![None; parts.len()], alone, now })
    }

    /// May a part be taken over?
    pub(super) fn keeps(&mut self, index: usize) -> bool {
        if let Some(known) = self.keeps[index] {
            return known;
        }
        // Who comes round to a part that is being asked about doubles in a circle.
        self.keeps[index] = Some(false);
        let events = &self.arrangement.kept.events[index];
        let keeps = self.alone[index]
            && events.iter().all(|event| match event {
                Event::Fill(source) => self.keeps(*source),
                Event::Circle => false,
                _ => true,
            });
        self.keeps[index] = Some(keeps);
        keeps
    }

    /// The number that a line of then has now.
    fn now(&self, id: LineId) -> LineId {
        self.now.get(id.index()).copied().flatten().unwrap_or(id)
    }

    /// A part that is taken over, without the fermatas of all voices. `new` has its claims.
    pub(super) fn part(&self, index: usize, new: &Part) -> Arc<Part> {
        let old = &self.arrangement.kept.before_fermatas[index];
        if old.claims == new.claims && old.takes == new.takes {
            return Arc::clone(old);
        }
        let mut part = Part::clone(old);
        part.claims.clone_from(&new.claims);
        part.takes.clone_from(&new.takes);
        Arc::new(part)
    }

    /// What happened while it was filled.
    pub(super) fn events(&self, index: usize) -> Vec<Event> {
        let events = self.arrangement.kept.events[index].iter().cloned();
        let now = |event| match event {
            Event::Tell(once, id, finding) => Event::Tell(once, self.now(id), finding),
            Event::LeftOut(id, times) => Event::LeftOut(self.now(id), times),
            Event::Moved(id, source, folded) => Event::Moved(self.now(id), source, folded),
            Event::Fill(_) | Event::Said(_) | Event::Circle => event,
        };
        events.map(now).collect()
    }

    /// The same part with the fermatas under which all wait, where they are the same and it is.
    pub(super) fn under_fermatas(
        &self,
        index: usize,
        part: &Arc<Part>,
        held: &[Fermata],
    ) -> Option<Arc<Part>> {
        let kept = &self.arrangement.kept;
        let same = Arc::ptr_eq(kept.before_fermatas.get(index)?, part) && kept.held == held;
        same.then(|| Arc::clone(&self.arrangement.parts[index]))
    }
}

/// Have two parts the same claims, instruments, keys and drums, lines by the numbers that they have
/// now?
fn is_claimed_alike(new: &Part, old: &Part, now: &[Option<LineId>]) -> bool {
    let same = |new: LineId, old: LineId| now.get(old.index()) == Some(&Some(new));
    let claims =
        new.claims.len() == old.claims.len()
            && new.claims.iter().zip(&old.claims).all(|(new, old)| {
                (new.from, new.to) == (old.from, old.to) && same(new.line, old.line)
            });
    let takes = new.takes.len() == old.takes.len()
        && new.takes.iter().zip(&old.takes).all(|(new, old)| new.0 == old.0 && same(new.1, old.1));
    let instruments = new.instruments.iter().zip(&old.instruments);
    let tunings = new.tunings.iter().zip(&old.tunings);
    claims
        && takes
        && new.drums == old.drums
        && new.instruments.len() == old.instruments.len()
        && new.tunings.len() == old.tunings.len()
        && instruments.into_iter().all(|(a, b)| a.0 == b.0 && std::ptr::eq(a.1, b.1))
        && tunings.into_iter().all(|(a, b)| a.0 == b.0 && std::ptr::eq(a.1, b.1))
}

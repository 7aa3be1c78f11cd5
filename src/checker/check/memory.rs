//! What the rules remember of a scoring from one run to the next.
//!
//! Most rules look for offences note by note or moment by moment, and what they find there depends
//! on a few notes around. So a run takes over what the last one found wherever no note within reach
//! is another: by stretch of a player ([`Context::offences`]) and by slice of time
//! ([`Context::moments`]). What depends on how a whole part goes on, such as breath, is taken over
//! with the part ([`Context::offences_of_part`]). What is said of the offences is said anew each time; there are few.
//!
//! All of it is forgotten where form, ensemble or declared chords are others.

use std::any::Any;
use std::collections::HashMap;
use std::ops::Range;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use super::alike::Of;
use super::context::{Context, Stretch};
use super::facts::Facts;
use super::slices::{Room, Slice, Slices, Sounding};
use super::{Rule, Scope};
use crate::arrange::{Arrangement, LineId, PackedNote, Part, VoiceCoverage, coverage_again};
use crate::cores::on_all_cores;
use crate::diagnostics::{FileId, ItemId};
use crate::music::Time;
use crate::resolve::{Piece, Verb, Voice};

/// What is remembered of one scoring.
#[derive(Default)]
pub(super) struct Memory {
    ground: Option<(Arc<Piece>, usize)>,
    lines: Vec<KnownLine>,
    parts: Vec<Arc<Part>>,
    facts: Vec<Arc<Facts>>,
    /// Counts the runs; what an earlier one than the last remembered is too old.
    run: u64,
    /// Is this run the only one? Then only what several rules of it ask for is remembered.
    pub(super) forgets: bool,
    found: Mutex<HashMap<Key, Found>>,
    /// Who plays the voices, each with the voice, and the run that found it.
    coverage: Mutex<(u64, Vec<Covered>)>,
}

/// A scoring line by the item that it is, and where its notes come from.
type KnownLine = (Option<(FileId, ItemId)>, Origin);

/// Where the notes of a line come from, as far as rules ask for it.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
enum Origin {
    /// They are written, in a voice or in the line.
    Written,
    /// They are chosen from the chords.
    Chosen,
    Other,
}

/// A voice, and who plays it.
type Covered = (Arc<Voice>, Arc<VoiceCoverage>);

/// What a rule found, and in which run.
type Found = (u64, Box<dyn Any + Send>);

/// Rule, player and stretch; `usize::MAX` for the player of moments and the stretch of whole parts,
/// one less for the stretch of what is said note by note.
type Key = (&'static str, usize, usize);

/// What became of a part since the last run.
#[derive(Clone, PartialEq, Eq, Debug)]
enum Change {
    /// It is the same.
    None,
    /// Notes from an index on, up to but not including one in the old and one in the new part.
    Notes { from: usize, old: usize, new: usize },
    /// Anything.
    All,
}

/// What became of a scoring since the last run.
pub(super) struct Changes {
    parts: Vec<Change>,
    /// Between which times anything may sound otherwise, or count otherwise for what sounds beside
    /// it; `None` if nothing does.
    window: Option<(Time, Time)>,
}

/// Notes beside those that changed for which a moment may count otherwise: more than any rule
/// looks away from the notes of a moment (two).
const REACH: usize = 6;

impl Changes {
    /// Everything is new.
    fn all(parts: usize) -> Changes {
        Changes { parts: vec![Change::All; parts], window: Some((Time::MIN, Time::MAX)) }
    }

    /// What became of these parts, where lines have other numbers now, if they are still there.
    fn of(old: &[Arc<Part>], new: &[Arc<Part>], lines: Option<&[Option<LineId>]>) -> Changes {
        let pairs: Vec<_> = old.iter().zip(new).collect();
        let notes = new.iter().map(|part| part.notes.len()).sum();
        let seen = Mutex::default();
        let parts = on_all_cores(&pairs, notes, |(old, new)| change(old, new, lines, &seen));
        let mut window: Option<(Time, Time)> = None;
        for (change, part) in parts.iter().zip(new) {
            let (first, last) = match change {
                Change::None => continue,
                Change::All => (Time::MIN, Time::MAX),
                Change::Notes { from, new, .. } => {
                    let start = |index: usize| part.notes.get(index).map(|note| note.start());
                    let first = from.checked_sub(REACH).and_then(start).unwrap_or(Time::MIN);
                    (first, start(new + REACH).unwrap_or(Time::MAX))
                }
            };
            let (from, to) = window.unwrap_or((first, last));
            window = Some((from.min(first), to.max(last)));
        }
        Changes { parts, window }
    }

    /// The index that an old note of a player has now.
    fn moved(&self, sounding: &mut Sounding) {
        if let Some(Change::Notes { old, new, .. }) = self.parts.get(sounding.player())
            && sounding.note() >= *old
        {
            *sounding = Sounding::new(sounding.player(), sounding.note() - old + new);
        }
    }
}

/// What became of notes that several players share, by where they were and are in memory.
type Seen = Mutex<HashMap<(usize, usize), Change>>;

/// What became of a part. Its notes are the same only if the same lines give them.
fn change(
    old: &Arc<Part>,
    new: &Arc<Part>,
    lines: Option<&[Option<LineId>]>,
    seen: &Seen,
) -> Change {
    if Arc::ptr_eq(old, new) {
        return Change::None;
    }
    let same = Arc::ptr_eq(&old.player, &new.player)
        && old.directions == new.directions
        && old.drums == new.drums
        && old.instruments.len() == new.instruments.len()
        && old
            .instruments
            .iter()
            .zip(&new.instruments)
            .all(|(a, b)| a.0 == b.0 && std::ptr::eq(a.1, b.1))
        && old.tunings.len() == new.tunings.len()
        && old.tunings.iter().zip(&new.tunings).all(|(a, b)| a.0 == b.0 && std::ptr::eq(a.1, b.1));
    if !same {
        return Change::All;
    }
    let now = |line: LineId| match lines {
        None => Some(line),
        Some(lines) => lines.get(line.index()).copied().flatten(),
    };
    let claims = old.claims.iter().zip(&new.claims);
    let claimed_alike = old.claims.len() == new.claims.len()
        && claims.into_iter().all(|(old, new)| {
            (old.from, old.to, now(old.line)) == (new.from, new.to, Some(new.line))
        });
    if !claimed_alike {
        return change_of_notes(&old.notes, &new.notes, |(a, b)| {
            a == b && now(old.line_of(a)) == Some(new.line_of(b))
        });
    }
    if old.notes.are_shared(&new.notes) {
        return Change::None;
    }
    let key = (old.notes.address(), new.notes.address());
    let seen = || seen.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some(known) = seen().get(&key) {
        return known.clone();
    }
    let change = change_of_notes(&old.notes, &new.notes, |(a, b)| a == b);
    seen().insert(key, change.clone());
    change
}

/// What became of some notes, where `same` says which count as the same.
fn change_of_notes(
    old: &[PackedNote],
    new: &[PackedNote],
    same: impl Fn(&(&PackedNote, &PackedNote)) -> bool,
) -> Change {
    let same = &same;
    let from = old.iter().zip(new).take_while(same).count();
    if from == old.len() && from == new.len() {
        return Change::None;
    }
    let rest = old[from..].iter().rev().zip(new[from..].iter().rev());
    let after = rest.take_while(same).count();
    Change::Notes { from, old: old.len() - after, new: new.len() - after }
}

/// The number that each line has now, if it is still there.
fn numbers_now(old: &[KnownLine], new: &[KnownLine]) -> Vec<Option<LineId>> {
    let new = new.iter().enumerate().map(|(id, line)| (*line, LineId::new(id)));
    let new: HashMap<KnownLine, LineId> = new.collect();
    old.iter().map(|line| new.get(line).copied()).collect()
}

impl Memory {
    /// Begins a run: what became of the scoring since the last one, and the facts of its parts.
    pub(super) fn begin(&mut self, arrangement: &Arrangement) -> (Changes, Vec<Arc<Facts>>) {
        let (piece, ensemble) = (&arrangement.piece, arrangement.scoring.ensemble);
        let line = |id: usize| {
            let line = arrangement.line(LineId::new(id));
            let item = line.map(|line| (line.span.file, line.span.first));
            let origin = match line.map(|line| &line.verb) {
                Some(Verb::Plays { .. } | Verb::Writes(_)) => Origin::Written,
                Some(Verb::Sustains { .. }) => Origin::Chosen,
                _ => Origin::Other,
            };
            (item, origin)
        };
        let lines: Vec<KnownLine> = (0..arrangement.lines.len()).map(line).collect();
        let same = self.ground.as_ref().is_some_and(|(old, other)| {
            let ensembles = (old.ensembles.get(*other), piece.ensembles.get(ensemble));
            Arc::ptr_eq(&old.form, &piece.form)
                && matches!(ensembles, (Some(old), Some(new)) if Arc::ptr_eq(old, new))
                && old.harmony == piece.harmony
                && self.parts.len() == arrangement.parts.len()
        });
        let changes = match same {
            true => {
                let now = (self.lines != lines).then(|| numbers_now(&self.lines, &lines));
                Changes::of(&self.parts, &arrangement.parts, now.as_deref())
            }
            false => Changes::all(arrangement.parts.len()),
        };
        let parts = arrangement.parts.iter().enumerate();
        let facts = parts.map(|(player, part)| match &changes.parts[player] {
            Change::None | Change::Notes { .. } => Arc::clone(&self.facts[player]),
            Change::All => Arc::new(Facts::new(part)),
        });
        self.facts = facts.collect();
        self.parts.clone_from(&arrangement.parts);
        self.ground = Some((Arc::clone(piece), ensemble));
        self.lines = lines;
        self.run += 1;
        (changes, self.facts.clone())
    }

    /// Who plays the notes of the voices: what nothing new reaches is taken over.
    pub(super) fn coverage(
        &self,
        arrangement: &Arrangement,
        changes: &Changes,
    ) -> Vec<Arc<VoiceCoverage>> {
        let mut kept = self.coverage.lock().unwrap_or_else(PoisonError::into_inner);
        let last = kept.0 + 1 == self.run && changes.window != Some((Time::MIN, Time::MAX));
        let before = if last { &kept.1[..] } else { &[] };
        let found = coverage_again(arrangement, before, changes.window);
        let voices = arrangement.piece.voices.iter().cloned();
        *kept = (self.run, voices.zip(found.iter().cloned()).collect());
        found
    }

    fn found(&self) -> MutexGuard<'_, HashMap<Key, Found>> {
        // A rule that broke off left whole what others found.
        self.found.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// What the last run remembered.
    fn last<T: Clone + Send + 'static>(&self, key: Key) -> Option<Vec<T>> {
        self.last_of(key)
    }

    fn last_of<T: Clone + Send + 'static>(&self, key: Key) -> Option<T> {
        let found = self.found();
        let (run, found) = found.get(&key)?;
        let found = found.downcast_ref::<T>().filter(|_| run + 1 == self.run);
        found.cloned()
    }

    /// What this run has found already.
    fn this<T: Clone + Send + 'static>(&self, key: Key) -> Option<Vec<T>> {
        let found = self.found();
        let (run, found) = found.get(&key)?;
        let found = found.downcast_ref::<Vec<T>>().filter(|_| *run == self.run);
        found.cloned()
    }

    /// Remembers what no other rule of this run asks for.
    fn remember_for_next<T: Clone + Send + 'static>(&self, key: Key, found: &[T]) {
        if !self.forgets {
            self.remember(key, found);
        }
    }

    fn remember<T: Clone + Send + 'static>(&self, key: Key, found: &[T]) {
        let remembered: Box<dyn Any + Send> = Box::new(found.to_vec());
        self.found().insert(key, (self.run, remembered));
    }
}

/// What a rule has to say of a moment: it may name notes, whose indices move.
pub(super) trait Moved: Clone + Send + 'static {
    /// Hands every note that is named to `by`.
    fn moved(&mut self, by: &dyn Fn(&mut Sounding));
}

impl Moved for Sounding {
    fn moved(&mut self, by: &dyn Fn(&mut Sounding)) {
        by(self);
    }
}

/// Values that name no notes.
macro_rules! names_no_notes {
    ($($kind:ty),*) => { $(impl Moved for $kind {
        fn moved(&mut self, _: &dyn Fn(&mut Sounding)) {}
    })* };
}
names_no_notes!((), bool, i32, f64, u16, crate::music::Pitch);

impl<T: Moved> Moved for Vec<T> {
    fn moved(&mut self, by: &dyn Fn(&mut Sounding)) {
        self.iter_mut().for_each(|one| one.moved(by));
    }
}

impl<A: Moved, B: Moved> Moved for (A, B) {
    fn moved(&mut self, by: &dyn Fn(&mut Sounding)) {
        self.0.moved(by);
        self.1.moved(by);
    }
}

impl<A: Moved, B: Moved, C: Moved> Moved for (A, B, C) {
    fn moved(&mut self, by: &dyn Fn(&mut Sounding)) {
        self.0.moved(by);
        self.1.moved(by);
        self.2.moved(by);
    }
}

/// What a rule found in a slice of time.
#[derive(Clone, PartialEq, Debug)]
pub(super) struct Moment<T> {
    pub start: Time,
    pub end: Time,
    pub what: T,
}

impl Context<'_> {
    /// What `find` finds among the notes of a stretch (indices in the part). It is asked for the
    /// notes of a range, and what it says of one may depend on so many notes before and behind it
    /// (`reach`), on nothing else that changes, and not on the number that the player has among those
    /// of his line: who has the same part is asked once.
    pub fn offences<T: Clone + Send + 'static>(
        &self,
        rule: &Rule,
        stretch: &Stretch,
        reach: usize,
        find: impl Fn(Range<usize>) -> Vec<(usize, T)>,
    ) -> Vec<(usize, T)> {
        self.alike.found(rule, stretch.player, Of::Notes(stretch.place), || {
            self.offences_by_rank(rule, stretch, reach, find)
        })
    }

    /// The same where what is found depends on the number of the player too.
    pub fn offences_by_rank<T: Clone + Send + 'static>(
        &self,
        rule: &Rule,
        stretch: &Stretch,
        reach: usize,
        find: impl Fn(Range<usize>) -> Vec<(usize, T)>,
    ) -> Vec<(usize, T)> {
        debug_assert!(matches!(rule.scope, Scope::Player(_)), "{} looks at players", rule.code);
        let Some((memory, changes)) = self.memory() else { return find(stretch.range()) };
        let key = (rule.code, stretch.player, stretch.place);
        if let Some(found) = memory.this(key) {
            return found;
        }
        let found = match (&changes.parts[stretch.player], memory.last::<(usize, T)>(key)) {
            (Change::None, Some(last)) => last,
            (Change::Notes { from, old, new }, Some(last)) => {
                let all = stretch.range();
                let first = from.saturating_sub(reach).clamp(all.start, all.end);
                let after = (new + reach).clamp(first, all.end);
                let (before, behind): (Vec<_>, Vec<_>) =
                    last.into_iter().partition(|(index, _)| index < from);
                let mut found = before;
                found.retain(|(index, _)| *index < first);
                found.extend(find(first..after));
                let behind = behind.into_iter().filter(|(index, _)| index >= old);
                let moved = behind.map(|(index, what)| (index - old + new, what));
                found.extend(moved.filter(|(index, _)| *index >= after));
                found
            }
            _ => find(stretch.range()),
        };
        memory.remember(key, &found);
        found
    }

    /// The notes of a stretch that offend by themselves.
    pub fn offences_of_notes(
        &self,
        rule: &Rule,
        stretch: &Stretch,
        offends: impl Fn(&PackedNote) -> bool,
    ) -> Vec<(usize, ())> {
        self.offences(rule, stretch, 0, |range| {
            let notes = stretch.within(range).filter(|(_, note)| offends(note));
            notes.map(|(index, _)| (index, ())).collect()
        })
    }

    /// What `find` finds in the whole part of a player. It may depend on all of his notes and on
    /// those of the players who share his line of the ensemble, on nothing else that changes, and not
    /// on his number among them.
    pub fn offences_of_part<T: Clone + Send + 'static>(
        &self,
        rule: &Rule,
        player: usize,
        find: impl FnOnce() -> Vec<(usize, T)>,
    ) -> Vec<(usize, T)> {
        let line = &self.part(player).player.line_name;
        let same = |changes: &Changes| {
            let mut line = self.parts().filter(|(_, part)| part.player.line_name == *line);
            line.all(|(index, _)| changes.parts[index] == Change::None)
        };
        self.alike
            .found(rule, player, Of::Part, || self.unless_changed(rule, (player, 0), same, find))
    }

    /// What `find` finds among all notes of a stretch. It may depend on all notes of the player, on
    /// nothing else that changes, and not on his number.
    pub fn offences_of_stretch<T: Clone + Send + 'static>(
        &self,
        rule: &Rule,
        stretch: &Stretch,
        find: impl FnOnce() -> Vec<(usize, T)>,
    ) -> Vec<(usize, T)> {
        let same = |changes: &Changes| changes.parts[stretch.player] == Change::None;
        self.alike.found(rule, stretch.player, Of::Stretch(stretch.place), || {
            self.unless_changed(rule, (stretch.player, stretch.place), same, find)
        })
    }

    /// What the notes of a player come to for a rule that puts all players together. It may depend
    /// on all that the part has, on form and era, on nothing else that changes.
    pub fn of_part<T: Send + Sync + 'static>(
        &self,
        rule: &Rule,
        player: usize,
        make: impl FnOnce(&Part) -> T,
    ) -> Arc<T> {
        let new = || self.alike.found(rule, player, Of::Sum, || Arc::new(make(self.part(player))));
        let Some((memory, changes)) = self.memory() else { return new() };
        let key = (rule.code, player, usize::MAX);
        let last = match changes.parts[player] {
            Change::None => memory.last_of::<Arc<T>>(key),
            _ => None,
        };
        let made = last.unwrap_or_else(new);
        if !memory.forgets {
            memory.found().insert(key, (memory.run, Box::new(Arc::clone(&made))));
        }
        made
    }

    /// What `what` says of each note of a player, by its index in the part. It may depend on the note
    /// itself and on how loud it is, on nothing else that changes.
    pub fn each_note<T: Clone + Send + Sync + 'static>(
        &self,
        rule: &Rule,
        player: usize,
        what: impl Fn(usize) -> T,
    ) -> Arc<Vec<T>> {
        let count = self.part(player).notes.len();
        let Some((memory, changes)) = self.memory() else {
            return Arc::new((0..count).map(what).collect());
        };
        let key = (rule.code, player, usize::MAX - 1);
        let made = match (&changes.parts[player], memory.last_of::<Arc<Vec<T>>>(key)) {
            (Change::None, Some(last)) => last,
            (Change::Notes { from, old, new }, Some(last)) => {
                let mut all = Vec::with_capacity(count);
                all.extend_from_slice(&last[..*from]);
                all.extend((*from..*new).map(what));
                all.extend_from_slice(&last[*old..]);
                Arc::new(all)
            }
            _ => Arc::new((0..count).map(what).collect()),
        };
        if !memory.forgets {
            memory.found().insert(key, (memory.run, Box::new(Arc::clone(&made))));
        }
        made
    }

    /// What the last run found for a player and stretch, where all is the same that it depends on.
    fn unless_changed<T: Clone + Send + 'static>(
        &self,
        rule: &Rule,
        (player, place): (usize, usize),
        same: impl FnOnce(&Changes) -> bool,
        find: impl FnOnce() -> Vec<(usize, T)>,
    ) -> Vec<(usize, T)> {
        debug_assert!(matches!(rule.scope, Scope::Player(_)), "{} looks at players", rule.code);
        let Some((memory, changes)) = self.memory() else { return find() };
        let key = (rule.code, player, place);
        let last = if same(changes) { memory.last(key) } else { None };
        let found = last.unwrap_or_else(find);
        memory.remember_for_next(key, &found);
        found
    }

    /// What `find` finds in each slice of time, in order. What it says of one may depend on what
    /// sounds in it, on two notes before and behind each of these, and on nothing else that
    /// changes.
    pub fn moments<T: Moved>(
        &self,
        rule: &Rule,
        mut find: impl FnMut(Slice, &mut Vec<T>),
    ) -> Vec<Moment<T>> {
        debug_assert!(matches!(rule.scope, Scope::Moment(_)), "{} looks at moments", rule.code);
        let mut look = |slices: &Slices, window: (Time, Time)| {
            let mut found = Vec::new();
            look(slices, window, &mut find, |moment| found.push(moment));
            found
        };
        let Some((memory, changes)) = self.memory() else {
            return look(self.slices(), EVERYTHING);
        };
        let key = (rule.code, usize::MAX, 0);
        let found = match (changes.window, memory.last::<Moment<T>>(key)) {
            (None, Some(last)) => last,
            (Some(window), Some(mut last)) if window != EVERYTHING => {
                last.iter_mut().for_each(|one| one.what.moved(&|note| changes.moved(note)));
                let after = last.partition_point(|one| one.start < window.1);
                let before = last.partition_point(|one| one.start < window.0);
                let behind = last.split_off(after);
                last.truncate(before);
                last.extend(look(self.slices_within(window), window));
                last.extend(behind);
                last
            }
            _ => look(self.slices(), EVERYTHING),
        };
        memory.remember_for_next(key, &found);
        found
    }

    /// The same, handed to `each` one after the other: where no next run asks for them, they are
    /// never side by side, and there may be very many.
    pub fn each_moment<T: Moved>(
        &self,
        rule: &Rule,
        mut find: impl FnMut(Slice, &mut Vec<T>),
        each: impl FnMut(Moment<T>),
    ) {
        match self.memory() {
            Some((memory, _)) if !memory.forgets => {
                self.moments(rule, find).into_iter().for_each(each);
            }
            _ => look(self.slices(), EVERYTHING, &mut find, each),
        }
    }
}

/// From before everything to behind it.
const EVERYTHING: (Time, Time) = (Time::MIN, Time::MAX);

/// Hands to `each` what `find` finds in each slice between two times.
fn look<T>(
    slices: &Slices,
    (from, to): (Time, Time),
    find: &mut impl FnMut(Slice, &mut Vec<T>),
    mut each: impl FnMut(Moment<T>),
) {
    let mut here = Vec::new();
    let mut room = Room::default();
    for index in slices.between(from, to) {
        let Some(slice) = slices.get(index, &mut room) else { break };
        let (start, end) = (slice.start, slice.end);
        find(slice, &mut here);
        here.drain(..).for_each(|what| each(Moment { start, end, what }));
    }
}

//! Who plays the notes of the source voices in a scoring, and which are played by nobody.

use std::collections::HashMap;
use std::ops::Range;
use std::rc::Rc;
use std::sync::Arc;

use super::{Arrangement, PackedNote, Part};
use crate::diagnostics::Span;
use crate::music::{Pitch, Time};
use crate::narrow::Narrow;
use crate::resolve::{Note, Role, Verb, Voice};

/// Who plays the notes of one voice.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct VoiceCoverage {
    /// Index of the voice in the piece.
    pub voice: usize,
    /// What it is for: the weightiest role in which this scoring plays it, or any other of the
    /// piece where this one does not; `None` where none plays it.
    pub role: Option<Role>,
    /// Does a line of this scoring, or of one that it keeps, play it?
    pub played: bool,
    players: Players,
}

impl VoiceCoverage {
    /// Who plays a note of the voice, as indices of parts in score order: those whose notes come
    /// from it, and those who begin a note of the same name with it, in any octave, or have such a
    /// note as a tremolo all the while.
    #[must_use]
    pub fn players(&self, note: usize) -> &[u16] {
        self.players.of(note)
    }

    /// Does it pass, anywhere, from some of those who `may` have it to others? (Some may go on: who has
    /// a note of that name there need not have the tune.)
    #[must_use]
    pub fn is_handed_over(&self, may: impl Fn(u16) -> bool) -> bool {
        let runs = self.players.runs.len();
        let without = |some: &[u16], others: &[u16]| {
            some.iter().any(|one| !others.contains(one) && may(*one))
        };
        let passes = |run: usize| {
            let (old, new) = (self.players.of_run(run - 1), self.players.of_run(run));
            without(old, new) && without(new, old)
        };
        (1..runs).any(passes)
    }

    /// The same note by note.
    pub fn notes(&self) -> impl Iterator<Item = &[u16]> {
        let runs = self.players.within(0..self.players.notes());
        runs.flat_map(|(count, players)| std::iter::repeat_n(players, count))
    }
}

/// Players by their indices, note by note. Notes that follow one another mostly have the same: each run
/// of such notes has them once.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
struct Players {
    runs: Vec<Run>,
    /// Those of the runs, one after the other, each time how many they are and then who; runs that have
    /// the same soon after one another have them at the same place.
    players: Vec<u16>,
    notes: u32,
}

/// Notes that have the same players, who are others than those of the notes before.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
struct Run {
    /// The first note, and where its players are told.
    note: u32,
    players: u32,
}

/// So many runs back the same players are looked for: voices that go together mostly have a few
/// sets of them by turns.
const LOOK_BACK: usize = 16;

impl Players {
    fn notes(&self) -> usize {
        self.notes as usize
    }

    fn of(&self, note: usize) -> &[u16] {
        let after = self.runs.partition_point(|run| run.note as usize <= note);
        self.of_run(after - 1)
    }

    fn of_run(&self, run: usize) -> &[u16] {
        match self.players[self.runs[run].players as usize..] {
            [count, ref players @ ..] => &players[..usize::from(count)],
            [] => &[],
        }
    }

    /// Adds notes behind the others that have these players.
    fn push(&mut self, count: usize, players: &[u16]) {
        if count == 0 {
            return;
        }
        if self.runs.is_empty() || self.of_run(self.runs.len() - 1) != players {
            let runs = self.runs.len();
            let mut last = (runs.saturating_sub(LOOK_BACK)..runs).rev();
            let place = match last.find(|run| self.of_run(*run) == players) {
                Some(same) => self.runs[same].players,
                None => {
                    let place = self.players.len().narrow::<u32>();
                    self.players.push(players.len().narrow::<u16>());
                    self.players.extend_from_slice(players);
                    place
                }
            };
            self.runs.push(Run { note: self.notes, players: place });
        }
        self.notes += count.narrow::<u32>();
    }

    /// The runs of some notes: how many notes, and their players.
    fn within(&self, notes: Range<usize>) -> impl Iterator<Item = (usize, &[u16])> {
        let (start, end) = (notes.start, notes.end);
        let begun = self.runs.partition_point(|run| run.note as usize <= start);
        (begun.saturating_sub(1)..self.runs.len()).map_while(move |run| {
            let begin = (self.runs[run].note as usize).max(start);
            let next = self.runs.get(run + 1).map_or(self.notes(), |next| next.note as usize);
            (begin < end).then(|| (next.min(end) - begin, self.of_run(run)))
        })
    }

    /// Do some notes have the players that others have?
    fn has(&self, notes: Range<usize>, new: &Players) -> bool {
        self.within(notes).eq(new.within(0..new.notes()))
    }

    /// The same with others in the place of some notes.
    fn with(&self, notes: Range<usize>, new: &Players) -> Players {
        let mut with = Players::default();
        let before = self.within(0..notes.start);
        let behind = self.within(notes.end..self.notes());
        for (count, players) in before.chain(new.within(0..new.notes())).chain(behind) {
            with.push(count, players);
        }
        with
    }

    fn shrunk(mut self) -> Players {
        self.runs.shrink_to_fit();
        self.players.shrink_to_fit();
        self
    }
}

/// Who plays the voices, voice by voice, with what an earlier run found, each with its voice: only
/// what lies between two times may sound otherwise than then, for as many parts.
#[must_use]
pub fn coverage_again(
    arrangement: &Arrangement,
    before: &[(Arc<Voice>, Arc<VoiceCoverage>)],
    window: Option<(Time, Time)>,
) -> Vec<Arc<VoiceCoverage>> {
    let voices = &arrangement.piece.voices;
    let known = |voice: usize| before.get(voice).map(|(old, known)| (&**old, known));
    let asked: Vec<Asked> = voices
        .iter()
        .enumerate()
        .map(|(voice, found)| Asked::new(found, known(voice).map(|(old, _)| old), window))
        .collect();
    let notes = |voice: usize| voices[voice].music.notes.within(asked[voice].new.clone());
    let all = || (0..voices.len()).flat_map(&notes);
    let from = all().map(|note| note.start).min().unwrap_or(Time::MAX);
    let to = all().map(|note| note.start + note.length).max().unwrap_or(Time::MIN);
    let mut known_by_notes: HashMap<usize, Heard> = HashMap::new();
    let heard: Vec<Heard> = arrangement
        .parts
        .iter()
        .map(|part| {
            let heard = known_by_notes.entry(part.notes.address());
            heard.or_insert_with(|| Heard::new(part, from, to)).clone()
        })
        .collect();
    let again = |voice: usize| {
        let (role, played) = role(arrangement, voice);
        let new = players(&heard, notes(voice).map(Sought::from));
        let players = match known(voice) {
            Some((_, known)) => {
                let same = voices[voice].music.notes.len() == known.players.notes()
                    && known.players.has(asked[voice].old.clone(), &new);
                if same && (known.role, known.played) == (role, played) {
                    return Arc::clone(known);
                }
                known.players.with(asked[voice].old.clone(), &new)
            }
            None => new,
        };
        Arc::new(VoiceCoverage { voice, role, played, players })
    };
    (0..voices.len()).map(again).collect()
}

/// The notes of a voice whose players are asked for, and those in whose place they stand.
struct Asked {
    old: Range<usize>,
    new: Range<usize>,
}

impl Asked {
    /// All notes that are others than before, and all within a window.
    fn new(voice: &Arc<Voice>, old: Option<&Voice>, window: Option<(Time, Time)>) -> Asked {
        let notes = &voice.music.notes;
        let Some(old) = old else { return Asked { old: 0..0, new: 0..notes.len() } };
        let before = &old.music.notes;
        let changed = (!std::ptr::eq(&**voice, old)).then(|| {
            let (notes, before) = (notes.to_vec(), before.to_vec());
            let first = notes.iter().zip(&before).take_while(|(a, b)| a == b).count();
            let rest = notes[first..].iter().rev().zip(before[first..].iter().rev());
            (first, notes.len() - rest.take_while(|(a, b)| a == b).count())
        });
        let within = window.map(|(from, to)| {
            let ended = |note: &Note| note.start + note.length <= from;
            let last = notes.begun_before(from).saturating_sub(1);
            let first = last + notes.starting_with(last).take_while(ended).count();
            (first, notes.begun_before(to).max(first))
        });
        let (first, after) = match (changed, within) {
            (Some((one, after)), Some((other, until))) => (one.min(other), after.max(until)),
            (one, other) => one.or(other).unwrap_or_default(),
        };
        Asked { old: first..before.len() - (notes.len() - after), new: first..after }
    }
}

/// The notes of a part, and the classes of each: all that is asked of most of them.
#[derive(Clone)]
struct Heard<'a> {
    notes: &'a [PackedNote],
    classes: Arc<[u16]>,
}

impl Heard<'_> {
    /// Those that sound between two times.
    fn new(part: &Part, from: Time, to: Time) -> Heard<'_> {
        let first = part.notes.partition_point(|own| own.end() <= from);
        let after = part.notes.partition_point(|own| own.start() < to).max(first);
        let notes = &part.notes[first..after];
        Heard { notes, classes: notes.iter().map(|note| classes(note.sound().pitches())).collect() }
    }
}

/// The classes of pitches, a bit each; one more for a stroke, which has none.
fn classes(pitches: &[Pitch]) -> u16 {
    match pitches {
        [] => 1 << 12,
        pitches => pitches.iter().fold(0, |all, pitch| all | 1 << pitch.midi().rem_euclid(12)),
    }
}

/// All that is asked of a note of a voice.
struct Sought {
    start: Time,
    end: Time,
    classes: u16,
    span: Span,
}

impl From<Note> for Sought {
    fn from(note: Note) -> Sought {
        let Note { start, length, span, .. } = note;
        Sought { start, end: start + length, classes: classes(note.sound.pitches()), span }
    }
}

/// So many notes of a voice are looked at together.
const TOGETHER: usize = 1024;

/// Who plays each of some notes of a voice, which follow one another.
fn players(parts: &[Heard], notes: impl Iterator<Item = Sought>) -> Players {
    let mut notes = notes.peekable();
    let begins = notes.peek().map_or(Time::MAX, |note| note.start);
    // The first note of each player that may sound with the next one.
    let begun = |part: &Heard| part.notes.partition_point(|own| own.end() <= begins);
    let mut reached: Vec<usize> = parts.iter().map(begun).collect();
    // Who has the notes of another one plays what he plays.
    let same = |player: usize| {
        let same = |other: &Heard| Arc::ptr_eq(&other.classes, &parts[player].classes);
        parts[..player].iter().position(same)
    };
    let first: Vec<Option<usize>> = (0..parts.len()).map(same).collect();
    let mut all = Players::default();
    let mut together: Vec<Sought> = Vec::new();
    let mut own: Vec<u16> = Vec::new();
    loop {
        together.clear();
        together.extend(notes.by_ref().take(TOGETHER));
        if together.is_empty() {
            return all.shrunk();
        }
        // Player by player, which notes he plays, a bit each.
        let mut plays: Vec<Rc<Vec<u64>>> = Vec::with_capacity(parts.len());
        for (player, part) in parts.iter().enumerate() {
            plays.push(match first[player] {
                Some(first) => Rc::clone(&plays[first]),
                None => Rc::new(played(part, &mut reached[player], &together)),
            });
        }
        let playing = plays.iter().enumerate().filter(|(_, own)| !own.is_empty());
        let playing: Vec<(u16, &[u64])> =
            playing.map(|(player, own)| (player.narrow::<u16>(), own.as_slice())).collect();
        for index in 0..together.len() {
            let plays = |own: &[u64]| own[index / 64] >> (index % 64) & 1 == 1;
            own.clear();
            own.extend(playing.iter().filter(|(_, own)| plays(own)).map(|(player, _)| player));
            all.push(1, &own);
        }
    }
}

/// Which of some notes a player plays, a bit each; nothing where he plays none. `at` is the first of his
/// that may sound with the first of them, and then with the last.
fn played(part: &Heard, at: &mut usize, notes: &[Sought]) -> Vec<u64> {
    let mut plays = Vec::new();
    for (index, note) in notes.iter().enumerate() {
        while part.notes.get(*at).is_some_and(|own| own.end() <= note.start) {
            *at += 1;
        }
        let (end, wanted) = (note.end, note.classes);
        let Some(one) = part.notes.get(*at).filter(|own| own.start() < end) else { continue };
        // Most begin together, or have nothing to do with one another.
        let together = one.start() == note.start && part.classes[*at] & wanted != 0;
        // Does a note that sounds meanwhile come from this one, or begin with it (or tremble
        // through it) and have its name?
        let does = |(own, classes): (&PackedNote, &u16)| {
            let trembles =
                own.attached().tremolo > 0 && own.start() <= note.start && end <= own.end();
            let same_time = own.start() == note.start || trembles;
            (same_time && classes & wanted != 0) || own.source() == note.span
        };
        let there = part.notes[*at..].iter().take_while(|own| own.start() < end);
        if together || there.zip(&part.classes[*at..]).any(does) {
            if plays.is_empty() {
                plays.resize(notes.len().div_ceil(64), 0_u64);
            }
            plays[index / 64] |= 1 << (index % 64);
        }
    }
    plays
}

/// The weightiest role in which a voice is played, and whether this scoring plays it.
fn role(arrangement: &Arrangement, voice: usize) -> (Option<Role>, bool) {
    let piece = &arrangement.piece;
    let plays = |verb: &Verb| matches!(verb, Verb::Plays { voice: played, .. } | Verb::Realises { voice: played } if *played == voice);
    let own = piece.layers(&arrangement.scoring);
    let own = own.iter().flat_map(|scoring| &scoring.lines).filter(|line| plays(&line.verb));
    // Roles stand in the order of their weight.
    let own = own.map(|line| line.role.unwrap_or(Role::Harmony)).min();
    let all = piece.scorings.iter().flat_map(|scoring| &scoring.lines);
    let all = all.filter(|line| plays(&line.verb)).filter_map(|line| line.role).min();
    (own.or(all), own.is_some())
}

#[cfg(test)]
mod tests {
    use super::Players;

    fn of(notes: &[Vec<u16>]) -> Players {
        let mut players = Players::default();
        notes.iter().for_each(|own| players.push(1, own));
        players
    }

    #[test]
    fn runs_of_notes_are_read_and_changed_note_by_note() {
        let mut seed = 11_u32;
        let mut next = |below: u32| {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (seed >> 16) % below
        };
        for _ in 0..300 {
            let mut some = |most: u32| -> Vec<Vec<u16>> {
                let sets: [&[u16]; 3] = [&[], &[2], &[0, 5]];
                (0..next(most)).map(|_| sets[next(3) as usize].to_vec()).collect()
            };
            let (old, new) = (some(30), some(6));
            let (packed, put_in) = (of(&old), of(&new));
            assert!(old.iter().enumerate().all(|(note, own)| packed.of(note) == own));
            for from in 0..=old.len() {
                for to in from..=old.len() {
                    let mut changed = old.clone();
                    changed.splice(from..to, new.iter().cloned());
                    assert_eq!(packed.with(from..to, &put_in), of(&changed));
                    assert_eq!(packed.has(from..to, &put_in), old[from..to] == new);
                }
            }
        }
    }
}

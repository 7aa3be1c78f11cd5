//! Who plays the notes of the source voices in a scoring, and which are played by nobody.

use std::collections::HashMap;
use std::ops::Range;
use std::rc::Rc;
use std::sync::Arc;

use super::{Arrangement, Part, SoundingNote};
use crate::music::Time;
use crate::narrow::Narrow;
use crate::resolve::{Note, Role, Sound, Verb, Voice};

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

    /// The same note by note.
    pub fn notes(&self) -> impl Iterator<Item = &[u16]> {
        (0..self.players.notes()).map(|note| self.players.of(note))
    }
}

/// Players by their indices, note by note: those of all notes one after the other, and where those
/// of each note begin.
#[derive(Clone, PartialEq, Eq, Debug)]
struct Players {
    /// One more than there are notes.
    first: Vec<u32>,
    players: Vec<u16>,
}

impl Players {
    fn notes(&self) -> usize {
        self.first.len() - 1
    }

    fn range(&self, notes: Range<usize>) -> Range<usize> {
        self.first[notes.start] as usize..self.first[notes.end] as usize
    }

    fn of(&self, note: usize) -> &[u16] {
        &self.players[self.range(note..note + 1)]
    }

    /// Do some notes have the players that others have?
    fn has(&self, notes: Range<usize>, new: &Players) -> bool {
        let there = self.range(notes.clone());
        let base = there.start.narrow::<u32>();
        self.players[there] == new.players
            && self.first[notes.start..=notes.end]
                .iter()
                .zip(&new.first)
                .all(|(old, new)| old - base == *new)
    }

    /// The same with others in the place of some notes.
    fn with(&self, notes: Range<usize>, new: &Players) -> Players {
        let there = self.range(notes.clone());
        let mut first = Vec::with_capacity(self.first.len() + new.notes());
        first.extend_from_slice(&self.first[..notes.start]);
        first.extend(new.first.iter().map(|at| at + there.start.narrow::<u32>()));
        let end = there.start + new.players.len();
        let moved = |at: &u32| (*at as usize - there.end + end).narrow::<u32>();
        first.extend(self.first[notes.end + 1..].iter().map(moved));
        let players = [&self.players[..there.start], &new.players, &self.players[there.end..]];
        Players { first, players: players.concat() }
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
    let notes = |voice: usize| &voices[voice].music.notes[asked[voice].new.clone()];
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
        let new = players(&heard, notes(voice));
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
            let first = notes.iter().zip(before).take_while(|(a, b)| a == b).count();
            let rest = notes[first..].iter().rev().zip(before[first..].iter().rev());
            (first, notes.len() - rest.take_while(|(a, b)| a == b).count())
        });
        let within = window.map(|(from, to)| {
            let first = notes.partition_point(|note| note.start + note.length <= from);
            (first, notes.partition_point(|note| note.start < to).max(first))
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
    notes: &'a [SoundingNote],
    classes: Arc<[u16]>,
}

impl Heard<'_> {
    /// Those that sound between two times.
    fn new(part: &Part, from: Time, to: Time) -> Heard<'_> {
        let first = part.notes.partition_point(|own| own.end() <= from);
        let after = part.notes.partition_point(|own| own.start < to).max(first);
        let notes = &part.notes[first..after];
        Heard { notes, classes: notes.iter().map(|note| classes(&note.sound)).collect() }
    }
}

/// The classes of the pitches of a sound, a bit each; one more for a stroke.
fn classes(sound: &Sound) -> u16 {
    match sound {
        Sound::Pitches(pitches) => {
            pitches.iter().fold(0, |all, pitch| all | 1 << pitch.midi().rem_euclid(12))
        }
        Sound::Stroke => 1 << 12,
    }
}

/// Who plays each of some notes of a voice, which follow one another.
fn players(parts: &[Heard], notes: &[Note]) -> Players {
    let wanted: Vec<u16> = notes.iter().map(|note| classes(&note.sound)).collect();
    // Player by player, which notes he plays, a bit each.
    let words = notes.len().div_ceil(64);
    let mut plays: Vec<Rc<Vec<u64>>> = Vec::with_capacity(parts.len());
    let mut first = vec![0_u32; notes.len() + 1];
    let begins = notes.first().map_or(Time::MAX, |note| note.start);
    for (player, part) in parts.iter().enumerate() {
        // Who has the notes of another one plays what he plays.
        let same = |other: &Heard| Arc::ptr_eq(&other.classes, &part.classes);
        if let Some(same) = parts[..player].iter().position(same) {
            each_bit(&plays[same]).for_each(|index| first[index + 1] += 1);
            plays.push(Rc::clone(&plays[same]));
            continue;
        }
        let mut own_plays = Vec::new();
        let mut at = part.notes.partition_point(|own| own.end() <= begins);
        for (index, (note, wanted)) in notes.iter().zip(&wanted).enumerate() {
            while part.notes.get(at).is_some_and(|own| own.end() <= note.start) {
                at += 1;
            }
            let end = note.start + note.length;
            let Some(one) = part.notes.get(at).filter(|own| own.start < end) else { continue };
            // Most begin together, or have nothing to do with one another.
            let together = one.start == note.start && part.classes[at] & wanted != 0;
            // Does a note that sounds meanwhile come from this one, or begin with it (or tremble
            // through it) and have its name?
            let does = |(own, classes): (&SoundingNote, &u16)| {
                let trembles =
                    own.attached.tremolo > 0 && own.start <= note.start && end <= own.end();
                let same_time = own.start == note.start || trembles;
                (same_time && classes & wanted != 0) || own.source == note.span
            };
            let there = part.notes[at..].iter().take_while(|own| own.start < end);
            if together || there.zip(&part.classes[at..]).any(does) {
                if own_plays.is_empty() {
                    own_plays.resize(words, 0);
                }
                own_plays[index / 64] |= 1_u64 << (index % 64);
                first[index + 1] += 1;
            }
        }
        plays.push(Rc::new(own_plays));
    }
    for index in 1..first.len() {
        first[index] += first[index - 1];
    }
    let mut next = first.clone();
    let mut players = vec![0; first.last().map_or(0, |all| *all as usize)];
    for (player, own) in plays.iter().enumerate() {
        for index in each_bit(own) {
            let place = &mut next[index];
            players[*place as usize] = player.narrow::<u16>();
            *place += 1;
        }
    }
    Players { first, players }
}

/// The places of all bits that are set, in order.
fn each_bit(words: &[u64]) -> impl Iterator<Item = usize> {
    words.iter().enumerate().flat_map(|(word, bits)| {
        let mut bits = *bits;
        std::iter::from_fn(move || {
            let bit = (bits != 0).then(|| bits.trailing_zeros() as usize)?;
            bits &= bits - 1;
            Some(word * 64 + bit)
        })
    })
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

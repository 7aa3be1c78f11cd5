//! Between notation and writers: which staves, voices and signs stand on which pages.
//!
//! From one arrangement come a full score ([`full_score`]; at concert pitch from a score that was
//! notated so), a condensed score ([`condensed_score`]) and the part of each player ([`part`]). An
//! [`Edition`] says all that a page shows; writers put it into their format and decide nothing.

mod cast;
mod compare;
mod condensed;
mod cues;
mod divided;
mod hairpin_words;
mod in_common;
mod levels;
mod lifted;
mod model;
mod octaves;
mod partings;
mod rests;
mod shared_hairpins;
mod shared_words;
mod spans;
mod staves;

use std::ops::Range;

use crate::arrange::Arrangement;
use crate::notate::{ElementKind, FrameBar, Score, ScoreMovement};

pub use compare::{BarNews, news};
pub use condensed::share as share_staff;
pub use model::*;
pub(crate) use rests::Rests;
pub use rests::rest_runs;

/// On which staves the halves of a section stand that divides.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Halves {
    /// Both on one, as they read them.
    Together,
    /// Each on one of its own, where no two voices can stand on a staff.
    Apart,
}

/// The full score: each player on staves of his own. Of a score that was notated at concert pitch
/// ([`notate_at`](crate::notate::notate_at)) it is one at concert pitch.
#[must_use]
pub fn full_score(score: &Score) -> Edition<'_> {
    full_score_with(score, Halves::Together)
}

/// The same with the halves of sections on staves as it is said.
#[must_use]
pub fn full_score_with(score: &Score, halves: Halves) -> Edition<'_> {
    players_of_score(score, score.first..score.first + score.staves.len(), halves)
}

/// The staves of some players as they stand in a full score.
///
/// # Panics
/// If the score has no staves of theirs.
#[must_use]
pub fn players_of_score(score: &Score, players: Range<usize>, halves: Halves) -> Edition<'_> {
    let kind = if score.concert { Kind::ConcertScore } else { Kind::Score };
    of_players(score, kind, players, halves)
}

/// The players who read from one page with a player: the halves of a section that divides, or he alone.
fn desk(score: &Score, player: usize) -> Range<usize> {
    let staff = |player: usize| score.staff_of(player);
    let with = |one: usize, other: usize| {
        let pair = staff(one).zip(staff(other));
        pair.is_some_and(|(one, other)| condensed::are_of_one_section(one, other))
    };
    let begin = player - usize::from(player > 0 && with(player - 1, player));
    begin..begin + 1 + usize::from(with(begin, begin + 1))
}

impl Edition<'_> {
    /// The same pages without their bars: who plays, under which names.
    #[must_use]
    pub fn without_bars<'b>(self) -> Edition<'b> {
        let staff = |staff: EditionStaff| EditionStaff {
            part: staff.part,
            bars: Vec::new(),
            spans: Vec::new(),
        };
        Edition {
            kind: self.kind,
            head: self.head,
            bars: &[],
            movements: self.movements,
            players: self.players,
            parts: self.parts,
            staves: self.staves.into_iter().map(staff).collect(),
            groups: self.groups,
            partings: Vec::new(),
        }
    }
}

impl Edition<'static> {
    /// These pages with what all staves share in their bars, and no staves.
    pub(crate) fn over(self, bars: &[FrameBar]) -> Edition<'_> {
        Edition { bars, staves: Vec::new(), ..self.without_bars() }
    }

    /// Puts the players of another edition of the same kind behind these.
    pub fn add(&mut self, more: Edition<'static>) {
        let (players, parts, staves) = (self.players.len(), self.parts.len(), self.staves.len());
        let moved = |range: &Range<usize>, by: usize| range.start + by..range.end + by;
        self.players.extend(
            more.players.into_iter().map(|one| EditionPlayer { part: one.part + parts, ..one }),
        );
        self.parts.extend(more.parts.into_iter().map(|one| EditionPart {
            players: moved(&one.players, players),
            staves: moved(&one.staves, staves),
            ..one
        }));
        self.staves.extend(
            more.staves.into_iter().map(|one| EditionStaff { part: one.part + parts, ..one }),
        );
        self.groups = cast::groups(self);
    }
}

/// A condensed score: players of a kind share a staff where they read the same instrument in the
/// same key.
#[must_use]
pub fn condensed_score(score: &Score) -> Edition<'_> {
    let mut edition = empty(score, Kind::CondensedScore);
    for players in condensed::pairs(score) {
        add_condensed(&mut edition, score, players);
    }
    edition.groups = cast::groups(&edition);
    edition
}

/// One player, or two who share a staff, as they stand in a condensed score.
///
/// # Panics
/// If the score has no staff of theirs.
#[must_use]
pub fn players_of_condensed(score: &Score, players: Range<usize>) -> Edition<'_> {
    let mut edition = empty(score, Kind::CondensedScore);
    add_condensed(&mut edition, score, players);
    edition.groups = cast::groups(&edition);
    edition
}

fn add_condensed<'a>(edition: &mut Edition<'a>, score: &'a Score, players: Range<usize>) {
    match &score.staves[players.start - score.first..players.end - score.first] {
        [first, second] => condensed::add_pair(edition, [first, second], players.start),
        own => own.iter().for_each(|own| staves::add_player(edition, own, players.start)),
    }
}

/// Does a condensed score differ from the full one: do any players share a staff?
#[must_use]
pub fn condenses(score: &Score) -> bool {
    condensed_staves(score) < score.staves.len()
}

/// How many staves a condensed score has, the two of one player counted as one.
#[must_use]
pub fn condensed_staves(score: &Score) -> usize {
    condensed::pairs(score).len()
}

/// What a part may have beside its player's own notes.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Cueing {
    /// Bars of rest from which on an entry has a cue; 0 for no cues.
    pub after_bars: u32,
}

impl Default for Cueing {
    /// Eight bars (common practice).
    fn default() -> Cueing {
        Cueing { after_bars: 8 }
    }
}

/// One player's part (of a section that divides that of both halves) without cues: rests counted together, all keys and crooks at the head.
///
/// # Panics
/// If the score has no staff of that player.
#[must_use]
pub fn part(score: &Score, player: usize) -> Edition<'_> {
    part_with(score, player, Halves::Together)
}

/// The same with the halves of a section on staves as it is said.
///
/// # Panics
/// If the score has no staff of that player.
#[must_use]
pub fn part_with(score: &Score, player: usize, halves: Halves) -> Edition<'_> {
    let mut edition = of_players(score, Kind::Part(player), desk(score, player), halves);
    tacet(&mut edition);
    rests::count(&mut edition);
    edition
}

/// One player's part with cues, which show before an entry after a long rest what the player hears
/// best then. `score` is that of the arrangement.
///
/// # Panics
/// If the score has no staff of that player.
#[must_use]
pub fn part_with_cues<'a>(
    arrangement: &Arrangement,
    score: &'a Score,
    player: usize,
    cueing: Cueing,
) -> Edition<'a> {
    let players = desk(score, player);
    let mut edition = of_players(score, Kind::Part(player), players, Halves::Together);
    if cueing.after_bars > 0 {
        cues::add(&mut edition, arrangement, player, cueing);
    }
    tacet(&mut edition);
    rests::count(&mut edition);
    edition
}

/// Who has nothing to play in a movement reads "tacet".
fn tacet(edition: &mut Edition) {
    let plays = |bar: usize| {
        edition.staves.iter().flat_map(|staff| &staff.bars[bar].voices).any(|voice| {
            voice.elements.iter().any(|element| matches!(element.kind, ElementKind::Note(_)))
        })
    };
    let silent: Vec<bool> =
        edition.movements.iter().map(|movement| !movement.bars.clone().any(plays)).collect();
    for (movement, silent) in edition.movements.iter_mut().zip(silent) {
        movement.tacet = silent;
    }
}

fn of_players(score: &Score, kind: Kind, players: Range<usize>, halves: Halves) -> Edition<'_> {
    let mut edition = empty(score, kind);
    let mut index = players.start;
    while index < players.end {
        let desk = desk(score, index);
        if let [first, second] = &score.staves[desk.start - score.first..desk.end - score.first]
            && halves == Halves::Together
            && condensed::are_halves(first, second)
        {
            condensed::add_pair(&mut edition, [first, second], desk.start);
            index = desk.end;
            continue;
        }
        staves::add_player(&mut edition, &score.staves[index - score.first], index);
        index += 1;
    }
    edition.groups = cast::groups(&edition);
    edition
}

fn movements(score: &Score) -> Vec<Movement> {
    if score.movements.is_empty() {
        return vec![Movement { title: None, bars: 0..score.frame.len(), tacet: false }];
    }
    let movement = |one: &ScoreMovement| Movement {
        title: Some(one.title.clone()),
        bars: one.bars.clone(),
        tacet: false,
    };
    score.movements.iter().map(movement).collect()
}

/// An edition that nobody plays from yet.
fn empty(score: &Score, kind: Kind) -> Edition<'_> {
    Edition {
        kind,
        head: cast::head(score, kind),
        bars: &score.frame,
        movements: movements(score),
        players: Vec::new(),
        parts: Vec::new(),
        staves: Vec::new(),
        groups: Vec::new(),
        partings: Vec::new(),
    }
}

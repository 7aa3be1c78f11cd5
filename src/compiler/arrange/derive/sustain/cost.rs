//! What a held chord costs, and what the way from one to the next.
//!
//! Sources: completeness, doubling of root and fifth before the third, no leading note or seventh
//! twice in one choir, no parallel fifths and octaves, sevenths and suspensions that resolve by
//! step downwards, leading notes that rise, least movement, no augmented leaps: the rules of
//! E. Prout, Harmony: Its Theory and Practice, 1889, ch. V to VIII (from memory). Wide below and
//! close above, unisons last: E. Prout, The Orchestra, vol. 2, 1899 (from memory). The low
//! interval limits are those of arrangers' tables, from memory (Film Music Theory
//! after Lowell and Pullig, Arranging for Large Jazz Ensemble, agrees). All weights are our
//! heuristic: only
//! their order means anything.

use std::collections::HashMap;
use std::rc::Rc;

use smallvec::SmallVec;

use crate::music::{Chord, ChordQuality, Key, Pitch, PitchName};
use crate::narrow::Narrow;

/// The most players that are voiced together; others of the choir join them one by one.
pub(super) const MOST: usize = 4;

/// Heights of the leading players' notes as MIDI key numbers, from the highest player down;
/// [`REST`] for those who rest.
pub(super) type Row = [i16; MOST];

/// Not a note.
pub(super) const REST: i16 = -1;

/// A player who could hold a note and rests: worse than any fault of part-writing, since a section
/// that plays before and after does not fall silent for one.
pub(super) const RESTING: u32 = 2500;

/// The same for natural brass and drums, whose notes come and go with the chords.
pub(super) const RESTING_NATURAL: u32 = 290;

/// Two parts in parallel fifths, octaves or unisons.
pub(super) const PARALLEL: u32 = 1200;

/// Two parts in contrary fifths or octaves.
pub(super) const CONTRARY: u32 = 50;

/// A note given up while its chord stands still: what is held is held.
const STILL: u32 = 25;

/// The leading note or the seventh a second time in one choir.
pub(super) const TENDER_TWICE: u32 = 1500;

/// Two players of a choir in unison, while other notes are free.
pub(super) const UNISON: u32 = 60;

/// An augmented interval in one part, and a diminished one (a semitone's step apart): the first is
/// all but forbidden, the second wants a reason. (E. Prout, Harmony, 1889, ch. III, from memory.)
pub(super) const AUGMENTED: u32 = 400;
const DIMINISHED: u32 = 25;

/// A choir with another note than the bass at its bottom, low down: its fifth within a phrase and
/// in the last chord of a section.
const SIX_FOUR: u32 = 12;
const SIX_FOUR_AT_THE_END: u32 = 120;

/// Lower than this the bottom of a choir is heard as a bass.
const DEEP: i16 = 60;

/// Below this key number the interval of so many semitones is muddy: index 1 the minor second.
const MUDDY_BELOW: [i16; 12] = [0, 52, 51, 48, 46, 45, 35, 37, 41, 41, 41, 41];

/// The most members that a chord has.
const MEMBERS: usize = 5;

/// Sets of members, one bit for each.
pub(super) const SETS: usize = 1 << MEMBERS;

/// Where a note of a chord wants to go.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub(in crate::arrange::derive) enum Tendency {
    /// Nowhere.
    #[default]
    Free,
    /// A step down: sevenths, ninths, suspended fourths, diminished fifths above a leading note.
    Down,
    /// A semitone up: the leading note.
    Up,
}

/// What a chord asks of those who hold it.
#[derive(Clone)]
pub(in crate::arrange::derive) struct Wants {
    /// By pitch class: the place among the members.
    place: [Option<u8>; 12],
    leading: Option<i32>,
    members: SmallVec<[Member; MEMBERS]>,
    /// Its pitch classes as a set of bits.
    pub(super) classes: u16,
    /// By pitch class.
    pub(super) tendencies: [Tendency; 12],
    /// By pitch class: the place of its name on the line of fifths.
    fifths: [Option<i8>; 12],
    /// Pitch classes of the root and the perfect fifth.
    root: i32,
}

/// What chords ask, each worked out once.
#[derive(Default)]
pub(in crate::arrange::derive) struct KnownWants(HashMap<(Chord, Key), Rc<Wants>>);

impl KnownWants {
    pub(in crate::arrange::derive) fn of(&mut self, chord: &Chord, key: Key) -> Rc<Wants> {
        let wants = self.0.entry((*chord, key));
        Rc::clone(wants.or_insert_with(|| Rc::new(Wants::new(chord, key))))
    }
}

#[derive(Clone)]
struct Member {
    /// What it costs a choir that is complete in itself to lack it.
    missing: u32,
    /// What it costs if nobody at all has it.
    missed_by_all: u32,
    /// `None` where it must not be doubled.
    doubled: Option<u32>,
}

impl Wants {
    pub(in crate::arrange::derive) fn new(chord: &Chord, key: Key) -> Wants {
        let names = chord.members();
        let leading = leading_class(chord, key);
        let above = chord.quality.intervals();
        let mut place = [None; 12];
        let mut members = SmallVec::new();
        let mut classes = 0;
        let mut tendencies = [Tendency::Free; 12];
        let mut fifths = [None; 12];
        for (index, name) in names.iter().enumerate() {
            let steps = index.checked_sub(1).and_then(|i| above.get(i)).copied();
            let (missing, missed_by_all, doubled) = match steps {
                None => (45, 100, Some(5)),
                Some((2, _)) => (60, 400, Some(25)),
                // A suspended note stands for the third and wants its resolution alone.
                Some((1, _) | (3, 5)) => (60, 400, None),
                Some((3, _)) => (40, 80, Some(35)),
                // An augmented sixth.
                Some((5, 10)) => (45, 330, None),
                Some((4, 7)) => (15, 20, Some(10)),
                // A fifth that is not perfect colours the chord, so it is missed more.
                Some((4, _)) => (40, 80, Some(35)),
                Some((6, _)) => (45, 330, None),
                Some((5, _)) => (35, 80, Some(40)),
                Some(_) => (20, 60, None),
            };
            let class = name.class() as usize;
            fifths[class] = Some(name.fifths().narrow::<i8>());
            let is_leading = leading == Some(name.class());
            let doubled = if is_leading { None } else { doubled };
            if is_leading {
                tendencies[class] = Tendency::Up;
            } else if matches!(steps, Some((3, 5) | (6 | 8, _) | (4, 6))) {
                tendencies[class] = Tendency::Down;
            }
            place[class] = Some(index.narrow::<u8>());
            classes |= 1 << class;
            members.push(Member { missing, missed_by_all, doubled });
        }
        // A bass that is foreign to the chord: who has the bass may have it, and nobody misses it.
        if let Some(bass) = foreign_bass(chord)
            && members.len() < MEMBERS
        {
            let class = bass.class() as usize;
            place[class] = Some(members.len().narrow::<u8>());
            fifths[class] = Some(bass.fifths().narrow::<i8>());
            members.push(Member { missing: 0, missed_by_all: 0, doubled: Some(0) });
        }
        let root = chord.root.class();
        Wants { place, leading, members, classes, tendencies, fifths, root }
    }

    /// What it costs to move to another note of the same chord.
    pub(super) fn still(&self, next: &Wants) -> u32 {
        if self.classes == next.classes { STILL } else { 0 }
    }

    /// What it costs that an interval to a note of the next chord is augmented or diminished.
    pub(in crate::arrange::derive) fn leap(&self, from: i16, to: i16, next: &Wants) -> u32 {
        let way = to - from;
        if from == REST || to == REST || way.unsigned_abs() <= 2 {
            return 0;
        }
        let (Some(a), Some(b)) = (self.fifths[class(from)], next.fifths[class(to)]) else {
            return 0;
        };
        // Upwards an augmented interval goes six fifths and more to the sharp side.
        match i16::from(b - a) * way.signum() {
            6.. => AUGMENTED,
            ..=-6 => DIMINISHED,
            _ => 0,
        }
    }

    /// What it costs a choir to have this note at its bottom; `ends` is the last chord of a
    /// section. Root, then third; the fifth makes a six-four chord of it.
    pub(super) fn at_bottom(&self, height: i16, bass: i32, ends: bool) -> u32 {
        let own = class(height).narrow::<i32>();
        let cost = match (own - self.root).rem_euclid(12) {
            _ if own == bass => 0,
            0 => 3,
            6 | 7 if ends => SIX_FOUR_AT_THE_END,
            6 | 7 => SIX_FOUR,
            _ if ends => SIX_FOUR_AT_THE_END / 2,
            _ => SIX_FOUR / 2,
        };
        if height < DEEP { cost } else { cost / 3 }
    }

    /// What it costs to go on to a note of the next chord, if the first wants to go elsewhere.
    pub(in crate::arrange::derive) fn unresolved(
        &self,
        from: i16,
        to: i16,
        next: &Wants,
        top: bool,
    ) -> u32 {
        if from == REST || self.classes == next.classes {
            return 0;
        }
        unresolved(self.tendencies[class(from)], from, to, next.classes, top)
    }

    /// Has a note to fall by a step into the next chord, could it, and do the notes that follow leave
    /// it where it was?
    pub(super) fn left_hanging(&self, height: i32, then: &[Pitch], next: &Wants) -> bool {
        let own = height.narrow::<i16>();
        then.iter().all(|to| self.unresolved(own, to.midi().narrow::<i16>(), next, false) > 0)
            && self.tendencies[class(own)] == Tendency::Down
            && !then.is_empty()
    }

    /// Which member of the chord a note is.
    pub(super) fn member(&self, height: i16) -> Option<usize> {
        self.place[class(height)].map(usize::from)
    }

    /// The members among some pitch classes, as a set of bits.
    pub(super) fn members_among(&self, classes: u16) -> usize {
        let among = |class: &usize| classes >> class & 1 == 1;
        let places = (0..12usize).filter(among).filter_map(|class| self.place[class]);
        places.fold(0, |set, place| set | 1 << place)
    }

    /// Is this the leading note?
    pub(super) fn leading(&self, height: i16) -> bool {
        self.leading == Some(class(height).narrow::<i32>())
    }

    /// Must a second player of the choir keep away from this note?
    pub(in crate::arrange::derive) fn tender(&self, height: i16) -> bool {
        self.member(height).is_some_and(|member| self.members[member].doubled.is_none())
    }

    /// Is this the root or the perfect fifth?
    pub(in crate::arrange::derive) fn firm(&self, height: i16) -> bool {
        matches!((i32::from(height) - self.root).rem_euclid(12), 0 | 7)
    }

    /// What it costs to have a member so many times over.
    pub(super) fn doubled(&self, member: usize, times: u32) -> u32 {
        self.members[member].doubled.map_or(TENDER_TWICE, |cost| cost * times) * times
    }

    /// What it costs more to double a note of an outer voice: root, fifth, then third.
    pub(super) fn doubles_voice(&self, height: i16) -> u32 {
        self.member(height).map_or(0, |member| self.doubled(member, 1) / 5)
    }

    /// What it costs one more of so many players of a choir to have a member that others have so many
    /// times already: a large choir has each several times, root and fifth before the third.
    pub(super) fn shared(&self, member: usize, times: u32, players: usize) -> u32 {
        let fair = (players / self.members.len().max(1)).narrow::<u32>();
        self.doubled(member, times.saturating_sub(fair.saturating_sub(1)))
    }

    /// What a choir of so many players lacks that has these members. Two players cannot be a chord.
    pub(super) fn lacks(&self, has: usize, players: usize) -> u32 {
        let all: u32 = self.absent(has).map(|member| member.missing).sum();
        if players >= COMPLETE { all } else { all / 4 }
    }

    /// What all together lack who have these members.
    pub(super) fn all_lack(&self, has: usize) -> u32 {
        self.absent(has).map(|member| member.missed_by_all).sum()
    }

    fn absent(&self, has: usize) -> impl Iterator<Item = &Member> {
        self.members.iter().enumerate().filter(move |(i, _)| has >> i & 1 == 0).map(|(_, m)| m)
    }
}

/// The bass of a chord that is none of its members: of "Em/D".
pub(super) fn foreign_bass(chord: &Chord) -> Option<PitchName> {
    let members = chord.members();
    chord.bass.filter(|bass| members.iter().all(|member| member.class() != bass.class()))
}

/// So many players of a choir are a whole chord by themselves.
pub(super) const COMPLETE: usize = 3;

fn class(height: i16) -> usize {
    usize::from(height.rem_euclid(12).unsigned_abs())
}

/// The class of the note that wants to rise by a semitone: the leading note of the key as the
/// third or the root of a chord, the third of any dominant seventh, the root of a diminished chord, an augmented sixth.
pub(in crate::arrange::derive) fn leading_class(chord: &Chord, key: Key) -> Option<i32> {
    let members = chord.members();
    let third = members.get(1).map(|name| name.class());
    let root = chord.root.class();
    match chord.quality {
        ChordQuality::DominantSeventh
        | ChordQuality::DominantNinth
        | ChordQuality::DominantMinorNinth
        | ChordQuality::DominantFlatFifth
        | ChordQuality::AugmentedSeventh => third,
        ChordQuality::AugmentedSixth | ChordQuality::AugmentedSixthAndFourth => {
            members.last().map(|name| name.class())
        }
        ChordQuality::Diminished | ChordQuality::DiminishedSeventh => Some(root),
        _ => {
            let leading = key.leading_note().class();
            (third == Some(leading) || root == leading).then_some(leading)
        }
    }
}

/// The leading players of a choir.
#[derive(Clone, Copy, Debug)]
pub(super) struct Leaders {
    /// What it costs each to rest although he has a note of the chord; 0 where he has none.
    pub(super) resting: [u32; MOST],
    /// How many players of the choir stand between each and the one before.
    pub(super) room: [i16; MOST],
    /// How many players the choir has in all.
    pub(super) players: usize,
}

/// What a chord costs as the leaders hold it, and the members that they have; `None` if they
/// cross or have foreign notes.
pub(super) fn chord(row: &Row, wants: &Wants, leaders: &Leaders) -> Option<(u32, usize)> {
    let mut counts = [0u32; MEMBERS];
    let mut cost = 0;
    let mut above: Option<i16> = None;
    for (player, &note) in row.iter().enumerate() {
        if note == REST {
            cost += leaders.resting[player];
            continue;
        }
        counts[wants.member(note)?] += 1;
        if let Some(above) = above {
            if note > above {
                return None;
            }
            cost += gap(above, note, leaders.room[player]);
        }
        above = Some(note);
    }
    let mut has = 0;
    for (member, &count) in counts.iter().enumerate().take(wants.members.len()) {
        if count > 0 {
            has |= 1 << member;
            cost += wants.doubled(member, count - 1);
        }
    }
    Some((cost + wants.lacks(has, leaders.players), has))
}

/// What the distance between neighbours costs, with `room` others to stand between them.
fn gap(above: i16, below: i16, room: i16) -> u32 {
    let interval = above - below;
    let usual = if below >= 55 { 9 } else { 12 } + 5 * room;
    let wide = (interval - usual).max(0).unsigned_abs();
    let narrow = (4 * room - interval).max(0).unsigned_abs();
    beside(interval, below) + 3 * u32::from(wide) + 10 * u32::from(narrow)
}

/// What it costs to stand so near to a neighbour.
pub(super) fn beside(interval: i16, below: i16) -> u32 {
    let muddy = MUDDY_BELOW.get(usize::from(interval.unsigned_abs())).is_some_and(|l| below < *l);
    (match interval {
        0 => UNISON,
        1 => 25,
        2 => 8,
        12 => 4,
        _ => 0,
    }) + if muddy { 90 } else { 0 }
}

/// A note far from the middle of the compass is held with more care.
pub(super) fn far_from(middle: i16, note: i16) -> u32 {
    let far = u32::from((note - middle).unsigned_abs());
    far + 2 * far.saturating_sub(6)
}

/// Is the interval from one to the other muddy so low?
pub(super) fn muddy(low: i16, high: i16) -> bool {
    MUDDY_BELOW.get(usize::from((high - low).unsigned_abs())).is_some_and(|limit| low < *limit)
}

/// Two parts that move in one direction from a perfect fifth, octave or unison to another of the
/// same kind. Two players on one note in both chords are one voice and no fault.
pub(super) fn parallel(one: (i16, i16), other: (i16, i16)) -> bool {
    consecutive(one, other) && (one.1 > one.0) == (other.1 > other.0)
}

/// The same in contrary motion, as at a cadence the bass and a part above it may go. (E. Prout,
/// Harmony, 1889, ch. IV, from memory.)
pub(super) fn contrary(one: (i16, i16), other: (i16, i16)) -> bool {
    consecutive(one, other) && (one.1 > one.0) != (other.1 > other.0)
}

/// Parallel or contrary.
fn consecutive(one: (i16, i16), other: (i16, i16)) -> bool {
    // Quickest first: this is asked more often than anything else. Both move by the same interval,
    // octaves aside.
    let (way, other_way) = (one.1 - one.0, other.1 - other.0);
    if (way - other_way) % 12 != 0 || way == 0 || other_way == 0 {
        return false;
    }
    // From a unison the one who goes higher is above.
    let (above, below) = if one >= other { (one, other) } else { (other, one) };
    let (before, after) = (above.0 - below.0, above.1 - below.1);
    let class = before.rem_euclid(12);
    (class == 0 || class == 7)
        && after.rem_euclid(12) == class
        && after >= 0
        && (before != 0 || after != 0)
}

/// Of parallels: are they octaves or unisons, rather than fifths?
pub(super) fn in_octaves(one: (i16, i16), other: (i16, i16)) -> bool {
    (one.0 - other.0) % 12 == 0
}

/// What the movement of one player costs.
pub(super) fn move_of(a: i16, b: i16) -> u32 {
    if a == b {
        return 0;
    }
    if a == REST || b == REST {
        return COMES_OR_GOES;
    }
    MOVES[usize::from((b - a).unsigned_abs()).min(FAR)]
}

/// What it costs that a note does not go where it wants to, where the next chord lets it; `top` is
/// the highest player of the choir, whose leading note is heard most.
pub(super) fn unresolved(tendency: Tendency, a: i16, b: i16, next: u16, top: bool) -> u32 {
    let there = |height: i16| next >> class(height) & 1 == 1;
    match tendency {
        Tendency::Free => 0,
        _ if a == b || b == REST => 0,
        Tendency::Down => {
            let steps = [a - 1, a - 2];
            if !steps.into_iter().any(there) || steps.contains(&b) { 0 } else { UNRESOLVED }
        }
        Tendency::Up if !there(a + 1) || b == a + 1 => 0,
        Tendency::Up => {
            if top {
                40
            } else {
                12
            }
        }
    }
}

/// A seventh, ninth or suspended fourth that does not fall where it could.
pub(super) const UNRESOLVED: u32 = 270;

/// A player who begins or ends to sound.
const COMES_OR_GOES: u32 = 25;

/// Farther than this is as bad as this.
const FAR: usize = 24;

/// What a movement by so many semitones costs: little by step, more beyond a third, much beyond a
/// fifth, most by a seventh, and a tritone is never sung gladly.
const MOVES: [u32; FAR + 1] = {
    let mut costs = [0; FAR + 1];
    let (mut way, mut steps) = (0, 0);
    while way <= FAR {
        costs[way] = steps
            + if way > 4 { 30 } else { 0 }
            + if way > 7 { 40 } else { 0 }
            + if way == 10 || way == 11 { 180 } else { 0 }
            + if way > 12 { 260 } else { 0 }
            + if way == 6 { 12 } else { 0 };
        (way, steps) = (way + 1, steps + 4);
    }
    costs
};

/// What the pairs of the leaders cost that move in parallels, or in contrary fifths and octaves.
pub(super) fn consecutives(from: &Row, to: &Row) -> u32 {
    let mut cost = 0;
    for player in 0..MOST {
        let (a, b) = (from[player], to[player]);
        if a == REST || b == REST || a == b {
            continue;
        }
        for below in player + 1..MOST {
            let (c, d) = (from[below], to[below]);
            if c != REST && d != REST && consecutive((a, b), (c, d)) {
                cost += if (b > a) == (d > c) { PARALLEL } else { CONTRARY };
            }
        }
    }
    cost
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::music::Mode;

    fn d_minor() -> Key {
        Key::new("D".parse().unwrap(), Mode::Minor).unwrap()
    }

    fn cost(symbol: &str, row: Row) -> u32 {
        let chord = Chord::read(symbol).unwrap();
        let resting = [RESTING; MOST];
        let leaders = Leaders { resting, room: [0; MOST], players: 4 };
        super::chord(&row, &Wants::new(&chord, d_minor()), &leaders).unwrap().0
    }

    #[test]
    fn the_leading_note_and_the_seventh_are_never_doubled() {
        for row in [[73, 69, 61, REST], [79, 69, 67, REST]] {
            assert!(cost("A7", row) > cost("A7", [79, 73, 69, REST]) + 1000, "{row:?}");
        }
        assert!(cost("A", [73, 69, 61, 57]) > cost("A", [73, 69, 64, 57]) + 1000);
    }

    #[test]
    fn three_players_prefer_the_whole_triad_and_four_double_the_root() {
        assert!(cost("Dm", [69, 65, 62, REST]) < cost("Dm", [74, 69, 62, REST]));
        assert!(cost("Dm", [74, 69, 65, 62]) < cost("Dm", [77, 69, 65, 62]));
    }

    #[test]
    fn nobody_rests_for_a_fault() {
        assert!(cost("A", [73, 69, 61, REST]) > cost("A", [73, 69, 61, 57]));
    }

    #[test]
    fn thirds_in_the_depth_are_muddy() {
        assert!(cost("Dm", [REST, REST, 41, 38]) > cost("Dm", [REST, REST, 53, 50]));
    }

    #[test]
    fn fifths_that_move_together_are_faults_and_unisons_that_stay_one_voice_are_not() {
        let parallels = |a: &Row, b: &Row| consecutives(a, b) / PARALLEL;
        assert_eq!(parallels(&[69, 62, REST, REST], &[67, 60, REST, REST]), 1);
        assert_eq!(parallels(&[74, 62, REST, REST], &[72, 60, REST, REST]), 1);
        assert!(parallel((62, 60), (69, 67)) && !parallel((62, 60), (67, 65)), "fourths are not");
        assert_eq!(parallels(&[62, 62, REST, REST], &[60, 60, REST, REST]), 0);
        assert!(parallel((67, 69), (67, 81)) && parallel((67, 81), (67, 69)), "from a unison");
        assert_eq!(parallels(&[69, 62, REST, REST], &[69, 62, REST, REST]), 0);
        assert_eq!(parallels(&[69, 65, REST, REST], &[67, 64, REST, REST]), 0);
    }

    #[test]
    fn sevenths_fall_and_leading_notes_rise_where_the_next_chord_lets_them() {
        let dm = Wants::new(&Chord::read("Dm").unwrap(), d_minor()).classes;
        let a7 = Wants::new(&Chord::read("A7").unwrap(), d_minor());
        let of = |a: i16, b: i16, top| {
            unresolved(a7.tendencies[usize::from(a.unsigned_abs()) % 12], a, b, dm, top)
        };
        assert_eq!(of(67, 65, false), 0, "G to F");
        assert!(of(67, 69, false) > 0, "G to A");
        assert_eq!(of(73, 74, true), 0, "C sharp to D");
        assert!(of(73, 69, true) > of(73, 69, false) && of(73, 69, false) > 0);
        assert_eq!(of(69, 62, false), 0, "A may leap");
    }
}

//! What a held chord costs, and what the way from one to the next.
//!
//! Sources: completeness, doubling of root and fifth before the third, no doubled leading note or
//! seventh, no parallel fifths and octaves, least movement: common practice of the handbooks of
//! harmony. The low interval limits are those of the arrangers' tables (Berklee hand-out, ch. 10;
//! Film Music Theory after Lowell and Pullig, Arranging for Large Jazz Ensemble). All weights are
//! our heuristic: only their order means anything.

use smallvec::SmallVec;

use crate::music::{Chord, ChordQuality, Key};

/// The most players that are voiced together.
pub(super) const MOST: usize = 4;

/// Heights of the players' notes as MIDI key numbers, from the highest player down; [`REST`] for
/// those who rest.
pub(super) type Row = [i16; MOST];

/// Not a note.
pub(super) const REST: i16 = -1;

/// A player who could hold a note and rests.
const RESTING: u32 = 80;

/// Below this key number the interval of so many semitones is muddy: index 1 the minor second.
const MUDDY_BELOW: [i16; 12] = [0, 52, 51, 48, 47, 45, 35, 37, 41, 41, 41, 41];

/// What a chord asks of those who hold it.
pub(super) struct Wants {
    /// By pitch class: the place among the members.
    place: [Option<u8>; 12],
    leading: Option<i32>,
    members: SmallVec<[Member; 5]>,
}

struct Member {
    missing: u32,
    /// `None` where it must not be doubled.
    doubled: Option<u32>,
    /// May it be held although a source voice has it already? A leading note or a seventh that
    /// sounds is better left alone.
    tender: bool,
}

impl Wants {
    pub(super) fn new(chord: &Chord, key: Key) -> Wants {
        let names = chord.members();
        let leading = leading_class(chord, key);
        let seventh = chord.quality.intervals().iter().any(|(steps, _)| *steps == 6);
        let mut place = [None; 12];
        let mut members = SmallVec::new();
        for (index, name) in names.iter().enumerate() {
            let (missing, doubled) = match index {
                0 => (45, Some(5)),
                1 => (60, Some(25)),
                // A fifth that is not perfect colours the chord, so it is missed more.
                2 if chord.quality.intervals()[1] != (4, 7) => (40, Some(35)),
                2 => (15, Some(10)),
                3 if seventh => (45, None),
                3 => (35, Some(40)),
                _ => (20, None),
            };
            let is_leading = leading == Some(name.class());
            let doubled = if is_leading { None } else { doubled };
            place[name.class() as usize] = Some(index as u8);
            members.push(Member { missing, doubled, tender: doubled.is_none() });
        }
        Wants { place, leading, members }
    }

    fn member(&self, height: i16) -> Option<usize> {
        self.place[usize::from(height.rem_euclid(12).unsigned_abs())].map(usize::from)
    }

    /// Is this the leading note?
    pub(super) fn leading(&self, height: i16) -> bool {
        self.leading == Some(i32::from(height.rem_euclid(12)))
    }

    /// Must a second player keep away from this note?
    pub(super) fn tender(&self, height: i16) -> bool {
        self.member(height).is_some_and(|member| self.members[member].tender)
    }
}

/// The class of the note that wants to rise by a semitone: the leading note of the key as the
/// third or the root of a chord, the third of any dominant seventh, the root of a diminished chord.
pub(in crate::arrange::derive) fn leading_class(chord: &Chord, key: Key) -> Option<i32> {
    let members = chord.members();
    let third = members.get(1).map(|name| name.class());
    let root = chord.root.class();
    match chord.quality {
        ChordQuality::DominantSeventh
        | ChordQuality::DominantNinth
        | ChordQuality::AugmentedSeventh => third,
        ChordQuality::Diminished | ChordQuality::DiminishedSeventh => Some(root),
        _ => {
            let leading = key.leading_note().class();
            (third == Some(leading) || root == leading).then_some(leading)
        }
    }
}

/// What a chord costs as it is held; `None` where a fault forbids it. `could` says which players
/// have any note of the chord at all.
pub(super) fn chord(row: &Row, wants: &Wants, could: [bool; MOST]) -> Option<u32> {
    let mut counts = [0u32; 5];
    let mut cost = 0;
    let mut above: Option<i16> = None;
    for (player, &note) in row.iter().enumerate() {
        if note == REST {
            cost += if could[player] { RESTING } else { 0 };
            continue;
        }
        counts[wants.member(note)?] += 1;
        if let Some(above) = above {
            if note > above {
                return None;
            }
            cost += gap(above, note);
        }
        above = Some(note);
    }
    for (member, &count) in wants.members.iter().zip(&counts) {
        match count {
            0 => cost += member.missing,
            1 => {}
            more => cost += member.doubled? * (more - 1) * (more - 1),
        }
    }
    Some(cost)
}

/// What the distance between neighbours costs.
fn gap(above: i16, below: i16) -> u32 {
    let interval = above - below;
    let muddy = MUDDY_BELOW.get(usize::from(interval.unsigned_abs())).is_some_and(|l| below < *l);
    let wide = interval.saturating_sub(12).max(0).unsigned_abs();
    (match interval {
        0 => 20,
        1 => 25,
        2 => 8,
        12 => 4,
        _ => 0,
    }) + if muddy { 30 } else { 0 }
        + 3 * u32::from(wide)
}

/// Is the interval from one to the other muddy so low?
pub(super) fn muddy(low: i16, high: i16) -> bool {
    MUDDY_BELOW.get(usize::from((high - low).unsigned_abs())).is_some_and(|limit| low < *limit)
}

/// Two parts that move, both at once, from one perfect fifth, octave or unison to another of the
/// same kind. Two players on one note in both chords are one voice and no fault.
pub(super) fn parallel(one: (i16, i16), other: (i16, i16)) -> bool {
    // Quickest first: this is asked more often than anything else.
    let class = (one.0 - other.0).unsigned_abs() % 12;
    if !(class == 0 || class == 5 || class == 7) || one.0 == one.1 || other.0 == other.1 {
        return false;
    }
    let (above, below) = if one.0 >= other.0 { (one, other) } else { (other, one) };
    let (before, after) = (above.0 - below.0, above.1 - below.1);
    let class = before.rem_euclid(12);
    (class == 0 || class == 7)
        && after.rem_euclid(12) == class
        && after >= 0
        && (before != 0 || after != 0)
}

/// What the movement from one chord to the next costs.
pub(super) fn movement(from: &Row, to: &Row) -> u32 {
    let mut cost = 0;
    for player in 0..MOST {
        let (a, b) = (from[player], to[player]);
        let far = usize::from((b - a).unsigned_abs()).min(FAR);
        let comes_or_goes = (a == REST) != (b == REST);
        cost += if comes_or_goes { COMES_OR_GOES } else { MOVES[far] };
    }
    cost
}

/// A player who begins or ends to sound.
const COMES_OR_GOES: u32 = 25;

/// Farther than this is as bad as this.
const FAR: usize = 12;

/// What a movement by so many semitones costs: little by step, more beyond a third, much beyond a
/// fifth.
const MOVES: [u32; FAR + 1] = {
    let mut costs = [0; FAR + 1];
    let mut way = 0;
    while way <= FAR {
        costs[way] = 4 * way as u32 + if way > 4 { 15 } else { 0 } + if way > 7 { 25 } else { 0 };
        way += 1;
    }
    costs
};

/// Do any two of the players move in parallels?
pub(super) fn has_parallels(from: &Row, to: &Row) -> bool {
    for player in 0..MOST {
        let (a, b) = (from[player], to[player]);
        if a == REST || b == REST || a == b {
            continue;
        }
        for below in player + 1..MOST {
            let (c, d) = (from[below], to[below]);
            if c != REST && d != REST && parallel((a, b), (c, d)) {
                return true;
            }
        }
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::music::Mode;

    fn d_minor() -> Key {
        Key::new("D".parse().unwrap(), Mode::Minor).unwrap()
    }

    fn cost(symbol: &str, row: Row) -> Option<u32> {
        let chord = Chord::read(symbol).unwrap();
        super::chord(&row, &Wants::new(&chord, d_minor()), [true; MOST])
    }

    #[test]
    fn the_leading_note_and_the_seventh_are_never_doubled() {
        assert_eq!(cost("A7", [73, 69, 61, REST]), None, "two C sharps");
        assert_eq!(cost("A7", [79, 69, 67, REST]), None, "two Gs");
        assert!(cost("A7", [79, 73, 69, 64]).is_some());
        assert_eq!(cost("A", [73, 69, 61, REST]), None, "the third of the dominant triad");
    }

    #[test]
    fn three_players_prefer_the_whole_triad_and_four_double_the_root() {
        assert!(cost("Dm", [69, 65, 62, REST]) < cost("Dm", [74, 69, 62, REST]));
        assert!(cost("Dm", [74, 69, 65, 62]) < cost("Dm", [77, 69, 65, 62]));
    }

    #[test]
    fn thirds_in_the_depth_are_muddy() {
        assert!(cost("Dm", [REST, REST, 41, 38]) > cost("Dm", [REST, REST, 53, 50]));
    }

    #[test]
    fn fifths_that_move_together_are_forbidden_and_unisons_that_stay_one_voice_are_not() {
        assert!(has_parallels(&[69, 62, REST, REST], &[67, 60, REST, REST]));
        assert!(has_parallels(&[74, 62, REST, REST], &[72, 60, REST, REST]));
        assert!(parallel((62, 60), (69, 67)) && !parallel((62, 60), (67, 65)), "fourths are not");
        assert!(!has_parallels(&[62, 62, REST, REST], &[60, 60, REST, REST]));
        assert!(!has_parallels(&[69, 62, REST, REST], &[69, 62, REST, REST]));
        assert!(!has_parallels(&[69, 65, REST, REST], &[67, 64, REST, REST]));
    }
}

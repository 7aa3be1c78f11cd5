//! The accents of a metre as a tree, and how durations are divided by it.
//!
//! A bar is divided into its strongest parts, these again, down to the beats (and the thirds of a
//! compound beat); below them everything is halved. 4/4 is two halves of two beats, 3/4 three
//! beats, 12/8 two halves of two beats of three eighths; 5 units are 3 + 2, 7 are 2 + 2 + 3, unless
//! the metre names its groups itself.
//!
//! A note stands as one value if one sign can show it and
//! - it lies in one part, or begins where a part begins, so that it hides no accent stronger than
//!   its own; in compound metres it must then end with a beat too;
//! - or it is the common syncopation that sits across the border of two parts and is as long as
//!   one of them: 1/8 *1/4* 1/8, or 1/4 *1/2* 1/4 in a bar of four;
//! - or it is the common snap that fills two beats or less after their first quarter:
//!   1/16 *1/8.*, 1/8 *1/4.*
//!
//! Every other note is cut at the strongest border that it crosses. Rests must fill a whole part,
//! except that two thirds at the beginning of a compound beat may be one rest. (Common practice;
//! which syncopations to let stand is our choice.)

use crate::narrow::Narrow;
use smallvec::SmallVec;

use crate::music::{Metre, Time};

use super::NoteValue;

/// One printed piece of a duration: beginning, end, value.
pub(super) type Pieces = SmallVec<[(Time, Time, NoteValue); 8]>;

/// The shortest grid of undivided time, a 1024th.
const FINEST: Time = Time::of(1, 1024);

/// What may cross the borders between the parts of a node.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Kind {
    /// Beats that are halved, and halves.
    Simple,
    /// Parts of unequal length, where two dots would hide how they add up.
    Irregular,
    /// Parts that are, or consist of, dotted beats.
    Compound,
    /// A dotted beat with its three thirds.
    DottedBeat,
}

#[derive(Clone, Copy, Debug)]
struct Node {
    start: Time,
    end: Time,
    first_child: usize,
    /// 0 for a node that is halved.
    children: usize,
    kind: Kind,
}

/// The accents of one metre.
#[derive(Clone, Debug)]
pub(super) struct Grid {
    metre: Metre,
    length: Time,
    unit: Time,
    nodes: Vec<Node>,
    beams: BeamGroups,
}

/// How flagged notes are grouped.
#[derive(Clone, Debug)]
pub(super) struct BeamGroups {
    /// Where the groups of mixed values begin.
    small: Vec<Time>,
    /// Length of the groups that plain eighths make, where it is longer.
    pub(super) large: Option<Time>,
    /// Are plain eighths taken together only if they fill the whole large group (3/4)?
    pub(super) only_full: bool,
}

impl BeamGroups {
    /// Number of the group in which a position of the bar lies.
    pub(super) fn small_at(&self, position: Time) -> usize {
        self.small.partition_point(|start| *start <= position)
    }
}

impl Grid {
    pub(super) fn new(metre: Metre) -> Grid {
        let length = metre.bar_length();
        let unit = Time::of(1, i64::from(metre.unit));
        let mut nodes = vec![Node::halved(Time::ZERO, length)];
        let count = i64::from(metre.count);
        if metre.is_compound() {
            divide(&mut nodes, 0, count / 3, unit * 3, true);
        } else if !metre.groups().is_empty() {
            let groups: SmallVec<[i64; 8]> = metre.groups().iter().map(|g| i64::from(*g)).collect();
            part(&mut nodes, 0, &groups, unit, false);
        } else {
            divide(&mut nodes, 0, count, unit, false);
        }
        let beams = beam_groups(metre, &nodes);
        Grid { metre, length, unit, nodes, beams }
    }

    pub(super) fn metre(&self) -> Metre {
        self.metre
    }

    pub(super) fn beams(&self) -> &BeamGroups {
        &self.beams
    }

    /// Divides a note or rest from `from` to `to`, positions in a bar of this metre, into printed
    /// pieces. A duration that no values can show (a third of a beat without a tuplet) stays one
    /// piece with the nearest shorter value.
    pub(super) fn split(&self, from: Time, to: Time, rest: bool, pieces: &mut Pieces) {
        // The plain values of most music fill a part of the tree each; this saves the way down.
        let value = NoteValue::of(to - from).filter(|value| value.dots == 0);
        if let Some(value) = value
            && to - from <= self.unit
            && from % (to - from) == Time::ZERO
        {
            pieces.push((from, to, value));
            return;
        }
        if from % FINEST != Time::ZERO || to % FINEST != Time::ZERO {
            pieces.push((from, to, NoteValue::at_most(to - from)));
            return;
        }
        // A bar that is longer than its metre goes on as if the metre began anew.
        let mut from = from;
        while from < to {
            let base = self.length * from.div_floor(self.length);
            let end = to.min(base + self.length);
            self.place(self.nodes[0], base, (from - base, end - base), rest, pieces);
            from = end;
        }
    }

    fn place(
        &self,
        node: Node,
        base: Time,
        (from, to): (Time, Time),
        rest: bool,
        pieces: &mut Pieces,
    ) {
        let value =
            NoteValue::of(to - from).filter(|value| value.dots < 2 || node.kind != Kind::Irregular);
        if let Some(value) = value
            && (from, to) == (node.start, node.end)
        {
            pieces.push((base + from, base + to, value));
            return;
        }
        if node.end - node.start <= FINEST {
            pieces.push((base + from, base + to, NoteValue::at_most(to - from)));
            return;
        }
        let (first, last) = self.children_at(node, from, to);
        if first.start == last.start {
            return self.place(first, base, (from, to), rest, pieces);
        }
        if let Some(value) = value
            && if rest { rest_may_cross(node, from, to) } else { may_cross(node, first, from, to) }
        {
            pieces.push((base + from, base + to, value));
            return;
        }
        let cut = if from == first.start { last.start } else { first.end };
        self.place(node, base, (from, cut), rest, pieces);
        self.place(node, base, (cut, to), rest, pieces);
    }

    /// The parts of a node in which a span begins and ends.
    fn children_at(&self, node: Node, from: Time, to: Time) -> (Node, Node) {
        if node.children == 0 {
            let half = (node.end - node.start).scaled(1, 2).unwrap_or(node.end - node.start);
            let (left, right) = (
                Node::halved(node.start, node.start + half),
                Node::halved(node.start + half, node.end),
            );
            let first = if from < left.end { left } else { right };
            return (first, if to > left.end { right } else { left });
        }
        let children = &self.nodes[node.first_child..node.first_child + node.children];
        let first = children.partition_point(|child| child.end <= from).min(node.children - 1);
        let last = children.partition_point(|child| child.start < to).max(1) - 1;
        (children[first], children[last])
    }
}

impl Node {
    fn halved(start: Time, end: Time) -> Node {
        Node { start, end, first_child: 0, children: 0, kind: Kind::Simple }
    }
}

/// May a note that one sign can show cross the borders inside this node? `first` is the part in
/// which it begins.
fn may_cross(node: Node, first: Node, from: Time, to: Time) -> bool {
    let length = to - from;
    if node.kind == Kind::Compound {
        let part = first.end - first.start;
        return from == first.start && (to - node.start) % part == Time::ZERO;
    }
    if from == first.start {
        return true;
    }
    let half_before = (first.end - from) * 2 == length;
    let syncopation = half_before && length == (first.end - first.start);
    let fills = to == node.end && (from - node.start) * 4 == node.end - node.start;
    let snap = fills && node.end - node.start <= Time::of(1, 2);
    syncopation || snap
}

fn rest_may_cross(node: Node, from: Time, to: Time) -> bool {
    node.kind == Kind::DottedBeat
        && from == node.start
        && (to - from) * 3 == (node.end - node.start) * 2
}

/// Divides the node at `index`, which holds `count` beats.
fn divide(nodes: &mut Vec<Node>, index: usize, count: i64, beat: Time, compound: bool) {
    let parts: SmallVec<[i64; 8]> = match count {
        1 => SmallVec::new(),
        2 | 3 => SmallVec::from_elem(1, count.narrow::<usize>()),
        5 => SmallVec::from_slice(&[3, 2]),
        even if even % 2 == 0 => SmallVec::from_slice(&[even / 2, even / 2]),
        threes if threes % 3 == 0 => SmallVec::from_elem(threes / 3, 3),
        odd => {
            let mut twos = SmallVec::from_elem(2, (odd / 2).narrow::<usize>());
            if let Some(last) = twos.last_mut() {
                *last = 3;
            }
            twos
        }
    };
    if parts.is_empty() {
        if compound {
            let first_child = nodes.len();
            let mut start = nodes[index].start;
            let third = beat.scaled(1, 3).unwrap_or(beat);
            for _ in 0..3 {
                nodes.push(Node::halved(start, start + third));
                start += third;
            }
            let node = &mut nodes[index];
            (node.first_child, node.children, node.kind) = (first_child, 3, Kind::DottedBeat);
        }
        return;
    }
    part(nodes, index, &parts, beat, compound);
}

/// Divides the node at `index` into parts of so many beats each.
fn part(nodes: &mut Vec<Node>, index: usize, parts: &[i64], beat: Time, compound: bool) {
    let first_child = nodes.len();
    let mut start = nodes[index].start;
    for &part in parts {
        nodes.push(Node::halved(start, start + beat * part));
        start += beat * part;
    }
    let node = &mut nodes[index];
    node.first_child = first_child;
    node.children = parts.len();
    node.kind = if compound {
        Kind::Compound
    } else if parts.iter().any(|&part| part != parts[0]) {
        Kind::Irregular
    } else {
        Kind::Simple
    };
    for (child, &part) in parts.iter().enumerate() {
        divide(nodes, first_child + child, part, beat, compound);
    }
}

/// Quarters are the groups of simple metres; plain eighths join to half notes, or to the whole bar
/// in 3/4. Compound metres group by the beat, 3/8 by the bar, 5/8 and 7/8 by their parts, additive
/// metres of eighths or less by their groups.
fn beam_groups(metre: Metre, nodes: &[Node]) -> BeamGroups {
    let length = metre.bar_length();
    let every = |step: Time| {
        (0..).map(|i| step * i).take_while(|at| *at < length.max(step)).collect::<Vec<_>>()
    };
    let plain = |small| BeamGroups { small, large: None, only_full: false };
    if metre.is_compound() {
        if metre.unit > 4 {
            return plain(every(metre.beat()));
        }
        return BeamGroups { large: Some(metre.beat()), ..plain(every(Time::QUARTER)) };
    }
    if metre.unit > 4 && !metre.groups().is_empty() {
        let groups = &nodes[nodes[0].first_child..nodes[0].first_child + nodes[0].children];
        return plain(groups.iter().map(|group| group.start).collect());
    }
    if metre.unit > 4 {
        let most = Time::of(3, i64::from(metre.unit));
        let mut small = Vec::new();
        let mut open: Vec<Node> = vec![nodes[0]];
        while let Some(node) = open.pop() {
            if node.end - node.start <= most || node.children == 0 {
                small.push(node.start);
                continue;
            }
            let children = &nodes[node.first_child..node.first_child + node.children];
            open.extend(children.iter().rev());
        }
        return plain(small);
    }
    let large = match (metre.count, metre.unit) {
        _ if !metre.groups().is_empty() => None,
        (3, 4) => Some(length),
        (count, 4) => (count % 2 == 0).then_some(Time::of(1, 2)),
        _ => Some(Time::of(1, 2)),
    };
    BeamGroups {
        large,
        only_full: (metre.count, metre.unit) == (3, 4) && metre.groups().is_empty(),
        ..plain(every(Time::QUARTER))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn split(metre: &str, from: (i64, i64), to: (i64, i64), rest: bool) -> String {
        let grid = Grid::new(crate::notate::testing::metre(metre));
        let mut pieces = Pieces::new();
        grid.split(Time::of(from.0, from.1), Time::of(to.0, to.1), rest, &mut pieces);
        let shown: Vec<String> = pieces.iter().map(|(a, b, _)| (*b - *a).to_string()).collect();
        shown.join(" ")
    }

    fn note(metre: &str, from: (i64, i64), to: (i64, i64)) -> String {
        split(metre, from, to, false)
    }

    fn rest(metre: &str, from: (i64, i64), to: (i64, i64)) -> String {
        split(metre, from, to, true)
    }

    #[test]
    fn the_middle_of_a_bar_of_four_is_shown() {
        assert_eq!(note("4/4", (3, 8), (5, 8)), "1/8 1/8");
        assert_eq!(note("4/4", (1, 4), (1, 1)), "1/4 1/2");
        assert_eq!(note("4/4", (1, 8), (7, 8)), "3/8 3/8");
        assert_eq!(note("4/4", (1, 4), (5, 8)), "1/4 1/8");
    }

    #[test]
    fn values_from_a_strong_place_stand_as_they_are() {
        assert_eq!(note("4/4", (0, 1), (1, 1)), "1/1");
        assert_eq!(note("4/4", (0, 1), (3, 4)), "3/4");
        assert_eq!(note("4/4", (0, 1), (7, 8)), "7/8");
        assert_eq!(note("3/4", (0, 1), (3, 4)), "3/4");
        assert_eq!(note("3/4", (1, 4), (3, 4)), "1/2");
        assert_eq!(note("2/4", (0, 1), (3, 8)), "3/8");
        assert_eq!(note("4/4", (0, 1), (5, 8)), "1/2 1/8");
    }

    #[test]
    fn common_syncopations_and_snaps_stand() {
        assert_eq!(note("4/4", (1, 8), (3, 8)), "1/4");
        assert_eq!(note("4/4", (1, 4), (3, 4)), "1/2");
        assert_eq!(note("2/4", (1, 8), (3, 8)), "1/4");
        assert_eq!(note("3/4", (3, 8), (5, 8)), "1/4");
        assert_eq!(note("4/4", (1, 16), (1, 4)), "3/16");
        assert_eq!(note("2/4", (1, 8), (1, 2)), "3/8");
        assert_eq!(note("4/4", (3, 16), (5, 16)), "1/16 1/16");
    }

    #[test]
    fn compound_beats_are_shown() {
        assert_eq!(note("6/8", (0, 1), (1, 2)), "3/8 1/8");
        assert_eq!(note("6/8", (1, 8), (1, 2)), "1/4 1/8");
        assert_eq!(note("6/8", (0, 1), (3, 4)), "3/4");
        assert_eq!(note("9/8", (0, 1), (9, 8)), "3/4 3/8");
        assert_eq!(note("9/8", (3, 8), (9, 8)), "3/4");
        assert_eq!(note("12/8", (3, 8), (9, 8)), "3/8 3/8");
        assert_eq!(note("12/8", (0, 1), (3, 2)), "3/2");
    }

    #[test]
    fn irregular_bars_are_divided_by_their_parts() {
        assert_eq!(note("5/4", (0, 1), (5, 4)), "3/4 1/2");
        assert_eq!(note("7/8", (0, 1), (7, 8)), "1/2 3/8");
        assert_eq!(note("7/8", (1, 8), (7, 8)), "1/8 1/4 3/8");
    }

    #[test]
    fn additive_bars_are_divided_by_their_groups() {
        assert_eq!(note("2+3/8", (0, 1), (5, 8)), "1/4 3/8");
        assert_eq!(note("3+3+2/8", (0, 1), (1, 1)), "1/1");
        assert_eq!(note("3+3+2/8", (3, 8), (1, 1)), "3/8 1/4");
        assert_eq!(note("2+3+2/8", (1, 8), (5, 8)), "1/8 3/8");
        assert_eq!(rest("2+3/8", (0, 1), (1, 4)), "1/4");
        assert_eq!(rest("3+2/4", (1, 4), (5, 4)), "1/4 1/4 1/2");
    }

    #[test]
    fn rests_never_hide_a_beat() {
        assert_eq!(rest("4/4", (1, 4), (3, 4)), "1/4 1/4");
        assert_eq!(rest("4/4", (0, 1), (3, 4)), "1/2 1/4");
        assert_eq!(rest("4/4", (1, 8), (1, 1)), "1/8 1/4 1/2");
        assert_eq!(rest("3/4", (1, 4), (3, 4)), "1/4 1/4");
        assert_eq!(rest("6/8", (0, 1), (1, 4)), "1/4");
        assert_eq!(rest("6/8", (1, 8), (3, 8)), "1/8 1/8");
        assert_eq!(rest("6/8", (1, 8), (3, 4)), "1/8 1/8 3/8");
    }

    #[test]
    fn a_bar_longer_than_its_metre_begins_it_anew() {
        assert_eq!(note("2/4", (1, 4), (3, 4)), "1/4 1/4");
    }

    #[test]
    fn a_duration_without_a_sign_stays_whole() {
        assert_eq!(note("4/4", (0, 1), (1, 12)), "1/12");
    }
}

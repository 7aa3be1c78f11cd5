//! Slurs over both staves of a player: one curve from staff to staff, which can be drawn only when it is
//! known how far these lie apart.

use kurbo::{Affine, CubicBez, ParamCurve, Point, Rect, Vec2};

use super::{System, curves};
use crate::layout::measures::slur_height;
use crate::layout::notes::Placed;
use crate::layout::skyline::Skyline;
use crate::page::{Kind, Mark, Origin, Shape};
use crate::sheet::Sheet;

/// Where such a slur begins on a staff, or ends.
#[derive(Clone, Copy, Debug)]
pub(in crate::layout) struct SlurEnd {
    leaves: bool,
    /// Above its note, and below.
    ends: [Point; 2],
    pub(super) origin: Origin,
    /// By how much a layout moves the slur that begins here.
    pub(super) nudged: Vec2,
}

/// From a note to the end of its slur, and from the slur to whatever else its notes have. (As for others.)
const AIR: f64 = 0.32;
/// How far beside a stem over whose tip it stands. Our heuristic, as all that follows.
const BESIDE_TIP: f64 = 0.1;
/// So near to its ends it is not kept off what stands there.
const NEAR_END: f64 = 0.6;
/// How much higher or flatter than others it may be, at its beginning and at its end.
const RISES: [f64; 12] = [0.25, 0.5, 0.75, 1.0, 1.3, 1.6, 2.0, 2.5, 3.0, 3.7, 4.5, 5.5];
/// At which part of its length it is bent.
const BENDS: [f64; 3] = [0.18, 0.28, 0.38];
/// How far its ends may stand off their notes.
const OFF: [f64; 3] = [0.0, 0.6, 1.4];
/// What it costs for each place along it that notes lie beyond, or that something else lies in its way; and the
/// square of what it rises more or less than others, of what it rises more at one end, and of how far an end is off.
const BEYOND: f64 = 3.0;
const IN_THE_WAY: f64 = 0.7;
const RISEN: f64 = 0.25;
const UNEVEN: f64 = 0.12;
const END_OFF: f64 = 1.0;
/// How steeply, in degrees, it leaves its notes at most; and what each degree more costs.
const STEEPEST: f64 = 70.0;
const STEEP: f64 = 0.35;

impl SlurEnd {
    /// That of a note.
    pub(super) fn new(note: &Placed, leaves: bool) -> SlurEnd {
        let (top, bottom) = note.reach();
        let ends = [(true, top - AIR), (false, bottom + AIR)].map(|(up, y)| {
            let at_tip = note.chord.is_stemmed() && note.chord.is_up() == up;
            let beside = if leaves { BESIDE_TIP } else { -BESIDE_TIP };
            Point::new(if at_tip { note.stem_x() + beside } else { note.middle() }, y)
        });
        SlurEnd { leaves, ends, origin: note.chord.origin(), nudged: Vec2::ZERO }
    }

    /// Does the slur begin here?
    pub(super) fn leaves(&self) -> bool {
        self.leaves
    }

    fn moved(mut self, y: f64) -> SlurEnd {
        self.ends.iter_mut().for_each(|end| end.y += y);
        self
    }
}

/// What lies where such a slur is to go.
struct Ground {
    /// The edge of the notes, outside which it lies.
    notes: Skyline,
    /// All else.
    others: Vec<Rect>,
}

impl System {
    /// The slurs that begin and end on this line and go over both staves of a player.
    pub(super) fn slurs_across(&self, marks: &mut Vec<Mark>, sheet: &Sheet) {
        for row in 1..self.shown.len() {
            let rows = [row - 1, row];
            let part = |row: usize| sheet.staves[self.shown[row]].part;
            if part(row - 1) != part(row) {
                continue;
            }
            let mut ends: Vec<SlurEnd> = Vec::new();
            for row in rows {
                ends.extend(self.canvases[row].across.iter().map(|end| end.moved(self.ys[row])));
            }
            if ends.is_empty() {
                continue;
            }
            ends.sort_by(|a, b| {
                (a.ends[0].x, a.leaves)
                    .partial_cmp(&(b.ends[0].x, b.leaves))
                    .unwrap_or(std::cmp::Ordering::Equal)
            });
            let ground = self.ground(rows);
            for pair in ends.windows(2) {
                if let [from @ SlurEnd { leaves: true, .. }, to @ SlurEnd { leaves: false, .. }] =
                    pair
                {
                    let path =
                        curves::outline(Affine::translate(from.nudged) * way(&ground, from, to));
                    marks.push(Mark {
                        kind: Kind::Slur,
                        origin: Some(from.origin),
                        shape: Shape::Path(path),
                    });
                }
            }
        }
    }

    fn ground(&self, rows: [usize; 2]) -> Ground {
        let mut ground = Ground { notes: self.empty_sky(), others: Vec::new() };
        for row in rows {
            for mark in &self.canvases[row].marks {
                ground.add(&mark.clone().moved(0.0, self.ys[row]));
            }
        }
        ground
    }
}

impl Ground {
    fn add(&mut self, mark: &Mark) {
        let bounds = mark.bounds();
        match mark.kind {
            Kind::StaffLine | Kind::BarLine | Kind::Ledger | Kind::Bracket => {}
            Kind::Head
            | Kind::Stem
            | Kind::Flag
            | Kind::Beam
            | Kind::Dot
            | Kind::Accidental
            | Kind::Articulation
            | Kind::Tie
            | Kind::Tuplet
            | Kind::Tremolo => match &mark.shape {
                Shape::Path(path) => {
                    for segment in path.segments() {
                        let (a, b) = (segment.start(), segment.end());
                        self.notes.add_line((a.x, a.y), (b.x, b.y));
                    }
                }
                _ => self.notes.add((bounds.x0, bounds.x1), (bounds.y0, bounds.y1)),
            },
            _ => self.others.push(bounds),
        }
    }

    /// What it costs that a slur lies over what it should not, above the notes or below.
    fn cost(&self, spine: &CubicBez, up: bool) -> f64 {
        let side = if up { -1.0 } else { 1.0 };
        let (first, last) = (spine.p0.x + NEAR_END, spine.p3.x - NEAR_END);
        let points = (1..36).map(|k| spine.eval(f64::from(k) / 36.0));
        let inner = points.filter(|at| first < at.x && at.x < last);
        let at_point = |at: Point| {
            let (top, bottom) = self.notes.within_staff(at.x - 0.12, at.x + 0.12);
            let edge = if up { top } else { bottom };
            let beyond = if edge.is_finite() { (edge + side * AIR - at.y) * side } else { 0.0 };
            let hit = self.others.iter().any(|other| other.inflate(0.25, 0.25).contains(at));
            BEYOND * beyond.max(0.0) + if hit { IN_THE_WAY } else { 0.0 }
        };
        inner.map(at_point).sum()
    }
}

/// What it costs how steeply a slur leaves a note; back from where it goes it does not leave at all.
fn steep(way: Vec2) -> f64 {
    STEEP * (way.y.abs().atan2(way.x).to_degrees() - STEEPEST).max(0.0)
}

/// The way of a slur from note to note: above all notes under it or below them, as costs least.
fn way(ground: &Ground, from: &SlurEnd, to: &SlurEnd) -> CubicBez {
    let mut best: Option<(f64, CubicBez)> = None;
    for (place, up) in [(0, true), (1, false)] {
        let side = if up { -1.0 } else { 1.0 };
        for (off_from, off_to) in OFF.into_iter().flat_map(|a| OFF.map(|b| (a, b))) {
            let p0 = from.ends[place] + Vec2::new(0.0, side * off_from);
            let p3 = to.ends[place] + Vec2::new(0.0, side * off_to);
            let way = p3 - p0;
            let length = way.hypot().max(0.8);
            let along = way / length;
            let mut out = Vec2::new(along.y, -along.x);
            if (out.y < 0.0) != up {
                out = -out;
            }
            let usual = slur_height(length);
            for bend in BENDS {
                for (first, last) in RISES.into_iter().flat_map(|a| RISES.map(|b| (a, b))) {
                    let by = |rise: f64| out * (usual * rise / 0.75);
                    let (p1, p2) = (
                        p0 + along * (length * bend) + by(first),
                        p3 - along * (length * bend) + by(last),
                    );
                    let spine = CubicBez::new(p0, p1, p2, p3);
                    let risen = usual * (f64::midpoint(first, last) - 1.0);
                    let uneven = usual * (first - last);
                    let own = RISEN * risen * risen
                        + UNEVEN * uneven * uneven
                        + END_OFF * (off_from * off_from + off_to * off_to)
                        + steep(p1 - p0)
                        + steep(p3 - p2);
                    if best.is_some_and(|(cost, _)| cost <= own) {
                        continue;
                    }
                    let cost = own + ground.cost(&spine, up);
                    if best.is_none_or(|(least, _)| cost < least) {
                        best = Some((cost, spine));
                    }
                }
            }
        }
    }
    let straight = CubicBez::new(from.ends[0], from.ends[0], to.ends[0], to.ends[0]);
    best.map_or(straight, |(_, spine)| spine)
}

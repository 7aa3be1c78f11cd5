//! The pen: skeletons with a swelling width, expanded to outlines.
//!
//! A stroke is a smooth curve through a few points, each with the width of the pen there. The
//! curve is a cubic spline whose second derivative is continuous, so that there is no kink and no
//! flat spot whatever the points; the width follows a curve of the same kind. The two edges are
//! then written as Bézier curves.

use kurbo::{Affine, BezPath, Circle, Ellipse, Point, Rect, Shape, Vec2};
use ripieno_compiler::narrow::Narrow;

/// Places along one stretch of a skeleton at which the edge is worked out.
const STEPS: usize = 4;
/// How exactly circles become curves, in staff spaces.
const EXACT: f64 = 1e-4;

/// Ink of one glyph, in staff spaces with y upwards. All contours of strokes run the same way
/// round; a hole runs the other way.
#[derive(Default)]
pub(super) struct Ink {
    path: BezPath,
}

impl Ink {
    pub(super) fn new() -> Ink {
        Ink::default()
    }

    pub(super) fn path(self) -> BezPath {
        self.path
    }

    fn add(&mut self, path: &BezPath, hole: bool) {
        let clockwise = path.area() < 0.0;
        let turned = if clockwise == hole { path.clone() } else { path.reverse_subpaths() };
        self.path.extend(turned);
    }

    /// A stroke through points (x, y, width), with round ends.
    pub(super) fn stroke(mut self, points: &[(f64, f64, f64)]) -> Ink {
        let path = stroke(points);
        self.path.extend(path);
        self
    }

    /// A closed shape, written as the data of a path.
    pub(super) fn shape(mut self, data: &str) -> Ink {
        let path = parsed(data);
        self.add(&path, false);
        self
    }

    /// A hole, written as the data of a path.
    pub(super) fn hole(mut self, data: &str) -> Ink {
        let path = parsed(data);
        self.add(&path, true);
        self
    }

    /// A round dot.
    pub(super) fn dot(mut self, x: f64, y: f64, radius: f64) -> Ink {
        let path = Circle::new((x, y), radius).to_path(EXACT);
        self.add(&path, false);
        self
    }

    /// A leaning oval: centre, half axes, degrees by which it leans to the left.
    pub(super) fn oval(mut self, centre: (f64, f64), axes: (f64, f64), degrees: f64) -> Ink {
        let path = Ellipse::new(centre, axes, degrees.to_radians()).to_path(EXACT);
        self.add(&path, false);
        self
    }

    /// The same as a hole.
    pub(super) fn oval_hole(mut self, centre: (f64, f64), axes: (f64, f64), degrees: f64) -> Ink {
        let path = Ellipse::new(centre, axes, degrees.to_radians()).to_path(EXACT);
        self.add(&path, true);
        self
    }

    /// An upright bar from corner to corner.
    pub(super) fn bar(mut self, x0: f64, y0: f64, x1: f64, y1: f64) -> Ink {
        let path = Rect::new(x0, y0, x1, y1).to_path(EXACT);
        self.add(&path, false);
        self
    }

    /// Everything of another glyph, moved and scaled.
    pub(super) fn with(mut self, other: Ink, by: Affine) -> Ink {
        let mirrored = by.determinant() < 0.0;
        let path = by * other.path;
        self.path.extend(if mirrored { path.reverse_subpaths() } else { path });
        self
    }

    /// Moved and scaled itself.
    pub(super) fn moved(self, by: Affine) -> Ink {
        Ink::new().with(self, by)
    }
}

fn parsed(data: &str) -> BezPath {
    BezPath::from_svg(data).unwrap_or_default()
}

/// Values of a natural cubic spline through `values` at the places `at`, as second derivatives.
fn bends(at: &[f64], values: &[f64]) -> Vec<f64> {
    let n = values.len();
    let mut bends = vec![0.0; n];
    if n < 3 {
        return bends;
    }
    // The three-term system, solved from the front and put in from the back.
    let mut upper = vec![0.0; n];
    let mut right = vec![0.0; n];
    for i in 1..n - 1 {
        let (before, after) = (at[i] - at[i - 1], at[i + 1] - at[i]);
        let slope = (values[i + 1] - values[i]) / after - (values[i] - values[i - 1]) / before;
        let pivot = 2.0 * (before + after) - before * upper[i - 1];
        upper[i] = after / pivot;
        right[i] = (6.0 * slope - before * right[i - 1]) / pivot;
    }
    for i in (1..n - 1).rev() {
        bends[i] = right[i] - upper[i] * bends[i + 1];
    }
    bends
}

/// Value of the spline between points `i` and `i + 1`, so far along (0 to 1).
fn value(at: &[f64], values: &[f64], bends: &[f64], i: usize, t: f64) -> f64 {
    let h = at[i + 1] - at[i];
    let (a, b) = (1.0 - t, t);
    a * values[i]
        + b * values[i + 1]
        + ((a * a * a - a) * bends[i] + (b * b * b - b) * bends[i + 1]) * h * h / 6.0
}

/// A stroke along a spline through points (x, y, width), with round ends.
fn stroke(points: &[(f64, f64, f64)]) -> BezPath {
    let places: Vec<Point> = points.iter().map(|&(x, y, _)| Point::new(x, y)).collect();
    if places.len() < 2 {
        return BezPath::new();
    }
    let mut at = vec![0.0];
    for pair in places.windows(2) {
        // Distances under a root keep the curve near its points where they lie unevenly.
        at.push(at.last().copied().unwrap_or(0.0) + (pair[1] - pair[0]).hypot().sqrt().max(1e-6));
    }
    let columns: [Vec<f64>; 3] = [
        points.iter().map(|p| p.0).collect(),
        points.iter().map(|p| p.1).collect(),
        points.iter().map(|p| p.2).collect(),
    ];
    let bent: Vec<Vec<f64>> = columns.iter().map(|column| bends(&at, column)).collect();
    let sample = |i: usize, t: f64| -> (Point, f64) {
        let of = |c: usize| value(&at, &columns[c], &bent[c], i, t);
        (Point::new(of(0), of(1)), of(2).max(0.02))
    };
    let stretches = points.len() - 1;
    let count = stretches * STEPS;
    let spot = |k: f64| -> (Point, f64) {
        let k = k.clamp(0.0, count as f64);
        let i = (k / STEPS as f64).narrow::<usize>().min(stretches - 1);
        sample(i, k / STEPS as f64 - i as f64)
    };
    let edge = |k: f64, side: f64| -> Point {
        let (here, width) = spot(k);
        let (before, after) = (spot(k - 0.02).0, spot(k + 0.02).0);
        let way = (after - before).normalize();
        here + Vec2::new(-way.y, way.x) * (side * width / 2.0)
    };
    let mut path = BezPath::new();
    let ks: Vec<f64> = (0..=count).map(|k| k as f64).collect();
    let backwards: Vec<f64> = ks.iter().rev().copied().collect();
    let first = edge(0.0, -1.0);
    path.move_to(first);
    run(&mut path, &ks, |k| edge(k, -1.0));
    cap(&mut path, spot(count as f64), edge(count as f64, -1.0), edge(count as f64, 1.0));
    run(&mut path, &backwards, |k| edge(k, 1.0));
    cap(&mut path, spot(0.0), edge(0.0, 1.0), first);
    path.close_path();
    path
}

/// Joins places along an edge by Bézier curves with the edge's own tangents.
fn run(path: &mut BezPath, ks: &[f64], edge: impl Fn(f64) -> Point) {
    let way = |k: f64, towards: f64| (edge(k + 0.1 * towards) - edge(k - 0.1 * towards)) / 0.2;
    let tip = |k: f64, towards: f64, first: bool| {
        if first {
            (edge(k + 0.1 * towards) - edge(k)) / 0.1
        } else {
            (edge(k) - edge(k - 0.1 * towards)) / 0.1
        }
    };
    for (n, pair) in ks.windows(2).enumerate() {
        let towards = pair[1] - pair[0];
        let leave = if n == 0 { tip(pair[0], towards, true) } else { way(pair[0], towards) };
        let arrive =
            if n + 2 == ks.len() { tip(pair[1], towards, false) } else { way(pair[1], towards) };
        let (from, to) = (edge(pair[0]), edge(pair[1]));
        path.curve_to(from + leave / 3.0, to - arrive / 3.0, to);
    }
}

/// A round end from one edge to the other.
fn cap(path: &mut BezPath, (centre, _): (Point, f64), from: Point, to: Point) {
    // The end bulges to the side on which the stroke is not: a quarter turn from the edge.
    let radius = from - centre;
    let out = Vec2::new(-radius.y, radius.x);
    let round = 0.5523;
    let top = centre + out;
    path.curve_to(from + out * round, top + radius * round, top);
    path.curve_to(top - radius * round, to + out * round, to);
}

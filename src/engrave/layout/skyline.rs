//! The outer edge of what stands on a staff, above and below, along a line.
use ripieno_compiler::narrow::Narrow;

/// Width of one place of the edge, in staff spaces.
const STEP: f64 = 0.25;

/// How far up and down something stands at each place of a line. `y` grows downwards.
#[derive(Clone, Debug)]
pub(super) struct Skyline {
    top: Vec<f32>,
    bottom: Vec<f32>,
    /// The same without the lines of the staff.
    inner: (Vec<f32>, Vec<f32>),
}

impl Skyline {
    /// An empty edge over a line of that width.
    pub(super) fn new(width: f64) -> Skyline {
        let places = (width / STEP).ceil().max(1.0).narrow::<usize>() + 1;
        let (top, bottom) = (vec![f32::INFINITY; places], vec![f32::NEG_INFINITY; places]);
        Skyline { inner: (top.clone(), bottom.clone()), top, bottom }
    }

    /// The lines of a staff go from place to place.
    pub(super) fn add_staff(&mut self, (x0, x1): (f64, f64), (y0, y1): (f64, f64)) {
        for place in self.places(x0, x1) {
            self.top[place] = self.top[place].min(y0.narrow::<f32>());
            self.bottom[place] = self.bottom[place].max(y1.narrow::<f32>());
        }
    }

    fn places(&self, x0: f64, x1: f64) -> std::ops::Range<usize> {
        let last = self.top.len();
        let from = (x0 / STEP).floor().max(0.0).narrow::<usize>();
        let to = (x1 / STEP).ceil().max(0.0).narrow::<usize>();
        from.min(last - 1)..to.max(from + 1).min(last)
    }

    /// Something stands in this box.
    pub(super) fn add(&mut self, (x0, x1): (f64, f64), (y0, y1): (f64, f64)) {
        for place in self.places(x0, x1) {
            self.put(place, (y0.narrow::<f32>(), y1.narrow::<f32>()));
        }
    }

    fn put(&mut self, place: usize, (y0, y1): (f32, f32)) {
        self.top[place] = self.top[place].min(y0);
        self.bottom[place] = self.bottom[place].max(y1);
        self.inner.0[place] = self.inner.0[place].min(y0);
        self.inner.1[place] = self.inner.1[place].max(y1);
    }

    /// Something runs from one point to another.
    pub(super) fn add_line(&mut self, from: (f64, f64), to: (f64, f64)) {
        let (from, to) = if from.0 <= to.0 { (from, to) } else { (to, from) };
        let run = to.0 - from.0;
        for place in self.places(from.0, to.0) {
            let x = (place as f64 * STEP).clamp(from.0, to.0);
            let y = if run > 0.0 { from.1 + (to.1 - from.1) * (x - from.0) / run } else { from.1 };
            let y = y.narrow::<f32>();
            self.put(place, (y, y));
        }
    }

    /// The highest point between two places and the lowest, without the lines of the staff.
    pub(super) fn within_staff(&self, x0: f64, x1: f64) -> (f64, f64) {
        let places = self.places(x0, x1);
        let top = self.inner.0[places.clone()].iter().copied().fold(f32::INFINITY, f32::min);
        let bottom = self.inner.1[places].iter().copied().fold(f32::NEG_INFINITY, f32::max);
        (top.into(), bottom.into())
    }

    /// The highest point between two places; infinite where nothing stands.
    pub(super) fn top(&self, x0: f64, x1: f64) -> f64 {
        self.top[self.places(x0, x1)].iter().copied().fold(f32::INFINITY, f32::min).into()
    }

    /// The lowest point between two places.
    pub(super) fn bottom(&self, x0: f64, x1: f64) -> f64 {
        self.bottom[self.places(x0, x1)].iter().copied().fold(f32::NEG_INFINITY, f32::max).into()
    }

    /// What stands on another edge that lies lower by `y` stands here too.
    pub(super) fn take(&mut self, other: &Skyline, y: f64) {
        for place in 0..self.top.len().min(other.top.len()) {
            self.top[place] = self.top[place].min(other.top[place] + y.narrow::<f32>());
            self.bottom[place] = self.bottom[place].max(other.bottom[place] + y.narrow::<f32>());
        }
    }

    /// How far another edge must be moved down to clear this one by some air.
    pub(super) fn clearance(&self, below: &Skyline, air: f64) -> f64 {
        let pairs = self.bottom.iter().zip(&below.top);
        let need = pairs.map(|(bottom, top)| bottom - top).fold(f32::NEG_INFINITY, f32::max);
        f64::from(need) + air
    }

    /// The highest and the lowest point of all.
    pub(super) fn extent(&self) -> (f64, f64) {
        (self.top(0.0, f64::MAX), self.bottom(0.0, f64::MAX))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_stands_over_nothing_needs_no_air() {
        let mut above = Skyline::new(20.0);
        let mut below = Skyline::new(20.0);
        above.add((1.0, 3.0), (-2.0, 5.0));
        below.add((8.0, 9.0), (-7.0, 2.0));
        assert!(above.clearance(&below, 1.0) < 0.0);
        below.add((2.0, 4.0), (-3.0, 0.0));
        assert!((above.clearance(&below, 1.0) - 9.0).abs() < 1e-6);
    }
}

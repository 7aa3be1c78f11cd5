//! From dynamics on paper to velocities.
//!
//! The degrees stand about 16 apart, mf at 80, and closer below, where a synthesizer grows soft
//! quickly: by the curve of General MIDI (40 dB for ten times the velocity) ppp is 7 dB softer than
//! pp, and ff 3 dB louder than f (our heuristic). Between the ends of a hairpin the
//! degree is interpolated; it reaches the next dynamic where that one lies in its direction, else
//! one degree more or less than where it began. A stress is louder than what surrounds it.

use crate::music::Time;
use crate::narrow::Narrow;
use crate::resolve::{Direction, DirectionKind, Dynamic, Mark, Marks};

/// Velocities of ppp, pp, p, mp, mf, f, ff, fff (our heuristic).
const VELOCITIES: [f64; 8] = [24.0, 36.0, 49.0, 64.0, 80.0, 96.0, 112.0, 124.0];
/// Degree before the first dynamic: mf.
const USUAL: f64 = 4.0;
/// What an accent adds to the velocity, what a marcato or sf, and what a sfz (our heuristic).
const ACCENT: f64 = 12.0;
const MARCATO: f64 = 18.0;
const SFZ: f64 = 24.0;

/// Loudness of a part through written time.
pub(super) struct Loudness {
    slopes: Vec<Slope>,
    stresses: Vec<(Time, Dynamic)>,
}

/// From a time on the degree goes from one value to another, and stays there.
struct Slope {
    at: Time,
    until: Time,
    from: f64,
    to: f64,
}

impl Slope {
    fn degree(&self, time: Time) -> f64 {
        if time >= self.until {
            return self.to;
        }
        let way = (time - self.at).to_f64() / (self.until - self.at).to_f64();
        self.from + (self.to - self.from) * way
    }
}

impl Loudness {
    /// The loudness that these directions (in order of time) ask for.
    pub(super) fn new(directions: &[Direction]) -> Loudness {
        let mut loudness = Loudness { slopes: Vec::new(), stresses: Vec::new() };
        let mut ordered: Vec<(Time, &DirectionKind)> =
            directions.iter().map(|direction| (direction.at, &direction.kind)).collect();
        ordered.sort_by_key(|(at, kind)| (*at, matches!(kind, DirectionKind::Hairpin { .. })));
        let goals = goals(&ordered);
        for (&(at, kind), goal) in ordered.iter().zip(goals) {
            match kind {
                DirectionKind::Dynamic(dynamic) => loudness.dynamic(at, *dynamic),
                DirectionKind::Hairpin { grows, to } => loudness.hairpin(at, *grows, *to, goal),
                _ => {}
            }
        }
        loudness
    }

    fn dynamic(&mut self, at: Time, dynamic: Dynamic) {
        if matches!(dynamic, Dynamic::Fp | Dynamic::Sf | Dynamic::Sfz) {
            self.stresses.push((at, dynamic));
        }
        if let Some(degree) = dynamic.degree().map(f64::from) {
            self.slopes.push(Slope { at, until: at, from: degree, to: degree });
        }
    }

    fn hairpin(&mut self, at: Time, grows: bool, to: Time, goal: Option<Goal>) {
        let from = self.degree(at);
        let one_more = (if grows { from + 1.0 } else { from - 1.0 }).clamp(0.0, 7.0);
        let reached = goal.map(|(_, degree)| degree).filter(|&degree| (degree > from) == grows);
        // A dynamic that comes earlier ends the hairpin.
        let until = goal.map_or(to, |(time, _)| to.min(time)).max(at);
        self.slopes.push(Slope { at, until, from, to: reached.unwrap_or(one_more) });
    }

    fn degree(&self, time: Time) -> f64 {
        let after = self.slopes.partition_point(|slope| slope.at <= time);
        self.slopes[..after].last().map_or(USUAL, |slope| slope.degree(time))
    }

    /// Velocity that a plain note would have at a written time, not rounded.
    pub(super) fn strength(&self, time: Time) -> f64 {
        velocity(self.degree(time))
    }

    /// Velocity (1 to 127) of a note that begins at a written time.
    pub(super) fn velocity(&self, time: Time, marks: Marks) -> u8 {
        let mut velocity = velocity(self.degree(time));
        let mut added: f64 = 0.0;
        if marks.has(Mark::Accent) {
            added = ACCENT;
        }
        if marks.has(Mark::Marcato) {
            added = MARCATO;
        }
        let first = self.stresses.partition_point(|(at, _)| *at < time);
        for (_, dynamic) in self.stresses[first..].iter().take_while(|(at, _)| *at == time) {
            match dynamic {
                Dynamic::Fp => velocity = velocity.max(VELOCITIES[Dynamic::F as usize]),
                Dynamic::Sfz => added = added.max(SFZ),
                _ => added = added.max(MARCATO),
            }
        }
        (velocity + added).round().clamp(1.0, 127.0).narrow::<u8>()
    }
}

/// A dynamic that a hairpin may reach: when it stands, and the degree that it strikes.
type Goal = (Time, f64);

/// For each direction the next dynamic after its time.
fn goals(ordered: &[(Time, &DirectionKind)]) -> Vec<Option<Goal>> {
    let mut goals = vec![None; ordered.len()];
    let mut later: Option<Goal> = None;
    let mut same_time: Option<Goal> = None;
    for (goal, (at, kind)) in goals.iter_mut().zip(ordered).rev() {
        if same_time.is_some_and(|(time, _)| time > *at) {
            later = same_time.take();
        }
        *goal = later;
        if let DirectionKind::Dynamic(dynamic) = kind {
            let struck =
                if *dynamic == Dynamic::Fp { Some(Dynamic::F as u8) } else { dynamic.degree() };
            if let Some(degree) = struck {
                same_time = Some((*at, f64::from(degree)));
            }
        }
    }
    goals
}

fn velocity(degree: f64) -> f64 {
    let below = degree.floor().clamp(0.0, 7.0);
    let (low, high) =
        (VELOCITIES[below.narrow::<usize>()], VELOCITIES[(below.narrow::<usize>() + 1).min(7)]);
    low + (high - low) * (degree - below)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::diagnostics::Span;

    fn at(quarters: i64) -> Time {
        Time::QUARTER * quarters
    }

    fn loudness(directions: &[(i64, DirectionKind)]) -> Loudness {
        let directions: Vec<Direction> = directions
            .iter()
            .map(|(time, kind)| Direction {
                at: at(*time),
                kind: kind.clone(),
                span: Span::default(),
            })
            .collect();
        Loudness::new(&directions)
    }

    fn velocities(loudness: &Loudness, times: impl IntoIterator<Item = i64>) -> Vec<u8> {
        times.into_iter().map(|time| loudness.velocity(at(time), Marks::NONE)).collect()
    }

    const GROWS: fn(i64) -> DirectionKind =
        |to| DirectionKind::Hairpin { grows: true, to: Time::QUARTER.scaled(to, 1).unwrap() };

    #[test]
    fn a_hairpin_reaches_the_next_dynamic() {
        let loudness = loudness(&[
            (0, DirectionKind::Dynamic(Dynamic::P)),
            (0, GROWS(3)),
            (4, DirectionKind::Dynamic(Dynamic::F)),
        ]);
        assert_eq!(velocities(&loudness, [0, 1, 2, 3, 4, 9]), [49, 64, 80, 96, 96, 96]);
    }

    #[test]
    fn a_hairpin_without_a_dynamic_in_its_direction_goes_one_degree() {
        let alone = loudness(&[(0, DirectionKind::Dynamic(Dynamic::Mf)), (0, GROWS(2))]);
        assert_eq!(velocities(&alone, [0, 1, 2, 8]), [80, 88, 96, 96]);
        let then_soft = loudness(&[
            (0, DirectionKind::Dynamic(Dynamic::F)),
            (0, GROWS(4)),
            (4, DirectionKind::Dynamic(Dynamic::P)),
        ]);
        assert_eq!(velocities(&then_soft, [0, 2, 3, 4]), [96, 104, 108, 49]);
    }

    #[test]
    fn stresses_are_momentary() {
        let loudness = loudness(&[
            (0, DirectionKind::Dynamic(Dynamic::Fp)),
            (2, DirectionKind::Dynamic(Dynamic::Sf)),
        ]);
        assert_eq!(velocities(&loudness, [0, 1, 2, 3]), [96, 49, 67, 49]);
        let mut accent = Marks::NONE;
        accent.insert(Mark::Accent);
        assert_eq!(loudness.velocity(at(1), accent), 61);
    }
}

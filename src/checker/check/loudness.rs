//! How loud a part is at each time: the dynamics on paper, and between them the hairpins.
//!
//! Between the ends of a hairpin the degree is interpolated; it reaches the next dynamic where that
//! one lies in its direction, else one degree more or less than where it began, and stays there. A
//! dynamic that comes earlier ends it. Everything is counted in whole thousandths of a degree from
//! exact times, rounded down, so that a growing part reaches forte where its hairpin ends and not
//! before, and a falling one leaves it at once: no floating point, the same on every machine.

use crate::lists::{exactly, push_slowly, put_in_order};
use crate::music::Time;
use crate::narrow::Narrow;
use crate::resolve::{Direction, DirectionKind, Dynamic};

/// Thousandths of a degree in one degree.
const UNIT: i64 = 1000;

/// A degree of loudness between ppp (0) and fff (7), in whole thousandths.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub(super) struct Degree(i64);

impl Degree {
    /// Mezzo forte, where nothing is said.
    pub const USUAL: Degree = Degree(Dynamic::Mf as i64 * UNIT);

    /// That of a whole degree, 0 to 7.
    pub fn of(degree: u8) -> Degree {
        Degree(i64::from(degree) * UNIT)
    }

    /// Is it this dynamic or louder?
    pub fn reaches(self, dynamic: Dynamic) -> bool {
        dynamic.degree().is_some_and(|degree| self >= Degree::of(degree))
    }

    /// The degree below it or at it (0 to 7), and what is more, from 0 to less than 1.
    pub fn parts(self) -> (usize, f64) {
        ((self.0 / UNIT).narrow::<usize>(), (self.0 % UNIT) as f64 / UNIT as f64)
    }

    /// The degree as a number from 0 to 7.
    pub fn to_f64(self) -> f64 {
        self.0 as f64 / UNIT as f64
    }

    /// The mean of degrees that last for so long each; `None` of nothing.
    pub fn mean(degrees: impl IntoIterator<Item = (Degree, Time)>) -> Option<Degree> {
        let (mut sum, mut whole) = (0_i128, 0_i128);
        for (degree, length) in degrees {
            let weight = i128::from(length.div_floor(Time::of(1, 1024)));
            sum += i128::from(degree.0) * weight;
            whole += weight;
        }
        (whole > 0).then(|| Degree((sum / whole).narrow::<i64>()))
    }
}

/// From a time on the degree goes from one value to another, and stays there.
#[derive(Debug)]
struct Slope {
    at: Time,
    until: Time,
    from: Degree,
    to: Degree,
}

impl Slope {
    fn degree(&self, time: Time) -> Degree {
        if time >= self.until {
            return self.to;
        }
        let Some((passed, whole)) = (time - self.at).ratio(self.until - self.at) else {
            return self.to;
        };
        Degree(self.from.0 + ((self.to.0 - self.from.0) * passed).div_euclid(whole))
    }
}

/// What is said of the loudness at a time. There may be one for each note, so that it has to be small.
#[derive(Debug)]
struct Said {
    at: Time,
    what: What,
}

/// What is said of the loudness.
#[derive(Debug)]
enum What {
    /// Such a degree from here on.
    Degree(u8),
    /// The slope of that index begins.
    Slope(u32),
}

/// The loudness of a part through written time.
#[derive(Debug, Default)]
pub(super) struct Loudness {
    said: Vec<Said>,
    slopes: Vec<Slope>,
}

impl Loudness {
    /// The loudness that these directions (in order of time) ask for.
    pub fn new(directions: &[Direction]) -> Loudness {
        let loud = directions.iter().filter(|direction| {
            matches!(direction.kind, DirectionKind::Dynamic(_) | DirectionKind::Hairpin { .. })
        });
        let mut ordered: Vec<&Direction> = exactly(loud);
        // A hairpin sets out from the dynamic that stands where it begins.
        put_in_order(&mut ordered, |said| {
            (said.at, matches!(said.kind, DirectionKind::Hairpin { .. }))
        });
        let said = Vec::with_capacity(ordered.len());
        let mut loudness = Loudness { said, slopes: Vec::new() };
        let mut next = 0;
        for Direction { at, kind, .. } in &ordered {
            let at = *at;
            match kind {
                DirectionKind::Dynamic(dynamic) => {
                    if let Some(degree) = dynamic.degree() {
                        loudness.said.push(Said { at, what: What::Degree(degree) });
                    }
                }
                DirectionKind::Hairpin { grows, to } => {
                    // What is struck next, behind all that stands here.
                    let strikes = |said: &&Direction| Some((said.at, struck(&said.kind)?));
                    while ordered.get(next).is_some_and(|s| s.at <= at || strikes(s).is_none()) {
                        next += 1;
                    }
                    loudness.hairpin(at, *grows, *to, ordered.get(next).and_then(strikes));
                }
                _ => {}
            }
        }
        loudness
    }

    fn hairpin(&mut self, at: Time, grows: bool, to: Time, goal: Option<(Time, Degree)>) {
        let from = self.degree(at);
        let step = if grows { UNIT } else { -UNIT };
        let one_more = Degree((from.0 + step).clamp(0, 7 * UNIT));
        let reached = goal.map(|(_, degree)| degree).filter(|degree| (*degree > from) == grows);
        let until = goal.map_or(to, |(time, _)| to.min(time)).max(at);
        let slope = self.slopes.len().narrow::<u32>();
        self.said.push(Said { at, what: What::Slope(slope) });
        push_slowly(&mut self.slopes, Slope { at, until, from, to: reached.unwrap_or(one_more) });
    }

    /// The degree at a time; mezzo forte where nothing is said.
    pub fn degree(&self, time: Time) -> Degree {
        let after = self.said.partition_point(|said| said.at <= time);
        match self.said[..after].last().map(|said| &said.what) {
            None => Degree::USUAL,
            Some(What::Degree(degree)) => Degree::of(*degree),
            Some(What::Slope(slope)) => self.slopes[*slope as usize].degree(time),
        }
    }
}

/// The degree that a dynamic strikes: forte for `fp`, nothing for a stress.
fn struck(kind: &DirectionKind) -> Option<Degree> {
    match kind {
        DirectionKind::Dynamic(Dynamic::Fp) => Some(Degree::of(Dynamic::F as u8)),
        DirectionKind::Dynamic(dynamic) => dynamic.degree().map(Degree::of),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::diagnostics::Span;

    fn loudness(directions: &[(i64, DirectionKind)]) -> Loudness {
        let at = |quarters: i64| Time::QUARTER * quarters;
        let directions: Vec<Direction> = directions
            .iter()
            .map(|(quarters, kind)| Direction {
                at: at(*quarters),
                kind: kind.clone(),
                span: Span::default(),
            })
            .collect();
        Loudness::new(&directions)
    }

    fn degrees(loudness: &Loudness, quarters: &[i64]) -> Vec<i64> {
        quarters.iter().map(|q| loudness.degree(Time::QUARTER * *q).0).collect()
    }

    fn hairpin(grows: bool, quarters: i64) -> DirectionKind {
        DirectionKind::Hairpin { grows, to: Time::QUARTER * quarters }
    }

    #[test]
    fn a_hairpin_goes_straight_to_the_next_dynamic() {
        let p_to_f = loudness(&[
            (0, DirectionKind::Dynamic(Dynamic::P)),
            (0, hairpin(true, 3)),
            (3, DirectionKind::Dynamic(Dynamic::F)),
            (4, hairpin(false, 6)),
            (6, DirectionKind::Dynamic(Dynamic::P)),
        ]);
        assert_eq!(
            degrees(&p_to_f, &[0, 1, 2, 3, 4, 5, 6]),
            [2000, 3000, 4000, 5000, 5000, 3500, 2000]
        );
    }

    #[test]
    fn forte_is_reached_where_the_hairpin_ends_and_left_where_the_next_begins() {
        let swell = loudness(&[
            (0, DirectionKind::Dynamic(Dynamic::Pp)),
            (0, hairpin(true, 7)),
            (7, DirectionKind::Dynamic(Dynamic::F)),
            (8, hairpin(false, 15)),
            (15, DirectionKind::Dynamic(Dynamic::P)),
        ]);
        let grain = Time::of(1, 1024);
        let reaches = |time| swell.degree(time).reaches(Dynamic::F);
        assert!(!reaches(Time::QUARTER * 7 - grain));
        assert!(reaches(Time::QUARTER * 7));
        assert!(reaches(Time::QUARTER * 8));
        assert!(!reaches(Time::QUARTER * 8 + grain));
    }

    #[test]
    fn without_a_dynamic_in_its_direction_it_goes_one_degree() {
        let up = loudness(&[(0, hairpin(true, 2)), (4, DirectionKind::Dynamic(Dynamic::P))]);
        assert_eq!(degrees(&up, &[0, 1, 2, 3, 4]), [4000, 4500, 5000, 5000, 2000]);
        let nothing = loudness(&[]);
        assert_eq!(nothing.degree(Time::ZERO), Degree::USUAL);
    }

    #[test]
    fn a_dynamic_within_ends_it_and_a_forte_piano_is_struck_loud() {
        let cut = loudness(&[
            (0, DirectionKind::Dynamic(Dynamic::P)),
            (0, hairpin(true, 8)),
            (3, DirectionKind::Dynamic(Dynamic::Fp)),
        ]);
        assert_eq!(degrees(&cut, &[2, 3, 5]), [4000, 2000, 2000]);
    }

    #[test]
    fn a_mean_weighs_by_length() {
        let one = (Degree::of(2), Time::QUARTER * 3);
        let two = (Degree::of(6), Time::QUARTER);
        assert_eq!(Degree::mean([one, two]), Some(Degree::of(3)));
        assert_eq!(Degree::mean([]), None);
    }
}

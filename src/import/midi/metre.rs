//! Finds the metre and the pick-up in the notes.
//!
//! Long notes, low notes and many notes together stand on strong beats: how heavy the notes are on
//! each eighth is held against the grid of each metre (Fred Lerdahl and Ray Jackendoff, A
//! Generative Theory of Tonal Music, 1983, ch. 4; that scores follow such grids: Caroline Palmer
//! and Carol Krumhansl, "Mental representations for musical meter", 1990; both from memory). The
//! weights of notes are our heuristic.

use crate::music::{Metre, Time};

use super::contigs::Sounding;

/// How heavy the notes are on each eighth.
pub(super) struct Accents(Vec<f64>);

/// The grids: for each eighth of a bar how strong it is.
const GRIDS: [((u8, u8), &[f64]); 6] = [
    ((2, 4), &[3.0, 0.0, 1.5, 0.0]),
    ((3, 4), &[3.0, 0.0, 1.0, 0.0, 1.0, 0.0]),
    ((4, 4), &[3.5, 0.0, 1.0, 0.0, 2.0, 0.0, 1.0, 0.0]),
    ((6, 8), &[3.0, 0.0, 0.0, 1.5, 0.0, 0.0]),
    ((9, 8), &[3.0, 0.0, 0.0, 1.2, 0.0, 0.0, 1.2, 0.0, 0.0]),
    ((12, 8), &[3.5, 0.0, 0.0, 1.0, 0.0, 0.0, 2.0, 0.0, 0.0, 1.0, 0.0, 0.0]),
];

impl Accents {
    /// The accents of all notes of a piece.
    pub(super) fn of(notes: &[Sounding]) -> Accents {
        let end = notes.iter().map(|note| note.start).max().unwrap_or(Time::ZERO);
        let count = usize::try_from(end.div_floor(Time::EIGHTH) + 1).unwrap_or(1);
        let mut weights = vec![0.0; count];
        let mean = notes.iter().map(|n| f64::from(n.key)).sum::<f64>() / notes.len().max(1) as f64;
        for note in notes {
            if note.start % Time::EIGHTH != Time::ZERO {
                continue;
            }
            let place = usize::try_from(note.start.div_floor(Time::EIGHTH)).unwrap_or(0);
            let length = (note.end - note.start).to_f64() * 4.0;
            let low = if f64::from(note.key) < mean - 5.0 { 1.0 } else { 0.0 };
            weights[place] += 0.5 + length.min(2.0) + low;
        }
        // What many notes make heavy together counts less than each of them.
        weights.iter_mut().for_each(|weight: &mut f64| *weight = weight.sqrt());
        Accents(weights)
    }

    /// The metre and the pick-up in eighths that fit best, with how much better than the next
    /// metre.
    pub(super) fn find(&self) -> (Metre, usize, f64) {
        let mut fits: Vec<(f64, (u8, u8), usize)> = GRIDS
            .iter()
            .map(|(metre, grid)| {
                let (pick_up, fit) = self.phase(grid, grid.len());
                // Our heuristic, weighed on a corpus of chorales, quartets and songs: two bars of
                // 2/4 are as good as one of 4/4, which is commoner by far; and notes on every
                // quarter speak against compound metres only weakly, which are rarer still.
                let usual = match metre {
                    (3 | 4, 4) => 0.1,
                    (2, 4) => 0.0,
                    (6, 8) => -0.05,
                    _ => -0.1,
                };
                (fit + usual, *metre, pick_up)
            })
            .collect();
        fits.sort_by(|one, two| two.0.total_cmp(&one.0));
        let (fit, (count, unit), pick_up) = fits[0];
        let metre = Metre::new(count, unit).unwrap_or(Metre::FOUR_FOUR);
        (metre, pick_up, fit - fits[1].0)
    }

    /// The pick-up in eighths of a metre that is known, with how much better it fits than none.
    pub(super) fn pick_up(&self, metre: Metre) -> (usize, f64) {
        let known =
            GRIDS.iter().find(|((count, unit), _)| (*count, *unit) == (metre.count, metre.unit));
        let Some((_, grid)) = known else { return (0, 0.0) };
        let (pick_up, fit) = self.phase(grid, grid.len());
        (pick_up, fit - self.fit(grid, 0))
    }

    fn phase(&self, grid: &[f64], phases: usize) -> (usize, f64) {
        let fits = (0..phases).map(|pick_up| (pick_up, self.fit(grid, pick_up)));
        fits.max_by(|one, two| one.1.total_cmp(&two.1).then(two.0.cmp(&one.0))).unwrap_or((0, 0.0))
    }

    /// The correlation of the accents with a grid whose first bar begins after a pick-up.
    fn fit(&self, grid: &[f64], pick_up: usize) -> f64 {
        let of_grid = |place: usize| grid[(place + grid.len() - pick_up % grid.len()) % grid.len()];
        let count = self.0.len().max(1) as f64;
        let mean = self.0.iter().sum::<f64>() / count;
        let mean_grid = grid.iter().sum::<f64>() / grid.len() as f64;
        let (mut both, mut one, mut two) = (0.0, 0.0, 0.0);
        for (place, weight) in self.0.iter().enumerate() {
            let (w, g) = (weight - mean, of_grid(place) - mean_grid);
            both += w * g;
            one += w * w;
            two += g * g;
        }
        if one <= 0.0 || two <= 0.0 { 0.0 } else { both / (one * two).sqrt() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Lengths in eighths, one after the other, with a low note under those that are marked.
    fn tune(lengths: &[(i64, bool)], times: usize) -> Vec<Sounding> {
        let mut at = Time::ZERO;
        let mut notes = Vec::new();
        for _ in 0..times {
            for (length, low) in lengths {
                let end = at + Time::EIGHTH * *length;
                if *low {
                    notes.push(Sounding { start: at, end, key: 48 });
                }
                notes.push(Sounding { start: at, end, key: 72 });
                at = end;
            }
        }
        notes
    }

    #[test]
    fn a_waltz_is_in_three() {
        let (metre, pick_up, _) =
            Accents::of(&tune(&[(2, true), (2, false), (2, false)], 8)).find();
        assert_eq!((metre.to_string().as_str(), pick_up), ("3/4", 0));
    }

    #[test]
    fn a_jig_is_in_six() {
        let (metre, ..) =
            Accents::of(&tune(&[(2, true), (1, false), (2, false), (1, false)], 8)).find();
        assert_eq!(metre.to_string(), "6/8");
    }

    #[test]
    fn a_pick_up_shows_in_the_accents() {
        let mut notes = tune(&[(2, false)], 1);
        let bars = tune(&[(4, true), (2, false), (2, false)], 8);
        notes.extend(bars.into_iter().map(|n| Sounding {
            start: n.start + Time::QUARTER,
            end: n.end + Time::QUARTER,
            ..n
        }));
        let (pick_up, better) = Accents::of(&notes).pick_up(Metre::FOUR_FOUR);
        assert_eq!(pick_up, 2);
        assert!(better > 0.1);
    }
}

//! Bars by their place in the form.

use std::ops::Range;

use super::Form;
use crate::diagnostics::BarNumbers;

/// Bars that follow one another, as indices into [`Form::bars`]: from `first` up to, but not
/// including, `after`. By their printed numbers bars are [`BarNumbers`], which include the last.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
pub struct BarIndices {
    /// The first bar.
    pub first: usize,
    /// The bar after the last one.
    pub after: usize,
}

/// Bars of which some follow one another and others do not.
pub type Bars = Vec<BarIndices>;

impl BarIndices {
    /// The bars from one up to, but not including, another.
    #[must_use]
    pub const fn new(first: usize, after: usize) -> BarIndices {
        BarIndices { first, after }
    }

    /// One bar.
    #[must_use]
    pub const fn one(bar: usize) -> BarIndices {
        BarIndices::new(bar, bar + 1)
    }

    /// All bars of a form.
    #[must_use]
    pub const fn all(form: &Form) -> BarIndices {
        BarIndices::new(0, form.bars.len())
    }

    /// The bars of these numbers; `None` if the form lacks the first or the last.
    #[must_use]
    pub fn of_numbers(form: &Form, bars: BarNumbers) -> Option<BarIndices> {
        let last = form.whole(form.index_of(bars.last)?);
        Some(BarIndices::new(form.index_of(bars.first)?, last.after))
    }

    /// The numbers of these bars; `None` if there are none.
    #[must_use]
    pub fn numbers(self, form: &Form) -> Option<BarNumbers> {
        let bars = form.bars.get(self.range())?;
        Some(BarNumbers::new(bars.first()?.number, bars.last()?.number))
    }

    /// The indices, one after another.
    #[must_use]
    pub const fn range(self) -> Range<usize> {
        self.first..self.after
    }

    /// Are there none?
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.after <= self.first
    }

    /// Is that bar among them?
    #[must_use]
    pub const fn contains(self, bar: usize) -> bool {
        self.first <= bar && bar < self.after
    }

    /// Is a bar among them and among others?
    #[must_use]
    pub const fn meets(self, others: BarIndices) -> bool {
        self.first < others.after && others.first < self.after
    }

    /// The bars that are among them and among others.
    #[must_use]
    pub fn and(self, others: BarIndices) -> BarIndices {
        BarIndices::new(self.first.max(others.first), self.after.min(others.after))
    }

    /// How many bars are among them and among others.
    #[must_use]
    pub fn common(self, others: BarIndices) -> usize {
        let both = self.and(others);
        both.after.saturating_sub(both.first)
    }

    /// These with a bar more on either side.
    #[must_use]
    pub const fn with_neighbours(self) -> BarIndices {
        BarIndices::new(self.first.saturating_sub(1), self.after + 1)
    }

    /// Puts bars behind others that are in order, as one with the last of them where they touch.
    pub fn add(self, bars: &mut Bars) {
        match bars.last_mut() {
            Some(last) if self.first <= last.after => last.after = self.after.max(last.after),
            _ if self.is_empty() => {}
            _ => bars.push(self),
        }
    }

    /// Are all of these bars among others, in any order?
    #[must_use]
    pub fn are_among(self, others: &[BarIndices]) -> bool {
        let mut sorted = others.to_vec();
        sorted.sort_unstable();
        let reached = sorted.into_iter().fold(self.first, |reached, bars| {
            if bars.contains(reached) { bars.after } else { reached }
        });
        reached >= self.after
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn bars(first: usize, after: usize) -> BarIndices {
        BarIndices::new(first, after)
    }

    #[test]
    fn ranges_that_touch_become_one() {
        let mut all = Bars::new();
        for one in [bars(0, 2), bars(2, 3), bars(5, 5), bars(6, 8), bars(7, 7), bars(7, 9)] {
            one.add(&mut all);
        }
        assert_eq!(all, [bars(0, 3), bars(6, 9)]);
    }

    #[test]
    fn bars_are_among_ranges_that_follow_one_another() {
        let others = [bars(4, 6), bars(0, 4)];
        assert!(bars(1, 6).are_among(&others));
        assert!(!bars(1, 7).are_among(&others));
        assert!(!bars(1, 3).are_among(&[bars(2, 9)]));
    }

    #[test]
    fn neighbours_meet_only_where_they_share_a_bar() {
        assert!(!bars(0, 2).meets(bars(2, 4)) && bars(0, 3).meets(bars(2, 4)));
        assert_eq!(bars(0, 3).and(bars(2, 4)), BarIndices::one(2));
        assert_eq!(bars(0, 1).with_neighbours(), bars(0, 2));
    }
}

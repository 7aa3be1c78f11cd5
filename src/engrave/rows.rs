//! Rows of bars of which only a stretch may be there, and spans that are looked up by the bars that
//! they touch.

use std::ops::{Index, IndexMut, Range};

use crate::sheet::Span;

/// What belongs to some bars that follow one another, at the places that these have among all.
#[derive(Clone, Debug)]
pub struct Stretch<T> {
    first: usize,
    own: Vec<T>,
}

impl<T> Stretch<T> {
    /// What belongs to the bars from a first one on.
    #[must_use]
    pub fn new(first: usize, own: Vec<T>) -> Stretch<T> {
        Stretch { first, own }
    }

    /// That of a bar, if it is there.
    #[must_use]
    pub fn get(&self, bar: usize) -> Option<&T> {
        self.own.get(bar.checked_sub(self.first)?)
    }

    /// All that is there, in order.
    pub fn iter(&self) -> std::slice::Iter<'_, T> {
        self.own.iter()
    }

    /// All that is there, in order, to be changed.
    pub fn iter_mut(&mut self) -> std::slice::IterMut<'_, T> {
        self.own.iter_mut()
    }

    /// Puts something in before a bar, which moves on with all behind it.
    pub fn insert(&mut self, bar: usize, one: T) {
        self.own.insert(bar - self.first, one);
    }
}

impl<T> Default for Stretch<T> {
    fn default() -> Stretch<T> {
        Stretch::new(0, Vec::new())
    }
}

impl<T> Index<usize> for Stretch<T> {
    type Output = T;

    fn index(&self, bar: usize) -> &T {
        &self.own[bar - self.first]
    }
}

impl<T> IndexMut<usize> for Stretch<T> {
    fn index_mut(&mut self, bar: usize) -> &mut T {
        &mut self.own[bar - self.first]
    }
}

impl<T> Index<Range<usize>> for Stretch<T> {
    type Output = [T];

    fn index(&self, bars: Range<usize>) -> &[T] {
        &self.own[bars.start - self.first..bars.end - self.first]
    }
}

impl<'a, T> IntoIterator for &'a Stretch<T> {
    type Item = &'a T;
    type IntoIter = std::slice::Iter<'a, T>;

    fn into_iter(self) -> Self::IntoIter {
        self.iter()
    }
}

/// The spans of a staff, in an order of their own.
#[derive(Clone, Debug, Default)]
pub struct Spans {
    all: Vec<Span>,
    /// Their numbers, in order of the bars in which they begin, each with the last bar that it or one
    /// before it touches.
    by_bar: Vec<(u32, u32)>,
}

impl Spans {
    /// These spans.
    #[must_use]
    pub fn new(all: Vec<Span>) -> Spans {
        let number = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
        let mut by_bar: Vec<(u32, u32)> =
            all.iter().enumerate().map(|(n, span)| (number(n), number(span.bars().1))).collect();
        by_bar.sort_by_key(|(n, _)| all[*n as usize].bars().0);
        let mut last = 0;
        for (_, end) in &mut by_bar {
            last = last.max(*end);
            *end = last;
        }
        Spans { all, by_bar }
    }

    /// All, in their order.
    #[must_use]
    pub fn into_all(self) -> Vec<Span> {
        self.all
    }

    /// Those that touch any of these bars, the last one included, in their order.
    #[must_use]
    pub fn touching(&self, first: usize, last: usize) -> Vec<&Span> {
        let begun = self.by_bar.partition_point(|(n, _)| self.all[*n as usize].bars().0 <= last);
        let open = self.by_bar[..begun].iter().rev().take_while(|(_, end)| *end as usize >= first);
        let mut numbers: Vec<u32> = open.map(|(n, _)| *n).collect();
        numbers.sort_unstable();
        let spans = numbers.into_iter().map(|n| &self.all[n as usize]);
        spans.filter(|span| span.bars().1 >= first).collect()
    }
}

#[cfg(test)]
mod tests {
    use ripieno_compiler::music::Time;

    use super::*;
    use crate::sheet::SpanKind;

    #[test]
    fn spans_are_found_by_the_bars_that_they_touch() {
        let mut seed = 7_usize;
        let mut next = |below: usize| {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963);
            (seed >> 33) % below
        };
        let all: Vec<Span> = (0..300)
            .map(|n| {
                let from = next(100);
                let to = from + next(if n % 50 == 0 { 60 } else { 3 });
                let kind = SpanKind::Hairpin {
                    from: (from, Time::ZERO),
                    to: (to, Time::ZERO),
                    grows: n % 2 == 0,
                };
                Span { kind, above: n % 3 == 0, cut: (false, false) }
            })
            .collect();
        let spans = Spans::new(all.clone());
        for first in 0..165 {
            for last in first..first + 4 {
                let wanted: Vec<&Span> = all
                    .iter()
                    .filter(|span| span.bars().0 <= last && span.bars().1 >= first)
                    .collect();
                assert_eq!(spans.touching(first, last), wanted, "{first} to {last}");
            }
        }
    }
}

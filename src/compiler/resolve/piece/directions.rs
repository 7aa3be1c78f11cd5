//! What a voice or everybody is told, in order of time: thousands of directions, packed.
//!
//! A voice may have a dynamic at each note, and each part that plays it takes these over: of what is
//! kept for the voice, a direction has twenty bytes in place of the forty-eight of a [`Direction`],
//! and those that say more than a dynamic or a technique twenty-four besides.

use std::fmt;

use super::direction::{Direction, DirectionKind, Dynamic, Technique, last_level};
use crate::diagnostics::{FileId, ItemId, Span};
use crate::lists::push_slowly;
use crate::music::Time;
use crate::narrow::Narrow;

/// Directions in order of time. Where there are none, as in many a voice, nothing is kept.
#[derive(Clone, Default)]
pub struct Directions(Option<Box<Kept>>);

#[derive(Clone, Default)]
struct Kept {
    /// The file of most of them: that of the first.
    file: FileId,
    at: Vec<Time>,
    said: Vec<Said>,
    /// What hairpins and words say, with their indices, in order.
    kinds: Vec<(u32, DirectionKind)>,
    /// Where those stand that stand otherwise than most do, with their indices, in order.
    spans: Vec<(u32, Span)>,
}

/// A direction without its time.
#[derive(Clone, Copy, PartialEq)]
struct Said {
    item: ItemId,
    start: u32,
    /// Of its place in the source; [`FAR`] if the place is among `spans`.
    length: u16,
    /// A dynamic, a technique, a fermata on a rest, or [`MORE`] if what it says is among `kinds`.
    code: u8,
}

/// The place is among those of their own.
const FAR: u16 = u16::MAX;
/// What it says is among those of their own.
const MORE: u8 = u8::MAX;
const TECHNIQUES: u8 = Dynamic::Sfz as u8 + 1;
const FERMATA: u8 = TECHNIQUES + Technique::Unmuted as u8 + 1;

impl Directions {
    fn kept(&self) -> &Kept {
        static NONE: Kept = Kept {
            file: FileId(0),
            at: Vec::new(),
            said: Vec::new(),
            kinds: Vec::new(),
            spans: Vec::new(),
        };
        self.0.as_deref().unwrap_or(&NONE)
    }

    /// How many there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.kept().at.len()
    }

    /// Are there none?
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.is_none()
    }

    /// The times at which they stand, in order.
    #[must_use]
    pub fn times(&self) -> &[Time] {
        &self.kept().at
    }

    /// How many stand before a time.
    #[must_use]
    pub fn before(&self, time: Time) -> usize {
        self.kept().at.partition_point(|at| *at < time)
    }

    /// One of them.
    #[must_use]
    pub fn get(&self, index: usize) -> Option<Direction> {
        let kept = self.kept();
        let (at, said) = (*kept.at.get(index)?, kept.said[index]);
        let kind = match said.code {
            MORE => of_index(&kept.kinds, index)?.clone(),
            FERMATA => DirectionKind::FermataOnRest,
            code if code >= TECHNIQUES => {
                DirectionKind::Technique(Technique::WORDS[usize::from(code - TECHNIQUES)].0)
            }
            code => DirectionKind::Dynamic(Dynamic::WORDS[usize::from(code)].0),
        };
        let span = match said.length {
            FAR => *of_index(&kept.spans, index)?,
            length => {
                let end = said.start + u32::from(length);
                Span::within(kept.file, said.item, said.start, end)
            }
        };
        Some(Direction { at, kind, span })
    }

    /// All of them.
    pub fn iter(&self) -> impl DoubleEndedIterator<Item = Direction> + Clone {
        self.within(0..self.len())
    }

    /// Those of some indices.
    pub fn within(
        &self,
        indices: std::ops::Range<usize>,
    ) -> impl DoubleEndedIterator<Item = Direction> + Clone {
        indices.filter_map(|index| self.get(index))
    }

    /// Puts one behind the others.
    pub fn push(&mut self, direction: Direction) {
        let Direction { at, kind, span } = direction;
        let index = self.len().narrow::<u32>();
        let kept =
            self.0.get_or_insert_with(|| Box::new(Kept { file: span.file, ..Kept::default() }));
        let code = match kind {
            DirectionKind::Dynamic(dynamic) => dynamic as u8,
            DirectionKind::Technique(technique) => TECHNIQUES + technique as u8,
            DirectionKind::FermataOnRest => FERMATA,
            DirectionKind::Hairpin { .. } | DirectionKind::Words(_) => {
                push_slowly(&mut kept.kinds, (index, kind));
                MORE
            }
        };
        let length = span.end.checked_sub(span.start).and_then(|length| u16::try_from(length).ok());
        let length = length.filter(|_| span.file == kept.file && span.first == span.last);
        let length = length.unwrap_or(FAR);
        if length == FAR {
            push_slowly(&mut kept.spans, (index, span));
        }
        push_slowly(&mut kept.at, at);
        push_slowly(&mut kept.said, Said { item: span.first, start: span.start, length, code });
    }

    /// Lets a hairpin end at a time; nothing happens to what is none.
    pub fn end_hairpin(&mut self, index: usize, at: Time) {
        let Some(kept) = &mut self.0 else { return };
        let place = kept.kinds.binary_search_by_key(&index, |(index, _)| *index as usize);
        if let Ok(place) = place
            && let DirectionKind::Hairpin { to, .. } = &mut kept.kinds[place].1
        {
            *to = at;
        }
    }

    /// The same with only the room that they need, and without hairpins that do not extend.
    #[must_use]
    pub fn finished(mut self) -> Directions {
        let is_none = |direction: &Direction| match direction.kind {
            DirectionKind::Hairpin { to, .. } => to <= direction.at,
            _ => false,
        };
        if self.iter().any(|direction| is_none(&direction)) {
            self = self.iter().filter(|direction| !is_none(direction)).collect();
        }
        if let Some(kept) = &mut self.0 {
            kept.at.shrink_to_fit();
            kept.said.shrink_to_fit();
            kept.kinds.shrink_to_fit();
            kept.spans.shrink_to_fit();
        }
        self
    }

    /// The same in order of time; those of one time stay as they stand.
    #[must_use]
    pub fn in_order(self) -> Directions {
        if self.times().is_sorted() {
            return self;
        }
        let mut order: Vec<usize> = (0..self.len()).collect();
        order.sort_by_key(|index| self.times()[*index]);
        order.into_iter().filter_map(|index| self.get(index)).collect()
    }

    /// The dynamic that was told last up to a time and holds there, and when and where it is said;
    /// hairpins are not looked at.
    #[must_use]
    pub fn level_at(&self, at: Time) -> Option<(Dynamic, Direction)> {
        let told = self.times().partition_point(|said| *said <= at);
        last_level(self.within(0..told))
    }
}

/// What is kept for an index beside the others.
fn of_index<T>(kept: &[(u32, T)], index: usize) -> Option<&T> {
    let place = kept.binary_search_by_key(&index, |(index, _)| *index as usize).ok()?;
    Some(&kept[place].1)
}

impl PartialEq for Directions {
    fn eq(&self, other: &Directions) -> bool {
        self.len() == other.len() && self.iter().eq(other.iter())
    }
}

impl FromIterator<Direction> for Directions {
    fn from_iter<I: IntoIterator<Item = Direction>>(directions: I) -> Directions {
        let mut all = Directions::default();
        all.extend(directions);
        all
    }
}

impl Extend<Direction> for Directions {
    fn extend<I: IntoIterator<Item = Direction>>(&mut self, directions: I) {
        directions.into_iter().for_each(|direction| self.push(direction));
    }
}

impl fmt::Debug for Directions {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_list().entries(self.iter()).finish()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told() -> Vec<Direction> {
        let place = |item, start, end| Span::within(FileId(1), ItemId(item), start, end);
        let time = |at| Time::of(at, 4);
        let hairpin = DirectionKind::Hairpin { grows: true, to: time(4) };
        let dynamics = Dynamic::WORDS.map(|(dynamic, _)| DirectionKind::Dynamic(dynamic));
        let techniques =
            Technique::WORDS.map(|(technique, ..)| DirectionKind::Technique(technique));
        let others = [hairpin, DirectionKind::words("dolce"), DirectionKind::FermataOnRest];
        let kinds = dynamics.into_iter().chain(techniques).chain(others);
        let mut all: Vec<Direction> = kinds
            .zip(1..)
            .map(|(kind, at)| Direction { at: time(at), kind, span: place(7, 3, 9) })
            .collect();
        // Places of another file, over two items, backwards, and long ones.
        let spans = [
            Span::within(FileId(2), ItemId(7), 3, 9),
            place(7, 3, 9).to(place(8, 1, 2)),
            place(7, 9, 3),
            place(7, 0, u32::from(FAR)),
            place(7, 0, u32::from(FAR) + 1),
        ];
        all.extend(spans.map(|span| Direction {
            at: time(30),
            kind: DirectionKind::Dynamic(Dynamic::Sf),
            span,
        }));
        all
    }

    #[test]
    fn whatever_is_told_is_kept() {
        let all = told();
        let kept: Directions = all.iter().cloned().collect();
        assert_eq!(kept.iter().collect::<Vec<_>>(), all);
        assert_eq!(kept.len(), all.len());
        assert_eq!(size_of::<Said>(), 12);
    }

    #[test]
    fn hairpins_end_where_they_are_told_and_not_before_they_begin() {
        let mut kept: Directions = told().into_iter().collect();
        let index = kept.iter().position(|d| matches!(d.kind, DirectionKind::Hairpin { .. }));
        let index = index.unwrap();
        kept.end_hairpin(index, Time::of(99, 4));
        let to = |kept: &Directions| match kept.get(index).unwrap().kind {
            DirectionKind::Hairpin { to, .. } => Some(to),
            _ => None,
        };
        assert_eq!(to(&kept), Some(Time::of(99, 4)));
        let length = kept.len();
        let mut kept = kept.finished();
        assert_eq!(kept.len(), length);
        kept.end_hairpin(index, Time::ZERO);
        let kept = kept.finished();
        assert_eq!((kept.len(), to(&kept)), (length - 1, None));
        let rest: Vec<Direction> = told()
            .into_iter()
            .filter(|d| !matches!(d.kind, DirectionKind::Hairpin { .. }))
            .collect();
        assert_eq!(kept.iter().collect::<Vec<_>>(), rest);
    }

    #[test]
    fn what_is_told_at_one_time_stays_as_it_stands() {
        let mut all = told();
        all.reverse();
        let kept = all.iter().cloned().collect::<Directions>().in_order();
        all.sort_by_key(|direction| direction.at);
        assert_eq!(kept.iter().collect::<Vec<_>>(), all);
        assert_eq!(kept.before(Time::of(3, 4)), 2);
    }

    #[test]
    fn a_level_holds_until_another_is_told() {
        let kept: Directions = told().into_iter().collect();
        assert_eq!(kept.level_at(Time::ZERO), None);
        let (level, said) = kept.level_at(Time::of(100, 4)).unwrap();
        // The last that holds is the piano of the forte-piano.
        assert_eq!((level, said.at), (Dynamic::P, Time::of(9, 4)));
    }
}

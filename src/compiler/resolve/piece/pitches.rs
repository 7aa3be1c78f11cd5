//! The pitches of a note, small, because a piece has hundreds of thousands of notes.

use std::fmt;
use std::ops::{Deref, DerefMut};

use crate::music::{Letter, Pitch};
use crate::narrow::Narrow;

/// So many pitches take no room of their own.
const FEW: usize = 4;

/// The pitches of a note, from the lowest to the highest.
#[derive(Clone)]
pub struct Pitches(Held);

#[derive(Clone)]
enum Held {
    Few {
        count: u8,
        /// Those behind the count mean nothing.
        pitches: [Pitch; FEW],
    },
    Many(Box<Vec<Pitch>>),
}

const NOTHING: Pitch = Pitch { letter: Letter::C, alter: 0, octave: 4 };

impl Pitches {
    /// Those of a slice.
    #[must_use]
    pub fn from_slice(from: &[Pitch]) -> Pitches {
        let mut pitches = [NOTHING; FEW];
        match pitches.get_mut(..from.len()) {
            Some(few) => {
                few.copy_from_slice(from);
                Pitches(Held::Few { count: from.len().narrow::<u8>(), pitches })
            }
            None => Pitches(Held::Many(Box::new(from.to_vec()))),
        }
    }

    /// All of them.
    #[must_use]
    #[inline]
    pub fn as_slice(&self) -> &[Pitch] {
        self
    }

    /// Puts one behind the others.
    pub fn push(&mut self, pitch: Pitch) {
        match &mut self.0 {
            Held::Few { count, pitches } if usize::from(*count) < FEW => {
                pitches[usize::from(*count)] = pitch;
                *count += 1;
            }
            Held::Few { pitches, .. } => {
                let mut many = Vec::with_capacity(2 * FEW);
                many.extend_from_slice(pitches);
                many.push(pitch);
                self.0 = Held::Many(Box::new(many));
            }
            Held::Many(many) => many.push(pitch),
        }
    }

    /// Takes away all but those that pass.
    pub fn retain(&mut self, keep: impl FnMut(&Pitch) -> bool) {
        let mut all = self.to_vec();
        all.retain(keep);
        *self = Pitches::from_slice(&all);
    }

    /// Takes away each that is the same as the one before it.
    pub fn dedup(&mut self) {
        let mut all = self.to_vec();
        all.dedup();
        *self = Pitches::from_slice(&all);
    }
}

impl Default for Pitches {
    fn default() -> Pitches {
        Pitches(Held::Few { count: 0, pitches: [NOTHING; FEW] })
    }
}

impl From<Pitch> for Pitches {
    fn from(pitch: Pitch) -> Pitches {
        Pitches(Held::Few { count: 1, pitches: [pitch; FEW] })
    }
}

impl Deref for Pitches {
    type Target = [Pitch];

    #[inline]
    fn deref(&self) -> &[Pitch] {
        match &self.0 {
            Held::Few { count, pitches } => &pitches[..usize::from(*count).min(FEW)],
            Held::Many(many) => many,
        }
    }
}

impl DerefMut for Pitches {
    #[inline]
    fn deref_mut(&mut self) -> &mut [Pitch] {
        match &mut self.0 {
            Held::Few { count, pitches } => &mut pitches[..usize::from(*count).min(FEW)],
            Held::Many(many) => many,
        }
    }
}

impl PartialEq for Pitches {
    #[inline]
    fn eq(&self, other: &Pitches) -> bool {
        **self == **other
    }
}

impl Eq for Pitches {}

impl fmt::Debug for Pitches {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_list().entries(&**self).finish()
    }
}

impl Extend<Pitch> for Pitches {
    fn extend<I: IntoIterator<Item = Pitch>>(&mut self, pitches: I) {
        pitches.into_iter().for_each(|pitch| self.push(pitch));
    }
}

impl FromIterator<Pitch> for Pitches {
    fn from_iter<I: IntoIterator<Item = Pitch>>(pitches: I) -> Pitches {
        let mut all = Pitches::default();
        all.extend(pitches);
        all
    }
}

impl<'a> IntoIterator for &'a Pitches {
    type Item = &'a Pitch;
    type IntoIter = std::slice::Iter<'a, Pitch>;

    fn into_iter(self) -> Self::IntoIter {
        self.iter()
    }
}

impl<'a> IntoIterator for &'a mut Pitches {
    type Item = &'a mut Pitch;
    type IntoIter = std::slice::IterMut<'a, Pitch>;

    fn into_iter(self) -> Self::IntoIter {
        self.iter_mut()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::resolve::Sound;

    #[test]
    fn few_and_many_are_the_same_to_whoever_asks() {
        assert_eq!(size_of::<Sound>(), 16);
        let all: Vec<Pitch> = (60..70).map(Pitch::from_midi).collect();
        for count in 0..all.len() {
            let mut pitches: Pitches = all[..count].iter().copied().collect();
            assert_eq!(pitches, Pitches::from_slice(&all[..count]));
            assert_eq!(pitches.as_slice(), &all[..count]);
            pitches.push(all[0]);
            assert_eq!((pitches.len(), pitches.last()), (count + 1, Some(&all[0])));
            pitches.sort_unstable();
            pitches.dedup();
            assert_eq!(pitches.as_slice(), &all[..count.max(1)]);
            pitches.retain(|pitch| *pitch != all[0]);
            assert_eq!(pitches.as_slice(), &all[1..count.max(1)]);
        }
    }
}

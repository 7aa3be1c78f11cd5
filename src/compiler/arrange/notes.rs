//! The notes of a part, which players who sound the same hold in common.

use std::ops::{Deref, DerefMut};
use std::sync::Arc;

use super::{PackedNote, SoundingNote};

/// Notes in order of time; they do not overlap. Copies are the same notes in memory until one of
/// them is changed.
#[derive(Clone, Default, Debug)]
pub struct Notes(Arc<Vec<PackedNote>>);

impl Notes {
    /// Are they the same in memory?
    #[must_use]
    pub fn are_shared(&self, other: &Notes) -> bool {
        Arc::ptr_eq(&self.0, &other.0)
    }

    /// Are there no copies of them?
    pub(crate) fn is_alone(&self) -> bool {
        Arc::strong_count(&self.0) == 1
    }

    /// Which notes in memory they are: the same for all that share them.
    #[must_use]
    pub fn address(&self) -> usize {
        Arc::as_ptr(&self.0).addr()
    }

    /// Adds notes that come behind these. Where there were none, they are the very same.
    pub(crate) fn add(&mut self, more: Notes) {
        match self.is_empty() {
            true => *self = more,
            false => self.list().extend(more.into_list()),
        }
    }

    /// The notes by themselves, without a copy where nobody else has them.
    pub(crate) fn into_list(self) -> Vec<PackedNote> {
        Arc::unwrap_or_clone(self.0)
    }

    /// The notes to be added to or taken from.
    pub fn list(&mut self) -> &mut Vec<PackedNote> {
        Arc::make_mut(&mut self.0)
    }
}

impl Deref for Notes {
    type Target = [PackedNote];

    #[inline]
    fn deref(&self) -> &[PackedNote] {
        &self.0
    }
}

impl DerefMut for Notes {
    fn deref_mut(&mut self) -> &mut [PackedNote] {
        self.list()
    }
}

impl PartialEq for Notes {
    fn eq(&self, other: &Notes) -> bool {
        self.are_shared(other) || self.0 == other.0
    }
}

impl From<Vec<PackedNote>> for Notes {
    fn from(notes: Vec<PackedNote>) -> Notes {
        Notes(Arc::new(notes))
    }
}

impl From<Vec<SoundingNote>> for Notes {
    fn from(notes: Vec<SoundingNote>) -> Notes {
        notes.into_iter().collect()
    }
}

impl FromIterator<SoundingNote> for Notes {
    fn from_iter<I: IntoIterator<Item = SoundingNote>>(notes: I) -> Notes {
        Notes(Arc::new(notes.into_iter().map(PackedNote::from).collect()))
    }
}

impl<'a> IntoIterator for &'a Notes {
    type Item = &'a PackedNote;
    type IntoIter = std::slice::Iter<'a, PackedNote>;

    fn into_iter(self) -> Self::IntoIter {
        self.0.iter()
    }
}

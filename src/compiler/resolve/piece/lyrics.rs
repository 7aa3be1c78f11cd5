//! Types of lyrics.

use std::collections::{HashMap, HashSet};

use crate::diagnostics::Span;

/// What is sung to the notes of the voices, verse by verse.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Lyrics {
    /// By the place of a note in the source.
    pub(in crate::resolve) by_note: HashMap<Span, Vec<Syllable>>,
    /// Notes over which a syllable of an earlier note is held.
    pub(in crate::resolve) held: HashSet<Span>,
    /// May there be more than could be understood?
    pub unsure: bool,
}

impl Lyrics {
    /// The syllables that begin on a note, by its place in the source; the first verse first.
    #[must_use]
    pub fn of(&self, note: Span) -> &[Syllable] {
        self.by_note.get(&note).map_or(&[], Vec::as_slice)
    }

    /// Does a syllable begin on a note, or is one held over it?
    #[must_use]
    pub fn sings(&self, note: Span) -> bool {
        self.by_note.contains_key(&note) || self.held.contains(&note)
    }

    /// Has the piece none?
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.by_note.is_empty()
    }
}

/// A syllable that begins on a note.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub struct Syllable {
    /// Verse, from 1.
    pub verse: u8,
    /// The text of the syllable, without hyphens.
    pub text: String,
    /// Does it go on from the syllable before, with a hyphen?
    pub continues: bool,
    /// Does the next syllable go on with the word?
    pub goes_on: bool,
    /// Is it held over the notes that follow, to be shown by a line?
    pub melisma: bool,
}

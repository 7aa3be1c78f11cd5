//! Words of the language for marks on notes and for directions, as readers and the writer share
//! them.

/// Marks that a note may have.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
#[repr(u8)]
pub(super) enum Mark {
    Staccato,
    Staccatissimo,
    Tenuto,
    Accent,
    Marcato,
    Fermata,
    Trill,
    Mordent,
    Turn,
    UpBow,
    DownBow,
    Harmonic,
    Stopped,
    Open,
    Breath,
    Arpeggio,
}

/// All marks with their words.
pub(super) const MARKS: [(Mark, &str); 16] = [
    (Mark::Staccato, "stacc"),
    (Mark::Staccatissimo, "staccatissimo"),
    (Mark::Tenuto, "tenuto"),
    (Mark::Accent, "accent"),
    (Mark::Marcato, "marcato"),
    (Mark::Fermata, "fermata"),
    (Mark::Trill, "trill"),
    (Mark::Mordent, "mordent"),
    (Mark::Turn, "turn"),
    (Mark::UpBow, "up-bow"),
    (Mark::DownBow, "down-bow"),
    (Mark::Harmonic, "harmonic"),
    (Mark::Stopped, "stopped"),
    (Mark::Open, "open"),
    (Mark::Breath, "breath"),
    (Mark::Arpeggio, "arpeggio"),
];

/// Dynamics of the language.
pub(super) const DYNAMICS: [&str; 11] =
    ["ppp", "pp", "p", "mp", "mf", "f", "ff", "fff", "fp", "sf", "sfz"];

/// A set of marks.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
pub(super) struct Marks(u32);

impl Marks {
    pub(super) fn insert(&mut self, mark: Mark) {
        self.0 |= 1 << mark as u8;
    }

    pub(super) fn has(self, mark: Mark) -> bool {
        self.0 & (1 << mark as u8) != 0
    }

    pub(super) fn add(&mut self, others: Marks) {
        self.0 |= others.0;
    }

    pub(super) fn words(self) -> impl Iterator<Item = &'static str> {
        MARKS.into_iter().filter(move |(mark, _)| self.has(*mark)).map(|(_, word)| word)
    }
}

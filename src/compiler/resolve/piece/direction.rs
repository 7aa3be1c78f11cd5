//! Types of directions: dynamics, hairpins, techniques, words.

use std::borrow::Borrow;

use crate::diagnostics::Span;
use crate::music::Time;

/// A direction at a place in time.
#[derive(Clone, PartialEq, Debug)]
pub struct Direction {
    /// Where it stands.
    pub at: Time,
    /// What it says.
    pub kind: DirectionKind,
    /// Where it is written.
    pub span: Span,
}

/// What a direction says.
#[derive(Clone, PartialEq, Debug)]
pub enum DirectionKind {
    /// A dynamic.
    Dynamic(Dynamic),
    /// A hairpin from here to the given time.
    Hairpin {
        /// Does it grow?
        grows: bool,
        /// Where it ends, in written time.
        to: Time,
    },
    /// A technique from here on.
    Technique(Technique),
    /// Words: at a distance, for most directions have none, and a voice may have one at each note.
    Words(Box<Box<str>>),
    /// A fermata over the rest that stands here.
    FermataOnRest,
}

// Each part keeps those of its own.
const _: () = assert!(size_of::<Direction>() <= 48);

impl DirectionKind {
    /// Words as they are printed.
    #[must_use]
    pub fn words(text: &str) -> DirectionKind {
        DirectionKind::Words(Box::new(text.into()))
    }
}

/// Degrees of loudness and momentary stresses, as they are printed.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Dynamic {
    /// Pianississimo.
    Ppp,
    /// Pianissimo.
    Pp,
    /// Piano.
    P,
    /// Mezzo piano.
    Mp,
    /// Mezzo forte.
    Mf,
    /// Forte.
    F,
    /// Fortissimo.
    Ff,
    /// Fortississimo.
    Fff,
    /// Forte, at once piano.
    Fp,
    /// Sforzato on one note.
    Sf,
    /// Sforzato, stronger.
    Sfz,
}

impl Dynamic {
    /// All dynamics with their letters, which are also their words in the language.
    pub const WORDS: [(Dynamic, &'static str); 11] = [
        (Dynamic::Ppp, "ppp"),
        (Dynamic::Pp, "pp"),
        (Dynamic::P, "p"),
        (Dynamic::Mp, "mp"),
        (Dynamic::Mf, "mf"),
        (Dynamic::F, "f"),
        (Dynamic::Ff, "ff"),
        (Dynamic::Fff, "fff"),
        (Dynamic::Fp, "fp"),
        (Dynamic::Sf, "sf"),
        (Dynamic::Sfz, "sfz"),
    ];

    /// The letters.
    #[must_use]
    pub fn letters(self) -> &'static str {
        Dynamic::WORDS[self as usize].1
    }

    /// The degree from ppp (0) to fff (7) that holds after it: `fp` leaves piano, a stress leaves
    /// what was there (`None`).
    #[must_use]
    pub fn degree(self) -> Option<u8> {
        self.lasting().map(|level| level as u8)
    }

    /// What holds after it: `fp` leaves piano, a stress leaves what was there (`None`).
    #[must_use]
    pub fn lasting(self) -> Option<Dynamic> {
        match self {
            Dynamic::Fp => Some(Dynamic::P),
            Dynamic::Sf | Dynamic::Sfz => None,
            steady => Some(steady),
        }
    }
}

/// The dynamic that was told last up to a time and holds there, and where it is said. The directions are in
/// order; hairpins are not looked at.
#[must_use]
pub fn level_at(directions: &[Direction], at: Time) -> Option<(Dynamic, &Direction)> {
    let before = &directions[..directions.partition_point(|direction| direction.at <= at)];
    last_level(before.iter())
}

/// The last of some directions that tells a level, and the level that holds after it.
pub(super) fn last_level<D: Borrow<Direction>>(
    told: impl DoubleEndedIterator<Item = D>,
) -> Option<(Dynamic, D)> {
    told.rev().find_map(|direction| match direction.borrow().kind {
        DirectionKind::Dynamic(dynamic) => Some((dynamic.lasting()?, direction)),
        _ => None,
    })
}

/// A technique.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Technique {
    /// Plucked: printed "pizz.".
    Pizzicato,
    /// With the bow again: printed "arco".
    Arco,
    /// With mute: printed "con sord.".
    Muted,
    /// Without mute: printed "senza sord.".
    Unmuted,
}

impl Technique {
    /// All techniques: word of the language, words on paper.
    pub const WORDS: [(Technique, &'static str, &'static str); 4] = [
        (Technique::Pizzicato, "pizz", "pizz."),
        (Technique::Arco, "arco", "arco"),
        (Technique::Muted, "muted", "con sord."),
        (Technique::Unmuted, "unmuted", "senza sord."),
    ];

    /// The word of the language.
    #[must_use]
    pub fn word(self) -> &'static str {
        Technique::WORDS[self as usize].1
    }

    /// The words on paper.
    #[must_use]
    pub fn printed(self) -> &'static str {
        Technique::WORDS[self as usize].2
    }
}

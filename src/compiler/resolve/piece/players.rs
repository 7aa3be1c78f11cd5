//! Types of ensembles: players and their roles.

use std::sync::Arc;

use crate::diagnostics::Span;
use crate::instruments::{Instrument, Tuning};
use crate::music::{Interval, Pitch};

/// What a player does in the whole.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Role {
    /// The tune.
    Melody,
    /// The lowest line, on which the harmony stands.
    Bass,
    /// Chord notes, held or repeated.
    Harmony,
    /// The rhythm, marked.
    Rhythm,
    /// A moment made brighter.
    Highlight,
}

impl Role {
    /// All roles with their words.
    pub const WORDS: [(Role, &'static str); 5] = [
        (Role::Melody, "melody"),
        (Role::Bass, "bass"),
        (Role::Harmony, "harmony"),
        (Role::Rhythm, "rhythm"),
        (Role::Highlight, "highlight"),
    ];

    /// The word.
    #[must_use]
    pub fn word(self) -> &'static str {
        Role::WORDS[self as usize].1
    }
}

/// Who plays: players with their instruments, and named groups of them.
#[derive(Clone, PartialEq, Debug)]
pub struct Ensemble {
    /// Its name.
    pub name: String,
    /// Where the name is written.
    pub span: Span,
    /// The year whose customs hold.
    pub era: i32,
    /// The players in score order.
    pub players: Vec<Arc<Player>>,
    /// Players of the extended ensemble who are not there any more; kept lines that speak to them
    /// fall away.
    pub without: Vec<String>,
    /// In how many bars of a hundred players may sound before it is too much: name of the
    /// ensemble line, and the number. The checker has numbers of its own for the others.
    pub budgets: Vec<(String, u32)>,
    /// Limits of rules that it sets, the last of each rule.
    pub limits: Vec<SetLimit>,
    /// The groups: name, and for each member the index of the player and the octaves up by which
    /// he plays what the group plays (double basses in a bass group: -1).
    pub groups: Vec<(String, Vec<(usize, i8)>)>,
    /// Words of lines that could not be understood, its own and those that it extends: it may have
    /// more players than these.
    pub unread: Vec<String>,
    /// Ensemble lines of players whose key, crook or tuning is not known.
    pub unsure: Vec<String>,
    /// Is the ensemble that it extends, or its era, not known?
    pub adrift: bool,
}

/// A limit of a rule that an ensemble sets for itself.
#[derive(Clone, PartialEq, Debug)]
pub struct SetLimit {
    /// The code of the rule.
    pub rule: String,
    /// Where the code is written.
    pub rule_span: Span,
    /// The figure.
    pub value: f64,
    /// Its unit as it is written, or empty.
    pub unit: String,
    /// Where the figure is written, with its unit.
    pub value_span: Span,
    /// Why it is set.
    pub reason: String,
}

/// One part and who plays from it.
#[derive(Clone, PartialEq, Debug)]
pub struct Player {
    /// The name in the language: `violin-1`, `oboe.2`, `harpsichord`.
    pub id: String,
    /// The name of the ensemble line: `oboe` for `oboe.2`.
    pub line_name: String,
    /// Full name at the head of the part: "Oboe 2", "Violins I".
    pub name: String,
    /// Abbreviation before later systems: "Ob. 2", "Vl. I".
    pub abbreviation: String,
    /// The instrument.
    pub instrument: &'static Instrument,
    /// Number among the players of the same line, from 1; 0 where there is only one.
    pub number: u8,
    /// How many people share the part (a section), 1 for a single player.
    pub count: u16,
    /// Is the part that of a section (strings), shared by several people?
    pub section: bool,
    /// Of the half of a section that divides: what the whole is.
    pub half_of: Option<Arc<WholeSection>>,
    /// The key or crook, where the ensemble names one.
    pub tuning: Option<&'static Tuning>,
    /// Are the parts written without a key signature, although the instrument usually has one?
    /// Common practice for horns and trumpets with valves about 1885.
    pub without_signature: bool,
    /// The notes to which drums are tuned (sounding), from the lowest up.
    pub drums: Vec<Pitch>,
    /// The ensemble line that makes the player what he is.
    pub span: Span,
}

/// A section that divides into two halves, each a [`Player`] of its own. They read from one page.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct WholeSection {
    /// Full name at the head of the part: "Violas".
    pub name: String,
    /// Abbreviation before later systems: "Vla."
    pub abbreviation: String,
    /// How many people the two halves are.
    pub count: u16,
}

/// The halves of a section in words, the upper one first: "Violas, upper half".
pub const HALVES: [&str; 2] = ["upper half", "lower half"];

impl Player {
    /// The part that he reads, by its name in the language and on paper: of the half of a section that of
    /// the whole, `viola` and "Violas".
    #[must_use]
    pub fn part(&self) -> (&str, &str) {
        match &self.half_of {
            Some(whole) => (&self.line_name, &whole.name),
            None => (&self.id, &self.name),
        }
    }

    /// Are these the two halves of one section?
    #[must_use]
    pub fn divides_with(&self, other: &Player) -> bool {
        self.half_of.is_some() && other.half_of.is_some() && self.line_name == other.line_name
    }

    /// The way from written to sounding pitch with the key or crook of the ensemble line.
    #[must_use]
    pub fn transposition(&self) -> Interval {
        self.tuning.map_or(self.instrument.transposition, |tuning| tuning.transposition)
    }

    /// Second of a pair (the second, fourth … of a line of single players)?
    #[must_use]
    pub fn is_second(&self) -> bool {
        self.number > 0 && self.number.is_multiple_of(2)
    }
}

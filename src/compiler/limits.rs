//! How much of everything a source may have: one table, which the reference prints and a test holds
//! to it.
//!
//! Each bound is checked where what it bounds is read, and told with its number. They lie far
//! beyond what music needs (the longest operas have some 6,000 bars) and keep time and memory in
//! proportion to the source: what is compared each with each is never more than these.

/// One bound.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Limit {
    /// What is bounded, as the reference has it.
    pub what: &'static str,
    /// The most there may be.
    pub most: usize,
    /// Of what `most` speaks.
    pub unit: &'static str,
    /// The code of the finding that tells it.
    pub code: &'static str,
}

/// The longest source, in bytes: 16 MiB.
pub const SOURCE: usize = 16 << 20;
/// A source and all that it uses, in bytes: 32 MiB.
pub const SOURCES: usize = 32 << 20;
/// The most movements of a piece.
pub const MOVEMENTS: usize = 50;
/// The most files that a source may use, those that they use themselves included.
pub const FILES: usize = 200;
/// How deep files may `use`, ensembles `extends` and scorings `keep` one another.
pub const DEPTH: usize = 32;
/// The longest line, in bytes.
pub const LINE: usize = 20_000;
/// The longest name or text between quotes, in characters.
pub const WORD: usize = 500;
/// The most bars.
pub const BARS: u32 = 20_000;
/// The longest bar, in whole notes.
pub const BAR: usize = 64;
/// The most voices of a piece.
pub const VOICES: usize = 500;
/// The most ensembles.
pub const ENSEMBLES: usize = 200;
/// The most scorings.
pub const SCORINGS: usize = 200;
/// The most single players that one line of an ensemble may name.
pub const PLAYERS: u32 = 24;
/// The most people at one part.
pub const SECTION: u32 = 200;
/// The most parts of an ensemble.
pub const PARTS: usize = 400;
/// The most lines of an ensemble.
pub const ENSEMBLE_LINES: usize = 1_000;
/// The most names in the groups, `joins`, budgets and `without` lines of an ensemble together.
pub const NAMES: usize = 2_000;
/// The most lines of a scoring.
pub const LINES: usize = 5_000;
/// The most notes that all players of a scoring sound together.
pub const NOTES: usize = 5_000_000;

/// The most findings of one kind that are told; the others are counted.
pub const FINDINGS: usize = 1_000;

/// All bounds, in the order of the reference.
pub const LIMITS: &[Limit] = &[
    limit("a file", SOURCE >> 20, "MB", "syntax/too-large"),
    limit("a piece with all files that it uses", SOURCES >> 20, "MB", "use/cannot-read"),
    limit("movements of a piece", MOVEMENTS, "movements", "names/too-many"),
    limit("files that a piece uses", FILES, "files", "use/cannot-read"),
    limit("files that use one another", DEPTH, "deep", "use/cannot-read"),
    limit("a line of a source", LINE, "bytes", "syntax/too-large"),
    limit("a name, or a text between quotes", WORD, "characters", "syntax/too-large"),
    limit("a form", BARS as usize, "bars", "bars/too-many"),
    limit("all bars of a form together", BARS as usize, "whole notes", "bars/too-many"),
    limit("a bar", BAR, "whole notes", "bars/no-such-value"),
    limit("voices of a piece", VOICES, "voices", "names/too-many"),
    limit("ensembles", ENSEMBLES, "ensembles", "names/too-many"),
    limit("ensembles that extend one another", DEPTH, "deep", "names/too-many"),
    limit("a line of an ensemble", PLAYERS as usize, "single players", "names/count"),
    limit("players at one part", SECTION as usize, "players", "names/count"),
    limit("an ensemble", PARTS, "parts", "names/too-many"),
    limit("lines of an ensemble", ENSEMBLE_LINES, "lines", "names/too-many"),
    limit("groups and budgets of an ensemble together", NAMES, "names", "names/too-many"),
    limit("scorings", SCORINGS, "scorings", "names/too-many"),
    limit("scorings that keep one another", DEPTH, "deep", "names/too-many"),
    limit("lines of a scoring", LINES, "lines", "names/too-many"),
    limit("all players of a scoring together", NOTES, "notes", "arrange/too-many-notes"),
];

const fn limit(what: &'static str, most: usize, unit: &'static str, code: &'static str) -> Limit {
    Limit { what, most, unit, code }
}

/// A number as it is written in a sentence: `20,000`.
#[must_use]
pub fn spaced(number: usize) -> String {
    let digits = number.to_string();
    let mut text = String::with_capacity(digits.len() * 4 / 3);
    for (at, digit) in digits.char_indices() {
        if at > 0 && (digits.len() - at).is_multiple_of(3) {
            text.push(',');
        }
        text.push(digit);
    }
    text
}

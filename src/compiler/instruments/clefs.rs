//! Clefs, and which of them players of an instrument read.

use serde::Serialize;

use crate::music::Pitch;

/// Clefs by their name on paper.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, serde::Deserialize, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Clef {
    /// G clef on the second line.
    Treble,
    /// C clef on the third line.
    Alto,
    /// C clef on the fourth line.
    Tenor,
    /// F clef on the fourth line.
    Bass,
    /// Two strokes: no pitch.
    Percussion,
}

/// A clef that players of an instrument read, and the written notes that it suits.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize)]
pub struct ClefUse {
    /// The clef.
    pub clef: Clef,
    /// Lowest written note for which one would choose it.
    pub low: Pitch,
    /// Highest written note for which one would choose it.
    pub high: Pitch,
}

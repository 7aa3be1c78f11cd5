//! Clefs, and which of them players of an instrument read.

use serde::Serialize;

use crate::music::Pitch;

/// Clefs by their name on paper.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, serde::Deserialize, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Clef {
    /// G clef on the second line.
    Treble,
    /// The same with a small 8 below it, for who sings an octave below what he reads. Written notes stand as in the
    /// treble clef; the sign says what the transposition of the instrument says.
    #[serde(rename = "treble-8vb")]
    TrebleOctave,
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

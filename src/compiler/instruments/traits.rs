//! Traits of an instrument that rules, advice and writers ask for, as the tables state them.
//!
//! Whole numbers throughout: shares in thousandths or percent, times in milliseconds, so that two
//! instruments can be compared field by field. Each trait carries the source of its figures.

use serde::{Deserialize, Deserializer, Serialize};

use crate::music::Pitch;

/// Within which years an instrument was not in use.
#[derive(Clone, PartialEq, Eq, Debug, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub struct OutOfUse {
    /// First year without it.
    pub from: i32,
    /// Last year without it; 9999 where it never came back.
    pub to: i32,
    /// Source of both years.
    pub source: String,
}

/// Whether a keyboard grows louder and softer little by little.
#[derive(Clone, PartialEq, Eq, Debug, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub struct Touch {
    /// By touch or swell; not where loudness changes by stops and manuals alone.
    pub graded: bool,
    /// Source of it.
    pub source: String,
}

/// Where the player sits on the platform, as the hall sees it.
#[derive(Clone, PartialEq, Eq, Debug, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub struct Seat {
    /// From the left (0) to the right (127).
    pub pan: u8,
    /// The same for the second section of the same instrument (second violins).
    pub second: Option<u8>,
    /// Source of the seating.
    pub source: String,
}

/// The line of orchestral libraries: at whose desk the instrument is counted, and its short name.
#[derive(Clone, PartialEq, Eq, Debug, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub struct Desk {
    /// The instrument whose desk it is (`flute` for the piccolo); itself where it leads a desk.
    pub of: String,
    /// Short name: `pic`.
    pub short: String,
    /// Is the desk printed even where it is empty (the four woodwind and the four brass)?
    #[serde(default)]
    pub always: bool,
    /// Source of the short name.
    pub source: String,
}

/// How many players a section of the instrument has.
#[derive(Clone, PartialEq, Eq, Debug, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub struct Section {
    /// In a small orchestra.
    pub small: u8,
    /// In one of medium size.
    pub medium: u8,
    /// In one of medium size, the second section of the same instrument (second violins).
    pub medium_second: Option<u8>,
    /// Source of the numbers.
    pub source: String,
}

/// How far the hand reaches across the strings.
#[derive(Clone, PartialEq, Eq, Debug, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub struct Hand {
    /// Share of the string's length that the hand spans, in thousandths.
    pub reach: u16,
    /// The same for a soloist, who stretches.
    pub solo_reach: u16,
    /// Source of both.
    pub source: String,
}

/// The slide of a trombone within a range of years.
#[derive(Clone, PartialEq, Eq, Debug, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub struct Slide {
    /// First year for which it holds.
    pub from: i32,
    /// Last year for which it holds.
    pub to: i32,
    /// The fundamental in first position.
    #[serde(deserialize_with = "pitch")]
    pub first_position: Pitch,
    /// Positions of the slide.
    pub positions: u8,
    /// The sides that valves or a thumb trigger add.
    #[serde(default)]
    pub valves: Vec<ValveSide>,
    /// Source of the lengths.
    pub source: String,
}

/// One more tube of a trombone.
#[derive(Clone, PartialEq, Eq, Debug, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub struct ValveSide {
    /// The fundamental in first position with the valve down.
    #[serde(deserialize_with = "pitch")]
    pub first_position: Pitch,
    /// Positions that are left on the longer tube.
    pub positions: u8,
}

/// How much of a piece an instrument may take before its effect is used up.
#[derive(Clone, PartialEq, Eq, Debug, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub struct Sparing {
    /// First year for which it holds.
    pub from: i32,
    /// Last year for which it holds.
    pub to: i32,
    /// Bars of a hundred in which it may sound.
    pub percent: u8,
    /// Source of the share.
    pub source: String,
}

/// Leaps that the instrument dislikes.
#[derive(Clone, PartialEq, Eq, Debug, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub struct SuddenLeap {
    /// From how many semitones on.
    pub semitones: u8,
    /// Within how many milliseconds it is sudden.
    pub milliseconds: u16,
    /// Source of the figures.
    pub source: String,
}

/// Runs that blur or tire on the instrument before they are too fast as such.
#[derive(Clone, PartialEq, Eq, Debug, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub struct BlurredRun {
    /// From how many notes a second on.
    pub a_second: u8,
    /// From how many notes in a row on.
    pub notes: u8,
    /// Source of the figures.
    pub source: String,
}

/// What makes a trill on the instrument.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Deserialize, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum TrillBy {
    /// Fingers or keys.
    #[default]
    Fingers,
    /// The lips between neighbouring partials that lie a tone or less apart.
    Lips,
    /// Nothing: there is no neighbour to trill with.
    Nothing,
}

/// Trills of an instrument.
#[derive(Clone, PartialEq, Eq, Debug, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub struct Trills {
    /// What makes them.
    #[serde(default)]
    pub by: TrillBy,
    /// Notes (in the pitch of the compass) on which there is none.
    #[serde(default, deserialize_with = "pitches")]
    pub none_on: Vec<Pitch>,
    /// Source.
    pub source: String,
}

/// How long it takes to retune a drum, within a range of years.
#[derive(Clone, PartialEq, Eq, Debug, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub struct Retuning {
    /// First year for which it holds.
    pub from: i32,
    /// Last year for which it holds.
    pub to: i32,
    /// Milliseconds for each drum.
    pub milliseconds: u16,
    /// Source.
    pub source: String,
}

/// What one hand takes at once on a harp or keyboard.
#[derive(Clone, PartialEq, Eq, Debug, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub struct Grasp {
    /// Fingers that play.
    pub fingers: u8,
    /// Semitones from the lowest to the highest of them.
    pub span: u8,
    /// Source.
    pub source: String,
}

/// Pedals that give each letter of the scale one accidental at a time (the harp).
#[derive(Clone, PartialEq, Eq, Debug, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub struct Pedals {
    /// Letters of the left foot.
    pub left: String,
    /// Letters of the right foot.
    pub right: String,
    /// Milliseconds that one foot needs for one pedal.
    pub milliseconds: u16,
    /// Source.
    pub source: String,
}

/// What the players of a pair are asked for within a range of years, in written pitch where the
/// instrument has keys.
#[derive(Clone, PartialEq, Eq, Debug, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub struct Ranks {
    /// First year for which it holds.
    pub from: i32,
    /// Last year for which it holds.
    pub to: i32,
    /// Lowest note that suits the first player of a pair.
    #[serde(deserialize_with = "pitch")]
    pub first_low: Pitch,
    /// Highest note that suits the second player of a pair.
    #[serde(deserialize_with = "pitch")]
    pub second_high: Pitch,
    /// Source.
    pub source: String,
}

/// Where playing loudly for long taxes a wind player, within a range of years.
#[derive(Clone, PartialEq, Eq, Debug, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub struct Taxing {
    /// First year for which it holds.
    pub from: i32,
    /// Last year for which it holds.
    pub to: i32,
    /// Lowest note of the register that taxes, in the pitch of the compass.
    #[serde(deserialize_with = "pitch")]
    pub low: Pitch,
    /// Source.
    pub source: String,
}

/// What a register weighs beside the strongest one, in percent.
#[derive(Clone, PartialEq, Eq, Debug, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub struct Register {
    /// Highest sounding note of the register.
    #[serde(deserialize_with = "pitch")]
    pub to: Pitch,
    /// Percent of the weight of its class.
    pub weight: u8,
}

/// The registers of an instrument from the lowest up.
#[derive(Clone, PartialEq, Eq, Debug, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub struct Registers {
    /// From the lowest up.
    pub rows: Vec<Register>,
    /// Source.
    pub source: String,
}

/// Written notes beyond which a player reads a line of octaves ("8va") rather than ledger lines.
#[derive(Clone, PartialEq, Eq, Debug, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub struct OctaveLines {
    /// The highest written note that is still read with ledger lines.
    #[serde(default, deserialize_with = "perhaps_pitch")]
    pub above: Option<Pitch>,
    /// The lowest written note that is still read with ledger lines.
    #[serde(default, deserialize_with = "perhaps_pitch")]
    pub below: Option<Pitch>,
    /// Source.
    pub source: String,
}

fn read_pitch<E: serde::de::Error>(text: &str) -> Result<Pitch, E> {
    text.parse().map_err(|()| {
        E::custom(format!("`{text}` is not a pitch; write letter, accidental and octave: Bb3"))
    })
}

fn pitch<'de, D: Deserializer<'de>>(from: D) -> Result<Pitch, D::Error> {
    read_pitch(&String::deserialize(from)?)
}

fn perhaps_pitch<'de, D: Deserializer<'de>>(from: D) -> Result<Option<Pitch>, D::Error> {
    Option::<String>::deserialize(from)?.map(|text| read_pitch(&text)).transpose()
}

fn pitches<'de, D: Deserializer<'de>>(from: D) -> Result<Vec<Pitch>, D::Error> {
    let texts: Vec<String> = Vec::deserialize(from)?;
    texts.iter().map(|text| read_pitch(text)).collect()
}

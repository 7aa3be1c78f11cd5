//! What is to be engraved: staves with their bars, whoever notated them.

use std::ops::Range;

use ripieno_compiler::instruments::{Clef, Family};
use ripieno_compiler::music::{Metre, Time};
use ripieno_compiler::resolve::{BarLine, Tempo};
use ripieno_writers::notate::{Element, StaffDirection};

use crate::page::Origin;

/// A part or a score before it is laid out.
#[derive(Clone, Debug, Default)]
pub struct Sheet {
    /// Title of the piece.
    pub title: String,
    /// Second line of the head.
    pub subtitle: Option<String>,
    /// Who composed it.
    pub composer: Option<String>,
    /// Who arranged it.
    pub arranger: Option<String>,
    /// Licence of the music.
    pub licence: Option<String>,
    /// Name of the scoring.
    pub scoring: String,
    /// The player's name, with the key of the instrument; nothing for a score.
    pub part: Option<String>,
    /// The bars; rests that are counted together are one.
    pub bars: Vec<Bar>,
    /// The staves, from the top.
    pub staves: Vec<Staff>,
}

/// What all staves share in one bar.
#[derive(Clone, Debug)]
pub struct Bar {
    /// Index in the form (of the first, where several bars of rest are one).
    pub index: usize,
    /// How many bars it stands for.
    pub count: u32,
    /// Its number; 0 for a pick-up.
    pub number: i32,
    /// How long it is.
    pub length: Time,
    /// The metre in force.
    pub metre: Metre,
    /// Is it printed here?
    pub metre_shown: bool,
    /// A tempo that begins here.
    pub tempo: Option<Tempo>,
    /// A rehearsal mark.
    pub mark: Option<String>,
    /// Does a repeat begin here?
    pub repeat_starts: bool,
    /// Does a repeat end with it?
    pub repeat_ends: bool,
    /// An ending that begins with it.
    pub ending_starts: Option<u8>,
    /// An ending that ends with it.
    pub ending_ends: Option<u8>,
    /// The line at its end.
    pub line: BarLine,
    /// Seconds of a quarter.
    pub pace: f64,
}

/// One staff.
#[derive(Clone, Debug)]
pub struct Staff {
    /// Name before the first system; empty for the lower of two staves.
    pub name: String,
    /// Abbreviation before each later system, by bar.
    pub abbreviation: String,
    /// Index of the player in score order.
    pub player: u16,
    /// The lower one of two staves that a brace joins.
    pub lower: bool,
    /// The upper one of two staves that a brace joins.
    pub braced: bool,
    /// Its family, for brackets.
    pub family: Family,
    /// The bars, as many as [`Sheet::bars`].
    pub bars: Vec<StaffBar>,
}

/// One bar of one staff.
#[derive(Clone, Debug)]
pub struct StaffBar {
    /// Lines of the staff: five, or one for an instrument without pitch.
    pub lines: u8,
    /// The clef in force at its beginning.
    pub clef: Clef,
    /// Sharps (positive) or flats of the signature in force.
    pub key: i32,
    /// Is the signature printed here, and what was in force before?
    pub key_change: Option<i32>,
    /// Clefs that change in it: time, clef; at time zero, before the bar line.
    pub clefs: Vec<(Time, Clef)>,
    /// Notes and rests in order.
    pub events: Vec<Event>,
    /// Directions in order of time.
    pub directions: Vec<StaffDirection>,
}

/// A note, chord or rest.
#[derive(Clone, Debug)]
pub struct Event {
    /// What is printed.
    pub element: Element,
    /// Where it comes from.
    pub origin: Origin,
}

impl Sheet {
    /// Some bars alone, by their indices in the form. The first shows its metre.
    #[must_use]
    pub fn passage(&self, bars: Range<usize>) -> Sheet {
        let from = self.bars.partition_point(|bar| bar.index < bars.start);
        let to = self.bars.partition_point(|bar| bar.index < bars.end);
        let mut passage = self.clone();
        passage.bars = self.bars[from..to].to_vec();
        for staff in &mut passage.staves {
            staff.bars = staff.bars[from..to].to_vec();
            if let Some(first) = staff.bars.first_mut() {
                first.key_change = None;
            }
        }
        if let Some(first) = passage.bars.first_mut() {
            first.metre_shown = true;
        }
        passage
    }
}

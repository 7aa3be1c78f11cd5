//! From sounding music to staves as a player reads them.
//!
//! [`notate`] writes a [`Score`] from an arrangement: written pitch and key, printed values with
//! ties and tuplets, rests, beams, accidentals, clefs and directions. What
//! stands on which pages is for [`edition`](crate::edition) to say. Nothing here knows a file
//! format.

pub(crate) mod accidentals;
mod beams;
mod chords;
pub(crate) mod clefs;
mod directions;
mod figured;
mod frame;
mod grid;
mod hands;
mod holds;
pub(crate) mod in_hand;
mod joined;
mod jumps;
mod lyrics;
mod names;
#[cfg(test)]
mod origin_tests;
mod passage;
#[cfg(test)]
mod properties;
mod score;
mod slurs;
mod staff;
pub(crate) mod stems;
mod tasto;
#[cfg(test)]
pub(crate) mod testing;
mod tuplets;
mod values;
mod who;
mod writing;

use std::borrow::Cow;
use std::ops::Range;
use std::sync::Arc;

use crate::arrange::{ArrangedMovement, Arrangement, Part};
use crate::cores::on_all_cores;
use crate::resolve::HarmonyEvent;

pub use score::*;

/// The pitch in which notes are written.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum Pitches {
    /// As each player reads them.
    #[default]
    Written,
    /// As they sound; what always sounds in another octave than it is written still does.
    Concert,
}

/// Writes the staves of an arrangement as players read them: see [`notate_at`].
#[must_use]
pub fn notate(arrangement: &Arrangement) -> Score {
    notate_at(arrangement, Pitches::Written)
}

/// Writes the staves of an arrangement in the pitch asked for. A score has one staff for each part (two for a harp or a
/// keyboard) and one measure for each bar of the form; every measure is filled exactly.
#[must_use]
pub fn notate_at(arrangement: &Arrangement, pitches: Pitches) -> Score {
    Notation::new(arrangement, pitches).score(0..arrangement.parts.len())
}

/// An arrangement whose staves are written as they are asked for: all of them may be more than
/// there is room for at a time.
pub struct Notation<'a> {
    arrangement: &'a Arrangement,
    pitches: Pitches,
    frame: Vec<FrameBar>,
    /// The chords of the piece, where figures ask for them.
    harmony: Option<Cow<'a, [HarmonyEvent]>>,
    /// The movements, each by itself.
    movements: Vec<Notation<'a>>,
}

impl<'a> Notation<'a> {
    /// Those who read from one page, page by page.
    #[must_use]
    pub fn desks(&self) -> Vec<Range<usize>> {
        self.arrangement.desks().collect()
    }

    /// Nothing is written yet but the bars.
    #[must_use]
    pub fn new(arrangement: &'a Arrangement, pitches: Pitches) -> Notation<'a> {
        let movement = |one: &'a ArrangedMovement| Notation::new(&one.arrangement, pitches);
        let movements: Vec<Notation> = arrangement.movements.iter().map(movement).collect();
        let frame = match movements.is_empty() {
            true => frame::frame(&arrangement.piece.form),
            false => joined::frame(arrangement, &movements),
        };
        let figured = movements.is_empty() && arrangement.lines.iter().any(|line| line.figures);
        let harmony = figured.then(|| ripieno_compiler::harmony::harmony_of(&arrangement.piece));
        Notation { arrangement, pitches, frame, harmony, movements }
    }

    /// All players.
    #[must_use]
    pub fn players(&self) -> Range<usize> {
        0..self.arrangement.parts.len()
    }

    /// A score of some of the players alone; [`Score::first`] says who is the first of them.
    #[must_use]
    pub fn score(&self, players: Range<usize>) -> Score {
        let mut staves = self.staves(players.clone());
        if self.pitches == Pitches::Concert {
            names::leave_out_keys(&mut staves, &self.arrangement.parts);
        }
        let mut score = score_of(self.arrangement, self.pitches, self.frame.clone(), staves);
        score.first = players.start;
        if !self.movements.is_empty() {
            score.movements = joined::movements(self.arrangement);
        }
        score
    }

    fn staves(&self, players: Range<usize>) -> Vec<Staff> {
        let (arrangement, frame) = (self.arrangement, &self.frame);
        let parts = &arrangement.parts[players.clone()];
        let notes = parts.iter().map(|part| part.notes.len()).sum();
        if !self.movements.is_empty() {
            let players: Vec<usize> = players.collect();
            return on_all_cores(&players, notes, |&player| joined::staff(self, player));
        }
        let told = directions::Told::new(&arrangement.piece);
        let bars = staff::Bars::new(frame, self.pitches).with_told(&told);
        let (chords, piece) =
            (arrangement.lines.iter().any(|line| line.chords), &arrangement.piece);
        let write = |part: &Arc<Part>| {
            let mut staff = hands::staff(part, &bars);
            if chords {
                chords::set(&mut staff, part, arrangement, (frame, self.pitches));
            }
            if let Some(harmony) = &self.harmony {
                figured::set(&mut staff, part, arrangement, harmony, self.pitches);
            }
            tasto::set(&mut staff, part, arrangement);
            if !piece.lyrics.is_empty() {
                lyrics::set(&mut staff, &piece.lyrics, &arrangement.lines);
            }
            staff
        };
        on_all_cores(parts, notes, write)
    }
}

/// The score of an arrangement from its bars and staves.
fn score_of(
    arrangement: &Arrangement,
    pitches: Pitches,
    frame: Vec<FrameBar>,
    staves: Vec<Staff>,
) -> Score {
    let piece = &arrangement.piece;
    let ensemble = piece.ensembles.get(arrangement.scoring.ensemble);
    Score {
        title: piece.title.clone(),
        subtitle: piece.subtitle.clone(),
        composer: piece.composer.clone(),
        arranger: piece.arranger.clone(),
        licence: piece.licence.clone(),
        revision: piece.revision.clone(),
        scoring: arrangement.scoring.name.clone(),
        ensemble: ensemble.map(|ensemble| ensemble.name.clone()).unwrap_or_default(),
        source: None,
        concert: pitches == Pitches::Concert,
        movements: Vec::new(),
        frame,
        first: 0,
        staves,
        lines: arrangement.lines.clone(),
    }
}

/// Bars of a part's notes as its player reads them, without clefs and directions: for cues, whose
/// notes another one plays. The stems are not set.
pub(crate) fn bars_of(
    part: &Part,
    frame: &[FrameBar],
    range: std::ops::Range<usize>,
) -> Vec<Measure> {
    let bars = staff::Bars::new(frame, Pitches::Written).of_cue();
    staff::measures_in(part, &bars, range)
}

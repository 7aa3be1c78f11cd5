//! From sounding music to staves as a player reads them.
//!
//! [`notate`] writes a [`Score`] from an arrangement: written pitch and key, printed values with
//! ties and tuplets, rests, beams, accidentals, clefs and directions. What
//! stands on which pages is for [`edition`](crate::edition) to say. Nothing here knows a file
//! format.

pub(crate) mod accidentals;
mod beams;
mod chords;
mod clefs;
mod directions;
mod figured;
mod frame;
mod grid;
mod hands;
mod joined;
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
#[cfg(test)]
pub(crate) mod testing;
mod tuplets;
mod values;
mod who;
mod writing;

use crate::arrange::{Arrangement, Part};

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
    if !arrangement.movements.is_empty() {
        return joined::notate(arrangement, pitches);
    }
    let piece = &arrangement.piece;
    let frame = frame::frame(&piece.form);
    let bars = staff::Bars::new(&frame, pitches);
    let mut staves: Vec<Staff> =
        arrangement.parts.iter().map(|part| hands::staff(part, &bars)).collect();
    if arrangement.lines.iter().any(|line| line.chords) {
        for (staff, part) in staves.iter_mut().zip(&arrangement.parts) {
            chords::set(staff, part, arrangement, (&frame, pitches));
        }
    }
    if arrangement.lines.iter().any(|line| line.figures) {
        let harmony = ripieno_compiler::harmony::harmony_of(piece);
        for (staff, part) in staves.iter_mut().zip(&arrangement.parts) {
            figured::set(staff, part, arrangement, &harmony, pitches);
        }
    }
    if !piece.lyrics.is_empty() {
        for staff in &mut staves {
            lyrics::set(staff, &piece.lyrics, &arrangement.lines);
        }
    }
    score_of(arrangement, pitches, frame, staves)
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
        scoring: arrangement.scoring.name.clone(),
        ensemble: ensemble.map(|ensemble| ensemble.name.clone()).unwrap_or_default(),
        source: None,
        concert: pitches == Pitches::Concert,
        movements: Vec::new(),
        frame,
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
    staff::measures_in(part, &staff::Bars::new(frame, Pitches::Written), range)
}

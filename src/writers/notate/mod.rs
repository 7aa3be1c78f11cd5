//! From sounding music to staves as a player reads them.
//!
//! [`notate`] writes a [`Score`] from an arrangement: written pitch and key, printed values with
//! ties and tuplets, rests, beams, accidentals, clefs and directions. [`multi_rests`] makes of one
//! staff what a part shows. Nothing here knows a file format.

mod accidentals;
mod beams;
mod clefs;
mod directions;
mod frame;
mod grid;
mod hands;
mod names;
#[cfg(test)]
mod origins;
#[cfg(test)]
mod properties;
mod rests;
mod score;
mod slurs;
mod staff;
#[cfg(test)]
pub(crate) mod testing;
mod tuplets;
mod values;
mod writing;

use crate::arrange::Arrangement;

pub use rests::{multi_rests, rest_runs};
pub use score::*;

/// Writes the staves of an arrangement. A score has one staff for each part (two for a harp or a
/// keyboard) and one measure for each bar of the form; every measure is filled exactly.
#[must_use]
pub fn notate(arrangement: &Arrangement) -> Score {
    let piece = &arrangement.piece;
    let frame = frame::frame(&piece.form);
    let bars = staff::Bars::new(&frame);
    let staves = arrangement.parts.iter().map(|part| hands::staff(part, &bars)).collect();
    let ensemble = piece.ensembles.get(arrangement.scoring.ensemble);
    Score {
        title: piece.title.clone(),
        subtitle: piece.subtitle.clone(),
        composer: piece.composer.clone(),
        arranger: piece.arranger.clone(),
        licence: piece.licence.clone(),
        scoring: arrangement.scoring.name.clone(),
        ensemble: ensemble.map(|ensemble| ensemble.name.clone()).unwrap_or_default(),
        frame,
        staves,
        lines: arrangement.lines.clone(),
    }
}

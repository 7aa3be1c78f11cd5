//! Notes that are computed from the music: held harmony, signals, highlights.

use super::{LineId, Part, SoundingNote};
use crate::diagnostics::Diagnostic;
use crate::resolve::{Line, Piece, Tuplet};

/// What a computed line is asked for.
pub(super) struct Request<'r, 'a> {
    /// The piece.
    pub(super) piece: &'a Piece,
    /// The year whose customs hold.
    pub(super) era: i32,
    /// The line: its verb is `sustains`, `signals` or `highlights`.
    pub(super) line: &'a Line,
    /// Its number.
    pub(super) line_id: LineId,
    /// The parts of its players, in the order in which the line names them, without notes yet.
    pub(super) parts: Vec<&'r Part<'a>>,
}

/// What a computed line gives to one of its players, over all the bars of the line.
#[derive(Default)]
pub(super) struct DerivedPart {
    pub(super) notes: Vec<SoundingNote>,
    pub(super) tuplets: Vec<Tuplet>,
}

/// Computes the notes of a line, one entry for each of its players.
pub(super) fn derive(request: &Request, diagnostics: &mut Vec<Diagnostic>) -> Vec<DerivedPart> {
    let _ = (request.piece, request.era, request.line, request.line_id, diagnostics);
    request.parts.iter().map(|_| DerivedPart::default()).collect()
}

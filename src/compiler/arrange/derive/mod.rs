//! Notes that are computed from the music: held harmony, signals, highlights.

mod cadences;
mod findings;
mod highlight;
#[cfg(test)]
mod lines_tests;
mod moments;
mod pairs;
mod peaks;
mod reduce;
mod search;
mod signal;
mod supply;
mod sustain;
#[cfg(test)]
pub(super) mod tests;
mod texture;
mod tuplets;

use std::sync::Arc;

use super::{LineId, Notes, PackedNote, Part, SoundingNote};
use crate::diagnostics::{Diagnostic, Span};
use crate::instruments::Instrument;
use crate::music::{Pitch, Time};
use crate::resolve::{
    Attached, BarIndices, Bars, HarmonyEvent, Line, Piece, Role, Sound, Tuplet, Verb,
};

pub(super) use findings::inferred;
pub(super) use supply::{Reach, Supply, supply};
pub(super) use sustain::{Choir, Settled};

/// What a computed line is asked for.
pub(super) struct Request<'r, 'a> {
    /// The piece.
    pub(super) piece: &'a Piece,
    /// Its chords, declared or inferred.
    pub(super) harmony: &'r [HarmonyEvent],
    /// The year whose customs hold.
    pub(super) era: i32,
    /// The line: its verb is `sustains`, `signals` or `highlights`.
    pub(super) line: &'a Line,
    /// Its number.
    pub(super) line_id: LineId,
    /// The notes of its voices.
    pub(super) voices: Arc<[Notes]>,
    /// Melodies and basses that the scoring writes by hand.
    pub(super) written: Vec<Notes>,
    /// The basses: voices and written lines that play as bass somewhere in the scoring.
    pub(super) basses: Vec<Notes>,
    /// The bars that are asked for. No player takes another instrument within them.
    pub(super) within: BarIndices,
    /// The parts of its players, in the order in which the line names them, without notes yet.
    pub(super) parts: Vec<&'r Part>,
    /// For each of them: has he his notes already, from the smaller scoring?
    pub(super) kept: Vec<bool>,
    /// What others hold or accompany whose notes are written or kept; for `signals` and
    /// `highlights`.
    pub(super) around: Arc<[(Choir, Notes)]>,
}

/// What is heard beside those who hold notes, player by player with his family.
#[derive(Default)]
pub(super) struct Sounding {
    /// What others hold or accompany whose notes are known.
    pub(super) around: Vec<(Choir, Notes)>,
    /// What players have of the melody and the bass; the octave may be another.
    pub(super) leading: Vec<(Choir, Notes)>,
}

/// What a computed line gives to one of its players, over all the bars of the line, while it is worked
/// out.
#[derive(Default)]
pub(super) struct DerivedPart {
    pub(super) notes: Vec<SoundingNote>,
    pub(super) tuplets: Vec<Tuplet>,
}

impl DerivedPart {
    /// The same as it can be written, packed.
    fn settled(mut self, piece: &Piece) -> Derived {
        tuplets::settle(piece, &mut self);
        // Collected, they would keep the room that they had unpacked.
        let mut notes: Vec<PackedNote> = Vec::with_capacity(self.notes.len());
        notes.extend(self.notes.into_iter().map(PackedNote::from));
        Derived { notes: notes.into(), tuplets: self.tuplets }
    }
}

/// What a computed line gives to one of its players, as it can be written, kept until all have taken
/// theirs.
#[derive(Default)]
pub(super) struct Derived {
    pub(super) notes: Notes,
    pub(super) tuplets: Vec<Tuplet>,
}

impl Derived {
    /// Notes that are packed already, as they can be written.
    fn settled(mut notes: Vec<PackedNote>, piece: &Piece) -> Derived {
        notes.shrink_to_fit();
        if notes.iter().all(|note| tuplets::is_plain(note.start()) && tuplets::is_plain(note.end()))
        {
            return Derived { notes: notes.into(), tuplets: Vec::new() };
        }
        let notes = notes.iter().map(PackedNote::unpacked).collect();
        DerivedPart { notes, tuplets: Vec::new() }.settled(piece)
    }
}

/// Computes the notes of all `sustains` lines of a scoring together, line by line one entry for
/// each player; `settled` is what an earlier run knows and what the next one will know.
pub(super) fn sustain(
    requests: &[Request],
    around: &Sounding,
    settled: (Option<&Settled>, Option<&mut Settled>),
    diagnostics: &mut Vec<Diagnostic>,
) -> Vec<Vec<Derived>> {
    sustain::sustain(requests, around, settled, diagnostics)
}

/// Computes the notes of all `highlights` lines of a scoring together, line by line one entry for
/// each player.
pub(super) fn highlight(
    requests: &[Request],
    diagnostics: &mut Vec<Diagnostic>,
) -> Vec<Vec<Derived>> {
    let lines = highlight::highlight(requests, diagnostics);
    let settled = |(request, parts): (&Request, Vec<DerivedPart>)| {
        parts.into_iter().map(|part| part.settled(request.piece)).collect()
    };
    requests.iter().zip(lines).map(settled).collect()
}

/// Computes the notes of a line of another kind, one entry for each of its players.
pub(super) fn derive(request: &Request, diagnostics: &mut Vec<Diagnostic>) -> Vec<Derived> {
    let harmony = request.harmony;
    match &request.line.verb {
        Verb::Realises { voice } => {
            let parts = sustain::realise(request, *voice, diagnostics).into_iter();
            parts.map(|part| part.settled(request.piece)).collect()
        }
        Verb::Signals { voice } => signal::signal(request, harmony, *voice, diagnostics),
        _ => request.parts.iter().map(|_| Derived::default()).collect(),
    }
}

/// The chord that holds at a time.
fn chord_at(harmony: &[HarmonyEvent], time: Time) -> Option<&HarmonyEvent> {
    harmony.get(chord_index_at(harmony, time)?)
}

/// Its index.
fn chord_index_at(harmony: &[HarmonyEvent], time: Time) -> Option<usize> {
    let index = harmony.partition_point(|event| event.start <= time).checked_sub(1)?;
    (harmony[index].start + harmony[index].length > time).then_some(index)
}

impl Request<'_, '_> {
    /// Does the line hold for this player at this time? Other lines may have taken bars over.
    fn claims(&self, player: usize, at: Time) -> bool {
        let (from, to) = self.piece.form.times_of(self.within);
        from <= at
            && at < to
            && self.parts[player]
                .claims
                .iter()
                .any(|claim| claim.line == self.line_id && claim.holds(at))
    }

    /// Times within bars at which the line begins or ends for one of its players.
    fn borders(&self) -> impl Iterator<Item = Time> {
        let claims = self.parts.iter().flat_map(|part| &part.claims);
        let own = claims.filter(|claim| claim.line == self.line_id);
        let bars = &self.piece.form.bars;
        own.flat_map(|claim| [claim.from, claim.to])
            .filter(|time| bars.binary_search_by_key(time, |bar| bar.start).is_err())
    }

    /// The bars that a player has.
    fn own_bars(&self, player: usize) -> impl Iterator<Item = BarIndices> {
        let own = self.parts[player].claims.iter().filter(|claim| claim.line == self.line_id);
        own.map(|claim| self.piece.form.bars_between(claim.from, claim.to))
            .map(|bars| bars.and(self.within))
            .filter(|bars| !bars.is_empty())
    }

    /// The bars that any of the players has.
    fn bars(&self) -> Bars {
        let mut all = Bars::new();
        let mut claims: Bars =
            (0..self.parts.len()).flat_map(|player| self.own_bars(player)).collect();
        claims.sort_unstable();
        claims.into_iter().for_each(|bars| bars.add(&mut all));
        all
    }

    /// Where a player has the line first.
    fn begins(&self, player: usize) -> Time {
        let (from, to) = self.piece.form.times_of(self.within);
        let mut claims = self.parts[player].claims.iter();
        let own =
            claims.find(|claim| claim.line == self.line_id && claim.to > from && claim.from < to);
        own.map_or(from, |claim| claim.from.max(from))
    }

    /// The instrument that a player has in hand where he has the line first.
    fn instrument(&self, player: usize) -> &'static Instrument {
        self.parts[player].instrument_at(self.begins(player))
    }

    /// Where a bar begins and ends.
    fn bar_times(&self, bar: usize) -> (Time, Time) {
        let bar = &self.piece.form.bars[bar];
        (bar.start, bar.start + bar.length)
    }

    /// A note of the line; `None` is a stroke without pitch.
    fn note(&self, start: Time, end: Time, pitch: Option<Pitch>, source: Span) -> SoundingNote {
        let usual = match self.line.verb {
            Verb::Sustains { .. } => Role::Harmony,
            Verb::Signals { .. } => Role::Rhythm,
            Verb::Realises { .. } => Role::Bass,
            _ => Role::Highlight,
        };
        SoundingNote {
            start,
            length: end - start,
            sound: pitch.map_or(Sound::Stroke, |pitch| Sound::Pitches(pitch.into())),
            attached: Attached::default(),
            role: self.line.role.unwrap_or(usual),
            solo: self.line.solo,
            source,
        }
    }
}

/// Strokes of the unmeasured tremolo with which a drum holds a note.
const ROLL: u8 = 3;

//! Types of scorings: lines and what they make players do.

use std::sync::Arc;

use super::direction::{Dynamic, Technique};
use super::music::Music;
use super::players::Role;
use crate::diagnostics::Span;
use crate::instruments::{Instrument, Tuning};
use crate::music::{Pitch, Time};

/// How a piece is set for an ensemble.
#[derive(Clone, PartialEq, Debug)]
pub struct Scoring {
    /// Its name.
    pub name: String,
    /// Where the name is written.
    pub span: Span,
    /// Index of the ensemble in [`Piece::ensembles`](super::Piece::ensembles).
    pub ensemble: usize,
    /// Index of the scoring that is kept in [`Piece::scorings`](super::Piece::scorings), with the place that says so.
    pub keep: Option<(usize, Span)>,
    /// Does it keep the lines of that scoring, to work them out afresh, rather than its notes?
    pub keeps_lines: bool,
    /// The lines, in order.
    pub lines: Vec<Arc<Line>>,
    /// Findings that are allowed.
    pub allows: Vec<Allow>,
    /// Is the scoring that it keeps not known?
    pub adrift: bool,
}

/// One line of a scoring.
#[derive(Clone, PartialEq, Debug)]
pub struct Line {
    /// The whole line.
    pub span: Span,
    /// Whom it names: names of players, ensemble lines or groups, each with its place. They are
    /// matched with the players of an ensemble when the scoring is arranged, since a kept line
    /// may speak to a larger ensemble.
    pub who: Vec<(String, Span)>,
    /// What they do.
    pub verb: Verb,
    /// The role; `None` for `doubles` without a role (it takes that of what it doubles), `rests`
    /// and `takes`.
    pub role: Option<Role>,
    /// What it claims, in order: from a time up to another one, in written time.
    pub times: Vec<(Time, Time)>,
    /// Which of that is the up-beat to a passage (`with up-beat`): there it goes before a line that
    /// ends at the bar line behind it.
    pub up_beats: Vec<(Time, Time)>,
    /// Is it to be judged as a solo?
    pub solo: bool,
    /// Do its players have the lyrics of what they play, singers or not (`with lyrics`)?
    pub lyrics: bool,
    /// Do its players have the chord symbols of the harmony (`with chords`)?
    pub chords: bool,
    /// Do its players have the figures of the harmony under their bass (`with figures`)?
    pub figures: bool,
    /// Its own dynamic (`at mf`).
    pub dynamic: Option<(Dynamic, Span)>,
    /// Techniques that hold for the line.
    pub techniques: Vec<(Technique, Span)>,
    /// Words printed where it begins.
    pub words: Vec<(String, Span)>,
    /// What of the line could not be understood.
    pub unsure: Unsure,
    /// Could it not be read at all? Then it claims what no other line of its scoring does.
    pub unread: bool,
}

/// What of a scoring line could not be understood. It still claims its players and bars, so that
/// nothing is concluded from its absence.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Unsure {
    /// What is played, how loud, or in which role.
    pub what: bool,
    /// Who plays.
    pub who: bool,
    /// In which bars.
    pub bars: bool,
}

impl Unsure {
    /// Is anything of the line not understood?
    #[must_use]
    pub fn any(self) -> bool {
        self.what || self.who || self.bars
    }
}

/// What a scoring line makes its players do.
#[derive(Clone, PartialEq, Debug)]
pub enum Verb {
    /// Play a voice, moved by octaves.
    Plays {
        /// Index in [`Piece::voices`](super::Piece::voices).
        voice: usize,
        /// Where the voice is named.
        span: Span,
        /// Octaves up (8va 1, 8vb -1, 15ma 2, 15mb -2).
        octaves: i8,
    },
    /// Play what another part plays.
    Doubles {
        /// Player, ensemble line or group.
        part: String,
        /// Where it is named.
        span: Span,
        /// Octaves up that the line asks for.
        octaves: i8,
    },
    /// Hold notes of the harmony.
    Sustains {
        /// When the held notes are struck anew.
        restrike: Restrike,
    },
    /// Play a bass with the chords that belong to it: the left hand the voice, the right hand the
    /// harmony.
    Realises {
        /// Index in [`Piece::voices`](super::Piece::voices).
        voice: usize,
    },
    /// Play the rhythm of a voice on the notes that the player has.
    Signals {
        /// Index in [`Piece::voices`](super::Piece::voices).
        voice: usize,
    },
    /// Play at moments.
    Highlights {
        /// Which moments; empty means all that the compiler finds.
        moments: Vec<Moment>,
    },
    /// Play notes written by hand.
    Writes(Music),
    /// Rest.
    Rests,
    /// Something that could not be understood.
    Unknown,
    /// Take another instrument, crook, key or tuning of drums from a bar on.
    Takes {
        /// The instrument, if another one is taken.
        instrument: Option<&'static Instrument>,
        /// The key or crook, if that is what is taken.
        tuning: Option<&'static Tuning>,
        /// The notes of the drums, if that is what is taken.
        drums: Vec<Pitch>,
        /// Index of the bar; `None` from the beginning.
        from: Option<usize>,
    },
}

/// When sustained notes are struck anew.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum Restrike {
    /// Only when the pitch changes.
    #[default]
    Never,
    /// With each chord.
    EachChord,
    /// On each beat.
    EachBeat,
    /// Half a beat after each beat.
    OffBeat,
    /// On each of these values, from each beat on: repeated notes.
    Each(Time),
    /// Held, as an unmeasured tremolo.
    Tremolo,
    /// The chord broken into single notes, in figures that follow the metre.
    Broken,
}

/// A kind of moment that `highlights` can name.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Moment {
    /// Entries of the subject.
    Entries,
    /// Cadences.
    Cadences,
    /// First beats of phrases.
    Phrases,
    /// Peaks of loudness.
    Peaks,
    /// The beat (from 1) of every bar that the line names.
    Beat(u8),
}

/// A finding that the arranger allows.
#[derive(Clone, PartialEq, Debug)]
pub struct Allow {
    /// The rule's code, or a family (`compass`).
    pub rule: String,
    /// Where the rule is named.
    pub rule_span: Span,
    /// Whom it is allowed to; empty for everybody.
    pub who: Vec<(String, Span)>,
    /// In which bars.
    pub bars: super::Bars,
    /// Why.
    pub reason: String,
    /// The whole line.
    pub span: Span,
}

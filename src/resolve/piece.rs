//! The piece: what the source means, with every name linked and every time exact.

use smallvec::SmallVec;

use crate::diagnostics::Span;
use crate::instruments::{Instrument, Tuning};
use crate::music::{Chord, Interval, Key, Metre, Pitch, Time};

/// A piece with everything that its source and the files it uses declare.
#[derive(Clone, Debug, Default)]
pub struct Piece {
    /// Title, as printed at the head.
    pub title: String,
    /// Second line of the head.
    pub subtitle: Option<String>,
    /// Who composed it.
    pub composer: Option<String>,
    /// Who arranged it.
    pub arranger: Option<String>,
    /// Licence of the music.
    pub licence: Option<String>,
    /// The declaration of the piece.
    pub span: Span,
    /// Bars, metres, keys, tempos, repeats.
    pub form: Form,
    /// Chords in order; empty where none are declared.
    pub harmony: Vec<HarmonyEvent>,
    /// Dynamics and hairpins for everybody, in order.
    pub dynamics: Vec<Direction>,
    /// Voices in order of declaration.
    pub voices: Vec<Voice>,
    /// Ensembles in order of declaration, `extends` worked in.
    pub ensembles: Vec<Ensemble>,
    /// Scorings in order of declaration; `keep` is a link, not yet worked in.
    pub scorings: Vec<Scoring>,
}

/// The bars of a piece, in the order in which they are written (repeats once).
#[derive(Clone, Debug, Default)]
pub struct Form {
    /// The bars; never empty in a piece that resolved without errors.
    pub bars: Vec<Bar>,
}

/// One bar of the form.
#[derive(Clone, PartialEq, Debug)]
pub struct Bar {
    /// Its number: 0 for a pick-up, then from 1.
    pub number: i32,
    /// Where it begins, in written time (repeats once).
    pub start: Time,
    /// How long it is: the metre's length, or shorter or longer where the form says so.
    pub length: Time,
    /// The metre in force.
    pub metre: Metre,
    /// The (sounding) key in force.
    pub key: Key,
    /// A tempo that begins here.
    pub tempo: Option<Tempo>,
    /// A rehearsal mark that stands here.
    pub mark: Option<String>,
    /// Does a repeated section begin here?
    pub repeat_starts: bool,
    /// Does a repeated section end with this bar?
    pub repeat_ends: bool,
    /// The ending (first, second) that this bar belongs to.
    pub ending: Option<u8>,
    /// The line at its end, where it is not a plain one or a repeat.
    pub line: BarLine,
}

/// The line at the end of a bar.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum BarLine {
    /// A plain line (or the sign of a repeat).
    #[default]
    Plain,
    /// A thin double line.
    Double,
    /// The final line.
    Final,
}

/// A tempo: words, a metronome mark, or both.
#[derive(Clone, PartialEq, Debug)]
pub struct Tempo {
    /// The note value that is counted and how many of it go to a minute.
    pub beat: Option<(Time, f64)>,
    /// Words: "Con moto".
    pub words: Option<String>,
}

impl Form {
    /// Where the piece ends, in written time.
    #[must_use]
    pub fn end(&self) -> Time {
        self.bars.last().map_or(Time::ZERO, |bar| bar.start + bar.length)
    }

    /// Index of the bar in which a time lies; the last bar for times beyond the end.
    #[must_use]
    pub fn index_at(&self, time: Time) -> usize {
        self.bars.partition_point(|bar| bar.start <= time).saturating_sub(1)
    }

    /// The bar in which a time lies.
    ///
    /// # Panics
    /// If the form has no bars.
    #[must_use]
    pub fn bar_at(&self, time: Time) -> &Bar {
        &self.bars[self.index_at(time)]
    }

    /// Index of the bar of that number.
    #[must_use]
    pub fn index_of(&self, number: i32) -> Option<usize> {
        let first = self.bars.first()?.number;
        let index = usize::try_from(number.checked_sub(first)?).ok()?;
        (index < self.bars.len()).then_some(index)
    }

    /// Bar number and beat (from 1, with the fraction of a beat) of a time, for messages.
    #[must_use]
    pub fn place(&self, time: Time) -> Place {
        let bar = self.bar_at(time);
        // A pick-up counts its beats from the end: in 3/4 a quarter of pick-up is beat 3.
        let missing =
            if bar.number == 0 { bar.metre.bar_length() - bar.length } else { Time::ZERO };
        let (beat, into) = bar.metre.beat_at(time - bar.start + missing);
        Place { bar: bar.number, beat, into, beat_length: bar.metre.beat() }
    }

    /// Indices of the bars in the order in which they are played: repeated sections twice, with
    /// the first ending the first time and the second the next.
    #[must_use]
    pub fn playing_order(&self) -> Vec<usize> {
        let mut order = Vec::with_capacity(self.bars.len());
        let mut section = 0;
        let mut index = 0;
        let mut time_through = 1;
        while index < self.bars.len() {
            let bar = &self.bars[index];
            if bar.repeat_starts && section != index {
                section = index;
                time_through = 1;
            }
            if bar.ending.is_some_and(|ending| ending != time_through) {
                index += 1;
                continue;
            }
            order.push(index);
            if bar.repeat_ends && time_through == 1 {
                time_through = 2;
                index = section;
                continue;
            }
            let leaves_endings =
                bar.ending.is_some() && self.bars.get(index + 1).is_none_or(|b| b.ending.is_none());
            if (bar.repeat_ends || leaves_endings) && time_through > 1 {
                time_through = 1;
                section = index + 1;
            }
            index += 1;
        }
        order
    }

    /// Seconds from the beginning to a written time, each bar played once, at the metronome marks
    /// in force (where none is given: 96 quarters a minute).
    #[must_use]
    pub fn seconds_at(&self, time: Time) -> f64 {
        let mut seconds = 0.0;
        let mut per_whole = seconds_per_whole(None);
        for bar in &self.bars {
            if let Some(tempo) = &bar.tempo
                && tempo.beat.is_some()
            {
                per_whole = seconds_per_whole(tempo.beat);
            }
            if time <= bar.start + bar.length {
                return seconds + (time - bar.start).to_f64() * per_whole;
            }
            seconds += bar.length.to_f64() * per_whole;
        }
        seconds
    }
}

/// Seconds that a whole note lasts at a metronome mark; where none is given, at 96 quarters a
/// minute (our choice).
#[must_use]
pub fn seconds_per_whole(beat: Option<(Time, f64)>) -> f64 {
    let (value, per_minute) = beat.unwrap_or((Time::QUARTER, 96.0));
    60.0 / (per_minute * value.to_f64())
}

/// A place as a musician names it.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Place {
    /// Bar number.
    pub bar: i32,
    /// Beat, from 1.
    pub beat: i64,
    /// How far into the beat.
    pub into: Time,
    /// Length of the beat that is counted.
    pub beat_length: Time,
}

/// "bar 12, beat 3" or "bar 12, 1/8 after beat 3".
impl std::fmt::Display for Place {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if self.into == Time::ZERO {
            write!(f, "bar {}, beat {}", self.bar, self.beat)
        } else {
            write!(f, "bar {}, {} after beat {}", self.bar, self.into, self.beat)
        }
    }
}

/// A chord of the harmony with the time that it holds.
#[derive(Clone, PartialEq, Debug)]
pub struct HarmonyEvent {
    /// Where it begins.
    pub start: Time,
    /// How long it holds.
    pub length: Time,
    /// The chord.
    pub chord: Chord,
    /// Where it is written (or the bar of the voice that it was inferred from).
    pub span: Span,
}

/// A voice of the source.
#[derive(Clone, PartialEq, Debug)]
pub struct Voice {
    /// Its name.
    pub name: String,
    /// Where the name is written.
    pub span: Span,
    /// Its music at sounding pitch.
    pub music: Music,
}

/// Music as it was written in the source: of a voice, or of a `writes` line.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Music {
    /// Notes in order of time.
    pub notes: Vec<Note>,
    /// Tuplets in order of time; they do not overlap.
    pub tuplets: Vec<Tuplet>,
    /// Dynamics, hairpins, words and techniques in order of time.
    pub directions: Vec<Direction>,
    /// Indices of the bars that are written (with notes or rests), in order: first, one past last.
    pub bars: Vec<(usize, usize)>,
}

/// What a note sounds: one pitch, a chord, or a stroke without pitch.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Sound {
    /// Sounding pitches, from the lowest to the highest; never empty.
    Pitches(Pitches),
    /// An unpitched stroke.
    Stroke,
}

/// The pitches of a note, from the lowest to the highest.
pub type Pitches = SmallVec<[Pitch; 4]>;

impl Sound {
    /// The pitches; none for a stroke.
    #[must_use]
    pub fn pitches(&self) -> &[Pitch] {
        match self {
            Sound::Pitches(pitches) => pitches,
            Sound::Stroke => &[],
        }
    }
}

/// One note (or chord, or stroke) of the source with its whole duration: holds (`=`) are worked in.
#[derive(Clone, PartialEq, Debug)]
pub struct Note {
    /// Where it begins, in written time.
    pub start: Time,
    /// How long it sounds.
    pub length: Time,
    /// What it sounds.
    pub sound: Sound,
    /// Marks, slurs and grace notes.
    pub attached: Attached,
    /// Where it is written.
    pub span: Span,
}

/// What hangs on a note: marks, slurs, tremolo, grace notes.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Attached {
    /// Marks of articulation and ornament.
    pub marks: Marks,
    /// Strokes of a tremolo: 1 (eighths) to 4 (64ths); 0 for none. Unmeasured tremolo has 3.
    pub tremolo: u8,
    /// Does a slur begin on this note?
    pub slur_starts: bool,
    /// Does a slur end on this note?
    pub slur_ends: bool,
    /// Grace notes before the note, if any.
    pub graces: Option<Box<Graces>>,
}

/// Grace notes before a note.
#[derive(Clone, PartialEq, Debug)]
pub struct Graces {
    /// Are they crossed with a stroke (acciaccatura)?
    pub slashed: bool,
    /// Written value and sounding pitches of each.
    pub notes: Vec<(Time, Pitches)>,
}

/// A mark on a note.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[repr(u8)]
pub enum Mark {
    /// A dot: short.
    Staccato,
    /// A wedge: very short.
    Staccatissimo,
    /// A line: held.
    Tenuto,
    /// `>`: struck.
    Accent,
    /// An upright wedge: struck hard.
    Marcato,
    /// Held at will.
    Fermata,
    /// Trill with the upper neighbour.
    Trill,
    /// Mordent (with the lower neighbour).
    Mordent,
    /// Turn.
    Turn,
    /// Up-bow.
    UpBow,
    /// Down-bow.
    DownBow,
    /// Natural harmonic.
    Harmonic,
    /// Stopped by the hand (horn).
    Stopped,
    /// Open (horn), or an open string.
    Open,
    /// Breath after the note.
    Breath,
    /// Chord spread upwards.
    Arpeggio,
}

impl Mark {
    /// All marks with their words in the language.
    pub const WORDS: [(Mark, &'static str); 16] = [
        (Mark::Staccato, "stacc"),
        (Mark::Staccatissimo, "staccatissimo"),
        (Mark::Tenuto, "tenuto"),
        (Mark::Accent, "accent"),
        (Mark::Marcato, "marcato"),
        (Mark::Fermata, "fermata"),
        (Mark::Trill, "trill"),
        (Mark::Mordent, "mordent"),
        (Mark::Turn, "turn"),
        (Mark::UpBow, "up-bow"),
        (Mark::DownBow, "down-bow"),
        (Mark::Harmonic, "harmonic"),
        (Mark::Stopped, "stopped"),
        (Mark::Open, "open"),
        (Mark::Breath, "breath"),
        (Mark::Arpeggio, "arpeggio"),
    ];
}

/// A set of marks.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Marks(u32);

impl Marks {
    /// No marks.
    pub const NONE: Marks = Marks(0);

    /// Adds a mark.
    pub fn insert(&mut self, mark: Mark) {
        self.0 |= 1 << mark as u8;
    }

    /// Takes a mark away.
    pub fn remove(&mut self, mark: Mark) {
        self.0 &= !(1 << mark as u8);
    }

    /// Is the mark there?
    #[must_use]
    pub fn has(self, mark: Mark) -> bool {
        self.0 & (1 << mark as u8) != 0
    }

    /// Are there none?
    #[must_use]
    pub fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// The marks in a fixed order.
    pub fn iter(self) -> impl Iterator<Item = Mark> {
        Mark::WORDS.into_iter().map(|(mark, _)| mark).filter(move |mark| self.has(*mark))
    }
}

/// `actual` notes in the time of `normal`.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Tuplet {
    /// Where it begins.
    pub start: Time,
    /// How long it lasts in all.
    pub length: Time,
    /// How many …
    pub actual: u8,
    /// … in the time of how many.
    pub normal: u8,
}

/// A direction at a place in time.
#[derive(Clone, PartialEq, Debug)]
pub struct Direction {
    /// Where it stands.
    pub at: Time,
    /// What it says.
    pub kind: DirectionKind,
    /// Where it is written.
    pub span: Span,
}

/// What a direction says.
#[derive(Clone, PartialEq, Debug)]
pub enum DirectionKind {
    /// A dynamic.
    Dynamic(Dynamic),
    /// A hairpin from here to the given time.
    Hairpin {
        /// Does it grow?
        grows: bool,
        /// Where it ends, in written time.
        to: Time,
    },
    /// A way of playing from here on.
    Technique(Technique),
    /// Words.
    Words(String),
    /// A fermata over the rest that stands here.
    FermataOnRest,
}

/// Degrees of loudness and momentary stresses, as they are printed.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Dynamic {
    /// Pianississimo.
    Ppp,
    /// Pianissimo.
    Pp,
    /// Piano.
    P,
    /// Mezzo piano.
    Mp,
    /// Mezzo forte.
    Mf,
    /// Forte.
    F,
    /// Fortissimo.
    Ff,
    /// Fortississimo.
    Fff,
    /// Forte, at once piano.
    Fp,
    /// Sforzato on one note.
    Sf,
    /// Sforzato, stronger.
    Sfz,
}

impl Dynamic {
    /// All dynamics with their letters, which are also their words in the language.
    pub const WORDS: [(Dynamic, &'static str); 11] = [
        (Dynamic::Ppp, "ppp"),
        (Dynamic::Pp, "pp"),
        (Dynamic::P, "p"),
        (Dynamic::Mp, "mp"),
        (Dynamic::Mf, "mf"),
        (Dynamic::F, "f"),
        (Dynamic::Ff, "ff"),
        (Dynamic::Fff, "fff"),
        (Dynamic::Fp, "fp"),
        (Dynamic::Sf, "sf"),
        (Dynamic::Sfz, "sfz"),
    ];

    /// The letters.
    #[must_use]
    pub fn letters(self) -> &'static str {
        Dynamic::WORDS[self as usize].1
    }

    /// The degree from ppp (0) to fff (7) that holds after it: `fp` leaves piano, a stress leaves
    /// what was there (`None`).
    #[must_use]
    pub fn degree(self) -> Option<u8> {
        match self {
            Dynamic::Fp => Some(Dynamic::P as u8),
            Dynamic::Sf | Dynamic::Sfz => None,
            steady => Some(steady as u8),
        }
    }
}

/// A way of playing.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Technique {
    /// Plucked: printed "pizz.".
    Pizzicato,
    /// With the bow again: printed "arco".
    Arco,
    /// With mute: printed "con sord.".
    Muted,
    /// Without mute: printed "senza sord.".
    Unmuted,
}

impl Technique {
    /// All techniques: word of the language, words on paper.
    pub const WORDS: [(Technique, &'static str, &'static str); 4] = [
        (Technique::Pizzicato, "pizz", "pizz."),
        (Technique::Arco, "arco", "arco"),
        (Technique::Muted, "muted", "con sord."),
        (Technique::Unmuted, "unmuted", "senza sord."),
    ];

    /// The words on paper.
    #[must_use]
    pub fn printed(self) -> &'static str {
        Technique::WORDS[self as usize].2
    }
}

/// What a player does in the whole.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Role {
    /// The tune.
    Melody,
    /// The lowest line, on which the harmony stands.
    Bass,
    /// Chord notes, held or repeated.
    Harmony,
    /// The rhythm, marked.
    Rhythm,
    /// A moment made brighter.
    Highlight,
}

impl Role {
    /// All roles with their words.
    pub const WORDS: [(Role, &'static str); 5] = [
        (Role::Melody, "melody"),
        (Role::Bass, "bass"),
        (Role::Harmony, "harmony"),
        (Role::Rhythm, "rhythm"),
        (Role::Highlight, "highlight"),
    ];

    /// The word.
    #[must_use]
    pub fn word(self) -> &'static str {
        Role::WORDS[self as usize].1
    }
}

/// Who plays: players with their instruments, and named groups of them.
#[derive(Clone, PartialEq, Debug)]
pub struct Ensemble {
    /// Its name.
    pub name: String,
    /// Where the name is written.
    pub span: Span,
    /// The year whose customs hold.
    pub era: i32,
    /// The players in score order.
    pub players: Vec<Player>,
    /// Players of the extended ensemble who are not there any more; kept lines that speak to them
    /// fall away.
    pub without: Vec<String>,
    /// The groups: name and indices of players.
    pub groups: Vec<(String, Vec<usize>)>,
}

/// One part and who plays from it.
#[derive(Clone, PartialEq, Debug)]
pub struct Player {
    /// The name in the language: `violin-1`, `oboe.2`, `harpsichord`.
    pub id: String,
    /// The name of the ensemble line: `oboe` for `oboe.2`.
    pub line_name: String,
    /// Full name at the head of the part: "Oboe 2", "Violins I".
    pub name: String,
    /// Abbreviation before later systems: "Ob. 2", "Vl. I".
    pub abbreviation: String,
    /// The instrument.
    pub instrument: &'static Instrument,
    /// Number among the players of the same line, from 1; 0 where there is only one.
    pub number: u8,
    /// How many people share the part (a section), 1 for a single player.
    pub count: u16,
    /// Is the part that of a section (strings), shared by several people?
    pub section: bool,
    /// The key or crook, where the ensemble names one.
    pub tuning: Option<&'static Tuning>,
    /// The notes to which drums are tuned (sounding), from the lowest up.
    pub drums: Vec<Pitch>,
    /// The ensemble line that makes the player what he is.
    pub span: Span,
}

impl Player {
    /// The way from written to sounding pitch with the key or crook of the ensemble line.
    #[must_use]
    pub fn transposition(&self) -> Interval {
        self.tuning.map_or(self.instrument.transposition, |tuning| tuning.transposition)
    }

    /// Second of a pair (the second, fourth … of a line of single players)?
    #[must_use]
    pub fn is_second(&self) -> bool {
        self.number > 0 && self.number.is_multiple_of(2)
    }
}

/// How a piece is set for an ensemble.
#[derive(Clone, PartialEq, Debug)]
pub struct Scoring {
    /// Its name.
    pub name: String,
    /// Where the name is written.
    pub span: Span,
    /// Index of the ensemble in [`Piece::ensembles`].
    pub ensemble: usize,
    /// Index of the scoring that is kept in [`Piece::scorings`], with the place that says so.
    pub keep: Option<(usize, Span)>,
    /// The lines, in order.
    pub lines: Vec<Line>,
    /// Findings that are allowed.
    pub allows: Vec<Allow>,
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
    /// The bars it claims, as ranges of indices into [`Form::bars`] (first, one past last).
    pub bars: Vec<(usize, usize)>,
    /// Is it to be judged as a solo?
    pub solo: bool,
    /// Its own dynamic (`at mf`).
    pub dynamic: Option<(Dynamic, Span)>,
    /// Ways of playing that hold for the line.
    pub techniques: Vec<(Technique, Span)>,
    /// Words printed where it begins.
    pub words: Vec<(String, Span)>,
}

/// What a scoring line makes its players do.
#[derive(Clone, PartialEq, Debug)]
pub enum Verb {
    /// Play a voice, moved by octaves.
    Plays {
        /// Index in [`Piece::voices`].
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
    /// Play the rhythm of a voice on the notes that the player has.
    Signals {
        /// Index in [`Piece::voices`].
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
    /// Take another crook, key or tuning of drums from a bar on.
    Takes {
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
    /// Bars, as ranges of indices (first, one past last).
    pub bars: Vec<(usize, usize)>,
    /// Why.
    pub reason: String,
    /// The whole line.
    pub span: Span,
}

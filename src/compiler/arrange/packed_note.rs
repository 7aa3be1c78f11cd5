//! The notes of a part as they are kept: a third as large as they are when they are made.

use std::fmt;

use smallvec::SmallVec;

use super::SoundingNote;
use crate::diagnostics::{FileId, ItemId, Span};
use crate::music::{Letter, Pitch, PitchName, Time, Touch};
use crate::narrow::Narrow;
use crate::resolve::{Attached, Graces, Marks, OfTwo, Pitches, Role, Sound};

/// One note that a player sounds, kept small, because the parts of a piece have millions of them. It
/// is made of a [`SoundingNote`], and gives back the same. A note with something that is seldom
/// (several pitches, grace notes, an origin that is long or goes over bars) is kept as it was made.
#[derive(Clone, PartialEq)]
pub struct PackedNote(Packed);

#[derive(Clone, PartialEq)]
enum Packed {
    Usual(Usual),
    Odd(Box<SoundingNote>),
}

// A quarter of a million notes of a part of an hour are 6 MB.
const _: () = assert!(size_of::<PackedNote>() == 24);

/// A note of one pitch, or a stroke.
#[derive(Clone, Copy, PartialEq, Eq)]
struct Usual {
    /// Where it begins in grains: the lower 32 bits of 48.
    start: u32,
    /// How many grains it lasts.
    length: u32,
    /// The item of the source in which it stands, and above [`ITEM`] bits the file.
    item: u32,
    /// The upper 16 bits of where it begins.
    start_above: u16,
    /// Its first byte in the item.
    at: u16,
    marks: Marks,
    /// What it sounds; of a stroke it means nothing.
    pitch: Pitch,
    /// How many bytes it has in the source.
    bytes: u8,
    /// Bits of [`flag`], and the strokes of a tremolo above them.
    flags: u8,
    role: Role,
}

/// Bits for the number of an item.
const ITEM: u32 = 24;

/// Answers of a note to yes and no.
mod flag {
    pub const SOLO: u8 = 1;
    pub const STROKE: u8 = 1 << 1;
    pub const SLUR_STARTS: u8 = 1 << 2;
    pub const SLUR_ENDS: u8 = 1 << 3;
    /// From this bit on the strokes of a tremolo.
    pub const TREMOLO: u32 = 4;
}

/// The pitch of a stroke, which has none.
const NO_PITCH: Pitch = Pitch { letter: Letter::C, alter: 0, octave: 0 };

/// What hangs on a packed note, to be read.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct AttachedRef<'a> {
    /// Marks of articulation and ornament.
    pub marks: Marks,
    /// Strokes of a tremolo; 0 for none.
    pub tremolo: u8,
    /// Its place in a tremolo between two notes.
    pub of_two: Option<OfTwo>,
    /// Does a slur begin on this note?
    pub slur_starts: bool,
    /// Does a slur end on this note?
    pub slur_ends: bool,
    /// The neighbour of a trill, mordent or turn (sounding), where it is named.
    pub neighbour: Option<PitchName>,
    /// Where the string is touched, of an artificial harmonic.
    pub touch: Option<Touch>,
    /// Grace notes before the note, if any.
    pub graces: Option<&'a Graces>,
}

impl AttachedRef<'_> {
    /// The same as a value of its own.
    #[must_use]
    pub fn to_owned(self) -> Attached {
        let AttachedRef {
            marks,
            tremolo,
            of_two,
            slur_starts,
            slur_ends,
            neighbour,
            touch,
            graces,
        } = self;
        let graces = graces.cloned().map(Box::new);
        Attached { marks, tremolo, of_two, slur_starts, slur_ends, neighbour, touch, graces }
    }
}

/// What a packed note sounds, to be read.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum SoundRef<'a> {
    /// Sounding pitches, from the lowest to the highest; never empty.
    Pitches(&'a [Pitch]),
    /// An unpitched stroke.
    Stroke,
}

impl<'a> SoundRef<'a> {
    /// What a grace note sounds: a stroke where it has no pitches.
    #[must_use]
    pub fn of_grace(pitches: &'a [Pitch]) -> SoundRef<'a> {
        if pitches.is_empty() { SoundRef::Stroke } else { SoundRef::Pitches(pitches) }
    }

    /// The pitches; none for a stroke.
    #[must_use]
    #[inline]
    pub fn pitches(self) -> &'a [Pitch] {
        match self {
            SoundRef::Pitches(pitches) => pitches,
            SoundRef::Stroke => &[],
        }
    }

    /// The same as a value of its own.
    #[must_use]
    pub fn to_owned(self) -> Sound {
        match self {
            SoundRef::Pitches(pitches) => Sound::Pitches(Pitches::from_slice(pitches)),
            SoundRef::Stroke => Sound::Stroke,
        }
    }
}

impl<'a> From<&'a Sound> for SoundRef<'a> {
    #[inline]
    fn from(sound: &'a Sound) -> SoundRef<'a> {
        match sound {
            Sound::Pitches(pitches) => SoundRef::Pitches(pitches),
            Sound::Stroke => SoundRef::Stroke,
        }
    }
}

impl Usual {
    /// The note packed; `None` if it has something that is seldom.
    #[inline]
    fn new(note: &SoundingNote) -> Option<Usual> {
        let SoundingNote { start, length, sound, attached, role, solo, source } = note;
        let &Attached {
            marks,
            tremolo,
            of_two,
            slur_starts,
            slur_ends,
            neighbour,
            touch,
            ref graces,
        } = attached;
        let seldom = of_two.is_some()
            || neighbour.is_some()
            || touch.is_some()
            || graces.is_some()
            || tremolo >> (u8::BITS - flag::TREMOLO) != 0
            || source.first != source.last
            || source.first.0 >> ITEM != 0
            || source.file.0 >> (u32::BITS - ITEM) != 0;
        if seldom {
            return None;
        }
        let start = u64::try_from(start.grains()).ok()?;
        let (pitch, stroke) = match sound {
            Sound::Stroke => (NO_PITCH, true),
            Sound::Pitches(pitches) => match pitches[..] {
                [pitch] => (pitch, false),
                _ => return None,
            },
        };
        let says = |what: bool, bit: u8| if what { bit } else { 0 };
        Some(Usual {
            start: (start & u64::from(u32::MAX)).narrow::<u32>(),
            length: u32::try_from(length.grains()).ok()?,
            item: source.first.0 | source.file.0 << ITEM,
            start_above: u16::try_from(start >> u32::BITS).ok()?,
            at: u16::try_from(source.start).ok()?,
            marks,
            pitch,
            bytes: u8::try_from(source.end.checked_sub(source.start)?).ok()?,
            flags: says(*solo, flag::SOLO)
                | says(stroke, flag::STROKE)
                | says(slur_starts, flag::SLUR_STARTS)
                | says(slur_ends, flag::SLUR_ENDS)
                | tremolo << flag::TREMOLO,
            role: *role,
        })
    }

    #[inline]
    fn says(&self, bit: u8) -> bool {
        self.flags & bit != 0
    }
}

impl PackedNote {
    /// Where it begins, in written time (repeats once).
    #[must_use]
    #[inline]
    pub fn start(&self) -> Time {
        match &self.0 {
            Packed::Usual(note) => {
                Time::of_grains(i64::from(note.start_above) << u32::BITS | i64::from(note.start))
            }
            Packed::Odd(note) => note.start,
        }
    }

    /// How long it sounds.
    #[must_use]
    #[inline]
    pub fn length(&self) -> Time {
        match &self.0 {
            Packed::Usual(note) => Time::of_grains(i64::from(note.length)),
            Packed::Odd(note) => note.length,
        }
    }

    /// Where it ends.
    #[must_use]
    #[inline]
    pub fn end(&self) -> Time {
        self.start() + self.length()
    }

    /// What it sounds.
    #[must_use]
    #[inline]
    pub fn sound(&self) -> SoundRef<'_> {
        match &self.0 {
            Packed::Usual(note) if note.says(flag::STROKE) => SoundRef::Stroke,
            Packed::Usual(note) => SoundRef::Pitches(std::slice::from_ref(&note.pitch)),
            Packed::Odd(note) => SoundRef::from(&note.sound),
        }
    }

    /// Marks, slurs and grace notes (sounding pitch), to be read: what is changed in them goes nowhere but by
    /// [`PackedNote::change`].
    #[must_use]
    #[inline]
    pub fn attached(&self) -> AttachedRef<'_> {
        match &self.0 {
            Packed::Usual(note) => AttachedRef {
                marks: note.marks,
                tremolo: note.flags >> flag::TREMOLO,
                of_two: None,
                slur_starts: note.says(flag::SLUR_STARTS),
                slur_ends: note.says(flag::SLUR_ENDS),
                neighbour: None,
                touch: None,
                graces: None,
            },
            Packed::Odd(note) => {
                let Attached {
                    marks,
                    tremolo,
                    of_two,
                    slur_starts,
                    slur_ends,
                    neighbour,
                    touch,
                    graces,
                } = &note.attached;
                AttachedRef {
                    marks: *marks,
                    tremolo: *tremolo,
                    of_two: *of_two,
                    slur_starts: *slur_starts,
                    slur_ends: *slur_ends,
                    neighbour: *neighbour,
                    touch: *touch,
                    graces: graces.as_deref(),
                }
            }
        }
    }

    /// The pitches at which fingers stand: those that sound, or of an artificial harmonic the note that is
    /// stopped and the one that is touched.
    #[must_use]
    pub fn fingered(&self) -> SmallVec<[Pitch; 2]> {
        let pitches = self.sound().pitches();
        let touch = self.attached().touch;
        touch.zip(pitches.first()).map_or_else(
            || SmallVec::from_slice(pitches),
            |(touch, sounding)| {
                let stopped = touch.stopped(*sounding);
                SmallVec::from_slice(&[stopped, touch.touched(stopped)])
            },
        )
    }

    /// What it is for.
    #[must_use]
    #[inline]
    pub fn role(&self) -> Role {
        match &self.0 {
            Packed::Usual(note) => note.role,
            Packed::Odd(note) => note.role,
        }
    }

    /// Is it to be judged as a solo?
    #[must_use]
    #[inline]
    pub fn solo(&self) -> bool {
        match &self.0 {
            Packed::Usual(note) => note.says(flag::SOLO),
            Packed::Odd(note) => note.solo,
        }
    }

    /// The note in the source that it comes from (or the chord, for derived notes).
    #[must_use]
    #[inline]
    pub fn source(&self) -> Span {
        match &self.0 {
            Packed::Usual(note) => {
                let (file, item) = (note.item >> ITEM, note.item & ((1 << ITEM) - 1));
                let at = u32::from(note.at);
                Span::within(FileId(file), ItemId(item), at, at + u32::from(note.bytes))
            }
            Packed::Odd(note) => note.source,
        }
    }

    /// The note of which it was made.
    #[must_use]
    pub fn unpacked(&self) -> SoundingNote {
        match &self.0 {
            Packed::Usual(_) => SoundingNote {
                start: self.start(),
                length: self.length(),
                sound: self.sound().to_owned(),
                attached: self.attached().to_owned(),
                role: self.role(),
                solo: self.solo(),
                source: self.source(),
            },
            Packed::Odd(note) => SoundingNote::clone(note),
        }
    }

    /// Changes the note.
    pub fn change<R>(&mut self, change: impl FnOnce(&mut SoundingNote) -> R) -> R {
        let mut note = self.unpacked();
        let result = change(&mut note);
        *self = PackedNote::from(note);
        result
    }
}

impl From<SoundingNote> for PackedNote {
    #[inline]
    fn from(note: SoundingNote) -> PackedNote {
        PackedNote(match Usual::new(&note) {
            Some(usual) => Packed::Usual(usual),
            None => Packed::Odd(Box::new(note)),
        })
    }
}

impl fmt::Debug for PackedNote {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.unpacked().fmt(f)
    }
}

//! The notes of a voice, packed: they stay in memory as long as the piece does, beside those that the
//! players have of them.
//!
//! A note takes five bytes or so in place of seventy. It is told by how it differs from the one
//! before: most begin where that one ends, are as long and stand a blank further on. What is seldom
//! (grace notes, say) is kept as it is, beside the others.

use std::fmt;
use std::ops::Range;

use super::music::{Attached, Marks, Note, OfTwo, Sound};
use super::pitches::Pitches;
use crate::diagnostics::{FileId, ItemId, Span};
use crate::music::{Letter, Pitch, PitchName, Time, Touch};
use crate::narrow::Narrow;

/// Notes in order of time. They are unpacked as they are asked for: who goes through them does so
/// from the first to the last, or takes a copy.
#[derive(Clone, PartialEq, Default)]
pub struct WrittenNotes {
    bytes: Box<[u8]>,
    /// Every so many notes, where the first of them begins, and its first byte.
    blocks: Box<[(Time, u32)]>,
    count: u32,
    /// Notes that the bytes do not say, by their index.
    odd: Box<[(u32, Note)]>,
}

/// So many notes are told from the last one that is told by itself.
const BLOCK: usize = 64;

/// What the first byte of a note says of it.
mod has {
    /// It is kept as it is.
    pub(super) const ALL: u8 = 1;
    /// It does not begin where the one before ends.
    pub(super) const START: u8 = 2;
    /// It is not as long as the one before.
    pub(super) const LENGTH: u8 = 4;
    /// It stands in another item than the one before.
    pub(super) const ITEM: u8 = 8;
    /// Marks, slurs or a tremolo.
    pub(super) const ATTACHED: u8 = 16;
    /// A count of pitches that is not one.
    pub(super) const COUNT: u8 = 32;
    /// A stroke.
    pub(super) const STROKE: u8 = 64;
}

/// What a note is told from.
#[derive(Clone, Copy, Default)]
struct Before {
    end: Time,
    length: Time,
    file: FileId,
    item: ItemId,
    /// Where it stands in its item: behind its last byte.
    at: u32,
}

impl Before {
    fn go_on(&mut self, note: &Note) {
        self.end = note.start + note.length;
        self.length = note.length;
        (self.file, self.item, self.at) = (note.span.file, note.span.last, note.span.end);
    }
}

impl WrittenNotes {
    /// How many bytes they take, but for what is kept as it is.
    #[cfg(test)]
    pub(super) fn bytes(&self) -> usize {
        self.bytes.len()
    }

    /// How many there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.count as usize
    }

    /// Are there none?
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.count == 0
    }

    /// All of them in order.
    pub fn iter(&self) -> WrittenIter<'_> {
        self.starting_with(0)
    }

    /// Those from an index on.
    #[must_use]
    pub fn starting_with(&self, index: usize) -> WrittenIter<'_> {
        let index = index.min(self.len());
        let block = index / BLOCK;
        let Some(&(_, byte)) = self.blocks.get(block) else {
            return WrittenIter {
                notes: self,
                bytes: &[],
                index: self.len(),
                before: Before::default(),
            };
        };
        let bytes = &self.bytes[byte as usize..];
        let mut notes =
            WrittenIter { notes: self, bytes, index: block * BLOCK, before: Before::default() };
        while notes.index < index && notes.next().is_some() {}
        notes
    }

    /// The notes of a range of indices.
    pub fn within(&self, range: Range<usize>) -> impl Iterator<Item = Note> + '_ {
        self.starting_with(range.start).take(range.len())
    }

    /// The note at an index.
    #[must_use]
    pub fn get(&self, index: usize) -> Option<Note> {
        self.starting_with(index).next()
    }

    /// The first of them.
    #[must_use]
    pub fn first(&self) -> Option<Note> {
        self.get(0)
    }

    /// The last of them.
    #[must_use]
    pub fn last(&self) -> Option<Note> {
        self.get(self.len().checked_sub(1)?)
    }

    /// How many of them begin before a time.
    #[must_use]
    pub fn begun_before(&self, time: Time) -> usize {
        let block = self.blocks.partition_point(|(start, _)| *start < time).saturating_sub(1);
        let first = block * BLOCK;
        first + self.starting_with(first).take(BLOCK).take_while(|note| note.start < time).count()
    }

    /// A copy of all of them side by side.
    #[must_use]
    pub fn to_vec(&self) -> Vec<Note> {
        self.iter().collect()
    }
}

/// Packs notes one after the other as they come, so that they need not stand side by side first.
#[derive(Default)]
pub(in crate::resolve) struct Packing {
    packer: Packer,
    blocks: Vec<(Time, u32)>,
    odd: Vec<(u32, Note)>,
    count: u32,
    before: Before,
}

impl Packing {
    /// Puts a note behind the others.
    pub(in crate::resolve) fn push(&mut self, note: Note) {
        let bytes = &mut self.packer.bytes;
        if (self.count as usize).is_multiple_of(BLOCK) {
            self.before = Before::default();
            self.blocks.push((note.start, bytes.len().narrow::<u32>()));
        }
        let from = self.before;
        self.before.go_on(&note);
        if !self.packer.note(&note, from) {
            self.packer.bytes.push(has::ALL);
            self.odd.push((self.count, note));
        }
        self.count += 1;
    }

    /// All of them.
    pub(in crate::resolve) fn finish(self) -> WrittenNotes {
        WrittenNotes {
            bytes: self.packer.bytes.into_boxed_slice(),
            blocks: self.blocks.into_boxed_slice(),
            count: self.count,
            odd: self.odd.into_boxed_slice(),
        }
    }
}

impl From<Vec<Note>> for WrittenNotes {
    fn from(notes: Vec<Note>) -> WrittenNotes {
        notes.into_iter().collect()
    }
}

impl FromIterator<Note> for WrittenNotes {
    fn from_iter<I: IntoIterator<Item = Note>>(notes: I) -> WrittenNotes {
        let mut packing = Packing::default();
        notes.into_iter().for_each(|note| packing.push(note));
        packing.finish()
    }
}

impl<'a> IntoIterator for &'a WrittenNotes {
    type Item = Note;
    type IntoIter = WrittenIter<'a>;

    fn into_iter(self) -> WrittenIter<'a> {
        self.iter()
    }
}

impl fmt::Debug for WrittenNotes {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_list().entries(self).finish()
    }
}

#[derive(Default)]
struct Packer {
    bytes: Vec<u8>,
}

impl Packer {
    /// Packs a note, unless it has something that is seldom: then nothing was done.
    fn note(&mut self, note: &Note, before: Before) -> bool {
        let Note { start, length, sound, attached, span } = note;
        let pitches = sound.pitches();
        let seldom =
            attached.graces.is_some() || span.first != span.last || !pitches.iter().all(fits);
        let Ok(count) = u8::try_from(pitches.len()) else { return false };
        if seldom {
            return false;
        }
        let says = |what: bool, bit: u8| if what { bit } else { 0 };
        let hangs = *attached != Attached::default();
        let stroke = matches!(sound, Sound::Stroke);
        let moved = (span.file, span.first) != (before.file, before.item);
        self.bytes.push(
            says(*start != before.end, has::START)
                | says(*length != before.length, has::LENGTH)
                | says(moved, has::ITEM)
                | says(hangs, has::ATTACHED)
                | says(!stroke && count != 1, has::COUNT)
                | says(stroke, has::STROKE),
        );
        if *start != before.end {
            self.signed(start.grains().wrapping_sub(before.end.grains()));
        }
        if *length != before.length {
            self.signed(length.grains());
        }
        let at = if moved {
            self.number(u64::from(span.file.0));
            self.signed(i64::from(span.first.0) - i64::from(before.item.0));
            0
        } else {
            before.at
        };
        self.signed(i64::from(span.start) - i64::from(at));
        self.signed(i64::from(span.end) - i64::from(span.start));
        if hangs {
            self.attached(attached);
        }
        if !stroke && count != 1 {
            self.bytes.push(count);
        }
        pitches.iter().for_each(|pitch| self.pitch(*pitch));
        true
    }

    fn attached(&mut self, attached: &Attached) {
        self.bytes.extend(attached.marks.bits().to_le_bytes());
        let of_two = attached.of_two.map_or(0, |place| 1 + place as u8);
        self.bytes.extend([
            attached.tremolo,
            of_two
                | u8::from(attached.slur_starts) << 2
                | u8::from(attached.slur_ends) << 3
                | u8::from(attached.neighbour.is_some()) << 4
                | u8::from(attached.touch.is_some()) << 5,
        ]);
        if let Some(neighbour) = attached.neighbour {
            self.bytes.extend([neighbour.letter as u8, neighbour.alter.cast_unsigned()]);
        }
        self.bytes.extend(attached.touch.map(|touch| touch as u8));
    }

    fn pitch(&mut self, pitch: Pitch) {
        let alter = (pitch.alter + ALTERS).cast_unsigned();
        self.bytes.extend([pitch.letter as u8 | alter << 3, pitch.octave.cast_unsigned()]);
    }

    fn number(&mut self, mut number: u64) {
        while number >= 0x80 {
            self.bytes.push((number & 0x7F).narrow::<u8>() | 0x80);
            number >>= 7;
        }
        self.bytes.push(number.narrow::<u8>());
    }

    /// A number that may be below zero.
    fn signed(&mut self, number: i64) {
        self.number((number << 1).cast_unsigned() ^ (number >> 63).cast_unsigned());
    }
}

/// Alterations of so many semitones down are packed, and of one fewer up.
const ALTERS: i8 = 16;

fn fits(pitch: &Pitch) -> bool {
    (-ALTERS..ALTERS).contains(&pitch.alter)
}

/// Goes through packed notes.
#[derive(Clone)]
pub struct WrittenIter<'a> {
    notes: &'a WrittenNotes,
    bytes: &'a [u8],
    index: usize,
    before: Before,
}

impl WrittenIter<'_> {
    #[inline]
    fn byte(&mut self) -> u8 {
        let Some((first, rest)) = self.bytes.split_first() else { return 0 };
        self.bytes = rest;
        *first
    }

    #[inline]
    fn number(&mut self) -> u64 {
        let (mut number, mut shift) = (0, 0);
        loop {
            let byte = self.byte();
            number |= u64::from(byte & 0x7F) << shift;
            shift += 7;
            if byte < 0x80 || shift > 63 {
                return number;
            }
        }
    }

    #[inline]
    fn signed(&mut self) -> i64 {
        let number = self.number();
        (number >> 1).cast_signed() ^ -(number & 1).cast_signed()
    }

    /// A number beside another one.
    #[inline]
    fn beside(&mut self, number: u32) -> u32 {
        (i64::from(number) + self.signed()).narrow::<u32>()
    }

    fn note(&mut self) -> Option<Note> {
        let says = self.byte();
        if says & has::ALL != 0 {
            let index = self.index.narrow::<u32>();
            let odd = self.notes.odd.binary_search_by_key(&index, |(at, _)| *at).ok()?;
            return Some(self.notes.odd[odd].1.clone());
        }
        let before = self.before;
        let start = match says & has::START {
            0 => before.end,
            _ => Time::of_grains(before.end.grains().wrapping_add(self.signed())),
        };
        let length = match says & has::LENGTH {
            0 => before.length,
            _ => Time::of_grains(self.signed()),
        };
        let (file, item, at) = match says & has::ITEM {
            0 => (before.file, before.item, before.at),
            _ => {
                let file = FileId(self.number().narrow::<u32>());
                (file, ItemId(self.beside(before.item.0)), 0)
            }
        };
        let first = self.beside(at);
        let span = Span::within(file, item, first, self.beside(first));
        let attached =
            if says & has::ATTACHED == 0 { Attached::default() } else { self.attached() };
        let sound = if says & has::STROKE != 0 {
            Sound::Stroke
        } else if says & has::COUNT == 0 {
            Sound::Pitches(Pitches::from(self.pitch()))
        } else {
            let count = self.byte();
            Sound::Pitches((0..count).map(|_| self.pitch()).collect())
        };
        Some(Note { start, length, sound, attached, span })
    }

    fn attached(&mut self) -> Attached {
        let marks = Marks::of_bits(u16::from_le_bytes([self.byte(), self.byte()]));
        let (tremolo, more) = (self.byte(), self.byte());
        let of_two = match more & 3 {
            0 => None,
            1 => Some(OfTwo::First),
            _ => Some(OfTwo::Second),
        };
        let neighbour = (more & 16 != 0)
            .then(|| PitchName::new(letter(self.byte()), self.byte().cast_signed()));
        let touch = (more & 32 != 0).then(|| touch(self.byte()));
        let (slur_starts, slur_ends) = (more & 4 != 0, more & 8 != 0);
        Attached { marks, tremolo, of_two, slur_starts, slur_ends, neighbour, touch, graces: None }
    }

    #[inline]
    fn pitch(&mut self) -> Pitch {
        let (first, octave) = (self.byte(), self.byte().cast_signed());
        Pitch { letter: letter(first & 7), alter: (first >> 3).cast_signed() - ALTERS, octave }
    }
}

#[inline]
fn letter(number: u8) -> Letter {
    Letter::ALL[usize::from(number).min(Letter::ALL.len() - 1)]
}

#[inline]
fn touch(number: u8) -> Touch {
    Touch::ALL[usize::from(number).min(Touch::ALL.len() - 1)]
}

impl Iterator for WrittenIter<'_> {
    type Item = Note;

    fn next(&mut self) -> Option<Note> {
        if self.index >= self.notes.len() {
            return None;
        }
        if self.index.is_multiple_of(BLOCK) {
            self.before = Before::default();
        }
        let note = self.note()?;
        self.index += 1;
        self.before.go_on(&note);
        Some(note)
    }

    fn size_hint(&self) -> (usize, Option<usize>) {
        let left = self.notes.len() - self.index;
        (left, Some(left))
    }
}

impl ExactSizeIterator for WrittenIter<'_> {}

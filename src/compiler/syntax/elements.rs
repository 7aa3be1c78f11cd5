//! What stands in a bar, packed: a voice has many notes, and a file that is open keeps them all.
//!
//! A note takes five bytes or so in place of a hundred. Places are counted from where the one before
//! begins, numbers take as many bytes as they need (LEB128), and what a bar holds is unpacked only
//! while somebody looks at it.

use super::tree::Fraction;
use super::tree::{DirectionWord, Element, MarkTree, PitchTree, Spanned, ValueTree, Word};
use crate::diagnostics::{FileId, ItemId, Span};
use crate::music::{Letter, PitchName};
use crate::narrow::Narrow;

/// What an element is, in its first byte.
mod kind {
    pub(super) const VALUE: u8 = 0;
    pub(super) const NOTE: u8 = 1;
    pub(super) const STROKE: u8 = 2;
    pub(super) const REST: u8 = 3;
    pub(super) const REST_OF_BARS: u8 = 4;
    pub(super) const HOLD: u8 = 5;
    pub(super) const DIRECTION: u8 = 6;
    pub(super) const SLUR_START: u8 = 7;
    pub(super) const SLUR_END: u8 = 8;
    pub(super) const TUPLET: u8 = 9;
    pub(super) const GRACE: u8 = 10;
    pub(super) const CRUSHED: u8 = 11;
}

/// Packs one element after the other.
#[derive(Default)]
pub struct Packer {
    bytes: Vec<u8>,
    /// Where the last place begins.
    at: u32,
}

impl Packer {
    /// All that was packed.
    pub(super) fn finish(self) -> Box<[u8]> {
        self.bytes.into_boxed_slice()
    }

    /// What was packed by itself, behind the rest.
    pub(super) fn append(&mut self, packed: &[u8]) {
        self.bytes.reserve_exact(packed.len());
        self.bytes.extend_from_slice(packed);
    }

    pub(super) fn byte(&mut self, byte: u8) {
        self.bytes.push(byte);
    }

    pub(super) fn number(&mut self, mut number: u32) {
        while number >= 0x80 {
            self.byte((number & 0x7F).narrow::<u8>() | 0x80);
            number >>= 7;
        }
        self.byte(number.narrow::<u8>());
    }

    /// A number that is seldom below zero, and then by little.
    fn signed(&mut self, number: i32) {
        self.number((number << 1).cast_unsigned() ^ (number >> 31).cast_unsigned());
    }

    pub(super) fn span(&mut self, span: Span) {
        self.signed(span.start.wrapping_sub(self.at).cast_signed());
        self.signed(span.end.wrapping_sub(span.start).cast_signed());
        self.at = span.start;
    }

    fn count(&mut self, count: usize) {
        self.number(count.narrow::<u32>());
    }

    pub(super) fn text(&mut self, text: &str) {
        self.count(text.len());
        self.bytes.extend_from_slice(text.as_bytes());
    }

    fn word(&mut self, word: &Word) {
        self.text(&word.value);
        self.span(word.span);
    }

    pub(super) fn direction_words(&mut self, words: &[DirectionWord]) {
        self.count(words.len());
        for direction in words {
            self.word(&direction.word);
            self.byte(u8::from(direction.quoted));
        }
    }

    pub(super) fn value(&mut self, value: ValueTree) {
        self.number(value.fraction.numerator);
        self.number(value.fraction.denominator);
        self.byte(value.dots);
    }

    fn marks(&mut self, marks: &[MarkTree]) {
        self.count(marks.len());
        for mark in marks {
            self.word(&mark.word);
            self.byte(u8::from(mark.value.is_some()) | u8::from(mark.note.is_some()) << 1);
            if let Some(value) = mark.value {
                self.value(value);
            }
            if let Some(note) = &mark.note {
                self.span(note.span);
                self.pitches(&note.value);
            }
        }
    }

    fn pitches(&mut self, pitches: &[PitchTree]) {
        self.count(pitches.len());
        pitches.iter().for_each(|pitch| self.pitch(pitch));
    }

    fn pitch(&mut self, pitch: &PitchTree) {
        self.byte(pitch.name.letter as u8 | u8::from(pitch.octave.is_some()) << 3);
        self.byte(pitch.name.alter.cast_unsigned());
        if let Some(octave) = pitch.octave {
            self.byte(octave.cast_unsigned());
        }
        self.span(pitch.span);
    }

    fn inner(&mut self, elements: &[Spanned<Element>]) {
        self.count(elements.len());
        elements.iter().for_each(|element| self.element(element));
    }

    /// A note of one pitch.
    pub(super) fn note(&mut self, span: Span, pitch: &PitchTree, marks: &[MarkTree]) {
        self.byte(kind::NOTE);
        self.span(span);
        self.pitches(std::slice::from_ref(pitch));
        self.marks(marks);
    }

    pub(super) fn element(&mut self, element: &Spanned<Element>) {
        let kind = match &element.value {
            Element::Value(_) => kind::VALUE,
            Element::Note(..) => kind::NOTE,
            Element::Stroke(_) => kind::STROKE,
            Element::Rest(None, _) => kind::REST,
            Element::Rest(Some(_), _) => kind::REST_OF_BARS,
            Element::Hold(_) => kind::HOLD,
            Element::Direction(_) => kind::DIRECTION,
            Element::SlurStart => kind::SLUR_START,
            Element::SlurEnd => kind::SLUR_END,
            Element::Tuplet(..) => kind::TUPLET,
            Element::Grace(false, _) => kind::GRACE,
            Element::Grace(true, _) => kind::CRUSHED,
        };
        self.byte(kind);
        self.span(element.span);
        match &element.value {
            Element::Value(value) => self.value(*value),
            Element::Note(pitches, marks) => {
                self.pitches(pitches);
                self.marks(marks);
            }
            Element::Stroke(marks) | Element::Hold(marks) => self.marks(marks),
            Element::Rest(bars, marks) => {
                if let Some(bars) = bars {
                    self.number(*bars);
                }
                self.marks(marks);
            }
            Element::Direction(words) => self.direction_words(words),
            Element::SlurStart | Element::SlurEnd => {}
            Element::Tuplet(actual, normal, inner) => {
                self.number(*actual);
                self.number(*normal);
                self.inner(inner);
            }
            Element::Grace(_, inner) => self.inner(inner),
        }
    }
}

/// Unpacks one after the other what a [`Packer`] packed.
pub struct Reader<'p> {
    bytes: &'p [u8],
    at: u32,
    file: FileId,
    item: ItemId,
}

impl<'p> Reader<'p> {
    pub(super) fn new(bytes: &'p [u8], file: FileId, item: ItemId) -> Reader<'p> {
        Reader { bytes, at: 0, file, item }
    }

    /// What was packed by itself behind what was read: its places are counted anew.
    pub(super) fn counted_anew(self) -> Reader<'p> {
        Reader { at: 0, ..self }
    }

    /// How many bytes are left.
    pub(super) fn left(&self) -> usize {
        self.bytes.len()
    }

    pub(super) fn byte(&mut self) -> u8 {
        let Some((first, rest)) = self.bytes.split_first() else { return 0 };
        self.bytes = rest;
        *first
    }

    pub(super) fn number(&mut self) -> u32 {
        let (mut number, mut shift) = (0, 0);
        loop {
            let byte = self.byte();
            number |= u32::from(byte & 0x7F) << shift;
            shift += 7;
            if byte < 0x80 || shift > 28 {
                return number;
            }
        }
    }

    fn signed(&mut self) -> i32 {
        let number = self.number();
        (number >> 1).cast_signed() ^ -(number & 1).cast_signed()
    }

    pub(super) fn span(&mut self) -> Span {
        self.at = self.at.wrapping_add(self.signed().cast_unsigned());
        let end = self.at.wrapping_add(self.signed().cast_unsigned());
        Span::within(self.file, self.item, self.at, end)
    }

    fn count(&mut self) -> usize {
        self.number() as usize
    }

    pub(super) fn text(&mut self) -> String {
        let length = self.count().min(self.bytes.len());
        let (text, rest) = self.bytes.split_at(length);
        self.bytes = rest;
        String::from_utf8_lossy(text).into_owned()
    }

    fn word(&mut self) -> Word {
        Spanned { value: self.text(), span: self.span() }
    }

    pub(super) fn direction_words(&mut self) -> Vec<DirectionWord> {
        let count = self.count();
        let word = |_| DirectionWord { word: self.word(), quoted: self.byte() != 0 };
        (0..count).map(word).collect()
    }

    pub(super) fn value(&mut self) -> ValueTree {
        let (numerator, denominator) = (self.number(), self.number());
        ValueTree { fraction: Fraction { numerator, denominator }, dots: self.byte() }
    }

    fn marks(&mut self) -> Vec<MarkTree> {
        let count = self.count();
        let mark = |_| {
            let word = self.word();
            let more = self.byte();
            let value = (more & 1 != 0).then(|| self.value());
            let note = (more & 2 != 0).then(|| {
                let span = self.span();
                Spanned { value: self.pitches(), span }
            });
            MarkTree { word, value, note }
        };
        (0..count).map(mark).collect()
    }

    fn pitches(&mut self) -> Vec<PitchTree> {
        (0..self.count()).map(|_| self.pitch()).collect()
    }

    fn pitch(&mut self) -> PitchTree {
        let first = self.byte();
        let letter = Letter::ALL[usize::from(first & 7).min(Letter::ALL.len() - 1)];
        let name = PitchName::new(letter, self.byte().cast_signed());
        let octave = (first & 8 != 0).then(|| self.byte().cast_signed());
        PitchTree { name, octave, span: self.span() }
    }

    fn inner(&mut self) -> Vec<Spanned<Element>> {
        (0..self.count()).map(|_| self.element()).collect()
    }

    pub(super) fn element(&mut self) -> Spanned<Element> {
        let kind = self.byte();
        let span = self.span();
        let value = match kind {
            kind::VALUE => Element::Value(self.value()),
            kind::NOTE => {
                let pitches = self.pitches();
                Element::Note(pitches, self.marks())
            }
            kind::STROKE => Element::Stroke(self.marks()),
            kind::REST => Element::Rest(None, self.marks()),
            kind::REST_OF_BARS => Element::Rest(Some(self.number()), self.marks()),
            kind::HOLD => Element::Hold(self.marks()),
            kind::DIRECTION => Element::Direction(self.direction_words()),
            kind::SLUR_START => Element::SlurStart,
            kind::SLUR_END => Element::SlurEnd,
            kind::TUPLET => Element::Tuplet(self.number(), self.number(), self.inner()),
            kind::CRUSHED => Element::Grace(true, self.inner()),
            _ => Element::Grace(false, self.inner()),
        };
        Spanned { value, span }
    }
}

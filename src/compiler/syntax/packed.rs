//! Bars and lines, packed: a piece has thousands of them, with a dozen bytes in the source of each.
//!
//! Number, place and contents of a bar lie one behind the other in some twenty bytes, and are unpacked
//! only while somebody looks at them ([`elements`](super::elements) has the bytes).

use std::fmt;
use std::marker::PhantomData;

use super::elements::{Packer, Reader};
use super::tree::{
    DirectionWord, DynamicsLine, Element, HarmonyStep, Number, Position, Spanned, SyllableTree,
};
use crate::diagnostics::{FileId, ItemId, Span};

/// Bytes of an item.
#[derive(Clone, PartialEq, Eq)]
struct Packed {
    bytes: Box<[u8]>,
    file: FileId,
    item: ItemId,
}

impl Packed {
    fn new((file, item): (FileId, ItemId), packer: Packer) -> Packed {
        Packed { bytes: packer.finish(), file, item }
    }

    fn reader(&self) -> Reader<'_> {
        Reader::new(&self.bytes, self.file, self.item)
    }
}

/// What stands in a bar, one behind the other.
pub trait Packs: Sized + Clone + PartialEq + fmt::Debug {
    /// Packs one of them behind the others.
    fn pack(packer: &mut Packer, one: &Spanned<Self>);
    /// The next one.
    fn unpack(reader: &mut Reader) -> Spanned<Self>;
}

/// A bar of a voice, of the harmony or of lyrics.
#[derive(Clone, PartialEq)]
pub struct PackedBar<T> {
    packed: Packed,
    kind: PhantomData<T>,
}

/// What the first byte of a bar says of it.
mod has {
    /// A number is written before it.
    pub(super) const NUMBER: u8 = 1;
    /// It could not be read.
    pub(super) const BROKEN: u8 = 2;
}

/// A bar without what stands in it: its number, where it stands, and whether it could not be read.
type Frame = (Option<Number>, Span, bool);

impl<T: Packs> PackedBar<T> {
    /// A bar of an item: its number, where one is written, the whole of it, and what stands in it.
    pub(super) fn new(
        of: (FileId, ItemId),
        number: Option<Number>,
        span: Span,
        contents: &[u8],
    ) -> PackedBar<T> {
        PackedBar::of(of, (number, span, false), contents)
    }

    /// A bar of an item that could not be read.
    pub(super) fn broken_one(
        of: (FileId, ItemId),
        number: Option<Number>,
        span: Span,
    ) -> PackedBar<T> {
        PackedBar::of(of, (number, span, true), &[])
    }

    fn of(of: (FileId, ItemId), (number, span, broken): Frame, contents: &[u8]) -> PackedBar<T> {
        let mut packer = Packer::default();
        let flags = [(number.is_some(), has::NUMBER), (broken, has::BROKEN)];
        packer.byte(flags.iter().filter(|(says, _)| *says).map(|(_, bit)| bit).sum());
        packer.span(span);
        if let Some(number) = number {
            packer.number(number.value);
            packer.span(number.span);
        }
        packer.append(contents);
        PackedBar { packed: Packed::new(of, packer), kind: PhantomData }
    }

    fn frame(&self) -> (Frame, Reader<'_>) {
        let mut reader = self.packed.reader();
        let flags = reader.byte();
        let span = reader.span();
        let number = (flags & has::NUMBER != 0).then(|| {
            let value = reader.number();
            Spanned { value, span: reader.span() }
        });
        ((number, span, flags & has::BROKEN != 0), reader)
    }

    /// The number, where one is written.
    #[must_use]
    pub fn number(&self) -> Option<Number> {
        self.frame().0.0
    }

    /// The whole bar.
    #[must_use]
    pub fn span(&self) -> Span {
        self.frame().0.1
    }

    /// Could it not be read?
    #[must_use]
    pub fn broken(&self) -> bool {
        self.frame().0.2
    }

    /// What stands in it, in order.
    #[must_use]
    pub fn read(&self) -> Vec<Spanned<T>> {
        let mut reader = self.frame().1.counted_anew();
        let mut all = Vec::with_capacity(reader.left() / 4);
        while reader.left() > 0 {
            all.push(T::unpack(&mut reader));
        }
        all
    }
}

impl<T: Packs> fmt::Debug for PackedBar<T> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (number, span, broken) = self.frame().0;
        f.debug_struct("Bar")
            .field("number", &number)
            .field("contents", &self.read())
            .field("span", &span)
            .field("broken", &broken)
            .finish()
    }
}

/// A line of dynamics.
#[derive(Clone, PartialEq)]
pub struct PackedLine(Packed);

impl PackedLine {
    /// A line of an item.
    pub(super) fn new(of: (FileId, ItemId), line: &DynamicsLine) -> PackedLine {
        let mut packer = Packer::default();
        let position = |packer: &mut Packer, at: Option<Position>| {
            let says = at.map_or(0, |at| 1 + u8::from(at.beat.is_some()));
            packer.byte(says);
            if let Some(at) = at {
                packer.number(at.bar);
                at.beat.into_iter().for_each(|beat| packer.number(beat));
                packer.span(at.span);
            }
        };
        position(&mut packer, Some(line.from));
        position(&mut packer, line.to);
        packer.direction_words(&line.words);
        PackedLine(Packed::new(of, packer))
    }

    /// The line.
    #[must_use]
    pub fn read(&self) -> DynamicsLine {
        let mut reader = self.0.reader();
        let position = |reader: &mut Reader| {
            let says = reader.byte();
            (says > 0).then(|| {
                let bar = reader.number();
                let beat = (says > 1).then(|| reader.number());
                Position { bar, beat, span: reader.span() }
            })
        };
        let from = position(&mut reader);
        let from = from.unwrap_or(Position { bar: 0, beat: None, span: Span::default() });
        let to = position(&mut reader);
        let words: Vec<DirectionWord> = reader.direction_words();
        DynamicsLine { from, to, words }
    }
}

impl fmt::Debug for PackedLine {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.read().fmt(f)
    }
}

impl Packs for Element {
    fn pack(packer: &mut Packer, one: &Spanned<Element>) {
        packer.element(one);
    }

    fn unpack(reader: &mut Reader) -> Spanned<Element> {
        reader.element()
    }
}

/// What a step of the harmony is, in its first byte.
mod step {
    pub(super) const VALUE: u8 = 0;
    pub(super) const KEY: u8 = 1;
    pub(super) const MINOR_KEY: u8 = 2;
    pub(super) const SYMBOL: u8 = 3;
    pub(super) const REST: u8 = 4;
    pub(super) const REST_OF_BARS: u8 = 5;
}

impl Packs for HarmonyStep {
    fn pack(packer: &mut Packer, one: &Spanned<HarmonyStep>) {
        packer.byte(match &one.value {
            HarmonyStep::Value(_) => step::VALUE,
            HarmonyStep::Key(_, false) => step::KEY,
            HarmonyStep::Key(_, true) => step::MINOR_KEY,
            HarmonyStep::Symbol(_) => step::SYMBOL,
            HarmonyStep::Rest(None) => step::REST,
            HarmonyStep::Rest(Some(_)) => step::REST_OF_BARS,
        });
        packer.span(one.span);
        match &one.value {
            HarmonyStep::Value(value) => packer.value(*value),
            HarmonyStep::Key(text, _) | HarmonyStep::Symbol(text) => packer.text(text),
            HarmonyStep::Rest(bars) => bars.iter().for_each(|bars| packer.number(*bars)),
        }
    }

    fn unpack(reader: &mut Reader) -> Spanned<HarmonyStep> {
        let kind = reader.byte();
        let span = reader.span();
        let value = match kind {
            step::VALUE => HarmonyStep::Value(reader.value()),
            step::KEY => HarmonyStep::Key(reader.text(), false),
            step::MINOR_KEY => HarmonyStep::Key(reader.text(), true),
            step::SYMBOL => HarmonyStep::Symbol(reader.text()),
            step::REST_OF_BARS => HarmonyStep::Rest(Some(reader.number())),
            _ => HarmonyStep::Rest(None),
        };
        Spanned { value, span }
    }
}

/// What the first byte of a syllable says of it.
mod sung {
    /// It is the sign that the one before is held.
    pub(super) const HOLD: u8 = 1;
    /// A hyphen stands before it.
    pub(super) const CONTINUES: u8 = 2;
    /// A hyphen stands behind it.
    pub(super) const GOES_ON: u8 = 4;
}

impl Packs for SyllableTree {
    fn pack(packer: &mut Packer, one: &Spanned<SyllableTree>) {
        let says = |what: bool, bit: u8| if what { bit } else { 0 };
        match &one.value {
            SyllableTree::Text { text, continues, goes_on } => {
                packer.byte(says(*continues, sung::CONTINUES) | says(*goes_on, sung::GOES_ON));
                packer.text(text);
            }
            SyllableTree::Hold { goes_on } => {
                packer.byte(sung::HOLD | says(*goes_on, sung::GOES_ON));
            }
        }
        packer.span(one.span);
    }

    fn unpack(reader: &mut Reader) -> Spanned<SyllableTree> {
        let says = reader.byte();
        let goes_on = says & sung::GOES_ON != 0;
        let value = if says & sung::HOLD != 0 {
            SyllableTree::Hold { goes_on }
        } else {
            let continues = says & sung::CONTINUES != 0;
            SyllableTree::Text { text: reader.text(), continues, goes_on }
        };
        Spanned { value, span: reader.span() }
    }
}

/// Packs what stands in a bar.
pub(super) fn packed<T: Packs>(all: &[Spanned<T>]) -> Box<[u8]> {
    let mut packer = Packer::default();
    all.iter().for_each(|one| T::pack(&mut packer, one));
    packer.finish()
}
